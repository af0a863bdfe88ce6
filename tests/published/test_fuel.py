"""Petrol and oil: demand, water, age, mixing."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin
from diagnose.trade import OutOfRange, fuel, mixing
from diagnose.units import Quantity, convert
from tests.published.facts import celsius, rows, source


@source("fuel-01")
@pytest.mark.parametrize("row", rows("fuel-01"), ids=lambda row: f"{row['T_F']} F")
def test_water_held_by_ten_per_cent_of_alcohol(row):
    held = fuel.water_held(celsius(row["T_F"]))
    assert held == pytest.approx(row["volume_pct_computed"], abs=0.05)
    assert held == pytest.approx(100 * row["tsp_per_US_gal"] / 768, abs=0.05)  # the page's own teaspoons


@source("fuel-01")
def test_ten_litres_at_fifteen_degrees_take_about_fifty_millilitres():
    assert fuel.water_held(15) / 100 * 10_000 == pytest.approx(50, abs=5)
    for blend in (0, 5, 85):
        with pytest.raises(OutOfRange):
            fuel.water_held(15, blend)


@source("fuel-02")
def test_what_separates():
    (row,) = rows("fuel-02")
    assert "water" in row["bottom_layer"]
    assert "oil" in row["premix"]
    bottom, top = fuel.LAYERS.split(", on top ")
    assert "water with most of the alcohol" in bottom
    assert top.startswith("petrol of lower octane")
    assert "most of the oil goes down" in top


@source("fuel-03")
def test_age():
    printed = [row.get("days", 7 * row.get("weeks", 0)) for row in rows("fuel-03")]
    days = [day for entry in printed for day in (entry if isinstance(entry, list) else [entry])]
    assert fuel.FRESH_DAYS == min(days)
    assert fuel.SUSPECT_DAYS == max(days)
    assert all(fuel.age(day) in ("fresh", "use it up") for day in days)
    assert fuel.age(91) == "suspect"
    assert fuel.age(366) == "bad"


@source("fuel-04")
def test_volatility_by_season():
    seasons, note = rows("fuel-04")
    assert fuel.VAPOUR_PSI["summer"] == pytest.approx(seasons["RVP_psi_summer"], abs=0.5)
    assert fuel.VAPOUR_PSI["winter"] == pytest.approx(seasons["RVP_psi_winter"], abs=0.5)
    assert fuel.VAPOUR_PSI["winter"] - fuel.VAPOUR_PSI["summer"] > note["difference_winter_to_summer_psi"][0]


@source("fuel-05")
@pytest.mark.parametrize("cause", ["pilot_jet_blocked", "valve_stuck"])
def test_gum_comes_with_standing(shipped, cause):
    """Stored petrol leaves gum that blocks carburettors and sticks inlet valves: direction only, in the book."""
    assert "gum" in rows("fuel-05")[0]["mechanism"]
    lately, year, years = shipped.causes[cause].prior
    assert lately < year <= years


@source("fuel-06")
def test_a_stabiliser_helps_only_fresh_petrol():
    assert rows("fuel-06")[0]["stabiliser_only_helps_fresh_fuel"]
    assert "only if it went in fresh" in fuel.AGE_BASIS.holds


@pytest.mark.source("common practice: a year of standing is enough for petrol to gum small passages")
def test_a_year_is_enough(shipped):
    assert fuel.age(365) == "bad"
    bike = {"strokes": "2", "fuelling": "carburettor", "ignition": "points_magneto", "starter": "kick"}
    chance = {
        parked: begin(shipped, {"bike": {**bike, "parked": parked}, "complaint": "not_a_cough"}).belief.causes[
            "pilot_jet_blocked"
        ]
        for parked in ("lately", "year")
    }
    assert chance["year"] > 2 * chance["lately"]


@source("fuel-07")
@pytest.mark.parametrize("row", rows("fuel-07"), ids=lambda row: f"{row['power_kW']} kW")
def test_what_full_power_takes(row):
    assert fuel.demand(row["power_kW"], row["bsfc_g_kWh"]) == pytest.approx(row["ml_per_min"], rel=0.01)
    assert fuel.demand(row["power_kW"]) == pytest.approx(row["ml_per_min"], rel=0.1)
    assert fuel.TAP_OVER_DEMAND == 2


@source("mix-01")
@pytest.mark.parametrize("row", rows("mix-01"), ids=lambda row: f"{row['ratio']}:1")
def test_oil_for_a_litre_and_a_gallon(row):
    assert mixing.oil_for(1000, row["ratio"]) == pytest.approx(row["ml_per_litre"], rel=0.005)
    assert mixing.oil_for(128, row["ratio"]) == pytest.approx(row["floz_per_US_gal"], rel=0.005)
    assert mixing.oil_for(160, row["ratio"]) == pytest.approx(row["floz_per_imp_gal"], rel=0.005)
    us = convert(Quantity(mixing.oil_for(3785.411784, row["ratio"]), "ml"), "US fl oz").value
    assert us == pytest.approx(row["floz_per_US_gal"], rel=0.005)


@source("mix-01")
def test_the_other_gallon_and_what_a_ratio_means():
    assert 160 / 128 == 1.25
    assert 128 / 160 == 0.8
    assert all(word in mixing.CAUTION for word in ("a quarter too much", "a fifth too little"))
    assert 1 - mixing.petrol_share(50) == pytest.approx(0.0196, abs=0.00005)


@source("mix-02")
def test_more_oil_is_leaner():
    assert "leaner" in rows("mix-02")[0]["direction"]
    assert mixing.petrol_share(20) < mixing.petrol_share(30)
    assert "more oil leans the mixture" in mixing.CAUTION
