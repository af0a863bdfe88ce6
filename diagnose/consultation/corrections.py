"""What a reading would have been at sea level, at 20 C, on a true gauge: the figure its limits are written for. Pure.

Notation: raw, as the instrument showed it; corrected, raw times the factor of every correction that it takes. The sums
are in trade/.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import prod

from diagnose.consultation.hose import NO_HOSE, Hose, share_error, supposed, true_share
from diagnose.trade.air import ALTITUDE_ERROR, sea_level_reading, standard_pressure
from diagnose.trade.coils import ohms_at_20
from diagnose.trade.sparks import as_at_sea_level, density_factor

BY_HEIGHT = ("sea_level_pressure", "spark_density")
"""The corrections that need the height above the sea."""

BY_TEMPERATURE = ("copper_20c",)
"""The corrections that need the temperature of the part."""

BY_GAUGE = ("gauge_and_hose",)
"""The corrections that need the volume of the gauge, and the cylinder's."""

TRY_M, TRY_FT = (1000.0, 2000.0), (3000 * 0.3048, 6000 * 0.3048)
"""Where the height is not known: whether it could matter is seen at these, in m (a choice)."""

TRY_CELSIUS = (5.0, 35.0)
"""Where the temperature is not known: a cold and a hot day (a choice)."""

SPARK_CELSIUS = 20.0
"""The air of a workshop where its temperature is not told; 10 degrees more are 3 per cent of the gap."""

READ_IN_FEET = ("psi", "inHg", "in", "thou")
"""Who writes these units is told heights in feet (a choice)."""


@dataclass(frozen=True, slots=True)
class Where:
    """Where a reading was taken, and with what.

    altitude_m: metres above the sea; celsius: degrees C of the part; None where nobody said so. hose: the gauge.
    """

    altitude_m: float | None = None
    celsius: float | None = None
    hose: Hose = NO_HOSE


def factor(correct: str, taken: Where) -> float | None:
    """Return what a raw reading is multiplied by; None where what the correction needs was not told.

    correct: a name of model.Correction. Raises OutOfRange.
    """
    if correct in BY_TEMPERATURE:
        return None if taken.celsius is None else ohms_at_20(1.0, taken.celsius)
    if correct in BY_GAUGE:
        return true_share(taken.hose)
    if taken.altitude_m is None:
        return None
    if correct == "sea_level_pressure":
        return sea_level_reading(1.0, taken.altitude_m)
    celsius = SPARK_CELSIUS if taken.celsius is None else taken.celsius
    return as_at_sea_level(1.0, density_factor(standard_pressure(taken.altitude_m), celsius))


def all_told(correct: Iterable[str], taken: Where) -> float:
    """Return the factor of several corrections together; what was not told is left out. Raises OutOfRange."""
    return prod(factor(one, taken) or 1.0 for one in correct)


def own_error(correct: str, taken: Where) -> float:
    """Return what a correction itself may be out, as a share of the corrected reading.

    Going by height is true to 3 per cent, and never further out than it goes.
    """
    if correct in BY_GAUGE:
        return share_error(taken.hose)
    return min(ALTITUDE_ERROR, abs((factor(correct, taken) or 1.0) - 1)) if correct in BY_HEIGHT else 0.0


def untold(correct: str, taken: Where) -> str:
    """Return what a correction was not told: height, temperature, gauge, or what the sheet lacks; else nothing."""
    if factor(correct, taken) is not None:
        return ""
    if correct in BY_GAUGE:
        return "sheet" if taken.hose.volume_ml is not None else "gauge"
    return "temperature" if correct in BY_TEMPERATURE else "height"


def elsewhere(correct: str, taken: Where, unit: str) -> tuple[Where, ...]:
    """Return places or gauges at which to try whether what was not told could matter; empty where all is told.

    unit: the one that the reading was written in.
    """
    if factor(correct, taken) is not None:
        return ()
    if correct in BY_GAUGE:
        hose = supposed(taken.hose)
        return (replace(taken, hose=hose),) if hose else ()
    if correct in BY_TEMPERATURE:
        return tuple(replace(taken, celsius=celsius) for celsius in TRY_CELSIUS)
    return tuple(replace(taken, altitude_m=metres) for metres in (TRY_FT if unit in READ_IN_FEET else TRY_M))


def height(metres: float, unit: str) -> str:
    """Return a height as one who writes readings in that unit reads it.

    >>> height(1828.8, "psi"), height(1828.8, "bar")
    ('6000 ft', '1829 m')
    """
    return f"{round(metres / 0.3048)} ft" if unit in READ_IN_FEET else f"{round(metres)} m"
