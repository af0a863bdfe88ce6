"""The bike's own sheet under More: the manual's figures, as found, as set; sheets that are kept, taken and kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from diagnose.problems import DiagnoseError
from diagnose.sides import parted, side_of
from diagnose.terminal.answers.moves import warn
from diagnose.terminal.asking.asker import BACK, BACK_ENTRY, ROWS, Choice
from diagnose.terminal.bench import Bench
from diagnose.terminal.views import AGAIN

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.events import Event
    from diagnose.model import SheetItem

FOUND, SET, MANUAL, TAKE, KEEP = "as_found", "as_set", "sheet", "take", "keep"
ENTRIES = (
    Choice(FOUND, "As found: what I measured"),
    Choice(SET, "As set: what I set it to"),
    Choice(MANUAL, "What the manual says"),
    Choice(TAKE, "Take a sheet that is kept"),
    Choice(KEEP, "Keep this sheet for the next bike"),
    BACK_ENTRY,
)
ASKS = {FOUND: "as found", SET: "as set", MANUAL: "by the manual"}


def on_sheet(bench: Bench) -> str | None:
    """Show the sheet and ask what is to be written on it, until he goes back."""
    from diagnose.terminal.sheet import sheet_lines

    before = len(bench.events)
    while True:
        bench.page.show(sheet_lines(bench.page, bench.consultation))
        chosen = bench.asker.choose("on_sheet", "What goes on the sheet?", ENTRIES)
        if chosen == BACK:
            return AGAIN if len(bench.events) > before else None
        if chosen == TAKE:
            _take(bench)
        elif chosen == KEEP:
            _keep(bench)
        else:
            _write(bench, chosen)


def _write(bench: Bench, kind: str) -> None:
    """Ask for one value after another, until he goes back."""
    if kind == SET and not bench.consultation.state.as_found:
        warn(bench, "Nothing is written as found yet. Measure first, and write that.")
        return
    group = ""
    while True:
        chosen, group = _which(bench, kind, group)
        if not chosen:
            return
        name, side = parted(chosen)
        if event := _ask(bench, kind, bench.knowledge.quantities[name], side):
            _record(bench, [event])


def _which(bench: Bench, kind: str, group: str = "") -> tuple[str, str]:
    """Ask for a value: those on the sheet stand at once, the others behind their group.

    group: the one the last value came from, asked first again. Returns the value and its group; no value: back.
    """
    spots, state = _spots(bench, kind), bench.consultation.state
    at_hand = [spot for spot in spots if kind == SET or spot[0].id in state.manual]
    others = [spot for spot in spots if spot not in at_hand]
    groups = dict.fromkeys(item.group for item, _ in others)
    while True:
        rows = [_row(bench, *spot) for spot in others if spot[0].group == group]
        question = f"{group.capitalize()}, {ASKS[kind]}: which?"
        if rows and (value := _choose(bench, f"{kind}.value", question, rows)):
            return value, group
        rows = [*(_row(bench, *spot) for spot in at_hand), *(Choice(one, f"{one.capitalize()} ...") for one in groups)]
        group = _choose(bench, f"{kind}.item", f"Which value, {ASKS[kind]}?", rows)
        if group not in groups:
            return group, ""


def _choose(bench: Bench, name: str, question: str, rows: list[Choice]) -> str:
    """Ask for one of some rows; typing narrows them down where they have no keys. Empty: back."""
    chosen = bench.asker.choose(name, question, [*rows, BACK_ENTRY], search=len(rows) > len(ROWS))
    return "" if chosen == BACK else chosen


def _spots(bench: Bench, kind: str) -> list[tuple[SheetItem, str]]:
    """Return the values such a bike has, each with its sides; as set only what was written as found."""
    from diagnose.consultation.sheet import fitting
    from diagnose.consultation.sheet_events import sides_on

    state = bench.consultation.state
    items = fitting(bench.knowledge, state)
    if kind == MANUAL:
        return [(item, "") for item in items]
    spots = [(item, side) for item in items for side in sides_on(item, state.facts)]
    return [(item, side) for item, side in spots if kind == FOUND or (item.id, side) in state.as_found]


def _row(bench: Bench, item: SheetItem, side: str) -> Choice:
    """Return a value as a line of a list, with what the manual says of it."""
    manual = bench.consultation.state.manual.get(item.id)
    name = f"{item.name}, {side}" if side else item.name
    said = f"{name} ({item.choices.get(manual['text'], manual['text'])})" if manual else name
    return Choice(side_of(item.id, side) if side else item.id, said)


def _ask(bench: Bench, kind: str, item: SheetItem, side: str) -> Event | None:
    """Ask for a figure until it can be read; None for an empty line."""
    from diagnose.consultation.sheet import as_measured, from_manual

    while typed := _figure(bench, kind, item, side):
        try:
            event = from_manual(item, typed, "") if kind == MANUAL else as_measured(kind, item, typed, side)
        except DiagnoseError as error:
            warn(bench, str(error))
            continue
        return _with_source(bench, event) if kind == MANUAL else _with_what(bench, event, item)
    return None


def _figure(bench: Bench, kind: str, item: SheetItem, side: str) -> str:
    """Ask for the figure, with what the manual says or what is usual beside it; of a choice, which."""
    from diagnose.consultation.sheet import usual

    name = f"{item.name}, {side}" if side else item.name
    if item.kind == "choice":
        rows = [Choice(word, text) for word, text in item.choices.items()]
        chosen = bench.asker.choose(f"{kind}.figure", f"{name}, {ASKS[kind]}?", [*rows, BACK_ENTRY])
        return "" if chosen == BACK else chosen
    state = bench.consultation.state
    manual, common = state.manual.get(item.id), usual(item, state.facts)
    hint = f"manual {manual['text']}" if manual and kind != MANUAL else f"usual {common}" if common else item.unit
    return bench.asker.text(f"{kind}.figure", f"{name}, {ASKS[kind]}{f' ({hint})' if hint else ''} (Enter: none):")


def _with_source(bench: Bench, event: Event) -> Event | None:
    """Ask where the manual says so; the last answer is offered again."""
    manual = bench.consultation.state.manual
    last = str(list(manual.values())[-1]["source"]) if manual else ""
    source = bench.asker.text("sheet.from", "Which manual, year, page?", last)
    if not source:
        warn(bench, "Not written: a figure needs to say where it stands.")
        return None
    return replace(event, body={**event.body, "source": source})


def _with_what(bench: Bench, event: Event, item: SheetItem) -> Event:
    """Ask what it was measured with, and how warm it was where that counts; Enter skips."""
    from diagnose.consultation.corrections import BY_TEMPERATURE

    more: dict[str, str | float] = {}
    if item.unit not in ("", "turns") and (
        instrument := bench.asker.text("figure.with", "Measured with (Enter: not said):")
    ):
        more["instrument"] = instrument
    readings = [test.reading for test in bench.knowledge.tests.values() if test.reading]
    if any(one.sheet == item.id and set(BY_TEMPERATURE) & set(one.correct) for one in readings):
        degrees = _degrees(bench)
        more |= {} if degrees is None else {"temperature_C": degrees}
    return replace(event, body={**event.body, **more})


def _degrees(bench: Bench) -> float | None:
    """Ask how warm it was until that can be read; None for an empty line."""
    from diagnose.taken import parse_where

    while typed := bench.asker.text("figure.degrees", "How warm was it, such as 12 C (Enter: not taken):"):
        try:
            name, value = parse_where(typed)
        except DiagnoseError as error:
            warn(bench, str(error))
            continue
        if name == "celsius":
            return value
        warn(bench, "That is no temperature; write it like 12 C or 54 F.")
    return None


def _record(bench: Bench, events: Sequence[Event]) -> None:
    """Write events down, or say why they cannot be."""
    from diagnose.terminal.views import said

    for event in events:
        try:
            bench.take(event)
        except DiagnoseError as error:
            warn(bench, str(error))
        else:
            text = f"Written: {said(bench.knowledge, event)}{_beside_manual(bench, event)}"
            bench.page.show(bench.page.wrapped(text, "  ", rest="    "))


def _beside_manual(bench: Bench, event: Event) -> str:
    """Return how a figure that was found or set so stands beside the manual's; empty where it is in order."""
    from diagnose.consultation.sheet import DIFFERS, TO_SET, rows

    if event.kind == MANUAL:
        return ""
    spot = event.body["item"], event.body.get("side", "")
    stands = next((row.stands for row in rows(bench.knowledge, bench.consultation.state) if row.spot == spot), "")
    return {TO_SET: " - outside the manual", DIFFERS: " - other than the manual"}.get(stands, "")


