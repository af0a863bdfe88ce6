"""What to do next: every test, every repair and the try-out, each followed by the value of what is then believed.

One-step rollout: Q(step) = its own cost + sum over its outcomes of P(outcome) x V(belief after it), with the
access it opened still open. Source: Tu and Pattipati 2003.

V is the base plan, or looking first (finding) where tests have a price and it is cheaper. The base plan can be
followed: there the step of least Q is the best. Looking first is no plan but a measure of what is left: there the
best step is the one that takes off the most of it for its own money, (V now - Q) / own cost + 1, as in greedy
search by information per cost (Golovin and Krause 2011). A step of 1 or more pays. Where none does, what is left
costs more to find than the bench says, and the price of a bit is raised until one does (rank_paying). Where none does
at any price there is nothing left to find out with, and the base plan is followed (by_the_plan).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf

import numpy as np

from diagnose.planning.base_plan import (
    EQUAL,
    SERVICE_CALL,
    SINGLY,
    TRY_OUT,
    Layout,
    Leaves,
    Values,
    base_plan,
    lay_out,
    measured,
    money_left,
    value_leaves,
)
from diagnose.planning.chances import after_repairs, cover
from diagnose.planning.options import Beliefs, Bench, Floats, RepairOption, TestOption
from diagnose.planning.steps import Step

ROUGHLY = 14
"""Repairs ordered one by one where tests are only to be put in order."""

SLACK = 0.05
"""Steps that save at most this share less than the best, for the same money, are taken as equally good. On small jobs,
at 10 a bit, slack of 0, 2 and 5 per cent ends 7.3, 6.9 and 6.5 per cent above the optimum (three sets of 60). Ranked by
expected cost, 2 per cent lose 0.2 to 1.4 and 5 per cent 1.2 to 6.6, so that there only equals are equal."""

DEAR_MINUTES, DOUBTFUL = 20.0, 0.5
"""Parts that cost more than so many minutes of work, for a repair that will more likely not help than help, count this
share of their merit: nothing is bought on suspicion while there is still something to look at. A choice of ours."""

QUICK_SHARE = 0.6
"""What a test saves by the quick view is counted at this share: 955 tests of the shipped book seen both ways saved 0.57
of it when looked ahead to exactly, those that seemed best (the ones that are chosen) 0.43 to 0.64."""

DEARER = tuple(1.25**n for n in range(11))
"""Prices of a bit, as multiples of the bench's, at which rank_paying looks for a step that pays."""

DIGITS = 9
"""Decimals of a merit; what is beyond them is rounding, and must not decide between two sides of a twin."""

WORKS, FAILS = "works", "fails"
"""The outcomes of a try-out."""

Rated = tuple[Step, int]
"""A step and its hazard."""

Way = Callable[[float], list[Rated]]
"""Steps of one kind at a price of a bit."""

Ranking = Callable[[float, float], tuple[Step, ...]]
"""The steps ranked at a price of a bit, with some slack."""


def rank_steps(
    bench: Bench,
    tests: Sequence[TestOption],
    repairs: Sequence[RepairOption],
    beliefs: Beliefs,
    slack: float = SLACK,
    quick: frozenset[str] = frozenset(),
) -> tuple[Step, ...]:
    """Return all that could be done next, best first.

    Among those about as good as the best (SLACK): the safer, then what can be undone (test, try-out, repair), then
    the cheaper now, then by id. Steps forbidden now go last.
    Handing on is no step: the base plan begins with SERVICE_CALL where that is the cheapest.

    Args:
        bench: the bike as it stands and what things cost.
        tests: those that could be done; each has its outlook in beliefs.after.
        repairs: those that could be done.
        beliefs: what is believed now and after each outcome.
        slack: see SLACK; only where tests have a price, else only what costs the same is equally good.
        quick: ids of the tests whose outlook is the quick view.

    Raises:
        KeyError: a test has no outlook, or needs access that is not in the tree.
    """
    return _ranking(bench, tests, repairs, beliefs, quick)(bench.bit_cost, slack)


def _ranking(
    bench: Bench,
    tests: Sequence[TestOption],
    repairs: Sequence[RepairOption],
    beliefs: Beliefs,
    quick: frozenset[str],
) -> Ranking:
    """Return what ranks as rank_steps does, at any price of a bit: most of the work does not hang on it."""
    layout = measured(bench, repairs, beliefs.marginals, beliefs.failing)
    ways = (_tests(layout, tests, beliefs), _repairs(layout, beliefs), _try_out(layout, beliefs))
    worth = _worth(layout, beliefs)

    def at(bit_cost: float, slack: float) -> tuple[Step, ...]:
        rated = [one for way in ways for one in way(bit_cost)]
        rated = _with_merit(layout, beliefs, rated, float(worth.at(bit_cost)[0]), quick)
        best = max((step.merit for step, _ in rated if not step.forbidden), default=0.0)
        equal = slack * abs(best) if np.isfinite(bit_cost) else EQUAL
        return tuple(step for step, _ in sorted(rated, key=lambda one: _rank(one, best, equal)))

    return at


