"""From a state to what is believed and what could be done next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from diagnose.consultation.safety import Lock, asked_conditions, locks
from diagnose.consultation.state import (
    TRY_TO_START,
    State,
    access_tree,
    must_close,
    situation_for,
    situation_now,
)
from diagnose.inference.ladder import Observation, Rung, observed, rungs
from diagnose.inference.posterior import Candidate, Posterior, Prospect, Question, only_cause_present, posterior, prospects
from diagnose.model import PRESENT, Knowledge, Repair, Test, Work, may_apply
from diagnose.network.graph import BikeGraph, decision_graph
from diagnose.network.situations import ARRIVAL, Situation
from diagnose.planning.look_ahead import rank_steps
from diagnose.planning.options import Beliefs, Bench, Floats, Outlook, RepairOption, TestOption
from diagnose.planning.steps import Step

START_TARGET = ("no_turn", "no_fire", "coughs", "fires_dies")
"""What must be gone where no complaint was given: the bike starts and keeps running."""

WAIT_SHARE = 0.1
"""A minute of waiting costs this share of a minute of work (memory)."""

SERVICE_MINUTES = 1200.0
"""What handing on a fault that the book does not know costs, in minutes of work (memory)."""

CLEAR_LOOK = 0.7
"""A test shows a cause plainly if it finds it at least this often; a repair is then not done blindly."""

MOST_HAZARD = 3
"""Cautions beyond this many do not make a step count as more dangerous."""

MOST_CUTS = 4
"""Tests that change the bike are looked ahead to at most this many at a time."""

LEAST_CUT = 0.08
"""A test that changes the bike is looked ahead to if what it changes is at least this likely to be at work."""

AT_STANDSTILL = (*START_TARGET, "kicks_back", "floods", "drips_fuel")
"""What a bike that does not run can still do."""

NOT_RUNNING = 0.5
"""Tests that need a running engine are left out while it is likelier than this that it does not keep running."""


@dataclass(frozen=True)
class Outlooked:
    """All possible next steps, best first, and the expected money until the bike does what is asked."""

    steps: tuple[Step, ...]
    cost_left: float


_graphs: dict[tuple[str, tuple[tuple[str, str], ...]], BikeGraph] = {}


def bike_graph(knowledge: Knowledge, facts: Mapping[str, str]) -> BikeGraph:
    """Return the decision graph of a bike; the last few are kept."""
    key = (knowledge.version, tuple(sorted(facts.items())))
    if key not in _graphs:
        while len(_graphs) >= 8:
            _graphs.pop(next(iter(_graphs)))
        _graphs[key] = decision_graph(knowledge, facts)
    return _graphs[key]


def targets(knowledge: Knowledge, state: State) -> tuple[str, ...]:
    """Return the conditions that must be healthy for the job to be done."""
    return knowledge.complaints[state.complaint].target if state.complaint else START_TARGET


def evidence(knowledge: Knowledge, state: State) -> tuple[Observation, ...]:
    """Return the complaint and every result as observations, each in its situation."""
    found = []
    if state.complaint:
        complaint = knowledge.complaints[state.complaint]
        did_not = Rung(0.0, {node: {PRESENT: 1.0} for node in complaint.excludes})
        reported = Rung(complaint.base, complaint.drivers)
        found.append(Observation(f"complaint: {complaint.name}", (did_not,), reported))
    for seen in state.seen:
        test = knowledge.tests[seen.test]
        label = f"{test.name}: {test.outcome(seen.outcome).name}"
        found.append(observed(label, test.outcomes, seen.outcome, seen.situation))
    return tuple(found)


def question(knowledge: Knowledge, state: State) -> Question:
    """Return what the network is asked, without looking ahead."""
    return Question(
        observations=evidence(knowledge, state),
        repairs=state.repairs,
        now=situation_now(knowledge, state),
        targets=tuple(t for t in targets(knowledge, state)),
        start=START_TARGET,
        shown=tuple(dict.fromkeys((*asked_conditions(knowledge), *supplied(knowledge)))),
    )


def supplied(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the conditions that some test holds healthy while it is done."""
    return tuple(dict.fromkeys(c for test in knowledge.tests.values() for c in test.supplies))


