"""Jobs on disk: what was appended is there, in order, unchanged, whoever else writes and whatever ends the program."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import datetime
from types import MappingProxyType

import pytest

from diagnose import __version__
from diagnose.events import KINDS, Event
from diagnose.problems import JobError
from diagnose.records import open_store

INTAKE = Event(
    "intake",
    {"bike": {"strokes": "2"}, "words": 'says "it won\'t" — ½ Ω\n\0\udc80'},
    "2026-03-14T10:00:00+00:00",
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "jobs.db"


@pytest.fixture
def store(path):
    with open_store(path) as opened:
        yield opened


def test_events_come_back_as_they_were_appended(store, path):
    job = store.create("old two-stroke", "abc123")
    written = [INTAKE] + [
        Event(kind, {"n": n, "deep": {"x": [1.5, None, True]}}, "2026-01-01T00:00:00") for n, kind in enumerate(KINDS)
    ]
    for number, event in enumerate(written, start=1):
        assert store.append(job, event, number) == event
    assert store.events(job) == tuple(written)
    with open_store(path) as again:
        assert again.events(job) == tuple(written)


def test_an_event_is_on_disk_when_append_returns(store, path):
    job = store.create("", "v")
    store.append(job, INTAKE, 1)
    with closing(sqlite3.connect(path)) as other:
        assert other.execute("SELECT count(*) FROM events").fetchone() == (1,)
    assert store._db.execute("PRAGMA synchronous").fetchone() == (2,), "2 is FULL"
    assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert store._db.execute("PRAGMA foreign_keys").fetchone() == (1,)


def test_an_event_without_a_time_gets_the_present_one(store):
    job = store.create("", "v")
    before = datetime.now().astimezone().replace(microsecond=0)
    stamped = store.append(job, Event("note", {"text": "x"}), 1)
    assert before <= datetime.fromisoformat(stamped.at) <= datetime.now().astimezone()
    assert store.events(job) == (stamped,)


def test_jobs_are_listed_with_what_they_were_begun_with(store):
    first, second = store.create("first\n one\x00", "know1"), store.create("second \udc80", "know2")
    store.append(second, INTAKE, 1)
    day = f"{datetime.now():%y%m%d}"
    assert (first, second) == (f"{day}-1", f"{day}-2")
    lines = store.jobs()
    assert [(line.id, line.title, line.events, line.closed_at) for line in lines] == [
        (first, "first one", 0, ""),
        (second, "second ?", 1, ""),
    ]
    assert [line.knowledge_version for line in lines] == ["know1", "know2"]
    assert {line.program_version for line in lines} == {__version__}


def test_ids_go_on_after_the_ninth(store):
    ids = [store.create("", "v") for _ in range(12)]
    assert ids[-1].endswith("-12")
    assert [line.id for line in store.jobs()] == ids


def test_closing_takes_a_job_off_the_open_ones_and_keeps_its_events(store):
    first, second, third = (store.create("", "v") for _ in range(3))
    store.append(first, INTAKE, 1)
    store.append(first, Event("close_job", {"confirmed": {}}, "2026-03-14T12:00:00+00:00"), 2)
    store.mark_closed(second)
    assert [line.id for line in store.open_jobs()] == [third]
    assert store.jobs()[0].closed_at == "2026-03-14T12:00:00+00:00"
    assert len(store.events(first)) == 2
    store.mark_open(second)
    assert [line.id for line in store.open_jobs()] == [second, third]


def test_a_number_that_is_not_the_next_means_another_terminal_was_quicker(store, path):
    job = store.create("", "v")
    store.append(job, INTAKE, 1)
    with open_store(path) as other:
        other.append(job, Event("note", {"text": "from there"}), 2)
    with pytest.raises(JobError) as caught:
        store.append(job, Event("note", {"text": "from here"}), 2)
    assert str(caught.value) == (
        f"job {job} was changed in another terminal: it has 2 events, not 1. "
        "Nothing is lost; take the job up again and give the last answer."
    )
    assert [event.body.get("text") for event in store.events(job)] == [None, "from there"]
    with pytest.raises(JobError, match="it has 2 events, not 4"):
        store.append(job, INTAKE, 5)


def test_unknown_jobs_are_named_with_those_that_there_are(store):
    with pytest.raises(JobError, match=r'there is no job "nope"; there are none\.'):
        store.events("nope")
    job = store.create("", "v")
    for call in (
        store.events,
        store.mark_closed,
        store.mark_open,
        lambda each: store.append(each, INTAKE, 1),
    ):
        with pytest.raises(JobError, match=f'there is no job "nope"; the latest are {job}.'):
            call("nope")
    with pytest.raises(JobError, match="there is no job"), store.hold("../../nope"):
        pass


@pytest.mark.parametrize("body", [{"x": float("nan")}, {"x": {1, 2}}, {"x": object()}, {(1, 2): 3}])
def test_a_body_that_json_cannot_hold_is_refused_and_nothing_written(store, body):
    job = store.create("", "v")
    with pytest.raises(JobError, match="this note cannot be written down"):
        store.append(job, Event("note", body), 1)
    assert store.events(job) == ()


def test_read_only_mappings_are_written(store):
    job = store.create("", "v")
    store.append(job, Event("intake", MappingProxyType({"bike": MappingProxyType({"a": "b"})})), 1)
    assert store.events(job)[0].body == {"bike": {"a": "b"}}


@pytest.mark.parametrize(
    "statement",
    ["UPDATE events SET body = '{}'", "DELETE FROM events", "REPLACE INTO events SELECT * FROM events"],
)
def test_the_file_itself_refuses_to_change_what_happened(store, path, statement):
    job = store.create("", "v")
    store.append(job, INTAKE, 1)
    refused = pytest.raises(sqlite3.IntegrityError, match=r"events are (never|numbered)")
    with closing(sqlite3.connect(path)) as other, refused:
        other.execute(statement)
    assert store.events(job) == (INTAKE,)


@pytest.mark.parametrize(
    "row",
    [
        ("JOB", "two", "note", "{}", ""),
        ("JOB", 0, "note", "{}", ""),
        ("JOB", 3, "note", "{}", ""),
        ("JOB", 2, "note", "{not json", ""),
        ("JOB", 1, "note", "{}", ""),
        ("nobody", 1, "note", "{}", ""),
    ],
)
def test_the_file_itself_refuses_rows_that_make_no_sense(store, row):
    job = store.create("", "v")
    store.append(job, INTAKE, 1)
    with pytest.raises(sqlite3.IntegrityError):
        store._db.execute("INSERT INTO events VALUES (?, ?, ?, ?, ?)", [job if cell == "JOB" else cell for cell in row])


def test_an_event_of_a_newer_program_is_named(store):
    job = store.create("", "v")
    store._db.execute("INSERT INTO events VALUES (?, 1, 'levitate', '{}', '')", (job,))
    with pytest.raises(JobError, match=f'event 1 of job {job} is of the kind "levitate".*update the program'):
        store.events(job)


def test_a_second_terminal_on_the_same_job_is_told_at_once(store, path):
    job, other_job = store.create("", "v"), store.create("", "v")
    with open_store(path) as other:
        with store.hold(job):
            with (
                pytest.raises(JobError, match=rf"job {job} is open in another terminal \(process {os.getpid()} on "),
                other.hold(job),
            ):
                pass
            with other.hold(other_job):
                pass
        with other.hold(job):
            pass


PROGRAM = """
import sys, time
from diagnose.events import Event
from diagnose.records import open_store
with open_store(sys.argv[1]) as store, store.hold(sys.argv[2]):
    number = len(store.events(sys.argv[2]))
    print("held", flush=True)
    while sys.argv[3] == "write":
        number += 1
        store.append(sys.argv[2], Event("note", {"n": number}), number)
        print(number, flush=True)
    time.sleep(60)
