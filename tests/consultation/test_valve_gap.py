"""Inlet and exhaust clearance: one look, two tests, each held against its own figure of the sheet.

Judged so: 0.05 mm is within 0.03 to 0.07 and under 0.08 to 0.12, and lies 0.02 from each of those limits or further;
a feeler gauge is true to 0.02.
"""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, observe
from diagnose.consultation.judgement import judge
from diagnose.consultation.sheet import from_manual
from diagnose.consultation.working import body_of
from diagnose.events import Event

BIKE = {"strokes": "4", "cylinders": "1", "fuelling": "carburettor", "starter": "kick"}
SHEET = {"valve_inlet": "0.03 to 0.07 mm", "valve_exhaust": "0.08 to 0.12 mm"}


def a_job(shipped, sheet, **bike):
    job = begin(shipped, {"bike": {**BIKE, **bike}, "complaint": "hard_to_start"})
    for item, text in sheet.items():
        job = job.add(from_manual(shipped.quantities[item], text, "manual, page 9"))
    return job


@pytest.mark.parametrize(
    ("test", "text", "outcome"),
    [
        ("valve_gap", "0.05 mm", "right"),
        ("valve_gap_exhaust", "0.05 mm", "tight"),
        ("valve_gap", "0.1 mm", "wide"),
        ("valve_gap_exhaust", "0.1 mm", "right"),
        ("valve_gap", "0.00 mm", "tight"),
        ("valve_gap_exhaust", "0.15 mm", "wide"),
    ],
)
def test_each_goes_by_its_own_figure(shipped, test, text, outcome):
    assert judge(shipped, a_job(shipped, SHEET).state, test, text).outcome == outcome


def test_both_are_as_found_on_the_sheet(shipped):
    job = a_job(shipped, SHEET)
    for test, text in (("valve_gap", "0.05 mm"), ("valve_gap_exhaust", "0.02 mm")):
        job = job.add(Event("observe", body_of(judge(shipped, job.state, test, text))))
    found = {item: figure.text for (item, _), figure in job.state.as_found.items()}
    assert found == {"valve_inlet": "0.05 mm", "valve_exhaust": "0.02 mm"}


def test_on_a_twin_each_side_has_both(shipped):
    job = a_job(shipped, {}, cylinders="2")
    fit = {f"{test}.{side}" for test in ("valve_gap", "valve_gap_exhaust") for side in ("left", "right")}
    assert fit <= set(shipped.tests)
    for test in fit:
        assert job.add(observe(test, "tight")).state.seen[0].test == test


def test_it_is_one_look(shipped):
    inlet, exhaust = shipped.tests["valve_gap"], shipped.tests["valve_gap_exhaust"]
    assert (inlet.access, inlet.needs, inlet.minutes) == (exhaust.access, exhaust.needs, exhaust.minutes)
    after = a_job(shipped, {}).add(observe("valve_gap", "right"))
    assert "valve_cover_off" in after.state.opened, "so only its own minutes are left"


def test_a_tight_exhaust_valve_points_to_a_burnt_one_and_a_tight_inlet_hardly(shipped):
    job = a_job(shipped, {})
    both = ("valve_gap", "valve_gap_exhaust")
    burnt = {test: job.add(observe(test, "tight")).belief.causes["valve_burnt"] for test in both}
    before = job.belief.causes["valve_burnt"]
    assert burnt["valve_gap_exhaust"] > 2 * before
    assert burnt["valve_gap_exhaust"] > burnt["valve_gap"]


def test_one_right_gap_does_not_clear_the_other(shipped):
    """Tight in nine of ten somewhere; a right inlet leaves the exhaust likelier to be it than not."""
    job = a_job(shipped, {})
    one = job.add(observe("valve_gap", "right"))
    both = one.add(observe("valve_gap_exhaust", "right"))
    start, after, last = (each.belief.causes["valves_tight"] for each in (job, one, both))
    assert last < after < start
    assert last < start / 8
    assert after > start / 4
