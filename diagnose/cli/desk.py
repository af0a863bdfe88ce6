"""What every command needs: the folders, the knowledge, the page and whoever answers."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from diagnose.model import Knowledge
    from diagnose.records import Store
    from diagnose.terminal.asking.asker import Asker
    from diagnose.terminal.page import Page

HOME_VARIABLE = "DIAGNOSE_HOME"
LEAST_COLUMNS = 30


@dataclass(frozen=True, slots=True)
class Desk:
    """The options that stand before every command."""

    plain: bool = False

    @property
    def home(self) -> Path:
        """The folder for jobs, the shop's own knowledge, cache and logs, made if need be."""
        from diagnose.records import data_folder

        return data_folder()

    @property
    def shop(self) -> Path | None:
        """The shop's own layer of knowledge, where there is one; there is none where there can be no home."""
        from diagnose.problems import DiagnoseError

        try:
            folder = self.home / "knowledge"
        except DiagnoseError:
            return None
        return folder if folder.is_dir() else None

    def knowledge(self) -> Knowledge:
        """Return the checked knowledge; that which is shipped where there can be no home. Raises KnowledgeError."""
        from diagnose.problems import DiagnoseError
        from diagnose.reading.cache import load_cached
        from diagnose.reading.files import shipped_folder

        try:
            home = self.home
        except DiagnoseError:  # reading needs none; what has to write there will say so
            from diagnose.reading.load import load

            return load(shipped_folder())
        return load_cached(shipped_folder(), self.shop, home / "cache")

    def store(self) -> Store:
        """Open the file of jobs; use it in a with statement."""
        from diagnose.records import open_store

        return open_store(self.home / "jobs.db")

    def page(self, sink: TextIO | None = None) -> Page:
        """Return the page results are printed on: as wide as the terminal, as plain as it must be."""
        from diagnose.terminal.page import WIDEST, Page

        sink = sink or sys.stdout
        simple = self.plain or os.environ.get("TERM") == "dumb"
        color = sink.isatty() and not simple and not os.environ.get("NO_COLOR")
        width = max(LEAST_COLUMNS, min(columns(), WIDEST))
        return Page(width, shows_marks(sink), bars=not simple, color=color, sink=sink)

    def asker(self) -> Asker:
        """Return whoever answers: the terminal, the plain form of it, or nobody."""
        from diagnose.terminal.asking.asker import AnswersAsker, PlainAsker

        person = sys.stdin is not None and sys.stdin.isatty()
        if self.plain and sys.stdin is not None:
            return PlainAsker(sys.stdin, sys.stderr, interactive=person)
        if not person:
            return AnswersAsker({})
        if os.environ.get("TERM") == "dumb" or not sys.stderr.isatty():
            return PlainAsker(sys.stdin, sys.stderr)
        from diagnose.terminal.asking.prompts import TerminalAsker  # heavy: only where there is a terminal

        return TerminalAsker(width=columns(), marks=shows_marks(sys.stderr))


def columns() -> int:
    """Return the width of the terminal; COLUMNS overrides it, 80 where there is none."""
    from shutil import get_terminal_size

    return get_terminal_size((80, 24)).columns


def shows_marks(sink: TextIO) -> bool:
    """Return whether bars and arrows can be written there."""
    try:
        "█░↑↓─»".encode(sink.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
