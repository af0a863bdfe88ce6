"""From a reading as it was typed to the event that it makes: judged, with all that its outcome rests on. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from diagnose.consultation.judgement import Judged, judge
from diagnose.consultation.limits import limit_words
from diagnose.consultation.state import State
from diagnose.consultation.working import working
from diagnose.events import Event
from diagnose.model import Knowledge
from diagnose.wording import figure


def completed(knowledge: Knowledge, state: State, event: Event) -> Event:
    """Return an observation with its outcome, worked out where only the reading is given; any other event as it is."""
    reading = event.body.get("reading")
    if event.kind != "observe" or not reading or event.body.get("outcome"):
        return event
    judged = judge(knowledge, state, event.body["test"], str(reading["text"]))
    return replace(event, body={**event.body, **body_of(judged)})


def body_of(judged: Judged) -> dict[str, Any]:
    """Return the body of an observe event: outcome and weights, the reading raw and corrected, its limits, its working.

    What was told of the place stands in it where it was written with the reading or is reckoned in.
    """
    raw, by, unit = judged.raw, judged.by, judged.reading.unit
    reading: dict[str, Any] = {
        "text": raw.text,
        "value": raw.quantity.value,
        "unit": judged.unit,
        "says": f"{figure(judged.value)} {unit}",
        "limit": limit_words(judged.test, by.limit),
        "range": {"low": by.low, "high": by.high, "unit": unit, "of": by.label, "source": by.source},
        "working": working(judged),
    }
    if judged.corrected != judged.value:
        reading["corrected"] = {"value": judged.corrected, "unit": unit, "by": judged.reading.correct}
    if judged.error:
        reading["error"] = judged.error
    for name in ("altitude_m", "celsius"):
        told = getattr(judged.taken, name)
        if told is not None and (getattr(raw, name) is not None or judged.corrected != judged.value):
            reading[name] = told
    weights = {"weights": judged.weights} if judged.weights else {}
    return {"test": judged.test.id, "outcome": judged.outcome, **weights, "reading": reading}
