"""Spark gaps in open air: length to kilovolts, by the electrodes and the density of the air."""

from __future__ import annotations

from math import sqrt
from typing import Literal

from diagnose.trade.air import SEA_LEVEL_PA
from diagnose.trade.ranges import Basis, interpolated, within

Electrodes = Literal["needles", "spheres", "flat"]
"""needles: points or a three-point tester; spheres: 25 mm balls; flat: two blunt faces, as at a plug's gap."""

NEEDLES = ((4.2, 5.0), (8.5, 10.0), (13.0, 15.0), (17.5, 20.0), (22.0, 25.0), (26.9, 30.0))
SPHERES = ((1.3, 5.0), (2.7, 10.0), (4.2, 15.0), (5.8, 20.0), (7.6, 25.0), (9.5, 30.0))
"""Gap [mm], peak voltage [kV] at 25 C and 760 mmHg (American Institute of Electrical Engineers)."""
_TABLE_CELSIUS = 25.0
FLAT_LEAST_MM, FLAT_MOST_MM = 0.3, 10.0
ERROR: dict[str, float] = {"needles": 0.08, "spheres": 0.05, "flat": 0.06}
"""Share that the voltage may be out, by the electrodes."""

MAKERS_LEAST_MM = 8.0
"""Two makers ask for a spark of so much between points in open air; 6 mm is common too (memory)."""

BASIS = Basis(
    "open, dry air, clean; 4.2 to 26.9 mm between needles, 1.3 to 9.5 mm between 25 mm balls, 0.3 to 10 mm flat",
    "table of the American Institute of Electrical Engineers (as reproduced); flat faces: textbook formula, memory",
)
CAUTION = (
    "Petrol vapour and an open spark: plug hole closed, no fuel about. Earth the tester. Do not open the gap further "
    "than the coil is made for: it breaks down inside; a CDI with no gap to jump can kill its box, and you."
)


def density_factor(pressure: float, celsius: float) -> float:
    """Return how much voltage a gap takes in this air, as a share of that at 101325 Pa and 20 C.

    d = (p / 760 mmHg) * 293 / (273 + T); V = V0 * d.

    Args:
        pressure: station pressure, 45 to 110 kPa.
        celsius: -50 to 60 C.

    >>> density_factor(101325, 20), round(density_factor(101325, 0), 3)
    (1.0, 1.073)
    """
    within("air pressure here", pressure, 45000, 110000, "Pa", "A barometer on a road shows no other figure.")
    within("air temperature", celsius, -50, 60, "C", "Nobody starts an engine beyond it.")
    return pressure / SEA_LEVEL_PA * 293 / (273 + celsius)


def kilovolts(gap_mm: float, electrodes: Electrodes, pressure: float = SEA_LEVEL_PA, celsius: float = 20.0) -> float:
    """Return the peak voltage a spark needs to jump a gap, kV.

    Args:
        gap_mm: 4.2 to 26.9 mm between needles, 1.3 to 9.5 mm between balls of 25 mm, 0.3 to 10 mm between flat faces.
        electrodes: their shape; it changes the answer threefold.
        pressure: of the air between them, Pa.
        celsius: its temperature.

    >>> round(kilovolts(8, "needles"), 1), round(kilovolts(6, "spheres"), 1)
    (9.6, 20.9)
    """
    factor = density_factor(pressure, celsius)
    if electrodes == "flat":
        within("gap", gap_mm, FLAT_LEAST_MM, FLAT_MOST_MM, "mm", "The formula for flat faces is good no further.")
        return 24.22 * factor * gap_mm / 10 + 6.08 * sqrt(factor * gap_mm / 10)
    return _rows_at(gap_mm, electrodes) * factor / density_factor(SEA_LEVEL_PA, _TABLE_CELSIUS)


def as_at_sea_level(gap_mm: float, factor: float) -> float:
    """Return the gap at 101325 Pa and 20 C that takes the voltage of this gap in air of that density factor, mm.

    The voltage goes by density times gap (Paschen), so the gap goes as the density: 10 mm at 5000 ft are 8.3.
    """
    within("gap", gap_mm, 0, 30, "mm", "No coil of a motorcycle jumps further.")
    return gap_mm * within("density factor", factor, 0.4, 1.5, "", "It is what density_factor gives.")


def _rows_at(gap_mm: float, electrodes: Electrodes) -> float:
    rows = NEEDLES if electrodes == "needles" else SPHERES
    within(f"gap between {electrodes}", gap_mm, rows[0][0], rows[-1][0], "mm", "The measured table ends there.")
    return interpolated(gap_mm, rows)
