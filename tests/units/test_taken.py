"""A reading with the place it was taken at: a foot is 0.3048 m, 41 F are 5 C (NIST SP 811)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.taken import parse_taken
from diagnose.units import QuantityError


@pytest.mark.parametrize(
    ("text", "value", "unit", "metres", "celsius"),
    [
        ("95 psi", 95, "psi", None, None),
        ("95 psi at 6000 ft", 95, "psi", 1828.8, None),
        ("95 psi AT 6000ft", 95, "psi", 1828.8, None),
        ("6,5 bar @1900 m", 6.5, "bar", 1900, None),
        ("4,2 ohm at 5 C", 4.2, "ohm", None, 5),
        ("4.2ohm @ 41F", 4.2, "ohm", None, 5),
        ("5k6 at -10 C", 5.6, "kohm", None, -10),
        ("7 mm at 2000 m at 35 C", 7, "mm", 2000, 35),
        ("7 mm at 35 C @ 2000 m", 7, "mm", 2000, 35),
    ],
)
def test_what_stands_behind_at_is_where_it_was_taken(text, value, unit, metres, celsius):
    taken = parse_taken(text)
    assert (taken.quantity.value, taken.quantity.unit) == (pytest.approx(value), unit)
    assert taken.altitude_m == (None if metres is None else pytest.approx(metres))
    assert taken.celsius == (None if celsius is None else pytest.approx(celsius))
    assert taken.text == text


@pytest.mark.parametrize(
    ("text", "metres", "ml"),
    [
        ("90 psi with 2.9 ml", None, 2.9),
        ("90 psi WITH 2,9cc", None, 2.9),
        ("90 psi @ 2.9 cm3", None, 2.9),
        ("90 psi with 0 ml", None, 0),
        ("90 psi at 1900 m with 2.9 ml", 1900, 2.9),
        ("90 psi with 2.9 ml at 1900 m", 1900, 2.9),
    ],
)
def test_a_volume_is_that_of_the_gauge(text, metres, ml):
    taken = parse_taken(text)
    assert (taken.quantity.value, taken.quantity.unit, taken.text) == (90, "psi", text)
    assert (taken.altitude_m, taken.gauge_ml, taken.celsius) == (metres, ml, None)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("95 psi at", "write:"),
        ("95 psi at noon", '"noon": a reading begins with a number; write: a height or a temperature'),
        ("95 psi at 6000", "6000 is no height and no temperature"),
        ("95 psi at 20 mm", "20 mm is no height and no temperature"),
        ("95 psi at 3 bar", "3 bar is no height and no temperature"),
        ("95 psi at 90000 ft", "no bike is worked on at 27432 m"),
        ("95 psi at 9000 C", "no bike is worked on at 9000 C"),
        ("95 psi with 0.06 l", "no gauge and hose hold 60 ml; write: a volume from 0 to 50 ml, such as 2.9 ml"),
        ("95 psi with a hose", "or what gauge and hose hold, such as 2.9 ml"),
        ("95 psi with 2 ml with 3 ml", "this is written twice; write: one gauge and hose"),
        ("95 psi at 5 C at 6 C", "this is written twice; write: one temperature"),
        ("95 psi at 5 m at 6 ft", "this is written twice; write: one height"),
    ],
)
def test_what_is_no_place_is_refused_in_plain_words(text, says):
    with pytest.raises(QuantityError) as caught:
        parse_taken(text)
    assert says in str(caught.value)
    assert "write:" in str(caught.value)


@given(st.integers(-450, 6000), st.integers(-40, 150))
def test_height_and_temperature_stand_in_any_order(metres, celsius):
    one = parse_taken(f"7 mm at {metres} m at {celsius} C")
    other = parse_taken(f"7 mm @ {celsius} C @ {metres} m")
    assert (one.altitude_m, one.celsius) == (other.altitude_m, other.celsius) == (metres, pytest.approx(celsius))


def test_a_flood_of_signs_is_refused_in_one_line():
    """However much is pasted in, the message stays as long as a line or three; white space counts once."""
    for flood in ("0" * 20000, " at " * 5000, "95" + " " * 20000 + "x"):
        with pytest.raises(QuantityError) as caught:
            parse_taken(flood)
        assert len(str(caught.value)) < 250
    assert parse_taken("95 psi   at\t6000  ft").altitude_m == pytest.approx(1828.8, abs=0.01)
