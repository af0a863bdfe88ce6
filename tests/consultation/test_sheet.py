"""The bike's own sheet in a job: what is refused, what counts as found, how a row stands, what limits it gives."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, observe, repair, undo
from diagnose.consultation.judgement import judge
from diagnose.consultation.sheet import (
    DIFFERS,
    FOUND_FIRST,
    IN_ORDER,
    OPEN,
    TO_SET,
    as_measured,
    figures_of,
    from_manual,
    limits,
    rows,
    sources,
    span,
    taking,
)
from diagnose.consultation.working import body_of
from diagnose.events import Event
from diagnose.problems import JobError

MANUAL = "workshop manual 1974, page 41"
POINTS = {"bike": {"strokes": "4", "cylinders": "1", "ignition": "points_magneto", "parked": "year"}}
TWIN = {"bike": {"strokes": "4", "cylinders": "2", "carburettors": "two", "ignition": "points_battery"}}


@pytest.fixture
def job(shipped):
    """A single with points, of which the manual gives the gap."""
    gap = from_manual(shipped.quantities["points_gap"], "0.3 to 0.4 mm", MANUAL)
    return begin(shipped, POINTS | {"complaint": "not_a_cough"}).add(gap)


def measured(job, kind, name, text, side="", **more):
    """Return the job with a value as found or as set."""
    return job.add(as_measured(kind, job.knowledge.quantities[name], text, side, more))


def row(job, name, side=""):
    """Return the row of a value."""
    (found,) = [one for one in rows(job.knowledge, job.state) if (one.item.id, one.side) == (name, side)]
    return found


def test_a_row_has_manual_found_and_set_side_by_side(job) -> None:
    assert row(job, "points_gap").stands == FOUND_FIRST
    found = measured(job, "as_found", "points_gap", "0.55 mm", instrument="feeler gauge", temperature_C=12.0)
    assert row(found, "points_gap").stands == TO_SET
    put = measured(found, "as_set", "points_gap", ".0138 in")
    line = row(put, "points_gap")
    assert (line.manual, line.source, line.found.text, line.set.text) == (
        "0.3 to 0.4 mm",
        MANUAL,
        "0.55 mm",
        ".0138 in",
    )
    assert (line.found.instrument, line.found.temperature, line.found.si) == (
        "feeler gauge",
        12.0,
        pytest.approx(0.00055),
    )
    assert (line.stands, line.usual) == (IN_ORDER, "0.3 to 0.45 mm")
    assert sources(rows(put.knowledge, put.state)) == (MANUAL,)


def test_nothing_is_set_before_it_is_written_how_it_was_found(job) -> None:
    with pytest.raises(JobError, match=r"Points gap cannot be written as set to 0.35 mm before .* how it was found"):
        measured(job, "as_set", "points_gap", "0.35 mm")
    put = measured(measured(job, "as_found", "points_gap", "0.55 mm"), "as_set", "points_gap", "0.35 mm")
    with pytest.raises(JobError, match=r"was set already, to 0.35 mm; it is not as found any more"):
        measured(put, "as_found", "points_gap", "0.5 mm")
    again = measured(put.add(undo()), "as_found", "points_gap", "0.5 mm")
    assert row(again, "points_gap").found.text == "0.5 mm"


def test_what_a_test_measures_counts_as_found_once(job) -> None:
    first = job.add(Event("observe", body_of(judge(job.knowledge, job.state, "gap_points", "0.6 mm"))))
    assert row(first, "points_gap").found.text == "0.6 mm"
    assert row(first, "points_gap").found.si == pytest.approx(0.0006)
    later = first.add(Event("observe", body_of(judge(job.knowledge, job.state, "gap_points", "0.4 mm"))))
    assert row(later, "points_gap").found.text == "0.6 mm"
    assert row(later.add(undo()), "points_gap").found.text == "0.6 mm"
    assert job.add(observe("gap_points", "right")).state.as_found == {}


def test_what_is_measured_after_it_was_put_right_is_not_as_found(job) -> None:
    cures = next(one.id for one in job.knowledge.repairs.values() if "points_gap" in one.cures)
    after = job.add(repair(cures)).add(
        Event("observe", body_of(judge(job.knowledge, job.state, "gap_points", "0.35 mm")))
    )
    assert after.state.as_found == {}
    early = body_of(judge(job.knowledge, job.state, "gap_points", "0.6 mm")) | {"before": cures}
    assert row(job.add(repair(cures)).add(Event("observe", early)), "points_gap").found.text == "0.6 mm"


def test_a_wet_compression_is_not_the_compression_as_found(job) -> None:
    wet = job.add(Event("observe", body_of(judge(job.knowledge, job.state, "comp_wet", "9 bar"))))
    assert wet.state.as_found == {}
    dry = wet.add(Event("observe", body_of(judge(job.knowledge, job.state, "comp_dry", "7 bar"))))
    assert list(dry.state.as_found) == [("compression", "")]


def test_on_a_twin_found_and_set_go_by_side_and_the_manual_does_not(shipped) -> None:
    job = begin(shipped, TWIN).add(from_manual(shipped.quantities["plug_gap"], "0.6-0.7 mm", MANUAL))
    assert [(one.name, one.stands) for one in rows(shipped, job.state)] == [
        ("Plug gap, left", FOUND_FIRST),
        ("Plug gap, right", FOUND_FIRST),
    ]
    with pytest.raises(JobError, match=r"on this bike it goes by side; write plug_gap.left or plug_gap.right"):
        measured(job, "as_found", "plug_gap", "0.5 mm")
    left = job.add(Event("observe", body_of(judge(shipped, job.state, "gap_plug.left", "0.9 mm"))))
    both = measured(left, "as_found", "plug_gap", "0.65 mm", "right")
    assert [(one.side, one.found.text, one.stands) for one in rows(shipped, both.state)] == [
        ("left", "0.9 mm", TO_SET),
        ("right", "0.65 mm", IN_ORDER),
    ]


def test_what_was_put_right_on_one_side_leaves_the_other_as_found(shipped) -> None:
    job = begin(shipped, TWIN)
    for side in ("left", "right"):
        seen = Event("observe", body_of(judge(shipped, job.state, f"gap_plug.{side}", "0.7 mm")))
        after = job.add(repair("clean_plug.left")).add(seen)
        assert list(after.state.as_found) == ([] if side == "left" else [("plug_gap", "right")])


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (
            {"item": "points_gp", "text": "0.3 mm"},
            "there is no value of the sheet 'points_gp' in the knowledge; nearest",
        ),
        ({"item": "float_height"}, "Float height: nothing is written for it"),
        (
            {"item": "trigger_gap", "text": "0.5 mm"},
            "does not fit this bike: Ignition is points_magneto, it needs cdi_",
        ),
        ({"item": "points_gap", "text": "0.5 mm", "side": "left"}, "on this bike it has no sides; write points_gap"),
        ({"item": "points_gap", "text": "0.5 mm"}, "'0.5 mm' gives no figure; write a number and its unit"),
    ],
)
def test_what_cannot_have_happened_is_refused(job, body, says) -> None:
    with pytest.raises(JobError, match=says):
        job.add(Event("as_found", body))


def test_a_manual_without_a_source_or_a_figure_is_refused(job) -> None:
    with pytest.raises(JobError, match="where does the figure come from"):
        job.add(Event("sheet", {"item": "points_gap", "text": "0.3 mm", "unit": "mm", "value": 0.3}))
    with pytest.raises(JobError, match="gives no figure"):
        job.add(Event("sheet", {"item": "points_gap", "text": "0.3 mm", "source": MANUAL}))


@pytest.mark.parametrize(
    ("name", "manual", "found", "stands"),
    [
        ("points_gap", "max 0.4 mm", "0.40 mm", IN_ORDER),
        ("points_gap", "at least 0.3 mm", ".0118 in", TO_SET),  # 0.29972 mm
        ("points_gap", "at least .0118 in", "0.3 mm", IN_ORDER),
        ("points_gap", "0.35 mm", "0.5 mm", OPEN),  # a figure without a tolerance is no limit
        ("main_jet", "92", "92", IN_ORDER),
        ("main_jet", "92", "95", DIFFERS),
        ("plug_code", "HX7", "hx7", IN_ORDER),
        ("plug_code", "HX7", "HX8", DIFFERS),
        ("compression", "at least 120 psi", "90 psi", OPEN),  # height above the sea comes first
        ("coil_primary", "3 to 5 ohm", "2.9 ohm", OPEN),  # a cold coil reads low
    ],
)
def test_how_a_row_stands(job, name, manual, found, stands) -> None:
    given = job.add(from_manual(job.knowledge.quantities[name], manual, MANUAL))
    assert row(measured(given, "as_found", name, found), name).stands == stands


def test_the_limits_of_a_value_in_any_unit(job) -> None:
    known = job.knowledge
    full = job.add(from_manual(known.quantities["compression"], "120 psi or more", MANUAL))
    full = full.add(from_manual(known.quantities["plug_gap"], "0.6 mm", MANUAL))
    assert limits(known, full.state, "points_gap") == (0.3, 0.4)
    assert limits(known, full.state, "points_gap", "in") == (pytest.approx(0.3 / 25.4), pytest.approx(0.4 / 25.4))
    assert limits(known, full.state, "compression") == (pytest.approx(120 * 6.894757293168), None)
    assert limits(known, full.state, "plug_gap") is None
    assert limits(known, full.state, "float_height") is None


def test_what_is_usual_is_never_a_limit(shipped) -> None:
    job = begin(shipped, POINTS)
    found = measured(job, "as_found", "points_gap", "0.9 mm")
    assert (row(found, "points_gap").usual, row(found, "points_gap").stands) == ("0.3 to 0.45 mm", OPEN)
    assert limits(shipped, found.state, "points_gap") is None


def test_a_later_figure_replaces_the_one_before_and_a_job_gives_them_to_another(job) -> None:
    later = job.add(from_manual(job.knowledge.quantities["points_gap"], "0.35 mm +/- 0.05", "second edition, page 3"))
    assert (row(later, "points_gap").manual, row(later, "points_gap").source) == (
        "0.35 mm +/- 0.05",
        "second edition, page 3",
    )
    other = begin(job.knowledge, POINTS)
    (event,) = taking(other.knowledge, other.state, figures_of(later.state)).events
    assert row(other.add(event), "points_gap").source == "second edition, page 3"


def test_what_does_not_fit_the_next_bike_is_left_and_said(job) -> None:
    kept = [
        {"item": "points_gap", "text": "0.35 mm", "source": MANUAL},
        {"item": "trigger_gap", "text": "0.5 mm", "source": MANUAL},
        {"item": "gone", "text": "0.5 mm", "source": MANUAL},
        {"item": "plug_gap", "text": "60 mm", "source": MANUAL},
        {"item": "main_jet", "text": "92", "source": MANUAL},
    ]
    found = taking(job.knowledge, job.state, kept)
    assert [event.body["item"] for event in found.events] == ["main_jet"]
    assert found.left == (
        ("Points gap", "the job has its own figure, 0.3 to 0.4 mm"),
        ("Trigger gap", "such a bike does not have it"),
        ("gone", "the book does not have it any more"),
        ("Plug gap", '"60 mm": Plug gap cannot be 60 mm; write: a figure from 0 to 4 mm'),
    )
    same = taking(job.knowledge, job.state, figures_of(job.state))
    assert (same.events, same.left) == ((), ())


def test_spans_in_words() -> None:
    assert (span(0.3, 0.4, "mm"), span(None, 2, "kPa"), span(300, None, "ml/min"), span(5, None, "")) == (
        "0.3 to 0.4 mm",
        "up to 2 kPa",
        "300 ml/min or more",
        "5 or more",
    )