def look_ahead(knowledge: Knowledge, state: State, belief: Posterior) -> Outlooked:
    """Return the ranked steps and the expected cost left. Raises NetworkTooWide."""
    bike = bike_graph(knowledge, state.facts)
    bench = _bench(knowledge, state, held := locks(knowledge, state, belief.conditions))
    tests = worth_asking(knowledge, bench, open_tests(knowledge, state, bike, runs(belief)), belief)
    now = situation_now(knowledge, state)
    candidates = [Candidate(t.id, rungs(t.outcomes), situation_for(t, now)) for t in tests]
    ahead = prospects(bike, question(knowledge, state), candidates)
    tests = [test for test in tests if test.id in ahead]
    alone = np.array(list(_alone(bike, targets(knowledge, state)).values()))
    stop = stopping(np.array(list(belief.causes.values())), alone)
    after = {name: _after(prospect, alone, stop, belief.failing) for name, prospect in ahead.items()}
    options = [_test_option(knowledge, state, test, held) for test in tests]
    looks = _looks(knowledge, state)
    repairs = [_repair_option(r, list(bike.roots), held, looks) for r in open_repairs(knowledge, state, bike)]
    ranked = rank_steps(
        replace(bench, try_forbidden=()),
        [replace(option, forbidden=()) for option in options],
        [replace(option, forbidden=()) for option in repairs],
        Beliefs(marginals=stop, failing=belief.failing, after=after),
    )
    forbidden = {option.id: option.forbidden for option in (*options, *repairs)} | {TRY_TO_START: bench.try_forbidden}
    named = [replace(s, id=TRY_TO_START) if s.kind == "try_out" else s for s in ranked]
    steps = [_with_closing(knowledge, state, bench, replace(s, forbidden=forbidden[s.id])) for s in named]
    return Outlooked(_unlocked_first(steps, held), min((s.expected for s in steps), default=0.0))


def worth_asking(knowledge: Knowledge, bench: Bench, tests: Sequence[Test], belief: Posterior) -> list[Test]:
    """Return the tests worth looking ahead to.

    Left out, because they cannot pay: a test that looks only at causes and will hardly say anything but its
    default (what it could save at the most, P(not the default) times handing the bike on, is less than its
    price), and of those that change the bike all but the MOST_CUTS likeliest to have something to cut.
    """
    kept, cuts = [], []
    for test in tests:
        if test.removes or test.supplies:
            chance = _at_work(test, belief)
            if chance >= LEAST_CUT:
                cuts.append((-chance, test.id, test))
            continue
        price = bench.money(test.minutes + bench.tree.minutes_to_open(test.access, bench.opened))
        if _says_something(test, belief) * bench.service_cost >= price or _unlocks(knowledge, test):
            kept.append(test)
    return kept + [test for _, _, test in sorted(cuts)[:MOST_CUTS]]


def _unlocks(knowledge: Knowledge, test: Test) -> bool:
    rules = [rule.when for rule in knowledge.cautions.values() if rule.when]
    return any(test.id in (*when.not_done, *when.cleared_by, *when.outcome) for when in rules)


def _says_something(test: Test, belief: Posterior) -> float:
    """At most P(an outcome other than the default), where only causes drive it; 1 where conditions do."""
    chance = 0.0
    for outcome in test.outcomes:
        chance += outcome.base
        for driver, by_level in outcome.drivers.items():
            if driver not in belief.causes:
                return 1.0
            chance += belief.causes[driver] * max(by_level.values())
    return min(chance, 1.0)


def _at_work(test: Test, belief: Posterior) -> float:
    """P(something is at work that the test cuts out or holds healthy), taken as independent."""
    none = 1.0
    for cause in test.removes:
        none *= 1 - belief.causes.get(cause, 0.0)
    for condition in test.supplies:
        none *= next(iter(belief.conditions[condition].values())) if condition in belief.conditions else 1.0
    return 1 - none


def runs(belief: Posterior) -> bool:
    """Return whether the engine probably starts and keeps running as it stands."""
    return belief.failing_to_start <= NOT_RUNNING


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


def open_tests(knowledge: Knowledge, state: State, bike: BikeGraph, running: bool) -> list[Test]:
    """Return the tests that could still tell something: they fit the bike, are on the list and not known as it
    stands, and can be done on an engine that does or does not run.
    """
    now = situation_now(knowledge, state)
    found = []
    for test in knowledge.tests.values():
        if test.id == TRY_TO_START or test.id in state.off_list or not may_apply(test.applies, state.facts):
            continue
        if not running and (needs_running(test) or asks_of_running(bike, test)):
            continue
        drivers = {d for outcome in test.outcomes for d in outcome.drivers if d in bike.ancestors}
        if drivers and not _known(test, drivers, state, situation_for(test, now), bike):
            found.append(test)
    return found


