"""Air by altitude, temperature and barometer; readings that start from the air outside brought to sea level.

Notation: p pressure [Pa], rho density [kg/m3], delta = p / 101325 Pa, sigma = rho / 1.225 kg/m3 (the standard day).
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.trade.ranges import Basis, within

SEA_LEVEL_PA = 101325.0
SEA_LEVEL_CELSIUS = 15.0

_ZERO_K = 273.15
_LAPSE = 0.0065
"""Kelvin per metre."""
_GRAVITY = 9.80665
_GAS = 287.05287
"""J/(kg K), dry air."""
_EARTH_M = 6356766.0
_EXPONENT = _GRAVITY / (_GAS * _LAPSE)

LOWEST_M, HIGHEST_M = -500.0, 6000.0
COLDEST_C, HOTTEST_C = -50.0, 60.0

ALTITUDE_ERROR = 0.03
"""Share; what a reading brought to sea level may be out, for an engine is no ideal pump (common practice)."""

BASIS = Basis(
    "still, dry air, from 500 m below the sea to 6000 m (20000 ft), -50 to 60 C",
    "International Standard Atmosphere, ISO 2533",
)
WHY_ALTITUDE = "No road goes higher, and readings are not brought down from there."


@dataclass(frozen=True, slots=True)
class Air:
    """The air at a place. pressure: station pressure, Pa (what a barometer shows there); celsius: its temperature."""

    pressure: float = SEA_LEVEL_PA
    celsius: float = SEA_LEVEL_CELSIUS

    @property
    def delta(self) -> float:
        """Pressure as a share of the standard sea level."""
        return self.pressure / SEA_LEVEL_PA

    @property
    def density(self) -> float:
        """Density of dry air, kg/m3, as an ideal gas."""
        return self.pressure / (_GAS * (self.celsius + _ZERO_K))

    @property
    def sigma(self) -> float:
        """Density as a share of the standard sea level."""
        return self.delta * (SEA_LEVEL_CELSIUS + _ZERO_K) / (self.celsius + _ZERO_K)


SEA_LEVEL = Air()


def standard_celsius(altitude_m: float) -> float:
    """Return the temperature of the standard day at an altitude (-500 to 6000 m), degrees Celsius.

    >>> round(standard_celsius(1000), 1)
    8.5
    """
    return SEA_LEVEL_CELSIUS - _LAPSE * _geopotential(altitude_m)


def standard_pressure(altitude_m: float) -> float:
    """Return the pressure of the standard day at an altitude (-500 to 6000 m), Pa.

    >>> round(standard_pressure(1000))
    89876
    """
    kelvin = standard_celsius(altitude_m) + _ZERO_K
    return SEA_LEVEL_PA * float((kelvin / (SEA_LEVEL_CELSIUS + _ZERO_K)) ** _EXPONENT)


def station_pressure(altitude_m: float, sea_level_pa: float = SEA_LEVEL_PA) -> float:
    """Return the pressure at a place, Pa.

    Args:
        altitude_m: height above the sea, -500 to 6000 m.
        sea_level_pa: what the weather report gives, which is brought down to sea level (870 to 1085 hPa, the extremes
            ever measured: from memory).
    """
    why = (
        "A weather report gives the pressure brought down to sea level; what a barometer shows here is another figure."
    )
    within("air pressure at sea level", sea_level_pa, 87000, 108500, "Pa", why)
    return standard_pressure(altitude_m) * sea_level_pa / SEA_LEVEL_PA


def air_at(altitude_m: float, celsius: float | None = None, sea_level_pa: float = SEA_LEVEL_PA) -> Air:
    """Return the air at an altitude; without a temperature that of the standard day there.

    A temperature that is given is the real one: the fall of temperature with height is not applied once more.

    >>> round(air_at(2000).sigma, 3), round(air_at(2000, 20).sigma, 3)
    (0.822, 0.771)
    """
    if celsius is None:
        celsius = standard_celsius(altitude_m)
    return Air(station_pressure(altitude_m, sea_level_pa), _temperature(celsius))


def air_measured(pressure: float, celsius: float = SEA_LEVEL_CELSIUS) -> Air:
    """Return the air by a barometer that hangs here, 45 to 110 kPa."""
    why = "A barometer on a road shows no other figure."
    return Air(within("air pressure here", pressure, 45000, 110000, "Pa", why), _temperature(celsius))


def sea_level_reading(reading: float, altitude_m: float, sea_level_pa: float = SEA_LEVEL_PA) -> float:
    """Return what a cranking pressure would be at sea level, in the unit it is given in (gauge or absolute alike).

    Cranking starts from the air outside, so it goes with the *pressure* of the air. A table that goes with its density
    (0.862 for 5000 ft, where pressure gives 0.832) is in circulation too. True to 3 per cent (`ALTITUDE_ERROR`).

    Args:
        reading: what the gauge showed there, any unit of pressure.
        altitude_m: where, -500 to 6000 m.
        sea_level_pa: the weather report's pressure, if it is known.

    >>> round(sea_level_reading(95, 1828.8))
    119
    """
    return reading * SEA_LEVEL_PA / station_pressure(altitude_m, sea_level_pa)


def reading_here(at_sea_level: float, altitude_m: float, sea_level_pa: float = SEA_LEVEL_PA) -> float:
    """Return what a cranking pressure at sea level would be here: the reverse of `sea_level_reading`."""
    return at_sea_level * station_pressure(altitude_m, sea_level_pa) / SEA_LEVEL_PA


def _geopotential(altitude_m: float) -> float:
    """Return geometric as geopotential height, m."""
    within("altitude", altitude_m, LOWEST_M, HIGHEST_M, "m", WHY_ALTITUDE)
    return _EARTH_M * altitude_m / (_EARTH_M + altitude_m)


def _temperature(celsius: float) -> float:
    return within("air temperature", celsius, COLDEST_C, HOTTEST_C, "C", "Nobody starts an engine beyond it.")