"""


def started(path, job, what):
    """Start another program on a job and wait until it holds it."""
    command = [sys.executable, "-c", PROGRAM, str(path), job, what]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert program.stdout.readline() == "held\n"
    return program


def test_a_killed_program_holds_nothing(store, path):
    job = store.create("", "v")
    program = started(path, job, "hold")
    try:
        with pytest.raises(JobError, match=f"process {program.pid} on "), store.hold(job):
            pass
    finally:
        program.kill()
        program.wait()
        program.stdout.close()
    with store.hold(job):
        pass


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_kill_in_a_write_loop_loses_no_acknowledged_event(path):
    with open_store(path) as store:
        job = store.create("", "v")
    told = 0
    for _ in range(3):
        program = started(path, job, "write")
        for _ in range(150):
            told = int(program.stdout.readline())
        os.kill(program.pid, signal.SIGKILL)
        rest = program.stdout.read().split("\n")
        program.wait()
        program.stdout.close()
        told = max([told, *(int(line) for line in rest[:-1])])
        with closing(sqlite3.connect(path)) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        with open_store(path) as store:
            numbers = [event.body["n"] for event in store.events(job)]
        assert numbers == list(range(1, len(numbers) + 1))
        assert len(numbers) in (told, told + 1), "at most the one that was not acknowledged is more"


WRITER = """
import sys
from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.records import open_store
path, job, name = sys.argv[1:]
with open_store(path) as store:
    for turn in range(60):
        while True:
            try:
                store.append(job, Event("note", {"by": name, "turn": turn}), len(store.events(job)) + 1)
                break
            except JobError as error:
                assert "changed in another terminal" in str(error), error
"""


def test_three_programs_on_one_job_lose_nothing(path):
    with open_store(path) as store:
        job = store.create("", "v")
    programs = [subprocess.Popen([sys.executable, "-c", WRITER, str(path), job, name]) for name in "abc"]
    assert [program.wait(60) for program in programs] == [0, 0, 0]
    with open_store(path) as store:
        said = [(event.body["by"], event.body["turn"]) for event in store.events(job)]
    assert sorted(said) == [(name, turn) for name in "abc" for turn in range(60)]
    assert [turn for name, turn in said if name == "b"] == list(range(60))


def test_many_programs_may_make_the_file_at_the_same_time(path):
    line = "import sys; from diagnose.records import open_store\nwith open_store(sys.argv[1]) as s: print(s.create('', 'v'))"
    programs = [
        subprocess.Popen([sys.executable, "-c", line, str(path)], stdout=subprocess.PIPE, text=True) for _ in range(8)
    ]
    ids = {program.communicate(timeout=60)[0].strip() for program in programs}
    assert {program.returncode for program in programs} == {0}
    assert len(ids) == 8
    with open_store(path) as store:
        assert {each.id for each in store.jobs()} == ids


def test_the_raw_rows_are_plain_json_for_whoever_comes_later(store, path):
    job = store.create("", "v")
    store.append(job, INTAKE, 1)
    with closing(sqlite3.connect(path)) as raw:
        (body,) = raw.execute("SELECT body FROM events").fetchone()
    assert json.loads(body) == INTAKE.body


def test_sqlite_is_loaded_in_this_room_only():
    line = "import sys, diagnose.events, diagnose.model, diagnose.units, diagnose.problems; print('sqlite3' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", line], capture_output=True, text=True, check=True).stdout == "False\n"
