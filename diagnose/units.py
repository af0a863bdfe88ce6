"""Quantities as people write them ("90 psi", "0,6 mm", "5k6", "1 1/2 turns") and their exact conversion.

A comma and a point both mark decimals; a thousands sign is never accepted. Every factor below is exact:
inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s2, mercury 13 595.1 kg/m3 (conventional inHg),
imperial gallon 4.54609 l, US gallon 231 cubic inches, 0 C = 273.15 K, degree F = 5/9 K from -459.67, horsepower
550 ft lbf/s, year 365.25 days and a month its twelfth.
Source: BIPM, The International System of Units, 9th ed.; NIST SP 811 (2008), appendix B (both from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from unicodedata import normalize

from diagnose.problems import DiagnoseError


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number and its unit. unit: a name of this table, empty where none was written; text: as written."""

    value: float
    unit: str
    text: str = ""

    def __str__(self) -> str:
        """Return the number with its unit.

        >>> str(Quantity(0.6, "mm"))
        '0.6 mm'
        """
        return f"{self.value:.10g} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class _Unit:
    """One unit: (value + offset) * factor is the value in its kind's base unit. spellings: other words."""

    name: str
    kind: str
    factor: Fraction
    spellings: tuple[str, ...] = ()
    offset: Fraction = Fraction(0)


def _unit(name: str, kind: str, factor: str | Fraction, spellings: str = "", offset: str = "0") -> _Unit:
    """Return a unit; spellings are parted by a bar."""
    return _Unit(name, kind, Fraction(factor), tuple(filter(None, spellings.split("|"))), Fraction(offset))


class QuantityError(DiagnoseError):
    """A text that is no quantity, or not of the wanted kind. says: why; write: what to write instead."""

    def __init__(self, text: str, says: str, write: str) -> None:
        """Keep the reason and the remedy apart, for those who show them with a place."""
        self.says, self.write = _printable(says), _printable(write)
        super().__init__(f'"{_printable(text.strip())}": {self.says}; write: {self.write}')


def _printable(text: str) -> str:
    """Return a text without what a terminal would obey in place of printing it."""
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


_GRAVITY = Fraction("9.80665")
_INCH = Fraction("0.0254")
_POUND_FORCE = Fraction("0.45359237") * _GRAVITY
_INCH_OF_MERCURY = Fraction("13595.1") * _GRAVITY * _INCH
_PINT_OUNCE = Fraction(4546090, 160 * 1000)
_YEAR = Fraction("365.25") * 86400
_US_OUNCE = 231 * Fraction("2.54") ** 3 / 128

_TABLE = (
    _unit("Pa", "pressure", "1"),
    _unit("hPa", "pressure", "100", "mbar"),
    _unit("kPa", "pressure", "1000"),
    _unit("bar", "pressure", "100000"),
    _unit("psi", "pressure", _POUND_FORCE / _INCH**2, "lbf/in2|lb/in2|lbs/in2|psig"),
    _unit("kgf/cm2", "pressure", _GRAVITY * 10000, "kg/cm2|kp/cm2"),
    _unit("inHg", "pressure", _INCH_OF_MERCURY),
    _unit("mV", "voltage", "0.001"),
    _unit("V", "voltage", "1", "volt|volts"),
    _unit("kV", "voltage", "1000"),
    _unit("ohm", "resistance", "1", "ohms|R"),
    _unit("kohm", "resistance", "1000", "kohms|k|K|kR"),
    _unit("Mohm", "resistance", "1000000", "Mohms|M|megohm|megohms"),
    _unit("mm", "length", "0.001"),
    _unit("cm", "length", "0.01"),
    _unit("m", "length", "1", "metre|metres|meter|meters"),
    _unit("in", "length", _INCH, 'inch|inches|"'),
    _unit("thou", "length", _INCH / 1000),
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
    _unit("deg", "angle", "1", "degree|degrees"),
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
UNITS = {unit.name: unit.kind for unit in _TABLE}
"""Name of every unit -> the kind of quantity it measures."""

_BY_NAME = {unit.name: unit for unit in _TABLE}
_CASE_MATTERS = frozenset({"m", "mohm", "mohms"})
"""Spellings that mean something a million times smaller in small letters."""

_ADVICE = {
    "lb": ("a pound is a weight", "psi for a pressure, lbf ft for a torque"),
    "lbs": ("a pound is a weight", "psi for a pressure, lbf ft for a torque"),
    "kg": ("a kilogram is a weight", "kgf/cm2 for a pressure, kgf m for a torque"),
    "mohm": ("this could be thousandths or millions of an ohm", "ohm or Mohm"),
    "oz": ("this could be a weight or a volume", "imp fl oz or US fl oz for a volume"),
}
"""What is often written in place of a unit -> what it is, what to write."""

_SIGNS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{PRIME}": "'",
        "\N{DOUBLE PRIME}": '"',
        "\N{FRACTION SLASH}": "/",
        "\N{GREEK SMALL LETTER MU}": "u",
        "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
        "\N{DEGREE SIGN}": "deg",
    }
)
_LONGEST = 40


