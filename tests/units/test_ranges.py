"""Ranges and figures of the sheet as people write them; what is expected is worked out by hand here."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.figures import SI, in_si, manual_figure, measured_figure
from diagnose.model import SheetItem
from diagnose.problems import Place
from diagnose.ranges import parse_range
from diagnose.units import UNITS, Quantity, QuantityError

WRITTEN = [
    ("0.3-0.4 mm", 0.3, 0.4, None, "mm"),
    ("0.3 - 0.4mm", 0.3, 0.4, None, "mm"),
    ("0,3 mm to 0,4 mm", 0.3, 0.4, None, "mm"),
    ("0.3\N{EN DASH}0.4 mm", 0.3, 0.4, None, "mm"),
    ("0.3..0.4 mm", 0.3, 0.4, None, "mm"),
    ("between 120 and 150 psi", 120, 150, None, "psi"),
    ("from 120 to 150 psi", 120, 150, None, "psi"),
    ("9 bar - 13", 9, 13, None, "bar"),
    ("1 m - 150 cm", 1, 1.5, None, "m"),
    ("-2 to 1 mm", -2, 1, None, "mm"),
    ("1/64..1/32 in", 1 / 64, 1 / 32, None, "in"),
    ("1-1 1/2 turns", 1, 1.5, None, "turns"),
    ("5k6-6k2", 5.6, 6.2, None, "kohm"),
    ("0.35 mm +/- 0.05", 0.3, 0.4, 0.35, "mm"),
    ("0,35 \N{PLUS-MINUS SIGN} 0,05 mm", 0.3, 0.4, 0.35, "mm"),
    ("2.2 ohm +/- 15 %", 1.87, 2.53, 2.2, "ohm"),
    ("10 bar +/- 50 kPa", 9.5, 10.5, 10, "bar"),
    ("at least 120 psi", 120, None, None, "psi"),
    ("min 120 psi", 120, None, None, "psi"),
    (">= 9.6 V", 9.6, None, None, "V"),
    ("60 ml/min or more", 60, None, None, "ml/min"),
    ("max 0.3 mm", None, 0.3, None, "mm"),
    ("0.3 mm max.", None, 0.3, None, "mm"),
    ("up to 0.05 mm", None, 0.05, None, "mm"),
    ("< 0.05 mm", None, 0.05, None, "mm"),
    ("0.35 mm", None, None, 0.35, "mm"),
    ("92", None, None, 92, ""),
]
"""Text, low, high, the figure itself, unit. 2.2 ohm and 15 per cent: a published coil, 1.87 to 2.53."""

REFUSED = [
    ("0.4-0.3 mm", "the first figure is the larger one", "0.3 to 0.4 mm"),
    ("0.3-0.4-0.5 mm", "this is more than one number", "one number, such as 0.4"),
    ("12 V - 5 A", "this cannot be given in V", "mV, V, kV"),
    ("80 C +/- 9 F", "figure and tolerance stand in different degrees", "both in C"),
    ("0.35 mm +/- -0.1", "a tolerance is not less than nothing", "0.35 mm +/- 0.1"),
    ("inlet 0.05 mm", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("", "this is no reading", "a number and its unit, such as 95 psi"),
    ("1,500 rpm", "the comma could mark decimals or thousands", "1.500 or 1500"),
]


def item(kind="quantity", unit="mm", **more) -> SheetItem:
    """Return a value of the sheet."""
    return SheetItem(
        id="gap", name="Gap", group="ignition", kind=kind, unit=unit, basis=(), place=Place(str(Path("here"))), **more
    )


@pytest.mark.parametrize(("text", "low", "high", "value", "unit"), WRITTEN)
def test_ranges_as_they_are_written(text, low, high, value, unit) -> None:
    found = parse_range(text)
    assert (found.low, found.high, found.value) == tuple(
        None if x is None else pytest.approx(x) for x in (low, high, value)
    )
    assert (found.unit, found.text) == (unit, text)


@pytest.mark.parametrize(("text", "says", "write"), REFUSED)
def test_what_is_no_range_says_what_to_write(text, says, write) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_range(text)
    assert (caught.value.says, caught.value.write) == (says, write)


def test_a_minute_is_a_unit_where_time_is_asked_for() -> None:
    """Elsewhere `min` behind a figure says that it is the least."""
    assert parse_range("10 min", "time").value == 10
    assert parse_range("10 min").low == 10


@given(st.integers(0, 5000), st.integers(0, 5000), st.sampled_from(["-", " - ", " to ", "..", "\N{EN DASH}"]))
def test_a_range_of_any_two_figures_comes_back(first, more, between) -> None:
    low, high = first / 100, (first + more) / 100
    found = parse_range(f"{low:.2f}{between}{high:.2f} mm")
    assert (found.low, found.high, found.unit) == (low, high, "mm")


@given(st.text(max_size=30))
def test_no_text_ends_in_anything_but_a_range_or_a_clear_message(text) -> None:
    try:
        found = parse_range(text)
        said = tuple(figure for figure in (found.low, found.high, found.value) if figure is not None)
    except QuantityError as error:
        said = (error.says, error.write)
    assert said
    assert "" not in said


@pytest.mark.parametrize(
    ("value", "unit", "si"),
    [
        (0.55, "mm", 0.00055),
        (100, "psi", 689475.7293168),
        (5.6, "kohm", 5600),
        (68, "F", 293.15),
        (60, "ml/min", 1e-6),
        (180, "deg", pi),
        (0.22, "uF", 2.2e-7),
        (1200, "rpm", 20),
        (1.5, "turns", 1.5),
        (36, "km/h", 10),
    ],
)
def test_what_a_figure_is_in_si(value, unit, si) -> None:
    """By the definitions of the units; 1 psi is 6894.757293168 Pa."""
    assert in_si(Quantity(value, unit)) == pytest.approx(si)


def test_every_kind_of_quantity_has_an_si_unit() -> None:
    assert set(SI) == set(UNITS.values()) - {"count"}


def test_what_the_manual_gives_keeps_its_unit_and_its_words() -> None:
    assert manual_figure(item(), ".012-.016 in") == {"text": ".012-.016 in", "unit": "in", "low": 0.012, "high": 0.016}
    assert manual_figure(item("number", ""), "92") == {"text": "92", "unit": "", "value": 92.0}
    assert manual_figure(item("number", ""), "#92") == manual_figure(item("number", ""), "No. 92")
    assert manual_figure(item("text", ""), "  HX7,  14 mm ") == {"text": "HX7, 14 mm"}
    choice = item("choice", "", choices={"air": "Air screw", "fuel": "Fuel screw"})
    assert manual_figure(choice, "FUEL SCREW") == {"text": "fuel"}


@pytest.mark.parametrize("read", [manual_figure, measured_figure])
@pytest.mark.parametrize(
    ("value", "text", "unit"),
    [
        (item(possible=(0, 3)), "0,35", "mm"),  # 0.35 in are 8.9 mm, more than there can be
        (item(possible=(0, 3)), "14", "thou"),  # 0.36 mm
        (item(unit="kPa", possible=(30, 600)), "28", "psi"),  # 193 kPa; 28 bar would burst it, 28 kPa is flat
        (item(unit="kPa", possible=(30, 600)), "1.8", "bar"),
        (item(unit="V", possible=(0, 20)), "about 11,4", "V"),
        (item(unit="ml", possible=(20, 4000)), "0.65", "l"),
    ],
)
def test_a_unit_may_be_left_out_where_only_one_can_be(read, value, text, unit) -> None:
    assert (read(value, text)["text"], read(value, text)["unit"]) == (f"{text} {unit}", unit)


def test_a_range_may_be_without_its_unit_and_can_be_read_again() -> None:
    written = manual_figure(item(possible=(0, 3)), "0.3-0.4")
    assert written == {"text": "0.3-0.4 mm", "unit": "mm", "low": 0.3, "high": 0.4}
    assert manual_figure(item(possible=(0, 3)), written["text"]) == written


@pytest.mark.parametrize("read", [manual_figure, measured_figure])
@pytest.mark.parametrize(
    ("value", "text", "says", "write"),
    [
        (item(), "0.35", "the unit is missing", "0.35 mm or 0.35 in or 0.35 thou"),
        (item(possible=(0, 3)), "0.012", "the unit is missing", "0.012 mm or 0.012 in or 0.012 thou"),
        (item(unit="kPa", possible=(0, 3000)), "90", "the unit is missing", "90 psi or 90 bar or 90 kPa"),
        (item(), "0.35 psi", "psi is a unit of pressure, not of length", "a figure in mm or in or thou"),
        (item(possible=(0, 3)), "35 mm", "Gap cannot be 35 mm", "a figure from 0 to 3 mm"),
        (item(possible=(0, 3)), ".2 in", "Gap cannot be 5.08 mm", "a figure from 0 to 3 mm"),
        (item("number", ""), "92 mm", "Gap is counted in plain numbers", "the number alone"),
        (item(unit="turns"), "1 kick", "Gap is counted in turns", "the number alone"),
        (item("text", ""), "x" * 201, "a text of the sheet is one line", "1 to 200 signs"),
        (item("text", ""), "a\x1b[2Jb", "it holds signs that cannot be printed", "plain text"),
        (item("choice", "", choices={"a": "A", "b": "B"}), "c", "Gap is one of a few", "a or b"),
    ],
)
def test_figures_that_do_not_fit_their_value(read, value, text, says, write) -> None:
    with pytest.raises(QuantityError) as caught:
        read(value, text)
    assert (caught.value.says, caught.value.write) == (says, write)
