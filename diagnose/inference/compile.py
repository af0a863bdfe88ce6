"""From a bike's graph, its repairs and what was seen to factors over variables.

A cause's variable runs over the courses it can take through the repairs; a condition's over vectors of
levels, one for each situation that matters to it. Situations that differ in nothing above a condition
are one to it, and what nothing was asked about is left out (barren), so the network stays as small as
the questions allow. Causes are summed out here: what is left of one is a table over its mechanism and
the conditions it leads to, and P(cause | those) is kept to get its posterior back (see fold.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.inference.factor import Factor, Table
from diagnose.inference.fold import Folded, fold
from diagnose.inference.ladder import Observation, Rung, passing
from diagnose.inference.noisy_max import Levels, Vector, contribution, joined, noisy_max, survival, within
from diagnose.model import ABSENT, PRESENT, AllOf
from diagnose.network.graph import BikeGraph, Root
from diagnose.network.situations import RepairDone, Situation, epochs_of, path_probability, paths

FOUND = {"broken": (0.02, 0.97), "sound": (0.98, 0.30)}
"""P(it looked like that | the cause was absent, present) when it was opened. Basis: memory."""


@dataclass(frozen=True, slots=True)
class Variable:
    """A node of the network. levels: shape (states, situations), -1 where a situation does not matter to it."""

    id: str
    level_names: tuple[str, ...]
    levels: Levels


@dataclass(frozen=True)
class Network:
    """Factors ready for a junction tree. place: situation -> its column in every variable's levels."""

    factors: tuple[Factor, ...]
    variables: Mapping[str, Variable]
    place: Mapping[Situation, int]
    folded: Mapping[str, Folded]
    """The causes, summed out of the factors."""
    quiet: Mapping[str, frozenset[Situation]]
    """Leaf conditions without a variable: the situations in which they were seen healthy for certain."""

    def weights(self, node: str, situation: Situation, by_level: Mapping[str, float]) -> Table | None:
        """Return a weight for each state of a node from weights by level (1 where not given).

        None where the bike does not have the node; it is then healthy for certain and weighs 1.
        """
        return _weights(self.variables, self.place, node, situation, by_level)


def _weights(
    variables: Mapping[str, Variable],
    place: Mapping[Situation, int],
    node: str,
    situation: Situation,
    by_level: Mapping[str, float],
) -> Table | None:
    if node not in variables:
        return None
    variable = variables[node]
    weigh = np.array([by_level.get(level, 1.0) for level in variable.level_names])
    result: Table = weigh[variable.levels[:, place[situation]]]
    return result


Wanted = Mapping[str, frozenset[Situation]]
"""Cause or condition -> situations in which it will be asked about."""


def compile_network(
    bike: BikeGraph,
    observations: Sequence[Observation] = (),
    repairs: tuple[RepairDone, ...] = (),
    wanted: Wanted | None = None,
) -> Network:
    """Return the network of everything that was seen or will be asked.

    Every cause is in it, as its mechanism ties it to the others; a condition only where it is
    needed. Raises nothing of its own: a driver the bike does not have counts as healthy.
    """
    quiet = _quiet(bike, observations, wanted or {})
    asked = _needed(bike, observations, wanted or {}, quiet)
    situations = sorted({s for some in asked.values() for s in some} or {Situation()}, key=_order)
    place = {s: n for n, s in enumerate(situations)}
    variables = {r: _root_variable(root, repairs, situations) for r, root in bike.roots.items()}
    factors = [_known_root_factor(bike, root, repairs) for root in bike.roots.values()]
    for condition in bike.order:
        if condition in asked:
            made, variable = _condition(bike, condition, asked[condition], variables, situations, repairs)
            factors += made
            variables[condition] = variable
    factors += _found(repairs, variables)
    for n, seen in enumerate(observations):
        factors += _observation(variables, place, seen, f"seen:{n}")
    for leaf, where in quiet.items():
        factors += [Factor((p,), w) for p, w in silence(bike, variables, place, leaf, where).items()]
    folded, rest = fold(factors, bike.roots, bike.products)
    mechanisms = [Factor((m,), np.array([1 - p, p])) for m, p in bike.mechanisms.items()]
    return Network((*mechanisms, *rest), variables, place, folded, quiet)


def _quiet(bike: BikeGraph, observations: Sequence[Observation], wanted: Wanted) -> dict[str, frozenset[Situation]]:
    """Leaf conditions of which nothing is known but that they were healthy for certain, and in which situations.

    Such a leaf needs no variable: its parents contributed nothing, which is a product over them.
    """
    held = nodes_held(bike, observations).union(wanted)
    certain: dict[str, set[Situation]] = {}
    for seen in observations:
        for driver in seen.drivers - held:
            certain.setdefault(driver, set()).add(seen.situation)
    return {leaf: frozenset(some) for leaf, some in certain.items()}


