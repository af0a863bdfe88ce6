"""`diagnose sheet` and the board: entered, kept, taken, handed on, shown."""

from __future__ import annotations

import json

import pytest

PAGE = "manual 1974, page 41"


@pytest.fixture
def entered(command, job):
    """The job with two figures of the manual."""
    for item, *figure in (("points_gap", "0.3", "to", "0.4", "mm"), ("plug_code", "HX7")):
        done = command("sheet", "set", job, item, *figure, "--from", PAGE)
        assert done.returncode == 0, done.stderr
    return job


def test_a_figure_is_entered_kept_and_taken_into_the_next_job(command, entered):
    kept = command("sheet", "keep", entered, "pressed-frame 125")
    assert (kept.returncode, kept.stdout) == (0, "Kept: pressed-frame 125, 2 figures.\n")
    done = command("--plain", typed="n\nNext one\n1\n1\n2\n1\n1\n1\n1\nn\nDead.\n\nq\n")
    assert done.returncode == 0, done.stderr
    following = command("jobs").stdout.split()[0]
    assert following != entered
    taken = command("sheet", "take", following, "PRESSED-frame 125")
    assert taken.stdout == "Taken from pressed-frame 125: 2 figures.\n"
    events = json.loads(command("jobs", "show", following, "--json").stdout)["events"]
    assert [(event["kind"], event["body"]["text"]) for event in events[-2:]] == [
        ("sheet", "0.3 to 0.4 mm"),
        ("sheet", "HX7"),
    ]
    again = command("sheet", "take", following, "pressed-frame 125")
    assert again.stdout == "All of pressed-frame 125 is on the job already.\n"
    command("sheet", "set", following, "plug_code", "HX8", "--from", "page 3")
    assert (
        "Left out: Plug code - the job has its own figure, HX8"
        in command("sheet", "take", following, "pressed-frame 125").stdout
    )


def test_a_sheet_goes_out_as_a_file_and_comes_in_again(command, entered, tmp_path):
    command("sheet", "keep", entered, "pressed-frame 125")
    path = tmp_path / "sheet.yaml"
    path.write_text(command("sheet", "export", "pressed-frame 125").stdout, encoding="utf-8")
    refused = command("sheet", "import", str(path))
    assert (refused.returncode, refused.stdout) == (1, "")
    assert 'a sheet "pressed-frame 125" is kept already' in refused.stderr
    assert command("sheet", "import", str(path), "--as", "another").stdout == "Kept: another, 2 figures.\n"
    assert command("sheet", "import", str(path), "--replace").returncode == 0
    shown = json.loads(command("sheet", "show", "another", "--json").stdout)
    assert [(one["item"], one["text"], one["source"]) for one in shown["figures"]] == [
        ("points_gap", "0.3 to 0.4 mm", PAGE),
        ("plug_code", "HX7", PAGE),
    ]
    listed = json.loads(command("sheet", "list", "--json").stdout)
    assert [(one["name"], one["figures"], one["job"]) for one in listed["sheets"]] == [
        ("another", 2, None),
        ("pressed-frame 125", 2, None),
    ]
    assert "  Points gap: 0.3 to 0.4 mm (manual 1974, page 41)" in command("sheet", "show", "another").stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("points_gp", "0.3 mm"), "nearest: points_gap"),
        (("points_gap", "30 mm"), "Points gap cannot be 30 mm; write: a figure from 0 to 3 mm"),
        (("points_gap", "0.012"), "the unit is missing; write: 0.012 mm or 0.012 in or 0.012 thou"),
        (("points_gap", "0.3 psi"), "psi is a unit of pressure, not of length"),
    ],
)
def test_a_figure_that_is_wrong_is_not_written(command, job, arguments, says):
    before = command("jobs", "show", job, "--json").stdout
    done = command("sheet", "set", job, *arguments, "--from", PAGE)
    assert (done.returncode, done.stdout) == (1, "")
    assert says in done.stderr
    assert command("jobs", "show", job, "--json").stdout == before


def test_without_a_source_it_is_a_usage_mistake(command, job):
    done = command("sheet", "set", job, "points_gap", "0.3 mm")
    assert done.returncode == 2
    assert "Missing option '--from'" in done.stderr


def test_no_sheets_and_no_such_sheet(command, job):
    listed = command("sheet")
    assert (listed.returncode, listed.stdout) == (0, "")
    assert "No sheets yet" in listed.stderr
    assert command("sheet", "show", "x").returncode == 1
    nothing = command("sheet", "keep", job, "x")
    assert nothing.returncode == 1
    assert "there is no figure of a manual to keep" in nothing.stderr


def test_the_values_of_a_sheet_are_listed(command):
    assert "  points_gap: Points gap, mm\n" in command("sheet", "items", "gap").stdout
    assert "plug_code" not in command("sheet", "items", "gap").stdout


@pytest.mark.parametrize("columns", ["80", "50"])
def test_the_board_is_a_page_of_its_own(command, entered, columns):
    page = command("jobs", "show", entered, "--board", COLUMNS=columns).stdout
    assert all(len(line) <= int(columns) for line in page.splitlines())
    assert page.splitlines()[1] == "BLUE ONE"
    assert f"Manual: {PAGE}" in page
    assert page.count("........") == 5  # as found and as set of two values, and what the dots mean
    assert " ".join(page.split()).endswith("Measure, and write it as found before you turn anything.")
    assert "0.3 to 0.4 mm" in page
    assert "Most likely" not in page
    whole = command("jobs", "show", entered, COLUMNS=columns).stdout
    assert "Most likely" in whole
    assert "0.3 to 0.4 mm" in whole


def test_a_board_with_nothing_on_it_says_how_to_begin(command, job):
    done = command("jobs", "show", job, "--board")
    assert done.returncode == 0
    assert f"diagnose sheet set {job} points_gap" in done.stderr
    assert "── Sheet" not in command("jobs", "show", job).stdout
