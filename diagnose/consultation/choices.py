"""What could be done next: the tests and repairs that fit the bike, and their prices for the planner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod

from diagnose.consultation.evidence import START_TARGET, TURN_TARGET, try_out_of
from diagnose.consultation.repeats import known
from diagnose.consultation.state import (
    TRY_TO_START,
    State,
    access_tree,
    activities,
    must_close,
    reach_minutes,
    reaching,
    situation_for,
    tried,
)
from diagnose.consultation.tools import lacking
from diagnose.inference.posterior import Posterior
from diagnose.model import CONTEXTS, NEVER, Knowledge, Repair, Test, Work, may_apply, share
from diagnose.network.graph import BikeGraph
from diagnose.network.priors import by_context
from diagnose.planning.options import Bench, RepairOption, TestOption

WAIT_SHARE = 0.02
"""A minute of waiting costs this share of a minute of work (memory)."""

SERVICE_MINUTES = 480.0
"""What handing a bike on to a specialist costs, in minutes of work, where the shop does not say: a day (memory)."""

BIT_MINUTES = 15.0
"""Minutes of testing that halve what could be wrong: the best test of a new job tells a bit in 5 to 8 minutes, the
tenth in 15 to 20 (measured on the shipped book)."""

CLEAR_LOOK = 0.7
"""A test shows a cause plainly if it finds it at least this often; a repair is then not done blindly."""

TRIED_MINUTES = 3.0
"""So long something that will not move is tried before it is left alone, at most as long as the test takes (memory)."""

MOST_HAZARD = 3
"""Cautions beyond this many do not make a step count as more dangerous."""

MOST_CUTS = 4
"""Tests that change the bike are looked ahead to at most this many at a time."""

LEAST_CUT = 0.08
"""A test that changes the bike is looked ahead to if what it changes is at least this likely to be at work."""

AGAIN = 0.1
"""A repair that was done is proposed again if something it cures is still there with at least this probability."""

AT_STANDSTILL = (*START_TARGET, "kicks_back", "floods", "drips_fuel")
"""What a bike that does not run can still do."""

PROBABLY = 0.5
"""A bike that fails with no more than this chance should run, whatever the last try-out showed."""

NOT_RUNNING = 0.5
"""Tests that need a running engine are left out while it is likelier than this that it does not keep running."""


def would_show_the_same(knowledge: Knowledge, state: State, belief: Posterior) -> bool:
    """Return whether a try-out would only show what the last one of the bike as it stands did.

    Not where it failed and all that was seen says that it should run: a bad minute or a drowned engine is likelier.
    """
    shown, attempt = tried(knowledge, state), try_out_of(knowledge, state)
    if not shown or attempt is None:
        return False
    return attempt.outcome(shown).default or belief.failing > PROBABLY


def worth_asking(tests: Sequence[Test], belief: Posterior) -> list[Test]:
    """Return the tests, but of those that change the bike only the MOST_CUTS likeliest to have something to cut."""
    kept = [test for test in tests if not (test.removes or test.supplies)]
    cuts = [(-round(_at_work(test, belief), 9), test.id, test) for test in tests if test.removes or test.supplies]
    return kept + [test for chance, _, test in sorted(cuts)[:MOST_CUTS] if -chance >= LEAST_CUT]


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


def open_tests(knowledge: Knowledge, state: State, bike: BikeGraph, belief: Posterior) -> list[Test]:
    """Return the tests that could still tell something.

    They fit the bike, are on the list and not known as it stands, and can be done on an engine that does or
    does not turn and run.
    """
    holds = holds_the_engine(bike)
    found = []
    for test in knowledge.tests.values():
        if test.id == TRY_TO_START or test.id in state.off_list or not may_apply(test.applies, state.facts):
            continue
        if not test.drivers & bike.ancestors.keys() or not _can_be_done(test, holds, bike, belief):
            continue
        if reaching(knowledge, state, test.needs) is None:
            continue
        if lacking(knowledge, state, test):
            continue
        if not known(test, state, situation_for(knowledge, state, test), bike, belief):
            found.append(test)
    return found


def _can_be_done(test: Test, holds: frozenset[str], bike: BikeGraph, belief: Posterior) -> bool:
    """Whether the engine as it is allows the test: it must turn to be kicked and run to be listened to.

    Until it turns, only what keeps it from turning is looked at.
    """
    if belief.failing_to_turn > NOT_RUNNING:
        return bool(test.drivers & holds) and not test.turning and "runs" not in test.does
    if runs(belief):
        return not watches_start(bike, test)
    return not (needs_running(test) or asks_of_running(bike, test))


def holds_the_engine(bike: BikeGraph) -> frozenset[str]:
    """Return what can keep the engine from turning: up to four steps above that behaviour (petrol on the piston is)."""
    near: set[str] = set()
    reached = set(TURN_TARGET)
    for _ in range(4):
        reached = {p for c in reached if c in bike.conditions for p in bike.parents(c)}
        near |= reached
    return frozenset(near)


def needs_running(test: Test) -> bool:
    """Return whether a test looks at a running engine (a swap or a look after a try does not)."""
    return "rides" in test.does or ("runs" in test.does and test.kind not in ("swap", "look"))


def watches_start(bike: BikeGraph, test: Test) -> bool:
    """Return whether a swap only shows whether the engine starts: no news of one that does."""
    return test.kind == "swap" and bool(test.drivers & bike.behaviours) and test.drivers <= set(START_TARGET)


def asks_of_running(bike: BikeGraph, test: Test) -> bool:
    """Return whether a question is about how the engine runs: nothing to ask of a bike that does not."""
    return test.kind == "ask" and bool((test.drivers & bike.behaviours) - set(AT_STANDSTILL))


def open_repairs(
    knowledge: Knowledge, state: State, bike: BikeGraph, belief: Posterior, later: bool = False
) -> list[Repair]:
    """Return the repairs that fit the bike and cure something it can have; until it turns, what may hold it.

    One that was done is not proposed again unless what was seen since says that it did not help. later: also what has
    to wait until it turns.
    """
    held = belief.failing_to_turn > NOT_RUNNING and not later
    at = holds_the_engine(bike) if held else frozenset(bike.roots)
    done = {repair.id: number for number, repair in enumerate(state.repairs, start=1)}
    return [
        repair
        for repair in knowledge.repairs.values()
        if may_apply(repair.applies, state.facts)
        and reaching(knowledge, state, repair.needs) is not None
        and not lacking(knowledge, state, repair)
        and max((belief.causes[c] for c in repair.cures if c in bike.roots and c in at), default=0.0)
        > (AGAIN if repair.id in done else 0.0)
        and (repair.id not in done or _seen_since(knowledge, state, bike, repair, done[repair.id]))
    ]


def _seen_since(knowledge: Knowledge, state: State, bike: BikeGraph, repair: Repair, number: int) -> bool:
    """Return whether anything that shows what a repair cures was looked at after it; number: counted from 1."""
    since = (knowledge.tests[seen.test].drivers for seen in state.seen if seen.situation.epoch >= number)
    return bool(bike.above(driver for drivers in since for driver in drivers) & repair.cures.keys())


def bench_of(knowledge: Knowledge, state: State) -> Bench:
    """Return the bike as it stands and what things cost in this shop."""
    rate = state.shop.labour / 60
    attempt = try_out_of(knowledge, state)
    return Bench(
        tree=access_tree(knowledge),
        opened=state.opened,
        rate=rate,
        wait_rate=rate * WAIT_SHARE,
        try_minutes=attempt.minutes if attempt else 5.0,
        service_cost=rate * SERVICE_MINUTES if state.shop.service is None else state.shop.service,
        bit_cost=rate * BIT_MINUTES,
        try_hazard=_hazard(attempt) if attempt else MOST_HAZARD,
    )


def _hazard(work: Work) -> int:
    return min(len(work.cautions), MOST_HAZARD)


def test_option(knowledge: Knowledge, state: State, test: Test) -> TestOption:
    """Return a test as the planner prices it, with what has to be shut before it."""
    closing = access_tree(knowledge).minutes_to_close(must_close(knowledge, state, activities(knowledge, state, test)))
    minutes, wait = reach_minutes(reaching(knowledge, state, test.needs))
    return TestOption(
        id=test.id,
        minutes=test.minutes + closing + minutes,
        wait=test.wait + wait,
        access=test.access,
        outcomes=tuple(outcome.id for outcome in test.outcomes),
        hazard=_hazard(test),
        cannot=cannot(knowledge, state, test),
        tried=min(test.minutes, TRIED_MINUTES),
    )


def cannot(knowledge: Knowledge, state: State, test: Test) -> float:
    """Return the chance that a test turns out not to be possible.

    That is itself, something seized on the way to it, or a bike that turns out not to have what it looks at.
    """
    shut = access_tree(knowledge).to_open(test.access, state.opened)
    parked = knowledge.facts.get("parked")
    shares = tuple(parked.options[context].share for context in CONTEXTS) if parked else ()
    chances = [test.cannot, *(knowledge.access[access].cannot for access in shut)]
    possible = prod(1.0 - by_context(chance, state.facts, shares) for chance in chances if chance != NEVER)
    return 1.0 - possible * share(test.applies, state.facts, knowledge.facts)


def quickest_looks(knowledge: Knowledge, state: State) -> dict[str, float]:
    """Return for each cause the minutes of the quickest test that looks at the part itself, access apart."""
    found: dict[str, float] = {}
    for test in knowledge.tests.values():
        if test.kind in ("ask", "run", "swap") or lacking(knowledge, state, test):
            continue
        if may_apply(test.applies, state.facts):
            for outcome in test.outcomes:
                for driver, by_level in outcome.drivers.items():
                    if driver in knowledge.causes and max(by_level.values()) >= CLEAR_LOOK:
                        found[driver] = min(found.get(driver, test.minutes), test.minutes)
    return found


def repair_option(
    knowledge: Knowledge, state: State, repair: Repair, number: Mapping[str, int], looks: Mapping[str, float]
) -> RepairOption:
    """Return a repair as the planner prices it. number: of each cause, from 0; looks: see `quickest_looks`."""
    minutes, wait = reach_minutes(reaching(knowledge, state, repair.needs))
    seen = [looks.get(cause) for cause in repair.cures]
    look = None if None in seen else min(repair.minutes, max((m for m in seen if m is not None), default=0.0))
    return RepairOption(
        id=repair.id,
        minutes=repair.minutes + minutes,
        wait=repair.wait + wait,
        parts=repair.parts,
        access=repair.access,
        look=look,
        cures={number[cause]: p for cause, p in repair.cures.items() if cause in number},
        hazard=_hazard(repair),
    )
