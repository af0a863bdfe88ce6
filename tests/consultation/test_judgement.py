"""Readings corrected and judged.

Pressure ratios: 0.8014 at 6000 ft, 79501.4 Pa of 101325 at 2000 m (International Standard Atmosphere). Copper: 0.00393
per degree from 20 C (IEC 60028). Spark gap: its voltage goes by p / 760 mmHg x 293 / (273 + T) (textbook). Shares of
the normal distribution: 0.6915 below half a standard deviation, 0.8413 below one (any table).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.consultation.corrections import Where, all_told, elsewhere, factor, own_error
from diagnose.consultation.hose import Hose
from diagnose.consultation.judgement import judge, weights_of
from diagnose.consultation.limits import Own, bands, good, judging, limit_for, outcome_of
from diagnose.consultation.state import Shop, State
from diagnose.consultation.working import body_of, should_be, verdict, working
from diagnose.model import Limit, Outcome, Reading, Test
from diagnose.problems import DiagnoseError, JobError, Place

PSI = 6.894757
FOUR = Limit(applies={"strokes": frozenset({"4"})}, below=(("none", 200.0), ("low", 690.0)), otherwise="ok", basis=())
TWO = Limit(applies={"strokes": frozenset({"2"})}, below=(("none", 200.0), ("low", 630.0)), otherwise="ok", basis=())
GAP = Limit(applies={}, below=(("tight", 0.3), ("right", 0.4)), otherwise="wide", basis=())
MANUAL = Own(120 * PSI, 150 * PSI, "workshop manual 1974, page 42", "psi")


def reading(unit: str, *limits: Limit, **more) -> Reading:
    return Reading(quantity="", unit=unit, ask="Reading", limits=limits, **more)


PRESSURE = reading("kPa", FOUR, TWO, lower="low", error_share=0.05, possible=(0, 3000), correct=("sea_level_pressure",))
POINTS = reading("mm", GAP, lower="tight", upper="right", error=0.02, possible=(0, 3))
COIL = reading(
    "ohm",
    Limit(applies={}, below=(("low", 4.0), ("right", 5.0)), otherwise="high", basis=()),
    error=0.1,
    correct=("copper_20c",),
)
SPARK = reading(
    "mm", Limit(applies={}, below=(("weak", 6.0),), otherwise="good", basis=()), error=0.5, correct=("spark_density",)
)


def a_test(taken: Reading, sound: str) -> Test:
    names = [*(name for name, _ in taken.limits[0].below), taken.limits[0].otherwise]
    outcomes = tuple(Outcome(id=name, name=name.title(), default=name == sound) for name in names)
    return Test(
        id="t", name="The test", basis=(), place=Place("here"), ask="", why="", kind="measure", outcomes=outcomes,
        reading=taken, system="s", symptom=False,
    )  # fmt: skip


class Book:
    """As much of a knowledge as a reading is judged with."""

    def __init__(self, test: Test) -> None:
        self.tests = {"t": test}
        self.quantities: dict[str, object] = {}


COMPRESSION, POINTS_GAP = Book(a_test(PRESSURE, "ok")), Book(a_test(POINTS, "right"))
COIL_OHMS, SPARK_GAP = Book(a_test(COIL, "right")), Book(a_test(SPARK, "good"))


def bike(metres: float | None = None, strokes: str = "4") -> State:
    return State(facts={"strokes": strokes}, shop=Shop(elevation_m=metres))


def line(book: Book, text: str, metres: float | None = None, own: Own | None = None) -> str:
    return working(judge(book, bike(metres), "t", text, own))


@pytest.mark.parametrize("where", [("95 psi", 1828.8), ("95 psi at 6000 ft", None), ("95 psi at 6000 ft", 0.0)])
def test_compression_at_six_thousand_feet(where):
    """95 / 0.8014 = 118.5 psi: written with the reading it goes before the shop's height."""
    text, shop = where
    judged = judge(COMPRESSION, bike(shop), "t", text, MANUAL)
    assert judged.corrected / PSI == pytest.approx(95 / 0.8014, rel=2e-4)
    assert working(judged) == "95 psi here at 6000 ft is 119 psi at sea level; manual 120 to 150 psi; just low"
    assert judged.outcome == "low"
    # out by 5 per cent of the gauge and 3 of the sum: 5.83 % = 6.91 psi, so 1.46 psi under the limit are 0.4225 sd
    assert judged.error / PSI == pytest.approx(118.54 * 0.0583, rel=1e-3)
    assert judged.weights == pytest.approx({"low": 0.6637, "ok": 0.3363}, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "metres", "says"),
    [
        ("95 psi", 0.0, "95 psi; manual 120 to 150 psi; low"),
        ("130 psi", 0.0, "130 psi; manual 120 to 150 psi; within"),
        ("122 psi", 0.0, "122 psi; manual 120 to 150 psi; just within"),
        ("152 psi", 0.0, "152 psi; manual 120 to 150 psi; just high, not counted against it"),
        ("200 psi", 0.0, "200 psi; manual 120 to 150 psi; high, not counted against it"),
        ("6,6 bar", 2000.0, "6.6 bar here at 2000 m is 8.41 bar at sea level; manual 8.27 to 10.34 bar; just within"),
    ],
)
def test_the_line_of_working(text, metres, says):
    assert line(COMPRESSION, text, metres, MANUAL) == says


