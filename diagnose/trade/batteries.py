"""Lead batteries: charge by voltage and hydrometer, load, cranking and charging limits. Flooded cells, 2 V each."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, OutOfRange, interpolated, within

CHARGE_BY_VOLTS = ((11.89, 0.0), (12.06, 25.0), (12.24, 50.0), (12.45, 75.0), (12.65, 100.0))
CHARGE_BY_GRAVITY = ((1.120, 0.0), (1.155, 25.0), (1.190, 50.0), (1.225, 75.0), (1.265, 100.0))
FREEZES_F = ((0.0, -10.0), (25.0, -16.0), (50.0, -34.0), (75.0, -55.0), (100.0, -75.0))
"""Charge [%] -> where the acid freezes [F], as printed; other tables freeze an empty one far earlier (memory)."""
LOAD_VOLTS = (
    (-18.0, 8.5),
    (-12.0, 8.7),
    (-7.0, 8.9),
    (-1.0, 9.1),
    (4.0, 9.3),
    (10.0, 9.4),
    (16.0, 9.5),
    (20.0, 9.6),
)
"""Temperature [C] -> least voltage of a 12 V battery under half its cold-cranking current for 15 s (a car maker)."""

CRANKING_VOLTS = 9.6
CHARGING_VOLTS = (13.5, 15.5)
"""Of 12 V; half for 6 V (memory)."""
COLD_CRANKING_CELSIUS, COLD_CRANKING_SECONDS, COLD_CRANKING_VOLTS = -18.0, 30.0, 7.2
"""What the cold-cranking figure on a battery means: that current, so long, and not below that voltage."""

GRAVITY_PER_CELSIUS = 0.00072
GRAVITY_CELSIUS = (80 - 32) / 1.8
"""A hydrometer is right at 80 F."""
VOLTS_PER_CELSIUS_CELL = 0.00025
"""A rested cell has so much more when it is warmer (memory: 0.2 to 0.3 mV)."""
PRINTED_VOLTS_PER_10F = 0.024
"""What a battery maker's page prints to ADD when warmer and take off when colder, for 12 V: the step of the hydrometer
copied over. The cell's own step is a quarter of it and calls for the other direction. We do not use it."""

BASIS = Basis(
    "flooded lead-acid, an hour at rest, about 27 C; within 10 points of charge; sealed ones rest a little higher",
    "a battery maker's table (the same is credited to BCI)",
)
LOAD_BASIS = Basis(
    "12 V, at least three quarters charged, half the cold-cranking current for 15 s", "a car maker's table"
)
CHARGING_BASIS = Basis(
    "battery fully charged, about 5000 rpm; the manual goes before", "motorcycle, scooter and charger makers"
)
ACID = "Acid burns and charging gives off hydrogen: eyes covered, no flame or spark, clips on with the charger OFF."
FROZEN = "A flat battery freezes early; never charge a frozen one, it can burst."


def charge_by_volts(volts: float, nominal: int = 12) -> float:
    """Return the charge of a rested battery, per cent.

    Args:
        volts: with nothing connected, rested an hour; for 12 V 11.89 to 13.0 (half of it for 6 V). Above 12.65 it is
            full: sealed ones rest at up to 12.9 (memory).
        nominal: 6 or 12.

    Raises:
        OutOfRange: below empty, or too high for a battery at rest.

    >>> charge_by_volts(12.24), charge_by_volts(6.12, 6)
    (50.0, 50.0)
    """
    of_twelve = volts * 12 / _nominal(nominal)
    empty, full = CHARGE_BY_VOLTS[0][0] * nominal / 12, CHARGE_BY_VOLTS[-1][0]
    why = f"Below {empty:.2f} V it is empty, or a cell is dead; above, it has just been on charge: let it rest an hour."
    within("rest voltage", volts, empty - 1e-9, 13.0 * nominal / 12, "V", why)
    return interpolated(min(max(of_twelve, CHARGE_BY_VOLTS[0][0]), full), CHARGE_BY_VOLTS)


