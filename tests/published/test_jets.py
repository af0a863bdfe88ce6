"""Jets by the air: the physics in numbers, and how far published rules lie from it."""

from __future__ import annotations

import pytest

from diagnose.trade import OutOfRange, air, jets
from tests.published.facts import FOOT, celsius, rows, source


def at_feet(feet, temperature=None):
    return air.air_at(feet * FOOT, temperature)


@source("jet-01")
@pytest.mark.parametrize("sigma", [0.5, 0.7385, 0.9, 1.0, 1.1851])
def test_the_law_of_the_orifice(sigma):
    """Flow = area * sqrt(dp), dp ~ rho v^2, air ~ rho v: solved here for the area by hand, bore as its root."""
    area = (sigma * 1.0) / (sigma * 1.0**2) ** 0.5  # same fuel per air at the same speed of air
    assert jets.number_ratio(sigma, "flow") == pytest.approx(area, rel=0.001)
    assert jets.number_ratio(sigma, "bore") == pytest.approx(area**0.5, rel=0.001)
    assert jets.richness(sigma) == pytest.approx(1 / area, rel=0.001)


@source("jet-02")
@pytest.mark.parametrize("row", rows("jet-02"), ids=lambda row: f"{row['altitude_ft']} ft")
def test_ratios_by_altitude_on_the_standard_day(row):
    here = at_feet(row["altitude_ft"])
    assert here.sigma == pytest.approx(row["sigma"], abs=0.0005)
    assert jets.number_ratio(here.sigma, "flow") == pytest.approx(row["area_or_flow_number_ratio"], abs=0.0005)
    assert jets.number_ratio(here.sigma, "bore") == pytest.approx(row["diameter_number_ratio"], abs=0.0005)


@source("jet-03")
@pytest.mark.parametrize("row", rows("jet-03"), ids=lambda row: f"{row['T_C']} C")
def test_ratios_by_temperature_alone(row):
    jet = jets.rejet(100, "bore", air.SEA_LEVEL, air.air_at(0, row["T_C"]))
    assert jet.sigma == pytest.approx(row["sigma"], abs=0.0005)
    assert jet.exact / 100 == pytest.approx(row["diameter_number_ratio"], abs=0.0005)
    flow = jets.rejet(200, "flow", air.SEA_LEVEL, air.air_at(0, row["T_C"]))
    assert flow.exact / 200 == pytest.approx(row["area_or_flow_number_ratio"], abs=0.0005)


@source("jet-04")
@pytest.mark.parametrize("row", rows("jet-04"), ids=lambda row: f"{row['altitude_ft']} ft")
def test_a_temperature_that_is_given_is_not_lowered_once_more(row):
    right, here = at_feet(0, 20), at_feet(row["altitude_ft"], 20)
    jet = jets.rejet(100, "bore", right, here)
    assert jet.sigma == pytest.approx(row["sigma"], abs=0.0005)
    assert jet.exact / 100 == pytest.approx(row["diameter_ratio"], abs=0.0005)
    assert jets.rejet(100, "flow", right, here).exact / 100 == pytest.approx(row["area_ratio"], abs=0.0005)


@source("jet-05")
@pytest.mark.parametrize(("row", "numbered"), list(zip(rows("jet-05"), ("bore", "flow"), strict=True)))
def test_the_published_rule_is_kept_as_it_is_printed(row, numbered):
    assert numbered in row["jet_family"] or "hole size" in row["jet_family"]
    assert jets.rule_of_thumb(200, numbered, 1000) - 200 == row["per_1000ft_up"]
    assert jets.rule_of_thumb(200, numbered, 0, 10) - 200 == row["per_10F_warmer"]
    jets.rule_of_thumb(200, numbered, row["range_ft"], row["range_F"])
    for feet, fahrenheit in ((row["range_ft"] + 1, 0), (0, row["range_F"] + 1)):
        with pytest.raises(OutOfRange):
            jets.rule_of_thumb(200, numbered, feet, fahrenheit)


@source("jet-06")
@pytest.mark.parametrize("row", rows("jet-06"), ids=lambda row: f"{row['numbered_by']} {row['jet_number']}")
def test_the_rule_and_the_physics_differ_by_what_is_said(row):
    numbered, number = ("flow" if row["numbered_by"] == "flow" else "bore"), row["jet_number"]
    warm = air.air_at(0, 20 + 10 / 1.8)
    physics = {
        "1000ft": 100 * (jets.number_ratio(at_feet(1000).sigma, numbered) - 1),
        "10F": 100 * (jets.rejet(number, numbered, air.air_at(0, 20), warm).exact / number - 1),
    }
    rule = {
        "1000ft": 100 * (jets.rule_of_thumb(number, numbered, 1000) / number - 1),
        "10F": 100 * (jets.rule_of_thumb(number, numbered, 0, 10) / number - 1),
    }
    for step in ("1000ft", "10F"):
        assert physics[step] == pytest.approx(row[f"physics_pct_per_{step}"], abs=0.006)
        assert rule[step] == pytest.approx(row[f"rule_pct_per_{step}"], abs=0.006)
    if numbered == "bore" and 100 <= number <= 180:
        assert 1 / 1.4 <= rule["1000ft"] / physics["1000ft"] <= 1.4
    if number == 200:
        assert rule["1000ft"] / physics["1000ft"] == pytest.approx(2, abs=0.1)


