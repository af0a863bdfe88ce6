"""Batteries and charging: printed tables, and a printed correction that is the wrong way round."""

from __future__ import annotations

import pytest

from diagnose.trade import OutOfRange, batteries
from tests.published.facts import celsius, lands, rows, source

BIKE = {"battery": "yes", "voltage": "12"}


@source("bat-01")
@pytest.mark.parametrize("row", rows("bat-01"), ids=lambda row: f"{row['soc']} %")
def test_charge_by_voltage_and_by_hydrometer(row):
    assert batteries.charge_by_volts(row["V"]) == pytest.approx(row["soc"], abs=0.5)
    assert batteries.charge_by_volts(row["V"] / 2, 6) == pytest.approx(row["soc"], abs=0.5)
    assert batteries.charge_by_gravity(row["SG"]) == pytest.approx(row["soc"], abs=0.5)
    assert batteries.freezes_at(row["soc"]) == pytest.approx(celsius(row["freeze_F"]), abs=0.01)


@source("bat-01")
def test_the_cell_rule_meets_the_top_and_strays_at_the_bottom():
    """V = 6 (SG + 0.845): 12.66 when full, a tenth of a volt low when empty; so the table is used, not the rule."""
    full, empty = rows("bat-01")[0], rows("bat-01")[-1]
    assert 6 * (full["SG"] + 0.845) == pytest.approx(full["V"], abs=0.03)
    assert 6 * (empty["SG"] + 0.845) - empty["V"] == pytest.approx(-0.1, abs=0.01)


@source("bat-01")
def test_the_book_sees_them_alike(shipped):
    full, _, half, _, _ = rows("bat-01")
    assert lands(shipped, BIKE, "batt_rest", f"{full['V']} V") == {"charged"}
    assert lands(shipped, BIKE, "batt_rest", f"{half['V']} V") == {"half"}


@source("bat-02")
@pytest.mark.parametrize("row", rows("bat-02", "example_T_F"), ids=lambda row: f"{row['example_T_F']} F")
def test_hydrometer_by_temperature(row):
    shown = 1.200
    assert batteries.gravity_at_80f(shown, celsius(row["example_T_F"])) - shown == pytest.approx(
        row["correction"], abs=0.0005
    )


@source("bat-02")
def test_the_printed_voltage_correction_is_not_used_for_the_physics_goes_the_other_way():
    """Printed: add 0.024 V for each 10 F warmer. A cell itself has 0.2 to 0.3 mV/K more when warm: take it off."""
    step = rows("bat-02")[0]
    assert batteries.GRAVITY_PER_CELSIUS == pytest.approx(step["per_C"], abs=1e-9)
    assert 6 * step["per_10F"] == pytest.approx(batteries.PRINTED_VOLTS_PER_10F, abs=1e-9)
    ten_warmer = celsius(step["reference_F"] + 10)
    ours = batteries.rest_volts_at_80f(12.45, ten_warmer) - 12.45
    assert -6 * 0.0003 * 10 / 1.8 <= ours <= -6 * 0.0002 * 10 / 1.8
    assert batteries.PRINTED_VOLTS_PER_10F - ours == pytest.approx(0.032, abs=0.003)


@source("bat-04")
@pytest.mark.parametrize("row", rows("bat-04"), ids=lambda row: f"{row['T_C']} C")
def test_least_voltage_under_load(row):
    assert batteries.load_least(row["T_C"]) == pytest.approx(row["V_min"], abs=0.05)
    assert batteries.load_least(row["T_C"], 6) == pytest.approx(row["V_min"] / 2, abs=0.05)


@source("bat-05")
def test_what_the_cold_cranking_figure_means():
    (row,) = rows("bat-05")
    assert batteries.COLD_CRANKING_CELSIUS == row["T_C"]
    assert batteries.COLD_CRANKING_SECONDS == row["seconds"]
    assert batteries.COLD_CRANKING_VOLTS == row["V_min"]
    assert batteries.load_least(row["T_C"]) > row["V_min"]  # half the current, so more must be left


@source("bat-06")
def test_stronger_acid_counts_as_full_and_below_the_armys_limit_is_to_be_charged():
    (row,) = rows("bat-06")
    full = batteries.gravity_at_80f(row["full_SG_min"], celsius(row["at_F"]))
    assert full == pytest.approx(row["full_SG_min"], abs=0.005)
    assert batteries.charge_by_gravity(full) == 100
    low = batteries.gravity_at_80f(row["charge_below_SG"], celsius(row["at_F"]))
    assert 75 < batteries.charge_by_gravity(low) < 100
    batteries.gravity_at_80f(1.25, celsius(row["max_charge_temp_F"]))
    with pytest.raises(OutOfRange, match="stop charging"):
        batteries.gravity_at_80f(1.25, celsius(row["max_charge_temp_F"] + 3))


@source("chg-01")
def test_charging_voltage():
    motorcycle, _, scooter = rows("chg-01")
    for volts in (*motorcycle["V"], *scooter["V"], 14.0 - 0.5, 14.7 + 0.5):
        assert batteries.charging(volts) == "right"
        assert batteries.charging(volts / 2, 6) == "right"
    assert batteries.charging(13.4) == "low"
    assert batteries.charging(15.6) == "high"
