"""One terminal at a time on a job: a locked file that the system frees by itself when its program ends."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from socket import gethostname
from typing import IO

from diagnose.problems import JobError

FOLDER = "locks"
"""The folder beside the job file that holds one small file per job; the files stay, only the lock goes."""

_LOCKED_BYTE = 1 << 20
"""Far behind what is written, so that others can read who holds the job."""


class JobLock:
    """Holds a job for this terminal until released. A program that was killed holds nothing any more."""

    def __init__(self, jobs_file: Path, job_id: str) -> None:
        """Take the job.

        Raises:
            JobError: another terminal has it; the message says which program.
        """
        path = jobs_file.parent / FOLDER / f"{jobs_file.stem}-{job_id}.lock"
        self._file = _opened(path)
        try:
            _take(self._file)
        except OSError:
            holder = _holder(self._file)
            self._file.close()
            raise JobError(
                f"job {job_id} is open in another terminal ({holder}). "
                "Go on there, or close that one first; nothing was changed."
            ) from None
        _write_holder(self._file)

    def release(self) -> None:
        """Let others take the job."""
        self._file.close()


def _opened(path: Path) -> IO[bytes]:
    """Open a lock file, made if it is not there."""
    try:
        path.parent.mkdir(exist_ok=True)
        return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o644), "r+b", buffering=0)
    except OSError as error:
        raise JobError(
            f"{path} cannot be written ({error.strerror}), so the job cannot be kept from other terminals. "
            "Allow writing to that folder."
        ) from error


def _write_holder(file: IO[bytes]) -> None:
    """Say who holds the job; on a full disk the lock holds without it."""
    try:
        file.truncate(0)
        file.seek(0)
        file.write(f"process {os.getpid()} on {gethostname()}".encode())
    except OSError:
        return


def _holder(file: IO[bytes]) -> str:
    """Return what the holder wrote of itself."""
    try:
        file.seek(0)
        return file.read(200).decode(errors="replace").strip() or "another program"
    except OSError:
        return "another program"


if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[bytes]) -> None:
        """Lock one byte of the file. Raises OSError where it is locked."""
        file.seek(_LOCKED_BYTE)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _take(file: IO[bytes]) -> None:
        """Lock the file. Raises OSError where it is locked."""
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
