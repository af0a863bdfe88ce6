"""Windings, plugs, points, spark gaps: printed figures against the sums and the book's ranges."""

from __future__ import annotations

import pytest

from diagnose.trade import OutOfRange, air, coils, points, sparks
from tests.published.facts import FOOT, lands, rows, source

CDI = {"ignition": "cdi_self", "cylinders": "1", "strokes": "4"}
TRANSISTOR = {"ignition": "transistor", "cylinders": "1", "strokes": "4"}
BATTERY_POINTS = {"ignition": "points_battery", "cylinders": "1", "strokes": "4"}
MAGNETO_POINTS = {"ignition": "points_magneto", "cylinders": "1", "strokes": "2"}


def ends(figures, unit):
    """A printed band, or one figure, as readings."""
    return [f"{figure} {unit}" for figure in (figures if isinstance(figures, list) else [figures])]


@source("ign-01")
@pytest.mark.parametrize("row", rows("ign-01"), ids=lambda row: f"{row['T_C']} C")
def test_copper_by_temperature(row):
    assert coils.factor(row["T_C"]) == pytest.approx(row["factor"], abs=0.001)
    assert coils.factor(row["T_C"]) == pytest.approx((234.5 + row["T_C"]) / 254.5, abs=0.001)


@source("ign-02")
@pytest.mark.parametrize("row", rows("ign-02"), ids=lambda row: f"{row['T_C']} C")
def test_published_factors_back_to_twenty_degrees(row):
    """The table rounds the coefficient up to 0.004, so it lies up to 0.4 per cent off."""
    assert coils.ohms_at_20(1, row["T_C"]) == pytest.approx(row["Kt_published"], rel=0.0045)
    assert coils.ohms_at_20(1, row["T_C"]) == pytest.approx(row["Kt_from_0_00393"], abs=0.0006)
    assert row["Kt_published"] == pytest.approx(1 / (1 + 0.004 * (row["T_C"] - 20)), abs=0.0006)


@source("ign-03")
def test_the_reference_of_copper_is_at_twenty_degrees():
    (row,) = rows("ign-03")
    assert row["ohm_mm2_per_m"] * row["conductivity_MS_per_m"] == pytest.approx(1, abs=1e-4)
    assert coils.ohms_at_20(row["ohm_mm2_per_m"], row["T_C"]) == row["ohm_mm2_per_m"]


@source("ign-04")
def test_printed_windings_pass_in_the_book_by_kind_of_ignition(shipped):
    motocross, utility, scooter, points_coil, electronic, _ = rows("ign-04")
    for row in (motocross, utility):
        assert lands(shipped, CDI, "ohm_coil_primary", *ends(row["primary_ohm"], "ohm")) == {"ok"}
        assert lands(shipped, CDI, "ohm_pickup", *ends(row["pickup_ohm"], "ohm")) == {"ok"}
    secondary = [*ends(motocross["secondary_kohm_cap_to_primary"], "kohm"), *ends(utility["secondary_kohm"], "kohm")]
    assert lands(shipped, CDI, "ohm_coil_secondary", *secondary) == {"ok"}
    assert lands(shipped, CDI, "ohm_source", *ends(motocross["exciter_ohm"], "ohm")) == {"ok"}
    for row in (scooter, electronic):
        assert lands(shipped, TRANSISTOR, "ohm_coil_primary", *ends(row["primary_ohm"], "ohm")) == {"ok"}
    assert lands(shipped, TRANSISTOR, "ohm_coil_secondary", *ends(scooter["secondary_kohm_lead"], "kohm")) == {"ok"}
    assert lands(shipped, TRANSISTOR, "ohm_cap", *ends(scooter["plug_cap_kohm"], "kohm")) == {"ok"}
    assert lands(shipped, BATTERY_POINTS, "ohm_coil_primary", *ends(points_coil["primary_ohm"], "ohm")) == {"ok"}


@source("ign-04")
def test_least_peak_volts_pass_in_the_book(shipped):
    least = rows("ign-04")[0]["min_peak_V"]
    assert lands(shipped, CDI, "peak_pickup", f"{least['pickup']} V") == {"ok"}
    assert lands(shipped, CDI, "peak_source", f"{least['exciter']} V") == {"ok"}
    assert lands(shipped, CDI, "peak_primary", f"{least['primary']} V") == {"ok"}


@source("ign-04")
def test_a_primary_means_nothing_before_the_ignition_is_known(shipped):
    points_coil, cdi_coil = rows("ign-04")[3]["primary_ohm"], rows("ign-04")[0]["primary_ohm"]
    assert lands(shipped, CDI, "ohm_coil_primary", *ends(points_coil, "ohm")) == {"too_high"}
    assert lands(shipped, BATTERY_POINTS, "ohm_coil_primary", *ends(cdi_coil, "ohm")) == {"too_low"}


@source("ign-05")
def test_a_band_of_fifteen_per_cent_is_thirty_eight_degrees_of_copper():
    primary = rows("ign-05")[0]
    assert primary["nominal_primary_ohm"] * 1.15 == pytest.approx(primary["high"], abs=0.005)
    assert primary["tolerance_pct"] / 100 / 0.00393 == pytest.approx(38, abs=0.3)
    assert coils.ohms_at(primary["nominal_primary_ohm"], 20 + 38.17) == pytest.approx(primary["high"], abs=0.001)
    assert coils.ohms_at_20(primary["high"], 58.17) == pytest.approx(primary["nominal_primary_ohm"], abs=0.001)


