"""From a reading as it was typed to the event that it makes: judged, with all that its outcome rests on. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from diagnose.consultation.corrections import factor
from diagnose.consultation.judgement import Judged, judge
from diagnose.consultation.limits import limit_words
from diagnose.consultation.state import State
from diagnose.consultation.working import working
from diagnose.events import Event
from diagnose.model import Knowledge
from diagnose.wording import figure


def judged(knowledge: Knowledge, state: State, test_id: str, text: str) -> dict[str, Any]:
    """Return the body of the observation that a reading makes. Raises DiagnoseError; the message says what to write."""
    return body_of(judge(knowledge, state, test_id, text))


def completed(knowledge: Knowledge, state: State, event: Event) -> Event:
    """Return an observation with its outcome, worked out where only the reading is given; any other event as it is."""
    reading = event.body.get("reading")
    if event.kind != "observe" or not reading or event.body.get("outcome"):
        return event
    return replace(event, body={**event.body, **judged(knowledge, state, event.body["test"], str(reading["text"]))})


def applied(of: Judged) -> list[str]:
    """Return the corrections that were reckoned in and made another figure of it."""
    return [one for one in of.reading.correct if factor(one, of.taken) not in (None, 1.0)]


def body_of(of: Judged) -> dict[str, Any]:
    """Return the body of an observe event: outcome and weights, the reading raw and corrected, its limits, its working.

    What was told of the place stands in it where it was written with the reading or is reckoned in.
    """
    raw, by, unit = of.raw, of.by, of.reading.unit
    reading: dict[str, Any] = {
        "text": raw.text,
        "value": raw.quantity.value,
        "unit": of.unit,
        "says": f"{figure(of.value)} {unit}",
        "limit": limit_words(of.test, by.limit),
        "range": {"low": by.low, "high": by.high, "unit": unit, "of": by.label, "source": by.source},
        "working": working(of),
    }
    if of.corrected != of.value:
        reading["corrected"] = {"value": of.corrected, "unit": unit, "by": applied(of)}
    if of.error:
        reading["error"] = of.error
    for name, told in (
        ("altitude_m", of.taken.altitude_m),
        ("celsius", of.taken.celsius),
        ("gauge_ml", of.taken.hose.volume_ml),
    ):
        if told is not None and (getattr(raw, name) is not None or of.corrected != of.value):
            reading[name] = told
    weights = {"weights": of.weights} if of.weights else {}
    return {"test": of.test.id, "outcome": of.outcome, **weights, "reading": reading}
