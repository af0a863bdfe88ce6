"""The bike's own sheet on the screen and on paper: manual, as found and as set side by side."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING

from diagnose.consultation.sheet import DIFFERS, FOUND_FIRST, IN_ORDER, TO_SET, Row, rows, sources
from diagnose.terminal.page import Line, Page
from diagnose.wording import day

if TYPE_CHECKING:
    from diagnose.consultation import Consultation
    from diagnose.consultation.state import Figure

TABLE_FROM = 70
"""Columns from which a table fits; below them each value is a block of its own."""

HEADS = ("", "manual", "as found", "as set")
SHARES = (0.32, 0.26, 0.21, 0.21)
"""Parts of the width for the name and the three figures."""

GAP = 2
DOTS = "........"
"""Where a figure is to be written by hand."""

STANDS = {FOUND_FIRST: "not measured yet", TO_SET: "TO DO", DIFFERS: "other than manual", IN_ORDER: "in order"}
"""What stands in the last column where nothing was set."""

Cells = tuple[str, str, str, str]


def sheet_lines(page: Page, consultation: Consultation) -> list[Line]:
    """Return the sheet as part of a screen; nothing where nothing is on it."""
    listed = rows(consultation.knowledge, consultation.state)
    if not listed:
        return []
    return [page.rule("Sheet"), *_laid_out(page, [(row, _cells(row)) for row in listed])]


def board_page(page: Page, job: str, consultation: Consultation) -> list[Line]:
    """Return the sheet as a page to hang by the bike: title, source, every value with room, what is to do."""
    state, listed = consultation.state, rows(consultation.knowledge, consultation.state)
    at = consultation.events[0].at
    made = f"Job {job}, {day(at[:10])}" if at else f"Job {job}"
    head = [Line(""), *page.wrapped((state.title or "A motorcycle").upper(), "", "bold"), *page.wrapped(made)]
    of = sources(listed)
    if len(of) == 1:
        head += page.wrapped(f"Manual: {of[0]}", rest="        ")
    filled = [(row, _to_write(row, consultation, len(of) > 1)) for row in listed]
    return [*head, Line(""), *_laid_out(page, filled, room=True), *_to_do(page, listed)]


def _laid_out(page: Page, filled: Sequence[tuple[Row, Cells]], *, room: bool = False) -> Iterator[Line]:
    """Give the rows as a table, or as blocks where the page is narrow; room: an empty line between them."""
    wide = page.width >= TABLE_FROM
    if wide:
        yield from _table_row(page, HEADS, "bold")
    for number, (row, cells) in enumerate(filled):
        if room and (number or wide):
            yield Line("")
        style = "bold" if row.stands == TO_SET else ""
        yield from _table_row(page, cells, style) if wide else _block(page, cells, style)


def _table_row(page: Page, cells: Cells, style: str) -> Iterator[Line]:
    """Give one row of the table, each cell broken within its column."""
    widths = [int(page.width * share) for share in SHARES]
    broken = [
        [part for line in cell.split("\n") for part in textwrap.wrap(line, width - GAP) or [""]]
        for cell, width in zip(cells, widths, strict=True)
    ]
    for parts in zip_longest(*broken, fillvalue=""):
        text = "".join(part.ljust(width) for part, width in zip(parts, widths, strict=True))
        yield Line(text.rstrip(), "bold" if style == "bold" else "")


def _block(page: Page, cells: Cells, style: str) -> Iterator[Line]:
    """Give one value as a block: its name, and below it the three figures."""
    yield from page.wrapped(cells[0], "", "bold" if style == "bold" else "", rest="  ")
    for head, cell in zip(HEADS[1:], cells[1:], strict=True):
        if cell and cell != "-":
            yield from page.wrapped(cell.replace("\n", ", "), f"    {head:<8}   ")


def _cells(row: Row, consultation: Consultation | None = None) -> Cells:
    """Return what stands in a row; with the job also what each figure was measured with and when."""
    usual = f"(usual: {row.usual})" if row.usual else "-"
    found = _figure(row, row.found, consultation) if row.found else "-"
    put = _figure(row, row.set, consultation) if row.set else STANDS.get(row.stands, "")
    return row.name, row.manual or usual, found, put


def _to_write(row: Row, consultation: Consultation, paged: bool) -> Cells:
    """Return what stands in a row of the board, with dots where a figure is to be written by hand.

    paged: below the manual's figure stands its page.
    """
    name, manual, found, put = _cells(row, consultation)
    manual = f"{manual}\n{row.source}" if paged and row.source else manual
    return name, manual, found if row.found else DOTS, put if row.set or row.found else DOTS


def _figure(row: Row, figure: Figure, consultation: Consultation | None) -> str:
    text = row.item.choices.get(figure.text, figure.text)
    if consultation is None:
        return text
    degrees = [] if figure.temperature is None else [f"at {figure.temperature:g} C"]
    at = consultation.events[figure.number].at[:10]
    more = ", ".join(filter(None, [figure.instrument, *degrees, day(at, short=True) if at else ""]))
    return f"{text}\n{more}" if more else text


def _to_do(page: Page, listed: Sequence[Row]) -> Iterator[Line]:
    """Give what is outside the manual and not put right, and what was not measured yet."""
    wrong = [row for row in listed if row.stands in (TO_SET, DIFFERS)]
    unmeasured = any(row.stands == FOUND_FIRST for row in listed)
    if wrong:
        yield from (Line(""), Line("STILL TO DO", "bold"))
    for row in wrong:
        last = row.set or row.found
        how = "set" if row.set else "found"
        yield from page.wrapped(f"{row.name}: {how} {last.text if last else ''}, manual {row.manual}", "[ ] ")
    if unmeasured:
        yield Line("")
        yield from page.wrapped(f"{DOTS} Measure, and write it as found before you turn anything.")
