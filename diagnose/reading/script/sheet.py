"""The bike's own sheet in a scripted job: the manual's figures, and steps that say how a value was found or set."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diagnose.events import Event
from diagnose.figures import manual_figure, measured_figure
from diagnose.reading.script.desk import Desk, Figure
from diagnose.reading.source import Node
from diagnose.sides import parted
from diagnose.units import convert

BESIDE = ("instrument", "temperature")
"""Keys that may stand beside a value as found or as set."""

SOURCE = 'sheet_from: "workshop manual 1974, page 41"'


def from_manual(keys: Mapping[str, Node], desk: Desk) -> Iterator[tuple[Event, Node]]:
    """Yield what `sheet` at the top of a job gives, each with where it is written."""
    source = desk.text(keys.get("sheet_from"))
    if "sheet" in keys and not source:
        says = "the sheet does not say where its figures come from"
        desk.wrong(keys["sheet"], says, "sheet-without-source", SOURCE, key=True)
    if "sheet_from" in keys and "sheet" not in keys:
        says, write = "sheet_from stands here without a sheet", "sheet: {a value: its figure}"
        desk.wrong(keys["sheet_from"], says, "source-without-sheet", write, key=True)
    for body, node in _figures(keys.get("sheet"), desk, manual_figure):
        if "side" in body:
            says = f"the manual gives {body['item']} for both sides"
            desk.wrong(node, says, "manual-by-side", body["item"], key=True)
        yield Event("sheet", body | {"source": source}), node


def manual_step(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield what a manual gives that was found only later."""
    named = {"sheet": keys["sheet"]} | ({"sheet_from": keys["from"]} if "from" in keys else {})
    if "from" not in keys:
        says, write = "this step does not say where its figures come from", 'from: "workshop manual 1974, page 41"'
        desk.wrong(keys["sheet"], says, "sheet-without-source", write, key=True)
        return
    yield from (event for event, _ in from_manual(named, desk))


def measured_step(main: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield how values were found, or set to."""
    more: dict[str, Any] = {}
    if "instrument" in keys:
        more["instrument"] = desk.needed(keys["instrument"])
    if "temperature" in keys and (degrees := desk.quantity(keys["temperature"], "temperature", ("C", "F"))):
        more["temperature_C"] = convert(degrees, "C").value
    if not desk.mapping(keys[main]) and isinstance(keys[main].content, dict | None):
        desk.wrong(keys[main], f"{main} names no value", "empty-value", f"{main}: {{a value: its figure}}", key=True)
    for body, _ in _figures(keys[main], desk, measured_figure):
        yield Event("as_set" if main == "as_set" else "as_found", body | more)


def _figures(node: Node | None, desk: Desk, read_as: Figure) -> Iterator[tuple[dict[str, Any], Node]]:
    """Yield each value that is written, with its side if it has one, and where it stands."""
    items = desk.knowledge.quantities
    for written, given in desk.mapping(node).items():
        name, side = parted(written)
        if name not in items:
            desk.unknown(given, "value", name, items, key=True)
        elif (text := desk.needed(given)) and (body := desk.figure(given, name, text, read_as)):
            yield body | ({"side": side} if side else {}), given
