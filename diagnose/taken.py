"""A reading as it is written, with the height or temperature it was taken at, or the volume of the gauge.

"95 psi at 6000 ft", "4,2 ohm @ 5 C", "90 psi with 2.9 ml".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from diagnose.units import Quantity, QuantityError, convert, kind_of, parse_quantity

LOWEST_M, HIGHEST_M = -450.0, 6000.0
"""Heights above the sea at which a bike is worked on (the shore of the lowest lake, the highest roads; memory)."""

COLDEST_C, HOTTEST_C = -40.0, 150.0
"""Temperatures of a part that is measured (memory)."""

LARGEST_ML = 50.0
"""What a gauge and its hose hold at most: half a metre of 11 mm bore (a choice)."""

NAMES = {"altitude_m": "height", "celsius": "temperature", "gauge_ml": "gauge and hose"}
"""What may stand behind a reading, as it is called."""

_AT = re.compile(r" (?:at|with) | ?@ ?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class TakenAt:
    """A figure, and where and with what it was taken, None where that is not written. text: all of it as written.

    gauge_ml: what gauge and hose hold up to the check valve.
    """

    quantity: Quantity
    text: str
    altitude_m: float | None = None
    celsius: float | None = None
    gauge_ml: float | None = None


def parse_taken(text: str, kind: str = "") -> TakenAt:
    """Return a reading with the height (m), temperature (C) and gauge (ml) that are written behind it.

    Args:
        text: one quantity, and behind it up to one of each, after "at", "@" or "with".
        kind: the kind of quantity that is asked for.

    Raises:
        QuantityError: a part cannot be read, is none of them, or is beyond any workshop.

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
            raise QuantityError(text, "this is written twice", f"one {NAMES[name]}")
        found[name] = value
    return TakenAt(quantity, text.strip(), **found)


def parse_where(text: str) -> tuple[str, float]:
    """Return where or with what a reading was taken: altitude_m, celsius or gauge_ml, and its value in that unit.

    Raises QuantityError: it is no height in m or ft, no temperature, no volume, or is beyond any workshop.

    >>> parse_where("41 F")
    ('celsius', 5.0)
    """
    write = "a height or a temperature, such as 6000 ft or 5 C; or what gauge and hose hold, such as 2.9 ml"
    try:
        given = parse_quantity(text, "temperature")
    except QuantityError as error:
        raise QuantityError(text, error.says, write) from None
    kind = kind_of(given.unit)
    if kind == "length" and given.unit in ("m", "ft"):
        return "altitude_m", _within(text, "height", convert(given, "m").value, LOWEST_M, HIGHEST_M, "m")
    if kind == "temperature":
        return "celsius", _within(text, "temperature", convert(given, "C").value, COLDEST_C, HOTTEST_C, "C")
    if kind == "volume":
        return "gauge_ml", gauge_ml(text)
    raise QuantityError(text, f"{given} is no height and no temperature", write)


def gauge_ml(text: str) -> float:
    """Return what a gauge and its hose hold, ml; a bare 0 is a gauge with its valve at the plug end.

    Raises QuantityError: it is no volume, or more than a hose holds.

    >>> gauge_ml("2,9 cc"), gauge_ml("0")
    (2.9, 0.0)
    """
    given = parse_quantity(text, "volume")
    if not given.unit and given.value == 0:
        return 0.0
    if not given.unit:
        raise QuantityError(text, f"{given} has no unit", f"{given} ml")
    if kind_of(given.unit) != "volume":
        raise QuantityError(text, f"{given} is no volume", "what gauge and hose hold, such as 2.9 ml")
    volume = convert(given, "ml").value
    if not 0 <= volume <= LARGEST_ML:
        says = f"no gauge and hose hold {volume:.6g} ml"
        raise QuantityError(text, says, f"a volume from 0 to {LARGEST_ML:g} ml, such as 2.9 ml")
    return volume


def _within(text: str, what: str, value: float, low: float, high: float, unit: str) -> float:
    if not low <= value <= high:
        raise QuantityError(
            text, f"no bike is worked on at {value:.0f} {unit}", f"a {what} from {low:.0f} to {high:.0f} {unit}"
        )
    return value
