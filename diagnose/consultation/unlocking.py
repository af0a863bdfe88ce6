"""What lifts a lock: putting back, an answer, a repair; each put before the step that it unlocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.consultation.choices import AGAIN, needs_running, open_repairs, runs
from diagnose.consultation.safety import Lock
from diagnose.consultation.state import PUT_BACK_MINUTES, State
from diagnose.consultation.tools import lacking
from diagnose.inference.posterior import Posterior
from diagnose.model import Knowledge, Repair, Test, may_apply
from diagnose.network.graph import BikeGraph
from diagnose.planning.options import Bench
from diagnose.planning.steps import Step

LEAST_MEND = 0.01
"""What was seen and locks a step is mended, where nothing is likelier, if it is there with at least this chance."""


def forbidden_by(held: Sequence[Lock], does: frozenset[str]) -> tuple[str, ...]:
    """Return the cautions that lock a piece of work that does these things."""
    return tuple(lock.caution for lock in held if lock.forbids & does)


def can_open(knowledge: Knowledge, state: State, test: Test, belief: Posterior) -> bool:
    """Return whether a test that could lift a lock fits the bike as it is and the tools are there."""
    possible = runs(belief) or not needs_running(test)
    return possible and may_apply(test.applies, state.facts) and not lacking(knowledge, state, test)


def mend_for(knowledge: Knowledge, state: State, bike: BikeGraph, belief: Posterior, bench: Bench, lock: Lock) -> str:
    """Return the repair likeliest, for its money, to lift a lock that no look can lift any more; empty if none is."""
    if not lock.about or set(lock.unlocked_by) - lock.known or lock.put_back:
        return ""
    above = bike.above(lock.about)

    def lifts(repair: Repair) -> float:
        return sum(belief.causes.get(cause, 0.0) * p for cause, p in repair.cures.items() if cause in above)

    open_now = open_repairs(knowledge, state, bike, belief)
    able = [r for r in open_now if lifts(r) >= AGAIN] or [r for r in open_now if lifts(r) >= LEAST_MEND]
    best = max(able, key=lambda r: (lifts(r) / bench.money(r.minutes + 1.0, r.wait, r.parts), r.id), default=None)
    return best.id if best else ""


def unlocked_first(
    steps: Sequence[Step], bench: Bench, held: Sequence[Lock], mends: Mapping[str, str]
) -> tuple[Step, ...]:
    """Put what unlocks a good step before it, and what stays locked last.

    A locked step is worth doing at the price it was ranked by; so what is to be put back comes first, or the best of
    the answers that may unlock it. Where no answer can, the repair that is likeliest to comes as early as it and the
    locked step together deserve; as early as that step where it must be done whatever else is wrong. mends: caution ->
    repair.
    """
    by_id = {(step.kind, step.id): step for step in steps}
    unlocking = {lock.caution: lock.unlocked_by for lock in held if lock.caution not in mends}
    unplugged = {lock.caution: lock.put_back for lock in held}
    answered = {lock.caution for lock in held if lock.answered}
    first: dict[tuple[str, str], Step] = {}
    last: list[Step] = []
    early: dict[str, float] = {}
    for step in steps:
        if not step.forbidden:
            first.setdefault((step.kind, step.id), step)
            continue
        last.append(step)
        for test in (t for caution in step.forbidden for t in unplugged.get(caution, ())):
            first.setdefault(("reconnect", test), _reconnect(bench, test, step))
        for caution in step.forbidden:
            openers = [by_id["test", test] for test in unlocking.get(caution, ()) if ("test", test) in by_id]
            openers = [opener for opener in openers if not opener.forbidden]
            if openers and not any(("test", opener.id) in first for opener in openers):
                opener = max(openers, key=lambda one: one.merit)
                first["test", opener.id] = opener
            mend = by_id.get(("repair", mends.get(caution, "")))
            if mend and not mend.forbidden:
                deserves = step.merit if caution in answered else _both(mend, step)
                early[mend.id] = max(early.get(mend.id, 0.0), deserves)
    found = list(first.values())
    for name, merit in early.items():
        mend = by_id["repair", name]
        found.remove(mend)
        found.insert(next((n for n, other in enumerate(found) if other.merit < merit), len(found)), mend)
    return (*found, *last)


def _reconnect(bench: Bench, test: str, wanted: Step) -> Step:
    """Return the putting back of what a test left unplugged; it is worth what the step is that waits for it."""
    own = bench.money(PUT_BACK_MINUTES)
    return Step(
        kind="reconnect",
        id=test,
        minutes=PUT_BACK_MINUTES,
        cost=own,
        expected=own + wanted.expected,
        saves=wanted.saves,
        merit=wanted.merit,
    )


def _both(mend: Step, locked: Step) -> float:
    """Return the merit of a repair and of the step it unlocks, done one after the other (see look_ahead)."""
    saved = sum((step.merit - 1.0) * step.cost for step in (mend, locked))
    return saved / (mend.cost + locked.cost) + 1.0
