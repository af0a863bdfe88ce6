"""Scripted jobs: what they become, and every mistake with its place and what to write instead."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from diagnose import model
from diagnose.events import KINDS, Event
from diagnose.problems import KnowledgeError, Place
from diagnose.reading.script import read_script

ENTRY = {"basis": ("memory",), "place": Place("knowledge")}


def a_test(test_id, *outcomes, **more):
    """Return a test with these outcomes."""
    ladder = tuple(model.Outcome(id=each, name=each) for each in outcomes)
    return model.Test(
        id=test_id,
        name=test_id,
        system="spark",
        symptom=False,
        kind="look",
        why="",
        outcomes=ladder,
        **ENTRY,
        **more,
    )


def fact(fact_id, *options, kind="bike", applies=None, implies=None):
    """Return a fact; implies: option -> what it implies."""
    made = {each: model.Option(id=each, name=each, implies=(implies or {}).get(each, {})) for each in options}
    return model.Fact(id=fact_id, name=fact_id, ask="?", kind=kind, applies=applies or {}, options=made, **ENTRY)


def reading(quantity, unit):
    """Return how a test is measured, without limits."""
    return model.Reading(quantity=quantity, unit=unit, ask="?", limits=())


def by_id(*entries):
    """Return entries by id."""
    return {entry.id: entry for entry in entries}


KNOWLEDGE = model.Knowledge(
    facts=by_id(
        fact("strokes", "2", "4"),
        fact("fuelling", "carburettor", "injection"),
        fact("oil_feed", "premix", "pump", applies={"strokes": frozenset({"2"})}),
        fact("valves", "ohv", "ohc", applies={"strokes": frozenset({"4"})}),
        fact("reed", "reed", "none", implies={"reed": {"strokes": "2"}}),
        fact("chain_a", "yes", "no", implies={"yes": {"chain_b": "yes"}}),
        fact("chain_b", "yes", "no", implies={"yes": {"fuelling": "injection"}}),
        fact("parked", "lately", "year", "years", kind="history"),
        fact("stored", "indoors", "outdoors", "unknown", kind="history"),
    ),
    mechanisms={},
    conditions={},
    causes=by_id(
        *(
            model.Cause(
                id=each,
                name=each,
                system="fuel",
                plain="",
                applies={},
                mechanism=None,
                prior=(0.1, 0.1, 0.1),
                links=(),
                **ENTRY,
            )
            for each in ("pilot_jet_blocked", "plug_fouled")
        )
    ),
    tests=by_id(
        a_test("spark_at_gap", "none", "weak", "good", tools=("gap tester",)),
        a_test("compression", "low", "ok", reading=reading("pressure", "kPa")),
        a_test("coil_secondary", "open", "ok", reading=reading("resistance", "kohm")),
        a_test("kicks_needed", "many", "few", reading=reading("count", "kicks")),
        a_test("stop_wire_off", "still_dead", "returns", removes=("plug_fouled",)),
        a_test("try_to_start", "nothing", "fires_then_dies", "runs"),
    ),
    repairs=by_id(model.Repair(id="new_plug", name="New plug", system="spark", cures={"plug_fouled": 0.98}, **ENTRY)),
    access=by_id(model.Access(id="plug_out", name="Plug out", applies={}, needs=(), open=2, close=2, **ENTRY)),
    complaints=by_id(
        *(
            model.Complaint(id=each, name=each, says="", applies={}, drivers={}, base=0.1, target=(), **ENTRY)
            for each in ("wont_start", "dies_hot")
        )
    ),
    cautions={},
    sources={},
    quantities=by_id(
        model.SheetItem(
            id="points_gap", name="Points gap", group="ignition", kind="quantity", unit="mm", possible=(0, 3), **ENTRY
        ),
        model.SheetItem(id="main_jet", name="Main jet", group="fuel", kind="number", **ENTRY),
        model.SheetItem(
            id="stop_circuit",
            name="Stop switch",
            group="identity",
            kind="choice",
            choices={"earths": "It earths", "opens": "It opens"},
            **ENTRY,
        ),
    ),
    version="v",
)

FOUND = {"instrument": "feeler gauge", "temperature_C": 10.0}
"""What stands beside a figure; 50 F is 10 C."""

MANUAL = "workshop manual 1974, page 41"

WHOLE = """\
title: Barn find
source: invented for this check
bike: {strokes: 2, reed: reed, fuelling: unknown}
history: {parked: years, stored: unknown}
shop: {elevation: 6000 ft, gauge_volume: 2.9 cc, labour: 45 per hour, currency: EUR, service: 150, without: [gap tester]}
worth: {running: 400, ceiling: 250}
sheet_from: workshop manual 1974, page 41
sheet: {points_gap: 0.3 to 0.4 mm, main_jet: 92}
complaint: wont_start
words: "It ran when parked: honest"
steps:
  - test: spark_at_gap
    outcome: none
  - {test: compression, reading: 95 psi, minutes: 6.5}
  - {test: coil_secondary, reading: 5k6}
  - {test: kicks_needed, reading: 12}
  - {as_found: {points_gap: .022 in, main_jet.left: 95}, instrument: feeler gauge, temperature: 50 F}
  - as_set: {points_gap: 0.35 mm}
  - {sheet: {stop_circuit: It earths}, from: wiring diagram}
  - cannot: compression
    why: gauge is lent out
  - not_sure: spark_at_gap
  - declined: spark_at_gap
  - lift: spark_at_gap
  - {tool: gap tester, for: spark_at_gap}
  - start: new_plug
  - repair: new_plug
    found: {plug_fouled: broken}
    minutes: 4
    parts: 3,50
  - repair: new_plug
  - try_out: fires_then_dies
  - open: plug_out
  - close: plug_out
  - isolate: stop_wire_off
  - reconnect: stop_wire_off
  - accept: stop_wire_off
  - note: smells of varnish
  - undo
  - undo:
  - complaint: dies_hot
  - fact: {fuelling: carburettor, parked: unknown}
  - worth: {ceiling: 300}
  - end: handed_on
    words: Ask the carburettor man.
