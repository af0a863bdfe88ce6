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
    centres = places(rows, widths, sheet.gap, sheet.room)
    left = {spot: sheet.margin + x - widths[spot] / 2 for spot, x in centres.items()}
    flat = dict.fromkeys(left, 0.0)
    joins = [[join for join in rows.joins if join[0].row == number] for number in range(len(rows.rows))]
    between = sum(wires(some, flat, left, widths, sheet, 0.0).floor for some in joins)
    room = sheet.height - 2 * sheet.margin - top.height - sheet.type - between - bottom.height
    blocks = filled(chart, rows, widths, sheet, room)
    placed = [Placed(top, sheet.margin, sheet.margin)]
    drawn: list[Wire] = []
    y = sheet.margin + top.height + sheet.type
    for row, some in zip(rows.rows, joins, strict=True):
        mine = [Placed(blocks[s.step], left[s], y, s.step) for s in row if not s.to]
        floor = y + max(one.block.height for one in mine)
        channel = wires(some, _ends(row, mine, floor), left, widths, sheet, floor)
        placed += mine
        drawn += [*(Wire(((left[s], y), (left[s], floor))) for s in row if s.to), *channel.wires]
        y = channel.floor
    fits = y + bottom.height <= sheet.height - sheet.margin + 1e-6 and _inside(placed, sheet)
    placed.append(Placed(bottom, sheet.margin, max(y, sheet.height - sheet.margin - bottom.height)))
    return Layout(sheet, tuple(placed), tuple(drawn), fits)


def filled(chart: Chart, rows: Ordered, widths: Mapping[Spot, float], sheet: Sheet, room: float) -> dict[int, Block]:
    """Return the box of each step, with its first plain step where there is room for it.

    That is where another box of the row is as high, and, from the top, where the sheet has height left. room: height
    for all rows together.
    """
    numbers = [[spot for spot in row if not spot.to] for row in rows.rows]
    short = {s.step: box(chart, chart[s.step], sheet, widths[s], how=False) for row in numbers for s in row}
    full = {s.step: box(chart, chart[s.step], sheet, widths[s], how=True) for row in numbers for s in row}
    lowest = [max(short[s.step].height for s in row) for row in numbers]
    slack = room - sum(lowest)
    found: dict[int, Block] = {}
    for row, low in zip(numbers, lowest, strict=True):
        more = max(full[s.step].height for s in row) - low
        high = low + more if more <= slack else low
        slack -= high - low
        found |= {s.step: full[s.step] if full[s.step].height <= high else short[s.step] for s in row}
    return found


def _widths(row: Sequence[Spot], sheet: Sheet) -> dict[Spot, float]:
    """Return how wide each place of a row is: nothing for a lane."""
    lanes = sum(spot.to > 0 for spot in row)
    return {spot: 0.0 if spot.to else sheet.box(len(row) - lanes, lanes) for spot in row}


def _ends(row: Sequence[Spot], boxes: Sequence[Placed], floor: float) -> dict[Spot, float]:
    """Return for each place of a row where its wires leave it: the lower edge of the box, the floor for a lane."""
    bottoms = {one.step: one.y + one.block.height for one in boxes}
    return {spot: floor if spot.to else bottoms[spot.step] for spot in row}


def _inside(placed: Sequence[Placed], sheet: Sheet) -> bool:
    edge = sheet.margin - 1e-6
    return all(edge <= one.x and one.x + one.block.width <= sheet.width - edge for one in placed)
