"""Degrees before top dead centre to millimetres of the piston and back, by the slider-crank.

Notation: r = stroke / 2, L rod length between centres, a crank angle from top dead centre; the piston is
r (1 - cos a) + L - sqrt(L^2 - (r sin a)^2) below its top.
"""

from __future__ import annotations

from math import acos, cos, degrees, radians, sin, sqrt

from diagnose.trade.ranges import Basis, within

ROD_OF_STROKE = 2.0
"""Rod length over stroke where the rod is not known (memory: 1.9 to 2.1); within 0.3 degrees at 25."""

BASIS = Basis("pin in the middle of the bore, flat crown under the gauge", "slider-crank geometry, exact")
ROD_NOTE = "rod taken as twice the stroke"
CAUTION = (
    "Too much advance kicks back at your leg and burns pistons. Check at full advance with a strobe where there is one."
)


def drop_mm(angle: float, stroke_mm: float, rod_mm: float | None = None) -> float:
    """Return how far the piston is below its top, mm.

    Args:
        angle: crank angle from top dead centre, degrees, 0 to 180; before and after are alike.
        stroke_mm: 20 to 130 mm.
        rod_mm: rod between centres, 0.7 to 3 times the stroke; without it twice the stroke.

    >>> round(drop_mm(22, 54, 100), 3)
    2.479
    """
    r, rod = _crank(stroke_mm, rod_mm)
    a = radians(within("crank angle", angle, 0, 180, "degrees", "It is counted from top dead centre."))
    return r * (1 - cos(a)) + rod - sqrt(rod * rod - (r * sin(a)) ** 2)


def degrees_at(drop: float, stroke_mm: float, rod_mm: float | None = None) -> float:
    """Return the crank angle from top dead centre, degrees, 0 to 180: the reverse of `drop_mm`.

    >>> round(degrees_at(2.479, 54, 100), 1)
    22.0
    """
    r, rod = _crank(stroke_mm, rod_mm)
    within("piston below its top", drop, 0, stroke_mm, "mm", "It moves no further than the stroke.")
    pin = r + rod - drop
    return degrees(acos(max(-1.0, min(1.0, (r * r + pin * pin - rod * rod) / (2 * r * pin)))))


def travel_mm(dial_mm: float, incline: float) -> float:
    """Return how far the piston moved when a dial gauge in an inclined plug hole shows dial_mm: dial x cos.

    Args:
        dial_mm: what the gauge shows, 0 to 130 mm.
        incline: between gauge and bore, degrees, 0 to 60.

    >>> round(travel_mm(3.5, 45), 2)
    2.47
    """
    return within("dial gauge", dial_mm, 0, 130, "mm", "No small engine has such a stroke.") * _cosine(incline)


def dial_mm(travel: float, incline: float) -> float:
    """Return what a dial gauge in an inclined plug hole shows for so much travel: the reverse of `travel_mm`.

    >>> round(dial_mm(2.5, 45), 2)
    3.54
    """
    return within("piston travel", travel, 0, 130, "mm", "No small engine has such a stroke.") / _cosine(incline)


def _crank(stroke_mm: float, rod_mm: float | None) -> tuple[float, float]:
    """Return half the stroke and the rod."""
    within("stroke", stroke_mm, 20, 130, "mm", "No small engine has another.")
    rod = stroke_mm * ROD_OF_STROKE if rod_mm is None else rod_mm
    why = "A rod is measured between the centres of its eyes."
    return stroke_mm / 2, within("rod", rod, 0.7 * stroke_mm, 3 * stroke_mm, "mm", why)


def _cosine(incline: float) -> float:
    why = "So far aslant the tip slides over the crown; use a degree disc."
    return cos(radians(within("angle between gauge and bore", incline, 0, 60, "degrees", why)))
