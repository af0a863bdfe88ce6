"""A measured test at the keyboard: what is asked besides, what is told of it, what goes on record.

Numbers: pressure ratio 0.8014 at 6000 ft, 0.8870 at 1000 m, 0.7846 at 2000 m (International Standard Atmosphere).
"""

from __future__ import annotations

import pytest

from diagnose.consultation import resume
from diagnose.events import Event
from diagnose.report.text import as_text
from diagnose.report.trail import trail
from diagnose.terminal.answers import moves
from diagnose.terminal.foresight import Foresight
from diagnose.terminal.intake import new_intake, shop_told
from tests.interviews.conftest import NOON, grown

GAUGE = {
    "tests/spark.yaml": """
gauge:
  name: Compression with a gauge
  ask: What does it climb to?
  why: The one honest figure.
  kind: measure
  minutes: 6
  steps: [Kick until it climbs no more.]
  outcomes:
    low: {name: Below the limit, base: 0.05, drivers: {coil_dead: 0.9}}
    ok: {name: At or above the limit, default: true}
  reading:
    quantity: pressure
    unit: kPa
    ask: Highest reading, and its unit
    limits:
      - {applies: {}, below: {low: 690}, otherwise: ok, basis: [memory]}
    error_share: 0.05
    possible: [0, 3000]
    correct: sea_level_pressure
  basis: [memory]
ohms:
  name: Coil with an ohmmeter
  ask: What does it read?
  why: Sees a broken winding.
  kind: measure
  minutes: 4
  steps: [Across the two terminals.]
  outcomes:
    low: {name: Too little, base: 0.05, drivers: {coil_dead: 0.5}}
    ok: {name: As it should be, default: true}
  reading:
    quantity: resistance
    unit: ohm
    ask: Reading, and its unit
    limits:
      - {applies: {}, below: {low: 4}, otherwise: ok, basis: [memory]}
    error: 0.1
    correct: copper_20c
  basis: [memory]
""",
}


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return grown(tmp_path_factory.mktemp("book") / "gauge", GAUGE)


@pytest.fixture
def measured(sit_down, book):
    """Return a function that measures: test, answers -> the event's body, what was asked, what was shown."""

    def measure(test, *answers, width=80, height=None):
        bench, asker = sit_down(list(answers), width, known=book)
        if height is not None:
            first = bench.events[0]
            shop = {**first.body["shop"], "elevation_m": height}
            bench.events = (Event("intake", {**first.body, "shop": shop}, NOON),)
        moves.measured(bench, test)
        return bench, asker.asked, asker.sink.getvalue()

    return measure


def test_the_height_is_asked_where_it_could_matter_and_stands_in_the_reading(measured):
    """85 psi are 586 kPa, under 690; at 6000 ft / 0.8014 they are 106 psi, 731 kPa."""
    bench, asked, shown = measured("gauge", "85 psi", "6000 ft")
    assert asked == ["reading.gauge", "reading.gauge.height"]
    body = bench.events[-1].body
    assert (body["outcome"], body["reading"]["text"]) == ("ok", "85 psi at 6000 ft")
    assert "85 psi here at 6000 ft is 106 psi at sea level; general range 100 psi or more; just" in " ".join(
        shown.split()
    )
    assert bench.consultation.state.shop.elevation_m == pytest.approx(1828.8)


def test_a_height_told_once_is_not_asked_again(measured):
    bench, _, _ = measured("gauge", "85 psi", "6000 ft", "90 psi")
    moves.measured(bench, "gauge")
    assert bench.events[-1].body["reading"]["working"].startswith("90 psi here at 6000 ft is 112 psi at sea level")
    assert shop_told(bench.events) == {"elevation_m": pytest.approx(1828.8)}
    assert shop_told((*bench.events, Event("undo"), Event("undo"))) == {}
    assert shop_told((new_intake("Next", NOON, {"elevation_m": 500.0}),)) == {"elevation_m": 500.0}


