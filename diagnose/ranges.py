"""Ranges as manuals and people write them: 0.3-0.4 mm, 0.35 mm +/- 0.05, at least 120 psi, max 0.3 mm."""

from __future__ import annotations

import re
from dataclasses import dataclass

from diagnose.units import Quantity, QuantityError, convert, kind_of, parse_quantity


@dataclass(frozen=True, slots=True)
class Range:
    """What a manual allows, in one unit. None: open on that side.

    value: the figure itself where only one was given or it stands before a tolerance; text: as written.
    """

    low: float | None
    high: float | None
    value: float | None
    unit: str
    text: str = ""


_SIGNS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{EM DASH}": "-",
        "\N{HORIZONTAL ELLIPSIS}": "..",
        "\N{GREATER-THAN OR EQUAL TO}": ">=",
        "\N{LESS-THAN OR EQUAL TO}": "<=",
        "\N{PLUS-MINUS SIGN}": "+/-",
    }
)
_TOLERANCE = re.compile(r"(.+?)\s*(?:\+\s?/?\s?-|plus or minus)\s*(.+)")
_BETWEEN = re.compile(
    r"(?:between\s+|from\s+)?(?P<first>[-+]?[^-]*?[0-9][^0-9]*?)\s*(?:\bto\b|\band\b|\.\.+|-)\s*(?P<second>[-+]?[.,]?[0-9].*)"
)
_AT_LEAST = re.compile(
    r"(?:at least|min(?:imum|\.)?|not (?:under|below|less than)|no less than|over|above|more than|from|>=?)"
    r"\s*(?P<after>.+)"
    r"|(?P<before>.*?[^ ])(?:\s+(?:or more|and more|and over|and up|upwards|minimum|min\.?)|\s*\+)",
    re.IGNORECASE,
)
_AT_MOST = re.compile(
    r"(?:at most|max(?:imum|\.)?|not (?:over|above|more than)|no more than|under|below|less than|up to|<=?)"
    r"\s*(?P<after>.+)"
    r"|(?P<before>.*?[^ ])\s+(?:or less|and less|and under|maximum|max\.?)",
    re.IGNORECASE,
)
_MINUTES = re.compile(r"[0-9.,/ ]+min\.?", re.IGNORECASE)


def parse_range(text: str, kind: str = "") -> Range:
    """Return what was written as a range; a single figure has neither low nor high.

    Args:
        text: two figures, one with a tolerance, one with "at least" or "at most" or the like, or one alone. A unit
            may stand at one of two figures or at both.
        kind: the kind of quantity that is asked for, as for units.parse_quantity.

    Raises:
        QuantityError: it cannot be read as one range; the message says what to write.

    >>> parse_range("0.3-0.4 mm")
    Range(low=0.3, high=0.4, value=None, unit='mm', text='0.3-0.4 mm')
    >>> parse_range("0.35 mm +/- 0.05").low, parse_range("at least 120 psi").low, parse_range("1 1/2 turns").value
    (0.3, 120.0, 1.5)
    """
    tidy = " ".join(text.translate(_SIGNS).split())
    if match := _TOLERANCE.fullmatch(tidy):
        return _with_tolerance(text, kind, *match.groups())
    if match := _BETWEEN.fullmatch(tidy):
        return _between(text, kind, match["first"], match["second"])
    minutes = kind == "time" and _MINUTES.fullmatch(tidy)
    if not minutes and (match := _AT_LEAST.fullmatch(tidy)):
        low = parse_quantity(match["after"] or match["before"], kind)
        return Range(low.value, None, None, low.unit, text.strip())
    if match := _AT_MOST.fullmatch(tidy):
        high = parse_quantity(match["after"] or match["before"], kind)
        return Range(None, high.value, None, high.unit, text.strip())
    one = parse_quantity(tidy, kind)
    return Range(None, None, one.value, one.unit, text.strip())


def _between(text: str, kind: str, first: str, second: str) -> Range:
    """Return the range from one figure to another; a unit at one of them is that of both."""
    low, high = parse_quantity(first, kind), parse_quantity(second, kind)
    if not low.unit and high.unit:
        low = parse_quantity(f"{first} {high.unit}", kind)
    elif low.unit and high.unit != low.unit:
        high = convert(high, low.unit) if high.unit else parse_quantity(f"{second} {low.unit}", kind)
    if low.value > high.value:
        turned = f"{high.value:g} to {low.value:g} {low.unit}".strip()
        raise QuantityError(text, "the first figure is the larger one", turned)
    return Range(low.value, high.value, None, low.unit, text.strip())


def _with_tolerance(text: str, kind: str, middle: str, tolerance: str) -> Range:
    """Return the range of a figure and what it may be off; per cent are of the figure."""
    value, off = parse_quantity(middle, kind), parse_quantity(tolerance, kind)
    unit = value.unit or (off.unit if off.unit != "percent" else "")
    if unit and kind_of(unit) == "temperature" and off.unit not in ("", unit):
        raise QuantityError(text, "figure and tolerance stand in different degrees", f"both in {unit}")
    if off.unit == "percent" != unit:
        by = abs(value.value) * off.value / 100
    elif off.unit and off.unit != unit:
        by = convert(off, unit).value
    else:
        by = off.value
    if by < 0:
        raise QuantityError(text, "a tolerance is not less than nothing", f"{middle} +/- {tolerance.lstrip('-')}")
    low, high = (float(f"{value.value + sign * by:.12g}") for sign in (-1, 1))
    return Range(low, high, value.value, unit, text.strip())


def in_unit(given: Range, unit: str) -> Range:
    """Return a range in another unit of its kind. Raises QuantityError."""
    low, high, value = (
        None if figure is None else convert(Quantity(figure, given.unit), unit).value
        for figure in (given.low, given.high, given.value)
    )
    return Range(low, high, value, unit, given.text)