def rank_paying(
    bench: Bench,
    tests: Sequence[TestOption],
    repairs: Sequence[RepairOption],
    beliefs: Beliefs,
    quick: frozenset[str],
    idle: frozenset[str] = frozenset(),
) -> tuple[Bench, tuple[Step, ...]]:
    """Return the bench with the least price of a bit at which some step pays, and the steps ranked at it.

    At the dearest (see DEARER) where none does.

    Args:
        bench: as for rank_steps, one on which tests have a price.
        tests: see rank_steps.
        repairs: see rank_steps.
        beliefs: see rank_steps.
        quick: see rank_steps.
        idle: kinds of step that do not count, for they are not proposed now.
    """
    ranking, ranked = _ranking(bench, tests, repairs, beliefs, quick), dict[float, tuple[Step, ...]]()

    def pays(dearer: float) -> bool:
        ranked[dearer] = ranking(bench.bit_cost * dearer, SLACK)
        return most_merit(ranked[dearer], idle) >= 1.0

    n = 0 if pays(DEARER[0]) else bisect_left(DEARER, True, lo=1, key=pays)
    dearer = DEARER[min(n, len(DEARER) - 1)]
    return replace(bench, bit_cost=bench.bit_cost * dearer), ranked[dearer]


def most_merit(steps: Sequence[Step], idle: frozenset[str]) -> float:
    """Return the highest merit of the steps that can be done now. idle: see rank_paying."""
    return max((step.merit for step in steps if not step.forbidden and step.kind not in idle), default=-inf)


def by_the_plan(
    bench: Bench, repairs: Sequence[RepairOption], beliefs: Beliefs, steps: Sequence[Step], idle: frozenset[str]
) -> tuple[list[Step], bool]:
    """Return the steps, none of which pays, that with which the base plan begins put first where the plan is cheaper.

    Cheaper than the measure of what is left: the plan may hand on, as that may not. Nothing changes where it begins
    with handing on, or with what is forbidden or idle. And whether it begins with anything but handing on.

    Args:
        bench: with the raised price of a bit, see rank_paying.
        repairs: see rank_steps.
        beliefs: see rank_steps.
        steps: ranked at that price.
        idle: see rank_paying.
    """
    plan = base_plan(bench, repairs, beliefs.marginals, beliefs.failing)
    goes_on = plan.first != SERVICE_CALL
    first = [one for one in steps if plan.first in (one.id, one.kind) and not one.forbidden and one.kind not in idle]
    if not first or plan.value > money_left(bench, repairs, beliefs.marginals, beliefs.failing) - EQUAL:
        return list(steps), goes_on
    return [first[0], *(one for one in steps if one is not first[0])], goes_on


def order_tests(
    bench: Bench, tests: Sequence[TestOption], repairs: Sequence[RepairOption], beliefs: Beliefs
) -> tuple[Step, ...]:
    """Return the tests as rough steps, best first, locks and ties left aside: to choose the best few from."""
    layout = lay_out(bench, repairs, beliefs.marginals)
    quick = frozenset(test.id for test in tests)
    worth = float(_worth(layout, beliefs, ROUGHLY).at(bench.bit_cost)[0])
    rated = _with_merit(layout, beliefs, _tests(layout, tests, beliefs, ROUGHLY)(bench.bit_cost), worth, quick)
    return tuple(sorted((step for step, _ in rated), key=lambda step: (-step.merit, step.id)))


def _worth(layout: Layout, beliefs: Beliefs, singly: int = SINGLY) -> Values:
    """Return what is left to spend as it stands."""
    return value_leaves(layout, _leaves([(beliefs.marginals, beliefs.failing, layout.bench.opened)]), singly)


def _with_merit(
    layout: Layout, beliefs: Beliefs, rated: Sequence[Rated], worth: float, quick: frozenset[str]
) -> list[Rated]:
    """Return the steps with what they are ranked by, see above: the higher the better. worth: what is left to spend."""
    rated = [(_with_saving(step, worth, step.kind == "test" and step.id in quick), hazard) for step, hazard in rated]
    if not np.isfinite(layout.bench.bit_cost):
        return [(replace(step, merit=round(-step.expected, DIGITS)), hazard) for step, hazard in rated]
    found = []
    for step, hazard in rated:
        merit = (worth - step.expected) / max(step.cost, EQUAL) + 1.0
        doubtful = step.curing - 1.0 + beliefs.failing < 0.5 * beliefs.failing
        if step.parts > layout.bench.money(DEAR_MINUTES) and doubtful and merit > 0.0:
            merit *= DOUBTFUL
        found.append((replace(step, merit=round(merit, DIGITS)), hazard))
    return found