@source("jet-08")
def test_rules_by_percent_are_steeper_than_the_physics():
    up, warmer = rows("jet-08")
    bore, flow = (100 * (jets.number_ratio(at_feet(1000).sigma, by) - 1) for by in ("bore", "flow"))
    assert (bore, flow) == pytest.approx((up["physics_diameter_pct"], up["physics_area_pct"]), abs=0.006)
    assert [up[f"published_pct_{end}"] / flow for end in ("low", "high")] == pytest.approx([1.4, 2.7], abs=0.05)
    assert [up[f"published_pct_{end}"] / bore for end in ("low", "high")] == pytest.approx([2.7, 5.5], abs=0.06)
    steps = [
        jets.rejet(100, by, air.air_at(0, 15), air.air_at(0, 15 + 20 / 1.8)).exact - 100 for by in ("bore", "flow")
    ]
    assert steps == pytest.approx([warmer["physics_diameter_pct"], warmer["physics_area_pct"]], abs=0.04)
    assert warmer["published_pct_high"] <= steps[1] <= warmer["published_pct_low"]


@source("jet-09")
def test_a_bore_number_is_a_diameter_and_a_flow_number_goes_as_the_area():
    assert "diameter" in rows("jet-09")[0]["number"]
    assert "proportional in area" in rows("jet-09")[2]["number"]
    jet = jets.rejet(100, "bore", air.SEA_LEVEL, at_feet(6000))
    flow = jets.rejet(100, "flow", air.SEA_LEVEL, at_feet(6000))
    assert (jet.exact / 100) ** 2 == pytest.approx(flow.exact / 100, rel=1e-9)
    assert jet.mixture(100) == pytest.approx(flow.mixture(100), rel=1e-9)


@source("jet-10")
def test_power_lost_by_altitude_is_what_makers_print():
    by_density, by_pressure = jets.power_lost(at_feet(1000))
    printed = {row.get("source", row.get("physics")): row["per_1000ft"] for row in rows("jet-10")}
    assert by_density == pytest.approx(printed["1 - sigma at 1000 ft"], abs=0.0002)
    assert by_pressure == pytest.approx(printed["1 - delta at 1000 ft"], abs=0.0002)
    assert (
        by_density - 0.0015
        <= printed["snowmobile maker"]
        <= printed["small industrial four-stroke maker"]
        <= by_pressure
    )


@source("jet-11")
def test_from_where_a_maker_asks_for_another_jet():
    (row,) = rows("jet-11")
    assert jets.REJET_FROM_M == row["altitude_m"]
    jet = jets.rejet(100, "bore", air.SEA_LEVEL, air.air_at(row["altitude_m"]))
    assert jet.as_is == pytest.approx(row["computed_richness_with_jet_unchanged"], abs=0.002)


@source("jet-12")
@pytest.mark.parametrize("numbered", ["bore", "flow"])
def test_which_way_is_dangerous(numbered):
    down = jets.rejet(150, numbered, at_feet(8000), air.SEA_LEVEL)
    up = jets.rejet(150, numbered, air.SEA_LEVEL, at_feet(8000))
    assert down.as_is < 1 < up.as_is
    assert up.exact < 150 < down.exact
    lean = rows("jet-12")[0]["effect"]
    assert "lean" in lean
    assert all(word in jets.LEAN for word in ("lean", "overheat", "seize"))


@source("jet-13")
@pytest.mark.parametrize("feet", [0, 4000, 10000])
def test_the_best_mixture_does_not_move_with_the_air(feet):
    (row,) = rows("jet-13")
    right = 1 / row["fuel_air_high"]
    jet = jets.rejet(100, "bore", air.SEA_LEVEL, at_feet(feet))
    assert row["air_fuel_low"] <= right / jet.mixture(jet.exact) <= row["air_fuel_high"]
    assert right / jet.mixture(jet.exact) == pytest.approx(right, rel=1e-9)


@source("jet-14")
def test_the_made_size_goes_to_the_richer_side():
    (row,) = rows("jet-14")
    cold, mild = (air.air_at(0, celsius(row[f"temp_F_{end}"])) for end in ("low", "high"))
    for_cold, for_mild = (jets.rejet(200, "bore", air.SEA_LEVEL, here) for here in (cold, mild))
    assert for_cold.exact > for_mild.exact > 200
    for jet in (for_cold, for_mild):
        assert jet.leaner <= jet.exact <= jet.richer
        assert jet.mixture(jet.richer) >= 1 >= jet.mixture(jet.leaner)


@pytest.mark.source("common practice: a 75 by bore that is right at 2000 ft wants about 72.5 at 6000 ft")
def test_a_bore_numbered_jet_from_two_to_six_thousand_feet():
    jet = jets.rejet(75, "bore", at_feet(2000), at_feet(6000))
    assert abs(jet.exact - 72.5) <= 1.25
    assert jet.nearest == 72.5
    assert (jet.leaner, jet.richer) == (72.5, 75)
