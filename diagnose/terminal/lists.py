"""The longer lists behind "More": what was seen, what was repaired, what is due on a bike that has stood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.model import Repair, Test, Work, may_apply
from diagnose.terminal.views import NOT_CERTAIN
from diagnose.wording import minutes, per_cent

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation
    from diagnose.consultation.state import Seen


def seen_so_far(consultation: Consultation) -> list[tuple[str, bool]]:
    """Return every result in words, oldest first, and whether it still tells of the bike as it is."""
    known, stale = consultation.knowledge, consultation.out_of_date
    last = {seen.test: seen.number for seen in consultation.state.seen}
    return [
        (result(known.tests[seen.test], seen), seen.number == last[seen.test] and seen.test not in stale)
        for seen in consultation.state.seen
    ]


def result(test: Test, seen: Seen) -> str:
    """Return a result in words, with its reading if it was measured."""
    measured = f"{seen.reading['text']}, " if seen.reading else ""
    return f"{test.name}: {measured}{test.outcome(seen.outcome).name}{NOT_CERTAIN if seen.weights else ''}"


def repairs_done(consultation: Consultation) -> list[tuple[str, str]]:
    """Return id and name of the repairs done, each once, the last first."""
    known = consultation.knowledge.repairs
    done = [repair.id for repair in reversed(consultation.state.repairs) if repair.id in known]
    return [(repair, known[repair].name) for repair in dict.fromkeys(done)]


@dataclass(frozen=True, slots=True)
class Due:
    """One job of the round on a bike that has stood. done: it was seen or done; says: how it stands."""

    name: str
    done: bool
    says: str


def round_of_jobs(consultation: Consultation) -> list[Due]:
    """Return what is due on a bike that has stood, in the order it is done; without what this bike does not have."""
    known, state = consultation.knowledge, consultation.state
    every: list[Work] = [*known.tests.values(), *known.repairs.values()]
    due = [work for work in every if work.routine and may_apply(work.applies, state.facts)]
    return [_due(consultation, work) for work in sorted(due, key=lambda work: work.routine)]


def _due(consultation: Consultation, work: Work) -> Due:
    state = consultation.state
    if isinstance(work, Test):
        outcomes = [seen.outcome for seen in state.seen if seen.test == work.id]
        return Due(work.name, bool(outcomes), work.outcome(outcomes[-1]).name if outcomes else minutes(work.minutes))
    done = any(repair.id == work.id for repair in state.repairs)
    return Due(work.name, done, "done" if done else f"{minutes(work.minutes)}, {_wanted(consultation, work)}")


def _wanted(consultation: Consultation, work: Work) -> str:
    """Return how likely it is that a repair finds something to mend; at least, as one cause may hide in another."""
    causes = consultation.belief.causes
    cures = work.cures if isinstance(work, Repair) else {}
    return f"wanted with {per_cent(max((causes[cause] for cause in cures if cause in causes), default=0.0))}"
