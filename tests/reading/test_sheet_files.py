"""Kept sheets as YAML files: written and read back the same; every mistake with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.problems import KnowledgeError
from diagnose.reading.load import load
from diagnose.reading.sheets import WrittenSheet, read_sheet, sheet_yaml

BODIES = (
    {
        "item": "spark_length",
        "text": "at least 6 mm",
        "unit": "mm",
        "low": 6.0,
        "source": 'workshop manual 1974: "page 41" # ½',
    },
    {"item": "plug_code", "text": "0x10", "source": "no"},
    {"item": "stop_circuit", "text": "earths", "source": "wiring diagram"},
)


def test_a_sheet_survives_the_way_through_a_file(shipped: Path, tmp_path: Path) -> None:
    """Texts that YAML takes for numbers or for no stay texts."""
    path = tmp_path / "sheet.yaml"
    path.write_text(sheet_yaml("Nº 125: the blue one", BODIES), encoding="utf-8")
    assert read_sheet(path, load(shipped)) == WrittenSheet("Nº 125: the blue one", BODIES)


@pytest.mark.parametrize(
    ("text", "line", "says", "write"),
    [
        ("name: x\n", 1, "the sheet has no figures", "figures: {a value: {figure: ..., from: ...}}"),
        ("figures: {}\n", 1, "the sheet has no name", "name: pressed-frame 125"),
        ("name:\nfigures: {}\n", 1, "nothing is written here", "a value after the colon"),
        (
            "name: x\nfigure: {}\nfigures: {}\n",
            2,
            "figure is no key of a sheet; the keys are name and figures",
            "figures",
        ),
        (
            "name: x\nfigures:\n  spark_lenght: {figure: 6 mm, from: p. 4}\n",
            3,
            "the knowledge has no value spark_lenght",
            "spark_length",
        ),
        (
            "name: x\nfigures:\n  spark_length: {figure: 6 mm}\n",
            3,
            "spark_length needs a figure and where it is from",
            '{figure: 0.3 to 0.4 mm, from: "workshop manual 1974, page 41"}',
        ),
        (
            "name: x\nfigures:\n  spark_length: {figure: 60 mm, from: p. 4}\n",
            3,
            "60 mm: Spark it jumps when good cannot be 60 mm",
            "a figure from 0 to 40 mm",
        ),
    ],
)
def test_each_mistake_has_its_place(shipped: Path, tmp_path: Path, text: str, line: int, says: str, write: str) -> None:
    path = tmp_path / "sheet.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KnowledgeError) as caught:
        read_sheet(path, load(shipped))
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.says, problem.write) == (line, says, write)


def test_a_file_that_is_not_there(shipped: Path, tmp_path: Path) -> None:
    with pytest.raises(KnowledgeError, match="there is no such file"):
        read_sheet(tmp_path / "gone.yaml", load(shipped))
    with pytest.raises(KnowledgeError, match="this file cannot be read"):
        read_sheet(tmp_path, load(shipped))


@pytest.mark.parametrize("raw", [b"\r\x80", b"name: \xc2\x9b2J\nfigure: {}\n", "name: \u202ex\nfigure: {}\n".encode()])
def test_a_mistake_is_shown_without_what_a_terminal_obeys(shipped: Path, tmp_path: Path, raw: bytes) -> None:
    """A return, a control sequence, a turn of the writing: the line that is quoted holds none of them."""
    path = tmp_path / "sheet.yaml"
    path.write_bytes(raw)
    with pytest.raises(KnowledgeError) as caught:
        read_sheet(path, load(shipped))
    assert all(line.isprintable() for line in str(caught.value).split("\n"))
