"""One job at the keyboard: who answers, where lines go, what happened so far, the file it is kept in."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from threading import Thread, Timer
from typing import TYPE_CHECKING, Any, Protocol

from diagnose.events import Event, Kind
from diagnose.model import Knowledge
from diagnose.terminal.asking.asker import Asker
from diagnose.terminal.foresight import Foresight, adopted, likely_events
from diagnose.terminal.page import Page

if TYPE_CHECKING:
    from diagnose.consultation import Consultation
    from diagnose.model import Repair, Test
    from diagnose.planning.steps import Step
    from diagnose.records import Sheets


class JobFile(Protocol):
    """What is needed of the store of jobs."""

    @property
    def sheets(self) -> Sheets:
        """The sheets kept for the next bike of the kind."""
        ...

    def append(self, job_id: str, event: Event, expected_number: int) -> Event:
        """Write the next event; it is on disk when this returns."""
        ...


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


@dataclass(slots=True)
class Bench:
    """A job being worked on. events: all that is on disk; the consultation is worked out when wanted."""

    knowledge: Knowledge
    store: JobFile
    job: str
    asker: Asker
    page: Page
    events: tuple[Event, ...] = ()
    clock: Callable[[], str] = _now
    _consultation: Consultation | None = None
    _foresight: Foresight | None = None

    @property
    def consultation(self) -> Consultation:
        """The job as it stands."""
        if self._consultation is None:
            from diagnose.consultation import resume  # heavy: numpy, networkx

            self._consultation = resume(self.knowledge, self.events)
        return self._consultation

    def record(self, kind: Kind, body: Mapping[str, Any]) -> None:
        """Check an event, write it to disk, then take it in. Raises JobError; then nothing was written."""
        self.take(Event(kind, body))

    def take(self, event: Event) -> None:
        """Do the same with an event that is ready made."""
        event = replace(event, at=event.at or self.clock())
        after = None if self._consultation is None else self._after(self._consultation, event)
        self.store.append(self.job, event, len(self.events) + 1)
        self.events, self._consultation = (*self.events, event), after

    def foresee(self, step: Step, work: Test | Repair) -> None:
        """Begin to work out what comes after each answer to a step, while it is being done."""
        self.forget()
        now = self.consultation
        self._foresight = Foresight(now, likely_events(now, step, work)).start()

    def forget(self) -> None:
        """Stop working ahead."""
        if self._foresight is not None:
            self._foresight.cancel()
        self._foresight = None

    def _after(self, now: Consultation, event: Event) -> Consultation:
        """Return the job with one more event; what was foreseen or known before is not worked out again."""
        foreseen = self._foresight.take(event) if self._foresight is not None else None
        self._foresight = None
        if foreseen is not None:
            return foreseen
        after = now.add(event)
        if event.kind == "undo" and now.earlier is not None:
            return adopted(after, now.earlier)
        return after


@contextmanager
def patience(after: float = 0.5) -> Iterator[None]:
    """Say on stderr that it is being worked out, if what stands inside takes more than so many seconds.

    A terminal shows it only so long.
    """
    says, terminal = "Working it out ...", sys.stderr.isatty()
    shown: list[str] = []

    def say() -> None:
        shown.append(says)
        print(says, end="" if terminal else "\n", file=sys.stderr, flush=True)

    timer = Timer(after, say)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        if shown and terminal:
            print("\r" + " " * len(says) + "\r", end="", file=sys.stderr, flush=True)


def load_engine() -> Thread:
    """Import what is heavy while the first questions are being answered; return the thread that does it."""
    thread = Thread(target=_import_engine, daemon=True)
    thread.start()
    return thread


def _import_engine() -> None:
    import diagnose.consultation  # noqa: F401
