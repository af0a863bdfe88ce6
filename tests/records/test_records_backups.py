"""Backups, migrations and the folder: nothing is lost when the file grows, is copied or is put back."""

from __future__ import annotations

import sqlite3
import sys
from contextlib import closing

import pytest

from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.records import data_folder, migrations, open_store, restore

NOTE = Event("note", {"text": "x" * 200}, "2026-03-14T10:00:00+00:00")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "jobs.db"


def filled(path, events=1):
    """Make a job file with one job; return the job's id."""
    with open_store(path) as store:
        job = store.create("old bike", "v")
        for number in range(1, events + 1):
            store.append(job, NOTE, number)
    return job


def trouble(path):
    """Return the message with which opening fails."""
    with pytest.raises(JobError) as caught, open_store(path):
        pass
    return str(caught.value)


NOW = len(migrations.MIGRATIONS)
"""The version this program writes."""

NEXT = ("ALTER TABLE jobs ADD COLUMN owner TEXT NOT NULL DEFAULT ''",)


def test_a_migration_keeps_everything_and_leaves_a_backup(path, monkeypatch):
    job = filled(path)
    monkeypatch.setattr(migrations, "MIGRATIONS", (*migrations.MIGRATIONS, NEXT))
    with open_store(path) as store:
        assert store.events(job) == (NOTE,)
        assert store._db.execute("SELECT owner FROM jobs").fetchone() == ("",)
        assert migrations.version_of(store._db) == NOW + 1
    (backup,) = (path.parent / "backups").iterdir()
    assert backup.name.startswith(f"jobs-v{NOW}-")
    monkeypatch.undo()
    with open_store(backup) as old:
        assert old.events(job) == (NOTE,)
    newer = f"is version {NOW + 1}, written by a newer program; this program knows version {NOW}"
    assert newer in trouble(path)


def test_a_migration_that_fails_changes_nothing(path, monkeypatch):
    job = filled(path)
    broken = (*NEXT, "CREATE TABLE jobs (id)")
    monkeypatch.setattr(migrations, "MIGRATIONS", (*migrations.MIGRATIONS, broken))
    assert "the job file cannot be used (table jobs already exists)" in trouble(path)
    monkeypatch.undo()
    with open_store(path) as store:
        assert store.events(job) == (NOTE,)
        assert migrations.version_of(store._db) == NOW
        columns = [row[1] for row in store._db.execute("PRAGMA table_info(jobs)")]
        assert "owner" not in columns


def test_a_new_file_needs_no_backup(path):
    filled(path)
    assert not (path.parent / "backups").exists()


def test_a_backup_holds_what_still_is_in_the_log(path, tmp_path):
    with open_store(path) as store:
        job = store.create("", "v")
        for number in range(1, 301):
            store.append(job, NOTE, number)
        assert path.with_name("jobs.db-wal").stat().st_size > 0
        copy = store.backup(tmp_path / "copy.db")
    with closing(sqlite3.connect(f"file:{copy}?mode=ro&immutable=1", uri=True)) as raw:
        assert raw.execute("SELECT count(*) FROM events").fetchone() == (300,)
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_backup_never_overwrites(path, tmp_path):
    filled(path)
    target = tmp_path / "copy.db"
    target.write_text("dear")
    with open_store(path) as store:
        with pytest.raises(JobError, match="exists already and is not overwritten; name another file"):
            store.backup(target)
        with pytest.raises(JobError, match="is a folder; name a file in it"):
            store.backup(tmp_path)
        with pytest.raises(JobError, match="does not exist; make it"):
            store.backup(tmp_path / "no" / "copy.db")
    assert target.read_text() == "dear"


def test_restoring_puts_the_jobs_back_and_keeps_those_that_were_there(path, tmp_path):
    job = filled(path, events=2)
    with open_store(path) as store:
        backup = store.backup(tmp_path / "copy.db")
        store.append(job, NOTE, 3)
    kept = restore(backup, path)
    with open_store(path) as store:
        assert len(store.events(job)) == 2
    with open_store(kept) as store:
        assert len(store.events(job)) == 3


def test_restoring_over_a_damaged_file_keeps_it_aside(path, tmp_path):
    job = filled(path)
    with open_store(path) as store:
        backup = store.backup(tmp_path / "copy.db")
    path.write_bytes(b"rubbish" * 1000)
    kept = restore(backup, path)
    assert kept.read_bytes() == b"rubbish" * 1000
    with open_store(path) as store:
        assert store.events(job) == (NOTE,)


def test_restoring_where_nothing_is(path, tmp_path):
    job = filled(tmp_path / "copy.db")
    assert restore(tmp_path / "copy.db", path) is None
    with open_store(path) as store:
        assert store.events(job) == (NOTE,)


def test_restoring_what_is_no_backup_changes_nothing(path, tmp_path):
    filled(path)
    content = path.read_bytes()
    (tmp_path / "text").write_text("hello " * 200)
    (tmp_path / "empty").write_text("")
    for name, says in (
        ("text", "not a job file"),
        ("empty", "holds no jobs"),
        ("gone", "is no file"),
        (".", "is no file"),
    ):
        with pytest.raises(JobError, match=says):
            restore(tmp_path / name, path)
    assert path.read_bytes() == content


def test_the_folder_is_where_the_variable_says(tmp_path, monkeypatch):
    monkeypatch.setenv("DIAGNOSE_HOME", str(tmp_path / "a" / "b"))
    assert data_folder() == tmp_path / "a" / "b"
    assert data_folder().is_dir()


def test_without_the_variable_it_is_the_place_for_data(tmp_path, monkeypatch):
    monkeypatch.delenv("DIAGNOSE_HOME", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if sys.platform.startswith("linux"):
        assert data_folder() == tmp_path / "data" / "diagnose"


@pytest.mark.parametrize("below", ["", "jobs"])
def test_a_folder_that_cannot_be_made(tmp_path, monkeypatch, below):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("DIAGNOSE_HOME", str(tmp_path / "file" / below))
    with pytest.raises(JobError, match=r"cannot be made \(.*\)\. Set DIAGNOSE_HOME to a folder that can be written to"):
        data_folder()
