"""Breaker points: dwell in degrees and as a share, and what the gap does to the timing."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, within

DEGREES_PER_MM = 40.0
"""Crank degrees earlier for each millimetre of wider gap: 1 degree for 0.025 mm (memory: 0.02 to 0.03)."""

BASIS = Basis(
    "mechanical points; n openings for each turn of the cam", "dwell: ignition textbooks; gap to timing: memory"
)


def dwell_share(closed: float, openings: int) -> float:
    """Return the share of the time that the points are closed, 0 to 1.

    Args:
        closed: closed angle for one opening, degrees of the cam; 0 to 360 / openings.
        openings: for each turn of the cam, 1 to 8 (a single with its own cam: 1).

    >>> round(dwell_share(60, 4), 3)
    0.667
    """
    return within("closed angle", closed, 0, _turn(openings), "degrees", "It is for one opening.") / _turn(openings)


def dwell_degrees(share: float, openings: int) -> float:
    """Return the closed angle for one opening, degrees of the cam: the reverse of `dwell_share`.

    >>> dwell_degrees(0.5, 1)
    180.0
    """
    return within("dwell", share, 0, 1, "", "It is a share of the time.") * _turn(openings)


def dwell_from_times(closed_ms: float, cycle_ms: float) -> float:
    """Return the share of the time that the points are closed, from a scope: closed and whole time in the same unit."""
    within("time from spark to spark", cycle_ms, 1e-9, float("inf"), "ms", "A spark follows the last after some time.")
    return within("time closed", closed_ms, 0, cycle_ms, "ms", "It is part of the time from spark to spark.") / cycle_ms


def earlier_degrees(gap_was_mm: float, gap_is_mm: float) -> float:
    """Return by how many degrees of the crank the spark comes earlier with another gap; below 0 later.

    A wider gap opens earlier and closes for less: more advance, less dwell. Set the gap first, then the timing.

    Args:
        gap_was_mm: 0.1 to 0.8 mm.
        gap_is_mm: likewise.

    >>> round(earlier_degrees(0.35, 0.40), 1)
    2.0
    """
    for gap in (gap_was_mm, gap_is_mm):
        within("points gap", gap, 0.1, 0.8, "mm", "No breaker is set so.")
    return (gap_is_mm - gap_was_mm) * DEGREES_PER_MM


def _turn(openings: int) -> float:
    return 360 / within("openings for each turn of the cam", openings, 1, 8, "", "No motorcycle has more.")
