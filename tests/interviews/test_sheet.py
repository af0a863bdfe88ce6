"""The sheet under More: a figure of the manual, as found, as set, and sheets for the next bike."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.terminal.interview import run

GROUP = "It starts badly, dies, floods or bangs"
BIKE = ["2", "points_magneto", "no", "port", "years", GROUP, "not_a_cough", "nothing", "Dead.", ""]
GAP = ["sheet", "ignition", "points_gap", "0.3-0.4 mm", "manual 1974, page 41", "back", "back"]
OPEN = ["more", "sheet"]
CLOSE = ["back", "q"]


def talk(sit_down, *answers, **more):
    bench, asker = sit_down([*BIKE, *OPEN, *answers, *CLOSE], **more)
    run(bench)
    return bench, " ".join(asker.sink.getvalue().split())


def written(bench):
    """Return what stands on the sheet, as the events that made it."""
    return [
        (event.kind, event.body["item"], event.body["text"])
        for event in bench.events
        if event.kind in ("sheet", "as_found", "as_set")
    ]


def test_manual_found_and_set_one_after_another(sit_down) -> None:
    found = ["as_found", "points_gap", ".022 in", "feeler gauge", "back"]
    put = ["as_set", "points_gap", "0.35 mm", "", "back"]
    bench, screen = talk(sit_down, *GAP, *found, *put)
    assert written(bench) == [
        ("sheet", "points_gap", "0.3-0.4 mm"),
        ("as_found", "points_gap", ".022 in"),
        ("as_set", "points_gap", "0.35 mm"),
    ]
    assert "Points gap, by the manual (usual 0.3 to 0.45 mm)" in screen
    assert "Points gap, as found (manual 0.3-0.4 mm)" in screen
    assert "Written: Points gap, as found: .022 in (feeler gauge) - outside the manual" in screen  # 0.56 mm
    assert "Written: Points gap, as set: 0.35 mm ?" in screen
    assert "Points gap 0.3-0.4 mm .022 in 0.35 mm" in screen


def test_the_next_value_is_asked_for_in_the_same_group(sit_down) -> None:
    bench, _ = talk(sit_down, *GAP[:-2], "plug_code", "HX7", "page 12", "back", "back")
    assert written(bench) == [("sheet", "points_gap", "0.3-0.4 mm"), ("sheet", "plug_code", "HX7")]


def test_what_cannot_be_read_is_asked_again_and_enter_leaves_it(sit_down) -> None:
    bench, screen = talk(sit_down, "sheet", "ignition", "points_gap", "0.3 psi", "35 mm", "", "back", "back")
    assert written(bench) == []
    assert "psi is a unit of pressure, not of length" in screen
    assert "Points gap cannot be 35 mm; write: a figure from 0 to 3 mm" in screen


def test_a_figure_without_a_source_is_not_written(sit_down) -> None:
    bench, screen = talk(sit_down, "sheet", "ignition", "points_gap", "0.3 mm", "", "back", "back")
    assert written(bench) == []
    assert "Not written: a figure needs to say where it stands." in screen


def test_how_warm_it_was_is_asked_where_a_reading_goes_by_it(sit_down, small) -> None:
    """41 F are 5 C."""
    test = small.tests["spark_at_gap"]
    by_warmth = replace(test, reading=replace(test.reading, sheet="points_gap", correct=("copper_20c",)))
    known = replace(small, tests={**small.tests, test.id: by_warmth})
    found = ["as_found", "ignition", "points_gap", "0.5 mm", "", "900 C", "6000 ft", "41 F", "back", "back"]
    bench, screen = talk(sit_down, *found, known=known)
    assert next(event.body["temperature_C"] for event in bench.events if event.kind == "as_found") == 5.0
    assert "no bike is worked on at 900 C" in screen
    assert "That is no temperature; write it like 12 C or 54 F." in screen


def test_nothing_is_set_before_it_is_found_nor_found_after_it_is_set(sit_down) -> None:
    bench, screen = talk(sit_down, "as_set")
    assert "Nothing is written as found yet. Measure first, and write that." in screen
    found = ["as_found", "ignition", "points_gap", "0.5 mm", "", "back", "back"]
    again = ["as_found", "ignition", "points_gap", "0.4 mm", "", "back", "back"]
    bench, screen = talk(sit_down, *found, "as_set", "points_gap", "0.35 mm", "", "back", *again)
    assert len(written(bench)) == 2
    assert "Points gap was set already, to 0.35 mm; it is not as found any more." in screen


def test_a_sheet_is_kept_and_taken_into_the_next_job(sit_down) -> None:
    first, screen = talk(sit_down, "take", "keep", *GAP, "keep", "pressed-frame 125")
    assert "No sheet is kept yet." in screen
    assert "No figure of a manual is on the sheet yet." in screen
    assert "Kept: pressed-frame 125." in screen
    assert first.store.sheets.get("pressed-frame 125").job == first.job
    second, screen = talk(sit_down, "take", "0", "take", "0", "keep", "Pressed-frame 125", "no")
    assert written(second) == [("sheet", "points_gap", "0.3-0.4 mm")]
    assert "All of it is on the sheet already." in screen
    assert first.store.sheets.get("pressed-frame 125").job == first.job


def test_undo_takes_a_figure_back(sit_down) -> None:
    bench, asker = sit_down([*BIKE, *OPEN, *GAP, "back", "undo", "q"])
    run(bench)
    assert bench.consultation.state.manual == {}
    assert "Taken back: Points gap, manual: 0.3-0.4 mm (manual 1974, page 41)" in " ".join(
        asker.sink.getvalue().split()
    )


@pytest.mark.parametrize("width", [80, 50])
def test_nothing_is_wider_than_the_page(sit_down, width) -> None:
    found = ["as_found", "points_gap", "0.55 mm", "feeler gauge", "back"]
    bench, asker = sit_down([*BIKE, *OPEN, *GAP, *found, *CLOSE], width=width)
    run(bench)
    shown = asker.sink.getvalue()
    assert "── Sheet ──" in shown
    rows = shown.split("── Sheet ──")[-1].split("What goes on the sheet?")[0].splitlines()
    assert max(len(row) for row in rows) <= width
