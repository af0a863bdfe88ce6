"""Where everything stands on the sheet. Lengths in millimetres from its upper left corner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diagnose.chart import Chart
from diagnose.report.chart.boxes import Block, box, foot, head
from diagnose.report.chart.order import Ordered, Spot, ordered
from diagnose.report.chart.places import places
from diagnose.report.chart.sheet import Sheet
from diagnose.report.chart.wires import Wire, wires


@dataclass(frozen=True, slots=True)
class Placed:
    """A block on the sheet: its upper left corner. step: the number of its step, 0 for head and foot."""

    block: Block
    x: float
    y: float
    step: int = 0


@dataclass(frozen=True, slots=True)
class Layout:
    """The whole sheet. fits: whether all of it is inside the margins."""

    sheet: Sheet
    placed: tuple[Placed, ...]
    wires: tuple[Wire, ...]
    fits: bool


def layout(chart: Chart, sheet: Sheet, date: str, program: str) -> Layout:
    """Return the chart laid out on a sheet. date: ISO; program: the version of the program."""
    top, bottom = head(chart, sheet, date, program), foot(chart, sheet)
    rows = ordered(chart)
    widths = {spot: wide for row in rows.rows for spot, wide in _widths(row, sheet).items()}
    boxes = {s.step: box(chart, chart[s.step], sheet, wide) for s, wide in widths.items() if not s.to}
    centres = places(rows, widths, sheet.gap, sheet.room)
    left = {spot: sheet.margin + x - widths[spot] / 2 for spot, x in centres.items()}
    placed = [Placed(top, sheet.margin, sheet.margin)]
    drawn: list[Wire] = []
    y = sheet.margin + top.height + sheet.type
    for number, row in enumerate(rows.rows):
        mine = [Placed(boxes[s.step], left[s], y, s.step) for s in row if not s.to]
        placed += mine
        floor = y + max((one.block.height for one in mine), default=0.0)
        channel = wires(_joins(rows, number), _ends(row, mine, left, floor), left, widths, sheet, floor)
        lanes = [Wire(((left[s], y), (left[s], floor))) for s in row if s.to]
        drawn += [*lanes, *channel.wires]
        y = channel.floor
    fits = y + bottom.height <= sheet.height - sheet.margin and _inside(placed, sheet)
    placed.append(Placed(bottom, sheet.margin, max(y, sheet.height - sheet.margin - bottom.height)))
    return Layout(sheet, tuple(placed), tuple(drawn), fits)


def _widths(row: Sequence[Spot], sheet: Sheet) -> dict[Spot, float]:
    """Return how wide each place of a row is: nothing for a lane."""
    lanes = sum(spot.to > 0 for spot in row)
    return {spot: 0.0 if spot.to else sheet.box(len(row) - lanes, lanes) for spot in row}


def _joins(rows: Ordered, number: int) -> list[tuple[Spot, Spot]]:
    return [join for join in rows.joins if join[0].row == number]


def _ends(row: Sequence[Spot], boxes: Sequence[Placed], left: Mapping[Spot, float], floor: float) -> dict[Spot, float]:
    """Return for each place of a row where its wires leave it: the lower edge of the box, the floor for a lane."""
    bottoms = {one.step: one.y + one.block.height for one in boxes}
    return {spot: floor if spot.to else bottoms[spot.step] for spot in row}


def _inside(placed: Sequence[Placed], sheet: Sheet) -> bool:
    edge = sheet.margin - 1e-6
    return all(edge <= one.x and one.x + one.block.width <= sheet.width - edge for one in placed)
