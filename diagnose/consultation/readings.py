"""From what was typed or written as a reading to a figure with its unit; and a reading as it is shown. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from diagnose.model import Reading, Test
from diagnose.problems import JobError
from diagnose.taken import TakenAt, parse_taken
from diagnose.units import UNITS, Quantity, convert, kind_of, of_kind, understood, usual_units
from diagnose.wording import limit_figure


def reading_of(test: Test) -> Reading:
    """Return how a test is measured. Raises JobError for one that takes no reading."""
    if test.reading is None:
        raise JobError(f"{test.name} takes no reading; choose what you saw.")
    return test.reading


def read(test: Test, text: str) -> TakenAt:
    """Return what was written, with a unit of the wanted kind and a figure there can be.

    A unit may be left out where only one can be meant, and stands behind the figure from then on. Raises DiagnoseError
    saying what to write.
    """
    reading = reading_of(test)
    kind = kind_of(reading.unit) if reading.unit in UNITS else reading.quantity
    given = parse_taken(text, kind)
    figure = given.quantity.text
    if kind == "flow" and given.quantity.unit == "ml":  # asked for is what came in a minute
        given = _in_unit(given, f"{given.quantity.value:.10g} ml/min", "ml/min")
    elif not given.quantity.unit and kind != "count":
        unit = understood([given.quantity.value], reading.unit, reading.possible)
        given = _in_unit(given, f"{figure} {unit}", unit) if unit else given
    raw = of_kind(given.quantity, kind)
    value = convert(raw, reading.unit).value
    if reading.possible and not reading.possible[0] <= value <= reading.possible[1]:
        raise JobError(_absurd(test, reading.possible, reading.unit, raw))
    return given


def _in_unit(given: TakenAt, figure: str, unit: str) -> TakenAt:
    """Return what was written with the unit that was meant; figure: how it is written with it."""
    place = given.text.removeprefix(given.quantity.text)
    return replace(given, quantity=replace(given.quantity, unit=unit, text=figure), text=f"{figure}{place}")


def asked_in(unit: str) -> str:
    """Return the units in which a reading may be typed, as a question names them, its own first.

    >>> asked_in("mm"), asked_in("V"), asked_in("kPa")
    ('mm, in, thou', 'V', 'psi, bar, kPa')
    """
    if unit not in UNITS:
        return unit
    usual = usual_units(kind_of(unit))
    return ", ".join(usual if "bar" in usual or unit not in usual else dict.fromkeys([unit, *usual]))


def _absurd(test: Test, possible: tuple[float, float], unit: str, raw: Quantity) -> str:
    """Return why a figure cannot be, in the unit it was written in."""
    ends = [limit_figure(convert(Quantity(end, unit), raw.unit or unit).value) for end in possible]
    says = f"{written(raw, unit)} cannot be: {test.name} gives {ends[0]} to {ends[1]} {raw.unit or unit}"
    return f"{says}. Look at the point and the unit, and write it again."


def written(raw: Quantity, unit: str) -> str:
    """Return a figure as it was written, its unit spelled as everywhere; unit: where none was written.

    >>> written(Quantity(0.6, "mm", "0,6 mm"), "mm"), written(Quantity(5.6, "kohm", "5k6"), "ohm")
    ('0.6 mm', '5.6 kohm')
    """
    return f"{'about ' if raw.about else ''}{raw.value:.10g} {raw.unit or unit}"


def as_written(reading: Mapping[str, Any]) -> str:
    """Return a reading as it was written, and in the unit of its limits where that is another.

    >>> as_written({"text": "95 psi", "unit": "psi", "says": "655 kPa"})
    '95 psi (655 kPa)'
    >>> as_written({"text": "5 mm at 5 C", "unit": "mm", "says": "5 mm"})
    '5 mm at 5 C'
    """
    text, says = str(reading["text"]), str(reading.get("says", reading["text"]))
    same = says.split()[1:] == [*str(reading["unit"]).split()] if "unit" in reading else says.split() == text.split()
    return text if same else f"{text} ({says})"
