"""A reading as it is written, with the height or temperature it was taken at: "95 psi at 6000 ft", "4,2 ohm @ 5 C"."""

from __future__ import annotations

import re
from dataclasses import dataclass

from diagnose.units import Quantity, QuantityError, convert, kind_of, parse_quantity

LOWEST_M, HIGHEST_M = -450.0, 6000.0
"""Heights above the sea at which a bike is worked on (no road is lower or higher; memory)."""

COLDEST_C, HOTTEST_C = -40.0, 150.0
"""Temperatures of a part that is measured (memory)."""

_AT = re.compile(r" at | ?@ ?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TakenAt:
    """A figure, and where it was taken, None where that is not written. text: all of it as written."""

    quantity: Quantity
    text: str
    altitude_m: float | None = None
    celsius: float | None = None


def parse_taken(text: str, kind: str = "") -> TakenAt:
    """Return a reading with the height (m) and temperature (C) that are written behind it after "at" or "@".

    Args:
        text: one quantity, and behind it up to one height and one temperature, each after "at".
        kind: the kind of quantity that is asked for.

    Raises:
        QuantityError: a part cannot be read, is neither a height nor a temperature, or is beyond any workshop.

    >>> parse_taken("95 psi at 6000 ft").altitude_m
    1828.8
    >>> parse_taken("4,2 ohm @ 41F", "resistance").celsius
    5.0
    """
    figure, *places = _AT.split(" ".join(text.split()))
    quantity = parse_quantity(figure, kind)
    found: dict[str, float] = {}
    for place in places:
        name, value = parse_where(place)
        if name in found:
            raise QuantityError(
                text, "this is written twice", f"one {'height' if name == 'altitude_m' else 'temperature'}"
            )
        found[name] = value
    return TakenAt(quantity, text.strip(), found.get("altitude_m"), found.get("celsius"))


def parse_where(text: str) -> tuple[str, float]:
    """Return where a reading was taken: altitude_m or celsius, and its value in that unit.

    Raises QuantityError: it is neither a height in m or ft nor a temperature, or is beyond any workshop.

    >>> parse_where("41 F")
    ('celsius', 5.0)
    """
    write = "a height or a temperature, such as 6000 ft or 5 C"
    try:
        given = parse_quantity(text, "temperature")
    except QuantityError as error:
        raise QuantityError(text, error.says, write) from None
    kind = kind_of(given.unit)
    if kind == "length" and given.unit in ("m", "ft"):
        return "altitude_m", _within(text, "height", convert(given, "m").value, LOWEST_M, HIGHEST_M, "m")
    if kind == "temperature":
        return "celsius", _within(text, "temperature", convert(given, "C").value, COLDEST_C, HOTTEST_C, "C")
    raise QuantityError(text, f"{given} is no height and no temperature", write)


def _within(text: str, what: str, value: float, low: float, high: float, unit: str) -> float:
    if not low <= value <= high:
        raise QuantityError(
            text, f"no bike is worked on at {value:.0f} {unit}", f"a {what} from {low:.0f} to {high:.0f} {unit}"
        )
    return value
