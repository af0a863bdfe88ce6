"""Jets by the air: what the physics asks for, what is made, and what a published rule says instead.

Fuel flows as jet area times the root of (fuel density x depression); the depression goes as air density x speed
squared, air flow as density x speed. For the same mixture at another density (ratio sigma) the area of the jet goes
as sigma ** 1/2, the bore as sigma ** 1/4. Viscosity, air bleeds and pulsation are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

from diagnose.trade.air import Air
from diagnose.trade.ranges import Basis, within

Numbered = Literal["bore", "flow"]
"""bore: the number is the hole in hundredths of a millimetre; flow: the number is what it lets through."""

POWER: dict[str, float] = {"bore": 0.25, "flow": 0.5}
"""How the number of a jet goes with air density."""

STEP: dict[str, float] = {"bore": 2.5, "flow": 10.0}
"""From one made size to the next (common practice for main jets; other makes differ)."""

REJET_FROM_M = 1500.0
"""A maker of small engines asks for another jet from here (owner's manual of a small industrial four-stroke)."""

RULE_PER_1000FT: dict[str, float] = {"bore": -1.0, "flow": -6.0}
RULE_PER_10F: dict[str, float] = {"bore": -1.0, "flow": -4.0}
RULE_FEET, RULE_FAHRENHEIT = 8000.0, 60.0
RULE_SOURCE = "a carburettor parts supplier's table, up to 8000 ft and 60 F of difference"

BASIS = Basis(
    "main jets of slide and CV carburettors, mixture right at the first place; bleeds and viscosity left out",
    "orifice flow (Bernoulli); air by ISO 2533",
)
LEAN = (
    "A jet too small runs lean: the engine overheats, a two-stroke can seize. Going down or into the cold, put the "
    "larger jet in BEFORE you ride."
)

_WHY_RATIO = "Beyond that the needle, the air jets and the pilot have to be chosen anew as well."
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Jetting:
    """A jet for another air. Numbers are jet numbers of the same kind.

    exact: by the sum; leaner, richer: the made sizes on either side of it (the same where one fits exactly); sigma: air
    density there as a share of that where the old jet is right; as_is: mixture there with the old jet, 1 = right,
    above 1 rich.
    """

    exact: float
    leaner: float
    richer: float
    sigma: float
    as_is: float
    numbered: Numbered

    @property
    def nearest(self) -> float:
        """The made size nearest to the sum; the richer where both are as near."""
        return self.leaner if self.exact - self.leaner < self.richer - self.exact - _HAIR else self.richer

    def mixture(self, number: float) -> float:
        """Return the mixture there with a jet of that number: 1 is right, above 1 rich, below 1 lean."""
        return float((number / self.exact) ** (0.5 / POWER[self.numbered]))


def number_ratio(sigma: float, numbered: Numbered) -> float:
    """Return the ratio of jet numbers for the same mixture at a ratio of air densities (0.45 to 2).

    >>> round(number_ratio(0.8617, "bore"), 4), round(number_ratio(0.8617, "flow"), 4)
    (0.9635, 0.9283)
    """
    within("ratio of air densities", sigma, 0.45, 2.0, "", _WHY_RATIO)
    return float(sigma ** POWER[numbered])


def richness(sigma: float) -> float:
    """Return the mixture with the jet left as it is, at a ratio of air densities: above 1 rich, below 1 lean.

    >>> round(richness(0.8638), 3)
    1.076
    """
    within("ratio of air densities", sigma, 0.45, 2.0, "", _WHY_RATIO)
    return float(sigma**-0.5)


def rejet(number: float, numbered: Numbered, right: Air, here: Air, step: float | None = None) -> Jetting:
    """Return the jet for the air here, from one that is right in another air.

    Args:
        number: of the jet that is right there; 20 to 300 by bore, 20 to 900 by flow.
        numbered: what the number means.
        right: the air where it is right.
        here: the air it is wanted for; the lowest and coldest to be ridden in, for lean is the danger.
        step: from one made size to the next; without it `STEP`.

    Raises:
        OutOfRange: no such jet or step, or airs too far apart.
    """
    within("jet number", number, 20, 300 if numbered == "bore" else 900, "", "No main jet has such a number.")
    step = STEP[numbered] if step is None else within("step between sizes", step, 0.5, 50, "", "Jets are made in such.")
    sigma = here.sigma / right.sigma
    exact = number * number_ratio(sigma, numbered)
    return Jetting(
        exact=exact,
        leaner=floor(exact / step + _HAIR) * step,
        richer=ceil(exact / step - _HAIR) * step,
        sigma=sigma,
        as_is=richness(sigma),
        numbered=numbered,
    )


def rule_of_thumb(number: float, numbered: Numbered, feet_up: float, fahrenheit_warmer: float = 0.0) -> float:
    """Return the jet number by a published rule; it is coarser than the physics and kept beside it, not in its place.

    One number (by bore) or six (by flow) less per 1000 ft up; one or four less per 10 F warmer.

    Raises:
        OutOfRange: over 8000 ft or 60 F of difference, where the table ends.
    """
    within("difference in altitude", feet_up, -RULE_FEET, RULE_FEET, "ft", "The published table ends there.")
    why = "The published table ends there."
    within("difference in temperature", fahrenheit_warmer, -RULE_FAHRENHEIT, RULE_FAHRENHEIT, "F", why)
    return number + RULE_PER_1000FT[numbered] * feet_up / 1000 + RULE_PER_10F[numbered] * fahrenheit_warmer / 10


def power_lost(air: Air) -> tuple[float, float]:
    """Return the share of the sea-level power that the air takes: by its density, by its pressure. Makers print both.

    >>> from diagnose.trade.air import air_at
    >>> [round(lost, 3) for lost in power_lost(air_at(304.8))]
    [0.029, 0.036]
    """
    return 1 - air.sigma, 1 - air.delta
