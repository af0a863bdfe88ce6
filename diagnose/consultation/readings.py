"""From what was typed or written as a reading to an outcome, with the limit it was judged by. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from diagnose.events import Event
from diagnose.model import Knowledge, Limit, Reading, Test, gate_state
from diagnose.problems import JobError
from diagnose.units import UNITS, Quantity, convert, kind_of, parse_quantity, units_of


def judged(knowledge: Knowledge, facts: Mapping[str, str], test_id: str, text: str) -> dict[str, Any]:
    """Return the body of an observation: the outcome a reading lands on, the reading itself and its limit.

    Raises:
        DiagnoseError: it cannot be read, has no unit or the wrong one; the message says what to write.
    """
    test = knowledge.tests[test_id]
    reading = test.reading
    if reading is None:
        raise JobError(f"{test.name} takes no reading; choose what you saw.")
    raw = read(reading, text)
    value = convert(raw, reading.unit).value
    limit = limit_for(reading, facts)
    shown = {
        "text": raw.text,
        "value": raw.value,
        "unit": raw.unit,
        "says": f"{figure(value)} {reading.unit}",
        "limit": limit_words(test, limit),
    }
    return {"test": test_id, "outcome": outcome_of(limit, value), "reading": shown}


def completed(knowledge: Knowledge, facts: Mapping[str, str], event: Event) -> Event:
    """Return an observation with its outcome, worked out where only the reading is given; any other event as it is."""
    reading = event.body.get("reading")
    if event.kind != "observe" or not reading or event.body.get("outcome"):
        return event
    return replace(event, body={**event.body, **judged(knowledge, facts, event.body["test"], str(reading["text"]))})


def read(reading: Reading, text: str) -> Quantity:
    """Return what was written, with a unit of the wanted kind. Raises DiagnoseError saying what to write."""
    kind = kind_of(reading.unit) if reading.unit in UNITS else reading.quantity
    raw = parse_quantity(text, kind)
    if not raw.unit and kind != "count":
        examples = " or ".join(f"{raw.text} {unit}" for unit in units_of(kind)[:3])
        raise JobError(f"{raw.text} has no unit. Write {examples}.")
    return raw


def limit_for(reading: Reading, facts: Mapping[str, str]) -> Limit:
    """Return the range for this bike: one whose facts are all known to fit, else one that may fit."""
    for wanted in (True, None):
        for limit in reading.limits:
            if gate_state(limit.applies, facts) is wanted:
                return limit
    raise JobError("The book has no range for this bike; choose what you saw in place of a reading.")


def outcome_of(limit: Limit, value: float) -> str:
    """Return the outcome a value, in the unit of the limit, lands on: the first threshold it lies below."""
    return next((name for name, below in limit.below if value < below), limit.otherwise)


def limit_words(test: Test, limit: Limit) -> str:
    """Return a range in words: what each part of it means."""
    unit = test.reading.unit if test.reading else ""
    names = {outcome.id: outcome.name for outcome in test.outcomes}
    parts, start = [], ""
    for name, below in limit.below:
        span = f"{start} to {below:g} {unit}" if start else f"under {below:g} {unit}"
        parts.append(f"{span}: {names.get(name, name)}")
        start = f"{below:g}"
    rest = f"{start} {unit} or more" if start else "any reading"
    return "; ".join([*parts, f"{rest}: {names.get(limit.otherwise, limit.otherwise)}"])


def as_written(reading: Mapping[str, Any]) -> str:
    """Return a reading as it was written, and in the unit of its limits where that is another.

    >>> as_written({"text": "95 psi", "says": "655 kPa"}), as_written({"text": "5 mm", "says": "5 mm"})
    ('95 psi (655 kPa)', '5 mm')
    """
    text, says = str(reading["text"]), str(reading.get("says", reading["text"]))
    return text if "".join(says.split()) == "".join(text.split()) else f"{text} ({says})"


def figure(value: float) -> str:
    """Return a number to three figures, written out.

    >>> figure(655.002), figure(1234.5), figure(0.04567), figure(2500000.0)
    ('655', '1230', '0.0457', '2500000')
    """
    return f"{float(f'{value:.3g}'):.10g}"