confirmed: [pilot_jet_blocked, something_else]
"""


def written(tmp_path, text):
    """Write a scripted job; return its path."""
    path = tmp_path / "job.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_whole_job_becomes_its_events(tmp_path):
    script = read_script(written(tmp_path, WHOLE), KNOWLEDGE)
    assert script.events == (
        Event(
            "intake",
            {
                "bike": {"strokes": "2", "reed": "reed", "parked": "years", "stored": "unknown"},
                # 6000 ft of 0.3048 m each
                "shop": {
                    "elevation_m": 1828.8,
                    "gauge_ml": 2.9,
                    "labour": 45.0,
                    "currency": "EUR",
                    "service": 150.0,
                    "without": ["gap tester"],
                },
                "worth": {"running": 400.0, "ceiling": 250.0},
                "complaint": "wont_start",
                "title": "Barn find",
                "words": "It ran when parked: honest",
            },
        ),
        Event(
            "sheet",
            {"item": "points_gap", "text": "0.3 to 0.4 mm", "unit": "mm", "low": 0.3, "high": 0.4, "source": MANUAL},
        ),
        Event("sheet", {"item": "main_jet", "text": "92", "unit": "", "value": 92.0, "source": MANUAL}),
        Event("observe", {"test": "spark_at_gap", "outcome": "none"}),
        Event(
            "observe",
            {
                "test": "compression",
                "reading": {"text": "95 psi", "value": 95.0, "unit": "psi"},
                "minutes": 6.5,
            },
        ),
        Event("observe", {"test": "coil_secondary", "reading": {"text": "5k6", "value": 5.6, "unit": "kohm"}}),
        Event("observe", {"test": "kicks_needed", "reading": {"text": "12", "value": 12.0, "unit": "kicks"}}),
        Event(
            "as_found", FOUND | {"item": "points_gap", "text": ".022 in", "value": 0.022, "unit": "in", "si": 0.0005588}
        ),
        Event(
            "as_found",
            FOUND | {"item": "main_jet", "text": "95", "value": 95.0, "unit": "", "si": 95.0, "side": "left"},
        ),
        Event("as_set", {"item": "points_gap", "text": "0.35 mm", "value": 0.35, "unit": "mm", "si": 0.00035}),
        Event("sheet", {"item": "stop_circuit", "text": "earths", "source": "wiring diagram"}),
        Event("cannot", {"test": "compression", "why": "gauge is lent out"}),
        Event("not_sure", {"test": "spark_at_gap"}),
        Event("declined", {"test": "spark_at_gap"}),
        Event("lift", {"test": "spark_at_gap"}),
        Event("tool", {"tool": "gap tester", "have": False, "test": "spark_at_gap"}),
        Event("start", {"repair": "new_plug"}),
        Event("repair", {"repair": "new_plug", "found": {"plug_fouled": "broken"}, "minutes": 4.0, "parts": 3.5}),
        Event("repair", {"repair": "new_plug", "found": {}}),
        Event("observe", {"test": "try_to_start", "outcome": "fires_then_dies"}),
        Event("open", {"access": "plug_out"}),
        Event("close", {"access": "plug_out"}),
        Event("isolate", {"test": "stop_wire_off"}),
        Event("reconnect", {"test": "stop_wire_off"}),
        Event("accept", {"test": "stop_wire_off"}),
        Event("note", {"text": "smells of varnish"}),
        Event("undo"),
        Event("undo"),
        Event("complaint", {"complaint": "dies_hot"}),
        Event("fact", {"fact": "fuelling", "option": "carburettor"}),
        Event("fact", {"fact": "parked", "option": None}),
        Event("worth", {"ceiling": 300.0}),
        Event("close_job", {"confirmed": {}, "ended": "handed_on", "words": "Ask the carburettor man."}),
    )
    assert script.confirmed == ("pilot_jet_blocked", "something_else")
    assert (script.title, script.source) == ("Barn find", "invented for this check")
    assert {event.kind for event in script.events} == set(KINDS)


def test_every_event_knows_its_place(tmp_path):
    path = written(tmp_path, WHOLE)
    script = read_script(path, KNOWLEDGE)
    assert len(script.places) == len(script.events)
    assert [str(place) for place in script.places[:3]] == [f"{path}:1:1", f"{path}:8:21", f"{path}:8:46"]
    assert script.places[-3] == script.places[-4] == Place(str(path), 42, 5)


def test_the_least_that_is_a_job(tmp_path):
    script = read_script(written(tmp_path, "bike: {}\n"), KNOWLEDGE)
    assert script.events == (Event("intake", {"bike": {}, "shop": {}, "complaint": None, "title": "", "words": ""}),)
    assert script.confirmed == ()


MISTAKES = yaml.safe_load(Path(__file__).with_name("script_mistakes.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", MISTAKES, ids=lambda case: f"{case['rule']}-{case['at']}")
def test_each_mistake_stands_at_its_place_with_what_to_write(tmp_path, case):
    path = written(tmp_path, case["job"])
    with pytest.raises(KnowledgeError) as caught:
        read_script(path, KNOWLEDGE)
    (problem,) = caught.value.problems
    shown = {"at": str(problem.place), "says": problem.says, "rule": problem.rule, "write": problem.write}
    assert shown == {"at": f"{path}:{case['at']}"} | {key: case[key] for key in ("says", "rule", "write")}


def test_a_mistake_as_the_user_reads_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    written(tmp_path, "bike: {}\nsteps:\n  - {test: compression, reading: 95 pis}\n")
    with pytest.raises(KnowledgeError) as caught:
        read_script("job.yaml", KNOWLEDGE)
    assert str(caught.value) == (
        'job.yaml:3:34: 95 pis: no unit is called "pis" [bad-reading]\n'
        "    3 |   - {test: compression, reading: 95 pis}\n"
        "                                         ^\n"
        "    write: psi\n"
        "1 mistake in 1 file; nothing was loaded."
    )


def test_all_mistakes_are_found_at_once_in_the_order_of_the_file(tmp_path):
    text = "bike: {strokes: 3}\ncomplaint: dies\nsteps:\n  - try_out: run\n  - open: plug\nconfirmed: [plug]\n"
    with pytest.raises(KnowledgeError) as caught:
        read_script(written(tmp_path, text), KNOWLEDGE)
    assert [problem.place.line for problem in caught.value.problems] == [1, 2, 4, 5, 6]


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        (b"", "empty-file"),
        (b"# only a remark\n", "empty-file"),
        (b"- bike\n", "not-a-mapping"),
        (b"just text\n", "not-a-mapping"),
        (b"bike: {}\nbike: {}\n", "repeated-key"),
        (b"bike: {\n", "syntax"),
        (b"bike: \xff\n", "encoding"),
        (b"bike: &a {}\n", "anchor"),
    ],
)
def test_files_that_are_no_scripted_job(tmp_path, content, rule):
    with pytest.raises(KnowledgeError) as caught:
        read_script(written(tmp_path, content), KNOWLEDGE)
    assert [problem.rule for problem in caught.value.problems] == [rule]


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(KnowledgeError) as caught:
        read_script(tmp_path / "gone.yaml", KNOWLEDGE)
    (problem,) = caught.value.problems
    assert str(problem) == (
        f"{tmp_path / 'gone.yaml'}: there is no such file [missing-file]\n    write: the path of a scripted job"
    )


def test_a_folder_is_no_scripted_job(tmp_path):
    with pytest.raises(KnowledgeError) as caught:
        read_script(tmp_path, KNOWLEDGE)
    assert caught.value.problems[0].says == "this file cannot be read: Is a directory"


def test_knowledge_without_a_try_out(tmp_path):
    tests = {key: test for key, test in KNOWLEDGE.tests.items() if key != "try_to_start"}
    with pytest.raises(KnowledgeError) as caught:
        read_script(written(tmp_path, "bike: {}\nsteps:\n  - try_out: runs\n"), replace(KNOWLEDGE, tests=tests))
    assert caught.value.problems[0].says == "this knowledge has no test try_to_start, so nothing can be tried out"
