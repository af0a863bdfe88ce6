"""A typed reading against its limits: 1 psi is 6.894757 kPa and an inch 25.4 mm (NIST SP 811, appendix B)."""

from __future__ import annotations

import pytest

from diagnose.consultation.judgement import judge
from diagnose.consultation.limits import limit_for, outcome_of
from diagnose.consultation.readings import as_written, read
from diagnose.consultation.state import State
from diagnose.consultation.working import body_of
from diagnose.model import Limit, Outcome, Reading, Test
from diagnose.problems import DiagnoseError, JobError, Place

FOUR = Limit(applies={"strokes": frozenset({"4"})}, below=(("none", 200.0), ("low", 690.0)), otherwise="ok", basis=())
TWO = Limit(applies={"strokes": frozenset({"2"})}, below=(("none", 200.0), ("low", 630.0)), otherwise="ok", basis=())
PRESSURE = Reading(quantity="pressure", unit="kPa", ask="Highest reading", limits=(FOUR, TWO))
TWO_STROKE = State(facts={"strokes": "2"})


@pytest.mark.parametrize(("facts", "chosen"), [({"strokes": "2"}, TWO), ({"strokes": "4"}, FOUR), ({}, FOUR)])
def test_the_range_is_that_of_the_bike(facts, chosen):
    assert limit_for(PRESSURE, facts) is chosen


@pytest.mark.parametrize(
    ("value", "outcome"), [(0, "none"), (199.9, "none"), (200, "low"), (689.9, "low"), (690, "ok"), (9999, "ok")]
)
def test_a_value_on_a_threshold_belongs_above_it(value, outcome):
    assert outcome_of(FOUR, value) == outcome


@pytest.mark.parametrize(
    ("typed", "outcome", "says"),
    [
        ("0.2 in", "weak", "5.08 mm"),  # 0.2 x 25.4
        ("1/4 in", "good", "6.35 mm"),
        ("5,9 mm", "weak", "5.9 mm"),
        ("6 mm", "good", "6 mm"),
    ],
)
def test_a_reading_in_any_unit_lands_on_its_outcome(small, typed, outcome, says):
    body = body_of(judge(small, TWO_STROKE, "spark_at_gap", typed))
    assert body["outcome"] == outcome
    assert body["reading"]["text"] == typed
    assert body["reading"]["says"] == says


def test_the_limit_is_kept_in_words(small):
    words = body_of(judge(small, State(), "spark_at_gap", "5 mm"))["reading"]["limit"]
    assert "6 mm or more: Jumps every time" in words
    assert "to 6 mm: Yellow or now and then" in words


def test_the_sentence_holds_what_was_written_and_what_that_is():
    assert as_written({"text": "95 psi", "says": "655 kPa"}) == "95 psi (655 kPa)"  # 95 x 6.894757 = 655.0


@pytest.mark.parametrize("typed", ["5", "5 psi", "five", "", "1,500 mm"])
def test_what_cannot_be_a_reading_is_refused(small, typed):
    with pytest.raises(DiagnoseError):
        body_of(judge(small, State(), "spark_at_gap", typed))


def test_a_test_without_a_reading_refuses_one(small):
    with pytest.raises(JobError, match="takes no reading"):
        body_of(judge(small, State(), "look_points", "5 mm"))


@pytest.mark.parametrize(
    ("unit", "possible", "typed", "read_as"),
    [
        ("ml/min", (0, 5000), "150 ml", "150 ml/min"),  # asked for is what came in a minute
        ("ml/min", (0, 5000), "150", "150 ml/min"),
        ("mm", (0, 3), "0,35", "0,35 mm"),
        ("ohm", (0, 100000), "4,2 ohm at 5 C", "4,2 ohm at 5 C"),
        ("V", (0, 20), "about 11,4", "about 11,4 V"),
    ],
)
def test_a_unit_that_goes_without_saying_is_written_behind_the_figure(unit, possible, typed, read_as):
    limit = Limit(applies={}, below=(), otherwise="ok", basis=())
    taken = Reading(quantity="", unit=unit, ask="Reading", limits=(limit,), possible=possible)
    test = Test(
        id="t", name="The test", basis=(), place=Place("here"), ask="", why="", kind="measure", system="s", symptom=False,
        outcomes=(Outcome(id="ok", name="Ok", default=True),), reading=taken,
    )  # fmt: skip
    assert read(test, typed).text == read_as