def test_enter_leaves_it_open_and_the_working_says_so(measured):
    bench, asked, shown = measured("gauge", "6 bar", "")
    assert asked == ["reading.gauge", "reading.gauge.height"]
    assert bench.events[-1].body["outcome"] == "low"
    assert "height above sea level not set" in " ".join(shown.split())
    assert "at 2000 m this would count as 7.65 bar" in " ".join(shown.split())  # 6 / 0.7846


def test_nothing_is_asked_where_it_cannot_matter(measured):
    for answers, more in ((["14 bar"], {}), (["1 bar"], {}), (["6 bar"], {"height": 0.0}), (["6 bar at 500 m"], {})):
        _, asked, _ = measured("gauge", *answers, **more)
        assert asked == ["reading.gauge"]


def test_the_temperature_is_asked_where_it_could_matter(measured):
    """3.8 ohm at 5 C are 4.04 at 20 C."""
    bench, asked, _ = measured("ohms", "3,8 ohm", "5 C")
    assert asked == ["reading.ohms", "reading.ohms.temperature"]
    assert bench.events[-1].body["reading"]["working"].startswith("3.8 ohm at 5 C is 4.04 ohm at 20 C")
    _, asked, _ = measured("ohms", "5 ohm")
    assert asked == ["reading.ohms"]


def test_what_cannot_be_read_is_asked_again(measured):
    bench, asked, shown = measured("gauge", "9500 psi", "85 psi", "noon", "6000 ft")
    assert asked == ["reading.gauge"] * 2 + ["reading.gauge.height"] * 2
    said = " ".join(shown.split())
    assert "! 9500 psi cannot be: Compression with a gauge gives 0 to 435 psi." in said
    assert '! "noon": a reading begins with a number; write: a height or a temperature, such as 6000 ft' in said
    assert bench.events[-1].body["reading"]["text"] == "85 psi at 6000 ft"


@pytest.mark.parametrize("width", [80, 50])
def test_a_reading_near_its_limit_is_told_as_uncertain(measured, width):
    bench, _, shown = measured("gauge", "7 bar", width=width, height=0.0)
    said = " ".join(shown.split())
    assert (
        "Written down: 7 bar (700 kPa), At or above the limit 7 bar; general range 6.9 bar or more; just within" in said
    )
    # 10 kPa over the limit, 5 per cent of 700 are two standard deviations: 0.571 of one
    assert "so it counts as: 72 % At or above the limit, 28 % Below the limit" in said
    assert max(map(len, shown.splitlines())) <= width or "?" in shown
    assert bench.consultation.state.seen[0].weights == pytest.approx({"low": 0.284, "ok": 0.716}, abs=5e-4)


def test_the_owner_reads_how_it_was_judged(measured, book):
    bench, _, _ = measured("gauge", "7 bar", height=1000.0)
    told = " ".join(as_text(trail(resume(book, bench.events)), 80).split())
    assert "7 bar (700 kPa), At or above the limit" in told
    assert "7 bar here at 1000 m is 7.89 bar at sea level; general range 6.9 bar or more; within." in told  # / 0.8870
    assert "The limits" not in told


def test_an_event_from_before_there_were_workings_still_tells_its_limits(measured, book):
    bench, _, _ = measured("gauge", "14 bar")
    old = {"text": "14 bar", "value": 14, "unit": "bar", "says": "1400 kPa", "limit": "690 kPa or more: sound"}
    events = (bench.events[0], Event("observe", {"test": "gauge", "outcome": "ok", "reading": old}))
    assert "The limits: 690 kPa or more: sound." in as_text(trail(resume(book, events)), 80)


def test_what_was_foreseen_keeps_the_reading_of_what_happened(measured):
    """The plan after an outcome is the same with any reading; the state is not."""
    bench, _, _ = measured("gauge", "14 bar")
    now = resume(bench.knowledge, bench.events[:1])
    ahead = Foresight(now, [Event("observe", {"test": "gauge", "outcome": "ok"})]).start()
    ahead.wait(60)
    after = ahead.take(bench.events[-1])
    assert after is not None
    assert after.state.seen[0].reading["text"] == "14 bar"
    assert "belief" in after.__dict__ or "_answered" in after.__dict__
