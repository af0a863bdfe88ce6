"""The units that people write, with their exact factors and every spelling of their names.

Every factor is exact: inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2, mercury 13 595.1 kg/m3
(conventional inHg and mmHg), imperial gallon 4.54609 l, US gallon 231 cubic inches, 0 C = 273.15 K, degree F = 5/9 K
from -459.67, horsepower 550 ft lbf/s, year 365.25 days and a month its twelfth.
Source: BIPM, The International System of Units, 9th ed.; NIST SP 811 (2008), appendix B (both from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: (value + offset) * factor is the value in its kind's base unit. spellings: other words."""

    name: str
    kind: str
    factor: Fraction
    spellings: tuple[str, ...] = ()
    offset: Fraction = Fraction(0)


def _unit(name: str, kind: str, factor: str | Fraction, spellings: str = "", offset: str = "0") -> Unit:
    """Return a unit; spellings are parted by a bar."""
    return Unit(name, kind, Fraction(factor), tuple(filter(None, spellings.split("|"))), Fraction(offset))


_GRAVITY = Fraction("9.80665")
_INCH = Fraction("0.0254")
_POUND_FORCE = Fraction("0.45359237") * _GRAVITY
_INCH_OF_MERCURY = Fraction("13595.1") * _GRAVITY * _INCH
_PINT_OUNCE = Fraction(4546090, 160 * 1000)
_YEAR = Fraction("365.25") * 86400
_US_OUNCE = 231 * Fraction("2.54") ** 3 / 128

TABLE = (
    _unit("Pa", "pressure", "1"),
    _unit("hPa", "pressure", "100", "mbar"),
    _unit("kPa", "pressure", "1000"),
    _unit("MPa", "pressure", "1000000"),
    _unit("bar", "pressure", "100000"),
    _unit("psi", "pressure", _POUND_FORCE / _INCH**2, "lbf/in2|lb/in2|lbs/in2|lb/sq in|lbs/sq in|psig"),
    _unit("kgf/cm2", "pressure", _GRAVITY * 10000, "kg/cm2|kp/cm2"),
    _unit("inHg", "pressure", _INCH_OF_MERCURY),
    _unit("mmHg", "pressure", _INCH_OF_MERCURY / Fraction("25.4")),
    _unit("cmHg", "pressure", _INCH_OF_MERCURY / Fraction("2.54")),
    _unit("mV", "voltage", "0.001"),
    _unit("V", "voltage", "1", "volt|volts|VDC|VAC"),
    _unit("kV", "voltage", "1000"),
    _unit("ohm", "resistance", "1", "ohms|R"),
    _unit("kohm", "resistance", "1000", "kohms|k|K|kR"),
    _unit("Mohm", "resistance", "1000000", "Mohms|M|megohm|megohms"),
    _unit("mm", "length", "0.001", "millimetre|millimetres|millimeter|millimeters|mm BTDC"),
    _unit("cm", "length", "0.01"),
    _unit("m", "length", "1", "metre|metres|meter|meters"),
    _unit("in", "length", _INCH, 'inch|inches|"'),
    _unit("thou", "length", _INCH / 1000, "thousandth|thousandths"),
    _unit("ft", "length", "0.3048", "foot|feet|'"),
    _unit("ml/min", "flow", "1", "cc/min|cm3/min"),
    _unit("l/h", "flow", Fraction(1000, 60), "l/hr"),
    _unit("ml", "volume", "1", "cc|cm3"),
    _unit("l", "volume", "1000", "litre|litres|liter|liters"),
    _unit("imp gal", "volume", "4546.09", "UK gal|gal|gallon|gallons|imp gallon|imp gallons|UK gallon|UK gallons"),
    _unit("US gal", "volume", _US_OUNCE * 128, "gal|gallon|gallons|US gallon|US gallons"),
    _unit("imp fl oz", "volume", _PINT_OUNCE, "UK fl oz|fl oz|fl oz imp"),
    _unit("US fl oz", "volume", _US_OUNCE, "fl oz|fl oz US"),
    _unit("K", "temperature", "1", "kelvin"),
    _unit("C", "temperature", "1", "degC|deg C|celsius", "273.15"),
    _unit("F", "temperature", Fraction(5, 9), "degF|deg F|fahrenheit", "459.67"),
    _unit("ms", "time", "0.001"),
    _unit("s", "time", "1", "sec|secs|second|seconds"),
    _unit("min", "time", "60", "mins|minute|minutes"),
    _unit("h", "time", "3600", "hr|hrs|hour|hours"),
    _unit("days", "time", "86400", "day"),
    _unit("weeks", "time", "604800", "week"),
    _unit("months", "time", _YEAR / 12, "month"),
    _unit("years", "time", _YEAR, "year"),
    _unit("deg", "angle", "1", "degree|degrees|deg BTDC|degrees BTDC"),
    _unit("km/h", "speed", "1", "kph|kmh"),
    _unit("mph", "speed", "1.609344"),
    _unit("N m", "torque", "1"),
    _unit("kgf m", "torque", _GRAVITY, "kg m|kp m"),
    _unit("lbf ft", "torque", _POUND_FORCE * 12 * _INCH, "ft lbf|lb ft|ft lb|ft lbs"),
    _unit("W", "power", "1", "watt|watts"),
    _unit("kW", "power", "1000"),
    _unit("hp", "power", _POUND_FORCE * 550 * 12 * _INCH, "bhp"),
    _unit("A", "current", "1", "amp|amps|ampere|amperes"),
    _unit("mA", "current", "0.001"),
    _unit("uF", "capacitance", "1", "mfd"),
    _unit("nF", "capacitance", "0.001"),
    _unit("rpm", "rotation", "1", "rev/min|1/min|/min"),
    _unit("turns", "count", "1", "turn"),
    _unit("kicks", "count", "1", "kick"),
    _unit("percent", "percent", "1", "%"),
)
UNITS = {unit.name: unit.kind for unit in TABLE}
"""Name of every unit -> the kind of quantity it measures."""

