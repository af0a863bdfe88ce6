"""The base plan: repairs in a good order, tried out in groups; its value is the money left to spend.

The plan, for beliefs of marginals m and P(the bike fails) = failing:
1. causes are shared out among the repairs (chances.cover), marginals become independent faults;
2. repairs are ordered by rho through the access that is still shut (repair_order);
3. for that order the cheapest grouping between try-outs is found exactly (grouping);
4. a try-out costs the attempt and the closing of all that is open; what is needed again is opened again;
5. after any try-out the rest may be handed on for the service cost; after the last repair it must be. As a measure
   of what is left where tests have a price this holds only of a bike that is cheaper to look into than to hand on
   (`measured`); of others only the lump and what no repair removes is handed on: else every belief of a bike with many
   faults would be worth the service cost, and no test could be told from another.
A group costs all its repairs, even if the first of them was the one. Where one sees first whether a repair is
needed, only the look is paid like that; the rest is paid if it is needed, wherever the repair stands in the order.

If failing < 1 nobody knows yet whether the bike runs. Then the cheapest of three beginnings counts: try out
at once (close up, attempt, go on with probability failing), work on the first group and then try out, or
hand on. With failing = 1 the first of them never pays, so one formula serves both.

Source: Ottosen and Jensen 2010 (cost clusters; postponed try-out, see grouping); the index for several faults is
derived in repair_order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from diagnose.planning.chances import CERTAIN, Cover, Losses, cover, cure_table, losses
from diagnose.planning.finding import Search, looking, needs
from diagnose.planning.grouping import Grouping, Items, group
from diagnose.planning.options import Bench, Floats, RepairOption
from diagnose.planning.repair_order import Branch, grow, repair_order

SINGLY = 24
"""So many repairs, the likeliest to be what is needed, are ordered one by one."""

FLOOR = 0.002
"""Repairs less likely than this to be needed on a failing bike go into one lump, done together at the end."""

LEAST = 1e-9
"""Repairs less likely than this to be needed are left out."""

EQUAL = 1e-9
"""Money: a difference that is rounding only."""

TRY_OUT, SERVICE_CALL = "try_out", "service_call"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to do if nothing more is tested.

    order: repair ids. groups: the same, a try-out after each group. value: expected money until the bike
    does what is asked or is handed on. first: repair id, TRY_OUT or SERVICE_CALL. left: probability that it
    ends with the service call.
    """

    order: tuple[str, ...]
    groups: tuple[tuple[str, ...], ...]
    value: float
    first: str
    left: float


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """All that does not change from leaf to leaf.

    repairs: sorted by id. money: [R] each without access, as far as it is paid whether it is needed or not.
    doing: [R] what is paid on top only if it is needed. access: the tree their paths make. need: [R, S] 1
    where access must be open. opening, closing: [S] money. cures: [R, n], see cure_table. price: [R] money
    with access from the bench as it is. cover: causes shared out by the present belief. ending: whether the rest may be
    handed on after any try-out, see 5.
    """

    bench: Bench
    repairs: tuple[RepairOption, ...]
    money: Floats
    doing: Floats
    access: Branch
    need: Floats
    opening: Floats
    closing: Floats
    cures: Floats
    price: Floats
    cover: Cover
    ending: bool


