"""The worlds of worlds.py all at once: the same plain rules, one row of an array for each world.

A world is one choice on every axis: each mechanism on or off, the course of each cause, the piece of [0, 1] in
which each link's number u falls. No product form, no tree: every combination is written out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from diagnose.inference.ladder import Observation, Rung
from diagnose.model import ABSENT, PRESENT, Link
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone, Situation
from tests.oracle.worlds import LOOKS, _course, _does, _intervals, _pieces

Numbers = NDArray[np.float64]
Levels = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Worlds:
    """Every world: its weight (evidence not counted), the level of every node in every situation, causes at the end."""

    bike: BikeGraph
    weight: Numbers
    level: dict[tuple[str, Situation], Levels]
    ways: dict[tuple[str, Situation], Levels]
    """How many parents bring a behaviour about."""
    present: Numbers
    """Shape (causes, worlds): present after the last repair."""

    def chance(self, seen: Observation) -> Numbers:
        """P(the observation | world)."""
        p = np.ones(len(self.weight))
        for rung in seen.passed:
            p = p * (1 - self._fires(rung, seen.situation))
        return p * self._fires(seen.fired, seen.situation) if seen.fired else p

    def healthy(self, nodes: Iterable[str], situation: Situation) -> Numbers:
        """1.0 in the worlds where every node stands at its healthy level."""
        flags = [self.level[n, situation] == 0 for n in nodes]
        return np.prod(flags, axis=0).astype(float) if flags else np.ones(len(self.weight))

    def _fires(self, rung: Rung, situation: Situation) -> Numbers:
        quiet = np.full(len(self.weight), 1 - rung.base)
        for driver, by_level in rung.drivers.items():
            if (driver, situation) in self.level:
                names = self.bike.conditions[driver].levels if driver in self.bike.conditions else (ABSENT, PRESENT)
                passes = np.array([1 - by_level.get(n, 0.0) for n in names])[self.level[driver, situation]]
                quiet = quiet * passes ** self.ways.get((driver, situation), 1)
        return 1 - quiet


def world_count(bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> int:
    """How many worlds there are."""
    return prod(_sizes(bike, repairs))


def all_worlds(bike: BikeGraph, repairs: tuple[RepairDone, ...], situations: Iterable[Situation]) -> Worlds:
    """Write out every world; what was found when a repair opened something is in the weights."""
    sizes = _sizes(bike, repairs)
    digits = iter(np.unravel_index(np.arange(prod(sizes)), sizes))
    weight = np.ones(prod(sizes))
    active = {}
    for mechanism, p in bike.mechanisms.items():
        active[mechanism] = next(digits)
        weight *= np.array([1 - p, p])[active[mechanism]]
    course: dict[str, Levels] = {}
    for root in bike.roots.values():
        digit = next(digits)
        off, on = (list(_course(root.id, p, repairs)) for p in (root.off, root.on))
        chances = np.array([[p for p, _ in off], [p for p, _ in on]])
        weight *= chances[active[root.mechanism] if root.mechanism else 0, digit]
        course[root.id] = np.array([steps for _, steps in off])[digit]
    for n, repair in enumerate(repairs):
        for cause, looked in repair.found.items():
            by_state = LOOKS.get(looked, {0: 1.0, 1: 1.0})
            weight *= np.array([by_state[0], by_state[1]])[course[cause][:, n]]
    piece: dict[tuple[str, str], tuple[list[float], Levels]] = {}
    for key, drawn in _draws(bike):
        digit = next(digits)
        weight *= np.array([width for _, width in drawn])[digit]
        piece[key] = [point for point, _ in drawn], digit
    level: dict[tuple[str, Situation], Levels] = {}
    ways: dict[tuple[str, Situation], Levels] = {}
    for s in situations:
        for r, steps in course.items():
            level[r, s] = steps[:, s.epoch] * (r not in s.cut)
        for c in bike.order:
            level[c, s], count = _condition(bike, c, level, piece, s)
            if c in bike.behaviours:
                ways[c, s] = count
    present = np.stack([steps[:, -1] for steps in course.values()]).astype(float)
    return Worlds(bike, weight, level, ways, present)


def _condition(
    bike: BikeGraph,
    condition: str,
    level: dict[tuple[str, Situation], Levels],
    piece: dict[tuple[str, str], tuple[list[float], Levels]],
    s: Situation,
) -> tuple[Levels, Levels]:
    """Return the level in each world, and how many links bring it about."""
    names = bike.conditions[condition].levels
    worst = np.zeros(len(next(iter(level.values()))), dtype=np.int64)
    ways = np.zeros_like(worst)
    if condition in s.held:
        return worst, ways
    for link in bike.links[condition]:
        points, digit = piece[link.parent, condition]
        does = np.array([[_does(link.table.get(p, {}), names, u) for u in points] for p in _names(bike, link.parent)])
        mine = does[level[link.parent, s], digit]
        worst, ways = np.maximum(worst, mine), ways + (mine > 0)
    for n, both in enumerate(bike.conditions[condition].all_of):
        points, digit = piece["and", f"{condition}/{n}"]
        acts = np.ones(len(worst), dtype=bool)
        for p, good in both.parents.items():
            acts &= np.array([name in good for name in _names(bike, p)])[level[p, s]]
        worst = np.maximum(worst, acts * np.array([_does(both.chances, names, u) for u in points])[digit])
    return worst, ways


def _names(bike: BikeGraph, node: str) -> Sequence[str]:
    return bike.conditions[node].levels if node in bike.conditions else (ABSENT, PRESENT)


def _sizes(bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> list[int]:
    courses = [len(list(_course(root.id, 0.5, repairs))) for root in bike.roots.values()]
    return [2] * len(bike.mechanisms) + courses + [len(drawn) for _, drawn in _draws(bike)]


def _draws(bike: BikeGraph) -> list[tuple[tuple[str, str], list[tuple[float, float]]]]:
    """For every link and every AND its pieces of [0, 1]; slivers from rounding are left out."""
    links: list[Link] = [link for into in bike.links.values() for link in into]
    found = [((link.parent, link.child), list(_intervals(link))) for link in links]
    for c, condition in bike.conditions.items():
        for n, both in enumerate(condition.all_of):
            found.append((("and", f"{c}/{n}"), list(_pieces(both.chances, list(condition.levels)))))
    return [(key, [(point, width) for point, width in drawn if width > 1e-14]) for key, drawn in found]
