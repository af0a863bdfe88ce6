"""`diagnose work-out`: every example in its help runs, what it tells, and what it says to what cannot be."""

from __future__ import annotations

import json
import shlex

import pytest

from diagnose.__main__ import main
from diagnose.cli.work_out import work_out


def examples(name):
    """The examples in the help of a sum; a long one goes on in the next rows."""
    text = work_out.get_command(None, name).help.split("\b\n")[1]
    return text.replace("\n  ", " ").splitlines()


EXAMPLES = [line for name in work_out.list_commands(None) for line in examples(name)]
HURTS = (
    "jet",
    "timing",
    "battery",
    "hydrometer",
    "charging",
    "load",
    "tap",
    "premix",
    "petrol-age",
    "spark",
    "wet-test",
)
"""Sums after which a mistake hurts: lean, too much advance, acid and hydrogen, petrol, a locked engine."""


@pytest.fixture
def run(capsys, monkeypatch):
    """Return a function that runs a line: exit code, what it printed, what it complained of."""
    monkeypatch.setenv("COLUMNS", "80")

    def ran(line):
        code = main(shlex.split(line)[1:])
        said = capsys.readouterr()
        return code, said.out, said.err

    return ran


@pytest.mark.parametrize("columns", ["80", "50"])
def test_the_help_fits(run, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    for name in work_out.list_commands(None):
        _, out, _ = run(f"diagnose work-out {name} --help")
        assert max(map(len, out.splitlines())) <= int(columns)
    monkeypatch.setenv("COLUMNS", "80")
    _, out, _ = run("diagnose work-out --help")
    assert "..." not in out.split("Commands:")[1]


def test_every_sum_has_an_example():
    assert {shlex.split(line)[2] for line in EXAMPLES} == set(work_out.list_commands(None))


@pytest.mark.parametrize("line", EXAMPLES)
@pytest.mark.parametrize("columns", ["80", "50"])
def test_the_examples_in_the_help_run_and_fit(run, monkeypatch, line, columns):
    monkeypatch.setenv("COLUMNS", columns)
    code, out, err = run(line)
    assert (code, err) == (0, "")
    rows = out.splitlines()
    assert max(map(len, rows)) <= int(columns)
    assert not rows[0].startswith(" ")
    told = " ".join(out.split())
    assert "Holds for: " in told
    assert "From: " in told
    if shlex.split(line)[2] in HURTS:
        assert any(row.startswith("! ") for row in rows)


@pytest.mark.parametrize("line", EXAMPLES)
def test_json_says_the_same(run, line):
    _, out, _ = run(line)
    code, as_json, err = run(f"{line} --json")
    told = json.loads(as_json)
    assert (code, err) == (0, "")
    assert told["answer"] in " ".join(out.split())
    assert {"working", "notes", "holds_for", "source", "cautions"} < set(told)
    assert len(told) > 6


TOLD = [
    # published_checks: jet-02 diameter ratio 0.9562 at 6000 ft; jet-06's rule: one number for 1000 ft
    ('jet 105 --right-at "sea level" --at "6000 ft"', ["About 100.", "By the sum 100.4", "would say 99"]),
    # common practice: 75 at 2000 ft wants about 72.5 at 6000 ft
    ('jet 75 --right-at "2000 ft" --at "6000 ft"', ["About 72.5.", "Fit the richer first, 75"]),
    ('jet 80 --right-at "8000 ft" --at "sea level"', ["With 80 left in: 11.3 % lean", "can seize"]),
    # atm-02: 0.8014 at 6000 ft
    ('compression "95 psi" --at "6000 ft"', ["119 psi at sea level", "114 psi", "decompressor"]),
    # comp-01: 190.6 psi and 270.7 psi
    ("ratio 9:1", ["191 to 271 psi"]),
    ("ratio 9:1 --unit bar", ["13.1 to 18.7 bar"]),
    # comp-08: 1 ml in 50 cc at 7:1 is 1.17
    ('wet-test "80 psi" "94 psi" --cylinder "50 cc" --ratio 7 --oil "1 ml"', ["valves or head gasket", "17 %"]),
    ('leak-down "22 psi" "16 psi"', ["27 % leak: poor", "Listen"]),
    # ign-02: 1.063 at 5 C
    ('coil "4 ohm" --temperature 5C', ["4.25 ohm at 20 C"]),
    ('coil "0.9 ohm" --temperature 20C', ["hold the tips together"]),
    ('timing "22 deg" --stroke 54mm --rod 100mm', ["2.48 mm"]),
    ('timing 3.5mm --stroke 42mm --rod 85mm --aslant "45 deg"', ["2.47 mm of the piston"]),
    ('spark "8.5 mm" --temperature 25C', ["10 kV"]),
    ("battery 12.24V", ["About 50 %", "wrong way round", "Acid"]),
    ("battery 6.12V --system 6", ["About 50 %"]),
    ("battery 6,12", ["About 50 %", "Taken for a 6 V battery"]),
    ("battery 11.2V", ["Empty: under 11.89 V", "a cell is dead", "can burst"]),
    ("points 0,30 0,40", ["About 4 degrees earlier"]),
    ("hydrometer 1225 --temperature 80F", ["1.225 at 80 F", "75 %"]),
    ("hydrometer 1.257 --temperature 0F", ["1.225 at 80 F", "75 %"]),
    ("load 9.3V --temperature 10C", ["Too low", "9.4 V"]),
    ("charging 15.9V", ["Too high", "hydrogen"]),
    ('tap "30 ml" "60 s" --power 4kW', ["too little", "44.7 ml/min"]),
    ('premix "1 US gal" --ratio 50:1', ["2.56 US fl oz"]),
    ('premix "1 imp gal" --ratio 1:50', ["3.2 imp fl oz"]),
    ('petrol-age "2 years"', ["Bad", "pilot jet"]),
    ("screw air 0,25", ["Something else is wrong first", "larger pilot jet"]),
    ('dwell "60 deg" --openings 4', ["66.7 %"]),
]


@pytest.mark.parametrize(("line", "words"), TOLD)
def test_what_is_told(run, line, words):
    code, out, err = run(f"diagnose work-out {line}")
    assert (code, err) == (0, "")
    for word in words:
        assert word in " ".join(out.split())


REFUSED = [
    ("coil 4 --temperature 5C", 2, "the unit is missing; write: 4 ohm or 4 kohm"),
    ("coil 4V --temperature 5C", 2, "V is a unit of voltage, not of resistance"),
    ('coil "4 ohms" --temperature 5', 2, "the unit is missing; write: 5 C or 5 F"),
    ("coil 4ohm", 2, "--temperature"),
    ("ratio nine", 2, "is no ratio; write for instance 9"),
    ("ratio 0:1", 2, "nothing on one side"),
    ('ratio 7.9 --port "16 mm"', 1, "--port and --stroke go together"),
    ('jet 105 --right-at "sea level"', 2, "Where is it wanted?"),
    ('jet 105 --right-at "sea level" --at 6000', 2, 'the unit is missing; write: "6000 ft", 1500m or "sea level"'),
    ('jet 105mm --right-at "sea level" --at 6000ft', 2, "plain number such as 105"),
    ('jet 105 --right-at "sea level" --at "30000 ft"', 1, "this sum holds for -500 to 6000 m"),
    ('jet 105 --right-at sea --at 6000ft --barometer "24 inHg"', 1, "leave out --at"),
    ('compression "90 psi" --dead "3 cc"', 1, "--dead wants the cylinder too"),
    ('compression "90 psi" --dead "9 cc" --cylinder "50 cc" --ratio 7', 1, "valve at the plug end"),
    ('wet-test "80 psi" --cylinder "50 cc" --ratio 7', 1, "two readings"),
    ('wet-test --cylinder "50 cc" --ratio 7 --oil "15 ml"', 1, "hydraulic lock"),
    ("ratio 9 --unit V", 2, '"V" is no unit of pressure; write for instance psi, bar, kPa'),
    ("ratio 9 --unit furlong", 2, '"furlong" is no unit of pressure'),
    ('ratio 9 --port "16 mm" --stroke "0 mm"', 1, "no engine has a stroke of 0 mm; write"),
    ('cylinders "90 psi"', 1, "two readings or more"),
    ('leak-down "60 psi" "80 psi"', 1, "80 psi held is more than the 60 psi fed in"),
    ("battery 24V", 1, "this sum holds for"),
    ('water "10 l" --temperature 15C --ethanol 5', 1, "measured in that blend only"),
    ('premix "1 gal" --ratio 50', 2, "more than one size"),
    ('spark "2 mm"', 1, "this sum holds for 4.2 to 26.9 mm"),
    ("timing 22deg", 2, "--stroke"),
    ("timing 22 --stroke 54mm", 2, "write: 22 deg or 22 mm or 22 in"),
]


@pytest.mark.parametrize(("line", "code", "says"), REFUSED)
def test_what_cannot_be_is_refused_with_what_to_write(run, line, code, says):
    ended, out, err = run(f"diagnose work-out {line}")
    assert (ended, out) == (code, "")
    assert says in " ".join(err.split())
    assert "Traceback" not in err


def test_no_home_is_needed(command, tmp_path):
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    done = command("work-out", "ratio", "9", DIAGNOSE_HOME=str(tmp_path / "file"))
    assert done.returncode == 0, done.stderr
