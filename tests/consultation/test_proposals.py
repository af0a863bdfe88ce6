"""What the tool proposes on the shipped knowledge, step after step, as a mechanic would judge it."""

from __future__ import annotations

import pytest

from diagnose.consultation import TRY_TO_START, Consultation, begin, observe, reconnect, repair
from diagnose.consultation.choices import cannot

KICK = {"starter": "kick", "fuelling": "carburettor", "cylinders": "1", "tap": "gravity", "throttle": "slide"}
TWO = {**KICK, "strokes": "2", "ignition": "points_magneto", "inlet": "port", "oiling": "premix", "parked": "lately"}
FOUR = {**KICK, "strokes": "4", "ignition": "cdi_self", "parked": "lately"}

COMPRESSION = {"feel_kick_lever", "feel_kick_hold", "listen_cranking", "feel_thumb", "comp_dry", "feel_exhaust_puff"}
FUEL = {"look_fuel_level", "look_tap", "turn_on_tap", "look_bowl_catch", "flow_tap", "look_bowl_dirt"}


TRIED = {"not_a_cough": "nothing", "starts_then_dies": "fires_then_dies", "wont_idle": "wont_idle"}
"""What the try-out shows of a complaint that has an outcome of its own."""


def follow(job: Consultation, odd: dict[str, str], most: int, cause: str = "") -> tuple[list[str], Consultation]:
    """Do what is proposed: tests give the odd answers named, all others are sound, until the cause is put right."""
    done: list[str] = []
    answers = dict(odd)
    while len(done) < most and job.next_step is not None and not job.done:
        step = job.next_step
        done.append(step.id)
        if step.kind == "repair":
            right = cause in job.knowledge.repairs[step.id].cures
            job = job.add(repair(step.id, {cause: "broken"} if right and answers else {}))
            answers = {} if right else answers
        elif step.kind == "reconnect":
            job = job.add(reconnect(step.id))
        elif step.id in answers:
            job = job.add(observe(step.id, answers[step.id]))
        else:
            job = job.add(observe(step.id, job.knowledge.tests[step.id].outcomes[-1].id))
    return done, job


@pytest.mark.source("common practice: spark, fuel and compression are each looked at before anything is taken apart")
@pytest.mark.parametrize("bike", [TWO, FOUR])
def test_a_dead_bike_is_asked_for_spark_fuel_and_compression_first(shipped, bike):
    job = begin(shipped, {"bike": bike, "complaint": "not_a_cough"})
    done, _ = follow(job, {TRY_TO_START: "nothing"}, 12)
    assert "spark_at_gap" in done
    assert FUEL & set(done)
    assert COMPRESSION & set(done)


PILOT = {"ask_choke_effect": "better", "screw_response": "no_answer", "pilot_jet_look": "blocked"}
NO_SPARK = {
    "spark_at_gap": "none",
    "spark_plug_air": "none",
    "spark_at_points": "none_at_all",
    "spark_kill_isolated": "still_none",
}


@pytest.mark.parametrize(
    ("complaint", "answers", "cause"),
    [
        ("starts_then_dies", {TRY_TO_START: "only_on_choke", **PILOT}, "pilot_jet_blocked"),
        ("wont_idle", {TRY_TO_START: "wont_idle", **PILOT}, "pilot_jet_blocked"),
        (
            "not_a_cough",
            {TRY_TO_START: "nothing", **NO_SPARK, "look_points": "film", "meter_points": "high"},
            "points_oxidised",
        ),
        (
            "floods",
            {TRY_TO_START: "as_reported", "look_leaks": "from_overflow", "float_valve_pressure": "leaks"},
            "needle_leaks",
        ),
    ],
)
@pytest.mark.parametrize("bike", [TWO, {**TWO, "parked": "year"}])
def test_what_was_found_is_put_right_and_then_tried(shipped, bike, complaint, answers, cause):
    job = begin(shipped, {"bike": bike, "complaint": complaint})
    done, job = follow(job, answers, 30, cause)
    assert job.done, done
    assert any(cause in shipped.repairs[step].cures for step in done if step in shipped.repairs)


@pytest.mark.parametrize("complaint", ["not_a_cough", "starts_then_dies", "hard_to_start", "floods", "wont_idle"])
def test_no_repair_is_proposed_for_next_to_nothing(shipped, complaint):
    """Two minutes of it apart: what takes no longer than to look whether it is needed."""
    job = begin(shipped, {"bike": TWO, "complaint": complaint})
    for _ in range(12):
        step = job.next_step
        assert step is not None
        if step.kind == "repair":
            likely = max(job.belief.causes.get(cause, 0.0) for cause in shipped.repairs[step.id].cures)
            assert likely > 0.05 or step.minutes <= 2.0, (step.id, likely)
        _, job = follow(job, {TRY_TO_START: TRIED.get(complaint, "as_reported")}, 1)


@pytest.mark.parametrize(("parked", "chance"), [("lately", 0.02), ("years", 0.15)])
def test_what_may_be_seized_is_likelier_so_on_a_bike_that_stood(shipped, parked, chance):
    facts = {**FOUR, "parked": parked}
    state = begin(shipped, {"bike": facts, "complaint": "wont_idle"}).state
    assert cannot(shipped, state, shipped.tests["screw_turns"]) == pytest.approx(chance)


def test_what_is_seized_on_the_way_counts_until_it_is_open(shipped):
    job = begin(shipped, {"bike": {**TWO, "parked": "years"}, "complaint": "not_a_cough"})
    plug = shipped.access["plug_out"].cannot[2]
    assert cannot(shipped, job.state, shipped.tests["look_plug"]) == pytest.approx(plug)
    after = job.add(observe("turn_by_hand", "free"))  # takes the plug out
    assert cannot(shipped, after.state, shipped.tests["look_plug"]) == 0.0


def test_where_it_is_not_known_how_long_it_stood_the_chance_lies_between(shipped):
    facts = {name: option for name, option in FOUR.items() if name != "parked"}
    state = begin(shipped, {"bike": facts, "complaint": "wont_idle"}).state
    assert 0.02 < cannot(shipped, state, shipped.tests["screw_turns"]) < 0.15


@pytest.mark.source(
    "common practice: petrol on the piston locks an engine too; it is let out before anything is opened"
)
def test_an_engine_locked_by_petrol_is_drained_before_it_is_taken_apart(shipped):
    job = begin(shipped, {"bike": TWO, "complaint": "non_runner"})
    for test, outcome in (
        ("feel_kick_lever", "solid"),
        ("turn_by_hand", "liquid"),
        ("look_plug_smell", "fresh_petrol"),
    ):
        job = job.add(observe(test, outcome))
    assert job.belief.failing_to_turn > 0.5
    repairs = [step.id for step in job.steps if step.kind == "repair"]
    assert set(repairs[:3]) & {"dry_out_engine", "shut_tap_when_parked"}
    assert repairs.index("dry_out_engine") < min(
        repairs.index(one) for one in repairs if one in ("rebore", "bottom_end")
    )
