"""A hose gauge on a small engine at the keyboard: asked once, only where it could matter, told how to find it.

49 cc at 8.8 to 1 on a gauge of 2.86 ml: 90 psi are 142 (by hand in tests/consultation/test_hose.py).
"""

from __future__ import annotations

import pytest

from diagnose.consultation import played
from diagnose.consultation.sheet import from_manual
from diagnose.events import Event
from diagnose.reading.script import read_script
from diagnose.report.text import as_text
from diagnose.report.trail import trail
from diagnose.terminal.answers import moves
from diagnose.terminal.intake import new_intake, shop_told
from tests.interviews.conftest import NOON

ASKED = ["reading.comp_dry", "reading.comp_dry.gauge"]


@pytest.fixture
def gauged(sit_down, shipped):
    """Return a function that gauges a 49 cc engine at the sea: answers -> the bench, what was asked, what was shown."""

    def measure(*answers, width=80, shop=None, sheet=("49 cc", "8.8")):
        bench, asker = sit_down(list(answers), width, known=shipped)
        facts = {"strokes": "4", "cylinders": "1", "fuelling": "carburettor", "starter": "kick", "parked": "lately"}
        told = {**bench.events[0].body["shop"], "elevation_m": 0.0, **(shop or {})}
        intake = {**bench.events[0].body, "bike": facts, "complaint": "hard_to_start", "shop": told}
        bench.events = (Event("intake", intake, NOON),)
        for item, text in zip(("capacity", "compression_ratio"), sheet, strict=False):
            bench.take(from_manual(shipped.quantities[item], text, "manual", NOON))
        moves.measured(bench, "comp_dry")
        return bench, asker.asked, asker.sink.getvalue()

    return measure


@pytest.mark.parametrize("width", [80, 50])
def test_it_is_asked_and_reckoned_in_and_stands_in_the_reading(gauged, width):
    bench, asked, shown = gauged("90 psi", "2,86 cc", width=width)
    assert asked == ASKED
    body = bench.events[-1].body
    assert (body["outcome"], body["reading"]["text"]) == ("ok", "90 psi with 2.86 ml")
    assert "90 psi on a gauge of 2.86 ml is 142 psi on a true gauge; general range 100 psi or more" in " ".join(
        shown.split()
    )
    assert shop_told(bench.events) == {"elevation_m": 0.0, "gauge_ml": 2.86}


def test_it_is_asked_once(gauged):
    bench, asked, _ = gauged("90 psi", "2.86 ml", "80 psi")
    moves.measured(bench, "comp_dry")
    assert asked == [*ASKED, "reading.comp_dry"]
    assert bench.events[-1].body["reading"]["working"].startswith("80 psi on a gauge of 2.86 ml is 126 psi")


def test_the_next_job_knows_the_gauge(gauged):
    bench, _, _ = gauged("90 psi", "0")
    shop = shop_told(bench.events)
    assert shop["gauge_ml"] == 0.0
    _, asked, shown = gauged("90 psi", shop=new_intake("Next", NOON, shop).body["shop"])
    assert asked == ["reading.comp_dry"]
    assert "90 psi; general range 100 psi or more; low" in " ".join(shown.split())


@pytest.mark.parametrize("width", [80, 50])
def test_how_it_is_found(gauged, width):
    _, asked, shown = gauged("90 psi", "h", "three", "3", "", width=width)
    assert asked == [ASKED[0], *[ASKED[1]] * 4]
    said = " ".join(shown.split())
    assert "See where the check valve sits" in said
    assert "fill it to the brim with thin oil out of a syringe" in said.lower()
    assert '! "3": 3 has no unit; write: 3 ml' in said
    assert "volume of gauge and hose not told; with 3 ml on a 49 cc cylinder this would be 145 psi" in said
    told = [line.removeprefix("? ") for line in shown.splitlines()]
    assert max(map(len, told)) <= width


def test_what_the_sheet_lacks_is_said_with_where_to_put_it(gauged):
    bench, asked, shown = gauged("90 psi", "2.86 ml", sheet=())
    assert asked == ASKED
    assert "Put them on its sheet (More, then f) and type this reading again" in " ".join(shown.split())
    assert bench.events[-1].body["outcome"] == "low"


def test_nothing_is_asked_where_it_cannot_matter(gauged):
    for answers, more in ((["140 psi"], {}), (["10 psi"], {}), (["90 psi"], {"sheet": ("125 cc",)})):
        _, asked, _ = gauged(*answers, **more)
        assert asked == ["reading.comp_dry"]


def test_the_height_comes_first_where_neither_is_told(gauged):
    """At 3000 ft 90 / 0.896 = 100.4: just right. Then the gauge may still make it certain."""
    bench, asked, _ = gauged("90 psi", "3000 ft", "2.86 ml", shop={"elevation_m": None})
    assert asked == ["reading.comp_dry", "reading.comp_dry.height", "reading.comp_dry.gauge"]
    assert bench.events[-1].body["reading"]["text"] == "90 psi at 3000 ft with 2.86 ml"


def test_the_same_from_a_script_to_what_the_owner_reads(tmp_path, shipped):
    file = tmp_path / "moped.yaml"
    file.write_text("""
bike: {strokes: 4, cylinders: 1, starter: pedal}
shop: {elevation: 0 m, gauge_volume: 2.86 ml}
sheet: {capacity: 49 cc, compression_ratio: 8.8}
sheet_from: plate
complaint: hard_to_start
steps:
  - {test: comp_dry, reading: 90 psi}
""")
    *_, job = (job for _, job in played(shipped, read_script(file, shipped).events))
    told = " ".join(as_text(trail(job), 80).split())
    assert "90 psi on a gauge of 2.86 ml is 142 psi on a true gauge; general range 100 psi or more; within." in told
    assert job.state.seen[0].outcome == "ok"