def nodes_held(bike: BikeGraph, observations: Sequence[Observation]) -> frozenset[str]:
    """Return what the evidence needs as variables: what it looks at, but leaves only called healthy for certain."""
    held: set[str] = set()
    for seen in observations:
        for driver, by_level in passing(seen.passed)[1].items():
            if driver not in bike.leaves or any(by_level.values()):
                held.add(driver)
        held.update(seen.fired.drivers if seen.fired else ())
    return frozenset(held)


def silence(
    bike: BikeGraph,
    variables: Mapping[str, Variable],
    place: Mapping[Situation, int],
    leaf: str,
    where: frozenset[Situation],
) -> dict[str, Table]:
    """Return for each parent of a leaf the weights with which it contributes nothing in all these situations.

    One draw decides a link in all situations, so the chance is that of the worst of them, not a product.
    """
    open_to = [s for s in where if leaf not in s.held]
    found: dict[str, Table] = {}
    for link in bike.links[leaf]:
        quiet = {level: 1 - sum(row.values()) for level, row in link.table.items()}
        each = [_weights(variables, place, link.parent, s, quiet) for s in open_to]
        known = [w for w in each if w is not None]
        if known:
            found[link.parent] = np.minimum.reduce(known)
    return found


def _order(situation: Situation) -> tuple[int, list[str], list[str]]:
    return situation.epoch, sorted(situation.cut), sorted(situation.held)


def _needed(
    bike: BikeGraph,
    observations: Sequence[Observation],
    wanted: Wanted,
    quiet: Mapping[str, frozenset[Situation]],
) -> dict[str, set[Situation]]:
    """For each condition the situations in which something below it was seen or will be asked."""
    asked: dict[str, set[Situation]] = {}
    for seen in observations:
        for driver in seen.drivers:
            for node in bike.parents(driver) if driver in quiet else (driver,):
                asked.setdefault(node, set()).add(seen.situation)
    for node, some in wanted.items():
        asked.setdefault(node, set()).update(some)
    for condition in reversed(bike.order):
        if condition in asked:
            for parent in bike.parents(condition):
                asked.setdefault(parent, set()).update(asked[condition])
    return {node: some for node, some in asked.items() if some}


def _root_variable(root: Root, repairs: tuple[RepairDone, ...], situations: Sequence[Situation]) -> Variable:
    """A cause's courses; its level in a situation is where the course stands, or absent where it is cut out."""
    courses = paths(root.id, repairs)
    touched = epochs_of(root.id, repairs)
    levels = np.zeros((len(courses), len(situations)), dtype=np.int64)
    for n, situation in enumerate(situations):
        if root.id not in situation.cut:
            step = sum(epoch <= situation.epoch for epoch in touched)
            levels[:, n] = [course[step] for course in courses]
    return Variable(root.id, (ABSENT, PRESENT), levels)


def _known_root_factor(bike: BikeGraph, root: Root, repairs: tuple[RepairDone, ...]) -> Factor:
    """The factor of a cause; one that no repair has touched is worked out once."""
    if any(repair.touches(root.id) for repair in repairs):
        return _root_factor(root, repairs)
    key = ("root", root.id)
    if key not in bike.families:
        bike.families[key] = _root_factor(root, ())
    factor: Factor = bike.families[key]
    return factor


def _root_factor(root: Root, repairs: tuple[RepairDone, ...]) -> Factor:
    courses = paths(root.id, repairs)
    later = np.array([path_probability(root.id, repairs, course) for course in courses])
    begins = np.array([course[0] for course in courses])

    def course_chances(p: float) -> Table:
        result: Table = np.where(begins == 1, p, 1 - p) * later
        return result

    if root.mechanism is None:
        return Factor((root.id,), course_chances(root.marginal))
    return Factor((root.mechanism, root.id), np.stack([course_chances(root.off), course_chances(root.on)]))


def _slots(
    bike: BikeGraph,
    condition: str,
    asked: set[Situation],
    situations: Sequence[Situation],
    repairs: tuple[RepairDone, ...],
) -> dict[tuple[object, ...], list[int]]:
    """Group the asked situations that are one to a condition: same repairs, cuts and holds above it."""
    above = bike.ancestors[condition]
    touching = [n for n, repair in enumerate(repairs, start=1) if any(repair.touches(a) for a in above)]
    groups: dict[tuple[object, ...], list[int]] = {}
    for n, situation in enumerate(situations):
        if situation in asked:
            done = sum(epoch <= situation.epoch for epoch in touching)
            groups.setdefault((done, situation.cut & above, situation.held & above), []).append(n)
    return groups


