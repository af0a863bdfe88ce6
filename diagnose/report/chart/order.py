"""The rows of the drawing and who stands where in them: layers by longest path, few crossings.

An edge over several rows gets a lane in each row between. Within the rows barycentre sweeps, down and up, keep the
order with the fewest crossings seen. Source: Sugiyama, Tagawa and Toda 1981 (from memory).
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from diagnose.chart import Chart, layers
from diagnose.chart.told import renumbered

SWEEPS = 12
"""Down and up so many times; it settles after three or four."""


@dataclass(frozen=True, slots=True, order=True)
class Spot:
    """A place in a row: the box of a step, or the lane of the edge from a step to another (to is not 0)."""

    row: int
    step: int
    to: int = 0


Rows = tuple[tuple[Spot, ...], ...]


@dataclass(frozen=True, slots=True)
class Ordered:
    """The rows from the top, each from the left, and what is joined from one row to the next: upper, lower."""

    rows: Rows
    joins: tuple[tuple[Spot, Spot], ...]


def ordered(chart: Chart) -> Ordered:
    """Return the rows of a chart with few crossings."""
    deep = layers(chart)
    joins: list[tuple[Spot, Spot]] = []
    for step in chart.steps:
        for to in step.next:
            lanes = [Spot(row, step.number, to) for row in range(deep[step.number] + 1, deep[to])]
            joins += pairwise([Spot(deep[step.number], step.number), *lanes, Spot(deep[to], to)])
    spots = dict.fromkeys([*(Spot(row, n) for n, row in deep.items()), *(s for join in joins for s in join)])
    height = max(deep.values(), default=-1) + 1
    rows: Rows = tuple(tuple(sorted(s for s in spots if s.row == row)) for row in range(height))
    return Ordered(_untangled(rows, joins), tuple(joins))


def in_order(chart: Chart) -> Chart:
    """Return the chart numbered as it is drawn: from the top, each row from the left."""
    return renumbered(chart, [spot.step for row in ordered(chart).rows for spot in row if not spot.to])


def crossings(rows: Rows, joins: Sequence[tuple[Spot, Spot]]) -> int:
    """Return how many pairs of joins cross."""
    place = {spot: n for row in rows for n, spot in enumerate(row)}
    count = 0
    for row in rows:
        ends: list[int] = []
        here = sorted((place[upper], place[lower]) for upper, lower in joins if upper.row == row[0].row)
        for _, lower in here:
            count += len(ends) - bisect_right(ends, lower)
            insort(ends, lower)
    return count


def _untangled(rows: Rows, joins: Sequence[tuple[Spot, Spot]]) -> Rows:
    """Return the rows in the best order that sweeping finds."""
    above: dict[Spot, list[Spot]] = {}
    below: dict[Spot, list[Spot]] = {}
    for upper, lower in joins:
        above.setdefault(lower, []).append(upper)
        below.setdefault(upper, []).append(lower)
    best, now = rows, rows
    for _ in range(SWEEPS):
        now = _swept(now, above)
        now = _swept(now[::-1], below)[::-1]
        if crossings(now, joins) < crossings(best, joins):
            best = now
    return best


def _swept(rows: Rows, near: Mapping[Spot, Sequence[Spot]]) -> Rows:
    """Return the rows, each sorted by the mean place of those it is joined to in the row before."""
    found: list[tuple[Spot, ...]] = []
    place: dict[Spot, float] = {}
    for row in rows:
        here = {spot: n / max(len(row) - 1, 1) for n, spot in enumerate(row)}
        wish = {s: sum(place[o] for o in near[s]) / len(near[s]) if place and near.get(s) else here[s] for s in row}
        found.append(tuple(sorted(row, key=lambda spot: (wish[spot], here[spot]))))
        place |= {spot: n / max(len(row) - 1, 1) for n, spot in enumerate(found[-1])}
    return tuple(found)
