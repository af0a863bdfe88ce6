"""What is loaded before anything is shown: --help stays light, the first question does without the engine."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAVY = [
    "numpy",
    "networkx",
    "questionary",
    "prompt_toolkit",
    "pydantic",
    "yaml",
    "rich",
    "asyncio",
    "sqlite3",
    "jinja2",
    "platformdirs",
    "importlib.metadata",
]
ENGINE = ["numpy", "networkx", "pydantic", "yaml", "jinja2"]

LOADED = "import sys; print(*sorted(name for name in sys.modules if name in {names!r}), file=sys.stderr)"
HELP = "from diagnose.__main__ import main; main(['--help']); " + LOADED
FIRST_QUESTION = """
import diagnose.reading.files as files
from pathlib import Path
files.shipped_folder = lambda: Path("tests/interviews/small")
from diagnose.__main__ import main
import diagnose.terminal.asking.prompts as prompts
from diagnose.cli.desk import Desk
import sys

def text(self, name, question, default=""):
    print(question, *sorted(one for one in sys.modules if one in {names!r}), file=sys.stderr)
    raise SystemExit(0)

prompts.TerminalAsker.text = text
Desk.asker = lambda self: prompts.TerminalAsker()
main([])
"""


def loaded(script: str, names: list[str], environment: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, "-c", script.format(names=names)],
        capture_output=True,
        encoding="utf-8",
        cwd=ROOT,
        env=environment,
        timeout=60,
        check=False,
    )
    return done.stderr.strip()


def test_help_loads_nothing_heavy(environment):
    assert loaded(HELP, HEAVY, environment) == ""


def test_the_guard_sees_a_heavy_import(environment):
    assert loaded("import sqlite3; " + LOADED, HEAVY, environment) == "sqlite3"


def test_the_first_question_comes_before_the_engine(environment):
    question = "Which bike is it? A name for the list:"
    assert loaded(FIRST_QUESTION, ENGINE, environment).startswith(question)  # fills the cache
    assert loaded(FIRST_QUESTION, ENGINE, environment) == question