def test_without_a_sheet_the_general_range_counts_and_says_so():
    assert line(COMPRESSION, "7,5 bar", 0.0) == "7.5 bar; general range 6.9 bar or more; within"
    assert line(POINTS_GAP, "0,2 mm", 0.0) == "0.2 mm; general range 0.3 to 0.4 mm; low"
    assert line(POINTS_GAP, ".017 in", 0.0) == "0.017 in; general range 0.012 to 0.016 in; high"  # / 25.4


def test_a_height_that_nobody_told_is_named_where_it_could_matter():
    """7 bar at 2000 m are 7 / 0.7846 = 8.92; 110 psi at 3000 ft / 0.8962 = 122.7; 400 psi are enough at any height."""
    says = line(COMPRESSION, "7 bar", None, MANUAL)
    assert says.endswith("low; height above sea level not set; at 2000 m this would count as 8.92 bar")
    feet = line(COMPRESSION, "110 psi", None, MANUAL)
    assert feet.endswith("height above sea level not set; at 3000 ft this would count as 123 psi")
    assert line(COMPRESSION, "400 psi", None, MANUAL) == "400 psi; manual 120 to 150 psi; high, not counted against it"
    assert list(judge(COMPRESSION, bike(None), "t", "7 bar", MANUAL).if_at) == ["height"]
    assert list(judge(COMPRESSION, bike(0.0), "t", "7 bar", MANUAL).if_at) == []
    assert list(judge(COMPRESSION, bike(None), "t", "20 psi", MANUAL).if_at) == []


def test_a_range_stays_in_its_own_ohms_and_a_trifling_height_is_not_told():
    """In kohm it would be 0.004 to 0.005; the air at 10 m is 0.12 per cent thinner than at the sea."""
    assert line(COIL_OHMS, "5k6 at 20 C") == "5.6 kohm; general range 4 to 5 ohm; high"
    assert line(COMPRESSION, "90 psi at 10 m") == "90 psi; general range 100 psi or more; low"


def test_copper_goes_by_its_temperature():
    """4.2 ohm at 5 C: 4.2 / (1 - 15 x 0.00393) = 4.463; 4.2 at 68 F is itself."""
    assert line(COIL_OHMS, "4,2 ohm at 5 C") == "4.2 ohm at 5 C is 4.46 ohm at 20 C; general range 4 to 5 ohm; within"
    assert line(COIL_OHMS, "4.2 ohm at 68F") == "4.2 ohm; general range 4 to 5 ohm; within"
    assert judge(COIL_OHMS, bike(), "t", "4,2 ohm at 5 C").corrected == pytest.approx(4.463, abs=5e-4)


def test_a_temperature_is_missed_only_where_it_could_matter():
    """3.9 ohm are 4.14 at 5 C; 4.5 ohm lie between 4.25 and 4.78 from 5 to 35 C, so it is right on any day."""
    assert list(judge(COIL_OHMS, bike(), "t", "3,9 ohm").if_at) == ["temperature"]
    assert line(COIL_OHMS, "3,9 ohm").endswith("temperature not told; at 5 C this would count as 4.14 ohm")
    assert list(judge(COIL_OHMS, bike(), "t", "4.5 ohm").if_at) == []
    assert list(judge(COIL_OHMS, bike(), "t", "40 ohm").if_at) == []
    assert list(judge(COIL_OHMS, bike(), "t", "3,9 ohm at 20 C").if_at) == []


def test_a_spark_jumps_further_in_thin_air():
    """7 mm at 2000 m: 7 x 79501.4 / 101325 = 5.49; at 35 C x 293 / 308 = 5.22."""
    assert line(SPARK_GAP, "7 mm", 2000.0).startswith("7 mm here at 2000 m is 5.49 mm at sea level; general range 6 mm")
    warm = judge(SPARK_GAP, bike(2000.0), "t", "7 mm at 35 C")
    assert working(warm).startswith("7 mm here at 2000 m and 35 C is 5.22 mm at sea level")
    assert (warm.outcome, warm.weights) == ("weak", {})
    assert judge(SPARK_GAP, bike(0.0), "t", "7 mm").outcome == "good"


