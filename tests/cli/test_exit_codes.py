"""How every way of ending is told to the caller, and that results and messages go their own ways."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import diagnose.__main__ as door
from diagnose import __version__

RUNNER = Path(__file__).parent / "on_small_book.py"


def test_version_and_help_are_done(command):
    assert command("--version").stdout == f"diagnose {__version__}\n"
    assert command("-h").returncode == 0


def test_a_mistyped_command_is_usage(command):
    done = command("trial", "x")
    assert done.returncode == 2
    assert "trail" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("arguments", [("trail", "990101-1"), ("jobs", "show", "990101-1")])
def test_an_unknown_job_can_be_mended(command, arguments):
    done = command(*arguments)
    assert done.returncode == 1
    assert 'there is no job "990101-1"' in done.stderr


def test_an_unknown_id_names_the_nearest(command):
    done = command("explain", "pilot_jet_bloked")
    assert done.returncode == 1
    assert "Did you mean pilot_jet_blocked" in done.stderr


def test_without_a_terminal_the_missing_question_is_named(command):
    done = command()
    assert done.returncode == 4
    assert "title: Which bike is it?" in done.stderr
    assert done.stdout == ""


def test_when_a_pipe_runs_dry_the_question_and_its_options_are_named_and_answers_are_kept(command):
    done = command("--plain", typed="Blue one\n1\n")
    assert done.returncode == 4
    assert "fact.ignition: Which kind of ignition is it?" in done.stderr
    assert "points_magneto  (Points, powered by the flywheel)" in done.stderr
    shown = json.loads(command("jobs", "show", command("jobs").stdout.split()[0], "--json").stdout)
    assert [event["kind"] for event in shown["events"]] == ["intake", "fact"]


def test_a_mistake_of_ours_is_one_message_and_a_file(command, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("DIAGNOSE_HOME", str(tmp_path))

    def broken(**_):
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr(door.diagnose, "main", broken)
    assert door.main([]) == 3
    said = capsys.readouterr().err
    assert "mistake in the program" in said
    assert "Traceback" not in said
    (log,) = (tmp_path / "log").iterdir()
    assert str(log) in said
    assert "made for this test" in log.read_text(encoding="utf-8")


def test_an_interrupt_is_130(monkeypatch, capsys):
    def stopped(**_):
        raise KeyboardInterrupt

    monkeypatch.setattr(door.diagnose, "main", stopped)
    assert door.main([]) == 130


def test_a_closed_pipe_is_success(environment, job):
    reader = subprocess.Popen(
        [sys.executable, str(RUNNER), "explain", "spark"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    )
    reader.stdout.close()
    assert reader.wait(60) == 0
    assert reader.stderr.read() == b""
    reader.stderr.close()


def test_ascii_only_output_does_not_fail(command, job):
    done = command("jobs", "show", job, PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stdout.isascii()
    assert "Most likely:" in done.stdout


def test_results_go_to_stdout_and_questions_to_stderr(command, job):
    done = command("--plain", typed="1\nq\n")
    assert done.returncode == 0
    assert "Most likely:" in done.stdout
    assert "DO NEXT: " in done.stdout
    assert "Go on with which bike?" in done.stderr
    assert "Go on with which bike?" not in done.stdout
    assert f"Job {job} is saved" in done.stderr


@pytest.mark.parametrize("arguments", [("check",), ("demo",), ("explain", "clean_points")])
def test_what_only_reads_needs_no_home(command, tmp_path, arguments):
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    done = command(*arguments, DIAGNOSE_HOME=str(tmp_path / "file"))
    assert done.returncode == 0, done.stderr


def test_what_writes_says_that_there_can_be_no_home(command, tmp_path):
    (tmp_path / "file").write_text("not a folder", encoding="utf-8")
    done = command("--plain", typed="Blue one\n", DIAGNOSE_HOME=str(tmp_path / "file"))
    assert done.returncode == 1
    assert "Set DIAGNOSE_HOME to a folder that can be written to" in done.stderr
