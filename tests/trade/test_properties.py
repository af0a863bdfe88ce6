"""The sums as laws: what goes there comes back, corrections point one way, and nothing is guessed beyond its range."""

from __future__ import annotations

from math import inf, isfinite, nan

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from diagnose.problems import DiagnoseError
from diagnose.trade import (
    OutOfRange,
    air,
    batteries,
    carburettor,
    coils,
    compression,
    fuel,
    jets,
    leakdown,
    mixing,
    points,
    sparks,
    timing,
)

metres = st.floats(-500, 6000)
degrees = st.floats(-50, 60)
pressures = st.floats(1e4, 2e6)
ratios = st.floats(4, 13)
sides = st.sampled_from(["bore", "flow"])


def between(low, high):
    return st.floats(low, high, allow_nan=False)


@given(pressures, metres, between(90000, 105000))
def test_a_reading_goes_to_sea_level_and_back(reading, altitude, weather):
    there = air.sea_level_reading(reading, altitude, weather)
    assert air.reading_here(there, altitude, weather) == pytest.approx(reading, rel=1e-12)


@given(metres, metres)
def test_higher_is_thinner_colder_and_reads_lower(one, other):
    low, high = sorted((one, other))
    assume(high - low > 1e-3)
    assert air.standard_pressure(high) < air.standard_pressure(low)
    assert air.standard_celsius(high) < air.standard_celsius(low)
    assert air.air_at(high, 20).density < air.air_at(low, 20).density
    assert air.sea_level_reading(100, high) > air.sea_level_reading(100, low)


@given(metres, degrees, degrees)
def test_warmer_air_is_thinner_at_the_same_pressure(altitude, one, other):
    assume(abs(one - other) > 1e-6)
    cold, warm = sorted((one, other))
    assert air.air_at(altitude, warm).sigma < air.air_at(altitude, cold).sigma
    assert air.air_at(altitude, warm).pressure == air.air_at(altitude, cold).pressure


@given(between(40, 250), sides, metres, metres, between(-20, 40), between(-20, 40))
def test_a_jet_goes_there_and_back(number, numbered, one, other, cold, warm):
    here, there = air.air_at(one, cold), air.air_at(other, warm)
    assume(0.55 < here.sigma / there.sigma < 1.8)
    jet = jets.rejet(number, numbered, here, there)
    assume(20 <= jet.exact <= 300)
    assert jets.rejet(jet.exact, numbered, there, here).exact == pytest.approx(number, rel=1e-9)
    assert jet.leaner - 1e-6 <= jet.exact <= jet.richer + 1e-6
    assert jet.mixture(jet.exact) == pytest.approx(1)
    assert jet.mixture(number) == pytest.approx(jet.as_is, rel=1e-9)
    assert abs(jet.nearest - jet.exact) <= jets.STEP[numbered] / 2 + 1e-6


@given(between(60, 200), sides, between(0, 4000), between(0, 4000))
def test_going_up_wants_a_smaller_jet_and_the_old_one_is_rich(number, numbered, one, other):
    low, high = sorted((one, other))
    assume(high - low > 1)
    up = jets.rejet(number, numbered, air.air_at(low), air.air_at(high))
    down = jets.rejet(number, numbered, air.air_at(high), air.air_at(low))
    assert up.exact < number < down.exact
    assert up.as_is > 1 > down.as_is


@given(between(10, 150), ratios, between(0, 5), between(0, 1.5e6))
def test_dead_volume_only_ever_hides(swept, ratio, dead, reading):
    assume(dead < compression.chamber_cc(swept, ratio))
    assert compression.true_reading(reading, swept, ratio, 0) == pytest.approx(reading)
    assert compression.true_reading(reading, swept, ratio, dead) >= reading * (1 - 1e-12)


@given(ratios, ratios)
def test_a_higher_ratio_reads_more_and_a_port_takes_of_it(one, other):
    low, high = sorted((one, other))
    assume(high - low > 1e-6)
    assert compression.gauge_pressure(low) < compression.gauge_pressure(high)
    assert compression.trapped_ratio(high, 0) == high
    assert 1 < compression.trapped_ratio(high, 0.4) < compression.trapped_ratio(high, 0.2) < high


@given(between(20, 900), between(5, 12))
def test_oil_lifts_and_more_lifts_more(swept, ratio):
    little = compression.oil_ml(swept)
    assume(little * 1.5 < compression.chamber_cc(swept, ratio) / 2)
    less, more = (compression.false_rise(swept, ratio, oil) for oil in (little, little * 1.5))
    assert 1 < less < more
    assert compression.false_rise(swept, ratio, 0) == pytest.approx(1)


