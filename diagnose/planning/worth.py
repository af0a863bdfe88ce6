"""What it may still cost until the bike does what is asked: how that spreads, and what would end the job.

Worlds are drawn from the marginals: the independent faults behind them (chances.unconditioned) given that the bike
fails, or that one of them is all there is. Each world is priced by looking first (its repairs, their access once, its
search, handing on what no repair cures), or by the base plan followed group by group where that is cheaper and not
itself handing on. So the mean is the value of the plan, up to what finding.needs takes as independent. The search for
a fault of chance m takes log2(1/m) bits, what the best questions need to name it; their mean is finding.bits. A bike
that goes costs closing and the try-out, and the search if one is made before that.

Deterministic: the first fault of each world lies on a regular grid (one fault alone is thus exact to 1 in WORLDS),
all else comes from a fixed seed. Assumed besides: prices are what the book says, and a repair does what it says.

A job-ender is a fault that no repair mostly cures for less than a limit: what is left of the owner's ceiling, or what
the bike is worth running. Nothing that was spent before it shows is then of any use. So the test that shows it best
for its money goes first, if it pays: of the bikes that it moves to the side of the job-ender each saves half of what
would be spent, for on the way to it half of that, on average, is gone. It is a rule on top of the ranking: the values
that rank the steps know the mean of the money alone, and no point where it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from diagnose.planning.base_plan import EQUAL, SERVICE_CALL, TRY_OUT, Layout, Plan, base_plan, lay_out, money_left
from diagnose.planning.chances import CERTAIN, unconditioned
from diagnose.planning.finding import TINY, bits, looking
from diagnose.planning.options import Beliefs, Bench, Floats, RepairOption, TestOption

WORLDS = 2000
"""So many worlds are drawn: a chance is then right to 1 or 2 in 100, as sums of independent draws are."""

SEED = 1
"""Of the draws: the same belief has the same figures, and a small change of it small changes."""

MOSTLY = 0.5
"""A repair counts as the way out of a fault if it cures it at least this often."""

CLEARS = 0.4
"""A test shows or clears a fault if it moves its chance at least this share of what a test that never errs would: the
ordinary tests of compression move that of worn rings so far (measured on the shipped book)."""

LIKELY = 0.05
"""Job-enders are looked for before anything else if one of them is there with at least this chance (a choice)."""

ON_THE_WAY = 0.5
"""Share of the money that would be gone, on average, before a job-ender shows that is not looked for."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Money still to be spent, as a distribution. money: [K] rising; share: [K] P(no more than that), the last is 1."""

    money: Floats
    share: Floats

    def at(self, share: float) -> float:
        """Return the least amount that is enough with at least this probability."""
        return float(self.money[min(int(np.searchsorted(self.share, share - EQUAL)), len(self.money) - 1)])

    def within(self, limit: float) -> float:
        """Return P(it takes no more than so much)."""
        below = int(np.searchsorted(self.money, limit + EQUAL))
        return float(self.share[below - 1]) if below else 0.0

    def until(self, end: float) -> float:
        """Return the expected money of going on until it has cost as much as an end, and then ending it so.

        An end (handing on, stopping) has a price; of what is spent before it is seen to be the cheaper one, half is
        counted (ON_THE_WAY), as for a job-ender.
        """
        if end == inf:
            return self.mean
        chance, kept = np.diff(self.share, prepend=0.0), self.money <= end + EQUAL
        return float(np.where(kept, self.money, (1.0 + ON_THE_WAY) * end) @ chance)

    @property
    def mean(self) -> float:
        """Return the expected money."""
        return float(self.money @ np.diff(self.share, prepend=0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ender:
    """A fault that would end the job.

    cause: its index. chance: P(present and stopping the bike). price: money of its cheapest repair, access with it.
    test: id of the test that shows or clears it best for its money, empty where none does; cost: money of that;
    moved: the share of bikes that it moves.
    """

    cause: int
    chance: float
    price: float
    test: str = ""
    cost: float = 0.0
    moved: float = 0.0


def spread(bench: Bench, repairs: Sequence[RepairOption], marginals: Floats, failing: float) -> Spread:
    """Return how the money still to be spent spreads.

    Args:
        bench: the bike as it stands and what things cost.
        repairs: those that could be done.
        marginals: [n] P(cause present and stopping the bike).
        failing: P(the bike does not do what is asked).
    """
    layout = lay_out(bench, repairs, marginals)
    plan = base_plan(bench, repairs, marginals, failing)
    looks = np.isfinite(bench.bit_cost) and (
        plan.first == SERVICE_CALL or money_left(bench, repairs, marginals, failing) < plan.value - EQUAL
    )
    m = np.minimum(marginals / max(failing, TINY), 1.0)
    draw = np.random.default_rng(SEED)
    faults = faults_drawn(m, WORLDS, draw)
    needed, unknown = _needed(layout, faults, draw)
    if looks:
        money, goes = _looking(layout, m, failing, faults, needed, unknown)
    else:
        money, goes = _following(layout, plan, needed, unknown)
    return _sorted(np.append(money, goes), np.append(np.full(WORLDS, failing / WORLDS), 1.0 - failing))


def _sorted(money: Floats, weights: Floats) -> Spread:
    order = np.argsort(money, kind="stable")
    share = np.cumsum(weights[order])
    return Spread(money[order], share / share[-1])


def faults_drawn(m: Floats, count: int, draw: np.random.Generator) -> Bools:
    """Return [count, n + 1] which faults are there in each world of a failing bike.

    The last column is a fault that none of the causes explains. The first fault is chosen by what it is the first of,
    on a regular grid; those after it are independent.

    Args:
        m: [n] P(cause present and stopping the bike | it fails).
        count: how many worlds.
        draw: where the rest of chance comes from.
    """
    z = float(unconditioned(m[None])[0])
    beyond = -np.expm1(-z * max(1.0 - float(m.sum()), 0.0))
    q = np.minimum(np.append(m * z, beyond), CERTAIN)
    before = np.concatenate([[1.0], np.exp(np.cumsum(np.log1p(-q)))[:-1]])
    upto = np.cumsum(q * before)
    first = np.searchsorted(upto / upto[-1], (np.arange(count) + 0.5) / count)
    column = np.arange(len(q))
    found: Bools = (draw.random((count, len(q))) < q) & (column > first[:, None])
    found[np.arange(count), first] = True
    return found


def _needed(layout: Layout, faults: Bools, draw: np.random.Generator) -> tuple[Bools, Bools]:
    """Return [W, R] which repairs each world needs, and [W] whether something is left for none of them.

    A fault falls to the repairs by the shares in which they are counted on for it (chances.cover).
    """
    given, here = layout.cover, faults[:, :-1]
    lot = 1.0 - draw.random(here.shape)  # above 0, up to 1: all that a repair leaves nothing of falls to it
    taken = here[:, given.cause] & (lot[:, given.cause] > given.after) & (lot[:, given.cause] <= given.before)
    needed = np.zeros((len(here), len(layout.repairs)), dtype=np.bool_)
    starts = np.flatnonzero(np.diff(given.repair, prepend=-1))
    if len(starts):
        needed = np.logical_or.reduceat(taken, starts, axis=1)
    return needed, (here & (lot <= given.left)).any(axis=1) | faults[:, -1]


def _looking(
    layout: Layout, m: Floats, failing: float, faults: Bools, needed: Bools, unknown: Bools
) -> tuple[Floats, float]:
    """Return [W] the money of each world if it is looked for first, and that of a bike that goes."""
    bench, opened = layout.bench, _opened(layout)
    reached, access = (needed.astype(float) @ layout.need > 0.0).astype(float), layout.opening + layout.closing
    fix = needed @ (layout.money + layout.doing) + unknown * bench.service_cost
    here, shut = fix + (reached * (1.0 - opened)) @ access, fix + reached @ access
    search = bench.bit_cost * (faults[:, :-1] @ -np.log2(np.maximum(m, TINY)))
    attempt, closing = bench.money(bench.try_minutes), float(opened @ layout.closing)
    fails, repairs = np.array([failing]), (here.mean(keepdims=True), shut.mean(keepdims=True))
    searched, tried = looking(bench, m[None], fails, np.array([closing]), repairs).at(bench.bit_cost)[:, 0].tolist()
    if tried < searched - EQUAL:
        return closing + attempt + shut + search + attempt, closing + attempt
    return closing + attempt + here + search, closing + attempt + bench.bit_cost * float(bits(m[None])[0])


def _following(layout: Layout, plan: Plan, needed: Bools, unknown: Bools) -> tuple[Floats, float]:
    """Return [W] the money of each world if the base plan is followed, and that of a bike that goes."""
    bench, opened = layout.bench, _opened(layout)
    shut, attempt = float(opened @ layout.closing), bench.money(bench.try_minutes)
    if plan.first == SERVICE_CALL:
        return np.full(len(needed), shut + bench.service_cost), shut + bench.service_cost
    index = {repair.id: row for row, repair in enumerate(layout.repairs)}
    spent, open_now = np.zeros(len(needed)), opened
    left, fails, tries = needed.copy(), np.ones(len(needed), dtype=np.bool_), list[float]()
    groups = [(), *plan.groups] if plan.first == TRY_OUT else list(plan.groups)
    for group in groups:
        rows = [index[name] for name in group]
        need = layout.need[rows].max(axis=0, initial=0.0)
        fixed = float(layout.money[rows].sum() + (need * (1.0 - open_now)) @ layout.opening) + attempt
        fixed += float(np.maximum(need, open_now) @ layout.closing)
        tries.append(fixed)
        spent += fails * (fixed + needed[:, rows] @ layout.doing[rows])
        left[:, rows], open_now = False, np.zeros_like(opened)
        fails = fails & (left.any(axis=1) | unknown)
    return spent + fails * bench.service_cost, tries[0]


def _opened(layout: Layout) -> Floats:
    return np.array([state in layout.bench.opened for state in layout.bench.tree.ids], dtype=np.float64)


def enders(
    bench: Bench,
    repairs: Sequence[RepairOption],
    tests: Sequence[TestOption],
    beliefs: Beliefs,
    limit: float,
) -> tuple[Ender, ...]:
    """Return the faults of which the cheapest repair alone costs more than a limit, likeliest first.

    Args:
        bench: the bike as it stands and what things cost.
        repairs: those that could be done; a cause without one is no job-ender, but something to hand on.
        tests: those that could be done now, each with its outlook in beliefs.after.
        beliefs: what is believed now and after each outcome.
        limit: money.
    """
    layout, now = lay_out(bench, repairs, beliefs.marginals), beliefs.marginals
    prices = np.where(layout.cures >= MOSTLY, layout.price[:, None], inf).min(axis=0, initial=inf)
    dear = np.flatnonzero((prices > limit) & (prices < inf) & (now > EQUAL))
    found = []
    for cause in dear[np.argsort(-now[dear], kind="stable")]:
        one = Ender(cause=int(cause), chance=float(now[cause]), price=float(prices[cause]))
        found.append(_with_test(bench, tests, beliefs, one))
    return tuple(found)


def _with_test(bench: Bench, tests: Sequence[TestOption], beliefs: Beliefs, one: Ender) -> Ender:
    """Return a job-ender with the test that moves it most for its money, of those that show or clear it."""
    best, enough = one, CLEARS * one.chance * (1.0 - one.chance)
    for test in tests:
        seen, cost = beliefs.after[test.id], max(price_of(bench, test), EQUAL)
        share = moved(seen.chances, one.chance, seen.marginals[:, one.cause])
        if share >= enough and share * max(best.cost, EQUAL) > best.moved * cost:
            best = replace(one, test=test.id, cost=cost, moved=share)
    return best


def price_of(bench: Bench, test: TestOption) -> float:
    """Return the money of a test with the access that is still shut, opened and closed."""
    shut = bench.tree.to_open(test.access, bench.opened)
    minutes = bench.tree.minutes_to_open(test.access, bench.opened) + bench.tree.minutes_to_close(shut)
    return bench.money(test.minutes + minutes, test.wait)


def moved(chances: Floats, now: float, after: Floats) -> float:
    """Return the share of bikes whose chance a test raises, weighted by how far: half of the mean change.

    A test that never errs moves p (1 - p).

    Args:
        chances: [K] of the outcomes.
        now: the chance of something before the test.
        after: [K] its chance after each outcome.

    >>> moved(np.array([0.2, 0.8]), 0.2, np.array([1.0, 0.0])).__round__(9)
    0.16
    """
    return 0.5 * float(chances @ np.abs(after - now))


def goes_first(found: Sequence[Ender], at_stake: float) -> str:
    """Return the id of the test that is worth doing before anything else; empty if none is.

    It is one of a job-ender that is likely enough (LIKELY), and it pays, see the head of this module; of several the
    one that saves most for its money.

    Args:
        found: the job-enders, see enders.
        at_stake: money that will be spent if none of them is looked for first.
    """
    best = (0.0, "")
    for one in found:
        saves = one.moved * ON_THE_WAY * at_stake
        if one.test and one.chance >= LIKELY and saves > one.cost:
            best = max(best, (saves / max(one.cost, EQUAL), one.test))
    return best[1]
