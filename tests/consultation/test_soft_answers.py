"""An answer with a weight for each outcome: told, counted, taken back, refused where it says nothing."""

from __future__ import annotations

from math import exp

import pytest

from diagnose.consultation import begin, observe, repair, resume, undo
from diagnose.events import Event
from diagnose.problems import JobError

BIKE = {"strokes": "2", "starter": "kick", "ignition": "points_magneto", "fuelling": "carburettor", "parked": "lately"}
SPARK = ("none", "weak", "irregular", "good")


@pytest.fixture
def job(shipped):
    return begin(shipped, {"bike": BIKE, "complaint": "not_a_cough"})


def soft(outcome, **weights):
    return observe("spark_at_gap", outcome, weights=weights)


def test_a_soft_answer_is_the_mixture_of_the_hard_ones(job):
    """P(cause | soft) is the average of P(cause | outcome), by weight times P(outcome)."""
    w = {"none": 0.0, "weak": 0.7, "irregular": 0.0, "good": 0.3}
    hard = {outcome: job.add(observe("spark_at_gap", outcome)).belief for outcome in SPARK}
    joint = {outcome: w[outcome] * exp(hard[outcome].log_evidence) for outcome in SPARK}
    whole = sum(joint.values())
    got = job.add(soft("weak", **w)).belief
    assert exp(got.log_evidence) == pytest.approx(whole, rel=1e-9)
    for cause, p in got.causes.items():
        right = sum(joint[o] * hard[o].causes[cause] for o in SPARK) / whole
        assert p == pytest.approx(right, abs=1e-9)


def test_weights_of_one_outcome_alone_are_that_outcome(job):
    hard = job.add(observe("spark_at_gap", "weak"))
    assert job.add(soft("weak", weak=0.4)).belief.causes == hard.belief.causes


def test_it_is_kept_with_its_event_and_taken_back_by_undo(job, shipped):
    after = job.add(soft("weak", weak=0.7, good=0.3))
    assert after.events[-1].body == {"test": "spark_at_gap", "outcome": "weak", "weights": {"weak": 0.7, "good": 0.3}}
    assert after.state.seen[0].weights == {"weak": 0.7, "good": 0.3}
    assert after.add(undo()).belief.causes == job.belief.causes
    again = resume(shipped, after.events)
    assert again.belief.causes == after.belief.causes


def test_one_told_late_counts_for_the_bike_as_it_was(job):
    done = job.add(repair("clean_points"))
    event = soft("weak", weak=0.7, good=0.3)
    late = done.add(Event("observe", {**event.body, "before": "clean_points"}))
    in_time = job.add(event).add(repair("clean_points"))
    assert late.belief.causes == pytest.approx(in_time.belief.causes, abs=1e-12)


def test_the_next_steps_go_by_it(job):
    """Weights that say next to nothing leave the plan where it was but for the test itself."""
    flat = job.add(soft("weak", **dict.fromkeys(SPARK, 0.5)))
    assert flat.belief.causes == pytest.approx(job.belief.causes, abs=1e-12)
    assert all(step.id != "spark_at_gap" for step in flat.steps)


@pytest.mark.parametrize(
    ("weights", "says"),
    [
        ({"wek": 0.5, "weak": 0.5}, "weights: no outcome 'wek'; write one of: none, weak, irregular, good"),
        ({"weak": -0.1}, "weights: weak: -0.1 is no weight; write a number, 0 or more"),
        ({"weak": "much"}, "weights: weak: 'much' is no weight; write a number, 0 or more"),
        ({"weak": float("nan")}, "weights: weak: nan is no weight; write a number, 0 or more"),
        ({"weak": True}, "weights: weak: True is no weight; write a number, 0 or more"),
        ({"good": 0.5}, "weights: weak is what was seen; give it a weight above 0"),
    ],
)
def test_weights_that_cannot_be_are_refused(job, weights, says):
    with pytest.raises(JobError, match="spark_at_gap") as caught:
        job.add(soft("weak", **weights))
    assert says in str(caught.value)