@given(between(70000, 690000), between(0, 1))
def test_a_leak_is_a_share(supply, held):
    share = leakdown.leak(supply, supply * held)
    assert share == pytest.approx(1 - held, abs=1e-9)


@given(between(0.01, 1e6), between(-40, 150))
def test_a_winding_goes_to_twenty_degrees_and_back(ohms, celsius):
    assert coils.ohms_at(coils.ohms_at_20(ohms, celsius), celsius) == pytest.approx(ohms, rel=1e-12)
    assert (coils.ohms_at_20(ohms, celsius) < ohms) == (celsius > 20)


@given(between(1, 90), between(30, 120), between(1.5, 2.5))
def test_degrees_go_to_millimetres_and_back(angle, stroke, rod):
    drop = timing.drop_mm(angle, stroke, rod * stroke)
    assert timing.degrees_at(drop, stroke, rod * stroke) == pytest.approx(angle, abs=1e-6)
    assert timing.drop_mm(angle + 1, stroke, rod * stroke) > drop
    assert timing.drop_mm(180, stroke, rod * stroke) == pytest.approx(stroke)


@given(between(0, 50), between(0, 60))
def test_a_dial_goes_aslant_and_back(travel, incline):
    shows = timing.dial_mm(travel, incline)
    assert timing.travel_mm(shows, incline) == pytest.approx(travel, abs=1e-9)
    assert shows >= travel - 1e-12


@given(between(1, 8), between(0, 1))
def test_dwell_goes_there_and_back(openings, share):
    n = int(openings)
    assert points.dwell_share(points.dwell_degrees(share, n), n) == pytest.approx(share, abs=1e-12)


@given(st.sampled_from(["needles", "spheres", "flat"]), between(4.3, 9.0), between(4.3, 9.0), metres, between(-30, 50))
def test_a_longer_gap_takes_more_and_thin_air_less(electrodes, one, other, altitude, celsius):
    short, long = sorted((one, other))
    assume(long - short > 1e-6)
    here = air.station_pressure(altitude)
    assert sparks.kilovolts(short, electrodes, here, celsius) < sparks.kilovolts(long, electrodes, here, celsius)
    if altitude > 1:
        assert sparks.kilovolts(long, electrodes, here, celsius) < sparks.kilovolts(long, electrodes, celsius=celsius)


@given(between(11.89, 13.0), between(11.89, 13.0))
def test_more_volts_are_never_less_charge(one, other):
    low, high = sorted((one, other))
    assert 0 <= batteries.charge_by_volts(low) <= batteries.charge_by_volts(high) <= 100
    assert batteries.charge_by_volts(low / 2, 6) == pytest.approx(batteries.charge_by_volts(low), abs=1e-6)


@given(between(1.12, 1.3), between(-18, 55), between(-18, 40))
def test_warm_acid_reads_low_and_a_cold_battery_may_sag_further(gravity, celsius, load):
    corrected = batteries.gravity_at_80f(gravity, celsius)
    assert (corrected > gravity) == (celsius > 80 / 1.8 - 32 / 1.8)
    assert batteries.load_least(-18) <= batteries.load_least(load) <= 9.6


@given(between(1, 20000), between(10, 150), between(10, 150))
def test_oil_goes_there_and_back(petrol, ratio, other):
    assert mixing.petrol_for(mixing.oil_for(petrol, ratio), ratio) == pytest.approx(petrol)
    thin, oily = max(ratio, other), min(ratio, other)
    assert mixing.petrol_share(oily) <= mixing.petrol_share(thin)
    mix = petrol + mixing.oil_for(petrol, thin)
    total = mixing.oil_for(petrol, thin) + mixing.oil_to_add(mix, thin, oily)
    assert total == pytest.approx(mixing.oil_for(petrol, oily))


@given(between(5, 40), between(5, 40))
def test_a_float_that_shuts_lower_lowers_the_level(one, other):
    assert carburettor.level_change_mm(one, other) == -carburettor.level_change_mm(other, one)
    assume(other > one)
    assert carburettor.level_change_mm(one, other) < 0


