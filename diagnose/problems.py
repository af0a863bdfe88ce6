"""What can be wrong with what we were given: where it stands, what it is, what to write instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where something was written. Lines and columns count from 1; 0 means the whole file."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        """Return file:line:column, leaving out what is not known."""
        return ":".join(str(part) for part in (self.file, self.line, self.column) if part)


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One mistake: its place, what is wrong, the name of the rule it breaks, what to write instead."""

    place: Place
    says: str
    rule: str
    write: str = ""
    source_line: str = ""

    def __str__(self) -> str:
        """Return the mistake as the user reads it: message, the line with a caret, what to write."""
        lines = [f"{self.place}: {self.says} [{self.rule}]"]
        if self.source_line and self.place.column:
            shown, caret = _window(self.source_line, self.place.column)
            number = f"{self.place.line:>5} | "
            lines += [number + shown, " " * (len(number) + caret) + "^"]
        if self.write:
            lines.append(f"    write: {self.write}")
        return "\n".join(lines)


def _window(line: str, column: int, width: int = 100) -> tuple[str, int]:
    """Cut a long line round the column; return what is shown and the caret's offset in it."""
    start = max(0, min(column - 1 - width // 2, len(line) - width))
    return printable(line[start : start + width].replace("\t", " ")), column - 1 - start


def printable(text: str) -> str:
    """Return a text without what a terminal would obey in place of printing it, sign for sign.

    >>> printable(f"0.3 mm{chr(27)}[2J") == f"0.3 mm{chr(0xFFFD)}[2J"
    True
    """
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


class DiagnoseError(Exception):
    """Something the user can mend. The message is what he reads; exit code 1."""


class KnowledgeError(DiagnoseError):
    """Files that could not be read as knowledge or as a job; holds every mistake found."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        """Keep the mistakes in the order of their places."""
        self.problems = tuple(sorted(problems))
        files = len({problem.place.file for problem in self.problems})
        count = f"{len(self.problems)} mistake{'s' * (len(self.problems) != 1)}"
        tail = f"{count} in {files} file{'s' * (files != 1)}; nothing was loaded."
        super().__init__("\n".join([*map(str, self.problems), tail]))


class ImpossibleEvidence(DiagnoseError):
    """The answers contradict each other: together they have probability zero."""

    def __init__(self, answers: Sequence[str]) -> None:
        """Name the answers that cannot all be true."""
        self.answers = tuple(answers)
        listed = "; ".join(self.answers)
        super().__init__(f"these answers cannot all be true: {listed}. Undo or repeat one of them.")


class JobError(DiagnoseError):
    """A step that this job cannot take, or a job file that cannot be used."""
