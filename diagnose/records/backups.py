"""Putting a backup back in the place of the job file."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from diagnose.problems import JobError
from diagnose.records.connection import DamagedFileError, check_ours, connect, plain_errors
from diagnose.records.migrations import back_up_beside, check_version, version_of


def restore(backup: Path, path: Path) -> Path | None:
    """Put a backup in the place of the job file; return where the jobs that were there before are kept.

    Args:
        backup: a file that Store.backup or a migration has written; it is only read.
        path: the job file; when it is too damaged to be copied as a whole it is kept under another name.

    Raises:
        JobError: the backup cannot be used; then nothing was changed.
    """
    backup, path = Path(backup), Path(path)
    if not backup.is_file():
        raise JobError(f"{backup} is no file; name a file from the backups folder.")
    with plain_errors(backup), closing(_read_only(backup)) as source:
        check_ours(source, backup)
        check_version(source, backup)
        if not version_of(source):
            raise JobError(f"{backup} holds no jobs; name a file from the backups folder.")
        kept = _keep(path)
        with closing(connect(path)) as db, plain_errors(path):
            source.backup(db)
    return kept


def _read_only(path: Path) -> sqlite3.Connection:
    """Open a backup so that it cannot be changed."""
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)


def _keep(path: Path) -> Path | None:
    """Keep what stands in the job file now: as a backup, or moved aside when it is damaged."""
    if not path.exists():
        return None
    try:
        with closing(connect(path)) as db:
            return back_up_beside(db, path)
    except DamagedFileError:
        return _moved_aside(path)


def _moved_aside(path: Path) -> Path:
    """Give a damaged job file and its log another name."""
    number = 1
    while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    with plain_errors(path):
        path.rename(aside)
        for tail in ("-wal", "-shm"):
            log = path.with_name(path.name + tail)
            if log.exists():
                log.rename(aside.with_name(aside.name + tail))
    return aside