def _take(bench: Bench) -> None:
    """Ask which kept sheet, and write what of it fits this bike."""
    from diagnose.consultation.sheet import taking

    kept = bench.store.sheets.all()
    if not kept:
        warn(bench, "No sheet is kept yet.")
        return
    rows = [Choice(str(n), f"{one.name} ({len(one.figures)})") for n, one in enumerate(kept)]
    chosen = bench.asker.choose("take", "Which sheet?", [*rows, BACK_ENTRY], search=len(rows) > 8)
    if chosen == BACK:
        return
    found = taking(bench.knowledge, bench.consultation.state, kept[int(chosen)].figures)
    _record(bench, found.events)
    for value, why in found.left:
        bench.page.show(bench.page.wrapped(f"Left out: {value} - {why}", "  ", rest="    "))
    if not (found.events or found.left):
        warn(bench, "All of it is on the sheet already.")


def _keep(bench: Bench) -> None:
    """Ask for a name and keep the manual's figures under it."""
    from diagnose.consultation.sheet import figures_of

    figures, sheets = figures_of(bench.consultation.state), bench.store.sheets
    if not figures:
        warn(bench, "No figure of a manual is on the sheet yet.")
        return
    name = bench.asker.text("keep", "Keep it under which name (Enter: not):")
    if not name:
        return
    taken = any(one.name.casefold() == " ".join(name.split()).casefold() for one in sheets.all())
    if taken and not bench.asker.confirm("keep.replace", "One of that name is kept. Replace it?"):
        return
    try:
        kept = sheets.keep(name, figures, bench.job, replace=taken)
    except DiagnoseError as error:
        warn(bench, str(error))
    else:
        warn(bench, f"Kept: {kept.name}.")
