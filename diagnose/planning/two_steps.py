"""Two steps ahead for the few best of one: what a step is worth, with what could follow it.

  Q2(step) = its own cost + sum over its outcomes of P(outcome) x V1(belief after it)
  V1       = the least of V, of Q1 of every test and repair, and, after a repair, of a try-out with V1 where it fails

V and Q1 are those of look_ahead. A try-out counts as part of the repair that it follows: otherwise two steps would
end before it is known whether that repair helped, and a cheap repair could not be seen to be the better test.
Source: literature file, 1.4 point 2 (two steps for the three to six best); the idea of a partial two-step look-ahead
is that of Jensen and others 2001 (of which only the opening was seen).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from diagnose.planning.base_plan import TRY_OUT, money_left
from diagnose.planning.look_ahead import FAILS, WORKS, rank_steps
from diagnose.planning.options import Beliefs, Bench, RepairOption, TestOption
from diagnose.planning.steps import Step

FEW = 4
"""So many of the best steps are looked at two steps ahead."""

DONE, CANNOT = "done", "cannot"
"""What can come of a repair, and of a test besides its outcomes."""

UNLIKELY = 1e-9
"""What comes about less often than this is not foreseen."""

Happened = tuple[tuple[str, str], ...]
"""Steps and what came of them, in order: (test, outcome or CANNOT), (repair, DONE), (TRY_OUT, FAILS)."""

Foresee = Callable[[Happened], Beliefs]
"""What would be believed after that. Of the tests those are still open then that have an outlook in it."""


@dataclass(frozen=True, slots=True)
class _Job:
    """What stays the same on every way: the tests and repairs that could be done now, and what would be believed."""

    tests: tuple[TestOption, ...]
    repairs: tuple[RepairOption, ...]
    foresee: Foresee


def deepen(
    bench: Bench,
    tests: Sequence[TestOption],
    repairs: Sequence[RepairOption],
    steps: Sequence[Step],
    foresee: Foresee,
    few: int = FEW,
) -> tuple[Step, ...]:
    """Return the steps, the few best looked at two steps ahead and put first, by what they are expected to cost.

    Args:
        bench: the bike as it stands and what things cost.
        tests: those that could be done now.
        repairs: those that could be done now.
        steps: what rank_steps made of them.
        foresee: see Foresee; asked once for each outcome of each of the few, for a repair also as tried in vain.
        few: how many are deepened; not those forbidden now, nor a try-out that is sure to fail.

    Raises:
        KeyError: a step is a test that is not given.
    """
    job = _Job(tuple(tests), tuple(repairs), foresee)
    chosen = [step for step in steps if not step.forbidden and not _in_vain(step)][:few]
    deeper = []
    for step in chosen:
        expected = _expected(job, bench, step)
        deeper.append(replace(step, expected=expected, merit=-expected))
    deeper.sort(key=lambda step: step.expected)  # equals stay as one step ranked them
    return (*deeper, *(step for step in steps if step not in chosen))


def _in_vain(step: Step) -> bool:
    return step.kind == "try_out" and dict(step.outcomes)[WORKS] <= UNLIKELY


def _expected(job: _Job, bench: Bench, step: Step) -> float:
    """Return what a step costs and what comes after it, two steps ahead."""
    opened = bench.opened.union(bench.tree.closure(step.opens))
    if step.kind == "repair":
        return step.cost + _repaired(job, replace(bench, opened=opened), step.id)
    if step.kind == "try_out":
        return step.cost + _failed(job, bench, (), dict(step.outcomes)[FAILS])
    there = replace(bench, opened=opened)
    test = next((test for test in job.tests if test.id == step.id), None)
    if test is None:
        raise KeyError(step.id)
    after = [(outcome, (1.0 - test.cannot) * chance) for outcome, chance in step.outcomes]
    after.append((CANNOT, test.cannot))
    own = step.cost - test.cannot * bench.money(test.minutes, test.wait)
    return own + sum(p * _value(job, there, ((step.id, outcome),)) for outcome, p in after if p > UNLIKELY)


def _repaired(job: _Job, bench: Bench, repair: str) -> float:
    """Return V1 after a repair: go on as it is, or try out and go on if it fails."""
    done: Happened = ((repair, DONE),)
    going_on = _value(job, bench, done)
    if bench.try_forbidden:
        return going_on
    attempt = bench.money(bench.tree.minutes_to_close(bench.opened) + bench.try_minutes)
    return min(going_on, attempt + _failed(job, bench, done, job.foresee(done).failing))


def _failed(job: _Job, bench: Bench, happened: Happened, failing: float) -> float:
    """Return V1 after a try-out in vain, times its probability."""
    if failing <= UNLIKELY:
        return 0.0
    return failing * _value(job, replace(bench, opened=frozenset()), (*happened, (TRY_OUT, FAILS)))


def _value(job: _Job, bench: Bench, happened: Happened) -> float:
    """Return the least of V and of Q1 over all that could be done after what happened."""
    beliefs, gone = job.foresee(happened), {step for step, _ in happened}
    tests = [test for test in job.tests if test.id in beliefs.after]
    repairs = [repair for repair in job.repairs if repair.id not in gone]
    left = money_left(bench, repairs, beliefs.marginals, beliefs.failing)
    steps = rank_steps(bench, tests, repairs, beliefs)
    return min([left, *(step.expected for step in steps if not step.forbidden)])
