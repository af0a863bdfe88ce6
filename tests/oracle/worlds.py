"""Brute force over worlds: every cause's course and every link as a persistent variable of its own.

Written apart from the product: no vectors, no product form, no junction tree. A world fixes the
mechanisms, the course of each cause and, for each link, one number u; then every condition in every
situation follows by plain rules, and every observation has a probability.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence

from diagnose.inference.ladder import Observation
from diagnose.model import ABSENT, PRESENT, Link
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone, Situation

LOOKS = {"broken": {0: 0.02, 1: 0.97}, "sound": {0: 0.98, 1: 0.30}}


def weighted_worlds(
    bike: BikeGraph,
    repairs: tuple[RepairDone, ...],
    observations: Sequence[Observation],
    situations: Sequence[Situation],
) -> Iterator[tuple[float, dict[tuple[str, Situation], str], dict[str, int]]]:
    """Yield (weight, level of every node in every situation, cause -> present after the last repair)."""
    draws = [list(_intervals(link)) for into in bike.links.values() for link in into]
    keys = [(link.parent, link.child) for into in bike.links.values() for link in into]
    ands = [(c, n) for c, cond in bike.conditions.items() for n, _ in enumerate(cond.all_of)]
    draws += [list(_pieces(bike.conditions[c].all_of[n].chances, list(bike.conditions[c].levels))) for c, n in ands]
    keys += [("and", f"{c}/{n}") for c, n in ands]
    for p_roots, courses in _courses(bike, repairs):
        looks = _looks(repairs, courses)
        for chosen in itertools.product(*draws):
            weight = p_roots * looks
            for _, width in chosen:
                weight *= width
            u = {key: point for key, (point, _) in zip(keys, chosen, strict=True)}
            state, ways = {}, {}
            for s in situations:
                level, mine = _levels(bike, courses, repairs, u, s)
                state |= {(n, s): name for n, name in level.items()}
                ways |= {(behaviour, s): count for behaviour, count in mine.items()}
            for seen in observations:
                weight *= _chance(seen, state, ways)
            yield weight, state, {r: course[-1] for r, course in courses.items()}


def _courses(bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> Iterator[tuple[float, dict[str, list[int]]]]:
    """Yield (probability, cause -> present before any repair, after the first, ...): one entry for each epoch."""
    mechs = list(bike.mechanisms)
    for on in itertools.product((0, 1), repeat=len(mechs)):
        p_mech = 1.0
        for m, value in zip(mechs, on, strict=True):
            p_mech *= bike.mechanisms[m] if value else 1 - bike.mechanisms[m]
        active = dict(zip(mechs, on, strict=True))
        options = []
        for root in bike.roots.values():
            start = root.marginal if root.mechanism is None else (root.on if active[root.mechanism] else root.off)
            options.append(list(_course(root.id, start, repairs)))
        for combination in itertools.product(*options):
            p = p_mech
            for q, _ in combination:
                p *= q
            yield p, {r: course for r, (_, course) in zip(bike.roots, combination, strict=True)}


def _course(cause: str, start: float, repairs: tuple[RepairDone, ...]) -> Iterator[tuple[float, list[int]]]:
    grown = [(1 - start, [0]), (start, [1])]
    for repair in repairs:
        longer = []
        for p, course in grown:
            if course[-1]:
                gone = repair.cures.get(cause, 0.0)
                longer += [(p * gone, [*course, 0]), (p * (1 - gone), [*course, 1])]
            else:
                bad = repair.dud.get(cause, 0.0)
                longer += [(p * bad, [*course, 1]), (p * (1 - bad), [*course, 0])]
        grown = [(p, course) for p, course in longer if p > 0]
    yield from grown


def _looks(repairs: tuple[RepairDone, ...], courses: Mapping[str, list[int]]) -> float:
    p = 1.0
    for n, repair in enumerate(repairs):
        for cause, looked in repair.found.items():
            p *= LOOKS.get(looked, {0: 1.0, 1: 1.0})[courses[cause][n]]
    return p


def _intervals(link: Link) -> Iterator[tuple[float, float]]:
    """Points and widths that cut [0, 1] wherever any level of the parent changes what it does."""
    ends = {0.0, 1.0}
    for row in link.table.values():
        total = 0.0
        for p in reversed(list(row.values())):
            total += p
            ends.add(total)
    cuts = sorted(ends)
    for low, high in itertools.pairwise(cuts):
        yield (low + high) / 2, high - low


def _pieces(row: Mapping[str, float], levels: list[str]) -> Iterator[tuple[float, float]]:
    ends = [0.0]
    for level in reversed(levels[1:]):
        ends.append(ends[-1] + row.get(level, 0.0))
    cuts = sorted({*ends, 1.0})
    for low, high in itertools.pairwise(cuts):
        yield (low + high) / 2, high - low


def _does(row: Mapping[str, float], levels: Sequence[str], u: float) -> int:
    """The worst level whose chance, added to those of worse levels, still exceeds u."""
    total = 0.0
    for n in range(len(levels) - 1, 0, -1):
        total += row.get(levels[n], 0.0)
        if u < total:
            return n
    return 0


def _levels(
    bike: BikeGraph,
    courses: Mapping[str, list[int]],
    repairs: tuple[RepairDone, ...],
    u: Mapping[tuple[str, str], float],
    s: Situation,
) -> tuple[dict[str, str], dict[str, int]]:
    """Return the level of every node, and for each behaviour how many parents bring it about."""
    ways = {}
    level = {r: PRESENT if courses[r][s.epoch] and r not in s.cut else ABSENT for r in bike.roots}
    for c in bike.order:
        names = bike.conditions[c].levels
        each = [_does(link.table.get(level[link.parent], {}), names, u[link.parent, c]) for link in bike.links[c]]
        worst = max(each, default=0)
        if c in bike.behaviours:
            ways[c] = 0 if c in s.held else sum(n > 0 for n in each)
        for n, both in enumerate(bike.conditions[c].all_of):
            if all(level[p] in good for p, good in both.parents.items()):
                worst = max(worst, _does(both.chances, names, u["and", f"{c}/{n}"]))
        level[c] = names[0] if c in s.held else names[worst]
    return level, ways


def _chance(
    seen: Observation, state: Mapping[tuple[str, Situation], str], ways: Mapping[tuple[str, Situation], int]
) -> float:
    def fires(rung: object) -> float:
        quiet = 1 - rung.base  # type: ignore[attr-defined]
        for driver, by_level in rung.drivers.items():  # type: ignore[attr-defined]
            p = by_level.get(state[driver, seen.situation], 0.0)
            quiet *= (1 - p) ** ways.get((driver, seen.situation), 1)
        return 1 - quiet

    p = 1.0
    for rung in seen.passed:
        p *= 1 - fires(rung)
    return p * fires(seen.fired) if seen.fired else p
