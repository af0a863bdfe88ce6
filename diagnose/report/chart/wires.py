"""The lines from one row to the next: down, along a track of their own, down. No two share a stretch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diagnose.report.chart.order import Spot
from diagnose.report.chart.places import spread
from diagnose.report.chart.sheet import Sheet

STRAIGHT = 0.05
"""Millimetres: ends that are no further apart are one above the other."""

Point = tuple[float, float]
Join = tuple[Spot, Spot]


@dataclass(frozen=True, slots=True)
class Wire:
    """A line through its points. arrow: it ends in one; to: the number written where it leaves a box, 0 for none."""

    points: tuple[Point, ...]
    arrow: bool = False
    to: int = 0


@dataclass(frozen=True, slots=True)
class Channel:
    """The lines between two rows, and where the next row begins."""

    wires: tuple[Wire, ...]
    floor: float


def wires(
    joins: Sequence[Join],
    starts: Mapping[Spot, float],
    left: Mapping[Spot, float],
    widths: Mapping[Spot, float],
    sheet: Sheet,
    top: float,
) -> Channel:
    """Return the lines of the channel below a row.

    Args:
        joins: upper and lower place of each line.
        starts: y where lines leave each place of the upper row.
        left: left edge of every place.
        widths: of every place; 0 of lanes.
        sheet: for the sizes.
        top: y where the channel begins, below the lowest box of the row.
    """
    if not joins:
        return Channel((), top + sheet.type)
    apart = 1.7 * sheet.type
    out = _ports(joins, 0, {join: left[join[1]] + widths[join[1]] / 2 for join in joins}, left, widths, apart)
    into = _clear(_ports(joins, 1, out, left, widths, apart), out, sheet.type / 2)
    tracks = _tracks(joins, out, into, sheet.type / 2)
    step, first = 0.75 * sheet.type, 1.2 * sheet.type
    floor = top + first + step * max(tracks.values(), default=0) + 1.2 * sheet.type
    drawn = []
    for join in joins:
        (upper, lower), a, b = join, out[join], into[join]
        y = top + first + step * tracks.get(join, 0)
        bend = () if abs(a - b) <= STRAIGHT else ((a, y), (b, y))
        drawn.append(Wire(((a, starts[upper]), *bend, (b, floor)), not lower.to, 0 if upper.to else _target(lower)))
    return Channel(tuple(drawn), floor)


def _target(lower: Spot) -> int:
    return lower.to or lower.step


def _ports(
    joins: Sequence[Join],
    end: int,
    wish: Mapping[Join, float],
    left: Mapping[Spot, float],
    widths: Mapping[Spot, float],
    apart: float,
) -> dict[Join, float]:
    """Return where each line meets the place at one of its ends: as near to its wish as the others leave it.

    end: 0 for the upper place, 1 for the lower.
    """
    found: dict[Join, float] = {}
    for spot in dict.fromkeys(join[end] for join in joins):
        mine = sorted((join for join in joins if join[end] == spot), key=lambda join: (wish[join], join))
        between = min(apart, widths[spot] / (len(mine) + 1))
        edge = between / (1 + end)
        low, high = left[spot] + edge, left[spot] + widths[spot] - edge - between * (len(mine) - 1)
        wished = [wish[join] - n * between for n, join in enumerate(mine)]
        at = spread(wished, low, high) if widths[spot] else [left[spot]] * len(mine)
        found |= {join: x + n * between for n, (join, x) in enumerate(zip(mine, at, strict=True))}
    return found


def _clear(into: Mapping[Join, float], out: Mapping[Join, float], near: float) -> dict[Join, float]:
    """Return the lower ends moved out from under the upper ends of other lines, which they would run into."""
    found: dict[Join, float] = {}
    for join, x in into.items():
        if join[1].to:
            found[join] = x
            continue
        others = [at for other, at in out.items() if other != join]
        others += [at for other, at in {**into, **found}.items() if other != join]
        tries = [x + sign * n * near for n in range(8) for sign in (1, -1)]
        found[join] = next((t for t in tries if all(abs(t - at) >= 0.9 * near for at in others)), x)
    return found


def _tracks(
    joins: Sequence[Join], out: Mapping[Join, float], into: Mapping[Join, float], near: float
) -> dict[Join, int]:
    """Return the track of each line that is not straight, 0 the uppermost; lines that overlap have different ones.

    Of lines to the right the rightmost is uppermost, of lines to the left the leftmost: so they do not cross.
    """
    bent = [join for join in joins if abs(out[join] - into[join]) > STRAIGHT]
    right = sorted((j for j in bent if into[j] > out[j]), key=lambda j: -out[j])
    left = sorted((j for j in bent if into[j] < out[j]), key=lambda j: out[j])
    found: dict[Join, int] = {}
    for join in (*right, *left):
        low, high = sorted((out[join], into[join]))
        over = [
            track
            for other, track in found.items()
            if min(out[other], into[other]) < high + near and max(out[other], into[other]) > low - near
        ]
        found[join] = max(over, default=-1) + 1
    return found
