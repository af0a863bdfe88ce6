"""The commands that read: replay, jobs, trail, explain, check."""

from __future__ import annotations

import json

import pytest

SCRIPT = """
title: Blue one
bike: {strokes: "2", ignition: points_magneto, battery: "no"}
history: {parked: lately}
complaint: not_a_cough
steps:
  - test: spark_at_gap
    reading: 1/8 in
  - repair: clean_points
    found: {points_oxidised: broken}
  - try_out: runs
confirmed: [points_oxidised]
"""


@pytest.fixture
def script(tmp_path):
    path = tmp_path / "job.yaml"
    path.write_text(SCRIPT, encoding="utf-8")
    return str(path)


def test_replay_prints_the_account(command, script):
    done = command("replay", script, COLUMNS="80")
    assert done.returncode == 0, done.stderr
    assert " 1. Spark across a 6 mm gap: 1/8 in (3.17 mm), Yellow or now and then" in done.stdout  # an inch is 25.4 mm
    assert " 3. Try to start it: It runs" in done.stdout


def test_replay_as_json_holds_every_figure_after_every_step(command, script):
    done = command("replay", script, "--json")
    told = json.loads(done.stdout)
    assert told["schema"] == 1
    assert told["confirmed"] == ["points_oxidised"]
    assert [step["event"] for step in told["steps"]] == ["intake", "observe", "repair", "observe"]
    for step in told["steps"]:
        chances = [cause["probability"] for cause in step["causes"]]
        assert chances == sorted(chances, reverse=True)
        assert {"points_oxidised", "coil_dead", "pilot_jet_blocked"} <= {cause["id"] for cause in step["causes"]}
        assert step["cost_left"] >= 0
        assert "conflict" in step
    assert told["steps"][0]["next"]["kind"] in ("test", "repair", "try_out")
    assert told["steps"][-1]["done"] is True
    assert "\x1b" not in done.stdout


def test_replay_as_json_says_why_the_next_step(command, script):
    first = json.loads(command("replay", script, "--json").stdout)["steps"][0]
    step, why = first["next"], first["next"]["why"]
    assert (step["kind"], step["id"]) == ("repair", "clean_points")
    assert [cure["id"] for cure in why["cures"]] == ["points_oxidised"]
    assert {cause["id"]: cause["probability"] for cause in first["causes"]}["points_oxidised"] == (
        why["cures"][0]["probability"]
    )
    assert {"kind", "id", "dearer", "saves_less"} == set(why["runner_up"])
    assert why["tells_apart"] == why["outcomes"] == []


def test_replay_names_the_place_of_a_mistake(command, tmp_path):
    path = tmp_path / "wrong.yaml"
    path.write_text(SCRIPT.replace("spark_at_gap", "spark_at_gab"), encoding="utf-8")
    done = command("replay", str(path))
    assert done.returncode == 1
    assert "wrong.yaml:7:11" in done.stderr
    assert "spark_at_gap" in done.stderr


def test_demo_shows_every_step_then_the_account_then_how_to_begin(command):
    done = command("demo", COLUMNS="80")
    assert done.returncode == 0, done.stderr
    parts = [
        "── Step 1 ──",
        "DO NEXT: ",
        "> Spark across a 6 mm gap: 2 mm",
        "── Step 2 ──",
        "> Repair: Clean and set",
    ]
    parts += [
        "The job is finished.",
        "- Points filmed over from standing: seen to be bad.",
        "What was done",
        " 1. Spark across",
    ]
    places = [done.stdout.find(part) for part in parts]
    assert -1 not in places
    assert places == sorted(places)
    assert done.stdout.splitlines()[-2].endswith("type:  diagnose")


def test_jobs_lists_and_shows(command, job):
    assert f"{job}  " in command("jobs").stdout
    assert json.loads(command("jobs", "list", "--json").stdout)["jobs"][0]["title"] == "Blue one"
    assert "Most likely:" in command("jobs", "show", job).stdout


def test_jobs_without_any_says_how_to_begin(command):
    done = command("jobs")
    assert done.stdout == ""
    assert "diagnose" in done.stderr


def test_trail_of_an_open_job(command, job):
    told = command("trail", job).stdout
    assert "The work is not finished." in told
    assert 'In the owner\'s words: "Dead."' in told


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ("points_oxidised", "Cured by: Clean and set the points (clean_points)."),
        ("spark", "Something else in the ignition that is not in the book"),
        ("spark_at_gap", "! High tension: Clip the plug to bare metal and never hold the lead."),
        ("clean_pilot_jet", "Cures: Pilot jet blocked by dried petrol (95 %)."),
        ("spark_length", "Usual, where the manual is silent: 6 to 8 mm. It is no limit."),
        ("plug_code", "Another than the manual's points to: Ignition coil dead."),
    ],
)
def test_explain(command, entry, says):
    assert says in command("explain", entry, COLUMNS="100").stdout


def test_check_counts_and_shows_what_the_shop_changes(command, tmp_path):
    shop = tmp_path / "shop"
    (shop / "repairs").mkdir(parents=True)
    (shop / "repairs" / "spark.yaml").write_text("clean_points: {minutes: 25}\n", encoding="utf-8")
    done = command("check", str(shop))
    assert done.returncode == 0, done.stderr
    assert "3 causes" in done.stdout
    assert "25 (was 15)" in done.stdout
    assert "No mistakes." in done.stdout


def test_check_shows_each_mistake_with_its_place(command, tmp_path):
    shop = tmp_path / "shop"
    (shop / "repairs").mkdir(parents=True)
    (shop / "repairs" / "spark.yaml").write_text("clean_points: {minutes: soon}\n", encoding="utf-8")
    done = command("check", str(shop))
    assert done.returncode == 1
    assert "repairs/spark.yaml:1:25" in done.stderr
