"""Why this step: what it would tell apart, what it saves, what the next best would bring; every figure the planner's.

Notation: m[i] = P(cause i present now), a[k, i] the same after outcome k, p[k] = P(outcome k). How far a test moves a
cause on average is d[i] = sum over k of p[k] |a[k, i] - m[i]|; a cause belongs to the outcome that makes it likeliest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.consultation.choices import CLEAR_LOOK
from diagnose.consultation.safety import Lock
from diagnose.consultation.state import State, access_tree
from diagnose.inference.posterior import Prospect
from diagnose.model import Knowledge, Test
from diagnose.planning.options import Floats
from diagnose.planning.steps import Step

MOST_MOVED = 3
"""So many causes are named at most."""

LEAST_MOVED, LEAST_SHARE = 0.01, 1 / 4
"""A cause is named if it is moved so far on average, and at least this share of what the most moved one is."""

LEAST_CHANCE = 1e-9
"""An outcome less likely than this is left out."""


Groups = tuple[tuple[str, ...], ...]
"""Causes by what would make them likeliest."""


@dataclass(frozen=True, slots=True)
class Then:
    """One outcome: its chance, the cause likeliest then and how likely, the cause that it moves most, now and then."""

    outcome: str
    chance: float
    cause: str
    probability: float
    moved: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class RunnerUp:
    """The best of the other steps. dearer, saves_less: money, below 0 where it is the other way round.

    share: what it brings for the same money, 1 as much as the step itself.
    """

    step: Step
    dearer: float
    saves_less: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a step is worth doing now. Its own price and what it saves stand in the step, money.

    tells: causes that it moves most, likeliest after the same outcome together, the most moved first. then: every
    outcome (tests). cures: cause -> chance that it is there now, likeliest first (repairs). look: the test that shows
    plainly whether the repair is needed, None if none is left. at_hand: see `at_hand`; the step is cheap now. unlocks:
    the better step that waits for this one.
    """

    step: Step
    tells: Groups = ()
    then: tuple[Then, ...] = ()
    cures: tuple[tuple[str, float], ...] = ()
    look: Step | None = None
    at_hand: tuple[str, ...] = ()
    unlocks: Step | None = None
    runner_up: RunnerUp | None = None


def reason(
    knowledge: Knowledge,
    state: State,
    now: Mapping[str, float],
    steps: Sequence[Step],
    held: Sequence[Lock],
    step: Step,
    prospect: Prospect | None,
) -> Reason:
    """Return why a step is worth doing.

    Args:
        knowledge: the book.
        state: where the job stands.
        now: cause -> P(present now), in the order of the prospect.
        steps: all steps, best first.
        held: what is locked.
        step: the step, one of them or another.
        prospect: what it would say, if it is a test and that is known.
    """
    free = [other for other in steps if not other.forbidden and (other.kind, other.id) != (step.kind, step.id)]
    cures = knowledge.repairs[step.id].cures if step.kind == "repair" else {}
    here = sorted(((c, now[c]) for c in cures if c in now), key=lambda one: (-one[1], one[0]))
    return Reason(
        step=step,
        tells=told_causes(now, prospect) if prospect is not None else (),
        then=tuple(_then(knowledge.tests[step.id], now, prospect)) if prospect is not None else (),
        cures=tuple(here),
        look=_look(knowledge, free, here[0][0]) if here else None,
        at_hand=at_hand(knowledge, state, step),
        unlocks=_unlocks(steps, held, step),
        runner_up=runner_up(step, free[0]) if free else None,
    )


def at_hand(knowledge: Knowledge, state: State, step: Step) -> tuple[str, ...]:
    """Return what is off or open already on the way to a step, if that spares at least as much as is left to open."""
    work = knowledge.repairs.get(step.id) if step.kind == "repair" else knowledge.tests.get(step.id)
    if work is None or step.kind not in ("test", "repair"):
        return ()
    tree = access_tree(knowledge)
    there = tuple(access for access in tree.to_open(work.access, frozenset()) if access in state.opened)
    spared = sum(tree.states[access].open for access in there)
    return there if spared > 0.0 and spared >= sum(tree.states[access].open for access in step.opens) else ()


def told_causes(now: Mapping[str, float], prospect: Prospect) -> Groups:
    """Return the causes that a test moves most, likeliest after the same outcome together. now: see `reason`."""
    names, before = list(now), np.array(list(now.values()))
    groups = moved_most(before, prospect.probabilities, prospect.causes)
    return tuple(tuple(names[n] for n in group) for group in groups)


def _then(test: Test, now: Mapping[str, float], prospect: Prospect) -> Iterator[Then]:
    """Give what each outcome would make likeliest, and what it moves most."""
    names, before = list(now), np.array(list(now.values()))
    for outcome, chance, after in zip(test.outcomes, prospect.probabilities, prospect.causes, strict=True):
        if chance > LEAST_CHANCE:
            best, most = int(after.argmax()), int(np.abs(after - before).argmax())
            shift = (names[most], float(before[most]), float(after[most]))
            yield Then(outcome.id, float(chance), names[best], float(after[best]), *shift)


def moved_most(now: Floats, chances: Floats, after: Floats) -> tuple[tuple[int, ...], ...]:
    """Return the causes that the outcomes move most, those that the same outcome makes likeliest together.

    Args:
        now: [n] P(cause).
        chances: [K] P(outcome).
        after: [K, n] P(cause | outcome).

    >>> moved_most(np.array([0.5, 0.4]), np.array([0.5, 0.5]), np.array([[0.9, 0.1], [0.1, 0.7]]))
    ((0,), (1,))
    """
    can = chances > LEAST_CHANCE
    moved = chances[can] @ np.abs(after[can] - now)
    order = [int(n) for n in np.argsort(-moved, kind="stable")[:MOST_MOVED]]
    least = max(LEAST_MOVED, LEAST_SHARE * float(moved.max(initial=0.0)))
    groups: dict[int, list[int]] = {}
    for n in order:
        if moved[n] >= least:
            groups.setdefault(int(after[can][:, n].argmax()), []).append(n)
    return tuple(tuple(group) for group in groups.values())


def runner_up(step: Step, other: Step) -> RunnerUp:
    """Return how another step compares with a step."""
    share = max(other.merit, 0.0) / step.merit if step.merit > 0 else float("inf")
    return RunnerUp(other, other.cost - step.cost, step.saves - other.saves, share)


def _look(knowledge: Knowledge, free: Sequence[Step], cause: str) -> Step | None:
    """Return the best test left that shows a cause itself plainly; None if there is none."""
    looks = (other for other in free if other.kind == "test" and _shows(knowledge.tests[other.id], cause))
    return next(looks, None)


def _shows(test: Test, cause: str) -> bool:
    seen = [max(outcome.drivers[cause].values()) for outcome in test.outcomes if cause in outcome.drivers]
    return max(seen, default=0.0) >= CLEAR_LOOK


def _unlocks(steps: Sequence[Step], held: Sequence[Lock], step: Step) -> Step | None:
    """Return the best step that is locked until this one is done and good; None where nothing better waits."""
    puts_back = step.kind == "reconnect"
    mine = {lock.caution for lock in held if step.id in (lock.put_back if puts_back else lock.unlocked_by)}
    best = max((other for other in steps if mine & set(other.forbidden)), key=lambda one: one.merit, default=None)
    return best if best is not None and (puts_back or best.merit > step.merit) else None
