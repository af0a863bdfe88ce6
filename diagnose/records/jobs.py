"""The store of jobs: create one, append to it, read it back. What append has returned from is on disk."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from diagnose import __version__
from diagnose.events import KINDS, Event
from diagnose.problems import JobError
from diagnose.records.connection import connect, copy_to, plain_errors, transaction
from diagnose.records.lock import JobLock
from diagnose.records.migrations import migrate
from diagnose.records.sheets import Sheets

_LINE = """SELECT id, title, opened_at, closed_at, knowledge_version, program_version,
    (SELECT count(*) FROM events WHERE job = jobs.id) FROM jobs"""


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job as a line of a list. Times are ISO times; closed_at is empty while the job is open."""

    id: str
    title: str
    opened_at: str
    closed_at: str
    knowledge_version: str
    program_version: str
    events: int


def open_store(path: Path | str) -> Store:
    """Open the job file, made if it is not there and brought up to this program; close it after use.

    Raises:
        JobError: the file cannot be used; the message says why and what to do.
    """
    path = Path(path)
    db = connect(path)
    try:
        migrate(db, path)
        return Store(db, path)
    except BaseException:
        db.close()
        raise


class Store:
    """An open job file. Use it in a with statement."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        """Take over a connection that is set up and migrated; open_store does that."""
        self._db = db
        self._path = path
        self._file = path.stat()

    def __enter__(self) -> Self:
        """Return the store."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Close the file; what was appended is on disk already."""
        self._db.close()

    def create(self, title: str, knowledge_version: str) -> str:
        """Begin a job; return its id, made of the day and a running number: 260314-2."""
        now = _now()
        day = f"{datetime.fromisoformat(now):%y%m%d}"
        with self._writing():
            taken = self._db.execute("SELECT id FROM jobs WHERE id LIKE ? || '-%'", (day,)).fetchall()
            job_id = f"{day}-{1 + max((int(each.rpartition('-')[2]) for (each,) in taken), default=0)}"
            self._db.execute(
                "INSERT INTO jobs VALUES (?, ?, ?, NULL, ?, ?)",
                (job_id, _plain_text(title), now, knowledge_version, __version__),
            )
        return job_id

    @property
    def sheets(self) -> Sheets:
        """The sheets kept for the next bike of the kind."""
        return Sheets(self._db, self._path, self._writing)

    def append(self, job_id: str, event: Event, expected_number: int) -> Event:
        """Write the next event of a job; it is on disk when this returns. A close_job event closes the job.

        Args:
            job_id: the job.
            event: what happened; without a time it gets the present one.
            expected_number: the number this event will have, counted from 1: events known so far, plus one.

        Returns:
            The event as written.

        Raises:
            JobError: no such job, another terminal was quicker, or the disk refuses; nothing was written.
        """
        event = event if event.at else replace(event, at=_now())
        row = (job_id, expected_number, event.kind, _as_json(event), event.at)
        with self._writing():
            next_number = self._count(job_id) + 1
            if next_number != expected_number:
                raise JobError(
                    f"job {job_id} was changed in another terminal: it has {next_number - 1} events, not "
                    f"{expected_number - 1}. Nothing is lost; take the job up again and give the last answer."
                )
            self._db.execute("INSERT INTO events VALUES (?, ?, ?, ?, ?)", row)
            if event.kind == "close_job":
                self._set_closed(job_id, event.at)
        return event

    def events(self, job_id: str) -> tuple[Event, ...]:
        """Return all events of a job in order.

        Raises:
            JobError: no such job, or it holds an event that this program does not know.
        """
        with plain_errors(self._path):
            self._count(job_id)
            rows = self._db.execute("SELECT kind, body, at FROM events WHERE job = ? ORDER BY number", (job_id,))
            return tuple(self._event(job_id, number, *row) for number, row in enumerate(rows, start=1))

    def jobs(self) -> tuple[JobLine, ...]:
        """Return all jobs, the oldest first."""
        return self._lines("ORDER BY opened_at, rowid")

    def open_jobs(self) -> tuple[JobLine, ...]:
        """Return the jobs that are not closed, the oldest first."""
        return self._lines("WHERE closed_at IS NULL ORDER BY opened_at, rowid")

    def mark_closed(self, job_id: str) -> None:
        """Take a job off the list of open ones; its events stay. Closing twice keeps the first time."""
        with self._writing():
            self._count(job_id)
            self._set_closed(job_id, _now())

    def mark_open(self, job_id: str) -> None:
        """Put a closed job back on the list of open ones."""
        with self._writing():
            self._count(job_id)
            self._db.execute("UPDATE jobs SET closed_at = NULL WHERE id = ?", (job_id,))

    @contextmanager
    def hold(self, job_id: str) -> Iterator[None]:
        """Keep a job for this terminal while something is done with it.

        Raises:
            JobError: no such job, or another terminal holds it. A program that was killed holds nothing.
        """
        with plain_errors(self._path):
            self._count(job_id)
        lock = JobLock(self._path, job_id)
        try:
            yield
        finally:
            lock.release()

    def backup(self, to: Path | str) -> Path:
        """Copy all jobs to a new file; return its path. Never overwrites.

        Raises:
            JobError: the file exists or cannot be written.
        """
        target = Path(to)
        copy_to(self._db, target)
        return target

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """Run what stands inside as one transaction on the file that was opened."""
        with plain_errors(self._path):
            if not self._path.exists() or not os.path.samestat(self._file, self._path.stat()):
                raise JobError(
                    f"{self._path} was moved, deleted or replaced while it was open; nothing was written. "
                    "Put the file back, or restore a backup, and start again."
                )
            with transaction(self._db):
                yield

    def _count(self, job_id: str) -> int:
        """Return how many events a job has. Raises JobError where there is no such job."""
        if not self._db.execute("SELECT 1 FROM jobs WHERE id = ?", (job_id,)).fetchone():
            known = ", ".join(line.id for line in self._lines("ORDER BY opened_at DESC, rowid DESC LIMIT 5"))
            raise JobError(
                f'there is no job "{job_id}"; ' + (f"the latest are {known}." if known else "there are none.")
            )
        (count,) = self._db.execute("SELECT count(*) FROM events WHERE job = ?", (job_id,)).fetchone()
        return int(count)

    def _set_closed(self, job_id: str, at: str) -> None:
        """Write when a job was closed, once."""
        self._db.execute("UPDATE jobs SET closed_at = ? WHERE id = ? AND closed_at IS NULL", (at, job_id))

    def _lines(self, tail: str) -> tuple[JobLine, ...]:
        """Return the jobs that a clause picks."""
        with plain_errors(self._path):
            rows = self._db.execute(f"{_LINE} {tail}").fetchall()
        return tuple(JobLine(row[0], row[1], row[2], row[3] or "", *row[4:]) for row in rows)

    def _event(self, job_id: str, number: int, kind: str, body: str, at: str) -> Event:
        """Return one event from its row."""
        loaded = json.loads(body)
        if kind not in KINDS or not isinstance(loaded, dict):
            raise JobError(
                f'event {number} of job {job_id} is of the kind "{kind}", which this program does not know: '
                "update the program; the job was not changed."
            )
        return Event(kind, loaded, at)  # type: ignore[arg-type]  # kind is one of KINDS


def _now() -> str:
    """Return the present time with its offset from UTC."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _plain_text(text: str) -> str:
    """Return a text on one line, without what a terminal has let through that is no text."""
    return " ".join(text.encode(errors="replace").decode().replace("\0", " ").split())


def _as_json(event: Event) -> str:
    """Return the body as JSON. Raises JobError where JSON cannot hold it."""
    try:
        return json.dumps(event.body, allow_nan=False, default=_plain_mapping)
    except (TypeError, ValueError) as error:
        raise JobError(f"this {event.kind} cannot be written down ({error}); nothing was written.") from error


def _plain_mapping(value: object) -> dict[str, Any]:
    """Return a read-only mapping as a dict. Raises TypeError for anything else."""
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} is not JSON")
