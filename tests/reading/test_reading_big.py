"""Input that is too big, too deep or made to grow is refused at once; any bytes at all give a clear answer."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.problems import KnowledgeError, Problem
from diagnose.reading import source
from diagnose.reading.load import load

SECONDS = 1.0
"""Of processor time: far more than refusing takes, far less than reading would."""


def refusal(shipped: Path, data: bytes) -> str:
    """Return the message for a file of mechanisms with these bytes, having checked that it came fast."""
    (shipped / "mechanisms.yaml").write_bytes(data)
    begun = time.process_time()
    with pytest.raises(KnowledgeError) as caught:
        load(shipped)
    assert time.process_time() - begun < SECONDS
    return str(caught.value)


def test_a_line_of_ten_megabytes(shipped: Path) -> None:
    """The file is too large, whatever it holds."""
    message = refusal(shipped, b"gum: " + b"x" * 10_000_000 + b"\n")
    assert "knowledge/mechanisms.yaml: this file is larger than 4 MB [file-too-large]" in message
    assert "write: several smaller files" in message


def test_a_line_of_three_megabytes(shipped: Path) -> None:
    """The line is named, and only a part of it is shown."""
    message = refusal(shipped, b"gum: " + b"x" * 2_999_995 + b"\n")
    says = "knowledge/mechanisms.yaml:1:10001: this line has 3000000 characters; more than 10000 are not read"
    assert f"{says} [line-too-long]" in message
    assert len(message) < 1000


def test_a_line_of_ten_thousand_characters_is_read(shipped: Path) -> None:
    """The bound itself is allowed."""
    path = shipped / "mechanisms.yaml"
    path.write_text(path.read_text() + "#" * 10_000 + "\n")
    assert "gum" in load(shipped).mechanisms


def test_aliases_that_double_again_and_again(shipped: Path) -> None:
    """Ten lines that would grow to 10**9 values are refused at the first anchor."""
    bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 10)
    )
    assert "mechanisms.yaml:1:5: &a0: anchors and aliases are not read [anchor]" in refusal(shipped, bomb.encode())


@pytest.mark.parametrize("text", ["[" * 9_000 + "\n", "{a: " * 2_400 + "\n", "- " * 4_900 + "x\n", "? " * 4_900 + "\n"])
def test_nesting_without_end(shipped: Path, text: str) -> None:
    """Depth is refused where it passes the bound, not when the stack is full."""
    assert "[nested-too-deep]" in refusal(shipped, f"gum:\n  {text}".encode() * 200)


def test_blank_lines_of_tabs_take_no_time(shipped: Path) -> None:
    """A million of them hide one mistake."""
    message = refusal(shipped, b"\t\n" * 1_000_000 + b"\tgum: x\n")
    assert "mechanisms.yaml:1000001:1: a tab indents this line [tab-indent]" in message


def test_without_libyaml_the_same_is_read(shipped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The parser in Python gives the same values at the same places."""
    fast = load(shipped)
    monkeypatch.setattr(source, "LOADER", yaml.SafeLoader)
    slow = load(shipped)
    assert slow == fast
    assert [cause.place for cause in slow.causes.values()] == [cause.place for cause in fast.causes.values()]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("gum: [1, 2\n", "1:6"),
        ("gum: 'x\n", "1:6"),
        ("gum: a: b\n", "1:7"),
        ("gum:\n  a: 1\n b: 2\n", "3:2"),
        ("gum: 1\nb\nc: 2\n", "2:1"),
        ("gum: @\n", "1:6"),
        ("gum: !x!y z\n", "1:6"),
        ("gum: * x\n", "1:6"),
        ("gum: 1\n...\nb: 2\n", "3:1"),
        ("gum: |x\n", "1:7"),
    ],
)
def test_both_parsers_say_the_same(shipped: Path, text: str, place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken syntax gives one message, whichever parser found it."""
    fast = refusal(shipped, text.encode())
    assert f"mechanisms.yaml:{place}: " in fast
    assert "cannot be read as YAML" not in fast
    monkeypatch.setattr(source, "LOADER", yaml.SafeLoader)
    assert refusal(shipped, text.encode()) == fast


YAMLISH = st.text(alphabet="ab:[]{}-,&*!|>'\"%@#?\n\t 019.e~<=\u00e9\ud7ff", max_size=60).map(str.encode)
GOOD = (Path(__file__).parent.parent / "broken" / "_base" / "tests" / "spark.yaml").read_bytes()


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A good file with a stretch of it replaced."""
    start = draw(st.integers(0, len(GOOD)))
    end = draw(st.integers(start, min(len(GOOD), start + 40)))
    return GOOD[:start] + draw(st.binary(max_size=6) | YAMLISH) + GOOD[end:]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.binary(max_size=60) | YAMLISH | damaged(),
    name=st.sampled_from(["tests/spark", "facts", "conditions"]),
)
def test_any_bytes_give_knowledge_or_a_clear_refusal(shipped: Path, data: bytes, name: str) -> None:
    """Nothing but KnowledgeError ever comes out, and each mistake says what to write."""
    path = shipped / f"{name}.yaml"
    before = path.read_bytes()
    path.write_bytes(data)
    problems: tuple[Problem, ...] = ()
    try:
        load(shipped)
    except KnowledgeError as error:
        problems = error.problems
    finally:
        path.write_bytes(before)
    assert all(problem.says and problem.write for problem in problems)


def test_five_thousand_lines_are_read_in_well_under_a_second(shipped: Path) -> None:
    """Read, checked and built: many causes, conditions and repairs."""
    one = (
        "c{n}:\n  name: Cause\n  plain: Some words for the owner.\n  mechanism: gum\n"
        "  applies: {{strokes: '2'}}\n  prior: [0.03, 0.30, 0.70]\n"
        "  leads_to:\n    pilot_starved: 0.9\n    spark: {{weak: 0.1, none: 0.2}}\n  basis: [memory]\n"
    )
    (shipped / "causes" / "many.yaml").write_text("".join(one.format(n=n) for n in range(400)))
    cure = "r{n}:\n  name: Repair\n  cures: {{c{n}: 0.9}}\n  minutes: 5\n  steps: [Do it.]\n  basis: [memory]\n"
    (shipped / "repairs" / "many.yaml").write_text("".join(cure.format(n=n) for n in range(400)))
    load(shipped)
    begun = time.process_time()
    assert len(load(shipped).causes) == 402
    assert time.process_time() - begun < SECONDS
