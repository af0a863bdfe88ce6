"""`diagnose simulate`: figures for people and for programs, and what it says of what it cannot do."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from diagnose.cli.group import diagnose as group
from diagnose.cli.simulate import CONTEXTS, POLICIES

FEW = ("simulate", "--bikes", "2", "--context", "years", "--policy", "list", "--workers", "1", "--seed", "3")


@pytest.fixture
def run(monkeypatch):
    """Run the command on the small book."""
    from pathlib import Path

    import diagnose.reading.files as files

    monkeypatch.setattr(files, "shipped_folder", lambda: Path(__file__).parents[1] / "interviews" / "small")
    return lambda *arguments: CliRunner().invoke(group, arguments)


def test_for_people(run):
    done = run(*FEW, "--budget", "100")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "Stood: years, 2 bikes"
    assert [line.split()[0] for line in lines[2:4]] == ["perfect", "list"]
    assert "in budget" in done.stdout
    assert max(map(len, lines[:8])) <= 50
    assert done.stderr == ""


def test_for_programs(run):
    done = run(*FEW, "--json", "--budget", "100")
    found = json.loads(done.stdout)
    assert found["schema"] == 1
    assert (found["seed"], found["bikes"], found["budget"]) == (3, 2, 100.0)
    assert [one["policy"] for one in found["results"]] == ["perfect", "list"] * 2
    perfect = [one["money"] for one in found["results"] if one["policy"] == "perfect"]
    summary = next(one for one in found["summaries"] if one["policy"] == "perfect")
    assert summary["money"]["mean"] == pytest.approx(sum(perfect) / 2)
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (("--bikes", "0"), "x>=1"),
        (("--bikes", "many"), "not a valid integer"),
        (("--context", "yesterday"), "'lately', 'year', 'years'"),
        (("--policy", "luck"), "'ours', 'list'"),
        (("--budget", "0"), "x>0"),
        (("--workers", "0"), "x>=1"),
        (("--wrong-priors", "-1"), "x>=0"),
        (("--seed", "-1"), "x>=0"),
    ],
)
def test_a_bad_value_is_refused(run, wrong, says):
    done = run("simulate", *wrong)
    assert done.exit_code == 2
    assert says in done.stderr


def test_a_complaint_that_is_not_in_the_book(command):
    done = command("simulate", "--bikes", "1", "--workers", "1", "--complaint", "not_a_couhg")
    assert done.returncode == 1
    assert done.stderr == 'diagnose: there is no complaint "not_a_couhg" in the book; write not_a_cough\n'


def test_what_can_be_chosen_is_what_there_is():
    from diagnose.model import CONTEXTS as KNOWN
    from diagnose.simulation.policies import POLICIES as WALKED

    assert CONTEXTS == KNOWN
    assert tuple(WALKED) == POLICIES
