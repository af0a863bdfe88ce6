"""What stands in the boxes, the head and the foot: lines of type with their sizes, broken to fit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from diagnose.chart import Chart, ChartStep, Ending
from diagnose.report.chart.measure import width, wrap
from diagnose.report.chart.sheet import Sheet
from diagnose.report.chart.words import (
    HARD,
    HOW_TO_READ,
    LEGEND,
    NO_MANUAL,
    PROMISES,
    bike,
    end,
    exits,
    made,
    marks,
    outcome,
    spent,
)

NAMED = 2
"""So many causes are named in a box where it ends; there is no room for more."""

BULLET = "\N{BULLET} "
"""Before each outcome."""

COLUMNS = 3
"""Of the foot."""


@dataclass(frozen=True, slots=True)
class Type:
    """A line of type. x: from the left edge of its block; y: its foot line, from the top of its block. Millimetres."""

    text: str
    x: float
    y: float
    size: float
    bold: bool = False

    @property
    def width(self) -> float:
        """How wide it is printed."""
        return width(self.text, self.size, self.bold)


@dataclass(frozen=True, slots=True)
class Block:
    """Lines of type with the room they take. rules: y of the lines drawn across."""

    lines: tuple[Type, ...]
    width: float
    height: float
    rules: tuple[float, ...] = ()


Part = tuple[str, str, float, bool]
"""What stands before a text (bold), the text, its size, whether it is bold."""


def stacked(parts: Iterable[Part], room: float, leading: float, pad: float) -> Block:
    """Return texts broken to fit and set below each other; what follows stands under the text, not under its lead."""
    lines: list[Type] = []
    y = pad
    for lead, text, size, bold in parts:
        indent = width(lead, size, True)
        rows = wrap(text, size, room - 2 * pad - indent, bold)
        for n, row in enumerate(rows):
            y += size * leading
            foot = y - size * (leading - 0.95)
            if lead and not n:
                lines.append(Type(lead.strip(), pad, foot, size, True))
            lines.append(Type(row, pad + indent, foot, size, bold))
    return Block(tuple(lines), room, y + pad)


def box(chart: Chart, step: ChartStep, sheet: Sheet, room: float, how: bool) -> Block:
    """Return what stands in the box of a step: what to do, a rule, where the answers lead.

    room: its width; how: with the first plain step.
    """
    pad = 0.5 * sheet.type
    above = stacked(_doing(chart, step, sheet, how), room, sheet.line, pad)
    below = stacked(_leading(step, sheet), room, sheet.line, pad)
    down = above.height - pad / 2
    moved = tuple(Type(t.text, t.x, t.y + down, t.size, t.bold) for t in below.lines)
    return Block((*above.lines, *moved), room, down + below.height, (down,))


def _doing(chart: Chart, step: ChartStep, sheet: Sheet, how: bool) -> Iterator[Part]:
    yield f"{step.number} ", step.name, sheet.name_size, True
    yield "", f"{spent(step)}, {step.id}", sheet.small_size, False
    if step.cautions:
        yield "! ", marks(chart, step), sheet.type, True
    for first in step.before:
        yield "", first, sheet.type, False
    if step.how and how:
        yield "", step.how, sheet.type, False


def _leading(step: ChartStep, sheet: Sheet) -> Iterator[Part]:
    for way in exits(step, NAMED):
        if isinstance(way.to, int):
            yield BULLET, f"{outcome(way)}{HARD}→{HARD}{way.to}", sheet.type, True
        else:
            yield BULLET, f"{outcome(way)}: {end(way.to)}", sheet.type, False


def head(chart: Chart, sheet: Sheet, date: str, program: str) -> Block:
    """Return what stands over the chart."""
    says = [bike(chart), f"{made(chart, date, program)} {PROMISES} {NO_MANUAL}", " ".join(HOW_TO_READ), *chart.notes]
    if isinstance(chart.start, Ending):
        says.append(f"There is nothing to draw: {end(chart.start)}")
    parts: list[Part] = [("", chart.complaint, sheet.title_size, True)] if chart.complaint else []
    loud = (says[0], *chart.notes)
    parts += [("", text, sheet.type if text in loud else sheet.small_size, text in loud) for text in says]
    return stacked(parts, sheet.room, sheet.line, 0.0)


def foot(chart: Chart, sheet: Sheet) -> Block:
    """Return the legend of the cautions, in columns about equally long; nothing where there are none."""
    if not chart.cautions:
        return Block((), sheet.room, 0.0)
    size, between = sheet.small_size, sheet.type
    title = stacked([("", LEGEND, sheet.name_size, True)], sheet.room, sheet.line, 0.0)
    room = (sheet.room - (COLUMNS - 1) * between) / COLUMNS
    each = [stacked(_caution(c.name, c.say, size), room, 1.15, 0.0) for c in chart.cautions]
    lines, height = list(title.lines), title.height
    for n, column in enumerate(_shared(each)):
        y = title.height
        for block in column:
            lines += [Type(t.text, t.x + n * (room + between), t.y + y, t.size, t.bold) for t in block.lines]
            y += block.height + 0.4 * size
        height = max(height, y)
    return Block(tuple(lines), sheet.room, height)


def _caution(name: str, say: str, size: float) -> list[Part]:
    return [("! ", name, size, True), ("", say, size, False)]


def _shared(blocks: Sequence[Block]) -> list[list[Block]]:
    """Return blocks shared out in their order to the columns, none longer than it must be."""

    def filled(most: float) -> list[list[Block]]:
        columns: list[list[Block]] = [[]]
        for block in blocks:
            if columns[-1] and sum(b.height for b in columns[-1]) + block.height > most:
                columns.append([])
            columns[-1].append(block)
        return columns

    tries = sorted(
        {sum(b.height for b in blocks[i:j]) for i in range(len(blocks)) for j in range(i + 1, len(blocks) + 1)}
    )
    return next(columns for most in tries if len(columns := filled(most + 1e-6)) <= COLUMNS)
