"""Two steps ahead: what is asked about the future, what is left out, and what the second step may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.planning.access import AccessTree
from diagnose.planning.look_ahead import rank_steps
from diagnose.planning.options import Beliefs, Bench, Outlook, RepairOption, TestOption
from diagnose.planning.two_steps import CANNOT, DONE, Happened, deepen
from tests.planning.small_jobs import KINDS, TRY_OUT, random_job

BENCH = Bench(tree=AccessTree({}), rate=1.0, try_minutes=2.0, service_cost=1e4)
REPAIRS = (
    RepairOption(id="left", minutes=40.0, cures={0: 1.0}),
    RepairOption(id="right", minutes=40.0, cures={1: 1.0}),
)
LOOK = TestOption(id="look", minutes=3.0, outcomes=("is_left", "is_right"))
HALF = np.array([0.5, 0.5])
TELLS = Outlook(chances=HALF, marginals=np.eye(2), failing=np.ones(2))


def one_of_two(happened: Happened) -> Beliefs:
    """Return the beliefs when exactly one of two faults is there, and a look tells which."""
    now, failing, after = HALF, 1.0, {"look": TELLS}
    for step, outcome in happened:
        if step == "look" and outcome != CANNOT:
            now = np.eye(2)[LOOK.outcomes.index(outcome)]
        if outcome == DONE:
            now = now * (np.array(["left", "right"]) != step)
            failing = float(now.sum())
        if step == TRY_OUT:
            now, failing = now / failing, 1.0
        after = {}
    return Beliefs(marginals=now, failing=failing, after=after)


def q_of(*tests: TestOption, bench: Bench = BENCH) -> dict[str, float]:
    """Return what each step is expected to cost two steps ahead."""
    steps = rank_steps(bench, tests, REPAIRS, one_of_two(()))
    return {step.id: step.expected for step in deepen(bench, tests, REPAIRS, steps, one_of_two)}


def test_a_sure_test_costs_itself_the_repair_and_the_try_out() -> None:
    assert q_of(LOOK)["look"] == pytest.approx(3.0 + 40.0 + 2.0)
    assert q_of(LOOK)["left"] == pytest.approx(40.0 + 2.0 + 0.5 * (40.0 + 2.0))


def test_a_test_that_turns_out_impossible_is_not_paid() -> None:
    blind = 40.0 + 2.0 + 0.5 * (40.0 + 2.0)
    assert q_of(replace(LOOK, cannot=0.25))["look"] == pytest.approx(0.75 * (3.0 + 40.0 + 2.0) + 0.25 * blind)


def test_forbidden_steps_and_try_outs_in_vain_are_not_deepened() -> None:
    asked = set[str]()

    def foresee(happened: Happened) -> Beliefs:
        asked.update(step for step, _ in happened[:1])
        return one_of_two(happened)

    locked = replace(LOOK, forbidden=("open_fuel",))
    steps = rank_steps(BENCH, [locked], REPAIRS, one_of_two(()))
    deeper = deepen(BENCH, [locked], REPAIRS, steps, foresee)
    assert asked == {"left", "right"}
    assert {step.id for step in deeper} == {"left", "right", "look", TRY_OUT}
    assert next(step.expected for step in deeper if step.id == "look") == pytest.approx(45.0)


def test_no_try_out_is_counted_on_where_it_is_locked() -> None:
    locked = replace(BENCH, try_forbidden=("stop_not_proved",))
    seen = list[Happened]()

    def foresee(happened: Happened) -> Beliefs:
        seen.append(happened)
        return one_of_two(happened)

    deepen(locked, [], REPAIRS, rank_steps(locked, [], REPAIRS, one_of_two(())), foresee)
    assert seen == [(("left", DONE),), (("right", DONE),)]


def test_only_the_few_best_are_deepened_and_come_first() -> None:
    steps = rank_steps(BENCH, [LOOK], REPAIRS, one_of_two(()))
    deeper = deepen(BENCH, [LOOK], REPAIRS, steps, one_of_two, few=1)
    assert [step.id for step in deeper] == [step.id for step in steps]
    assert deeper[1:] == steps[1:]


def test_a_test_that_is_not_given_is_refused() -> None:
    steps = rank_steps(BENCH, [LOOK], REPAIRS, one_of_two(()))
    with pytest.raises(KeyError, match="look"):
        deepen(BENCH, [], REPAIRS, steps, one_of_two)


@pytest.mark.parametrize("seed", range(6))
def test_more_to_choose_from_afterwards_never_makes_a_test_dearer(seed: int) -> None:
    job = random_job(KINDS["likely, 4 faults 4 tests"], seed)
    tests, repairs = job.options_at(job.start)
    bench = job.bench_at(job.start)
    steps = rank_steps(bench, tests, repairs, job.beliefs(job.start))

    def foresee(happened: Happened) -> Beliefs:
        ways = tuple((step, "" if outcome == DONE else outcome) for step, outcome in happened)
        return job.beliefs(job.follow(job.start, ways))

    one = {step.id: step.expected for step in steps if step.kind == "test"}
    two = {step.id: step.expected for step in deepen(bench, tests, repairs, steps, foresee, few=20)}
    assert all(two[test] <= one[test] + 1e-9 for test in one)
    assert any(two[test] < one[test] - 1e-3 for test in one)
