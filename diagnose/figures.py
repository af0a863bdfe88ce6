"""What is written for a value of the bike's own sheet: the manual's range, a figure as found or as set.

Refused, with what to write instead: a unit of another kind, no unit where one is needed, a figure that cannot be.
"""

from __future__ import annotations

import re
from math import pi
from typing import Any

from diagnose.model import SheetItem
from diagnose.ranges import Range, in_unit, parse_range
from diagnose.units import Quantity, QuantityError, convert, kind_of, of_kind, parse_quantity, understood

LONGEST = 200
"""Signs of a text."""

SI = {
    "pressure": ("Pa", 1.0),
    "voltage": ("V", 1.0),
    "resistance": ("ohm", 1.0),
    "length": ("m", 1.0),
    "flow": ("ml/min", 1e-6 / 60),
    "volume": ("ml", 1e-6),
    "temperature": ("K", 1.0),
    "time": ("s", 1.0),
    "angle": ("deg", pi / 180),
    "speed": ("km/h", 1 / 3.6),
    "torque": ("N m", 1.0),
    "current": ("A", 1.0),
    "capacitance": ("uF", 1e-6),
    "rotation": ("rpm", 1 / 60),
    "percent": ("percent", 0.01),
    "power": ("W", 1.0),
}
"""Kind of quantity -> one of its units, and what one of that is in SI. What is counted is its own number."""


def in_si(quantity: Quantity) -> float:
    """Return a quantity in the SI unit of its kind: Pa, V, ohm, m, m3/s, m3, K, s, rad, m/s, N m, A, F, 1/s, 1.

    >>> in_si(Quantity(6.2, "bar")), in_si(Quantity(9, ""))
    (620000.0, 9)
    """
    kind = kind_of(quantity.unit)
    if kind == "count":
        return quantity.value
    unit, factor = SI[kind]
    return convert(quantity, unit).value * factor


def manual_figure(item: SheetItem, text: str) -> dict[str, Any]:
    """Return what a manual gives for a value: text, and of a figure its unit with low, high and value, as they are.

    Raises:
        QuantityError: it cannot be read, has a unit of another kind or none, or cannot be.
    """
    if not item.measured:
        return {"text": _words(item, text)}
    kind = kind_of(item.unit)
    given = parse_range(_plain(item, text), kind)
    figures = {"low": given.low, "high": given.high, "value": given.value}
    unit = _unit(item, given.text, given.unit, *(figure for figure in figures.values() if figure is not None))
    own = in_unit(Range(given.low, given.high, given.value, unit), item.unit)
    for figure in (own.low, own.high, own.value):
        _check_possible(item, given.text, figure)
    return {"text": _with_unit(given.text, given.unit, unit), "unit": unit} | {
        key: value for key, value in figures.items() if value is not None
    }


def measured_figure(item: SheetItem, text: str) -> dict[str, Any]:
    """Return a value as it was found or set: text, and of a figure its number, unit and what it is in SI.

    Raises:
        QuantityError: as manual_figure.
    """
    if not item.measured:
        return {"text": _words(item, text)}
    read = parse_quantity(_plain(item, text), kind_of(item.unit))
    unit = _unit(item, read.text, read.unit, read.value)
    quantity = Quantity(read.value, unit, read.text)
    _check_possible(item, read.text, convert(quantity, item.unit).value)
    return {"text": _with_unit(read.text, read.unit, unit), "value": read.value, "unit": unit, "si": in_si(quantity)}


def _plain(item: SheetItem, text: str) -> str:
    """Return what was written, a jet without the sign before its number: #98, No. 98."""
    return re.sub(r"^\s*(?:#|no\.?\s*)(?=[0-9])", "", text, flags=re.IGNORECASE) if item.kind == "number" else text


def _with_unit(text: str, written: str, unit: str) -> str:
    """Return what was written, with the unit behind it that went without saying; what is counted stands alone."""
    return text if written or kind_of(unit) == "count" else f"{text} {unit}"


def _unit(item: SheetItem, text: str, unit: str, *figures: float) -> str:
    """Return the unit that was written, or the one that goes without saying: counted, or no other can be."""
    kind = kind_of(item.unit)
    if kind == "count":
        if unit not in ("", item.unit):
            raise QuantityError(text, f"{item.name} is counted in {item.unit or 'plain numbers'}", "the number alone")
        return item.unit
    if not unit and text[-1:].isdigit() and (meant := understood(figures, item.unit, item.possible)):
        return meant
    return of_kind(Quantity(0.0, unit, text), kind).unit


def _check_possible(item: SheetItem, text: str, figure: float | None) -> None:
    """Refuse a figure, in the unit of its item, that cannot be."""
    if item.possible and figure is not None and not item.possible[0] <= figure <= item.possible[1]:
        least, most = item.possible
        says = f"{item.name} cannot be {figure:.6g} {item.unit}".rstrip()
        raise QuantityError(text, says, f"a figure from {least:g} to {most:g} {item.unit}".rstrip())


def _words(item: SheetItem, text: str) -> str:
    """Return words on one line; of a choice the id of what was chosen."""
    tidy = " ".join(text.split())
    if item.kind == "choice":
        for choice, name in item.choices.items():
            if tidy.casefold() in (choice.casefold(), name.casefold()):
                return choice
        raise QuantityError(tidy[:LONGEST], f"{item.name} is one of a few", " or ".join(item.choices))
    if not tidy or len(tidy) > LONGEST:
        raise QuantityError(tidy[:LONGEST], "a text of the sheet is one line", f"1 to {LONGEST} signs")
    if not tidy.isprintable():
        raise QuantityError(tidy, "it holds signs that cannot be printed", "plain text")
    return tidy
