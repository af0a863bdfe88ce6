"""Each room imports only from rooms below it, and the guard that says so can still say no."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def contract(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the import contract on a copy of the project."""
    program = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    return subprocess.run(
        [sys.executable, "-c", program, "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )


@pytest.fixture
def copy(tmp_path):
    """A copy of the package and its contract."""
    pytest.importorskip("importlinter")
    shutil.copytree(ROOT / "diagnose", tmp_path / "diagnose", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_rooms_keep_their_contract(copy):
    done = contract(copy)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("module", "line", "broken"),
    [
        ("diagnose/network/graph.py", "import diagnose.planning", "rooms: each imports only from rooms below it"),
        ("diagnose/problems.py", "import diagnose.model", "rooms: each imports only from rooms below it"),
        ("diagnose/terminal/screens.py", "import yaml", "yaml and pydantic only in reading"),
        ("diagnose/planning/access.py", "import networkx", "networkx only in network and inference"),
        ("diagnose/consultation/state.py", "import sqlite3", "sqlite only in records"),
        ("diagnose/trade/jets.py", "import diagnose.units", "the sums of the trade know nothing of the tool"),
        ("diagnose/trade/air.py", "import diagnose.reading", "rooms: each imports only from rooms below it"),
        ("diagnose/report/trail.py", "import rich", "prompts and colours only at the keyboard"),
    ],
)
def test_the_contract_catches_a_wrong_import(copy, module, line, broken):
    path = copy / module
    head = "from __future__ import annotations\n"
    path.write_text(path.read_text(encoding="utf-8").replace(head, f"{head}\n{line}\n", 1), encoding="utf-8")
    done = contract(copy)
    assert done.returncode != 0
    assert f"{broken} BROKEN" in " ".join(done.stdout.split())


def test_a_room_that_nobody_listed_is_caught(copy):
    (copy / "diagnose" / "attic.py").write_text('"""A room of its own."""\n', encoding="utf-8")
    assert contract(copy).returncode != 0
