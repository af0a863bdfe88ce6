"""Where the jobs of this user are kept."""

from __future__ import annotations

import os
from pathlib import Path

from diagnose.problems import JobError

HOME_VARIABLE = "DIAGNOSE_HOME"
JOBS_FILE = "jobs.db"


def data_folder() -> Path:
    """Return the folder for jobs and backups, made if need be. DIAGNOSE_HOME overrides the usual place.

    Raises:
        JobError: the folder cannot be made or is something else.
    """
    named = os.environ.get(HOME_VARIABLE, "").strip()
    folder = Path(named).expanduser() if named else _usual_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError(
            f"the folder {folder} for the jobs cannot be made ({reason}). "
            f"Set {HOME_VARIABLE} to a folder that can be written to."
        ) from error
    return folder


def _usual_folder() -> Path:
    """Return the place where this system keeps the data of a user's programs."""
    from platformdirs import user_data_path  # here, because DIAGNOSE_HOME makes it needless

    return user_data_path("diagnose", appauthor=False)