BY_NAME = {unit.name: unit for unit in TABLE}
CASE_MATTERS = frozenset({"m", "mohm", "mohms"})
"""Spellings that mean something a million times smaller in small letters."""

ADVICE = {
    "lb": ("a pound is a weight", "psi for a pressure, lbf ft for a torque"),
    "lbs": ("a pound is a weight", "psi for a pressure, lbf ft for a torque"),
    "kg": ("a kilogram is a weight", "kgf/cm2 for a pressure, kgf m for a torque"),
    "mohm": ("this could be thousandths or millions of an ohm", "ohm or Mohm"),
    "mohms": ("this could be thousandths or millions of an ohm", "ohm or Mohm"),
    "oz": ("this could be a weight or a volume", "imp fl oz or US fl oz for a volume"),
    "mil": ("this could be millimetres or thousandths of an inch", "mm or thou"),
    "mils": ("this could be millimetres or thousandths of an inch", "mm or thou"),
    "degatdc": ("after top dead centre is the other side", "a negative figure, such as -2 deg"),
    "mmatdc": ("after top dead centre is the other side", "a negative figure, such as -0.5 mm"),
}
"""What is often written in place of a unit -> what it is, what to write."""


USUAL: dict[str, tuple[str, ...]] = {
    "pressure": ("psi", "bar", "kPa"),
    "voltage": ("V",),
    "resistance": ("ohm", "kohm"),
    "length": ("mm", "in", "thou"),
    "flow": ("ml/min",),
    "volume": ("ml", "l"),
    "temperature": ("C", "F"),
    "time": ("s", "min"),
    "angle": ("deg",),
    "speed": ("km/h", "mph"),
    "torque": ("N m", "lbf ft"),
    "power": ("kW", "hp"),
    "current": ("A", "mA"),
    "capacitance": ("uF", "nF"),
    "rotation": ("rpm",),
    "count": ("turns", "kicks"),
    "percent": ("%",),
}
"""Kind of quantity -> the units a mechanic writes it in, for what to write instead."""

NEVER_NEGATIVE = frozenset({"resistance", "flow", "volume", "time", "speed", "power", "capacitance", "rotation"})
"""Kinds of which there is no less than nothing; a pressure, voltage or length may lie on the other side."""


def key(spelling: str) -> str:
    """Return a spelling without the spaces, points and dashes that people put in or leave out."""
    return re.sub(r"[\s.·⋅*^-]", "", spelling)


def _all_spellings() -> dict[str, tuple[str, ...]]:
    """Return spelling -> names of the units it may mean; in small letters too unless the size changes."""
    table: dict[str, tuple[str, ...]] = {}
    for unit in TABLE:
        for spelling in (unit.name, *unit.spellings):
            known = table.get(key(spelling), ())
            if unit.name not in known:
                table[key(spelling)] = (unit.name, *known) if spelling == unit.name else (*known, unit.name)
    for spelling, names in list(table.items()):
        if spelling.casefold() not in CASE_MATTERS:
            table.setdefault(spelling.casefold(), names)
    return table


SPELLINGS = _all_spellings()
