"""What is due on a bike that has stood: each repair of the round done blindly, looked at first, or left, by its money.

For a repair with causes i, price r, access to open and close a (from all shut), and look l:
  do     r
  look   l + P(it finds something to mend) r
  leave  P(what it mends stops the bike) (r + a + t) + search, with the try-out t that fails first, and the search for
         each of its causes m log2(1/m) bits (finding)
The cheapest of them is the advice. Access is paid once for all that lies behind it: of all ways to choose what to open,
the one with the least sum is taken, tried out one by one (the round knows few accesses). What stays shut is left.

Assumed: a repair does what it says; a look is right; left means that it is found later, by itself. What is bad and does
not stop the bike yet costs nothing here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np

from diagnose.planning.base_plan import money_left
from diagnose.planning.chances import CERTAIN, after_repairs, cure_table
from diagnose.planning.finding import bits
from diagnose.planning.options import Beliefs, Bench, Floats, RepairOption

Way = Literal["do", "look", "leave"]

MOST_ACCESS = 8
"""Up to so many different accesses every choice is tried; beyond, only all and none of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One repair of the round. do, look, leave: money of each way, access apart; look None where it can only be done.

    opening: money to open and close what is still shut before it. way: the cheapest, opening counted where it is worth
    it. present: P(it finds something to mend); stops: P(that stops the bike).
    """

    id: str
    access: tuple[str, ...]
    opening: float
    do: float
    look: float | None
    leave: float
    way: Way
    present: float
    stops: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AtOnce:
    """Repairs done at once and blindly. money: of doing them, with their access; after: of the plan from there on."""

    money: float
    after: float

    @property
    def total(self) -> float:
        """Return the money of both together."""
        return self.money + self.after


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """The round of repairs. opens: access worth opening for it, outermost first; opening: money to open and close that.

    every, marked: all of it done at once, and only what is to be done; without: the value of the plan as it is.
    """

    due: tuple[Due, ...]
    opens: tuple[str, ...]
    opening: float
    every: AtOnce
    marked: AtOnce
    without: float


def bundle(
    bench: Bench, due: Sequence[str], repairs: Sequence[RepairOption], present: Floats, beliefs: Beliefs
) -> Bundle:
    """Return what to do of a round of repairs.

    Args:
        bench: the bike as it stands and what things cost.
        due: ids of the repairs of the round, in its order; those that are not in repairs are left out.
        repairs: all that could be done.
        present: [n] P(cause present).
        beliefs: marginals and failing of the plan; after is not read.

    Raises:
        KeyError: a repair needs access that is not in the tree.
    """
    by_id = {repair.id: repair for repair in repairs}
    round_of = [by_id[name] for name in due if name in by_id]
    priced = [_priced(bench, repair, present, beliefs.marginals) for repair in round_of]
    opens = _worth_opening(bench, priced)
    advised = tuple(replace(one, way=_way(bench, one, opens)) for one in priced)
    marked = [by_id[one.id] for one in advised if one.way == "do"]
    shut = bench.tree.to_open(opens, bench.opened)
    return Bundle(
        due=advised,
        opens=shut,
        opening=_open_close(bench, shut),
        every=_at_once(bench, round_of, repairs, beliefs),
        marked=_at_once(bench, marked, repairs, beliefs),
        without=money_left(bench, repairs, beliefs.marginals, beliefs.failing),
    )


def _priced(bench: Bench, repair: RepairOption, present: Floats, marginals: Floats) -> Due:
    """Return a repair with the money of each way; the way itself is not chosen yet."""
    price = bench.money(repair.minutes, repair.wait, repair.parts)
    mends, stops = _any(repair.cures, present), _any(repair.cures, marginals)
    behind = bench.tree.to_open(repair.access, frozenset())
    search = bench.bit_cost * float(bits(marginals[None, list(repair.cures)])[0])
    return Due(
        id=repair.id,
        access=repair.access,
        opening=_open_close(bench, bench.tree.to_open(repair.access, bench.opened)),
        do=price,
        look=None if repair.look is None else bench.money(repair.look) + mends * price,
        leave=stops * (price + _open_close(bench, behind) + bench.money(bench.try_minutes)) + search,
        way="leave",
        present=mends,
        stops=stops,
    )


def _any(cures: Mapping[int, float], chances: Floats) -> float:
    """Return P(the repair takes away something), its causes taken as independent."""
    none = 1.0
    for cause, cure in cures.items():
        none *= 1.0 - min(float(chances[cause]) * cure, CERTAIN)
    return 1.0 - none


def _open_close(bench: Bench, states: Iterable[str]) -> float:
    return bench.money(sum(bench.tree.states[one].open + bench.tree.states[one].close for one in states))


def _best(one: Due) -> tuple[float, Way]:
    """Return the cheapest way of a repair whose access is open; of equals what is certain: do, then look."""
    ways: list[tuple[float, int, Way]] = [(one.do, 0, "do"), (one.leave, 2, "leave")]
    if one.look is not None:
        ways.append((one.look, 1, "look"))
    money, _, way = min(ways)
    return money, way


def _way(bench: Bench, one: Due, opens: Iterable[str]) -> Way:
    reached = bench.opened | bench.tree.closure(opens)
    return _best(one)[1] if bench.tree.closure(one.access) <= reached else "leave"


def _worth_opening(bench: Bench, priced: Sequence[Due]) -> tuple[str, ...]:
    """Return the access that makes the sum least: its opening, and the cheapest way of all that can then be reached."""
    shut = sorted({one.access for one in priced if bench.tree.to_open(one.access, bench.opened)})
    sizes = range(len(shut) + 1) if len(shut) <= MOST_ACCESS else (0, len(shut))
    best: tuple[float, tuple[str, ...]] = (np.inf, ())
    for size in sizes:
        for chosen in combinations(shut, size):
            opens = tuple(dict.fromkeys(state for access in chosen for state in access))
            reached = bench.opened | bench.tree.closure(opens)
            money = _open_close(bench, bench.tree.to_open(opens, bench.opened))
            for one in priced:
                money += _best(one)[0] if bench.tree.closure(one.access) <= reached else one.leave
            if money < best[0] - 1e-9:
                best = money, opens
    return best[1]


def _at_once(bench: Bench, chosen: Sequence[RepairOption], repairs: Sequence[RepairOption], beliefs: Beliefs) -> AtOnce:
    """Return the money of some repairs done now, nothing seen by it, and of the plan after them."""
    opens = bench.opened | bench.tree.closure(state for repair in chosen for state in repair.access)
    money = bench.money(bench.tree.minutes_to_open(opens, bench.opened))
    money += sum(bench.money(repair.minutes, repair.wait, repair.parts) for repair in chosen)
    left = np.prod(1.0 - cure_table(chosen, len(beliefs.marginals)), axis=0)
    marginals, failing = after_repairs(beliefs.marginals[None], np.array([beliefs.failing]), left)
    there = replace(bench, opened=opens)
    return AtOnce(money=money, after=money_left(there, repairs, marginals[0], float(failing[0])))
