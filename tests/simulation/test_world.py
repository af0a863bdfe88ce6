"""What an invented bike does, in the long run, is what the exact network says of such bikes."""

from __future__ import annotations

from collections import Counter
from math import sqrt

import pytest

from diagnose.consultation.evidence import bike_graph
from diagnose.inference.ladder import Observation, Rung, observed, rungs
from diagnose.inference.posterior import Candidate, Question, posterior, prospects
from diagnose.model import PRESENT
from diagnose.network.situations import ARRIVAL, RepairDone, Situation
from diagnose.simulation.world import acting, answer, changed, drawn, looks
from tests.oracle.built import built, condition

SIGMAS = 4.5
"""A frequency further off than this is met by chance in one of 150,000 comparisons."""


def agree(count: int, of: int, p: float) -> bool:
    return abs(count / of - p) <= SIGMAS * sqrt(max(p * (1 - p), 1 / of) / of)


def exact(bike, test, situation=ARRIVAL, question=None):
    candidate = Candidate(test.id, rungs(test.outcomes), situation)
    return prospects(bike, question or Question(), [candidate])[test.id].probabilities


def test_the_bound_sees_what_is_off():
    assert agree(520, 1000, 0.5)
    assert not agree(600, 1000, 0.5)


@pytest.mark.parametrize("parked", ["lately", "years"])
def test_answers_come_as_often_as_the_network_says(small, parked):
    bike = bike_graph(small, {"parked": parked})
    worlds = [drawn(bike, n, 0) for n in range(4000)]
    for test in small.tests.values():
        counts = Counter(answer(world, test, ARRIVAL) for world in worlds)
        for outcome, p in zip(test.outcomes, exact(bike, test), strict=True):
            assert agree(counts[outcome.id], len(worlds), p), (test.id, outcome.id, counts, p)


def test_what_is_wrong_given_an_answer_is_the_posterior(small):
    bike, test = bike_graph(small, {"parked": "years"}), small.tests["spark_at_gap"]
    worlds = [world for n in range(6000) if answer(world := drawn(bike, n, 0), test, ARRIVAL) == "none"]
    seen = observed("no spark", test.outcomes, "none", ARRIVAL)
    for cause, p in posterior(bike, Question((seen,))).causes.items():
        assert agree(sum(cause in world.causes for world in worlds), len(worlds), p), cause


def test_conditions_of_the_shipped_book_come_as_often_as_the_network_says(shipped):
    kind = {"strokes": "4", "ignition": "points_battery", "starter": "both", "cylinders": "1", "parked": "years"}
    bike = bike_graph(shipped, kind)
    names = ("spark", "feed", "starter", "no_fire", "no_turn", "floods", "fuel_leak")
    believed = posterior(bike, Question(shown=names)).conditions
    does = [acting(drawn(bike, n, 0), ARRIVAL) for n in range(1500)]
    for name in names:
        for level, p in list(believed[name].items())[1:]:
            assert agree(sum(one.get(name) == level for one in does), len(does), p), (name, level)


def test_a_mechanism_that_acted_before_a_repair_elsewhere_acts_after_it():
    """Hand sum: b acts with 0.5 whatever is done about a. c was bad by a (0.5 x 0.6) or by b (0.5 x 0.6).

    P(c bad before) = 1 - 0.7 x 0.7 = 0.51; after a is cured for certain c is bad by b alone, and was so before:
    P(bad after | bad before) = 0.3 / 0.51.
    """
    bike = built({"a": 0.5, "b": 0.5}, condition("c", {"a": 0.6, "b": 0.6}))
    cure = RepairDone("cure", {"a": 1.0})
    before = [world for n in range(6000) if "c" in acting(world := drawn(bike, n, 0), ARRIVAL)]
    after = [world for world in before if "c" in acting(changed(world, cure, 0), Situation(1))]
    assert agree(len(before), 6000, 0.51)
    assert agree(len(after), len(before), 0.3 / 0.51)
    seen = Observation("bad", (), Rung(0.0, {"c": {PRESENT: 1.0}}))
    question = Question((seen,), (cure,), Situation(1), shown=("c",))
    assert posterior(bike, question).conditions["c"][PRESENT] == pytest.approx(0.3 / 0.51)


def test_asked_again_with_nothing_changed_it_answers_the_same(small):
    bike, test = bike_graph(small, {"parked": "years"}), small.tests["spark_at_gap"]
    elsewhere = RepairDone("clean_pilot_jet", {"pilot_jet_blocked": 0.95})
    for n in range(200):
        world = drawn(bike, n, 0)
        first = answer(world, test, ARRIVAL)
        assert answer(world, test, ARRIVAL) == first
        assert answer(changed(world, elsewhere, 0), test, Situation(1)) == first


def test_a_tryout_is_kicked_anew_and_errs_anew(small):
    bike, test = bike_graph(small, {"parked": "years"}), small.tests["spark_at_gap"]
    worlds = [drawn(bike, n, 0) for n in range(200)]
    assert any(len({answer(world, test, ARRIVAL, (), tries) for tries in range(30)}) > 1 for world in worlds)


def test_cures_duds_and_looks_are_met_as_often_as_they_should_be():
    bike = built({"a": 0.5, "b": 0.5}, condition("c", {"a": 0.6, "b": 0.6}))
    done = RepairDone("new_part", {"a": 0.8}, {"b": 0.1})
    worlds = [drawn(bike, n, 0) for n in range(4000)]
    with_a = [world for world in worlds if "a" in world.causes]
    without_b = [world for world in worlds if "b" not in world.causes]
    assert agree(sum("a" not in changed(w, done, 0).causes for w in with_a), len(with_a), 0.8)
    assert agree(sum("b" in changed(w, done, 0).causes for w in without_b), len(without_b), 0.1)


def test_a_repair_lays_open_only_what_can_be_seen(small):
    bike, work = bike_graph(small, {"parked": "years"}), small.repairs["clean_points"]
    worlds = [drawn(bike, n, 0) for n in range(2000)]
    bad = [world for world in worlds if "points_oxidised" in world.causes]
    broken = sum(looks(world, work, frozenset({"points_oxidised"}), 0)["points_oxidised"] == "broken" for world in bad)
    assert agree(broken, len(bad), 0.97)
    assert looks(worlds[0], work, frozenset(), 0) == {}
