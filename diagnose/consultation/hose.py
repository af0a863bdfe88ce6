"""What the own volume of a gauge and its hose takes off a compression reading, by the bike's own sheet. Pure.

The volume is counted from the plug seat to the check valve; 0 where the valve sits at the plug end. The sum is in
trade/compression; here is what it is fed with, how far it may be out, and what is tried where something is not told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, pi

from diagnose.consultation.sheet import figure_of
from diagnose.consultation.state import State
from diagnose.model import Knowledge
from diagnose.trade.compression import CRANKING_N, HIGH_N, LOW_N, chamber_cc, true_reading

SMALL_CC = 100.0
"""Cylinders under this are not condemned on a hose gauge of unknown volume (common practice)."""

TRY_ML, TRY_CC = 3.0, 70.0
"""Where they are not told: a hose gauge (one that was measured held 2.86) and a small cylinder (a choice)."""

TRY_RATIO = {"2": 6.5, "4": 9.0}
"""Strokes -> the middle of what the sheet calls usual; of a two-stroke counted from the port shut."""

PORT_SHARE, PORT_ERROR = 0.37, 0.07
"""Of a two-stroke's stroke, below the upper edge of its exhaust port: it opens 90 to 105 degrees after the top, rod
twice the stroke (memory; slider-crank: 0.44 to 0.31)."""

VOLUME_ERROR = 0.15
"""Share by which the volume may be out that a syringe found in gauge and hose (memory)."""

SWEPT_CC, RATIO = (20.0, 1000.0), (2.0, 14.0)
"""What the sum holds for."""


@dataclass(frozen=True, slots=True)
class Hose:
    """A gauge on a cylinder, None for what was not told.

    volume_ml: of gauge and hose; swept_cc: of one cylinder, its whole stroke; ratio: of a two-stroke the trapped one.
    strokes: "2" or "4", empty where not told (then it counts as a four-stroke).
    """

    volume_ml: float | None = None
    swept_cc: float | None = None
    ratio: float | None = None
    strokes: str = ""

    @property
    def told(self) -> bool:
        """Whether all is told that the sum needs; with no volume it needs no more."""
        return self.volume_ml == 0 or None not in (self.volume_ml, self.swept_cc, self.ratio)


NO_HOSE = Hose()
"""A gauge and a cylinder of which nothing is known."""


def hose_on(knowledge: Knowledge, state: State, volume_ml: float | None) -> Hose:
    """Return a gauge on a cylinder of this bike: its sheet's capacity, else bore and stroke, and compression ratio."""
    cylinders = 2 if state.facts.get("cylinders") == "2" else 1
    capacity, bore, stroke = (
        figure_of(knowledge, state, item, unit) for item, unit in (("capacity", "ml"), ("bore", "mm"), ("stroke", "mm"))
    )
    swept = capacity / cylinders if capacity else pi / 4 * bore**2 * stroke / 1000 if bore and stroke else None
    ratio = figure_of(knowledge, state, "compression_ratio")
    return Hose(volume_ml, _held(swept, SWEPT_CC), _held(ratio, RATIO), state.facts.get("strokes", ""))


def _held(value: float | None, span: tuple[float, float]) -> float | None:
    """Return a figure that the sum holds for, None for another."""
    return value if value is not None and span[0] <= value <= span[1] else None


def true_share(hose: Hose) -> float | None:
    """Return what a reading is multiplied by to be that of a gauge without volume; None where something is not told.

    Raises OutOfRange where gauge and hose hold more than the chamber.
    """
    if not hose.told:
        return None
    return _share(hose, hose.volume_ml or 0.0) if hose.volume_ml else 1.0


def share_error(hose: Hose) -> float:
    """Return what that factor may be out, as a share of it: by the exponent, by the volume, by the height of a port.

    Two standard deviations each, taken as independent. 0 where nothing is corrected.
    """
    if not hose.told or not hose.volume_ml:
        return 0.0
    volume = hose.volume_ml
    true, less = _share(hose, volume), _share(hose, volume * (1 - VOLUME_ERROR))
    exponent = (_share(hose, volume, n=HIGH_N) - _share(hose, volume, n=LOW_N)) / 2
    port = true - _share(hose, volume, PORT_SHARE - PORT_ERROR)  # a higher one hides more, and is as likely
    return hypot(exponent, true - less, port) / true


def supposed(hose: Hose) -> Hose | None:
    """Return what a small cylinder is tried with where something is not told; None where all is, or it is not small."""
    if hose.told or (hose.swept_cc or 0.0) >= SMALL_CC:
        return None
    swept, ratio = hose.swept_cc or TRY_CC, hose.ratio or TRY_RATIO.get(hose.strokes, TRY_RATIO["4"])
    full = replace(hose, swept_cc=swept, ratio=ratio)
    held = chamber_cc(_swept(full, PORT_SHARE), ratio)
    return replace(full, volume_ml=min(TRY_ML if hose.volume_ml is None else hose.volume_ml, held))


def _share(hose: Hose, volume_ml: float, port: float = PORT_SHARE, n: float = CRANKING_N) -> float:
    """Return the factor for a gauge of that volume. port: share of the stroke, of no account on a four-stroke."""
    return true_reading(1.0, _swept(hose, port), hose.ratio or 0.0, volume_ml, n)


def _swept(hose: Hose, port: float) -> float:
    """Return what is swept with the ports shut, cc."""
    return (hose.swept_cc or 0.0) * (1 - port if hose.strokes == "2" else 1.0)
