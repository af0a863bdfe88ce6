"""A small book, a job file on disk, and askers that write down what is asked."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from shutil import copytree

import pytest

from diagnose.events import Event
from diagnose.model import Knowledge
from diagnose.reading.load import load
from diagnose.records import open_store
from diagnose.terminal.asking.asker import AnswersAsker, Choice, Stopped, keyed
from diagnose.terminal.bench import Bench
from diagnose.terminal.intake import new_intake
from diagnose.terminal.page import Page

HERE = Path(__file__).parent
NOON = "2026-03-14T12:00:00+00:00"


@dataclass
class Recorder(AnswersAsker):
    """Gives answers in order, writes questions and answers between the screens, and may stop at one of them."""

    answers: Sequence[str]
    sink: io.StringIO
    stop_at: int | None = None
    before_each: Callable[[], None] = lambda: None
    asked: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(list(self.answers))

    def choose(self, name, question, choices, default=None, search=False):
        rows = [f"{key or ' '} {choice.text}" for key, choice in keyed(choices)]
        self._note(name, question, rows)
        chosen = super().choose(name, question, choices, default, search)
        text = next(choice.text for choice in choices if choice.value == chosen)
        self.sink.write(f"-> {text}\n")
        return chosen

    def text(self, name, question, default=""):
        self._note(name, question, [])
        typed = super().text(name, question, default)
        self.sink.write(f"-> {typed}\n")
        return typed

    def _note(self, name: str, question: str, rows: Sequence[str]) -> None:
        self.before_each()
        if len(self.asked) == self.stop_at:
            raise Stopped
        self.asked.append(name)
        self.sink.write("".join(f"{line}\n" for line in (f"? {question}", *(f"    {row}" for row in rows))))

    def _next(self, name: str, question: str, choices: Sequence[Choice]) -> str:
        return super()._next(name, question, choices)


@pytest.fixture(scope="session")
def small() -> Knowledge:
    return load(HERE / "small")


STOP_WIRE = {
    "cautions.yaml": """
still_off:
  name: Still unplugged
  say: Put it back before it runs.
  hazard: runaway
  forbids: [runs]
  when: {isolated: true}
  basis: [memory]
""",
    "causes/spark.yaml": """
stop_wire_shorted:
  name: Stop wire touches the frame
  plain: The wire that stops the engine touches metal.
  prior: [0.05, 0.1, 0.2]
  leads_to: {spark: {none: 0.9}}
  basis: [memory]
""",
    "repairs/spark.yaml": """
new_stop_wire:
  name: Renew the stop wire
  cures: {stop_wire_shorted: 0.95}
  minutes: 15
  steps: [Lay a new one.]
  basis: [memory]
""",
    "tests/spark.yaml": """
stop_wire_off:
  name: Spark with the stop wire off
  ask: Does it come back?
  why: Takes the stop wire out.
  kind: swap
  minutes: 3
  does: [sparks, kicks]
  steps: [Pull it off and tape it., Kick.]
  removes: [stop_wire_shorted]
  put_back: [Wire back on its terminal.]
  outcomes:
    none: {name: Still none, base: 0.02, drivers: {spark: {none: 0.96}}}
    back: {name: It is back, default: true}
  basis: [memory]
""",
}
"""What makes the small book one with a wire that can be left off."""

STANDING = {
    "facts.yaml": """
plug:
  name: Plug
  ask: How often was it kicked?
  kind: now
  basis: [memory]
  options:
    dry: {name: dry}
    soaked: {name: kicked ten times, after: 10, makes: {coil_dead: 0.1}}
warmth:
  name: Engine
  ask: Cold or warm?
  kind: now
  basis: [memory]
  options:
    cold: {name: cold, reach: {wait: 60, step: Let it go cold.}}
    warm: {name: warm from running}
""",
    "tests/spark.yaml": """
gap_cold:
  name: Gap of the points, cold
  ask: Right?
  why: Sees the gap.
  kind: measure
  minutes: 3
  needs: {warmth: cold}
  steps: [Feeler in.]
  outcomes:
    wrong: {name: Wrong, base: 0.02, drivers: {points_oxidised: 0.5}}
    right: {name: Right, default: true}
  basis: [memory]
""",
}
"""What makes the small book one in which a bike can be warm and kicked wet."""


SOAK = {
    "repairs/spark.yaml": """
soak_points:
  name: Points in spirit overnight
  cures: {points_oxidised: 0.99}
  minutes: 1
  wait: 600
  steps: [Into the jar with them.]
  basis: [memory]
""",
}
"""What makes the small book one in which a cheap repair has to wait."""


def grown(folder, additions) -> Knowledge:
    """Return the small book with more in its files."""
    copytree(HERE / "small", folder)
    for name, more in additions.items():
        (folder / name).write_text((folder / name).read_text() + more)
    return load(folder)


@pytest.fixture(scope="session")
def with_stop_wire(tmp_path_factory) -> Knowledge:
    return grown(tmp_path_factory.mktemp("book") / "wire", STOP_WIRE)


@pytest.fixture(scope="session")
def with_standing(tmp_path_factory) -> Knowledge:
    return grown(tmp_path_factory.mktemp("book") / "standing", STANDING)


@pytest.fixture(scope="session")
def with_soak(tmp_path_factory) -> Knowledge:
    return grown(tmp_path_factory.mktemp("book") / "soak", SOAK)


@pytest.fixture
def sit_down(small, tmp_path):
    """Return a function that begins a job at the keyboard: answers, width -> bench, recorder."""
    stores = []

    def begin(answers: Sequence[str], width: int = 80, known: Knowledge = small, **more) -> tuple[Bench, Recorder]:
        sink = io.StringIO()
        store = open_store(tmp_path / "jobs.db")
        stores.append(store)
        job = store.create("Blue one", known.version)
        intake = Event("intake", {**new_intake("Blue one", None).body}, NOON)
        store.append(job, intake, 1)
        asker = Recorder(answers, sink, **more)
        page = Page(width, marks=True, bars=True, color=False, sink=sink)
        return Bench(known, store, job, asker, page, (intake,), clock=lambda: NOON), asker

    yield begin
    for store in stores:
        store.close()
