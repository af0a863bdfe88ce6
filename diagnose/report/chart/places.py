"""How far from the left each place of a row stands: as near above and below its neighbours as the others allow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.report.chart.order import Ordered, Spot

SWEEPS = 8
"""Down and up so many times."""


def places(rows: Ordered, widths: Mapping[Spot, float], gap: float, room: float) -> dict[Spot, float]:
    """Return the middle of each place, from the left margin.

    A row that is wider than the room sticks out at the right.

    Args:
        rows: in their order.
        widths: of boxes; 0 of lanes.
        gap: between two places.
        room: from margin to margin.
    """
    near: dict[Spot, list[Spot]] = {}
    for upper, lower in rows.joins:
        near.setdefault(upper, []).append(lower)
        near.setdefault(lower, []).append(upper)
    middle = {spot: room / 2 for row in rows.rows for spot in row}
    for row in rows.rows:
        middle |= _spread(row, dict.fromkeys(row, room / 2), widths, gap, room)
    count = len(rows.rows)
    for sweep in range(SWEEPS):
        ups = sweep % 2
        for number in range(count - 1, -1, -1) if ups else range(count):
            row = rows.rows[number]
            wish = {
                s: _mean([middle[o] for o in near.get(s, ()) if (o.row > number) == bool(ups)], middle[s]) for s in row
            }
            middle |= _spread(row, wish, widths, gap, room)
    return middle


def _mean(found: Sequence[float], otherwise: float) -> float:
    return sum(found) / len(found) if found else otherwise


def _spread(
    row: Sequence[Spot], wish: Mapping[Spot, float], widths: Mapping[Spot, float], gap: float, room: float
) -> dict[Spot, float]:
    offsets, at = [], 0.0
    for n, spot in enumerate(row):
        at += widths[spot] / 2 + (gap + widths[row[n - 1]] / 2 if n else 0.0)
        offsets.append(at)
    low, high = 0.0, max(0.0, room - (at + widths[row[-1]] / 2))
    shifts = spread([wish[s] - offset for s, offset in zip(row, offsets, strict=True)], low, high)
    return {s: offset + shift for s, offset, shift in zip(row, offsets, shifts, strict=True)}


def spread(wish: Sequence[float], low: float, high: float) -> list[float]:
    """Return numbers that do not fall, between low and high, nearest to those wished for (least squares).

    Pool adjacent violators; source: Barlow and others 1972 (from memory).

    >>> spread([1.0, 5.0, 3.0], 0.0, 10.0)
    [1.0, 4.0, 4.0]
    """
    pools: list[tuple[float, int]] = []
    for one in wish:
        pools.append((one, 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (a, m), (b, n) = pools[-2:]
            pools[-2:] = [((a * m + b * n) / (m + n), m + n)]
    return [min(max(mean, low), high) for mean, count in pools for _ in range(count)]
