"""Everything that can be wrong with a job file: one plain sentence that says what to do, never a traceback."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing, contextmanager

import pytest

from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.records import connection, jobs, open_store

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


def test_a_folder_is_no_job_file(tmp_path):
    assert trouble(tmp_path) == f"{tmp_path} is a folder; name a file in it, such as {tmp_path / 'jobs.db'}."


def test_a_missing_folder_is_named(tmp_path):
    folder = tmp_path / "nowhere"
    assert (
        trouble(folder / "jobs.db")
        == f"the folder {folder} does not exist; make it, or name another file for the jobs."
    )


def test_a_file_is_no_folder(tmp_path):
    file = tmp_path / "file"
    file.write_text("")
    assert (
        trouble(file / "jobs.db") == f"{file} is a file, so no job file can lie in it; name another file for the jobs."
    )


@pytest.mark.skipif(not os.path.exists("/dev/null"), reason="needs device files")
def test_a_device_is_no_job_file():
    assert trouble("/dev/null") == "/dev/null is not a plain file; name another file for the jobs."


@pytest.mark.parametrize("content", [b"bike: {strokes: 2}\n" * 100, b"\0" * 5000, os.urandom(4096)])
def test_something_that_is_no_database(path, content):
    path.write_bytes(content)
    assert trouble(path) == (
        f"{path}: this is not a job file of this program. "
        "Move it away and restore the newest backup from the backups folder beside it."
    )
    assert path.read_bytes() == content


def test_an_empty_file_becomes_a_job_file(path):
    path.write_bytes(b"")
    filled(path)


def test_the_database_of_another_program_is_left_alone(path):
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE birds (name)")
    content = path.read_bytes()
    assert trouble(path) == f"{path} is the database of another program; give the jobs a file of their own."
    assert path.read_bytes() == content


@pytest.mark.parametrize("page", [1, 3, 6])
def test_a_damaged_file(path, page):
    filled(path, events=120)
    content = bytearray(path.read_bytes())
    start = page * 4096
    assert len(content) > start + 4096
    content[start : start + 4096] = b"\xa5" * 4096
    path.write_bytes(content)
    assert trouble(path) == (
        f"{path}: the file is damaged. Keep a copy of it and restore the newest backup from the backups folder beside it."
    )


def test_a_file_that_was_cut_off(path):
    filled(path, events=120)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert "the file is damaged" in trouble(path)


def test_damage_while_the_file_is_open_is_said_too(path):
    job = filled(path, events=400)
    with open_store(path) as store:
        content = bytearray(path.read_bytes())
        content[4096:] = b"\xa5" * (len(content) - 4096)
        path.write_bytes(content)
        store._db.execute("PRAGMA cache_size = 0")
        store._db.execute("PRAGMA shrink_memory")
        with pytest.raises(JobError, match="the file is damaged"):
            store.events(job)


def test_a_newer_file_is_refused_and_left_alone(path):
    filled(path)
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA user_version = 7")
    assert trouble(path) == (
        f"{path} is version 7, written by a newer program; this program knows version 2. "
        "Update the program; the file was not changed."
    )
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (7,)


def test_a_moved_file_takes_no_more_answers(path, tmp_path):
    job = filled(path)
    with open_store(path) as store:
        path.rename(tmp_path / "elsewhere.db")
        with pytest.raises(JobError, match="was moved, deleted or replaced while it was open; nothing was written"):
            store.append(job, NOTE, 2)
        filled(path)
        with pytest.raises(JobError, match="was moved, deleted or replaced while it was open"):
            store.append(job, NOTE, 2)


def test_another_program_that_writes_for_long(path, monkeypatch):
    monkeypatch.setattr(connection, "BUSY_MS", 50)
    job = filled(path)
    with open_store(path) as store, closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JobError) as caught:
            store.append(job, NOTE, 2)
        assert str(caught.value) == (
            f"{path}: another program has been writing to it for some seconds. "
            "Close the other program and try again; nothing was changed."
        )
        other.execute("ROLLBACK")
        store.append(job, NOTE, 2)


FULL = "the disk is full; what was answered before is safe. Make room on the disk and give the last answer again."


def fill_up(store, job, acknowledged):
    """Append until the disk refuses; the numbers of what was acknowledged go on the list."""
    for number in range(2, 5000):
        store.append(job, NOTE, number)
        acknowledged.append(number)


def test_a_full_disk_keeps_what_was_answered(path):
    """SQLite's own limit of pages gives the error of a full disk."""
    job = filled(path)
    with open_store(path) as store:
        (pages,) = store._db.execute("PRAGMA page_count").fetchone()
        store._db.execute(f"PRAGMA max_page_count = {pages}")
        acknowledged = []
        with pytest.raises(JobError) as caught:
            fill_up(store, job, acknowledged)
        assert str(caught.value) == f"{path}: {FULL}"
        number = acknowledged[-1] + 1
        assert len(store.events(job)) == number - 1
        store._db.execute("PRAGMA max_page_count = 100000")
        store.append(job, NOTE, number)
        assert len(store.events(job)) == number


