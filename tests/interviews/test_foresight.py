"""Working ahead while a step is being done: a fake slow consultation, whose answers are its only reckoning."""

from __future__ import annotations

import os
import threading
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from diagnose.consultation import begin
from diagnose.events import Event
from diagnose.planning.steps import Step
from diagnose.terminal.foresight import Foresight, likely_events


def seen(outcome: str, **more) -> Event:
    return Event("observe", {"test": "spark", "outcome": outcome, **more})


@dataclass
class Slow:
    """Reckons only when let go; notes what was reckoned, in order."""

    reckoned: list[str]
    go_on: threading.Event
    events: tuple[Event, ...] = ()
    begun: threading.Event = field(default_factory=threading.Event)

    def add(self, event: Event) -> Slow:
        return Slow(self.reckoned, self.go_on, (*self.events, event), self.begun)

    @property
    def ranked(self) -> str:
        outcome = self.events[-1].body["outcome"]
        self.begun.set()
        assert self.go_on.wait(10)
        if outcome == "wrong":
            raise ZeroDivisionError
        self.reckoned.append(outcome)
        self.__dict__["known"] = f"after {outcome}"
        return outcome

    steps, watches_money = (), False


@pytest.fixture
def slow():
    made = Slow([], threading.Event())
    yield made
    made.go_on.set()


def test_a_ready_answer_is_used(slow):
    slow.go_on.set()
    ahead = Foresight(slow, [seen("none"), seen("good")]).start()
    ahead.wait(10)
    taken = ahead.take(seen("good", reading={"text": "6 mm"}))
    assert taken.__dict__["known"] == "after good"
    assert taken.events[-1].body["reading"] == {"text": "6 mm"}  # what was written down is his, not ours
    assert slow.reckoned == ["none", "good"]


def test_an_answer_not_foreseen_is_left_to_be_worked_out(slow):
    slow.go_on.set()
    ahead = Foresight(slow, [seen("none")]).start()
    ahead.wait(10)
    assert ahead.take(seen("weak")) is None


def test_the_answer_in_work_is_waited_for(slow):
    ahead = Foresight(slow, [seen("none"), seen("good")]).start()
    assert slow.begun.wait(10)
    threading.Timer(0.05, slow.go_on.set).start()
    assert ahead.take(seen("none")).__dict__["known"] == "after none"
    ahead.wait(10)
    assert slow.reckoned == ["none"]


def test_cancel_lets_nothing_more_begin(slow):
    ahead = Foresight(slow, [seen("none"), seen("good"), seen("weak")]).start()
    assert slow.begun.wait(10)
    ahead.cancel()
    slow.go_on.set()
    ahead.wait(10)
    assert slow.reckoned == ["none"]


def test_going_on_with_another_answer_cancels_too(slow):
    ahead = Foresight(slow, [seen("none"), seen("good")]).start()
    assert slow.begun.wait(10)
    assert ahead.take(seen("weak")) is None
    slow.go_on.set()
    ahead.wait(10)
    assert slow.reckoned == ["none"]


def test_an_error_in_the_thread_harms_nothing(slow):
    slow.go_on.set()
    ahead = Foresight(slow, [seen("wrong"), seen("good")]).start()
    ahead.wait(10)
    assert ahead.take(seen("wrong")) is None
    assert Foresight(slow, [seen("wrong"), seen("good")]).take(seen("good")) is None  # never started
    assert slow.reckoned == ["good"]


def test_nothing_is_written(slow, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    opened = []
    monkeypatch.setattr("builtins.open", lambda *given, **more: opened.append(given))
    monkeypatch.setattr(os, "open", lambda *given, **more: opened.append(given))
    slow.go_on.set()
    ahead = Foresight(slow, [seen("none")]).start()
    ahead.wait(10)
    assert ahead.take(seen("none")) is not None
    monkeypatch.undo()
    assert opened == []
    assert list(Path(tmp_path).iterdir()) == []


def test_the_likeliest_answer_comes_first(small):
    job = begin(small, {"bike": {"strokes": "2", "parked": "lately"}, "complaint": "not_a_cough"})
    step = Step(kind="test", id="spark_at_gap", minutes=5, outcomes=(("none", 0.2), ("weak", 0.1), ("good", 0.7)))
    events = likely_events(job, step, small.tests["spark_at_gap"])
    assert [event.body.get("outcome") for event in events] == ["good", "none", "weak", None, None]
    assert [event.kind for event in events[3:]] == ["cannot", "not_sure"]


def test_a_job_led_with_foresight_believes_what_it_would_without(small):
    job = begin(small, {"bike": {"strokes": "2", "parked": "lately"}, "complaint": "not_a_cough"})
    step = next(step for step in job.steps if step.id == "spark_at_gap")
    ahead = Foresight(job, likely_events(job, step, small.tests[step.id])).start()
    ahead.wait(60)
    event = Event("observe", {"test": step.id, "outcome": "none"}, "2026-03-14T12:00:00+00:00")
    taken, plain = ahead.take(event), job.add(event)
    assert taken.events == plain.events
    assert taken.ranked == plain.ranked
    assert taken.steps == plain.steps
