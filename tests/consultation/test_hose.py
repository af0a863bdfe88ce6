"""A compression reading on a hose gauge, put right by the bike's own sheet.

By hand, polytropic with n 1.3: chamber Vc = V / (CR - 1), seen = (V + Vc + Va) / (Vc + Va), factor (CR^n - 1) /
(seen^n - 1). An owner's 49 cc engine, ratio 8.8, whose gauge held 2.86 cc up to its valve, read 90 psi and ran well:
Vc 6.282, seen 6.360, factor 15.898 / 10.079 = 1.577, so 142 psi; n 1.15 to 1.25 give 137 to 140. At 6000 ft there are
0.8014 of the pressure at sea level (International Standard Atmosphere).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.consultation import Shop, begin
from diagnose.consultation.hose import Hose, hose_on, share_error, supposed, true_share
from diagnose.consultation.judgement import judge
from diagnose.consultation.sheet import from_manual
from diagnose.consultation.working import body_of, should_be, working
from diagnose.problems import DiagnoseError

PSI = 6.894757
OWNERS = Hose(2.86, 49.0, 8.8, "4")
SHEET = {"capacity": "49 cc", "compression_ratio": "8.8"}


def a_job(shipped, shop, sheet, strokes="4", **bike):
    job = begin(shipped, {"bike": {"strokes": strokes, **bike}, "complaint": "hard_to_start", "shop": shop})
    for item, text in sheet.items():
        job = job.add(from_manual(shipped.quantities[item], text, "manual"))
    return job.state


def test_an_owners_engine_by_hand():
    assert 90 * true_share(OWNERS) == pytest.approx(142.0, abs=0.1)
    assert 137 <= 90 * true_share(OWNERS) <= 142.5


def test_how_far_the_sum_may_be_out():
    """n 1.20 and 1.35 give 1.5345 and 1.5995, half of that 0.0325; 15 % less volume 1.4886, 0.0888; of 1.5774."""
    assert share_error(OWNERS) == pytest.approx((0.0325**2 + 0.0888**2) ** 0.5 / 1.5774, abs=2e-4)
    assert share_error(Hose(0.0, 49.0, 8.8, "4")) == share_error(Hose(None, 49.0, 8.8, "4")) == 0.0


def test_a_two_stroke_counts_from_where_its_port_shuts():
    """63 % of 49 cc are 30.87, chamber 5.613 at 6.5 to 1; with 3 ml seen 4.584, factor 10.397 / 6.2385 = 1.6666."""
    two = Hose(3.0, 49.0, 6.5, "2")
    assert true_share(two) == pytest.approx(1.6666, abs=3e-4)
    # port 0.30: 34.3 cc, chamber 6.236, seen 4.714, 10.397 / 6.5057 = 1.5982, so 0.0684 more than by n and volume
    assert share_error(two) > 0.0684 / 1.6666


@given(st.floats(0.1, 2.8), st.floats(0.1, 2.8), st.floats(45, 500), st.floats(6, 11), st.sampled_from(["2", "4"]))
def test_more_hose_hides_more_and_a_larger_cylinder_less(one, other, swept, ratio, strokes):
    less, more = sorted((one, other))
    shares = [true_share(Hose(ml, swept, ratio, strokes)) for ml in (0.0, less, more)]
    assert 1.0 == shares[0] <= shares[1] <= shares[2]
    assert true_share(Hose(more, swept * 2, ratio, strokes)) < shares[2]
    assert 0 < share_error(Hose(more, swept, ratio, strokes)) < 0.5


def test_the_line_of_working(shipped):
    state = a_job(shipped, {"elevation_m": 0.0, "gauge_ml": 2.86}, SHEET)
    judged = judge(shipped, state, "comp_dry", "90 psi")
    assert (
        working(judged)
        == "90 psi on a gauge of 2.86 ml is 142 psi on a true gauge; general range 100 psi or more; within"
    )
    assert (judged.outcome, judged.weights, judged.if_at) == ("ok", {}, {})
    # gauge 5 %, sum 5.99 %: 7.80 % of 142
    assert judged.error / PSI == pytest.approx(142 * 0.0780, abs=0.1)


def test_height_and_gauge_are_both_reckoned_in(shipped):
    """70 psi x 1.5774 / 0.8014 = 137.8."""
    state = a_job(shipped, {"elevation_m": 1828.8}, SHEET)
    judged = judge(shipped, state, "comp_dry", "70 psi with 2.86 ml")
    assert working(judged).startswith("70 psi here at 6000 ft on a gauge of 2.86 ml is 138 psi at sea level; general")
    said = body_of(judged)["reading"]
    assert said["corrected"]["by"] == ["sea_level_pressure", "gauge_and_hose"]
    assert (said["altitude_m"], said["gauge_ml"]) == (1828.8, 2.86)


def test_a_step_says_what_this_gauge_shows(shipped):
    """690 kPa are 100.08 psi; / 1.5774 = 437, at 6000 ft x 0.8014 = 351, both told to two figures."""
    test = shipped.tests["comp_dry"]
    here = should_be(shipped, a_job(shipped, {"elevation_m": 0.0, "gauge_ml": 2.86}, SHEET), test)
    assert (
        here == "690 kPa or more at sea level (100 psi, 6.9 bar; general range; on a gauge of 2.86 ml 440 kPa or more)"
    )
    high = should_be(shipped, a_job(shipped, {"elevation_m": 1828.8, "gauge_ml": 2.86}, SHEET), test)
    assert high.endswith("here at 1829 m on a gauge of 2.86 ml 350 kPa or more)")
    too_long = should_be(shipped, a_job(shipped, {"elevation_m": 0.0, "gauge_ml": 9.0}, SHEET), test)
    assert too_long.endswith("not with this gauge: it holds more than the chamber)")


@pytest.mark.parametrize(
    ("shop", "sheet", "says"),
    [
        # 70 cc at 9 to 1, 3 ml: chamber 8.75, seen 6.957, factor 16.40 / 11.44 = 1.433; 90 x 1.433 = 129
        ({}, {}, "volume of gauge and hose not told; with 3 ml on a 70 cc cylinder this would be 129 psi"),
        # 49 cc at 8.8, 3 ml: seen 6.279, factor 15.898 / 9.896 = 1.6065; x 90 = 145
        ({}, SHEET, "volume of gauge and hose not told; with 3 ml on a 49 cc cylinder this would be 145 psi"),
        # 70 cc at 9 to 1, 2.86 ml: seen 7.029, factor 16.40 / 11.61 = 1.4126; x 90 = 127
        (
            {"gauge_ml": 2.86},
            {},
            "no capacity and compression ratio on the sheet; "
            "with 2.86 ml on a 70 cc cylinder of 9 to 1 this would be 127 psi",
        ),
        # 49 cc at 9 to 1, 2.86 ml: chamber 6.125, seen 6.453, factor 16.40 / 10.29 = 1.594; x 90 = 143
        (
            {"gauge_ml": 2.86},
            {"capacity": "49 cc"},
            "no compression ratio on the sheet; with 2.86 ml on a 49 cc cylinder of 9 to 1 this would be 143 psi",
        ),
    ],
)
def test_what_is_not_told_is_not_reckoned_but_named(shipped, shop, sheet, says):
    judged = judge(shipped, a_job(shipped, {"elevation_m": 0.0} | shop, sheet), "comp_dry", "90 psi")
    assert working(judged) == f"90 psi; general range 100 psi or more; low; {says}"
    assert judged.outcome == "low"


@pytest.mark.parametrize(
    ("shop", "sheet", "text"),
    [
        ({"gauge_ml": 0.0}, {}, "90 psi"),
        ({}, {}, "90 psi with 0 ml"),
        ({}, {"capacity": "125 cc"}, "90 psi"),
        ({"gauge_ml": 3.0}, {"capacity": "125 cc"}, "90 psi"),
        ({}, SHEET, "140 psi"),
        ({}, SHEET, "45 psi"),
    ],
)
def test_nothing_is_said_where_it_cannot_matter(shipped, shop, sheet, text):
    """The valve at the plug end, a cylinder that is not small, a figure that is enough or too little anyhow."""
    judged = judge(shipped, a_job(shipped, {"elevation_m": 0.0} | shop, sheet), "comp_dry", text)
    assert judged.if_at == {}
    assert judged.corrected == judged.value


def test_a_twin_shares_its_capacity_and_bore_and_stroke_stand_in(shipped):
    """39 mm x 41.4 mm: 3.1416 / 4 x 15.21 x 4.14 = 49.46 cc."""
    twin = a_job(shipped, {}, {"capacity": "125 cc"}, cylinders="2")
    assert hose_on(shipped, twin, 3.0) == Hose(3.0, 62.5, None, "4")
    bored = a_job(shipped, {}, {"bore": "39 mm", "stroke": "41.4 mm"}, "2")
    assert hose_on(shipped, bored, None).swept_cc == pytest.approx(49.46, abs=0.01)
    assert hose_on(shipped, a_job(shipped, {}, {"capacity": "48 to 50 cc"}), None).swept_cc == 49.0
    assert hose_on(shipped, a_job(shipped, {}, {"compression_ratio": "16"}), None).ratio is None, "no sum for it"


def test_a_gauge_that_holds_more_than_the_chamber_is_refused(shipped):
    state = a_job(shipped, {"elevation_m": 0.0, "gauge_ml": 7.0}, SHEET)
    with pytest.raises(DiagnoseError, match="use one with its valve at the plug end"):
        judge(shipped, state, "comp_dry", "90 psi")


def test_the_gauge_used_last_is_the_shops(shipped):
    job = begin(shipped, {"bike": {"strokes": "4"}, "complaint": "hard_to_start", "shop": {"gauge_ml": 2.86}})
    assert job.state.shop == Shop(gauge_ml=2.86)
    from diagnose.events import Event

    after = job.add(Event("observe", body_of(judge(shipped, job.state, "comp_dry", "150 psi with 0 ml"))))
    assert after.state.shop.gauge_ml == 0.0


def test_a_small_cylinder_is_tried_with_what_fits_it():
    """25 cc at 11 to 1 have a chamber of 2.5 cc, less than the 3 ml that are tried elsewhere."""
    assert supposed(Hose(None, 25.0, 11.0, "4")).volume_ml == pytest.approx(2.5)
    assert supposed(Hose()) == Hose(3.0, 70.0, 9.0, "")
    assert supposed(Hose(strokes="2")).ratio == 6.5
    assert supposed(OWNERS) is None