def parse_quantity(text: str, kind: str = "") -> Quantity:
    """Return what was written as a number with a unit; without a unit the unit is empty.

    Args:
        text: one number and one unit; comma or point for decimals; fractions; 5k6 for 5.6 kohm.
        kind: the kind of quantity that is asked for; decides where a spelling has two meanings ("5K").

    Raises:
        QuantityError: it cannot be read as one quantity; the message says what to write.

    >>> parse_quantity("0,6 mm")
    Quantity(value=0.6, unit='mm', text='0,6 mm')
    >>> parse_quantity("5k6").unit
    'kohm'
    """
    tidy = _tidy(text)
    short = re.fullmatch(r"([0-9]*)([RkKM])([0-9]+)\s*(?:ohms?)?", tidy)
    if short:
        whole, letter, part = short.groups()
        unit = {"R": "ohm", "M": "Mohm"}.get(letter, "kohm")
        return Quantity(float(f"{whole or 0}.{part}"), unit, text.strip())
    match = re.fullmatch(r"([+-]?)([0-9.,/ ]*[0-9])\s*(.*)", tidy)
    if not match:
        raise _refusal(text, "a reading begins with a number", "a number and its unit, such as 95 psi")
    sign, digits, rest = match.groups()
    _check_rest(text, digits, rest)
    value = _number(text, digits.strip()) * (-1 if sign == "-" else 1)
    unit = _spelled(text, rest, kind) if rest else ""
    if unit and _BY_NAME[unit].kind == "temperature" and _to_base(value, _BY_NAME[unit]) < 0:
        raise _refusal(text, "nothing can be that cold", "a temperature above -273.15 C or -459.67 F")
    return Quantity(value, unit, text.strip())


def convert(quantity: Quantity, unit: str) -> Quantity:
    """Return the quantity in another unit of its kind; the text stays as it was written.

    Raises:
        QuantityError: no such unit, a unit of another kind, or no unit to convert from.

    >>> convert(Quantity(68.0, "F"), "C").value
    20.0
    """
    kind = kind_of(unit)
    if kind_of(quantity.unit) != kind or (kind == "count" and quantity.unit not in ("", unit)):
        says = f"this cannot be given in {unit or 'plain numbers'}"
        raise _refusal(str(quantity), says, ", ".join(units_of(kind)))
    if quantity.unit == unit or kind == "count":
        return Quantity(quantity.value, unit, quantity.text)
    target = _BY_NAME[unit]
    try:
        value = float(_to_base(quantity.value, _BY_NAME[quantity.unit]) / target.factor - target.offset)
    except (ValueError, OverflowError):
        raise _refusal(str(quantity), "this number is not finite or too large", "a smaller number") from None
    return Quantity(value, unit, quantity.text)


def kind_of(unit: str) -> str:
    """Return what a unit measures, such as "pressure". A number without a unit counts something.

    Raises:
        QuantityError: no unit has that name.

    >>> kind_of("psi"), kind_of("")
    ('pressure', 'count')
    """
    if unit and unit not in UNITS:
        raise _refusal(unit, "no unit has this name", _nearest(unit) or ", ".join(UNITS))
    return UNITS[unit] if unit else "count"


def units_of(kind: str) -> tuple[str, ...]:
    """Return the units of a kind of quantity; empty for a kind that is not known.

    >>> units_of("flow")
    ('ml/min', 'l/h')
    """
    return tuple(name for name, measured in UNITS.items() if measured == kind)


def _tidy(text: str) -> str:
    """Return the text with one spelling of each sign; refuse what cannot be a reading at all."""
    tidy = " ".join(text.split())
    if not tidy or len(tidy) > _LONGEST:
        raise _refusal(tidy[:_LONGEST], "this is no reading", "a number and its unit, such as 95 psi")
    if re.fullmatch(r"o\.?l\.?|overload|open|infinit[ey]|inf|∞", tidy.casefold()):
        raise _refusal(text, "the meter found no end, which is no number", "the outcome, not a reading")
    parted = re.sub(r"([0-9])([¼-¾⅐-⅞])", r"\1 \2", tidy).translate(_SIGNS)
    return normalize("NFKC", parted).translate(_SIGNS)


