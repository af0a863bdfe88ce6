"""A compression reading in the hills, from the sheet and the script to what the owner reads; and the same at the keyboard.

95 psi at 6000 ft, where the air has 0.8014 of its pressure at sea level (International Standard Atmosphere), are 118.5
psi there; the manual gives 120 to 150. The valve of the gauge sits at the plug end, so it is as true as it reads.
"""

from __future__ import annotations

import pytest

from diagnose.consultation import played
from diagnose.consultation.sheet import from_manual
from diagnose.events import Event
from diagnose.reading.script import read_script
from diagnose.report.text import as_text
from diagnose.report.trail import trail
from diagnose.terminal import cards, views
from diagnose.terminal.answers import moves
from tests.interviews.conftest import NOON

LINE = "95 psi here at 6000 ft is 119 psi at sea level; manual 120 to 150 psi; just low"
SURE = "Too near the limit for this instrument to be certain, so it counts as: 66 % Below the limit, 34 % At or above"
MANUAL = "workshop manual 1974, page 42"
BIKE = "{strokes: 4, cylinders: 1, fuelling: carburettor, starter: kick, ignition: points_battery}"
JOB = f"""
bike: {BIKE}
history: {{parked: lately}}
shop: {{elevation: 6000 ft, gauge_volume: 0}}
sheet_from: {MANUAL}
sheet: {{compression: 120 to 150 psi}}
complaint: hard_to_start
steps:
  - {{test: comp_dry, reading: 95 psi}}
"""


def script(tmp_path, shipped, text=JOB):
    file = tmp_path / "hills.yaml"
    file.write_text(text)
    return [job for _, job in played(shipped, read_script(file, shipped).events)]


def test_it_ends_as_soft_evidence(tmp_path, shipped):
    """1.46 psi under the limit, 3.46 a standard deviation: 0.42 of one, 0.664 of the normal distribution below."""
    *before, after = script(tmp_path, shipped)
    (seen,) = after.state.seen
    assert (seen.outcome, seen.weights) == ("low", pytest.approx({"low": 0.664, "ok": 0.336}, abs=1e-3))
    hard = before[-1].add(Event("observe", {"test": "comp_dry", "outcome": "low"}))
    for cause in ("rings_worn", "valves_tight"):
        assert before[-1].belief.causes[cause] < after.belief.causes[cause] < hard.belief.causes[cause]


@pytest.mark.parametrize("width", [80, 50])
def test_the_owner_reads_the_working(tmp_path, shipped, width):
    told = as_text(trail(script(tmp_path, shipped)[-1]), width)
    assert max(map(len, told.splitlines())) <= width
    assert f"{LINE}. Manual: {MANUAL}. {SURE}" in " ".join(told.split())


def test_without_the_sheet_the_general_range_is_named(tmp_path, shipped):
    bare = "\n".join(line for line in JOB.splitlines() if not line.startswith("sheet"))
    told = " ".join(as_text(trail(script(tmp_path, shipped, bare)[-1]), 80).split())
    assert "95 psi here at 6000 ft is 119 psi at sea level; general range 100 psi or more; within." in told


def test_a_figure_that_cannot_be_is_refused_at_its_step(tmp_path, shipped):
    with pytest.raises(Exception, match="9500 psi cannot be: Compression with a gauge gives 0 to 435 psi"):
        script(tmp_path, shipped, JOB.replace("95 psi", "9500 psi"))


@pytest.mark.parametrize("width", [80, 50])
def test_the_same_at_the_keyboard(sit_down, shipped, width):
    bench, asker = sit_down(["95 psi"], width, known=shipped)
    facts = {"strokes": "4", "cylinders": "1", "fuelling": "carburettor", "starter": "kick", "parked": "lately"}
    intake = {**bench.events[0].body, "bike": facts, "complaint": "hard_to_start"}
    intake["shop"] = {**intake["shop"], "elevation_m": 1828.8, "gauge_ml": 0.0}
    bench.events = (Event("intake", intake, NOON),)
    bench.take(from_manual(shipped.quantities["compression"], "120 to 150 psi", MANUAL, NOON))
    card = cards.card(bench.consultation, cards.test_step(bench.consultation, "comp_dry"))
    assert card.should_be == f"120 to 150 psi at sea level (manual: {MANUAL}; here at 6000 ft 96.2 to 120 psi)"
    moves.measured(bench, "comp_dry")
    shown = asker.sink.getvalue()
    assert f"{LINE} Manual: {MANUAL} {SURE}" in " ".join(shown.split())
    assert "near its limit" in views.said(shipped, bench.events[-1])
    assert asker.asked == ["reading.comp_dry"], "the height is known"
    assert bench.consultation.state.as_found["compression", ""].text == "95 psi"
    moves.undo(bench)
    assert bench.consultation.state.seen == ()
    assert bench.consultation.state.as_found == {}


def test_a_manual_without_limits_is_named_beside_the_general_range(sit_down, shipped):
    bench, _ = sit_down(["7.5 bar"], known=shipped)
    intake = {**bench.events[0].body, "bike": {"strokes": "4"}, "complaint": "hard_to_start"}
    intake["shop"] = {**intake["shop"], "elevation_m": 0.0, "gauge_ml": 0.0}
    bench.events = (Event("intake", intake, NOON),)
    bench.take(from_manual(shipped.quantities["compression"], "130 psi", MANUAL))
    moves.measured(bench, "comp_dry")
    assert bench.events[-1].body["reading"]["working"] == (
        "7.5 bar; general range 6.9 bar or more (the manual gives 130 psi and no limits); within"
    )
