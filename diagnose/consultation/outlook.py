"""Look one step ahead: what is believed after each result, what it would cost from there, and what is locked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from diagnose.consultation.choices import (
    bench_of,
    open_repairs,
    open_tests,
    quickest_looks,
    repair_option,
    runs,
    test_option,
    worth_asking,
)
from diagnose.consultation.evidence import bike_graph, question, targets
from diagnose.consultation.safety import Lock, locks
from diagnose.consultation.state import TRY_TO_START, State, must_close, situation_for, situation_now
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate, Posterior, Prospect, only_cause_present, prospects
from diagnose.model import Knowledge, Work
from diagnose.network.graph import BikeGraph
from diagnose.planning.look_ahead import rank_steps
from diagnose.planning.options import Beliefs, Bench, Floats, Outlook
from diagnose.planning.steps import Step


@dataclass(frozen=True)
class Outlooked:
    """All possible next steps, best first, and the expected money until the bike does what is asked."""

    steps: tuple[Step, ...]
    cost_left: float


def look_ahead(knowledge: Knowledge, state: State, belief: Posterior) -> Outlooked:
    """Return the ranked steps and the expected cost left. Raises NetworkTooWide."""
    bike = bike_graph(knowledge, state.facts)
    bench = bench_of(knowledge, state, held := locks(knowledge, state, belief.conditions))
    tests = worth_asking(knowledge, bench, open_tests(knowledge, state, bike, runs(belief)), belief)
    now = situation_now(knowledge, state)
    candidates = [Candidate(t.id, rungs(t.outcomes), situation_for(t, now)) for t in tests]
    ahead = prospects(bike, question(knowledge, state), candidates)
    tests = [test for test in tests if test.id in ahead]
    alone = np.array(list(_alone(bike, targets(knowledge, state)).values()))
    stop = stopping(np.array(list(belief.causes.values())), alone)
    after = {name: _after(prospect, alone, stop, belief.failing) for name, prospect in ahead.items()}
    options = [test_option(knowledge, state, test, held) for test in tests]
    looks = quickest_looks(knowledge, state)
    repairs = [repair_option(r, list(bike.roots), held, looks) for r in open_repairs(knowledge, state, bike)]
    ranked = rank_steps(
        replace(bench, try_forbidden=()),
        [replace(option, forbidden=()) for option in options],
        [replace(option, forbidden=()) for option in repairs],
        Beliefs(marginals=stop, failing=belief.failing, after=after),
    )
    forbidden = {option.id: option.forbidden for option in options} | {TRY_TO_START: bench.try_forbidden}
    forbidden |= {option.id: option.forbidden for option in repairs}
    named = [replace(s, id=TRY_TO_START) if s.kind == "try_out" else s for s in ranked]
    steps = [_with_closing(knowledge, state, bench, replace(s, forbidden=forbidden[s.id])) for s in named]
    return Outlooked(_unlocked_first(steps, held), min((s.expected for s in steps), default=0.0))


def stopping(present: Floats, alone: Floats) -> Floats:
    """Return P(cause present and itself what stops the bike) from P(present) and P(stops it alone).

    With independent causes, a present cause that stops the bike with chance w is the reason with
    w / (w + (1 - w) * P(something else stops it)); the others' part is taken from the marginals.
    Shapes (..., causes); worked out here, exact where only one cause is left.
    """
    quiet = np.log1p(-np.clip(present * alone, 0.0, 1 - 1e-12))
    others = 1 - np.exp(quiet.sum(axis=-1, keepdims=True) - quiet)
    result: Floats = present * alone / np.maximum(alone + (1 - alone) * others, 1e-12)
    return result


@lru_cache(maxsize=16)
def _alone(bike: BikeGraph, wanted: tuple[str, ...]) -> dict[str, float]:
    return only_cause_present(bike, wanted)


def _after(prospect: Prospect, alone: Floats, stop: Floats, failing: float) -> Outlook:
    """What the planner needs of a prospect. The odds that it still fails move as those of the causes do."""
    marginals = stopping(prospect.causes, alone)
    change = _odds_of_any(marginals) / _odds_of_any(stop)
    odds = min(failing, 1 - 1e-9) / max(1 - failing, 1e-9) * change
    return Outlook(chances=prospect.probabilities, marginals=marginals, failing=odds / (1 + odds))


def _odds_of_any(stop: Floats) -> Floats:
    none = np.exp(np.log1p(-np.clip(stop, 0.0, 1 - 1e-9)).sum(axis=-1))
    result: Floats = np.maximum(1 - none, 1e-9) / np.maximum(none, 1e-9)
    return result


def _with_closing(knowledge: Knowledge, state: State, bench: Bench, step: Step) -> Step:
    """Name what has to be shut before the step."""
    entry: Work | None = knowledge.repairs.get(step.id) if step.kind == "repair" else knowledge.tests.get(step.id)
    shut = must_close(knowledge, state, entry.does) if entry else frozenset[str]()
    order = bench.tree.to_open(tuple(shut), frozenset())
    return replace(step, closes=tuple(a for a in reversed(order) if a in shut))


def _unlocked_first(steps: Sequence[Step], held: Sequence[Lock]) -> tuple[Step, ...]:
    """Put what unlocks a good step before it, and what stays locked last.

    A locked step is worth doing at the price it was ranked by; so the answer that may unlock it comes
    first. Steps that only a repair can unlock go to the end.
    """
    by_id = {(step.kind, step.id): step for step in steps}
    unlocking = {lock.caution: lock.unlocked_by for lock in held}
    first: dict[tuple[str, str], Step] = {}
    last: list[Step] = []
    for step in steps:
        if not step.forbidden:
            first.setdefault((step.kind, step.id), step)
            continue
        last.append(step)
        for test in (t for caution in step.forbidden for t in unlocking.get(caution, ())):
            opener = by_id.get(("test", test))
            if opener and not opener.forbidden:
                first.setdefault(("test", test), opener)
    return (*first.values(), *last)
