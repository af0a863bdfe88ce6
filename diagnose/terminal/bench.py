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
from diagnose.terminal.page import Page

if TYPE_CHECKING:
    from diagnose.consultation import Consultation


class JobFile(Protocol):
    """What is needed of the store of jobs."""

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
        after = None if self._consultation is None else self._consultation.add(event)
        self.store.append(self.job, event, len(self.events) + 1)
        self.events, self._consultation = (*self.events, event), after


@contextmanager
def patience(after: float = 0.5) -> Iterator[None]:
    """Say on stderr that it is being worked out, if what stands inside takes more than so many seconds."""
    timer = Timer(after, lambda: print("Working it out ...", file=sys.stderr, flush=True))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def load_engine() -> Thread:
    """Import what is heavy while the first questions are being answered; return the thread that does it."""
    thread = Thread(target=_import_engine, daemon=True)
    thread.start()
    return thread


def _import_engine() -> None:
    import diagnose.consultation  # noqa: F401
