"""What a sum holds for, where it comes from, and the refusal of what lies outside."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf

from diagnose.problems import DiagnoseError


@dataclass(frozen=True, slots=True)
class Basis:
    """What a sum rests on. holds: what it holds for, in plain words; source: who says so."""

    holds: str
    source: str


class OutOfRange(DiagnoseError):
    """A figure outside what a sum holds for. The message says which figure, the range and why it ends there."""


def within(what: str, value: float, low: float, high: float, unit: str, why: str) -> float:
    """Return the value if it lies from low to high.

    Args:
        what: what the figure is, in the mechanic's words.
        value: the figure, in unit; not a number is refused like any other that lies outside.
        low: the least, included.
        high: the most, included.
        unit: its unit, as shown; empty for a plain number.
        why: why the range ends there, a whole sentence.

    Raises:
        OutOfRange: it lies outside.

    >>> within("plug gap", 0.7, 0.1, 2, "mm", "")
    0.7
    """
    if low <= value <= high:
        return value
    end = f" {unit}" if unit else ""
    span = f"{_plain(low)}{end} or more" if high == inf else f"{_plain(low)} to {_plain(high)}{end}"
    raise OutOfRange(f"{what} {_plain(value)}{end}: this sum holds for {span}. {why}".rstrip())


def interpolated(x: float, rows: tuple[tuple[float, float], ...]) -> float:
    """Return y on the straight lines between (x, y) rows of rising x; x must lie within the rows.

    >>> interpolated(1.5, ((1, 10), (2, 20)))
    15.0
    """
    for (x0, y0), (x1, y1) in pairwise(rows):
        if x0 <= x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    raise OutOfRange(f"{_plain(x)} is outside {_plain(rows[0][0])} to {_plain(rows[-1][0])}, where the table ends.")


def _plain(value: float) -> str:
    """Return a number to five figures without an exponent.

    >>> _plain(101325.0), _plain(0.5), _plain(-40)
    ('101320', '0.5', '-40')
    """
    return f"{float(f'{value:.5g}'):.10g}"