def _check_rest(text: str, digits: str, rest: str) -> None:
    """Refuse what follows a number but is no unit: a range, a thousands sign, an unfinished decimal."""
    if re.match(r"(-|to|\.\.|/|\+|±)\s*[0-9]", rest):
        raise _refusal(text, "this is more than one number", f"one number, such as {digits.strip()}")
    if re.match(r"['`_][0-9]", rest):
        raise _refusal(text, "a thousands sign is not read", "the number without it")
    if rest[:1] in (".", ","):
        raise _refusal(text, "the number is not finished", f"{digits.strip()} or its decimals as well")


def _number(text: str, digits: str) -> float:
    """Return the value of "12", "12.4", ",6", "3/16" or "1 1/2"."""
    fraction = re.fullmatch(r"(?:([0-9]+) )?([0-9]+) ?/ ?([0-9]+)", digits)
    if fraction and int(fraction[3]):
        return float(int(fraction[1] or 0) + Fraction(int(fraction[2]), int(fraction[3])))
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
        write = f"{digits.replace(',', '.')} or {digits.replace(',', '')}"
        raise _refusal(text, "the comma could mark decimals or thousands", write)
    if re.fullmatch(r"[0-9]+|[0-9]*[.,][0-9]+", digits):
        return float(digits.replace(",", "."))
    if "/" in digits:
        raise _refusal(text, "this fraction cannot be read", "a fraction such as 1 1/2")
    if grouped := re.fullmatch(r"([0-9]{1,3}(?:([., ])[0-9]{3})(?:\2[0-9]{3})*)([.,][0-9]+)?", digits):
        plain = re.sub(r"[., ]", "", grouped[1]) + (grouped[3] or "").replace(",", ".")
        raise _refusal(text, "a thousands sign is not read", plain)
    raise _refusal(text, "this is more than one number", "one number with one decimal sign")


def _key(spelling: str) -> str:
    """Return a spelling without the spaces, points and dashes that people put in or leave out."""
    return re.sub(r"[\s.·⋅*^-]", "", spelling)


def _spellings() -> dict[str, tuple[str, ...]]:
    """Return spelling -> names of the units it may mean; in small letters too unless the size changes."""
    table: dict[str, tuple[str, ...]] = {}
    for unit in _TABLE:
        for spelling in (unit.name, *unit.spellings):
            known = table.get(_key(spelling), ())
            if unit.name not in known:
                table[_key(spelling)] = (unit.name, *known) if spelling == unit.name else (*known, unit.name)
    for spelling, names in list(table.items()):
        if spelling.casefold() not in _CASE_MATTERS:
            table.setdefault(spelling.casefold(), names)
    return table


_SPELLINGS = _spellings()


def _spelled(text: str, rest: str, kind: str) -> str:
    """Return the name of the unit that was written."""
    key = _key(rest)
    small = key.casefold()
    names = _SPELLINGS.get(key) or (_SPELLINGS.get(small, ()) if small not in _CASE_MATTERS else ())
    meant = [name for name in names if UNITS[name] == kind] or list(names)
    if len({UNITS[name] for name in meant}) < len(meant):
        raise _refusal(text, f"{rest} has more than one size", " or ".join(meant))
    if not meant:
        near = "" if re.search("[0-9]", rest) else _nearest(rest)
        unknown = (f'no unit is called "{rest}"', near or "one number and one unit, such as 95 psi")
        raise _refusal(text, *_ADVICE.get(small, unknown))
    return meant[0]


def _nearest(word: str) -> str:
    """Return the unit whose spelling is nearest, or nothing."""
    from difflib import get_close_matches  # only when something is wrong: it is slow to load

    near = get_close_matches(_key(word), _SPELLINGS, n=1, cutoff=0.6)
    return _SPELLINGS[near[0]][0] if near else ""


def _to_base(value: float, unit: _Unit) -> Fraction:
    """Return the value in the base unit of its kind, from the decimals as they would be printed."""
    return (Fraction(repr(float(value))) + unit.offset) * unit.factor


def _refusal(text: str, says: str, write: str) -> QuantityError:
    """Return the error for a text that cannot be read as a quantity."""
    return QuantityError(text, says, write)
