"""One end-to-end run in a real terminal: keys in, a job on disk; Ctrl-C at a question; NO_COLOR; a dumb terminal."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

pexpect = pytest.importorskip("pexpect")
RUNNER = Path(__file__).parent / "on_small_book.py"
COLOR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7]|38;5;\d+)m")


@pytest.fixture
def terminal(environment):
    running = []

    def start(columns=80, **more):
        child = pexpect.spawn(
            sys.executable,
            [str(RUNNER)],
            env={**environment, **more},
            dimensions=(40, columns),
            encoding="utf-8",
            timeout=20,
        )
        running.append(child)
        return child

    yield start
    for child in running:
        child.close(force=True)


def test_intake_by_single_keys_then_stop(terminal, command):
    child = terminal()
    child.expect("Which bike is it")
    child.send("\r")
    for question, key in [
        ("two-stroke or a four-stroke", "1"),
        ("kind of ignition", "1"),
        ("a battery", "2"),
        ("breathe in", "1"),
        ("last run", "1"),
        ("What does it do", "1"),
        ("floods or bangs:", "1"),
        ("what else does it do", "n"),
        ("own words", "\r"),
        ("most the owner will spend", "\r"),
        ("Most likely:", ""),
        ("Stop for today", "q"),
    ]:
        child.expect(question)
        child.send(key)
    child.expect("is saved; go on with: diagnose")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    assert "open" in command("jobs").stdout


@pytest.mark.parametrize("key", ["\x03", "\x04"])
def test_ctrl_c_and_ctrl_d_save_and_end_with_130(terminal, command, key):
    child = terminal()
    child.expect("Which bike is it")
    child.send("\r")
    child.expect("two-stroke or a four-stroke")
    child.send("1")
    child.expect("kind of ignition")
    child.send(key)
    child.expect("is saved; go on with: diagnose")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 130
    assert '"option": "2"' in command("jobs", "show", command("jobs").stdout.split()[0], "--json").stdout


def test_no_color_is_obeyed(terminal, job):
    child = terminal(NO_COLOR="1")
    child.expect("Go on with which bike")
    child.send("\r")
    child.expect("Stop for today")
    assert not COLOR.search(child.before)
    child.send("q")
    child.expect(pexpect.EOF)


def test_a_dumb_terminal_gets_numbered_lines(terminal):
    child = terminal(TERM="dumb")
    child.expect("Which bike is it")
    child.sendline("")
    child.expect("  1  Two-stroke")
    child.sendline("1")
    child.expect("kind of ignition")
    assert "\x1b" not in child.before
    child.sendcontrol("d")
    child.expect("is saved")