@dataclass(frozen=True, slots=True, eq=False)
class Leaves:
    """A batch of B beliefs to be valued. marginals: [B, n]. failing: [B]. opened: per leaf what is open."""

    marginals: Floats
    failing: Floats
    opened: tuple[frozenset[str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """Value of each leaf [B], and the base plan behind it.

    plan: [B] that of the base plan. search: looking first, None where tests have no price. order: per leaf repair
    indices. lump: [B, R] true where a repair is in the last, single item. fails: [B, K + 1] P(still fails after so many
    items). start: [B] items before the first try-out, 0 for a try-out at once, -1 for the service call. ends: [B, K]
    end of the group that begins there, -1 for the service call.
    """

    plan: Floats
    search: Search | None
    order: tuple[tuple[int, ...], ...]
    lump: NDArray[np.bool_]
    fails: Floats
    start: NDArray[np.intp]
    ends: NDArray[np.intp]

    def at(self, bit_cost: float) -> Floats:
        """Return [B] the lesser of the base plan and looking first at a price of a bit."""
        return self.plan if self.search is None else np.minimum(self.plan, self.search.at(bit_cost).min(axis=0))


def lay_out(bench: Bench, repairs: Sequence[RepairOption], marginals: Floats) -> Layout:
    """Return what all leaves from this bench share.

    Args:
        bench: the bike as it stands and what things cost.
        repairs: those that could be done, in any order.
        marginals: [n] of the present belief; decides which repair is counted on for which cause.

    Raises:
        KeyError: a repair needs access that is not in the tree.
    """
    known = tuple(sorted(repairs, key=lambda repair: repair.id))
    ids, tree = bench.tree.ids, bench.tree
    closures = [tree.closure(repair.access) for repair in known]
    need = np.array([[state in closure for state in ids] for closure in closures], dtype=np.float64)
    need = need.reshape(len(known), len(ids))
    full = np.array([bench.money(repair.minutes, repair.wait, repair.parts) for repair in known])
    money = np.array([f if r.look is None else min(f, bench.money(r.look)) for f, r in zip(full, known, strict=True)])
    opening = np.array([bench.money(tree.states[state].open) for state in ids])
    closing = np.array([bench.money(tree.states[state].close) for state in ids])
    access = grow([np.flatnonzero(row).tolist() for row in need])
    shut = np.array([float(state not in bench.opened) for state in ids])
    price, cures = full + need @ (shut * (opening + closing)), cure_table(known, len(marginals))
    shared = cover(cures, price, marginals[None, :])
    ending = not np.isfinite(bench.bit_cost)
    return Layout(bench, known, money, full - money, access, need, opening, closing, cures, price, shared, ending)


def measured(bench: Bench, repairs: Sequence[RepairOption], marginals: Floats, failing: float) -> Layout:
    """Return the layout by which the steps from one belief are measured: whether the rest may be handed on, see 5.

    Args:
        bench: as for lay_out; where tests have a price, the usual one.
        repairs: see lay_out.
        marginals: see base_plan.
        failing: see base_plan.
    """
    layout = lay_out(bench, repairs, marginals)
    leaf = Leaves(marginals[None, :], np.array([failing]), (bench.opened,))
    return replace(
        layout, ending=layout.ending or bool(value_leaves(layout, leaf).at(bench.bit_cost)[0] < bench.handing_on)
    )


def base_plan(bench: Bench, repairs: Sequence[RepairOption], marginals: Floats, failing: float) -> Plan:
    """Return the base plan for one belief: repairs only, whatever tests would cost.

    Args:
        bench: the bike as it stands and what things cost.
        repairs: those that could be done.
        marginals: [n] P(cause present and stopping the bike | evidence).
        failing: P(the bike does not do what is asked | evidence).
    """
    layout = lay_out(replace(bench, bit_cost=inf), repairs, marginals)
    leaf = Leaves(marginals[None, :], np.array([failing]), (bench.opened,))
    return _read_plan(layout, value_leaves(layout, leaf))


def money_left(bench: Bench, repairs: Sequence[RepairOption], marginals: Floats, failing: float) -> float:
    """Return what is left to spend, handed on only as a last resort (5), see value_leaves and base_plan."""
    leaf = Leaves(marginals[None, :], np.array([failing]), (bench.opened,))
    return float(value_leaves(lay_out(bench, repairs, marginals), leaf).at(bench.bit_cost)[0])


def _read_plan(layout: Layout, values: Values) -> Plan:
    """Return the plan of the first leaf, following the choices the programme made."""
    items: list[tuple[int, ...]] = [(repair,) for repair in values.order[0]]
    items.append(tuple(int(repair) for repair in np.flatnonzero(values.lump[0])))
    start = int(values.start[0])
    begun = _names(layout, items[: max(start, 0)])
    groups, at = [begun], max(start, 0)
    while start >= 0 and at < len(items) and values.ends[0, at] > at:
        groups.append(_names(layout, items[at : values.ends[0, at]]))
        at = int(values.ends[0, at])
    return Plan(
        order=tuple(repair for group in groups for repair in group),
        groups=tuple(group for group in groups if group),
        value=float(values.plan[0]),
        first=SERVICE_CALL if start < 0 else begun[0] if begun else TRY_OUT,
        left=float(values.fails[0, at]) if start >= 0 else 1.0,
    )


def _names(layout: Layout, items: Sequence[tuple[int, ...]]) -> tuple[str, ...]:
    return tuple(layout.repairs[repair].id for item in items for repair in item)


def value_leaves(layout: Layout, leaves: Leaves, singly: int = SINGLY, given: Cover | None = None) -> Values:
    """Return the value of a whole batch of beliefs, by the base plan and by looking first.

    Args:
        layout: see lay_out.
        leaves: the beliefs.
        singly: so many repairs are ordered one by one.
        given: which repair is counted on for which cause, if not as by the present belief.
    """
    given = given or layout.cover
    lost = losses(given, leaves.marginals, leaves.failing)
    needed = -np.expm1(-lost.repairs) / lost.z[:, None]
    few = _likeliest(needed, singly)
    lump = ~few & (needed > LEAST)
    doing = leaves.failing[:, None] * np.clip(needed, 0.0, 1.0) * layout.doing
    order = _orders(layout, leaves, np.where(few, lost.repairs, 0.0))
    items = _items(layout, lost, order, lump, doing)
    to_come = np.cumsum(np.column_stack([lost.rest, items.loss[:, ::-1]]), axis=1)[:, ::-1]
    fails = np.minimum((leaves.failing / lost.z)[:, None] * -np.expm1(-to_come), leaves.failing[:, None])
    fails[:, 0] = leaves.failing
    bench, handed_on = layout.bench, fails * layout.bench.service_cost
    if not layout.ending:
        handed_on[np.arange(fails.shape[1]) < np.array([[len(row)] for row in order])] = np.inf
    attempt = bench.money(bench.try_minutes)
    groups = group(items, fails, layout.opening + layout.closing, attempt, handed_on)
    value, start = _begin(layout, leaves, groups, attempt, np.isfinite(handed_on[:, 0]))
    search = _looking(layout, leaves, given) if np.isfinite(bench.bit_cost) else None
    return Values(value, search, order, lump, fails, start, groups.ends)


def _looking(layout: Layout, leaves: Leaves, given: Cover) -> Search:
    """Return what finding out first what is wrong takes, see finding."""
    bench, opened, failing = layout.bench, _opened(layout, leaves), leaves.failing
    m = np.minimum(leaves.marginals / np.maximum(failing, 1e-12)[:, None], 1.0)
    needed, unknown = needs(given, m, len(layout.repairs))
    reached = -np.expm1(np.log1p(-np.minimum(needed, CERTAIN)) @ layout.need)
    fix = needed @ (layout.money + layout.doing) + unknown * bench.service_cost
    access = layout.opening + layout.closing
    repairs = fix + (reached * (1.0 - opened)) @ access, fix + reached @ access
    return looking(bench, m, failing, opened @ layout.closing, repairs)


def _likeliest(needed: Floats, count: int) -> NDArray[np.bool_]:
    """Return [B, R]: true for the few repairs of each leaf that are ordered one by one."""
    singly = np.zeros(needed.shape, dtype=np.bool_)
    np.put_along_axis(singly, np.argsort(-needed, axis=1, kind="stable")[:, :count], True, axis=1)
    return singly & (needed >= FLOOR)


def _orders(layout: Layout, leaves: Leaves, loss: Floats) -> tuple[tuple[int, ...], ...]:
    """Return the order of repairs for each leaf."""
    opening = (1.0 - _opened(layout, leaves)) * (layout.opening + layout.closing)
    money = layout.money.tolist()
    return tuple(
        repair_order(layout.access, here, money, row) for here, row in zip(opening.tolist(), loss.tolist(), strict=True)
    )


def _items(
    layout: Layout, lost: Losses, order: tuple[tuple[int, ...], ...], lump: NDArray[np.bool_], doing: Floats
) -> Items:
    """Return the items of each leaf: repairs in order, then the lump.

    Shorter orders are filled up with items that cost and do nothing. doing: [B, R].
    """
    nothing, width = len(layout.repairs), max(map(len, order))
    index = np.array([[*row, *[nothing] * (width - len(row))] for row in order], dtype=np.intp)
    index = index.reshape(len(order), width)

    def of_items(each: Floats) -> Floats:
        filled = np.column_stack([each, np.zeros(len(order))])
        return np.column_stack([np.take_along_axis(filled, index, axis=1), (each * lump).sum(axis=1)])

    need = np.vstack([layout.need, np.zeros(len(layout.opening))])[index]
    together = np.minimum(lump @ layout.need, 1.0)
    return Items(
        of_items(lost.repairs),
        of_items(np.broadcast_to(layout.money, doing.shape)),
        of_items(doing),
        np.concatenate([need, together[:, None, :]], axis=1),
    )


def _from_here(layout: Layout, leaves: Leaves, union: Floats) -> Floats:
    """Return [B, K]: money to open what a first group needs and to close that and all that is open now."""
    opened = _opened(layout, leaves)[:, None, :]
    return (union * (1.0 - opened)) @ layout.opening + np.maximum(union, opened) @ layout.closing


def _opened(layout: Layout, leaves: Leaves) -> Floats:
    ids = layout.bench.tree.ids
    return np.array([[state in opened for state in ids] for opened in leaves.opened], dtype=np.float64)


def _begin(
    layout: Layout, leaves: Leaves, groups: Grouping, attempt: float, may_hand_on: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.intp]]:
    """Return value and start of each leaf: work first, try out at once, or hand on."""
    begun = groups.first + _from_here(layout, leaves, groups.need) + attempt + groups.left[:, 1:]
    best = begun.argmin(axis=1)
    value, start = begun[np.arange(len(begun)), best], best + 1
    shut = _opened(layout, leaves) @ layout.closing
    handed_on = np.where(may_hand_on, shut + layout.bench.service_cost, inf)
    for other, number in ((handed_on, -1), (shut + attempt + groups.left[:, 0], 0)):
        better = other < value - EQUAL
        value, start = np.where(better, other, value), np.where(better, number, start)
    return value, start
