"""Sheets that the shop keeps for the next bike of the kind, under names of its own choosing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from diagnose.problems import JobError
from diagnose.records.connection import plain_errors

LONGEST = 60
"""Signs of a name."""

Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class KeptSheet:
    """A sheet. kept_at: ISO time; job: the one it was kept from, empty where it was read from a file.

    figures: what the manual gives, as the bodies of `sheet` events.
    """

    name: str
    kept_at: str
    job: str
    figures: tuple[Body, ...]


class Sheets:
    """The kept sheets of an open job file; Store.sheets gives them."""

    def __init__(self, db: sqlite3.Connection, path: Path, writing: Callable[[], AbstractContextManager[None]]) -> None:
        """Take the connection, and what runs as one transaction on it."""
        self._db, self._path, self._writing = db, path, writing

    def keep(self, name: str, figures: Sequence[Body], job: str = "", *, replace: bool = False) -> KeptSheet:
        """Keep a sheet; it is on disk when this returns. A name counts the same in capitals.

        Raises:
            JobError: no name, no figures, or a sheet of that name is there and may not be replaced.
        """
        name = _named(name)
        if not figures:
            raise JobError("there is no figure of a manual to keep; enter one first.")
        kept = KeptSheet(name, datetime.now().astimezone().isoformat(timespec="seconds"), job, tuple(figures))
        try:
            text = json.dumps([dict(body) for body in figures], allow_nan=False)
        except (TypeError, ValueError) as error:
            raise JobError(f"this sheet cannot be written down ({error}); nothing was written.") from error
        with self._writing():
            if self._row(name) and not replace:
                raise JobError(f'a sheet "{name}" is kept already; choose another name, or replace it.')
            self._db.execute("DELETE FROM sheets WHERE name = ?", (name,))
            self._db.execute("INSERT INTO sheets VALUES (?, ?, ?, ?)", (name, kept.kept_at, job, text))
        return kept

    def get(self, name: str) -> KeptSheet:
        """Return a sheet. Raises JobError with the nearest names where there is none."""
        with plain_errors(self._path):
            row = self._row(" ".join(name.split()))
        if row is None:
            names = [sheet.name for sheet in self.all()]
            folded = {one.casefold(): one for one in names}
            near = [folded[one] for one in get_close_matches(name.casefold(), folded, 3, 0.5)] or names[:5]
            hint = f"there is {' or '.join(near)}." if near else "none is kept yet."
            raise JobError(f'no sheet "{name}" is kept; {hint}')
        return _sheet(row)

    def all(self) -> tuple[KeptSheet, ...]:
        """Return every sheet, by name."""
        with plain_errors(self._path):
            rows = self._db.execute("SELECT name, kept_at, job, figures FROM sheets ORDER BY name").fetchall()
        return tuple(_sheet(row) for row in rows)

    def _row(self, name: str) -> tuple[str, str, str, str] | None:
        found = self._db.execute("SELECT name, kept_at, job, figures FROM sheets WHERE name = ?", (name,)).fetchone()
        return found or None


def _named(name: str) -> str:
    """Return a name on one line. Raises JobError for none, one too long, or one that cannot be printed."""
    tidy = " ".join(name.split())
    if not tidy or len(tidy) > LONGEST or not tidy.isprintable():
        raise JobError(f"a sheet is kept under a name of 1 to {LONGEST} plain signs, such as: pressed-frame 125")
    return tidy


def _sheet(row: tuple[str, str, str, str]) -> KeptSheet:
    name, kept_at, job, figures = row
    return KeptSheet(name, kept_at, job, tuple(json.loads(figures)))
