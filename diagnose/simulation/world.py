"""What is truly wrong with one invented bike: what it does, what a test answers, what a repair finds and leaves.

All chance is drawn once. The links of the network are drawn when the bike is: a mechanism that acted before a repair
elsewhere still acts after it. What comes later hangs on the seed and on what was done, not on when: a test asked again
answers the same until something was done that could change what it looks at (then it errs anew, as the belief takes it
to); a try-out errs anew each time, for it is kicked anew; and the same repair turns out the same whoever does it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from random import Random

import numpy as np

from diagnose.inference.compile import FOUND
from diagnose.model import ABSENT, PRESENT, Repair, Test
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import ARRIVAL, RepairDone, Situation

Acting = Mapping[str, str]
"""Cause or condition -> its level, of those that are not absent or healthy."""


@dataclass(frozen=True, eq=False)
class World:
    """One bike as it really is.

    links: (parent, child) -> the one number in [0, 1) that decides what the parent does to the child. ands: (condition,
    number of its AND) -> the same. present: the causes that are there, one set for each repair done and one before.
    """

    bike: BikeGraph
    seed: int
    links: Mapping[tuple[str, str], float]
    ands: Mapping[tuple[str, int], float]
    present: tuple[frozenset[str], ...]
    worked_out: dict[tuple[frozenset[str], frozenset[str]], Acting] = field(default_factory=dict, repr=False)
    """What acts, by the causes that do and the conditions that are held; only ever filled in."""

    @property
    def causes(self) -> frozenset[str]:
        """The causes that are there now."""
        return self.present[-1]


def drawn(bike: BikeGraph, seed: int, number: int) -> World:
    """Return a bike as it comes about before anybody complains: the same for the same seed and number of the try."""
    rng = np.random.default_rng((seed, number))
    on = {m: u < p for (m, p), u in zip(bike.mechanisms.items(), rng.random(len(bike.mechanisms)), strict=True)}
    causes = frozenset(
        root.id
        for root, u in zip(bike.roots.values(), rng.random(len(bike.roots)), strict=True)
        if u < (root.marginal if root.mechanism is None else root.on if on[root.mechanism] else root.off)
    )
    pairs = [(link.parent, link.child) for into in bike.links.values() for link in into]
    ands = [(c.id, n) for c in bike.conditions.values() for n in range(len(c.all_of))]
    return World(
        bike,
        seed,
        dict(zip(pairs, rng.random(len(pairs)).tolist(), strict=True)),
        dict(zip(ands, rng.random(len(ands)).tolist(), strict=True)),
        (causes,),
    )


def acting(world: World, situation: Situation) -> Acting:
    """Return what is at work in a situation: causes present and not cut, conditions not healthy and not held."""
    causes = world.present[situation.epoch] - situation.cut
    if (causes, situation.held) not in world.worked_out:
        world.worked_out[causes, situation.held] = _acting(world, causes, situation.held)
    return world.worked_out[causes, situation.held]


def _acting(world: World, causes: frozenset[str], held: frozenset[str]) -> Acting:
    bike = world.bike
    found = dict.fromkeys(causes, PRESENT)
    for condition in bike.order:
        if condition in held:
            continue
        names, worst = bike.conditions[condition].levels, 0
        for link in bike.links[condition]:
            if link.parent in found:
                row = link.table.get(found[link.parent], {})
                worst = max(worst, _does(row, names, world.links[link.parent, condition]))
        for n, both in enumerate(bike.conditions[condition].all_of):
            if all(_level(bike, found, parent) in needed for parent, needed in both.parents.items()):
                worst = max(worst, _does(both.chances, names, world.ands[condition, n]))
        if worst:
            found[condition] = names[worst]
    return found


def _level(bike: BikeGraph, found: Acting, node: str) -> str:
    """Return the level of a node; empty of one that such a bike does not have."""
    if node in found:
        return found[node]
    if node in bike.conditions:
        return bike.conditions[node].levels[0]
    return ABSENT if node in bike.roots else ""


def _does(row: Mapping[str, float], names: tuple[str, ...], draw: float) -> int:
    """Return the level that a parent brings about: the worst one whose chance of that or worse exceeds the draw."""
    total = 0.0
    for n in range(len(names) - 1, 0, -1):
        total += row.get(names[n], 0.0)
        if draw < total:
            return n
    return 0


def answer(world: World, test: Test, situation: Situation, repairs: Sequence[RepairDone] = (), tries: int = 0) -> str:
    """Return the outcome of a test: the first rung that fires; with nothing done to what it looks at, the same again.

    repairs: those done so far. tries: of a test that errs anew each time, how often it was done before.
    """
    found = acting(world, situation)
    looked_at = {driver: _level(world.bike, found, driver) for driver in test.drivers}
    above = world.bike.above(test.drivers)
    done = sorted(one.id for one in repairs[: situation.epoch] if above & (one.cures.keys() | one.dud.keys()))
    key = done, sorted(situation.cut & above), sorted(situation.held & above), tries
    for outcome in test.outcomes:
        quiet = 1 - outcome.base
        for driver, chances in outcome.drivers.items():
            quiet *= 1 - chances.get(looked_at[driver], 0.0)
        if outcome.default or luck(world, test.id, outcome.id, key) < 1 - quiet:
            return outcome.id
    raise ValueError(f"{test.id} has no default outcome")


def looks(world: World, repair: Repair, visible: frozenset[str], done_before: int) -> dict[str, str]:
    """Return how the causes looked that the repair lays open: broken or sound, seldom mistaken (compile.FOUND)."""
    absent, present = FOUND["broken"]
    return {
        cause: "broken"
        if luck(world, "found", repair.id, cause, done_before) < (present if cause in world.causes else absent)
        else "sound"
        for cause in repair.cures
        if cause in visible and cause in world.bike.roots
    }


def changed(world: World, done: RepairDone, done_before: int) -> World:
    """Return the bike after a repair, or after what kicking and running do: cures, and parts that are bad anew.

    done_before: how often the same was done before.
    """
    gone = {
        cause
        for cause, chance in done.cures.items()
        if cause in world.causes and luck(world, "cures", done.id, cause, done_before) < chance
    }
    come = {
        cause
        for cause, chance in done.dud.items()
        if cause not in world.causes
        and cause in world.bike.roots
        and luck(world, "makes", done.id, cause, done_before) < chance
    }
    return replace(world, present=(*world.present, (world.causes - gone) | come))


def bad(world: World, targets: tuple[str, ...], situation: Situation = ARRIVAL) -> tuple[str, ...]:
    """Return those of the targets that are not healthy."""
    return tuple(target for target in targets if target in acting(world, situation))


def luck(world: World, *what: object) -> float:
    """Return a number in [0, 1) that hangs on the bike and on these words alone."""
    return Random(f"{world.seed} {what}").random()