def needs_running(test: Test) -> bool:
    """Return whether a test looks at a running engine (a swap or a look after a try does not)."""
    return "rides" in test.does or ("runs" in test.does and test.kind not in ("swap", "look"))


def asks_of_running(bike: BikeGraph, test: Test) -> bool:
    """Return whether a question is about how the engine runs: nothing to ask of a bike that does not."""
    drivers = {d for outcome in test.outcomes for d in outcome.drivers}
    return test.kind == "ask" and bool((drivers & bike.leaves) - set(AT_STANDSTILL))


def _known(test: Test, drivers: set[str], state: State, situation: Situation, bike: BikeGraph) -> bool:
    """Whether the test was answered and nothing that it looks at has been changed since."""
    above = frozenset[str]().union(*(bike.ancestors[d] for d in drivers))

    def mark(s: Situation) -> tuple[object, ...]:
        done = [n for n, r in enumerate(state.repairs, start=1) if n <= s.epoch and any(r.touches(a) for a in above)]
        return tuple(done), s.cut & above, s.held & above

    return any(seen.test == test.id and mark(seen.situation) == mark(situation) for seen in state.seen)


def open_repairs(knowledge: Knowledge, state: State, bike: BikeGraph) -> list[Repair]:
    """Return the repairs that fit the bike and cure something it can have."""
    return [
        repair
        for repair in knowledge.repairs.values()
        if may_apply(repair.applies, state.facts) and any(cause in bike.roots for cause in repair.cures)
    ]


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


def _bench(knowledge: Knowledge, state: State, held: Sequence[Lock]) -> Bench:
    rate = state.shop.labour / 60
    attempt = knowledge.tests.get(TRY_TO_START)
    return Bench(
        tree=access_tree(knowledge),
        opened=state.opened,
        rate=rate,
        wait_rate=rate * WAIT_SHARE,
        try_minutes=attempt.minutes if attempt else 5.0,
        service_cost=rate * SERVICE_MINUTES,
        try_forbidden=_forbidden(attempt, held) if attempt else (),
        try_hazard=_hazard(attempt) if attempt else MOST_HAZARD,
    )


def _forbidden(work: Work, held: Sequence[Lock]) -> tuple[str, ...]:
    return tuple(lock.caution for lock in held if lock.forbids & work.does)


def _hazard(work: Work) -> int:
    return min(len(work.cautions), MOST_HAZARD)


def _test_option(knowledge: Knowledge, state: State, test: Test, held: Sequence[Lock]) -> TestOption:
    closing = access_tree(knowledge).minutes_to_close(must_close(knowledge, state, test.does))
    return TestOption(
        id=test.id,
        minutes=test.minutes + closing,
        wait=test.wait,
        access=test.access,
        outcomes=tuple(outcome.id for outcome in test.outcomes),
        hazard=_hazard(test),
        forbidden=_forbidden(test, held),
    )


def _looks(knowledge: Knowledge, state: State) -> dict[str, float]:
    """Return for each cause the minutes of the quickest test that looks at the part itself, access apart."""
    found: dict[str, float] = {}
    for test in knowledge.tests.values():
        if may_apply(test.applies, state.facts) and not (test.removes or test.supplies):
            for outcome in test.outcomes:
                for driver, by_level in outcome.drivers.items():
                    if driver in knowledge.causes and max(by_level.values()) >= CLEAR_LOOK:
                        found[driver] = min(found.get(driver, test.minutes), test.minutes)
    return found


def _repair_option(
    repair: Repair, roots: Sequence[str], held: Sequence[Lock], looks: Mapping[str, float]
) -> RepairOption:
    seen = [looks.get(cause) for cause in repair.cures]
    look = None if None in seen else min(repair.minutes, max((m for m in seen if m is not None), default=0.0))
    index = {root: n for n, root in enumerate(roots)}
    return RepairOption(
        id=repair.id,
        minutes=repair.minutes,
        wait=repair.wait,
        parts=repair.parts,
        access=repair.access,
        look=look,
        cures={index[cause]: p for cause, p in repair.cures.items() if cause in index},
        hazard=_hazard(repair),
        forbidden=_forbidden(repair, held),
    )


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
