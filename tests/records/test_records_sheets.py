"""Kept sheets: on disk when kept, found by any spelling of capitals, never overwritten unasked."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.records import migrations, open_store

GAP = {"item": "points_gap", "text": "0.3 to 0.4 mm", "unit": "mm", "low": 0.3, "high": 0.4, "source": "p. 41 ½"}
JET = {"item": "main_jet", "text": "92", "unit": "", "value": 92.0, "source": "p. 12"}


@pytest.fixture
def path(tmp_path):
    return tmp_path / "jobs.db"


def test_a_sheet_comes_back_as_it_was_kept(path):
    with open_store(path) as store:
        kept = store.sheets.keep("  pressed-frame \n 125 ", [GAP, JET], "260314-1")
    with open_store(path) as store:
        assert store.sheets.get("Pressed-Frame 125") == kept
        assert store.sheets.all() == (kept,)
    assert (kept.name, kept.job, kept.figures) == ("pressed-frame 125", "260314-1", (GAP, JET))


def test_a_name_that_is_taken_is_replaced_only_when_asked(path):
    with open_store(path) as store:
        store.sheets.keep("pressed-frame 125", [GAP])
        with pytest.raises(JobError, match='a sheet "PRESSED-FRAME 125" is kept already'):
            store.sheets.keep("PRESSED-FRAME 125", [JET])
        assert store.sheets.get("pressed-frame 125").figures == (GAP,)
        store.sheets.keep("PRESSED-FRAME 125", [JET], replace=True)
        assert [(one.name, one.figures) for one in store.sheets.all()] == [("PRESSED-FRAME 125", (JET,))]


@pytest.mark.parametrize("name", ["", "  \n ", "x" * 61, "a\x1b[2Jb"])
def test_a_name_that_is_none_is_refused(path, name):
    with open_store(path) as store:
        with pytest.raises(JobError, match="a sheet is kept under a name of 1 to 60 plain signs"):
            store.sheets.keep(name, [GAP])
        assert store.sheets.all() == ()


def test_nothing_is_kept_of_an_empty_sheet_or_of_what_json_cannot_hold(path):
    with open_store(path) as store:
        with pytest.raises(JobError, match="there is no figure of a manual to keep"):
            store.sheets.keep("one", [])
        with pytest.raises(JobError, match="this sheet cannot be written down"):
            store.sheets.keep("one", [{"item": "x", "value": float("nan")}])
        assert store.sheets.all() == ()


def test_a_sheet_that_is_not_there_names_the_nearest(path):
    with open_store(path) as store:
        with pytest.raises(JobError, match='no sheet "x" is kept; none is kept yet'):
            store.sheets.get("x")
        store.sheets.keep("pressed-frame 125", [GAP])
        store.sheets.keep("Step-through 70", [GAP])
        with pytest.raises(JobError, match=r'no sheet "step-thru 70" is kept; there is Step-through 70\.'):
            store.sheets.get("step-thru 70")


def test_a_file_of_before_gets_a_place_for_sheets_and_keeps_its_jobs(path, monkeypatch):
    monkeypatch.setattr(migrations, "MIGRATIONS", migrations.MIGRATIONS[:1])
    note = Event("note", {"text": "x"}, "2026-03-14T10:00:00+00:00")
    with open_store(path) as old:
        job = old.create("old bike", "v")
        old.append(job, note, 1)
    monkeypatch.undo()
    with open_store(path) as store:
        store.sheets.keep("pressed-frame 125", [GAP], job)
        assert store.events(job) == (note,)
    (backup,) = (path.parent / "backups").iterdir()
    assert backup.name.startswith("jobs-v1-")
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("SELECT name FROM sheets").fetchall() == [("pressed-frame 125",)]