def gravity_at_80f(gravity: float, celsius: float) -> float:
    """Return a hydrometer reading as it would be at 80 F (26.7 C): 0.004 more for each 10 F above, less below.

    Args:
        gravity: 1.000 to 1.350.
        celsius: of the acid, -18 to 55 C.

    >>> round(gravity_at_80f(1.250, -17.78), 3), round(gravity_at_80f(1.250, 48.89), 3)
    (1.218, 1.266)
    """
    within("hydrometer reading", gravity, 1.0, 1.35, "", "Water is 1.000, the strongest battery acid about 1.300.")
    within("temperature of the acid", celsius, -18, 55, "C", "Above it stop charging; below it warm the battery first.")
    return gravity + GRAVITY_PER_CELSIUS * (celsius - GRAVITY_CELSIUS)


def charge_by_gravity(gravity_80f: float) -> float:
    """Return the charge by a hydrometer at 80 F, per cent; 1.265 to 1.300 is full (acid differs by make).

    >>> charge_by_gravity(1.225)
    75.0
    """
    why = "Below 1.120 it is empty or was topped up with water; above 1.300 somebody topped it up with acid."
    within("hydrometer reading at 80 F", gravity_80f, 1.12, 1.30, "", why)
    return interpolated(min(gravity_80f, 1.265), CHARGE_BY_GRAVITY)


def rest_volts_at_80f(volts: float, celsius: float, cells: int = 6) -> float:
    """Return a rest voltage as it would be at 80 F: a warm cell has a little MORE, so take off above, add below.

    A fortieth of a volt on 12 V between a frosty and a warm shop: seldom worth it. See `PRINTED_VOLTS_PER_10F`.
    """
    within(
        "temperature of the battery", celsius, -18, 55, "C", "Above it stop charging; below it warm the battery first."
    )
    return volts - cells * VOLTS_PER_CELSIUS_CELL * (celsius - GRAVITY_CELSIUS)


def freezes_at(charge: float) -> float:
    """Return where the acid freezes by charge (0 to 100 per cent), degrees Celsius, as a battery maker prints it."""
    within("charge", charge, 0, 100, "%", "It is a share of a full battery.")
    return (interpolated(charge, FREEZES_F) - 32) / 1.8


def load_least(celsius: float, nominal: int = 12) -> float:
    """Return the least voltage in a load test (half the cold-cranking current, 15 s), V.

    Args:
        celsius: of the battery, -18 to 40 C; from 20 upwards 9.6 V (common practice).
        nominal: 6 (half: common practice) or 12.
    """
    within("temperature of the battery", celsius, -18, 40, "C", "The published table ends there.")
    return interpolated(min(celsius, 20.0), LOAD_VOLTS) * _nominal(nominal) / 12


def cranking_least(nominal: int = 12) -> float:
    """Return the least voltage while the starter turns, V (common practice: 9.6 of 12, 4.8 of 6).

    >>> cranking_least(12), cranking_least(6)
    (9.6, 4.8)
    """
    return CRANKING_VOLTS * _nominal(nominal) / 12


def charging(volts: float, nominal: int = 12) -> str:
    """Return "low", "right" or "high" for the voltage at the battery with the engine running: 13.5 to 15.5 of 12 V.

    >>> charging(12.9), charging(14.2), charging(16.1), charging(7.1, 6)
    ('low', 'right', 'high', 'right')
    """
    low, high = (limit * _nominal(nominal) / 12 for limit in CHARGING_VOLTS)
    why = "That is no charging voltage of such a battery; is it 6 or 12 V, and are the leads the right way round?"
    within("charging voltage", volts, 0.75 * nominal, 1.7 * nominal, "V", why)
    return "low" if volts < low else "high" if volts > high else "right"


def _nominal(nominal: int) -> int:
    if nominal not in (6, 12):
        raise OutOfRange(f"A battery of {nominal:g} V is not in these tables; they are for 6 and 12 V.")
    return nominal
