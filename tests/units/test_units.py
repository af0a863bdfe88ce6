"""Quantities: exact factors against printed tables, what people write, and what is refused.

Source of the factors: NIST Special Publication 811 (2008), appendix B.8, "Factors for units listed
alphabetically"; written here as printed there, seven digits, or exact where the table prints them bold.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.problems import DiagnoseError
from diagnose.units import UNITS, Quantity, QuantityError, convert, kind_of, parse_quantity, units_of

NIST = [
    ("psi", "Pa", "6.894757E+03"),
    ("inHg", "Pa", "3.386389E+03"),
    ("lbf ft", "N m", "1.355818E+00"),
    ("US fl oz", "ml", "2.957353E+01"),
    ("US gal", "l", "3.785412E+00"),
    ("hp", "W", "7.456999E+02"),
    ("imp fl oz", "ml", "2.841306E+01"),
    ("imp gal", "l", "4.546090E+00"),
]
NIST_EXACT = [
    ("bar", "Pa", 1e5),
    ("bar", "kPa", 100.0),
    ("hPa", "Pa", 100.0),
    ("kgf/cm2", "Pa", 98066.5),
    ("kgf/cm2", "kPa", 98.0665),
    ("kgf m", "N m", 9.80665),
    ("in", "mm", 25.4),
    ("in", "cm", 2.54),
    ("thou", "mm", 0.0254),
    ("ft", "m", 0.3048),
    ("ft", "in", 12.0),
    ("mph", "km/h", 1.609344),
    ("h", "s", 3600.0),
    ("min", "s", 60.0),
    ("s", "ms", 1000.0),
    ("l", "ml", 1000.0),
    ("kohm", "ohm", 1000.0),
    ("Mohm", "kohm", 1000.0),
    ("V", "mV", 1000.0),
    ("kV", "V", 1000.0),
    ("A", "mA", 1000.0),
    ("uF", "nF", 1000.0),
]


@pytest.mark.parametrize(("unit", "to", "printed"), NIST)
def test_factors_are_those_that_nist_prints_to_its_seven_digits(unit, to, printed):
    ours = Decimal(convert(Quantity(1.0, unit), to).value)
    unit_in_last_digit = Decimal(printed).scaleb(0).adjusted() - 6
    assert abs(ours - Decimal(printed)) <= Decimal(5).scaleb(unit_in_last_digit - 1)


@pytest.mark.parametrize(("unit", "to", "factor"), NIST_EXACT)
def test_factors_that_are_exact_are_exact(unit, to, factor):
    assert convert(Quantity(1.0, unit), to).value == factor


@pytest.mark.parametrize(
    ("written", "to", "expected"),
    [
        ("32 F", "C", 0.0),
        ("212 F", "C", 100.0),
        ("68 F", "C", 20.0),
        ("-40 F", "C", -40.0),
        ("0 C", "K", 273.15),
        ("100 C", "F", 212.0),
        ("-459.67 F", "K", 0.0),
    ],
)
def test_temperatures_meet_the_fixed_points_exactly(written, to, expected):
    """NIST SP 811: t/C = (t/F - 32)/1.8 and T/K = t/C + 273.15."""
    assert convert(parse_quantity(written, "temperature"), to).value == expected


def test_imperial_fluid_ounce_is_the_gallon_by_law():
    """Units of Measurement Regulations 1995 (UK): 1 gallon = 4.54609 l; a fluid ounce is its 160th part."""
    assert convert(Quantity(160.0, "imp fl oz"), "l").value == 4.54609


def test_us_fluid_ounce_is_the_gallon_of_231_cubic_inches():
    """NIST Handbook 44, appendix C: 1 gallon = 231 cubic inches = 128 fluid ounces = 3.785411784 l."""
    assert convert(Quantity(128.0, "US fl oz"), "l").value == 3.785411784


def test_a_litre_an_hour_is_a_sixtieth_of_a_litre_a_minute():
    assert convert(Quantity(6.0, "l/h"), "ml/min").value == 100.0


SAID = [
    ("90 psi", 90.0, "psi"),
    ("90psi", 90.0, "psi"),
    ("90 PSI", 90.0, "psi"),
    ("95 lbf/in²", 95.0, "psi"),
    ("6.2 bar", 6.2, "bar"),
    ("6,2 bar", 6.2, "bar"),
    ("0,6 mm", 0.6, "mm"),
    ("0,024 in", 0.024, "in"),
    (".024 in", 0.024, "in"),
    ('0.024"', 0.024, "in"),
    ("0.024 inch", 0.024, "in"),
    ("24 thou", 24.0, "thou"),
    ("3/16 in", 0.1875, "in"),
    ("12.4V", 12.4, "V"),
    ("12.4 volts", 12.4, "V"),
    ("200 mV", 200.0, "mV"),
    ("5k6", 5.6, "kohm"),
    ("5K6", 5.6, "kohm"),
    ("4R7", 4.7, "ohm"),
    ("R47", 0.47, "ohm"),
    ("1M0", 1.0, "Mohm"),
    ("5k", 5.0, "kohm"),
    ("470R", 470.0, "ohm"),
    ("5.6 kohm", 5.6, "kohm"),
    ("5.6 kΩ", 5.6, "kohm"),
    ("0.9 Ω", 0.9, "ohm"),
    ("- 5 V", -5.0, "V"),
    ("0.9 \N{OHM SIGN}", 0.9, "ohm"),
    ("2 MΩ", 2.0, "Mohm"),
    ("72F", 72.0, "F"),
    ("72 °F", 72.0, "F"),
    ("-3 °C", -3.0, "C"),
    ("\N{MINUS SIGN}3 C", -3.0, "C"),
    ("6000 ft", 6000.0, "ft"),
    ("6000'", 6000.0, "ft"),
    ("1830 m", 1830.0, "m"),
    ("1 1/2 turns", 1.5, "turns"),
    ("1½ turns", 1.5, "turns"),
    ("1-1/2 turns", 1.5, "turns"),
    ("12.4 V DC", 12.4, "V"),
    ("40 VAC", 40.0, "V"),
    ("22° BTDC", 22.0, "deg"),
    ("2.5 mm BTDC", 2.5, "mm"),
    ("20 cmHg", 20.0, "cmHg"),
    ("14 thousandths", 14.0, "thou"),
    ("95 lb/sq in", 95.0, "psi"),
    ("2 years", 2.0, "years"),
    ("8 hp", 8.0, "hp"),
    ("1 US gal", 1.0, "US gal"),
    ("1 imp gallon", 1.0, "imp gal"),
    ("¾ turn", 0.75, "turns"),
    ("12 kicks", 12.0, "kicks"),
    ("350 ml/min", 350.0, "ml/min"),
    ("350 cc/min", 350.0, "ml/min"),
    ("21 l/h", 21.0, "l/h"),
    ("250 cc", 250.0, "ml"),
    ("4 imp fl oz", 4.0, "imp fl oz"),
    ("4 US fl. oz.", 4.0, "US fl oz"),
    ("20°", 20.0, "deg"),
    ("22 deg", 22.0, "deg"),
    ("12 N·m", 12.0, "N m"),
    ("12 Nm", 12.0, "N m"),
    ("9 ft-lb", 9.0, "lbf ft"),
    ("1.2 kgf m", 1.2, "kgf m"),
    ("9 kg/cm²", 9.0, "kgf/cm2"),
    ("0.25 µF", 0.25, "uF"),
    ("0.25 mfd", 0.25, "uF"),
    ("30 mph", 30.0, "mph"),
    ("1300 rpm", 1300.0, "rpm"),
    ("2.5 A", 2.5, "A"),
    ("29.92 inHg", 29.92, "inHg"),
    ("10 %", 10.0, "percent"),
    ("  95  ", 95.0, ""),
    ("12.645 V", 12.645, "V"),
    ("-5", -5.0, ""),
]


@pytest.mark.parametrize(("written", "value", "unit"), SAID)
def test_what_people_write_is_understood(written, value, unit):
    assert parse_quantity(written) == Quantity(value, unit, written.strip())


ABOUT = [
    ("about 11,4 V", 11.4, "V"),
    ("About 11.4V", 11.4, "V"),
    ("~90 psi", 90.0, "psi"),
    ("~ 90 psi", 90.0, "psi"),
    ("≈90 psi", 90.0, "psi"),
    ("ca. 0.6 mm", 0.6, "mm"),
    ("ca 0,6 mm", 0.6, "mm"),
    ("c. 0.6 mm", 0.6, "mm"),
    ("circa 0.6 mm", 0.6, "mm"),
    ("approx 72F", 72.0, "F"),
    ("approx. 72F", 72.0, "F"),
    ("approximately 6000 ft", 6000.0, "ft"),
    ("roughly 1 1/2 turns", 1.5, "turns"),
    ("around 5k6", 5.6, "kohm"),
    ("about .024 in", 0.024, "in"),
    ("about -3 C", -3.0, "C"),
    ("90 psi or so", 90.0, "psi"),
    ("90 psi, roughly", 90.0, "psi"),
    ("90 psi approx.", 90.0, "psi"),
    ("about 90", 90.0, ""),
]


@pytest.mark.parametrize(("written", "value", "unit"), ABOUT)
def test_a_hedge_is_read_marked_and_kept_as_it_was_typed(written, value, unit):
    quantity = parse_quantity(written)
    assert (quantity.value, quantity.unit, quantity.text, quantity.about) == (value, unit, written, True)
    kept = convert(quantity, unit)
    assert kept.about
    assert kept.text == written


def test_a_reading_without_a_hedge_is_not_marked():
    assert not parse_quantity("90 psi").about
    assert convert(parse_quantity("~90 psi"), "kPa").about


def test_the_kind_asked_for_decides_between_two_meanings():
    assert parse_quantity("5K", "resistance").unit == "kohm"
    assert parse_quantity("293 K", "temperature").unit == "K"
    assert parse_quantity("293 K").unit == "K"


REFUSED = [
    ("1,234.5 ohm", "a thousands sign is not read", "1234.5"),
    ("1.234,5 ohm", "a thousands sign is not read", "1234.5"),
    ("1,234,567 ohm", "a thousands sign is not read", "1234567"),
    ("1.234.567 ohm", "a thousands sign is not read", "1234567"),
    ("1 234 ohm", "a thousands sign is not read", "1234"),
    ("1'234 ohm", "a thousands sign is not read", "the number without it"),
    ("1_234 ohm", "a thousands sign is not read", "the number without it"),
    ("6,000 ft", "the comma could mark decimals or thousands", "6.000 or 6000"),
    ("12,645 V", "the comma could mark decimals or thousands", "12.645 or 12645"),
    ("", "this is no reading", "a number and its unit, such as 95 psi"),
    ("   ", "this is no reading", "a number and its unit, such as 95 psi"),
    ("psi", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    (">100 psi", "this says where it ends, not what was read", "what the instrument showed, such as 100"),
    ("ninety psi", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("nan V", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("--5 V", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("٣ V", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("€5", "a reading begins with a number", "a number and its unit, such as 95 psi"),
    ("OL", "the meter found no end, which is no number", "the outcome, not a reading"),
    ("O.L.", "the meter found no end, which is no number", "the outcome, not a reading"),
    ("infinite", "the meter found no end, which is no number", "the outcome, not a reading"),
    ("∞", "the meter found no end, which is no number", "the outcome, not a reading"),
    ("inf", "the meter found no end, which is no number", "the outcome, not a reading"),
    ("90-95 psi", "this is more than one number", "one number, such as 90"),
    ("90 to 95 psi", "this is more than one number", "one number, such as 90"),
    ("90–95 psi", "this is more than one number", "one number, such as 90"),
    ("90 ± 5 psi", "this is more than one number", "one number, such as 90"),
    ("90 + 5 psi", "this is more than one number", "one number, such as 90"),
    ("90/95 psi 3", 'no unit is called "psi 3"', "one number and one unit, such as 95 psi"),
    ("12..5 V", "this is more than one number", "one number with one decimal sign"),
    ("12,,5 V", "this is more than one number", "one number with one decimal sign"),
    ("12.4.5 V", "this is more than one number", "one number with one decimal sign"),
    ("12 13 V", "this is more than one number", "one number with one decimal sign"),
    ("12. V", "the number is not finished", "12 or its decimals as well"),
    ("12, V", "the number is not finished", "12 or its decimals as well"),
    ("1/0 in", "this fraction cannot be read", "a fraction such as 1 1/2"),
    ("1/2/3 in", "this fraction cannot be read", "a fraction such as 1 1/2"),
    ("1.5/2 in", "this fraction cannot be read", "a fraction such as 1 1/2"),
    ("90 pis", 'no unit is called "pis"', "psi"),
    ("90 pssi", 'no unit is called "pssi"', "psi"),
    ("6 barr", 'no unit is called "barr"', "bar"),
    ("5 khom", 'no unit is called "khom"', "kohm"),
    ("3 turnes", 'no unit is called "turnes"', "turns"),
    ("12 xyz", 'no unit is called "xyz"', "one number and one unit, such as 95 psi"),
    ("1e3 ohm", 'no unit is called "e3 ohm"', "one number and one unit, such as 95 psi"),
    ("12V6", 'no unit is called "V6"', "one number and one unit, such as 95 psi"),
    ("6 ft 2 in", 'no unit is called "ft 2 in"', "one number and one unit, such as 95 psi"),
    ("2 min 30 s", 'no unit is called "min 30 s"', "one number and one unit, such as 95 psi"),
    ("1:30 min", 'there is a ":" too many', "a number and its unit, such as 95 psi"),
    ("0x1F V", 'no unit is called "x1F V"', "one number and one unit, such as 95 psi"),
    ("90 lbs", "a pound is a weight", "psi for a pressure, lbf ft for a torque"),
    ("9 kg", "a kilogram is a weight", "kgf/cm2 for a pressure, kgf m for a torque"),
    ("5 mohm", "this could be thousandths or millions of an ohm", "ohm or Mohm"),
    ("5 mΩ", "this could be thousandths or millions of an ohm", "ohm or Mohm"),
    ("4 oz", "this could be a weight or a volume", "imp fl oz or US fl oz for a volume"),
    ("4 fl oz", "fl oz has more than one size", "imp fl oz or US fl oz"),
    ("-300 C", "nothing can be that cold", "a temperature above -273.15 C or -459.67 F"),
    ("-500 F", "nothing can be that cold", "a temperature above -273.15 C or -459.67 F"),
    ("9" * 400 + " V", "this is no reading", "a number and its unit, such as 95 psi"),
    ("12 \x1b[31mV", 'no unit is called "\ufffd[31mV"', "one number and one unit, such as 95 psi"),
    ("12\0V", 'no unit is called "\ufffdV"', "V"),
]


@pytest.mark.parametrize(("written", "says", "write"), REFUSED)
def test_what_cannot_be_read_is_refused_with_what_to_write(written, says, write):
    with pytest.raises(QuantityError) as caught:
        parse_quantity(written)
    assert (caught.value.says, caught.value.write) == (says, write)


def test_the_message_of_a_refusal():
    with pytest.raises(DiagnoseError) as caught:
        parse_quantity("90 pis")
    assert str(caught.value) == '"90 pis": no unit is called "pis"; write: psi'


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_and_never_breaks(text):
    try:
        quantity = parse_quantity(text)
    except QuantityError:
        return
    assert math.isfinite(quantity.value)
    assert not quantity.unit or quantity.unit in UNITS


@given(st.text("0123456789.,/ -+kRM'½ΩVKC°psi", max_size=12))
def test_texts_near_to_readings_are_read_or_refused(text):
    try:
        assert math.isfinite(parse_quantity(text).value)
    except QuantityError:
        return


KINDS = sorted({*UNITS.values()} - {"count"})


@given(st.data())
def test_there_and_back_again_gives_the_same_value(data):
    kind = data.draw(st.sampled_from(KINDS))
    here, there = (data.draw(st.sampled_from(units_of(kind))) for _ in range(2))
    value = data.draw(st.floats(-1e6, 1e6, allow_subnormal=False))
    back = convert(convert(Quantity(value, here), there), here)
    # Each way is rounded once; the zero of a temperature lies some hundred degrees off.
    assert back.value == pytest.approx(value, rel=1e-12, abs=1e-9 if kind == "temperature" else 1e-300)


@given(st.sampled_from(sorted(UNITS)), st.decimals(0, 99999, places=3))
def test_what_is_printed_is_read_again(unit, number):
    quantity = Quantity(float(number), unit)
    again = parse_quantity(str(quantity))
    assert (again.value, again.unit) == (quantity.value, unit)


def test_conversion_between_kinds_is_refused_with_the_units_that_fit():
    with pytest.raises(DiagnoseError, match=r'"5 V": this cannot be given in psi; write: Pa, hPa, kPa, MPa, bar, psi'):
        convert(Quantity(5.0, "V"), "psi")
    with pytest.raises(DiagnoseError, match=r'"95": this cannot be given in psi'):
        convert(Quantity(95.0, ""), "psi")
    with pytest.raises(DiagnoseError, match=r'"3 turns": this cannot be given in kicks'):
        convert(Quantity(3.0, "turns"), "kicks")


def test_a_bare_number_counts():
    assert kind_of("") == "count"
    assert convert(Quantity(7.0, ""), "kicks") == Quantity(7.0, "kicks")


def test_unknown_units_are_named_with_the_nearest():
    with pytest.raises(DiagnoseError, match=r'"pis": no unit has this name; write: psi'):
        kind_of("pis")
    assert units_of("no such kind") == ()


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan, 1.7e308])
def test_numbers_without_end_are_refused(value):
    with pytest.raises(DiagnoseError, match="not finite or too large"):
        convert(Quantity(value, "Mohm"), "ohm")


def test_every_kind_that_the_bench_needs_has_units():
    expected = {
        "pressure",
        "voltage",
        "resistance",
        "length",
        "flow",
        "volume",
        "time",
        "temperature",
        "angle",
    }
    expected |= {"speed", "torque", "current", "capacitance", "rotation", "count", "percent", "power"}
    assert set(UNITS.values()) == expected
