"""Cranking compression: what a ratio should give, what a gauge hides, what oil adds, cylinder against cylinder.

Notation: CR compression ratio, Vs swept volume, Vc = Vs / (CR - 1) chamber, Va dead volume of gauge and hose (between
plug seat and check valve), n polytropic exponent of cranking (1.20 to 1.35 in practice, 1.40 without any heat lost).
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.trade.air import SEA_LEVEL_PA
from diagnose.trade.ranges import Basis, OutOfRange, within

CRANKING_N = 1.3
LOW_N, HIGH_N = 1.20, 1.35
SPREAD_LIMITS: tuple[tuple[float, str], ...] = (
    (0.90, "small two- and four-stroke watercraft, a retailer's tip, and over 100 psi"),
    (0.85, "an air-cooled industrial twin, maker, and over 90 psi"),
    (0.75, "a car maker"),
    (0.70, "a car maker, and over 100 psi"),
)
"""Lowest cylinder as a share of the highest that is still passed, and who says so. They do not agree."""

DECOMPRESSOR = (
    "An automatic decompressor halves a healthy reading (makers print 400 to 800 kPa for sound engines with one). "
    "Low figures say nothing until you know that there is none, or that it is held off."
)
METHOD = "Throttle wide open, fuel off, plug lead earthed, kick until the needle rises no more (5 to 8 kicks)."
OIL_SHARE, OIL_LEAST_ML, OIL_MOST_ML = 0.01, 0.5, 5.0
OIL_LIMIT = 0.5
"""Share of the chamber; more oil than that and the piston may meet it."""
RINGS_FROM, VALVES_TO = 0.10, 0.03
"""Rise over what the oil alone gives: from the one it speaks for rings, up to the other against (common practice)."""

BASIS = Basis(
    "a healthy engine cranked warm; real ones read lower (late inlet closing, leaks, cold)",
    "polytropic compression, n 1.20 to 1.35 (public reference pages)",
)
DEAD_BASIS = Basis(
    "gauges whose check valve sits at the far end of the hose; n 1.3",
    "polytropic compression; figures of an owner's 49 cc engine agree",
)
WET_BASIS = Basis(
    "upright cylinders; weak on two-strokes and on cylinders that lie flat",
    "polytropic compression, n 1.3; makers' service data for what it means; quantity: common practice",
)


def gauge_pressure(ratio: float, n: float = CRANKING_N, ambient: float = SEA_LEVEL_PA) -> float:
    """Return the gauge pressure of an ideal compression, Pa: ambient * (ratio ** n - 1).

    Args:
        ratio: compression ratio, 2 to 14; of a two-stroke the trapped one (`trapped_ratio`).
        n: exponent, 1.0 to 1.4.
        ambient: pressure of the air outside, 45 to 110 kPa.

    >>> round(gauge_pressure(9) / 6894.757)
    241
    """
    _ratio(ratio)
    within("exponent", n, 1.0, 1.4, "", "1.4 is air that loses no heat at all.")
    within("air pressure here", ambient, 45000, 110000, "Pa", "A barometer on a road shows no other figure.")
    return ambient * float(ratio**n - 1)


def expected(ratio: float, ambient: float = SEA_LEVEL_PA) -> tuple[float, float]:
    """Return what a healthy engine of that ratio may read, Pa gauge: n 1.20 and 1.35."""
    return gauge_pressure(ratio, LOW_N, ambient), gauge_pressure(ratio, HIGH_N, ambient)


def trapped_ratio(ratio: float, port_share: float) -> float:
    """Return the ratio of a two-stroke after its exhaust port has closed.

    Args:
        ratio: over the whole stroke, 2 to 20.
        port_share: height of the port's upper edge over the piston at the bottom, as a share of the stroke, 0 to 0.7.

    >>> round(trapped_ratio(7.9, 0.31), 2)
    5.76
    """
    within("compression ratio", ratio, 2, 20, "", "No petrol engine has another.")
    within("height of the port over the stroke", port_share, 0, 0.7, "", "A port is not higher than that.")
    return 1 + (ratio - 1) * (1 - port_share)


def chamber_cc(swept_cc: float, ratio: float) -> float:
    """Return the chamber of a cylinder, cc. swept_cc: 10 to 1000; ratio: 2 to 14.

    >>> round(chamber_cc(125, 9), 1)
    15.6
    """
    within("volume of the cylinder", swept_cc, 10, 1000, "cc", "It is the volume of ONE cylinder.")
    return swept_cc / (_ratio(ratio) - 1)


def true_reading(reading: float, swept_cc: float, ratio: float, dead_cc: float, n: float = CRANKING_N) -> float:
    """Return what a gauge without dead volume would have read, in the unit it is given in (gauge pressure).

    Args:
        reading: what the gauge showed, 0 or more, any unit.
        swept_cc: volume of the cylinder; of a two-stroke the part above the closed exhaust port.
        ratio: compression ratio; of a two-stroke the trapped one.
        dead_cc: volume of gauge, hose and adapter up to the check valve.
        n: exponent of cranking.

    Raises:
        OutOfRange: more dead volume than chamber: the sum would more than make up what was read.

    >>> round(true_reading(90, 49, 8.8, 2.86))
    142
    """
    chamber = chamber_cc(swept_cc, ratio)
    why = "With more dead volume than chamber the gauge tells too little; use one with its valve at the plug end."
    within("dead volume", dead_cc, 0, chamber, "cc", why)
    within("reading", reading, 0, float("inf"), "", "A gauge pressure is not below nothing.")
    seen = (swept_cc + chamber + dead_cc) / (chamber + dead_cc)
    return reading * float(ratio**n - 1) / float(seen**n - 1)


def oil_ml(swept_cc: float) -> float:
    """Return how much oil the wet test of a cylinder takes, ml: one per cent of it, in half millilitres, at most 5.

    Common practice cut to the size: the 15 ml that are told for cars stop a small engine dead.

    >>> oil_ml(50), oil_ml(125), oil_ml(500)
    (0.5, 1.0, 5.0)
    """
    within("volume of the cylinder", swept_cc, 10, 1000, "cc", "It is the volume of ONE cylinder.")
    return min(OIL_MOST_ML, max(OIL_LEAST_ML, round(swept_cc * OIL_SHARE * 2) / 2))


def false_rise(swept_cc: float, ratio: float, oil: float, n: float = CRANKING_N) -> float:
    """Return the factor by which oil lifts a reading by its volume alone, sealing nothing.

    Args:
        swept_cc: volume of the cylinder, cc.
        ratio: compression ratio.
        oil: millilitres put in, up to half the chamber.
        n: exponent of cranking.

    Raises:
        OutOfRange: so much oil that the piston may meet it.

    >>> round(false_rise(50, 7, 1), 2)
    1.17
    """
    chamber = chamber_cc(swept_cc, ratio)
    if not 0 <= oil <= OIL_LIMIT * chamber:
        raise OutOfRange(
            f"{oil:g} ml of oil in a chamber of {chamber:.1f} cc: the piston may meet it and bend the rod (hydraulic "
            f"lock). Put in {oil_ml(swept_cc):g} ml, and turn it over by hand first."
        )
    return float((1 + swept_cc / (chamber - oil)) ** n - 1) / float(ratio**n - 1)


@dataclass(frozen=True, slots=True)
class WetTest:
    """What oil did. rise: wet over dry, less one; by_volume: what the oil's volume alone gives; sealed: the rest.

    speaks_for: "rings", "valves" (or head gasket), or "" where it does not tell.
    """

    rise: float
    by_volume: float
    sealed: float
    speaks_for: str


def wet_test(dry: float, wet: float, factor: float = 1.0) -> WetTest:
    """Return what a wet test says.

    Args:
        dry: gauge pressure before, above 0.
        wet: after the oil, the same gauge and unit.
        factor: `false_rise` of this engine and this much oil.

    >>> wet_test(80, 120, 1.17).speaks_for
    'rings'
    """
    within(
        "dry reading",
        dry,
        1e-6,
        float("inf"),
        "",
        "From no pressure at all no rise can be told; find the big hole first.",
    )
    within("wet reading", wet, 0, float("inf"), "", "A gauge pressure is not below nothing.")
    within("rise by the oil's volume", factor, 1, 3, "", "It is what false_rise gives.")
    sealed = wet / (dry * factor) - 1
    speaks = "rings" if sealed >= RINGS_FROM else "valves" if sealed <= VALVES_TO else ""
    return WetTest(wet / dry - 1, factor - 1, sealed, speaks)


def spread(readings: tuple[float, ...]) -> float:
    """Return the lowest cylinder as a share of the highest, 0 to 1. Two readings or more, one gauge, one unit.

    >>> spread((168, 126))
    0.75
    """
    if len(readings) < 2 or min(readings) < 0 or max(readings) <= 0:
        raise OutOfRange("Cylinder against cylinder takes two readings or more, none below 0 and not all 0.")
    return min(readings) / max(readings)


def _ratio(ratio: float) -> float:
    why = "No small petrol engine has another; of a two-stroke give the ratio after the exhaust port has closed."
    return within("compression ratio", ratio, 2, 14, "", why)
