"""What the events about the bike's own sheet do to the state: the manual's figure, as found, as set."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from diagnose.consultation.state import Figure, Seen, Spot, State, entry_of, misfit
from diagnose.figures import in_si
from diagnose.model import Knowledge, SheetItem, Test, gate_state, may_apply
from diagnose.network.situations import RepairDone
from diagnose.problems import JobError
from diagnose.reading.instances import ON_TWIN
from diagnose.sides import SIDES, parted
from diagnose.units import Quantity

Body = Mapping[str, Any]


def sides_on(item: SheetItem, facts: Mapping[str, str]) -> tuple[str, ...]:
    """Return the sides on which a bike has a value: one without a name, or left and right."""
    twin = bool(item.each) and gate_state(ON_TWIN[item.each], facts) is True
    return SIDES if twin else ("",)


def found_by_test(knowledge: Knowledge, state: State, test: Test, seen: Seen) -> State:
    """Return the state with what a test measured as the value as found, if none is stored yet.

    Not where the test itself changes the bike (oil in the bore), nor after a repair of what the value points to.
    """
    item = knowledge.quantities.get(test.reading.sheet) if test.reading else None
    given = seen.reading
    if item is None or not given or given.get("value") is None or not may_apply(item.applies, state.facts):
        return state
    _, side = parted(test.id)
    changed = test.removes or test.supplies or _put_right(item, side, state.repairs[: seen.situation.epoch])
    if changed or (item.id, side) in state.as_found:
        return state
    value, unit = float(given["value"]), str(given.get("unit") or item.unit)
    si = in_si(Quantity(value, unit))
    found = Figure(str(given["text"]), seen.number, value, unit, si, temperature=given.get("celsius"))
    return replace(state, as_found={**state.as_found, (item.id, side): found})


def _put_right(item: SheetItem, side: str, repairs: Sequence[RepairDone]) -> bool:
    """Return whether a repair may have changed a value on that side."""
    causes = {cause for cause in (*item.low, *item.high, *item.differs) if parted(cause)[1] in ("", side)}
    return any(causes & set(repair.cures) for repair in repairs)


def _from_manual(knowledge: Knowledge, state: State, body: Body, number: int) -> State:
    item = _fitting(knowledge, state, body)
    if not body.get("source"):
        raise JobError(f"{item.name}: where does the figure come from? Write manual, year and page.")
    if item.measured and not {"low", "high", "value"} & body.keys():
        raise JobError(f"{item.name}: {body.get('text')!r} gives no figure; write one such as 0.3 to 0.4 and its unit")
    return replace(state, manual={**state.manual, item.id: {**body, "number": number}})


def _as_found(knowledge: Knowledge, state: State, body: Body, number: int) -> State:
    item, spot = _measured(knowledge, state, body)
    if spot in state.as_set:
        raise JobError(
            f"{item.name} was set already, to {state.as_set[spot].text}; it is not as found any more. "
            "Write what it is now as set."
        )
    return replace(state, as_found={**state.as_found, spot: _figure(item, body, number)})


def _as_set(knowledge: Knowledge, state: State, body: Body, number: int) -> State:
    item, spot = _measured(knowledge, state, body)
    if spot not in state.as_found:
        raise JobError(
            f"{item.name} cannot be written as set to {body['text']} before it is written how it was found. "
            "Write that first; if nobody measured it, put it down as a note."
        )
    return replace(state, as_set={**state.as_set, spot: _figure(item, body, number)})


def _measured(knowledge: Knowledge, state: State, body: Body) -> tuple[SheetItem, Spot]:
    """Return the value that was measured, and where. Raises JobError."""
    item, side = _fitting(knowledge, state, body), str(body.get("side") or "")
    sides = sides_on(item, state.facts)
    if side not in sides:
        ids = " or ".join(f"{item.id}.{one}" for one in sides)
        says = "on this bike it goes by side" if sides == SIDES else "on this bike it has no sides"
        raise JobError(f"{item.name}: {says}; write {ids if sides == SIDES else item.id}")
    return item, (item.id, side)


def _fitting(knowledge: Knowledge, state: State, body: Body) -> SheetItem:
    """Return the value an event speaks of, where such a bike has it. Raises JobError."""
    item: SheetItem = entry_of("value of the sheet", knowledge.quantities, str(body.get("item")))
    if not str(body.get("text") or "").strip():
        raise JobError(f"{item.name}: nothing is written for it")
    if why := misfit(knowledge, item.applies, state.facts):
        raise JobError(f"{item.name} ({item.id}) does not fit this bike: {why}")
    return item


def _figure(item: SheetItem, body: Body, number: int) -> Figure:
    """Return what was measured. Raises JobError where its number is missing."""
    text, instrument, temperature = str(body["text"]), str(body.get("instrument") or ""), body.get("temperature_C")
    degrees = None if temperature is None else float(temperature)
    if not item.measured:
        return Figure(text, number, instrument=instrument, temperature=degrees)
    if body.get("value") is None or body.get("si") is None:
        raise JobError(f"{item.name}: {text!r} gives no figure; write a number and its unit")
    unit = str(body.get("unit") or "")
    return Figure(text, number, float(body["value"]), unit, float(body["si"]), instrument, degrees)


SHEET: Mapping[str, Callable[[Knowledge, State, Body, int], State]] = {
    "sheet": _from_manual,
    "as_found": _as_found,
    "as_set": _as_set,
}
"""Kind of event -> what it does to the state."""