@pytest.mark.parametrize(
    ("x", "error", "weights"),
    [
        (100.0, 4.0, {"low": 0.5, "ok": 0.5}),
        (99.0, 4.0, {"low": 0.6915, "ok": 0.3085}),
        (102.0, 4.0, {"low": 0.1587, "ok": 0.8413}),
        (104.0, 4.0, {"low": 0.0228, "ok": 0.9772}),
        (104.1, 4.0, {}),
        (90.0, 4.0, {}),
        (100.0, 0.0, {}),
    ],
)
def test_near_a_limit_an_outcome_is_as_sure_as_the_instrument(x, error, weights):
    limit = Limit(applies={}, below=(("low", 100.0),), otherwise="ok", basis=())
    assert weights_of(limit, x, error) == pytest.approx(weights, abs=5e-5)


def test_what_cannot_be_at_all_takes_no_share():
    """0.1 out of 0 or more, limit 0.05, sd 0.1: P(0 to 0.05) = 0.3085 - 0.1587, P(over) = 0.6915, of 0.8413."""
    limit = Limit(applies={}, below=(("low", 0.05),), otherwise="ok", basis=())
    right = {"low": 0.1498 / 0.8413, "ok": 0.6915 / 0.8413}
    assert weights_of(limit, 0.1, 0.2, (0.0, 100.0)) == pytest.approx(right, abs=2e-4)


steps = st.floats(1.0, 1000.0)


@given(steps, steps, steps, st.floats(0.0, 3000.0), st.floats(0.1, 500.0))
def test_weights_are_shares_and_fall_with_the_distance(first, second, third, x, error):
    below = (("a", first), ("b", first + second), ("c", first + second + third))
    limit = Limit(applies={}, below=below, otherwise="d", basis=())
    weights, higher = weights_of(limit, x, error), weights_of(limit, x + error / 4, error)
    near = any(abs(x - end) <= error for _, end in below)
    assert bool(weights) == near or not weights
    if weights:
        assert sum(weights.values()) == pytest.approx(1.0, abs=5e-3)
    if weights and higher:
        for k in (1, 2, 3):
            lower = "abcd"[:k]
            assert sum(higher.get(o, 0) for o in lower) <= sum(weights.get(o, 0) for o in lower) + 5e-3


@given(st.floats(-450, 6000), st.floats(-450, 6000))
def test_the_higher_the_more_is_added(one, other):
    low, high = sorted((one, other))
    assert factor("sea_level_pressure", Where(low)) <= factor("sea_level_pressure", Where(high))
    assert factor("spark_density", Where(low)) >= factor("spark_density", Where(high))
    assert 0 <= own_error("sea_level_pressure", Where(low)) <= 0.03


@given(st.floats(-40, 150), st.floats(-40, 150))
def test_the_warmer_the_less_copper_counts(one, other):
    cold, warm = sorted((one, other))
    assert factor("copper_20c", Where(None, cold)) >= factor("copper_20c", Where(None, warm))


def test_no_correction_needs_nothing():
    assert all_told((), Where()) == 1.0
    assert factor("gauge_and_hose", Where(hose=Hose(0.0))) == 1.0
    assert elsewhere("copper_20c", Where(None, 20.0), "mm") == ()
    assert factor("sea_level_pressure", Where(None, 20.0)) is None


def test_the_manuals_limits_take_the_place_of_the_general_ones():
    test = POINTS_GAP.tests["t"]
    by = judging(test, POINTS, {}, Own(0.25, 0.5, "p. 3"))
    assert [outcome_of(by.limit, x) for x in (0.24, 0.25, 0.5, 0.51)] == ["tight", "right", "right", "wide"]
    assert (by.low, by.high, by.label, by.source) == (0.25, 0.5, "manual", "p. 3")
    half = judging(test, POINTS, {}, Own(None, 0.35, "p. 3"))
    assert [outcome_of(half.limit, x) for x in (0.29, 0.34, 0.36)] == ["tight", "right", "wide"]
    assert (half.low, half.high, half.label) == (0.3, 0.35, "manual and general range")
    beyond = judging(test, POINTS, {}, Own(0.6, 0.8))
    assert [outcome_of(beyond.limit, x) for x in (0.5, 0.7, 0.9)] == ["tight", "right", "wide"]
    under = judging(a_test(PRESSURE, "ok"), PRESSURE, {"strokes": "4"}, Own(100.0, None))
    assert [outcome_of(under.limit, x) for x in (99, 101)] == ["none", "ok"]


def test_the_range_of_a_sound_bike_is_where_its_outcome_lies():
    assert good(a_test(PRESSURE, "ok"), FOUR) == (690.0, None)
    assert good(a_test(POINTS, "right"), GAP) == (0.3, 0.4)
    assert good(a_test(POINTS, "tight"), GAP) == (None, 0.3)
    assert good(a_test(POINTS, ""), GAP) == (None, None)
    assert [name for name, _, _ in bands(GAP)] == ["tight", "right", "wide"]


