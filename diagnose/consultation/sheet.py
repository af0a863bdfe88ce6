"""The bike's own sheet as it stands in a job: its rows, the limits it gives, and the events that fill it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.consultation.sheet_events import sides_on
from diagnose.consultation.state import Figure, State
from diagnose.events import Event
from diagnose.figures import manual_figure, measured_figure
from diagnose.model import Knowledge, SheetItem, gate_state, may_apply
from diagnose.ranges import Range, in_unit
from diagnose.units import Quantity, QuantityError, convert

Body = Mapping[str, Any]

Limits = tuple[float | None, float | None]
"""Lower and upper limit; None where there is none."""

FOUND_FIRST, TO_SET, DIFFERS, IN_ORDER, OPEN = "found_first", "to_set", "differs", "in_order", "open"
"""How a row stands: as found is not written yet; outside the manual and not set; other than the manual; within it;
nothing to hold it against."""

SLACK = 1e-6
"""Share by which a figure may pass a limit that was written in another unit."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the sheet. manual, source: as written, empty where the manual says nothing; usual: never a limit."""

    item: SheetItem
    side: str
    manual: str
    source: str
    found: Figure | None
    set: Figure | None
    usual: str
    stands: str

    @property
    def spot(self) -> tuple[str, str]:
        """The value's id and its side."""
        return self.item.id, self.side

    @property
    def name(self) -> str:
        """The value's name, with its side on a twin."""
        return f"{self.item.name}, {self.side}" if self.side else self.item.name


def rows(knowledge: Knowledge, state: State) -> tuple[Row, ...]:
    """Return a line for every value of which something is written, in the order of the book."""
    touched = {*state.manual, *(item for item, _ in (*state.as_found, *state.as_set))}
    raw = {test.reading.sheet for test in knowledge.tests.values() if test.reading and test.reading.correct}
    return tuple(
        _row(state, item, side, judged=item.id not in raw)
        for item in knowledge.quantities.values()
        if item.id in touched
        for side in sides_on(item, state.facts)
    )


def fitting(knowledge: Knowledge, state: State) -> tuple[SheetItem, ...]:
    """Return the values that such a bike has."""
    return tuple(item for item in knowledge.quantities.values() if may_apply(item.applies, state.facts))


def limits(knowledge: Knowledge, state: State, item_id: str, unit: str = "") -> Limits | None:
    """Return the manual's limits of a value in its own unit or another; None where the manual gives none.

    A single figure without a tolerance is no limit. Raises KeyError for a value that is not in the book, QuantityError.
    """
    given = _given(knowledge.quantities[item_id], state)
    if given is None or (given.low is None and given.high is None):
        return None
    wanted = in_unit(given, unit or knowledge.quantities[item_id].unit)
    return wanted.low, wanted.high


def figure_of(knowledge: Knowledge, state: State, item_id: str, unit: str = "") -> float | None:
    """Return a value of the bike in a unit: the manual's figure, or the middle of its range, else as it was found.

    None where neither is written. unit: none for what is counted.
    """
    if item_id in state.manual:
        given = _given(knowledge.quantities[item_id], state)
        own = in_unit(given, unit) if given else None
        ends = [] if own is None else [end for end in (own.low, own.high) if end is not None]
        return own.value if own and own.value is not None else sum(ends) / len(ends) if len(ends) == 2 else None
    found = state.as_found.get((item_id, ""))
    return None if found is None or found.value is None else convert(Quantity(found.value, found.unit), unit).value


def _given(item: SheetItem, state: State) -> Range | None:
    """Return the manual's figure for a value, as it was written."""
    body = state.manual.get(item.id)
    if body is None or not item.measured:
        return None
    return Range(body.get("low"), body.get("high"), body.get("value"), str(body.get("unit") or ""), str(body["text"]))


def usual(item: SheetItem, facts: Mapping[str, str]) -> str:
    """Return what is usual for a bike of these facts, in words; empty where that is not known."""
    for wanted in (True, None):
        for typical in item.typical:
            if gate_state(typical.applies, facts) is wanted:
                return span(typical.low, typical.high, item.unit) + _on_gauges(typical.low, typical.high, item.unit)
    return ""


def _on_gauges(low: float | None, high: float | None, unit: str) -> str:
    """Return a range in kPa as gauges show it, to two figures.

    >>> _on_gauges(900, 1500, "kPa")
    ', 130 to 220 psi, 9 to 15 bar'
    """
    if unit != "kPa":
        return ""
    told = []
    for other in ("psi", "bar"):
        least, most = (
            None if end is None else float(f"{convert(Quantity(end, unit), other).value:.2g}") for end in (low, high)
        )
        told.append(span(least, most, other))
    return "".join(f", {one}" for one in told)