@source("ign-06")
def test_printed_plug_gaps_pass_in_the_book(shipped):
    four_points, cross, enduro, moped, mower, military, _ = rows("ign-06")
    assert lands(shipped, BATTERY_POINTS, "gap_plug", *ends(four_points["gap_mm"], "mm")) == {"right"}
    assert lands(shipped, CDI, "gap_plug", *ends(cross["gap_mm"], "mm"), *ends(enduro["gap_mm"], "mm")) == {"right"}
    assert lands(shipped, MAGNETO_POINTS, "gap_plug", *ends(moped["gap_mm"], "mm")) == {"right"}
    assert lands(shipped, BATTERY_POINTS, "gap_plug", *ends(military["gap_in"], "in")) == {"right"}
    assert lands(shipped, CDI, "gap_plug", *ends(mower["gap_mm"], "mm")) == {"right"}


@source("gap-01")
@pytest.mark.parametrize("row", rows("gap-01"), ids=lambda row: f"{row['kV']} kV")
def test_voltage_by_gap_between_needles_and_balls(row):
    at_table = {"pressure": 101325, "celsius": 25}
    assert sparks.kilovolts(row["needle_mm"], "needles", **at_table) == pytest.approx(row["kV"], rel=1e-6)
    assert sparks.kilovolts(row["sphere25_mm"], "spheres", **at_table) == pytest.approx(row["kV"], rel=1e-6)


@source("gap-01")
@pytest.mark.parametrize(
    ("gap", "electrodes", "kilovolts"), [(6, "needles", 7.1), (8, "needles", 9.4), (6, "spheres", 20.6)]
)
def test_between_the_rows(gap, electrodes, kilovolts):
    """The entry's own interpolation; the shape of the electrodes changes the answer threefold."""
    assert sparks.kilovolts(gap, electrodes, 101325, 25) == pytest.approx(kilovolts, abs=0.06)


@source("gap-02")
@pytest.mark.parametrize("row", rows("gap-02")[::2], ids=lambda row: f"{row['sphere_cm']} cm balls")
def test_larger_balls_agree_at_half_a_centimetre(row):
    """Another table, other balls: at 5 mm the field is nearly even, and 25 mm balls lie within five per cent."""
    assert sparks.kilovolts(10 * row["gap_cm"], "spheres") == pytest.approx(row["kV_peak"], rel=0.06)


@source("gap-03")
@pytest.mark.parametrize("row", rows("gap-03"))
def test_density_of_the_air_in_a_gap(row):
    pressure = row.get("p_Pa") or air.standard_pressure(row["altitude_ft"] * FOOT)
    assert sparks.density_factor(pressure, row["T_C"]) == pytest.approx(row["d"], abs=0.002)


@source("gap-03")
def test_a_fixed_gap_is_a_fifth_easier_at_five_thousand_feet():
    thin = sparks.density_factor(air.standard_pressure(5000 * FOOT), 20)
    assert 1 / thin == pytest.approx(1.2, abs=0.01)
    assert sparks.as_at_sea_level(12, thin) == pytest.approx(10, abs=0.05)


@source("gap-04", "gap-02")
@pytest.mark.parametrize("row", rows("gap-04"), ids=lambda row: f"{row['gap_cm']} cm")
def test_flat_faces(row):
    ours = sparks.kilovolts(10 * row["gap_cm"], "flat")
    assert ours == pytest.approx(row["kV"], rel=0.05)
    balls = [other["kV_peak"] for other in rows("gap-02") if other["gap_cm"] == row["gap_cm"]]
    assert all(ours == pytest.approx(kilovolts, rel=0.06) for kilovolts in balls)


@source("gap-05")
@pytest.mark.parametrize("row", rows("gap-05"), ids=lambda row: row["engine"])
def test_the_least_spark_that_makers_ask_for(shipped, row):
    assert row["mm_min"] == sparks.MAKERS_LEAST_MM
    assert 9 <= sparks.kilovolts(row["mm_min"], "needles", 101325, 25) <= 10
    assert lands(shipped, CDI, "spark_at_gap", f"{row['mm_min']} mm") == {"good"}


@source("pts-01")
def test_printed_points_gaps_pass_in_the_book(shipped):
    single, moped, twin = rows("pts-01")[:3]
    for row in (single, moped, twin):
        assert lands(shipped, MAGNETO_POINTS, "gap_points", *ends(row["gap_mm"], "mm")) == {"right"}
    assert lands(shipped, MAGNETO_POINTS, "gap_points", *ends(single["gap_mm_nominal"], "mm")) == {"right"}


@source("pts-02")
@pytest.mark.parametrize("row", rows("pts-02"), ids=lambda row: f"{row['closed_deg']} degrees of {row['n']}")
def test_dwell(row):
    assert points.dwell_share(row["closed_deg"], row["n"]) == pytest.approx(row["fraction"], abs=0.003)
    assert points.dwell_degrees(row["fraction"], row["n"]) == pytest.approx(row["closed_deg"], abs=0.3)
    if "closed_ms" in row:
        assert points.dwell_from_times(row["closed_ms"], row["cycle_ms"]) == pytest.approx(row["fraction"], abs=0.003)


@source("pts-02")
def test_a_single_with_its_own_cam_closed_half_the_turn():
    assert points.dwell_degrees(0.5, 1) == 180
    with pytest.raises(OutOfRange):
        points.dwell_share(200, 2)


@pytest.mark.source("common practice: a degree for 0.02 to 0.03 mm; a wider gap is more advance")
def test_a_wider_gap_is_earlier():
    assert 1 / 0.03 * 0.1 <= points.earlier_degrees(0.3, 0.4) <= 1 / 0.02 * 0.1
    assert points.earlier_degrees(0.4, 0.3) < 0
