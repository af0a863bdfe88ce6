"""`diagnose chart`: as text, drawn, and what is said of a bike or complaint that cannot be."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

KIND = (
    "--complaint",
    "not_a_cough",
    "--bike",
    "strokes=2",
    "--bike",
    "ignition=points_magneto",
    "--history",
    "parked=lately",
)


@pytest.mark.parametrize("columns", ["50", "80"])
def test_without_a_file_it_is_printed(command, columns):
    done = command("chart", *KIND, COLUMNS=columns)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Turns over, not a cough\n")
    assert " 1. " in done.stdout
    assert "-> 2" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= int(columns)
    assert done.stderr == ""


@pytest.mark.parametrize("ending", ["svg", "html", "txt"])
def test_it_is_written_to_a_file(command, tmp_path, ending):
    out = tmp_path / f"chart.{ending}"
    done = command("chart", *KIND, "--sheet", "a4", "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    assert str(out) in done.stderr
    text = out.read_text(encoding="utf-8")
    if ending == "txt":
        assert text.startswith("Turns over, not a cough\n")
        return
    svg = text[text.index("<svg") : text.index("</svg>") + 6]
    assert ElementTree.fromstring(svg).get("width") == "210mm"
    assert text.startswith("<!DOCTYPE html>") == (ending == "html")


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("--complaint", "zzz"), 1, "there is no complaint 'zzz' in the knowledge; write one of: not_a_cough, knocks"),
        (
            ("--complaint", "not_a_cough", "--history", "zzz=1"),
            1,
            "there is no fact 'zzz' in the knowledge; write one of: parked",
        ),
        (
            ("--complaint", "not_a_caugh"),
            1,
            "there is no complaint 'not_a_caugh' in the knowledge; nearest: not_a_cough",
        ),
        (
            ("--complaint", "not_a_cough", "--bike", "stroks=2"),
            1,
            "there is no fact 'stroks' in the knowledge; nearest: strokes",
        ),
        (("--complaint", "not_a_cough", "--bike", "strokes=3"), 1, "strokes cannot be '3'; write one of: 2, 4"),
        (
            ("--complaint", "not_a_cough", "--bike", "parked=years"),
            1,
            "parked is no fact of --bike; write --history parked=years",
        ),
        (
            ("--complaint", "not_a_cough", "--bike", "strokes"),
            2,
            '"strokes" is no fact; write it like FACT=OPTION, such as strokes=2',
        ),
        (
            ("--complaint", "not_a_cough", "--bike", "strokes=2", "--bike", "strokes=4"),
            2,
            "strokes is given twice, as 2 and as 4",
        ),
        (("--complaint", "not_a_cough", "--out", "chart.pdf"), 2, '"chart.pdf" does not end in .html, .svg, .txt'),
        (("--complaint", "not_a_cough", "--out", "no/such/chart.svg"), 1, "there is no folder no/such; make it first"),
        ((), 2, "Missing option '--complaint'"),
    ],
)
def test_what_cannot_be_is_told_with_what_to_write(command, arguments, code, says):
    done = command("chart", *arguments)
    assert done.returncode == code
    assert says in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
