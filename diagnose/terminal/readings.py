"""From what was typed or written as a reading to an outcome, with the limit it was judged by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diagnose.model import Knowledge, Limit, Reading, Test, gate_state
from diagnose.problems import JobError
from diagnose.units import UNITS, convert, kind_of, parse_quantity, units_of


def judged(knowledge: Knowledge, facts: Mapping[str, str], test_id: str, text: str) -> dict[str, Any]:
    """Return the body of an observation: the outcome a reading lands on, the reading itself and its limit.

    Raises:
        DiagnoseError: it cannot be read, has no unit or the wrong one; the message says what to write.
    """
    test = knowledge.tests[test_id]
    reading = test.reading
    if reading is None:
        raise JobError(f"{test.name} takes no reading; choose what you saw.")
    kind = kind_of(reading.unit) if reading.unit in UNITS else reading.quantity
    written = parse_quantity(text, kind)
    if not written.unit and kind != "count":
        examples = " or ".join(f"{written.text} {unit}" for unit in units_of(kind)[:3])
        raise JobError(f"{written.text} has no unit. Write {examples}.")
    value = convert(written, reading.unit).value
    limit = _limit(reading, facts)
    outcome = next((name for name, below in limit.below if value < below), limit.otherwise)
    shown = {
        "text": written.text,
        "value": written.value,
        "unit": written.unit,
        "limit": _limit_text(test, limit),
        "says": f"{value:.3g} {reading.unit}",
    }
    return {"test": test_id, "outcome": outcome, "reading": shown}


def completed(knowledge: Knowledge, facts: Mapping[str, str], body: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the body of an observation with its outcome, worked out where only the reading is given."""
    reading = body.get("reading")
    if not reading or body.get("outcome"):
        return body
    return {**body, **judged(knowledge, facts, body["test"], str(reading["text"]))}


def _limit(reading: Reading, facts: Mapping[str, str]) -> Limit:
    """Return the range for this bike: one whose facts are all known to fit, else one that may fit."""
    for wanted in (True, None):
        for limit in reading.limits:
            if gate_state(limit.applies, facts) is wanted:
                return limit
    raise JobError("The book has no range for this bike; choose what you saw in place of a reading.")


def _limit_text(test: Test, limit: Limit) -> str:
    unit = test.reading.unit if test.reading else ""
    names = {outcome.id: outcome.name for outcome in test.outcomes}
    parts = [f"below {below:g} {unit}: {names.get(name, name)}" for name, below in limit.below]
    return "; ".join([*parts, f"from there on: {names.get(limit.otherwise, limit.otherwise)}"])
