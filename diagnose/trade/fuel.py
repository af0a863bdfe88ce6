"""Petrol: what the engine takes and the tap gives, what water alcohol holds, how old it is."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, interpolated, within

PETROL_KG_PER_L = 0.745
CONSUMPTION = ((1.0, 650.0), (2.0, 600.0), (4.0, 500.0), (8.0, 400.0), (12.0, 350.0))
"""Full power [kW] -> petrol taken [g/kWh] by small carburettor engines (memory)."""
TAP_OVER_DEMAND = 2.0
"""What a gravity tap should give, as a multiple of what full power takes (common practice)."""

WATER_HELD = ((-20 / 3, 0.365), (140 / 9, 0.495))
"""Temperature [C: 20 and 60 F] -> water [per cent by volume] that petrol with 10 % ethanol holds (fuel laboratory)."""
_ETHANOL = 10.0
LAYERS = (
    "At the bottom water with most of the alcohol, on top petrol of lower octane; of premix most of the oil goes down "
    "too. Drain it all; shaking does not mend it."
)

FRESH_DAYS, SUSPECT_DAYS, BAD_DAYS = 30, 90, 365
"""Engine and generator makers say 30 days, farming press 42, refiners and boating press 60 to 90; from a year on it
gums small passages (common practice). Advice, not physics."""
VAPOUR_PSI = {"summer": 7.0, "winter": 13.5}
"""Vapour pressure by season (snowmobile service manual): the light ends a cold start needs, and the first to go."""

DEMAND_BASIS = Basis(
    "1 to 12 kW at full power; within 10 per cent; a floor, no maker's figure for a tap is known to us",
    "petrol 0.745 kg/l; consumption of small engines from memory",
)
WATER_BASIS = Basis("petrol with 10 % ethanol, -7 to 16 C (20 to 60 F)", "a fuel laboratory's note")
AGE_BASIS = Basis(
    "petrol in a vented tank or bowl; a stabiliser helps only if it went in fresh",
    "engine and generator makers, farming and boating press: advice, they differ",
)
FIRE = "Petrol and its vapour burn: outdoors, engine cold, no spark or flame, catch it in a metal can, rags away."


def demand(kilowatts: float, grams_per_kwh: float | None = None) -> float:
    """Return the petrol an engine takes at full power, ml/min.

    Args:
        kilowatts: full power, 1 to 12 kW where the consumption is not given, else 0.5 to 60.
        grams_per_kwh: specific consumption, 250 to 900; without it that of small engines of the power.

    >>> round(demand(4, 500), 1)
    44.7
    """
    if grams_per_kwh is None:
        within("full power", kilowatts, 1, 12, "kW", "What smaller or larger engines take is not known to us.")
        grams_per_kwh = interpolated(kilowatts, CONSUMPTION)
    within("full power", kilowatts, 0.5, 60, "kW", "No small motorcycle has another.")
    within("consumption", grams_per_kwh, 250, 900, "g/kWh", "No carburettor engine has another.")
    return kilowatts * grams_per_kwh / PETROL_KG_PER_L / 60


def flow(caught_ml: float, seconds: float) -> float:
    """Return the flow of a timed catch, ml/min. caught_ml: 0 to 5000; seconds: 5 to 600, a minute is best.

    >>> flow(90, 30)
    180.0
    """
    within("petrol caught", caught_ml, 0, 5000, "ml", "A tap gives no more in that time.")
    return caught_ml / within("time", seconds, 5, 600, "s", "Shorter catches the hose's content only.") * 60


def water_held(celsius: float, ethanol: float = _ETHANOL) -> float:
    """Return the water that petrol with alcohol holds before it separates, per cent of its volume.

    Args:
        celsius: -6.7 to 15.6 C.
        ethanol: per cent; 10 only, for no other blend is known to us.

    >>> round(water_held(15.5), 2)
    0.49
    """
    within(
        "ethanol",
        ethanol,
        _ETHANOL,
        _ETHANOL,
        "%",
        "Water was measured in that blend only; without alcohol it holds next to none.",
    )
    low, high = WATER_HELD[0][0], WATER_HELD[-1][0]
    return interpolated(
        within("temperature of the petrol", celsius, low, high, "C", "It was measured only there."), WATER_HELD
    )


def age(days: float) -> str:
    """Return "fresh", "use it up", "suspect" or "bad" for petrol of that age (0 to 36500 days).

    >>> age(20), age(60), age(120), age(400)
    ('fresh', 'use it up', 'suspect', 'bad')
    """
    within("age", days, 0, 36500, "days", "Petrol is not older than a hundred years.")
    if days <= FRESH_DAYS:
        return "fresh"
    return "use it up" if days <= SUSPECT_DAYS else "suspect" if days < BAD_DAYS else "bad"