def _condition(
    bike: BikeGraph,
    condition: str,
    asked: set[Situation],
    variables: Mapping[str, Variable],
    situations: Sequence[Situation],
    repairs: tuple[RepairDone, ...],
) -> tuple[list[Factor], Variable]:
    """The factors of one condition given its parents, and its variable."""
    groups = list(_slots(bike, condition, asked, situations, repairs).values())
    columns = [group[0] for group in groups]
    held = tuple(condition in situations[c].held for c in columns)
    parents = {p: variables[p].levels[:, columns] for p in bike.parents(condition)}
    key = (condition, held, tuple(levels.tobytes() for levels in parents.values()))
    if key not in bike.families:
        bike.families[key] = _family(bike, condition, parents, variables, held)
    states, factors = bike.families[key]
    levels = np.full((len(states), len(situations)), -1, dtype=np.int64)
    for slot, group in enumerate(groups):
        levels[:, group] = np.array([state[slot] for state in states])[:, None]
    return factors, Variable(condition, bike.conditions[condition].levels, levels)


def _family(
    bike: BikeGraph,
    condition: str,
    parents: Mapping[str, Levels],
    variables: Mapping[str, Variable],
    held: Sequence[bool],
) -> tuple[tuple[Vector, ...], list[Factor]]:
    """The states of a condition and the factors that tie it to its parents, whose levels are given by slot."""
    names = bike.conditions[condition].levels
    drawn: list[tuple[tuple[str, ...], tuple[int, ...], list[dict[Vector, float]]]] = []
    for link in bike.links[condition]:
        levels = parents[link.parent]
        above = survival(names, variables[link.parent].level_names, link.table)
        drawn.append(((link.parent,), (len(levels),), contribution(levels, above, held)))
    for both in bike.conditions[condition].all_of:
        if all(p in parents for p in both.parents):
            drawn.append(_both(both, names, variables, parents, held))
    vectors = {v for _, _, given in drawn for one in given for v in one}
    states = joined(vectors, len(held))
    parts = [(scope, within(states, given).reshape(len(states), *shape)) for scope, shape, given in drawn]
    return states, noisy_max(condition, states, parts) if parts else [Factor((condition,), np.ones(1))]


def _both(
    both: AllOf,
    names: Sequence[str],
    variables: Mapping[str, Variable],
    given: Mapping[str, Levels],
    held: Sequence[bool],
) -> tuple[tuple[str, ...], tuple[int, ...], list[dict[Vector, float]]]:
    """An AND: it acts in a situation where every parent stands at one of the levels that it needs."""
    shape = tuple(len(given[p]) for p in both.parents)
    acts = np.ones((*shape, len(held)), dtype=np.int64)
    for n, (parent, needed) in enumerate(both.parents.items()):
        good = np.array([level in needed for level in variables[parent].level_names], dtype=np.int64)
        acts *= good[given[parent]].reshape(
            [len(given[parent]) if k == n else 1 for k in range(len(shape))] + [len(held)]
        )
    above = survival(names, (ABSENT, PRESENT), {PRESENT: both.chances})
    return tuple(both.parents), shape, contribution(acts.reshape(-1, len(held)), above, held)


def _found(repairs: tuple[RepairDone, ...], variables: Mapping[str, Variable]) -> list[Factor]:
    """How each cause looked when a repair opened it: evidence about its course just before that repair."""
    factors = []
    for number, repair in enumerate(repairs, start=1):
        for cause, looked in repair.found.items():
            if cause in variables and looked in FOUND:
                before = sum(epoch < number for epoch in epochs_of(cause, repairs))
                chance = np.array([FOUND[looked][course[before]] for course in paths(cause, repairs)])
                factors.append(Factor((cause,), chance))
    return factors


def _observation(
    variables: Mapping[str, Variable], place: Mapping[Situation, int], seen: Observation, helper: str
) -> list[Factor]:
    """The factors of one observation: rungs passed weigh single drivers, the rung that fired joins its own."""
    factors = []
    constant, passed = passing(seen.passed)
    for driver, by_level in passed.items():
        weights = _weights(variables, place, driver, seen.situation, by_level)  # None for a quiet leaf
        if weights is not None:
            factors.append(Factor((driver,), weights))
    factors.append(Factor((), np.array(constant)))
    return factors + (_fired(variables, place, seen, seen.fired, helper) if seen.fired else [])


def _fired(
    variables: Mapping[str, Variable],
    place: Mapping[Situation, int],
    seen: Observation,
    rung: Rung,
    helper: str,
) -> list[Factor]:
    constant, by_driver = passing([rung])
    quiet = {d: _weights(variables, place, d, seen.situation, by_level) for d, by_level in by_driver.items()}
    known = {d: weights for d, weights in quiet.items() if weights is not None}
    if not known:
        return [Factor((), np.array(1 - constant))]
    if len(known) == 1:
        ((driver, weights),) = known.items()
        return [Factor((driver,), 1 - constant * weights)]
    pairs = [Factor((helper, d), np.stack([np.ones_like(w), w])) for d, w in known.items()]
    return [Factor((helper,), np.array([1.0, -constant])), *pairs]
