"""One careful connection to the job file, and SQLite's complaints put into plain sentences."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from time import monotonic, sleep

from diagnose.problems import JobError

APPLICATION_ID = 0x44494147
"""Stands in the file's header and tells our files from other programs' databases."""

OLDEST_SQLITE = (3, 37, 0)
"""The first SQLite with STRICT tables."""

BUSY_MS = 5000
"""How long another program's writing is waited for."""

AGAIN_SECONDS = 0.02
"""Pause before SQLite is asked again."""


class DamagedFileError(JobError):
    """A job file that cannot be read any more; a backup has to take its place."""


_SAID = {
    "database or disk is full": "the disk is full; what was answered before is safe. "
    "Make room on the disk and give the last answer again.",
    "readonly database": "the file or its disk can only be read, not written. "
    "Allow writing to it, or set DIAGNOSE_HOME to a folder that can be written to.",
    "not a database": "this is not a job file of this program. "
    "Move it away and restore the newest backup from the backups folder beside it.",
    "malformed": "the file is damaged. Keep a copy of it and restore the newest backup "
    "from the backups folder beside it.",
    "database is locked": "another program has been writing to it for some seconds. "
    "Close the other program and try again; nothing was changed.",
    "unable to open": "the file cannot be opened. See that it is a file in a folder that can be "
    "written to, or set DIAGNOSE_HOME to another folder.",
    "disk i/o error": "the disk refuses to read or write; it may be full, unplugged or failing. "
    "What was answered before is safe unless the disk is broken; restore a backup if it is.",
}
"""Part of SQLite's message -> what it means and what to do."""


def connect(path: Path) -> sqlite3.Connection:
    """Return a connection that syncs every commit to the disk; the caller closes it.

    Raises:
        JobError: this path cannot hold jobs; the message says why and what to do.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        oldest = ".".join(map(str, OLDEST_SQLITE))
        raise JobError(f"jobs need SQLite {oldest}, this Python brings {sqlite3.sqlite_version}: update Python.")
    with plain_errors(path):
        _check_path(path)
        db = sqlite3.connect(path, isolation_level=None, timeout=BUSY_MS / 1000)
    try:
        with plain_errors(path):
            _set_up(db, path)
    except BaseException:
        db.close()
        raise
    return db


def _set_up(db: sqlite3.Connection, path: Path) -> None:
    """Set what holds for every connection; refuse a file that is damaged, read-only or somebody else's."""
    db.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    check_ours(db, path)
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    _use_log(db)
    with transaction(db):  # written each time, so that a read-only file is noticed before the first answer
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _use_log(db: sqlite3.Connection) -> None:
    """Switch to the write-ahead log; where it is not possible SQLite keeps its rollback journal, which is as safe.

    SQLite does not wait for others while it switches, whatever the busy timeout says; so it is done again here.
    """
    until = monotonic() + BUSY_MS / 1000
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or monotonic() > until:
                raise
            sleep(AGAIN_SECONDS)


def check_ours(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a damaged file and another program's database.

    Raises:
        JobError: which of the two it is.
    """
    (tables,) = db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if tables and _mark(db) != APPLICATION_ID:
        raise JobError(f"{path} is the database of another program; give the jobs a file of their own.")
    (sound,) = db.execute("PRAGMA quick_check(1)").fetchone()
    if sound != "ok":
        raise DamagedFileError(f"{path}: {_SAID['malformed']}")


def _mark(db: sqlite3.Connection) -> int:
    """Return the number by which the file says whose it is; 0 when it is new."""
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    return int(mark)


def _check_path(path: Path) -> None:
    """Refuse a path at which no file can be."""
    if path.is_dir():
        raise JobError(f"{path} is a folder; name a file in it, such as {path / 'jobs.db'}.")
    if not path.parent.exists():
        raise JobError(f"the folder {path.parent} does not exist; make it, or name another file for the jobs.")
    if not path.parent.is_dir():
        raise JobError(f"{path.parent} is a file, so no job file can lie in it; name another file for the jobs.")
    if path.exists() and not path.is_file():
        raise JobError(f"{path} is not a plain file; name another file for the jobs.")


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """Do all that stands inside, or nothing of it. On disk when it ends."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what SQLite or the disk complains of into a JobError that says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        damaged = any(part in str(error) for part in ("not a database", "malformed"))
        kind = DamagedFileError if damaged else JobError
        raise kind(f"{path}: {_plain(path, str(error))}") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise JobError(f"{path} cannot be used ({reason}); name another file, or allow writing to it.") from error


def _plain(path: Path, message: str) -> str:
    """Return the sentence for a message of SQLite's."""
    folder = path.parent
    if "unable to open" in message and folder.is_dir() and not os.access(folder, os.W_OK):
        message = "readonly database"
    for part, sentence in _SAID.items():
        if part in message.lower():
            return sentence
    return f"the job file cannot be used ({message}). Nothing was changed; restore a backup if this stays."


def copy_to(db: sqlite3.Connection, target: Path) -> None:
    """Write a whole, consistent copy of an open database to a file that does not exist yet.

    Raises:
        JobError: the target exists or cannot be written; a half-written copy is taken away.
    """
    part = target.with_name(target.name + ".part")
    with plain_errors(target):
        _check_path(target)
        if target.exists():
            raise JobError(f"{target} exists already and is not overwritten; name another file.")
        part.unlink(missing_ok=True)
        try:
            with closing(sqlite3.connect(part, isolation_level=None)) as copy:
                db.backup(copy)
                # A rollback journal keeps the copy one single file, readable from a read-only disk too.
                copy.execute("PRAGMA journal_mode = DELETE")
            os.replace(part, target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
