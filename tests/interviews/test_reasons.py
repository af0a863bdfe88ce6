"""Why a step, in words: every figure is the planner's, and what is not known is not said."""

from __future__ import annotations

from dataclasses import replace

from diagnose.consultation import begin
from diagnose.terminal import reasons
from diagnose.terminal.cards import test_step as a_test_as_step
from diagnose.wording import minutes, per_cent

SHOP = {"labour": 30.0, "currency": "EUR"}
"""Half a unit of money for a minute of work."""


def begun(small):
    return begin(small, {"bike": {}, "complaint": next(iter(small.complaints)), "shop": SHOP})


def test_a_test_says_what_it_tells_saves_and_beats(small):
    job = begun(small)
    step = next(one for one in job.steps if one.id == "look_points")
    reason = job.reason(step)
    text = "\n".join(reasons.full(job, reason))
    assert f"Grey or furred ({per_cent(reason.then[0].chance)}): Points filmed over from standing" in text
    assert f"Saves on average {minutes(step.saves / 0.5)} of what is left (cost {step.saves:.0f} EUR)" in text
    assert f"takes 6 min (cost {step.cost:.0f} EUR)" in text
    other = reason.runner_up.step
    name = (small.repairs if other.kind == "repair" else small.tests)[other.id].name if other.id else ""
    assert name in text
    assert len(" ".join(reasons.short(job, reason))) <= 120


def test_a_repair_says_how_often_it_is_right_and_whether_to_look_first(small):
    job = begun(small)
    step = next(one for one in job.steps if one.kind == "repair" and "points_oxidised" in small.repairs[one.id].cures)
    text = "\n".join(reasons.full(job, job.reason(step)))
    assert f"With this done it is right in {per_cent(step.curing)} of cases" in text
    assert "To look first (look at the points) brings" in text


def test_a_try_out_says_how_likely_it_goes(small):
    job = begun(small)
    step = next(one for one in job.steps if one.kind == "try_out")
    assert f"It goes with {per_cent(1 - job.belief.failing)}" in reasons.short(job, job.reason(step))[0]


def test_what_pays_for_itself_and_what_does_not_is_said_so(small):
    job = begun(small)
    step = next(one for one in job.steps if one.id == "look_points")
    for saves, says in ((0.5, "saves less than it costs"), (1.0, "about what it costs"), (3.0, "Saves about")):
        priced = replace(step, saves=saves * step.cost)
        assert says in " ".join(reasons.short(job, job.reason(priced)))


def test_what_the_planner_does_without_has_no_figures(small):
    job = begun(small)
    step = replace(a_test_as_step(job, "look_points"), cost=0.0, saves=0.0)
    assert not any("aves" in text for text in reasons.full(job, job.reason(step)))
