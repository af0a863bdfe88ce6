"""Twins: entries once for each side, against chances worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import Question, posterior
from diagnose.model import ABSENT, PRESENT, Cause, Condition, Fact, Knowledge, Link, Option, Outcome, Repair, Test
from diagnose.network.graph import decision_graph
from diagnose.problems import Place
from diagnose.reading.instances import with_instances

HERE = Place("by hand")
COMMON = {"basis": (), "place": HERE}
PLUG, BOX = 0.1, 0.05
"""Chance of a dead plug, one for each cylinder, and of a dead box, one for all."""
DOES = 0.9
"""Chance that either keeps from firing what it should fire."""
SINGLE, TWIN = {"cylinders": "1"}, {"cylinders": "2", "carburettors": "two"}


def entry(made, name, **more):
    return made(id=name, name=name.replace("_", " "), **COMMON, **more)


def cause(name, prior, child, each=""):
    link = Link(parent=name, child=child, table={PRESENT: {PRESENT: DOES}})
    three = (prior, prior, prior)
    return entry(Cause, name, system="s", plain="", applies={}, mechanism=None, prior=three, links=(link,), each=each)


def condition(name, system="behaviour", links=(), **more):
    fixed = {"levels": (ABSENT, PRESENT), "level_names": {}, "applies": {}, "leak": {}, "leak_name": ""}
    return entry(Condition, name, system=system, links=links, **fixed, **more)


FIRING = replace(
    condition("firing", "s", each="cylinder", stands_for=True),
    levels=("fires", "coughs", "no_fire"),
    applies={"cylinders": frozenset({"2"})},
)


def look(name, driver, each=""):
    rungs = (Outcome(id="bad", name="bad", drivers={driver: {PRESENT: 0.8}}), Outcome(id="ok", name="ok", default=True))
    return entry(Test, name, system="s", symptom=False, kind="look", why="", outcomes=rungs, each=each)


def fact(name, *options, assume="", applies=None):
    known = {option: Option(id=option, name=option) for option in options}
    return entry(Fact, name, ask="?", options=known, assume=assume, applies=applies or {})


@pytest.fixture
def book():
    """A box for all and a plug, a float valve and a lead for each."""
    made = Knowledge(
        facts={
            "cylinders": fact("cylinders", "1", "2"),
            "carburettors": fact("carburettors", "one", "two", applies={"cylinders": frozenset({"2"})}),
        },
        mechanisms={},
        conditions={
            "no_fire": condition("no_fire"),
            "coughs": condition("coughs"),
            "firing": FIRING,
            "one_dead": condition(
                "one_dead",
                "s",
                links=(Link(parent="one_dead", child="runs_rough", table={PRESENT: {PRESENT: 0.9}}),),
                one_of="firing",
            ),
            "runs_rough": condition("runs_rough"),
        },
        causes={
            "plug": cause("plug", PLUG, "no_fire", "cylinder"),
            "box": cause("box", BOX, "no_fire"),
            "valve": cause("valve", 0.2, "coughs", "carburettor"),
        },
        tests={
            "look_plug": look("look_plug", "plug", "cylinder"),
            "swap_sides": look("swap_sides", "plug"),
            "try_out": look("try_out", "no_fire"),
        },
        repairs={"new_plug": entry(Repair, "new_plug", system="s", cures={"plug": 0.99}, each="cylinder")},
        access={},
        complaints={},
        cautions={},
        sources={},
        version="by hand",
    )  # fmt: skip
    return with_instances(made)


def chance(bike, *looks, node="no_fire"):
    """P(the bike does it | looks)."""
    found = posterior(bike, Question(tuple(looks), (), targets=(node,), start=(node,), turn=(node,)))
    return found.failing


def sees(node, does=True):
    rung = Rung(0.0, {node: {PRESENT: 1.0}})
    return Observation(node, () if does else (rung,), rung if does else None)


def test_a_single_has_everything_once(book):
    bike = decision_graph(book, SINGLE)
    assert set(bike.roots) == {"plug", "box", "valve"}
    assert chance(bike) == pytest.approx(1 - (1 - PLUG * DOES) * (1 - BOX * DOES), abs=1e-12)


def test_a_twin_has_a_plug_for_each_side_and_one_box(book):
    bike = decision_graph(book, TWIN)
    assert set(bike.roots) == {"plug.left", "plug.right", "box", "valve.left", "valve.right"}
    assert book.causes["plug.left"].name == "plug, left"
    assert book.causes["plug.left"].of == "plug"


def test_one_carburettor_for_all_is_there_once(book):
    bike = decision_graph(book, {"cylinders": "2", "carburettors": "one"})
    assert set(bike.roots) == {"plug.left", "plug.right", "box", "valve"}


def test_it_does_not_fire_when_neither_side_does(book):
    bike = decision_graph(book, TWIN)
    expected = 1 - (1 - (PLUG * DOES) ** 2) * (1 - BOX * DOES)
    assert chance(bike) == pytest.approx(expected, abs=1e-12)


def test_it_coughs_when_one_side_coughs_and_the_other_does_no_better(book):
    bike = decision_graph(book, TWIN)
    dead = PLUG * DOES
    coughs = 0.2 * DOES * (1 - dead)
    neither = coughs * coughs + 2 * coughs * dead
    assert chance(bike, node="coughs") == pytest.approx(neither, abs=1e-12)


def test_one_dead_cylinder_is_told_from_a_dead_bike(book):
    bike = decision_graph(book, TWIN)
    rough = posterior(bike, Question((sees("runs_rough"), sees("no_fire", does=False)), ()))
    both = posterior(bike, Question((sees("no_fire"),), ()))
    bad = 1 - (1 - PLUG * DOES) * (1 - 0.2 * DOES)
    idle = PLUG * (1 - DOES) / (1 - PLUG * DOES)
    by_hand = (PLUG * DOES / bad + (1 - PLUG * DOES / bad) * idle) / 2 + idle / 2
    assert rough.causes["plug.left"] == pytest.approx(by_hand, abs=0.002)
    assert rough.causes["box"] == pytest.approx(BOX * (1 - DOES) / (1 - BOX * DOES), abs=1e-9)
    assert both.causes["box"] > 0.8


def test_a_look_on_one_side_speaks_of_that_side(book):
    bike = decision_graph(book, TWIN)
    look = book.tests["look_plug.left"]
    assert dict(look.outcomes[0].drivers) == {"plug.left": {PRESENT: 0.8}}
    bad = Observation("left", (), Rung(0.0, look.outcomes[0].drivers))
    found = posterior(bike, Question((bad,), ()))
    assert found.causes["plug.left"] == pytest.approx(1)
    assert found.causes["plug.right"] == pytest.approx(PLUG)


def test_a_look_at_both_speaks_of_either(book):
    drivers = book.tests["swap_sides"].outcomes[0].drivers
    assert {"plug.left", "plug.right"} <= set(drivers)
    assert set(book.tests["try_out"].outcomes[0].drivers) == {"no_fire"}


def test_a_repair_mends_its_side(book):
    assert dict(book.repairs["new_plug.right"].cures) == {"plug.right": 0.99}
    assert book.repairs["new_plug"].applies == {"cylinders": frozenset({"1"})}


def test_what_only_a_twin_has_is_not_offered_to_a_single(book):
    only = replace(
        book, tests={"pipe": replace(look("pipe", "no_fire", "cylinder"), applies={"cylinders": frozenset({"2"})})}
    )
    again = with_instances(
        replace(
            only,
            causes={},
            repairs={},
            conditions={"no_fire": condition("no_fire"), "coughs": condition("coughs"), "firing": FIRING},
        )
    )
    assert set(again.tests) == {"pipe.left", "pipe.right"}
    assert dict(again.tests["pipe.left"].outcomes[0].drivers) == {"firing.left": {"no_fire": 0.8}}
