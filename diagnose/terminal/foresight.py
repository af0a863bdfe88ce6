"""Working out, while the mechanic is at the bike, what comes after each answer he may give.

It is done in a daemon thread that looks at plain values only and writes nothing. What is ready is used when
the answer is the one foreseen; everything else is worked out when it is asked for.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import product
from threading import Condition, Thread
from typing import TYPE_CHECKING

from diagnose.events import Event
from diagnose.model import Repair, Test

if TYPE_CHECKING:
    from diagnose.consultation import Consultation
    from diagnose.planning.steps import Step

BESIDE = ("reading", "why")
"""What an event may say beside what counts for belief and plan."""

MOST_TOGETHER = 2
"""Up to so many causes of a repair are foreseen in every combination of found-as."""


class Foresight:
    """What may happen next to one consultation, likeliest first, and what is worked out of that so far."""

    def __init__(self, now: Consultation, events: Sequence[Event]) -> None:
        """Keep what is to be worked out; nothing is done before start()."""
        self._now, self._events = now, tuple(events)
        self._ready: dict[str, Consultation] = {}
        self._in_work, self._cancelled = "", False
        self._turn = Condition()
        self._thread = Thread(target=self._work, daemon=True)

    def start(self) -> Foresight:
        """Begin to work ahead; return at once."""
        self._thread.start()
        return self

    def cancel(self) -> None:
        """Begin with no further event. The one in work is finished and thrown away."""
        self._cancelled = True

    def wait(self, seconds: float | None = None) -> None:
        """Wait until nothing is in work any more."""
        self._thread.join(seconds)

    def take(self, event: Event) -> Consultation | None:
        """Return the consultation after an event if that is ready or in work, else None; then stop."""
        self.cancel()
        wanted = _key(event)
        with self._turn:
            while self._in_work == wanted:
                self._turn.wait()
            ready = self._ready.get(wanted)
        return None if ready is None else adopted(self._now.add(event), ready)

    def _work(self) -> None:
        for event in self._events:
            with self._turn:
                if self._cancelled:
                    return
                self._in_work = _key(event)
            after = _worked_out(self._now, event)
            with self._turn:
                if after is not None:
                    self._ready[self._in_work] = after
                self._in_work = ""
                self._turn.notify_all()


def adopted(after: Consultation, known: Consultation) -> Consultation:
    """Return a consultation with all that is worked out of another that differs only beside what counts."""
    for name, value in known.__dict__.items():
        after.__dict__.setdefault(name, value)
    return after


def likely_events(now: Consultation, step: Step, work: Test | Repair) -> list[Event]:
    """Return what may be answered at a step, likeliest first; last that it could not be told or done."""
    if step.kind == "reconnect":
        return [Event(step.kind, {"test": step.id})]
    if isinstance(work, Repair):
        return [Event("repair", {"repair": work.id, "found": found}) for found in _found(now, work)]
    chances = dict(step.outcomes)
    chances |= {outcome.id: chances["works"] for outcome in work.outcomes if outcome.default and "works" in chances}
    order = sorted(work.outcomes, key=lambda outcome: -chances.get(outcome.id, 0.0))
    seen = [Event("observe", {"test": work.id, "outcome": outcome.id}) for outcome in order]
    return [*seen, Event("cannot", {"test": work.id}), Event("not_sure", {"test": work.id})]


def _found(now: Consultation, repair: Repair) -> list[Mapping[str, str]]:
    """Return how the causes of a repair may be found, likeliest first."""
    chances = {ranked.id: ranked.probability for ranked in now.ranked}
    here = [cause for cause in repair.cures if cause in chances]
    unseen = dict.fromkeys(here, "not_seen")
    if len(here) > MOST_TOGETHER:
        return [unseen]
    ways = [("broken", "sound") if chances[cause] >= 0.5 else ("sound", "broken") for cause in here]
    return [*(dict(zip(here, way, strict=True)) for way in product(*ways)), unseen]


def _worked_out(now: Consultation, event: Event) -> Consultation | None:
    """Return what comes after an event, all that a screen shows of it worked out; None where that fails."""
    try:
        after = now.add(event)
        _ = after.ranked, after.steps, after.watches_money and after.worth
    except Exception:  # it will be met again, and shown, if this is what happens
        return None
    return after


def _key(event: Event) -> str:
    body = {name: value for name, value in event.body.items() if name not in BESIDE}
    return json.dumps([event.kind, body], sort_keys=True)