@contextmanager
def small_disk(folder, *options):
    """Mount a small disk of memory; skip where that is not allowed."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", ",".join(("size=300k", *options)), "none", str(folder)]
    if not shutil.which("mount") or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("mounting a disk is not allowed here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_disk_that_is_really_full(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        path = disk / "jobs.db"
        job = filled(path)
        with open_store(path) as store:
            acknowledged = []
            with pytest.raises(JobError) as caught:
                fill_up(store, job, acknowledged)
            assert str(caught.value) == f"{path}: {FULL}"
            number = acknowledged[-1] + 1
            assert len(store.events(job)) == number - 1
            with pytest.raises(JobError, match="the disk is full"):
                store.backup(disk / "copy.db")
            assert not list(disk.glob("copy*"))
            saved = store.backup(tmp_path / "saved.db")
        with open_store(saved) as copy:
            assert len(copy.events(job)) == number - 1


def test_a_disk_full_from_the_start(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        (disk / "filler").write_bytes(b"x" * (300 * 1024 - 8192))
        message = trouble(disk / "jobs.db")
        assert "the disk is full" in message or "the disk refuses to read or write" in message


READ_ONLY = (
    "the file or its disk can only be read, not written. "
    "Allow writing to it, or set DIAGNOSE_HOME to a folder that can be written to."
)


@pytest.mark.parametrize("there", [True, False])
def test_a_read_only_disk(tmp_path, there):
    with small_disk(tmp_path / "disk") as disk:
        if there:
            filled(disk / "jobs.db")
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        assert trouble(disk / "jobs.db") == f"{disk / 'jobs.db'}: {READ_ONLY}"


def test_a_disk_that_turns_read_only_during_a_job(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        job = filled(disk / "jobs.db")
        with open_store(disk / "jobs.db") as store:
            store._db.execute("PRAGMA query_only = ON")
            with pytest.raises(JobError) as caught:
                store.append(job, NOTE, 2)
    assert str(caught.value) == f"{disk / 'jobs.db'}: {READ_ONLY}"


def test_a_read_only_backup_disk(tmp_path, path):
    filled(path)
    with small_disk(tmp_path / "disk", "ro") as disk, open_store(path) as store:
        with pytest.raises(JobError) as caught:
            store.backup(disk / "copy.db")
        assert str(caught.value).startswith(f"{disk / 'copy.db'}")
        assert "Read-only file system" in str(caught.value) or READ_ONLY in str(caught.value)


def test_a_folder_that_cannot_be_written_to():
    """/proc takes no files from anybody, root included."""
    if not os.path.isdir("/proc/self"):
        pytest.skip("needs /proc")
    assert trouble("/proc/self/jobs.db") == f"/proc/self/jobs.db: {READ_ONLY}"


def without_rights(path):
    """Return the message of a program that has no more rights on a path than a stranger."""
    line = (
        "import os, sys\nfrom diagnose.records import open_store\nfrom diagnose.problems import JobError\n"
        "os.getuid() or (os.setgroups([]), os.setgid(65534), os.setuid(65534))\n"
        "try:\n    open_store(sys.argv[1]).close()\nexcept JobError as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", line, str(path)], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.stdout.strip()


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="needs users")
def test_files_and_folders_without_the_right_to_write(tmp_path):
    place = tmp_path / "place"
    place.mkdir()
    filled(place / "jobs.db")
    for folder in (tmp_path, *tmp_path.parents[:2]):
        os.chmod(folder, 0o755)
    os.chmod(place / "jobs.db", 0o444)
    os.chmod(place, 0o555)
    assert without_rights(place / "jobs.db") == f"{place / 'jobs.db'}: {READ_ONLY}"
    assert without_rights(place / "new.db") == f"{place / 'new.db'}: {READ_ONLY}"
    os.chmod(place, 0o777)
    assert without_rights(place / "jobs.db") == f"{place / 'jobs.db'}: {READ_ONLY}"
    os.chmod(place, 0o000)
    assert "cannot be used (Permission denied); name another file" in without_rights(place / "jobs.db")
    os.chmod(place, 0o755)


def test_an_old_sqlite_is_refused(path, monkeypatch):
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 36, 0))
    assert trouble(path) == f"jobs need SQLite 3.37.0, this Python brings {sqlite3.sqlite_version}: update Python."


def test_a_complaint_of_sqlite_that_nobody_foresaw(path):
    with pytest.raises(JobError) as caught, connection.plain_errors(path):
        raise sqlite3.OperationalError("the moon is full")
    assert str(caught.value) == (
        f"{path}: the job file cannot be used (the moon is full). Nothing was changed; restore a backup if this stays."
    )


def test_a_lock_that_cannot_be_written_is_said(path, tmp_path):
    job = filled(path)
    (tmp_path / "locks").write_text("in the way")
    with (
        open_store(path) as store,
        pytest.raises(JobError, match="cannot be kept from other terminals"),
        store.hold(job),
    ):
        pass


def test_an_interrupted_append_leaves_nothing_half_done(path, monkeypatch):
    job = filled(path)

    def interrupted(*_):
        raise KeyboardInterrupt

    with open_store(path) as store:
        with monkeypatch.context() as patch:
            patch.setattr(jobs.Store, "_set_closed", interrupted)
            with pytest.raises(KeyboardInterrupt):
                store.append(job, Event("close_job", {}), 2)
        assert store.events(job) == (NOTE,)
        assert store.append(job, Event("close_job", {}), 2)
