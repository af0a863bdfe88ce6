"""Why a step: against Bayes' rule by hand on a small book, and against doing the step on the shipped one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.consultation import Consultation, begin, observe, played, repair
from diagnose.consultation.reasons import moved_most
from diagnose.planning.steps import Step
from diagnose.problems import ImpossibleEvidence
from diagnose.reading.load import load
from diagnose.reading.script import read_script

HERE = Path(__file__).parent.parent
TWO = {
    "starter": "kick",
    "fuelling": "carburettor",
    "cylinders": "1",
    "strokes": "2",
    "ignition": "points_magneto",
    "parked": "years",
}


@pytest.fixture(scope="module")
def small():
    return load(HERE / "interviews" / "small")


def test_the_causes_that_move_most_by_a_sum_on_paper():
    now = np.array([0.5, 0.3, 0.1])
    chances = np.array([0.4, 0.6])
    after = np.array([[0.8, 0.15, 0.1], [0.3, 0.4, 0.1]])
    # moves on average: 0.4 x 0.3 + 0.6 x 0.2 = 0.24, 0.4 x 0.15 + 0.6 x 0.1 = 0.12, nothing
    assert moved_most(now, chances, after) == ((0,), (1,))


def test_causes_that_the_same_outcome_raises_stand_together_and_little_is_not_named():
    now = np.array([0.4, 0.3, 0.2])
    after = np.array([[0.8, 0.6, 0.21], [0.0, 0.0, 0.19]])
    assert moved_most(now, np.array([0.5, 0.5]), after) == ((0, 1),)  # 0.4, 0.3 and 0.01 on average


def test_an_outcome_that_cannot_happen_moves_nothing():
    after = np.array([[0.5], [np.nan]])
    assert moved_most(np.array([0.5]), np.array([1.0, 0.0]), after) == ()


def test_each_outcome_by_bayes_rule(small):
    job = begin(small, {"bike": {}, "complaint": next(iter(small.complaints))})
    step = next(s for s in job.steps if s.id == "look_points")
    p = job.belief.causes["points_oxidised"]
    fires = 1 - (1 - 0.05) * (1 - 0.9)  # the base and the driver of look_points: grey
    grey = fires * p + 0.05 * (1 - p)
    reason = job.reason(step)
    assert [then.outcome for then in reason.then] == ["grey", "bright"]
    first, second = reason.then
    assert first.moved == second.moved == "points_oxidised"
    assert first.chance == pytest.approx(grey)
    assert (first.before, first.after) == pytest.approx((p, fires * p / grey))
    assert second.after == pytest.approx((1 - fires) * p / (1 - grey))
    assert "points_oxidised" in reason.tells[0]


def _moments(shipped, name: str, every: int) -> list[Consultation]:
    script = read_script(HERE / "scenarios" / name, shipped)
    jobs = [job for _, job in played(shipped, script.events)]
    return [job for job in jobs[::every] if not job.done and job.next_step is not None]


def _done(job: Consultation, step: Step) -> dict[str, Consultation]:
    """Return the job after each outcome, done instead of foreseen."""
    found = {}
    for outcome in job.knowledge.tests[step.id].outcomes:
        after = job.add(observe(step.id, outcome.id))
        try:
            _ = after.belief
        except ImpossibleEvidence:
            continue
        found[outcome.id] = after
    return found


@pytest.mark.parametrize("name", ["08-barn-six-years.yaml", "04-drips-and-floods.yaml"])
def test_what_is_foreseen_is_what_comes(shipped, name):
    seen = 0
    for job in _moments(shipped, name, 4):
        tests = [step for step in job.steps if step.kind == "test" and not step.forbidden and step.minutes < 15][:2]
        for step in tests:
            reason, done = job.reason(step), _done(job, step)
            if not reason.then:
                continue
            seen += 1
            assert sum(then.chance for then in reason.then) == pytest.approx(1.0)
            situation_kept = job.knowledge.tests[step.id].kicks == 0
            for then in reason.then:
                if then.outcome in done and situation_kept:
                    causes = done[then.outcome].belief.causes
                    assert causes[then.moved] == pytest.approx(then.after, abs=1e-6)
                    assert max(causes.values()) == pytest.approx(then.probability, abs=1e-6)
            _assert_moved_most(job, reason, done)
    assert seen >= 2


def _assert_moved_most(job: Consultation, reason, done: dict[str, Consultation]) -> None:
    """The named causes are those moved furthest, by the jobs in which the step was really done."""
    if job.knowledge.tests[reason.step.id].kicks:
        return
    chances = {then.outcome: then.chance for then in reason.then}
    moved = {
        cause: sum(chances.get(o, 0.0) * abs(after.belief.causes[cause] - p) for o, after in done.items())
        for cause, p in job.belief.causes.items()
    }
    named = {cause for group in reason.tells for cause in group}
    least = min((moved[cause] for cause in named), default=1.0)
    assert all(amount <= least + 1e-6 for cause, amount in moved.items() if cause not in named) or len(named) == 0
    furthest = max(moved, key=lambda cause: moved[cause])
    assert (furthest in named) == (moved[furthest] >= 0.01)


def test_the_runner_up_is_the_second_step_and_compared_by_its_own_figures(shipped):
    job = begin(shipped, {"bike": TWO, "complaint": "not_a_cough"})
    first, second = [step for step in job.steps if not step.forbidden][:2]
    other = job.reason(first).runner_up
    assert other is not None
    assert other.step == second
    assert other.dearer == second.cost - first.cost
    assert other.saves_less == first.saves - second.saves
    back = job.reason(second).runner_up
    assert back is not None
    assert back.step == first


def test_what_lifts_a_lock_says_what_waits_for_it(shipped):
    job = begin(shipped, {"bike": TWO, "complaint": "not_a_cough"})
    turn = next(step for step in job.steps if step.id == "turn_by_hand")
    waits = job.reason(turn).unlocks
    assert waits is not None
    assert waits.merit > turn.merit
    assert set(waits.forbidden) & {lock.caution for lock in job.locks if "turn_by_hand" in lock.unlocked_by}


def test_what_is_open_already_is_cheap_now_and_what_is_not_is_not(shipped):
    job = begin(shipped, {"bike": TWO, "complaint": "not_a_cough"})
    assert not any(job.reason(step).at_hand for step in job.steps[:3])
    job = job.add(observe("turn_by_hand", "free"))  # takes the plug out
    at_hand = {step.id: job.reason(step).at_hand for step in job.steps if step.id in ("look_plug", "flow_bowl")}
    assert at_hand["look_plug"] == ("plug_out",)
    assert not at_hand.get("flow_bowl")


def test_a_repair_says_how_likely_what_it_cures_is_and_what_could_be_looked_at_first(shipped):
    job = begin(shipped, {"bike": {**TWO, "parked": "lately"}, "complaint": "not_a_cough"})
    step = next(s for s in job.steps if s.kind == "repair" and s.id == "clean_points")
    reason = job.reason(step)
    assert dict(reason.cures)["points_oxidised"] == job.belief.causes["points_oxidised"]
    assert [p for _, p in reason.cures] == sorted((p for _, p in reason.cures), reverse=True)
    assert reason.look is not None
    likeliest = reason.cures[0][0]
    looks = job.knowledge.tests[reason.look.id].outcomes
    assert max(max(o.drivers[likeliest].values()) for o in looks if likeliest in o.drivers) >= 0.7
    after = job.add(repair("clean_points"))
    assert step.curing > 1 - job.belief.failing
    assert after.belief.failing < job.belief.failing
