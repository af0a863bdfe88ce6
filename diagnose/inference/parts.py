"""Evidence too much for one tree: first the ties between causes are reckoned apart, then it is cut into parts that fit.

After many repairs and try-outs the earlier answers and the later ones look at the same conditions in several
situations, and one exact network no longer fits. That some causes grow from one mechanism makes it many times wider
and says little once much was seen: it is the first to go. If that is not enough the answers are cut in the order of
time. What the ties and the parts say of each cause is reckoned together in agreement.py.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from contextlib import suppress

from diagnose.inference.agreement import Carried, agreed
from diagnose.inference.compile import Wanted, compile_network
from diagnose.inference.junction_tree import MOST_CELLS, JunctionTree
from diagnose.inference.ladder import Observation
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone

PART_CELLS = 2**18
"""Cells of a part's widest clique at most, for it is asked many times; a single answer may have MOST_CELLS."""


def in_parts(
    bike: BikeGraph,
    observations: Sequence[Observation],
    repairs: tuple[RepairDone, ...],
    wanted: Wanted,
    most_cells: int,
) -> tuple[tuple[Observation, ...], Carried]:
    """Return the latest answers that fit together with what is asked in a network without ties, `bike.untied`.

    Beside them what the ties and all other answers say of each cause.

    Raises NetworkTooWide where a single answer, or what is asked by itself, does not fit.
    """
    parts = [_latest_that_fit(bike.untied, tuple(observations), repairs, wanted, most_cells)]
    while rest := tuple(observations)[: len(observations) - sum(map(len, parts))]:
        parts.insert(0, _latest_that_fit(bike.untied, rest, repairs, {}, MOST_CELLS))
    return parts[-1], agreed(bike, parts, repairs)


def _latest_that_fit(
    bike: BikeGraph, observations: tuple[Observation, ...], repairs: tuple[RepairDone, ...], wanted: Wanted, most: int
) -> tuple[Observation, ...]:
    """The longest end of the answers that fits, cut between two repairs if it can be; maybe none of them.

    Found by halving, for what fits still fits with fewer answers (nearly always: the order of elimination is a guess).
    """
    new = [n for n, o in enumerate(observations) if n and o.situation.epoch != observations[n - 1].situation.epoch]
    for starts in ([0, *new], range(max(new, default=0) + 1, len(observations))):
        found = bisect_left(starts, True, key=lambda start: fits(bike, observations[start:], repairs, wanted, most))
        if found < len(starts):
            return observations[starts[found] :]
    least = () if wanted else observations[-1:]
    _check(bike, least, repairs, wanted, most)
    return least


def fits(
    bike: BikeGraph, end: tuple[Observation, ...], repairs: tuple[RepairDone, ...], wanted: Wanted, most: int
) -> bool:
    """Return whether the answers fit; those of an earlier part, with which nothing is asked, from memory.

    Such parts stay the same from step to step, and how wide they are hangs on what was looked at alone.
    """

    def works() -> bool:
        with suppress(NetworkTooWide):
            _check(bike, end, repairs, wanted, most)
            return True
        return False

    if wanted:
        return works()
    courses = tuple((done.id, frozenset(done.cures), frozenset(done.dud)) for done in repairs)
    looks = tuple((seen.label, seen.drivers, len(seen.terms), seen.situation) for seen in end)
    return bike.remembered(("fits", looks, courses), works)


def _check(
    bike: BikeGraph, end: tuple[Observation, ...], repairs: tuple[RepairDone, ...], wanted: Wanted, most: int
) -> None:
    """Raise NetworkTooWide if the answers, or what is asked with them, do not fit."""
    mine = PART_CELLS if len(end) > 1 else MOST_CELLS
    JunctionTree(compile_network(bike, end, repairs, most_cells=mine).factors, mine)
    if wanted:
        JunctionTree(compile_network(bike, end, repairs, wanted, most_cells=most).factors, most)