BEYOND = [
    (air.standard_pressure, (6001,)),
    (air.standard_pressure, (-501,)),
    (air.station_pressure, (0, 40000)),
    (air.air_at, (0, 61)),
    (air.air_measured, (120000,)),
    (air.sea_level_reading, (100, 9000)),
    (jets.number_ratio, (0.4, "bore")),
    (jets.rejet, (301, "bore", air.SEA_LEVEL, air.SEA_LEVEL)),
    (jets.rejet, (100, "flow", air.SEA_LEVEL, air.SEA_LEVEL, 0)),
    (jets.rule_of_thumb, (100, "bore", 8001)),
    (compression.gauge_pressure, (15,)),
    (compression.gauge_pressure, (9, 1.5)),
    (compression.trapped_ratio, (7, 0.8)),
    (compression.true_reading, (90, 50, 7, 9)),
    (compression.true_reading, (-1, 50, 7, 1)),
    (compression.false_rise, (50, 7, 15)),
    (compression.false_rise, (50, 7, -1)),
    (compression.oil_ml, (5,)),
    (compression.wet_test, (0, 90)),
    (compression.spread, ((90,),)),
    (compression.spread, ((0, 0),)),
    (leakdown.leak, (400000, 500000)),
    (leakdown.leak, (900000, 500000)),
    (leakdown.band, (1.1,)),
    (coils.ohms_at_20, (-1, 20)),
    (coils.ohms_at_20, (1, 200)),
    (coils.ohms_at_20, (1, 20, 2)),
    (coils.ohms_at, (1, -60)),
    (points.dwell_share, (100, 4)),
    (points.dwell_share, (10, 9)),
    (points.dwell_from_times, (5, 4)),
    (points.earlier_degrees, (0.3, 1.2)),
    (timing.drop_mm, (20, 10)),
    (timing.drop_mm, (20, 50, 20)),
    (timing.drop_mm, (181, 50)),
    (timing.degrees_at, (60, 50)),
    (timing.travel_mm, (3, 61)),
    (sparks.kilovolts, (4, "needles")),
    (sparks.kilovolts, (10, "spheres")),
    (sparks.kilovolts, (0.2, "flat")),
    (sparks.density_factor, (200000, 20)),
    (batteries.charge_by_volts, (11.8,)),
    (batteries.charge_by_volts, (13.2,)),
    (batteries.charge_by_volts, (24.5, 24)),
    (batteries.charge_by_gravity, (1.05,)),
    (batteries.gravity_at_80f, (1.25, 60)),
    (batteries.load_least, (-19,)),
    (batteries.charging, (24,)),
    (batteries.freezes_at, (101,)),
    (fuel.demand, (20,)),
    (fuel.demand, (4, 100)),
    (fuel.flow, (100, 2)),
    (fuel.water_held, (30,)),
    (fuel.water_held, (10, 5)),
    (fuel.age, (-1,)),
    (mixing.oil_for, (1000, 5)),
    (mixing.oil_to_add, (1000, 25, 50)),
    (carburettor.level_change_mm, (0, 20)),
    (carburettor.tongue_mm, (20, 6, 24)),
    (carburettor.pilot_wants, ("air", 9)),
]


@pytest.mark.parametrize(("sum_of", "figures"), BEYOND, ids=lambda part: getattr(part, "__name__", None))
def test_nothing_is_guessed_beyond_its_range(sum_of, figures):
    with pytest.raises(OutOfRange) as refused:
        sum_of(*figures)
    assert isinstance(refused.value, DiagnoseError)
    assert str(refused.value).endswith((".", "?"))


@pytest.mark.parametrize("odd", [nan, inf, -inf])
def test_what_is_no_number_is_refused(odd):
    for sum_of in (air.standard_pressure, compression.gauge_pressure, coils.factor, fuel.age, batteries.load_least):
        with pytest.raises(OutOfRange):
            sum_of(odd)


def test_the_refusal_names_the_figure_the_range_and_why():
    with pytest.raises(OutOfRange) as refused:
        air.standard_pressure(7000)
    said = "altitude 7000 m: this sum holds for -500 to 6000 m. No road goes higher, and readings are not brought"
    assert str(refused.value).startswith(said)


@given(between(-500, 6000), between(-50, 60), between(2, 14))
def test_inside_their_range_the_sums_give_numbers(altitude, celsius, ratio):
    here = air.air_at(altitude, celsius)
    figures = (here.density, *compression.expected(ratio, here.pressure), sparks.density_factor(here.pressure, celsius))
    assert all(isfinite(figure) and figure > 0 for figure in figures)
