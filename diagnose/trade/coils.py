"""Windings: copper has more resistance when it is warm."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, within

COPPER = 0.00393
"""Per degree, at 20 C: international standard annealed copper (IEC 60028)."""

LOW_OHM = 1.0
"""Below it the meter's leads count: short them and take off what they read."""

BASIS = Basis(
    "copper windings, -40 to 150 C; not resistor caps, diodes or boxes", "IEC 60028, 0.00393 per degree at 20 C"
)


def factor(celsius: float) -> float:
    """Return the resistance of copper at a temperature (-40 to 150 C) over that at 20 C.

    >>> round(factor(0), 4), round(factor(100), 4)
    (0.9214, 1.3144)
    """
    within("temperature of the winding", celsius, -40, 150, "C", "No winding on a bike is beyond it and whole.")
    return 1 + COPPER * (celsius - 20)


def ohms_at_20(ohms: float, celsius: float, leads: float = 0.0) -> float:
    """Return what a copper winding would read at 20 C, where manuals give it.

    Args:
        ohms: what the meter showed, 0 or more.
        celsius: of the winding, not of the room; they agree after a night.
        leads: what the meter shows with its tips held together, 0 to ohms.

    >>> round(ohms_at_20(4.0, 5), 2)
    4.25
    """
    within("resistance", ohms, 0, float("inf"), "ohm", "A meter shows no less than nothing.")
    within("resistance of the leads", leads, 0, ohms, "ohm", "The leads alone cannot read more than coil and leads.")
    return (ohms - leads) / factor(celsius)


def ohms_at(ohms_20: float, celsius: float) -> float:
    """Return what a winding of so much at 20 C reads at another temperature: the reverse of `ohms_at_20`."""
    within("resistance at 20 C", ohms_20, 0, float("inf"), "ohm", "There is no less than nothing.")
    return ohms_20 * factor(celsius)
