"""What to do next: every test, every repair and the try-out, each followed by the base plan.

One-step rollout: Q(step) = its own cost + sum over its outcomes of P(outcome) x value of the base plan after
it, with the access it opened still open. Source: Tu and Pattipati 2003.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.planning.base_plan import (
    EQUAL,
    SINGLY,
    TRY_OUT,
    Layout,
    Leaves,
    lay_out,
    value_leaves,
)
from diagnose.planning.options import Beliefs, Bench, Floats, RepairOption, TestOption
from diagnose.planning.steps import Step

TIE_MINUTES = 1.0
"""Steps within this many minutes of work of the best are taken as equally good (planning literature, 1.4, names
2 % or one minute; 2 % of a bike that has stood for years is a quarter of an hour, which is no tie)."""

ROUGHLY = 14
"""Repairs ordered one by one where tests are only to be put in order."""

WORTHY = 0.5
"""A repair only ties with a better one if it is at least this share as likely to cure: a choice of ours."""

WORKS, FAILS = "works", "fails"
"""The outcomes of a try-out."""

Rated = tuple[Step, int]
"""A step and its hazard."""


def rank_steps(
    bench: Bench, tests: Sequence[TestOption], repairs: Sequence[RepairOption], beliefs: Beliefs
) -> tuple[Step, ...]:
    """Return all that could be done next, best first.

    Sorted by expected money; within TIE_MINUTES of the best, if of use (see _tied): the safer, then what can be
    undone (test, try-out, repair), then the cheaper now, then by id. Steps forbidden now go last.
    Handing on is no step: the base plan begins with SERVICE_CALL where that is the cheapest.

    Args:
        bench: the bike as it stands and what things cost.
        tests: those that could be done; each has its outlook in beliefs.after.
        repairs: those that could be done.
        beliefs: what is believed now and after each outcome.

    Raises:
        KeyError: a test has no outlook, or needs access that is not in the tree.
    """
    layout = lay_out(bench, repairs, beliefs.marginals)
    now = _leaves([(beliefs.marginals, beliefs.failing, bench.opened)], [-1])
    worth = float(value_leaves(layout, now).value[0])
    rated = [*_tests(layout, tests, beliefs), *_repairs(layout, beliefs), _try_out(layout, beliefs)]
    possible = [step for step, _ in rated if not step.forbidden]
    tied = _tied(possible, worth, beliefs.failing, bench.money(TIE_MINUTES))
    return tuple(step for step, _ in sorted(rated, key=lambda one: _rank(one, (one[0].kind, one[0].id) in tied)))


def order_tests(
    bench: Bench, tests: Sequence[TestOption], repairs: Sequence[RepairOption], beliefs: Beliefs
) -> dict[str, float]:
    """Return id -> expected money of the tests, best first, locks and ties left aside: to choose the best few from."""
    layout = lay_out(bench, repairs, beliefs.marginals)
    rated = sorted(_tests(layout, tests, beliefs, ROUGHLY), key=lambda one: (one[0].expected, one[0].id))
    return {step.id: step.expected for step, _ in rated}


def _tied(steps: Sequence[Step], worth: float, failing: float, tie: float) -> frozenset[tuple[str, str]]:
    """Return kind and id of the steps that are as good as the best.

    Being cheap is not enough. A try-out must not be dearer than the base plan, a test must save as much as it costs
    once more: below that its gain is within the error of the plan, and such tests follow each other without end.
    A repair must be likely to help: WORTHY times what the best repair does.
    """
    limit = tie + min((step.expected for step in steps), default=0.0)
    repairs = [step for step in steps if step.kind == "repair"]
    best = min(repairs, key=lambda step: (step.expected, step.id), default=None)
    helps = 1.0 - failing + WORTHY * (best.curing - 1.0 + failing) if best else 0.0
    return frozenset(
        (step.kind, step.id)
        for step in steps
        if step.expected <= limit
        and (
            step.curing >= helps
            if step.kind == "repair"
            else step.expected + (step.cost if step.kind == "test" else 0.0) <= worth + EQUAL
        )
    )


def _rank(rated: Rated, tied: bool) -> tuple[bool, bool, float, int, int, float, str]:
    """Return the sorting key: among the tied only the reasons after expected money count."""
    step, hazard = rated
    kind = ("test", "try_out", "repair").index(step.kind)
    expected = 0.0 if tied else step.expected
    return bool(step.forbidden), not tied, expected, hazard, kind, step.cost, step.id


def _tests(layout: Layout, tests: Sequence[TestOption], beliefs: Beliefs, singly: int = SINGLY) -> list[Rated]:
    """Return every test as a step. If it turns out impossible only its access has been paid."""
    rows: list[tuple[Floats, float, frozenset[str]]] = []
    weights: list[tuple[int, float]] = []
    for number, test in enumerate(tests):
        opened = layout.bench.opened | layout.bench.tree.closure(test.access)
        outlook = beliefs.after[test.id]
        if test.cannot > 0.0:
            rows.append((beliefs.marginals, beliefs.failing, opened))
            weights.append((number, test.cannot))
        for outcome in np.flatnonzero(outlook.chances > 0.0):
            rows.append((outlook.marginals[outcome], float(outlook.failing[outcome]), opened))
            weights.append((number, (1.0 - test.cannot) * float(outlook.chances[outcome])))
    if not rows:
        return []
    values = value_leaves(layout, _leaves(rows, [-1] * len(rows)), singly).value
    after = np.zeros(len(tests))
    np.add.at(after, [number for number, _ in weights], values * np.array([share for _, share in weights]))
    return [_test(layout.bench, test, beliefs, float(left)) for test, left in zip(tests, after, strict=True)]


def _test(bench: Bench, test: TestOption, beliefs: Beliefs, after: float) -> Rated:
    opening = bench.tree.minutes_to_open(test.access, bench.opened)
    own = bench.money(test.minutes, test.wait)
    chances = beliefs.after[test.id].chances.tolist()
    step = Step(
        kind="test",
        id=test.id,
        minutes=opening + test.minutes,
        wait=test.wait,
        opens=bench.tree.to_open(test.access, bench.opened),
        cost=bench.money(opening) + own,
        expected=bench.money(opening) + (1.0 - test.cannot) * own + after,
        outcomes=tuple(zip(test.outcomes, chances, strict=True)),
        forbidden=test.forbidden,
    )
    return step, test.hazard


def _repairs(layout: Layout, beliefs: Beliefs) -> list[Rated]:
    """Return every repair as a step: the base plan made to begin with it."""
    bench, count = layout.bench, len(layout.repairs)
    if not count:
        return []
    rows = [(beliefs.marginals, beliefs.failing, bench.opened)] * count
    values = value_leaves(layout, _leaves(rows, list(range(count))))
    found = []
    for number, repair in enumerate(layout.repairs):
        opening = bench.tree.minutes_to_open(repair.access, bench.opened)
        step = Step(
            kind="repair",
            id=repair.id,
            minutes=opening + repair.minutes,
            wait=repair.wait,
            opens=bench.tree.to_open(repair.access, bench.opened),
            parts=repair.parts,
            cost=bench.money(opening + repair.minutes, repair.wait, repair.parts),
            expected=float(values.value[number]),
            curing=float(values.curing[number]),
            forbidden=repair.forbidden,
        )
        found.append((step, repair.hazard))
    return found


def _try_out(layout: Layout, beliefs: Beliefs) -> Rated:
    """Return the try-out as a step: close up, try, and go on with the base plan if it fails."""
    bench, failing = layout.bench, beliefs.failing
    minutes = bench.tree.minutes_to_close(bench.opened) + bench.try_minutes
    given_fails = np.minimum(beliefs.marginals / max(failing, 1e-12), 1.0)
    left = value_leaves(layout, _leaves([(given_fails, 1.0, frozenset())], [-1])).value[0]
    step = Step(
        kind="try_out",
        id=TRY_OUT,
        minutes=minutes,
        cost=bench.money(minutes),
        expected=bench.money(minutes) + failing * float(left),
        outcomes=((WORKS, 1.0 - failing), (FAILS, failing)),
        forbidden=bench.try_forbidden,
    )
    return step, bench.try_hazard


def _leaves(rows: Sequence[tuple[Floats, float, frozenset[str]]], forced: Sequence[int]) -> Leaves:
    return Leaves(
        np.array([marginals for marginals, _, _ in rows]),
        np.array([failing for _, failing, _ in rows]),
        tuple(opened for _, _, opened in rows),
        np.array(forced, dtype=np.intp),
    )