def span(low: float | None, high: float | None, unit: str) -> str:
    """Return a range in words.

    >>> span(0.3, 0.4, "mm"), span(None, 2, "kPa"), span(300, None, "ml/min")
    ('0.3 to 0.4 mm', 'up to 2 kPa', '300 ml/min or more')
    """
    if low is None or high is None:
        return f"up to {high:g} {unit}".strip() if low is None else f"{low:g} {unit} or more".replace("  ", " ")
    return (f"{low:g} to {high:g} {unit}" if low != high else f"{low:g} {unit}").strip()


def _row(state: State, item: SheetItem, side: str, *, judged: bool) -> Row:
    """Return one line; what must be corrected before it is held against the manual is not judged here."""
    body, spot = state.manual.get(item.id, {}), (item.id, side)
    manual, source = str(body.get("text", "")), str(body.get("source", ""))
    found, put = state.as_found.get(spot), state.as_set.get(spot)
    stands = _stands(item, _given(item, state), manual, found, put)
    stands = stands if judged or stands == FOUND_FIRST else OPEN
    manual = item.choices.get(manual, manual)
    return Row(item, side, manual, source, found, put, usual(item, state.facts), stands)


def _stands(item: SheetItem, given: Range | None, manual: str, found: Figure | None, put: Figure | None) -> str:
    """Return how a row stands; what was set last counts."""
    last = put or found
    if not manual or last is None:
        return FOUND_FIRST if manual else OPEN
    if given is None:
        return IN_ORDER if last.text.casefold() == manual.casefold() else DIFFERS
    if last.value is None:
        return OPEN
    value = in_unit(Range(None, None, last.value, last.unit), item.unit).value or 0.0
    own = in_unit(given, item.unit)
    if own.low is None and own.high is None:
        exact = abs(value - (own.value or 0.0)) <= SLACK * abs(value)
        return IN_ORDER if exact else (DIFFERS if item.kind == "number" else OPEN)
    under = own.low is not None and value < own.low - SLACK * abs(own.low)
    over = own.high is not None and value > own.high + SLACK * abs(own.high)
    return TO_SET if under or over else IN_ORDER


def from_manual(item: SheetItem, text: str, source: str, at: str = "") -> Event:
    """Return the event that the manual gives a value so. Raises QuantityError."""
    return Event("sheet", {"item": item.id, **manual_figure(item, text), "source": source}, at)


def as_measured(kind: str, item: SheetItem, text: str, side: str = "", more: Mapping[str, Any] | None = None) -> Event:
    """Return the event that a value was found or set so; kind: as_found or as_set. Raises QuantityError."""
    body = {"item": item.id, **measured_figure(item, text)} | ({"side": side} if side else {}) | dict(more or {})
    return Event("as_set" if kind == "as_set" else "as_found", body)


def figures_of(state: State) -> tuple[Body, ...]:
    """Return the manual's figures of a job as the bodies of the events that give them to another."""
    return tuple({key: value for key, value in body.items() if key != "number"} for body in state.manual.values())


@dataclass(frozen=True, slots=True)
class Taking:
    """What of a kept sheet goes into a job, and what does not: name of the value, why."""

    events: tuple[Event, ...]
    left: tuple[tuple[str, str], ...]


def taking(knowledge: Knowledge, state: State, figures: Iterable[Body]) -> Taking:
    """Return what of a kept sheet fits a job. A figure that the job has already stays as it is there."""
    events: list[Event] = []
    left: list[tuple[str, str]] = []
    for body in figures:
        item = knowledge.quantities.get(str(body["item"]))
        if item is None:
            left.append((str(body["item"]), "the book does not have it any more"))
        elif not may_apply(item.applies, state.facts):
            left.append((item.name, "such a bike does not have it"))
        elif item.id in state.manual:
            if state.manual[item.id]["text"] != body["text"]:
                left.append((item.name, f"the job has its own figure, {state.manual[item.id]['text']}"))
        else:
            try:
                events.append(from_manual(item, str(body["text"]), str(body["source"])))
            except QuantityError as error:
                left.append((item.name, str(error)))
    return Taking(tuple(events), tuple(left))


def sources(listed: Sequence[Row]) -> tuple[str, ...]:
    """Return where the manual's figures come from, each once."""
    return tuple(dict.fromkeys(row.source for row in listed if row.source))
