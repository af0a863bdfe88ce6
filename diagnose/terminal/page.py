"""Lines of text and the page they are printed on: width, wrapping, bars, what an old terminal can show."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal, TextIO

Style = Literal["", "bold", "dim", "warn"]

NARROW, WIDEST = 30, 100
RICH_STYLES = {"": "", "bold": "bold", "dim": "dim", "warn": "bold yellow"}
ASCII = str.maketrans({"█": "#", "░": ".", "↑": "^", "↓": "v", "─": "-", "·": "-", "–": "-", "—": "-", "’": "'"})


@dataclass(frozen=True, slots=True)
class Line:
    """One printed line. The style is an extra: what it says must be in the words."""

    text: str
    style: Style = ""


@dataclass(frozen=True, slots=True)
class Page:
    """Where lines are printed. marks: more than ASCII can be shown; bars: bars of characters are wanted."""

    width: int = 80
    marks: bool = True
    bars: bool = True
    color: bool = False
    sink: TextIO = field(default_factory=lambda: sys.stdout)

    def show(self, lines: Iterable[Line]) -> None:
        """Print the lines at once, so that they stand above the question that follows."""
        out = [Line(line.text if self.marks else line.text.translate(ASCII), line.style) for line in lines]
        if self.color:
            _print_rich(out, self.sink, self.width)
        else:
            self.sink.write("".join(line.text + "\n" for line in out))
        self.sink.flush()

    def wrapped(self, text: str, first: str = "", style: Style = "", rest: str | None = None) -> list[Line]:
        """Break a text into lines that fit. first: what stands before it; rest: before the others."""
        indent = " " * len(first) if rest is None else rest
        rows = textwrap.wrap(
            text,
            max(self.width, NARROW),
            initial_indent=first,
            subsequent_indent=indent,
            break_on_hyphens=False,
        )
        return [Line(row, style) for row in rows or [first.rstrip()]]

    def rule(self, left: str, right: str = "") -> Line:
        """Return a line across the page with a heading in it."""
        room = self.width - len(left) - len(right) - 8
        if room < 2:
            return Line(f"── {left} ".ljust(self.width, "─")[: self.width], "bold")
        tail = f" {right} ──" if right else "───"
        return Line(f"── {left} {'─' * room}{tail}".ljust(self.width, "─")[: self.width], "bold")

    def bar(self, share: float) -> str:
        """Return a share of one as a bar; empty where no pictures are wanted.

        >>> Page().bar(0.48)
        '█████░░░░░'
        """
        if not self.bars:
            return ""
        cells = 10 if self.width >= 60 else 5
        full = min(cells, max(1 if share >= 0.01 else 0, round(share * cells)))
        return "█" * full + "░" * (cells - full)


def _print_rich(lines: Iterable[Line], sink: TextIO, width: int) -> None:
    """Print with bold and colour. Texts are never read as markup."""
    from rich.console import Console
    from rich.text import Text

    console = Console(file=sink, width=width, highlight=False, soft_wrap=True)
    for line in lines:
        console.print(Text(line.text, RICH_STYLES[line.style]))
