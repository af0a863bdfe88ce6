"""The questions before the first step: in order, skipped where they are settled, kept one by one."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.consultation import resume
from diagnose.terminal.intake import default_title, intake, known_facts

HERE = Path(__file__).parent
GROUP = "It starts badly, dies, floods or bangs"
ANSWERS = [
    "how",
    "2",
    "points_magneto",
    "no",
    "unknown",
    "lately",
    GROUP,
    "back",
    GROUP,
    "not_a_cough",
    "nothing",
    "Dead.",
    "250 EUR",
    "250",
    "",
]


def told(bench):
    return known_facts(bench.events)


@pytest.mark.parametrize("width", [80, 50])
def test_questions_are_as_written_down(sit_down, width):
    bench, asker = sit_down(ANSWERS, width)
    assert intake(bench)
    assert asker.sink.getvalue() == (HERE / f"intake_{width}.txt").read_text(encoding="utf-8")


def test_what_was_answered_is_in_the_state(sit_down):
    bench, _ = sit_down(ANSWERS)
    intake(bench)
    state = resume(bench.knowledge, bench.store.events(bench.job)).state
    assert dict(state.facts) == {
        "strokes": "2",
        "ignition": "points_magneto",
        "battery": "no",
        "parked": "lately",
    }
    assert state.complaint == "not_a_cough"


def test_a_fact_that_follows_from_another_is_not_asked(sit_down):
    bench, asker = sit_down(["4", "points_battery", "years", GROUP, "not_a_cough", "nothing", "", ""])
    intake(bench)
    assert "fact.battery" not in asker.asked
    assert "fact.inlet" not in asker.asked  # a four-stroke has no such inlet


def test_where_the_gate_is_not_known_the_fact_is_asked(sit_down):
    bench, asker = sit_down(["unknown", "points_battery", "reed", "years", GROUP, "not_a_cough", "nothing", "", ""])
    intake(bench)
    assert "fact.inlet" in asker.asked


def test_back_corrects_and_unsays_what_no_longer_fits(sit_down):
    back_to_strokes = ["2", "points_magneto", "no", "reed", "back", "back", "back", "back", "4"]
    bench, _ = sit_down([*back_to_strokes, "points_battery", "years", GROUP, "not_a_cough", "nothing", "", ""])
    intake(bench)
    assert told(bench) == {"strokes": "4", "ignition": "points_battery", "parked": "years"}
    assert resume(bench.knowledge, bench.events).state.facts["battery"] == "yes"


def test_the_rest_can_be_skipped(sit_down):
    bench, asker = sit_down(["2", "enough", "years", GROUP, "not_a_cough", "nothing", "", ""])
    assert intake(bench)
    assert told(bench) == {"strokes": "2", "parked": "years"}
    assert "fact.battery" not in asker.asked


def test_stopping_at_the_last_question_of_a_skipped_intake_stops(sit_down):
    bench, _ = sit_down(["2", "enough", "stop"])
    assert not intake(bench)
    assert told(bench) == {"strokes": "2"}


def test_stop_for_today_ends_it(sit_down):
    bench, _ = sit_down(["2", "stop"])
    assert not intake(bench)
    assert told(bench) == {"strokes": "2"}


def test_a_job_without_a_name_is_called_by_its_time():
    from datetime import datetime

    assert default_title(datetime(2026, 12, 1, 8, 5)) == "Bike of 1 December, 08:05"
