"""Look one step ahead: what is believed after each result, what it would cost from there, and what is locked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from diagnose.consultation.choices import (
    bench_of,
    open_repairs,
    open_tests,
    quickest_looks,
    repair_option,
    test_option,
    worth_asking,
    would_show_the_same,
)
from diagnose.consultation.evidence import bike_graph, targets
from diagnose.consultation.safety import Lock, locks
from diagnose.consultation.state import (
    TRY_TO_START,
    State,
    activities,
    must_close,
    situation_for,
    situation_now,
)
from diagnose.consultation.unlocking import can_open, forbidden_by, mend_for, unlocked_first
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate, Posterior, Prospect, Question, light, prospects
from diagnose.inference.screen import glance, only_cause_present
from diagnose.model import Knowledge, Test, Work
from diagnose.network.graph import BikeGraph
from diagnose.planning.base_plan import money_left
from diagnose.planning.chances import unconditioned
from diagnose.planning.look_ahead import DIGITS, by_the_plan, most_merit, order_tests, rank_paying
from diagnose.planning.options import Beliefs, Bench, Floats, Outlook, RepairOption, TestOption
from diagnose.planning.steps import Step

EXACTLY = 6
"""So many of the most promising tests are looked ahead to exactly."""

QUICKLY = 15
"""Tests ranked by the quick view beside repairs and try-out, where none can be looked ahead to."""

MOST_PLANNED = 40
"""So many tests are valued by what they save; the others tell less for their money and are found by searching."""

TINY = 1e-12
"""Keeps quotients finite."""

LEAST_REPAIR = 0.002
"""A repair is planned with if it cures something that stops the bike with at least this probability."""


@dataclass(frozen=True)
class Planned:
    """What the steps were planned from.

    bench: with the usual price of a bit, whatever it was raised to until some step paid: as soon as one answer tells
    something the rest is cheaper to find, and at the raised price bikes were handed on too early (24 bikes: 113 of
    excess, and 91 at the usual one).
    tests: by id, those that nothing locks now. repairs: those that could be done, and those that have to wait until the
    engine turns. beliefs.after holds the quick view of the tests that were not looked ahead to exactly.
    """

    bench: Bench
    tests: Mapping[str, TestOption]
    repairs: tuple[RepairOption, ...]
    beliefs: Beliefs


@dataclass(frozen=True)
class Outlooked:
    """All possible next steps, best first, and the expected money until the bike does what is asked.

    ahead: of the tests looked ahead to exactly, what each would say. pays: whether some step takes more off what is
    left than it costs, by the bench's own price of finding; where none does the steps are ranked at a dearer one.
    helps: whether some step that can be done leaves no more to spend than there was, its own money not counted; where
    none pays at any price, whether the base plan also begins with anything but handing on.
    """

    steps: tuple[Step, ...]
    cost_left: float
    given: Planned
    ahead: Mapping[str, Prospect] = field(default_factory=dict)
    pays: bool = True
    helps: bool = True


def look_ahead(knowledge: Knowledge, state: State, belief: Posterior, asked: Question) -> Outlooked:
    """Return the ranked steps and the expected cost left. Raises NetworkTooWide.

    All tests are viewed quickly; the most promising, and those that could lift a lock, are looked ahead to
    exactly (without ties between causes, see `light`, where the whole is too wide) and ranked with repairs and
    try-out. Where none can be, all of them are ranked by the quick view; but not
    what is asked of the bike as it was, for the quick view knows the bike only as it stands. The rest follows in its
    order, before what does not pay.
    """
    bike = bike_graph(knowledge, state.facts)
    held = locks(knowledge, state, bike, belief.conditions)
    bench = bench_of(knowledge, state)
    opening = {test for lock in held for test in lock.unlocked_by if test not in state.off_list}
    tests = {t.id: t for t in worth_asking(open_tests(knowledge, state, bike, belief), belief)}
    tests |= {t.id: t for t in (knowledge.tests[name] for name in opening) if can_open(knowledge, state, t, belief)}
    candidates = {t.id: _candidate(knowledge, state, t) for t in tests.values()}
    alone = stopping_alone(knowledge, state)
    stop = stopping_now(knowledge, state, belief)
    options = {t.id: test_option(knowledge, state, t) for t in tests.values()}
    mends = {lock.caution: mend for lock in held if (mend := mend_for(knowledge, state, bike, belief, bench, lock))}
    repairs = _likely_repairs(knowledge, state, bike, belief, stop, frozenset(mends.values()))
    quick = _glances(bike, list(candidates.values()), stop, belief.failing)
    telling = _most_telling(bench, options, quick, stop) | opening
    viewed = Beliefs(marginals=stop, failing=belief.failing, after=quick)
    order = order_tests(bench, [options[name] for name in options if name in telling], repairs, viewed)
    chosen = [step.id for n, step in enumerate(order) if n < EXACTLY or step.id in opening]
    now = situation_now(knowledge, state)
    seen = light(bike, asked, belief)
    ahead = prospects(bike, seen, [candidates[name] for name in chosen]) if seen else {}
    after = {name: _after(ahead[name], alone, stop, belief.failing) for name in chosen if name in ahead}
    after |= {
        name: quick[name]
        for name in (chosen if ahead else [step.id for step in order[:QUICKLY]] + chosen)
        if name not in ahead and candidates[name].situation.epoch == now.epoch
    }
    beliefs = replace(viewed, after=after)
    idle = frozenset(["try_out"] if would_show_the_same(knowledge, state, belief) else [])
    seen_quickly = frozenset(after.keys() - ahead.keys())
    priced, ranked = rank_paying(bench, [options[name] for name in after], repairs, beliefs, seen_quickly, idle)
    named = _with_rough(ranked, [step for step in order if step.id not in after], idle)
    steps = [_on_the_bike(knowledge, state, bench, held, step) for step in named]
    steps, helps = _by_the_plan_if_none_pays(priced, repairs, beliefs, steps, idle)
    free = {
        name: one for name, one in options.items() if not forbidden_by(held, activities(knowledge, state, tests[name]))
    }
    later = tuple(_likely_repairs(knowledge, state, bike, belief, stop, frozenset(mends.values()), later=True))
    given = Planned(bench, free, later, replace(beliefs, after={**quick, **after}))
    left = _left(given, ranked, len(later) > len(repairs))
    ordered = unlocked_first(steps, bench, held, mends)
    return Outlooked(ordered, left, given, ahead, pays=priced.bit_cost <= bench.bit_cost, helps=helps)


def _by_the_plan_if_none_pays(
    priced: Bench, repairs: Sequence[RepairOption], beliefs: Beliefs, steps: list[Step], idle: frozenset[str]
) -> tuple[list[Step], bool]:
    """Return the steps, by the base plan where none pays at the raised price, and whether any helps, see Outlooked."""
    most = most_merit(steps, idle)
    if most >= 1.0:
        return steps, True
    ordered, goes_on = by_the_plan(priced, repairs, beliefs, steps, idle)
    return ordered, goes_on and most >= 0.0


def _left(given: Planned, ranked: Sequence[Step], waiting: bool) -> float:
    """Return the expected money left; waiting: some repairs are no steps until it turns, and not handed on either."""
    left, now = min(step.expected for step in ranked), given.beliefs
    return min(left, money_left(given.bench, given.repairs, now.marginals, now.failing)) if waiting else left


def _with_rough(ranked: Sequence[Step], rough: Sequence[Step], idle: frozenset[str]) -> list[Step]:
    """Put what is idle last, and the steps seen only quickly behind those that pay, among those that do not by merit.

    The try-out goes by its name in the book.
    """
    named = [replace(step, id=TRY_TO_START) if step.kind == "try_out" else step for step in ranked]
    named.sort(key=lambda step: step.kind in idle)
    paying = [step for step in named if step.merit >= 1.0 and not step.forbidden]
    forbidden = [step for step in named if step.forbidden]
    others = [step for step in named if step.merit < 1.0 and not step.forbidden]
    return [*paying, *sorted([*others, *rough], key=lambda step: -step.merit), *forbidden]


def unplanned(knowledge: Knowledge, state: State, given: Planned, test: str) -> Step:
    """Return a test that nothing locks as a step, seen quickly, though it is not among those valued by the plan."""
    (step,) = order_tests(given.bench, [given.tests[test]], given.repairs, given.beliefs)
    return _on_the_bike(knowledge, state, given.bench, (), step)


def _likely_repairs(
    knowledge: Knowledge,
    state: State,
    bike: BikeGraph,
    belief: Posterior,
    stop: Floats,
    wanted: frozenset[str],
    later: bool = False,
) -> list[RepairOption]:
    """Return the repairs worth planning with, as priced.

    wanted: those that have to be among them; later: also what has to wait until the engine turns.
    """
    looks, number = quickest_looks(knowledge, state), {root: n for n, root in enumerate(bike.roots)}
    return [
        repair_option(knowledge, state, r, number, looks)
        for r in open_repairs(knowledge, state, bike, belief, later)
        if r.id in wanted or max(stop[number[cause]] for cause in r.cures if cause in number) >= LEAST_REPAIR
    ]


def foreseen(knowledge: Knowledge, state: State, asked: Question, test: Test) -> Prospect | None:
    """Return what one test would say, exactly; None where that would take too long."""
    bike = bike_graph(knowledge, state.facts)
    return prospects(bike, asked, [_candidate(knowledge, state, test)]).get(test.id)


def _candidate(knowledge: Knowledge, state: State, test: Test) -> Candidate:
    return Candidate(test.id, rungs(test.outcomes), situation_for(knowledge, state, test))


def _most_telling(
    bench: Bench, options: Mapping[str, TestOption], quick: Mapping[str, Outlook], stop: Floats
) -> set[str]:
    """Return the tests that move the causes most for their money, by the quick view; all where there are few."""

    def moves(name: str) -> float:
        seen = quick[name]
        price = bench.money(options[name].minutes + 1.0, options[name].wait)
        return round(float(seen.chances @ np.abs(seen.marginals - stop).sum(axis=1)) / max(price, TINY), DIGITS)

    return set(sorted(quick, key=lambda name: (-moves(name), name))[:MOST_PLANNED])


def _glances(bike: BikeGraph, candidates: Sequence[Candidate], stop: Floats, failing: float) -> dict[str, Outlook]:
    """What the planner needs of each candidate, seen quickly."""
    m = np.minimum(stop / max(failing, 1e-9), 1.0)
    q = np.minimum(m * unconditioned(m[None]), 1 - 1e-9)
    found = {}
    for candidate in candidates:
        seen = glance(bike, q, candidate)
        chances = failing * seen.failing + (1 - failing) * seen.working
        fails = np.minimum(failing * seen.failing / chances, 1.0)
        marginals = _kept(stop, chances, seen.stops * fails[:, None])
        found[candidate.id] = Outlook(chances=chances, marginals=marginals, failing=fails)
    return found


def _kept(now: Floats, chances: Floats, after: Floats) -> Floats:
    """Return the chances after each outcome scaled so that on average over the outcomes they are what they are now.

    Shapes (causes,), (outcomes,), (outcomes, causes). What comes after is approximate; unscaled, a test could seem
    to move the causes without telling anything.
    """
    scaled: Floats = np.minimum(after * now / np.maximum(chances @ after, TINY), 1.0)
    return scaled


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


def stopping_now(knowledge: Knowledge, state: State, belief: Posterior) -> Floats:
    """Return P(cause present and itself what stops the bike), shape (causes,) in the order of `belief.causes`."""
    present = np.array(list(belief.causes.values()))
    return _explained(stopping(present, stopping_alone(knowledge, state)), belief.failing)


def stopping_alone(knowledge: Knowledge, state: State) -> Floats:
    """Return P(it stops the bike | this cause alone present), shape (causes,) in the order of `Posterior.causes`."""
    return np.array(list(_alone(bike_graph(knowledge, state.facts), targets(knowledge, state)).values()))


@lru_cache(maxsize=16)
def _alone(bike: BikeGraph, wanted: tuple[str, ...]) -> dict[str, float]:
    return only_cause_present(bike, wanted)


def _after(prospect: Prospect, alone: Floats, stop: Floats, failing: float) -> Outlook:
    """What the planner needs of a prospect.

    The odds that it still fails move as those of the causes do, and on average over the outcomes not at all.
    """
    marginals = stopping(prospect.causes, alone)
    odds = min(failing, 1 - 1e-9) / max(1 - failing, 1e-9) * _odds_of_any(marginals) / _odds_of_any(stop)
    fails = odds / (1 + odds)
    fails = np.minimum(fails * failing / max(float(prospect.probabilities @ fails), TINY), 1.0)
    return Outlook(
        chances=prospect.probabilities, marginals=_kept(stop, prospect.probabilities, marginals), failing=fails
    )


def _explained(stop: Floats, failing: Floats | float) -> Floats:
    """Return the chances of the causes raised so that they add up at least to P(it fails): leaks are among them.

    Shapes (..., causes) and (...). `stopping` is approximate and can fall short of it.
    """
    short = np.asarray(failing) / np.maximum(stop.sum(axis=-1), 1e-12)
    raised: Floats = np.minimum(stop * np.maximum(short, 1.0)[..., None], 1.0)
    return raised


def _odds_of_any(stop: Floats) -> Floats:
    none = np.exp(np.log1p(-np.clip(stop, 0.0, 1 - 1e-9)).sum(axis=-1))
    result: Floats = np.maximum(1 - none, 1e-9) / np.maximum(none, 1e-9)
    return result


def _on_the_bike(knowledge: Knowledge, state: State, bench: Bench, held: Sequence[Lock], step: Step) -> Step:
    """Name what has to be shut before the step, and the cautions that lock it; it was priced as if none did."""
    work: Work | None = knowledge.repairs.get(step.id) if step.kind == "repair" else knowledge.tests.get(step.id)
    does = activities(knowledge, state, work) if work else frozenset[str]()
    shut = must_close(knowledge, state, does)
    closes = tuple(a for a in reversed(bench.tree.to_open(tuple(shut), frozenset())) if a in shut)
    return replace(step, closes=closes, forbidden=forbidden_by(held, does))