def test_a_step_says_what_it_should_show():
    test = COMPRESSION.tests["t"]
    assert should_be(COMPRESSION, bike(None), test) == (
        "690 kPa or more at sea level (100 psi, 6.9 bar; general range)"  # / 6.894757
    )
    said = should_be(COMPRESSION, bike(1828.8), test, MANUAL)
    assert said == (
        "120 to 150 psi at sea level (manual: workshop manual 1974, page 42; here at 6000 ft 96.2 to 120 psi)"
    )  # 120 x 0.8014 = 96.17, 150 x 0.8014 = 120.2
    assert should_be(POINTS_GAP, bike(1828.8), POINTS_GAP.tests["t"]) == "0.3 to 0.4 mm (general range)"
    assert should_be(COMPRESSION, State(facts={"strokes": "rotary"}), test) == ""


def test_raw_corrected_limit_and_source_go_on_record():
    body = body_of(judge(COMPRESSION, bike(1828.8), "t", "95 psi", MANUAL))
    said = body["reading"]
    assert (said["text"], said["value"], said["unit"], said["says"]) == ("95 psi", 95, "psi", "655 kPa")
    assert said["corrected"] == {"value": pytest.approx(817.3, abs=0.2), "unit": "kPa", "by": ["sea_level_pressure"]}
    assert said["range"] == {
        "low": pytest.approx(827.37, abs=0.01),
        "high": pytest.approx(1034.21, abs=0.01),
        "unit": "kPa",
        "of": "manual",
        "source": "workshop manual 1974, page 42",
    }
    assert said["altitude_m"] == 1828.8
    assert set(body["weights"]) == {"low", "ok"}


def test_what_was_said_to_be_about_so_much_may_be_out_by_a_tenth():
    """690 kPa are 100.08 psi: 108 is 7.92 over it, more than 5.4; out by 10.8, so 1.467 sd, and P(low) = 0.0712."""
    assert judge(COMPRESSION, bike(0.0), "t", "108 psi").weights == {}
    hedged = judge(COMPRESSION, bike(0.0), "t", "about 108 psi")
    assert hedged.weights == pytest.approx({"low": 0.0712, "ok": 0.9288}, abs=5e-4)
    assert working(hedged) == "about 108 psi; general range 100 psi or more; just within"


def test_what_is_possible_is_corrected_like_the_reading():
    """80 at 6000 ft is 99.8, more than the gauge can show there; out by 10.42, and P(below 95) = P(z < -0.925)."""
    below = Limit(applies={}, below=(("low", 95.0),), otherwise="ok", basis=())
    taken = reading("kPa", below, error_share=0.1, possible=(0, 100), correct=("sea_level_pressure",))
    judged = judge(Book(a_test(taken, "ok")), bike(), "t", "80 kPa at 6000 ft")
    assert judged.weights == pytest.approx({"low": 0.1775, "ok": 0.8225}, abs=1e-3)


def test_a_certain_reading_carries_no_weights():
    body = body_of(judge(POINTS_GAP, bike(), "t", "0,2 mm"))
    assert "weights" not in body
    assert "corrected" not in body["reading"]
    assert "altitude_m" not in body["reading"]


@pytest.mark.parametrize(
    ("book", "text", "says"),
    [
        (COMPRESSION, "9500 psi", "9500 psi cannot be: The test gives 0 to 435 psi. Look at the point and the unit"),
        (COMPRESSION, "-3 psi", "-3 psi cannot be"),
        (COMPRESSION, "95", "the unit is missing; write: 95 psi or 95 bar or 95 kPa"),
        (COMPRESSION, "95 mm", "mm is a unit of length, not of pressure; write: a figure in psi or bar or kPa"),
        (POINTS_GAP, "0.35 m", "0.35 m cannot be: The test gives 0 to 0.003 m"),
        (COMPRESSION, "95 psi at 40000 ft", "no bike is worked on at 12192 m"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_write(book, text, says):
    with pytest.raises(DiagnoseError) as caught:
        judge(book, bike(), "t", text)
    assert says in str(caught.value)


def test_no_range_for_the_bike_says_what_to_do_instead():
    with pytest.raises(JobError, match="choose what you saw"):
        limit_for(PRESSURE, {"strokes": "rotary"})


def test_the_verdict_of_a_range_that_is_open_on_both_sides_is_left_out():
    book = Book(a_test(POINTS, ""))
    assert line(book, "0,2 mm") == "0.2 mm"
    assert verdict(judge(book, bike(), "t", "0,2 mm")) == "within"
