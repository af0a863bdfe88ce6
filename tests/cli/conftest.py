"""Commands run in a process of their own, on the small book, with a home folder of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

RUNNER = Path(__file__).parent / "on_small_book.py"


@pytest.fixture
def environment(tmp_path):
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "LANG") if name in os.environ}
    return {**kept, "DIAGNOSE_HOME": str(tmp_path / "home"), "PYTHONIOENCODING": "utf-8", "TERM": "xterm"}


@pytest.fixture
def command(environment):
    """Return a function that runs a command: arguments, what stands on its input, more of the environment."""

    def run(*arguments, typed=None, **more):
        source = {"input": typed} if typed is not None else {"stdin": subprocess.DEVNULL}
        return subprocess.run(
            [sys.executable, str(RUNNER), *arguments],
            capture_output=True,
            encoding="utf-8",
            env={**environment, **more},
            timeout=60,
            check=False,
            **source,
        )

    return run


@pytest.fixture
def job(command):
    """A job of the small book with its intake done, made by typing into the plain form; return its id."""
    done = command("--plain", typed="Blue one\n1\n1\n2\n1\n1\n1\n1\nn\nDead.\n\nq\n")
    assert done.returncode == 0, done.stderr
    return command("jobs").stdout.split()[0]
