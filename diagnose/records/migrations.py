"""The steps by which a job file grows from version to version; once published only added to."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from pathlib import Path

from diagnose.problems import JobError
from diagnose.records.connection import copy_to, plain_errors, transaction

BACKUPS = "backups"
"""The folder beside the job file where copies go."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE jobs (
            id TEXT PRIMARY KEY,
            title TEXT NOT NULL,
            opened_at TEXT NOT NULL,
            closed_at TEXT,
            knowledge_version TEXT NOT NULL,
            program_version TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE events (
            job TEXT NOT NULL REFERENCES jobs (id),
            number INTEGER NOT NULL CHECK (number >= 1),
            kind TEXT NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body)),
            at TEXT NOT NULL,
            PRIMARY KEY (job, number)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TRIGGER events_stay_as_written BEFORE UPDATE ON events
            BEGIN SELECT RAISE(ABORT, 'events are never changed'); END""",
        """CREATE TRIGGER events_stay BEFORE DELETE ON events
            BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END""",
        """CREATE TRIGGER events_follow BEFORE INSERT ON events
            WHEN NEW.number <> 1 + (SELECT coalesce(max(number), 0) FROM events WHERE job = NEW.job)
            BEGIN SELECT RAISE(ABORT, 'events are numbered one by one'); END""",
    ),
    (
        """CREATE TABLE sheets (
            name TEXT PRIMARY KEY COLLATE NOCASE,
            kept_at TEXT NOT NULL,
            job TEXT NOT NULL,
            figures TEXT NOT NULL CHECK (json_valid(figures))
        ) STRICT""",
    ),
)
"""Step n, counted from 1, turns a file of version n - 1 into version n; each is a tuple of statements."""


def version_of(db: sqlite3.Connection) -> int:
    """Return the version of an open job file; 0 when it is new."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def check_version(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file that a newer program has written.

    Raises:
        JobError: which version the file has and which this program knows.
    """
    version = version_of(db)
    if version > len(MIGRATIONS):
        raise JobError(
            f"{path} is version {version}, written by a newer program; this program knows version "
            f"{len(MIGRATIONS)}. Update the program; the file was not changed."
        )


def migrate(db: sqlite3.Connection, path: Path) -> None:
    """Bring a job file up to this program: a backup first, then each missing step in one transaction.

    Raises:
        JobError: the file is newer than this program, or a step failed; then the file is as it was before it.
    """
    with plain_errors(path):
        check_version(db, path)
        if 0 < version_of(db) < len(MIGRATIONS):
            back_up_beside(db, path)
        while version_of(db) < len(MIGRATIONS):
            _step(db)


def _step(db: sqlite3.Connection) -> None:
    """Take the next step, unless another program has just taken it."""
    with transaction(db):
        version = version_of(db)
        if version < len(MIGRATIONS):
            for statement in MIGRATIONS[version]:
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {version + 1}")


def back_up_beside(db: sqlite3.Connection, path: Path) -> Path:
    """Copy an open job file into the backups folder beside it; return the copy's path.

    Raises:
        JobError: the copy cannot be written.
    """
    folder = path.parent / BACKUPS
    with plain_errors(folder):
        folder.mkdir(exist_ok=True)
        stem = f"{path.stem}-v{version_of(db)}-{datetime.now():%Y%m%d-%H%M%S}"
        target = folder / f"{stem}{path.suffix}"
        again = 2
        while target.exists():
            target = folder / f"{stem}-{again}{path.suffix}"
            again += 1
    copy_to(db, target)
    return target
