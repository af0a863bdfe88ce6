"""The standard atmosphere: printed tables, its constants, a second implementation, and a rule of thumb that strays."""

from __future__ import annotations

from math import log

import pytest

from diagnose.trade import air
from tests.published.facts import FOOT, INCH_OF_MERCURY, PSI, rows, source


@source("atm-01")
@pytest.mark.parametrize("row", rows("atm-01"), ids=lambda row: f"{row['altitude_m']} m")
def test_temperature_pressure_and_density_by_metres(row):
    here = air.air_at(row["altitude_m"])
    assert here.pressure == pytest.approx(row["p_Pa"], rel=0.0005)
    assert here.density == pytest.approx(row["rho_kg_m3"], rel=0.0005)
    assert here.celsius + 273.15 == pytest.approx(row["T_K"], abs=0.01)


@source("atm-02")
@pytest.mark.parametrize("row", rows("atm-02"), ids=lambda row: f"{row['altitude_ft']} ft")
def test_ratios_by_feet(row):
    here = air.air_at(row["altitude_ft"] * FOOT)
    assert here.delta == pytest.approx(row["delta"], rel=0.0005)
    assert here.sigma == pytest.approx(row["sigma"], rel=0.0005)
    assert here.pressure / PSI == pytest.approx(row["p_psi"], rel=0.0005)
    assert here.pressure / INCH_OF_MERCURY == pytest.approx(row["p_inHg"], rel=0.0005)
    assert here.celsius == pytest.approx(row["T_C"], abs=0.02)


@source("atm-03")
@pytest.mark.parametrize("row", rows("atm-03"), ids=lambda row: f"{row['altitude_ft']} ft")
def test_a_printed_table(row):
    assert air.standard_pressure(row["altitude_ft"] * FOOT) / PSI == pytest.approx(row["p_psia"], rel=0.001)


@source("atm-04")
def test_the_constants_and_the_law_are_those_of_the_standard():
    printed = {row["name"]: row["value"] for row in rows("atm-04")}
    assert air.SEA_LEVEL_CELSIUS + 273.15 == printed["T0_K"]
    assert air.SEA_LEVEL_PA == printed["p0_Pa"]
    low, high = air.standard_celsius(0), air.standard_celsius(5000)
    geopotential_km = 6356.766 * 5 / (6356.766 + 5)
    assert (high - low) / geopotential_km == pytest.approx(printed["lapse_K_per_km"], rel=1e-9)
    power = log(printed["p_at_11km_Pa"] / printed["p0_Pa"]) / log(printed["T_at_11km_K"] / printed["T0_K"])
    ours = log(air.standard_pressure(5000) / air.SEA_LEVEL_PA) / log((high + 273.15) / printed["T0_K"])
    assert ours == pytest.approx(power, rel=1e-5)
    assert 0.0065 * ours * printed["R_universal_J_mol_K"] / 0.0289644 == pytest.approx(printed["g0_m_s2"], rel=1e-5)


@source("atm-05")
@pytest.mark.parametrize("row", rows("atm-05"), ids=lambda row: f"{row['altitude_ft']} ft")
def test_the_rule_of_an_inch_per_thousand_feet_strays_as_far_as_is_said(row):
    exact = air.standard_pressure(row["altitude_ft"] * FOOT) / INCH_OF_MERCURY
    assert exact == pytest.approx(row["exact_inHg"], rel=0.0005)
    assert row["rule_inHg"] / exact - 1 == pytest.approx(row["rule_error"], abs=0.0006)


@pytest.mark.source("fluids, ATMOSPHERE_1976")
@pytest.mark.parametrize("metres", range(-500, 6001, 250))
def test_a_second_implementation_agrees(metres):
    pytest.importorskip("fluids")
    from fluids.atmosphere import ATMOSPHERE_1976

    other, here = ATMOSPHERE_1976(metres), air.air_at(metres)
    assert here.pressure == pytest.approx(other.P, rel=1e-5)
    assert here.density == pytest.approx(other.rho, rel=1e-5)
    assert here.celsius + 273.15 == pytest.approx(other.T, rel=1e-6)


@pytest.mark.source("atm-02's pressure ratio; a workshop table of 0.862 for 5000 ft, which is the density's")
def test_a_cranking_pressure_goes_with_the_pressure_and_not_with_the_density():
    metres = 5000 * FOOT
    assert air.reading_here(150, metres) / 150 == pytest.approx(0.832, abs=0.0005)
    assert air.air_at(metres).sigma == pytest.approx(0.862, abs=0.0005)
    assert 95 / air.sea_level_reading(95, 6000 * FOOT) == pytest.approx(0.8014, abs=0.0005)
