"""The chart as plain text: a numbered list, each outcome with the number it leads to."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from diagnose.chart import Chart, ChartStep, Ending
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

COLUMNS, LEAST_COLUMNS = 80, 30
"""Of a file of text; at least."""
NAMED = 3
"""So many causes are named where it ends."""


def as_text(chart: Chart, width: int, date: str, program: str) -> str:
    """Return the chart in lines of that width. date: ISO; program: the version of the program."""
    head = [chart.complaint, bike(chart), made(chart, date, program), PROMISES, NO_MANUAL, *HOW_TO_READ, *chart.notes]
    blocks = [[("", line) for line in head if line], *([*_step(chart, step)] for step in chart.steps)]
    if isinstance(chart.start, Ending):
        blocks.append([("", f"There is nothing to draw: {end(chart.start)}")])
    if chart.cautions:
        blocks.append([("", LEGEND), *(("! ", f"{c.name}: {c.say}") for c in chart.cautions)])
    width = max(width, LEAST_COLUMNS)
    return "\n\n".join("\n".join(row for line in block for row in _rows(*line, width)) for block in blocks) + "\n"


def _rows(lead: str, text: str, width: int) -> list[str]:
    """Return a line broken so that what follows stands under the text."""
    room = " " * len(lead)
    rows = textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=room, break_on_hyphens=False)
    return [row.replace(HARD, " ") for row in rows]


def _step(chart: Chart, step: ChartStep) -> Iterator[tuple[str, str]]:
    """Give the lines of a step, each with what stands before it."""
    yield f"{step.number:>2}. ", f"{step.name} ({spent(step)}, {step.id})"
    if step.cautions:
        yield "    ! ", marks(chart, step)
    for first in step.before:
        yield "    ", first
    if step.how:
        yield "    ", step.how
    for way in exits(step, NAMED):
        to = f" ->{HARD}{way.to}" if isinstance(way.to, int) else f": {end(way.to)}"
        yield "    - ", outcome(way) + to