def _with_saving(step: Step, worth: float, quick: bool) -> Step:
    """Return the step with what it takes off the money that is left, worth; less of it where it was seen quickly."""
    saves = worth - step.expected + step.cost
    if not quick:
        return replace(step, saves=saves)
    return replace(step, saves=QUICK_SHARE * saves, expected=worth + step.cost - QUICK_SHARE * saves, rough=True)


def _rank(rated: Rated, best: float, slack: float) -> tuple[bool, float, int, int, float, str]:
    """Return the sorting key: among those about as good as the best only the reasons after merit count."""
    step, hazard = rated
    kind = ("test", "try_out", "repair").index(step.kind)
    if step.merit >= best - slack:
        return bool(step.forbidden), -best, hazard, kind, step.cost, step.id
    return bool(step.forbidden), -step.merit, 0, 0, 0.0, step.id


def _tests(layout: Layout, tests: Sequence[TestOption], beliefs: Beliefs, singly: int = SINGLY) -> Way:
    """Return every test as a step. If it turns out impossible only its access and the trying are paid."""
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
        return lambda _: []
    values, shares = value_leaves(layout, _leaves(rows), singly), np.array([share for _, share in weights])

    def at(bit_cost: float) -> list[Rated]:
        after = np.zeros(len(tests))
        np.add.at(after, [number for number, _ in weights], values.at(bit_cost) * shares)
        return [_test(layout.bench, test, beliefs, float(left)) for test, left in zip(tests, after, strict=True)]

    return at


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
        expected=bench.money(opening) + (1.0 - test.cannot) * own + test.cannot * bench.money(test.tried) + after,
        cannot=test.cannot,
        outcomes=tuple(zip(test.outcomes, chances, strict=True)),
        forbidden=test.forbidden,
    )
    return step, test.hazard


def _repairs(layout: Layout, beliefs: Beliefs) -> Way:
    """Return every repair as a step, done whether it is needed or not and nothing seen by it."""
    bench, count = layout.bench, len(layout.repairs)
    if not count:
        return lambda _: []
    now, failing = np.tile(beliefs.marginals, (count, 1)), np.full(count, beliefs.failing)
    marginals, fails = after_repairs(now, failing, 1.0 - layout.cures)
    opened = tuple(bench.opened | bench.tree.closure(repair.access) for repair in layout.repairs)
    given = cover(layout.cures, layout.price, marginals)
    values = value_leaves(layout, Leaves(marginals, fails, opened), given=given)

    def at(bit_cost: float) -> list[Rated]:
        after = zip(layout.repairs, values.at(bit_cost).tolist(), fails.tolist(), strict=True)
        return [_repair(bench, repair, left, 1.0 - failing) for repair, left, failing in after]

    return at


def _repair(bench: Bench, repair: RepairOption, after: float, curing: float) -> Rated:
    opening = bench.tree.minutes_to_open(repair.access, bench.opened)
    own = bench.money(opening + repair.minutes, repair.wait, repair.parts)
    step = Step(
        kind="repair",
        id=repair.id,
        minutes=opening + repair.minutes,
        wait=repair.wait,
        opens=bench.tree.to_open(repair.access, bench.opened),
        parts=repair.parts,
        cost=own,
        expected=own + after,
        curing=curing,
        forbidden=repair.forbidden,
    )
    return step, repair.hazard


def _try_out(layout: Layout, beliefs: Beliefs) -> Way:
    """Return the try-out as a step: close up, try, and go on with the base plan if it fails."""
    bench, failing = layout.bench, beliefs.failing
    minutes = bench.tree.minutes_to_close(bench.opened) + bench.try_minutes
    given_fails = np.minimum(beliefs.marginals / max(failing, 1e-12), 1.0)
    left = value_leaves(layout, _leaves([(given_fails, 1.0, frozenset())]))

    def at(bit_cost: float) -> list[Rated]:
        step = Step(
            kind="try_out",
            id=TRY_OUT,
            minutes=minutes,
            cost=bench.money(minutes),
            expected=bench.money(minutes) + failing * float(left.at(bit_cost)[0]),
            outcomes=((WORKS, 1.0 - failing), (FAILS, failing)),
            forbidden=bench.try_forbidden,
        )
        return [(step, bench.try_hazard)]

    return at


def _leaves(rows: Sequence[tuple[Floats, float, frozenset[str]]]) -> Leaves:
    return Leaves(
        np.array([marginals for marginals, _, _ in rows]),
        np.array([failing for _, failing, _ in rows]),
        tuple(opened for _, _, opened in rows),
    )
