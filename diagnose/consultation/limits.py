"""Which limits a reading is judged by: those of the bike's own sheet if it has them, else the general range. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, nextafter

from diagnose.consultation.sheet import limits
from diagnose.consultation.state import State
from diagnose.model import Knowledge, Limit, Reading, Test, gate_state
from diagnose.problems import JobError
from diagnose.wording import limit_figure

GENERAL = "general range"
MANUAL = "manual"


@dataclass(frozen=True, slots=True)
class Own:
    """What the bike's own manual gives, in the unit of the reading, None for nothing.

    source: page, edition. unit: the one that it is printed in, empty for that of the reading. alone: a figure that it
    gives without limits, as written.
    """

    low: float | None = None
    high: float | None = None
    source: str = ""
    unit: str = ""
    alone: str = ""


NOTHING = Own()


@dataclass(frozen=True, slots=True)
class Judging:
    """What a reading is judged by, all in the unit of the reading.

    limit: outcomes by threshold. low, high: between them it is as it should be, None for open on that side.
    label: whose range that is; source: page and edition where it is the manual's; alone: the manual's figure, where it
    gives one without limits.
    """

    limit: Limit
    low: float | None
    high: float | None
    label: str
    source: str = ""
    alone: str = ""


def limit_for(reading: Reading, facts: Mapping[str, str]) -> Limit:
    """Return the general range for this bike: one whose facts are all known to fit, else one that may fit."""
    for wanted in (True, None):
        for limit in reading.limits:
            if gate_state(limit.applies, facts) is wanted:
                return limit
    raise JobError("The book has no range for this bike; choose what you saw in place of a reading.")


def own_limits(knowledge: Knowledge, state: State, reading: Reading) -> Own:
    """Return what this bike's sheet says of what a test measures, in the unit of the reading."""
    body = state.manual.get(reading.sheet)
    if body is None:
        return NOTHING
    source, unit = str(body.get("source", "")), str(body.get("unit") or "")
    given = limits(knowledge, state, reading.sheet, reading.unit)
    if given is None:
        return Own(source=source, alone=str(body["text"]))
    return Own(*given, source, unit)


def judging(test: Test, reading: Reading, facts: Mapping[str, str], own: Own = NOTHING) -> Judging:
    """Return what a reading of this bike is judged by. Raises JobError where the book has no range for it."""
    limit = limit_for(reading, facts)
    if reading.lower and own.low is not None:
        limit = _moved(limit, reading.lower, own.low)
    if reading.upper and own.high is not None:
        limit = _moved(limit, reading.upper, nextafter(own.high, inf))  # the limit itself is still right
    low, high = good(test, limit)
    mixed = (own.low is None and low is not None) or (own.high is None and high is not None)
    given = own.low is not None or own.high is not None
    label = (f"{MANUAL} and {GENERAL}" if mixed else MANUAL) if given else GENERAL
    low, high = low if own.low is None else own.low, high if own.high is None else own.high
    return Judging(limit, low, high, label, own.source, own.alone)


def _moved(limit: Limit, outcome: str, to: float) -> Limit:
    """Return the limit with one outcome's threshold moved; the others give way where it passes them."""
    names = [name for name, _ in limit.below]
    if outcome not in names:
        return limit
    at = names.index(outcome)
    below = [
        (name, to if n == at else min(value, to) if n < at else max(value, to))
        for n, (name, value) in enumerate(limit.below)
    ]
    return replace(limit, below=tuple(below))


def good(test: Test, limit: Limit) -> tuple[float | None, float | None]:
    """Return the ends of the range in which the outcome is that of a sound bike; None where it is open or has none."""
    sound = {outcome.id for outcome in test.outcomes if outcome.default}
    start: float | None = None
    for name, below in limit.below:
        if name in sound:
            return start, below
        start = below
    return (start, None) if limit.otherwise in sound else (None, None)


def outcome_of(limit: Limit, value: float) -> str:
    """Return the outcome a value, in the unit of the limit, lands on: the first threshold it lies below."""
    return next((name for name, below in limit.below if value < below), limit.otherwise)


def bands(limit: Limit) -> list[tuple[str, float, float]]:
    """Return outcome, from, to, in order; the first begins and the last ends at infinity."""
    ends = [*(below for _, below in limit.below), inf]
    starts = [-inf, *ends[:-1]]
    names = [*(name for name, _ in limit.below), limit.otherwise]
    return list(zip(names, starts, ends, strict=True))


def limit_words(test: Test, limit: Limit) -> str:
    """Return a range in words: what each part of it means."""
    unit = test.reading.unit if test.reading else ""
    names = {outcome.id: outcome.name for outcome in test.outcomes}
    parts, start = [], ""
    for name, below in limit.below:
        end = limit_figure(below)
        part = f"{start} to {end} {unit}" if start else f"under {end} {unit}"
        parts.append(f"{part}: {names.get(name, name)}")
        start = end
    rest = f"{start} {unit} or more" if start else "any reading"
    return "; ".join([*parts, f"{rest}: {names.get(limit.otherwise, limit.otherwise)}"])
