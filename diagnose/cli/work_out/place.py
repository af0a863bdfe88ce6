"""Where the bike stands: altitude, temperature, weather; the options for it and the air there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from diagnose.cli.work_out.measures import Altitude, Measure, si

if TYPE_CHECKING:
    from diagnose.trade.air import Air
    from diagnose.units import Quantity

_AT = click.option("--at", type=Altitude(), metavar="ALTITUDE", help='Where: "6000 ft", 1500m or "sea level".')
_TEMPERATURE = click.option(
    "--temperature",
    type=Measure("temperature"),
    metavar="TEMP",
    help="Of the air there: 5C, 72F. Without it: that of the standard day.",
)
_WEATHER = click.option(
    "--weather",
    type=Measure("pressure"),
    metavar="PRESSURE",
    help='What the weather report says (brought to sea level): "1013 hPa".',
)
_BAROMETER = click.option(
    "--barometer",
    type=Measure("pressure"),
    metavar="PRESSURE",
    help='What an instrument shows there: "23.98 inHg". In place of --at.',
)

Command = TypeVar("Command", bound=Callable[..., Any])


def by_air(command: Command) -> Command:
    """Give a command the options of `air_there`: altitude, temperature, weather report, barometer."""
    return _AT(_TEMPERATURE(_WEATHER(_BAROMETER(command))))


def by_pressure(command: Command) -> Command:
    """Give a command those of them that the pressure of the air hangs on: all but the temperature."""
    return _AT(_WEATHER(_BAROMETER(command)))


def air_there(
    at: Quantity | None = None,
    temperature: Quantity | None = None,
    weather: Quantity | None = None,
    barometer: Quantity | None = None,
) -> Air:
    """Return the air from what was given; sea level on the standard day where nothing was.

    Raises:
        DiagnoseError: two ways to give the pressure at once, or a figure out of range.
    """
    from diagnose.problems import DiagnoseError
    from diagnose.trade.air import SEA_LEVEL_PA, Air, air_at, air_measured

    celsius = si(temperature, "C") if temperature else None
    if barometer:
        if at or weather:
            raise DiagnoseError("a barometer there says it all; leave out --at and --weather, or leave out --barometer")
        measured = air_measured(si(barometer, "Pa"))
        return measured if celsius is None else Air(measured.pressure, air_at(0, celsius).celsius)
    sea_level = si(weather, "Pa") if weather else SEA_LEVEL_PA
    return air_at(si(at, "m") if at else 0.0, celsius, sea_level)


def words(at: Quantity | None, air: Air) -> str:
    """Return a place and its air in words, such as "6000 ft (812 hPa, 3 C)"."""
    where = at.text if at else "this barometer" if air.pressure != 101325.0 else "sea level"
    return f"{where} ({air.pressure / 100:.0f} hPa, {air.celsius:.0f} C)"
