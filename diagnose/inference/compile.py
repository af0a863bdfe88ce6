"""From a bike's graph, its repairs and what was seen to factors over variables.

A cause's variable runs over the courses it can take through the repairs; a condition's over vectors of
levels, one for each situation that matters to it. Situations that differ in nothing above a condition
are one to it, and what nothing was asked about is left out (barren), so the network stays as small as
the questions allow. Causes are summed out here: what is left of one is a table over its mechanism and
the conditions it leads to, and P(cause | those) is kept to get its posterior back (see fold.py).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.inference.behaviours import Told, helper_of, silence, told
from diagnose.inference.factor import ROUNDING, Factor, Table
from diagnose.inference.fold import Folded, fold
from diagnose.inference.junction_tree import MOST_CELLS
from diagnose.inference.ladder import CERTAIN, Observation, passing
from diagnose.inference.nodes import Nodes, Variable
from diagnose.inference.noisy_max import (
    Levels,
    Vector,
    contribution,
    joined,
    noisy_max,
    survival,
    within,
)
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.model import ABSENT, PRESENT, AllOf, Chances
from diagnose.network.graph import BikeGraph, Root
from diagnose.network.situations import RepairDone, Situation, courses, epochs_of, path_probability, paths

FOUND = {"broken": (0.02, 0.97), "sound": (0.98, 0.30)}
"""P(it looked like that | the cause was absent, present) when it was opened. Basis: memory."""


MOST_COURSES = 1024
"""Courses of one cause at most: each change that may make it doubles them."""


@dataclass(frozen=True)
class Network:
    """Factors ready for a junction tree. folded: the causes, summed out of them. told: what was seen of behaviours."""

    factors: tuple[Factor, ...]
    nodes: Nodes
    folded: Mapping[str, Folded]
    told: Mapping[str, Told]


Wanted = Mapping[str, frozenset[Situation]]
"""Cause or condition -> situations in which it will be asked about."""


def compile_network(
    bike: BikeGraph,
    observations: Sequence[Observation] = (),
    repairs: tuple[RepairDone, ...] = (),
    wanted: Wanted | None = None,
    carried: Mapping[str, Table] | None = None,
    most_cells: int = MOST_CELLS,
) -> Network:
    """Return the network of everything that was seen or will be asked.

    carried: a weight for each state of a cause, from what is not among these (see parts.py).

    Every cause is in it, as its mechanism ties it to the others; a condition only where it is
    needed. A driver the bike does not have counts as healthy. Raises NetworkTooWide where a cause by itself brings so
    much together that a clique would have more than most_cells, or can have taken too many courses.
    """
    check_courses(bike, repairs)
    wanted = wanted or {}
    asked = _needed(bike, observations, wanted)
    every = {s for some in asked.values() for s in some}.union(*wanted.values(), (o.situation for o in observations))
    nodes = Nodes(sorted(every or {Situation()}, key=_order))
    nodes.variables.update({r: _root_variable(root, repairs, nodes.situations) for r, root in bike.roots.items()})
    factors = [_known_root_factor(bike, root, repairs) for root in bike.roots.values()]
    for condition in bike.order:
        if condition in asked:
            factors += _condition(bike, condition, asked[condition], nodes, repairs)
    factors += _found(repairs, nodes)
    factors += [Factor((x,), w) for x, w in (carried or {}).items()]
    for n, seen in enumerate(observations):
        factors += _observation(bike, nodes, seen, helper_of(n))
    known = told(bike, observations)
    for behaviour, mine in known.items():
        factors += [Factor((p, *mine.helpers), table) for p, table in silence(bike, nodes, behaviour, mine).items()]
    folded, rest = fold(factors, bike.roots, bike.products, most_cells)
    mechanisms = [Factor((m,), np.array([1 - p, p])) for m, p in bike.mechanisms.items()]
    return Network((*mechanisms, *rest), nodes, folded, known)


def check_courses(bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> None:
    """Raise NetworkTooWide if some cause can have come and gone in more than MOST_COURSES ways."""
    touched = Counter(cause for done in repairs for cause in done.cures.keys() | done.dud.keys())
    for cause in sorted(cause for cause, times in touched.items() if 2 ** (times + 1) > MOST_COURSES):
        if cause in bike.roots and (count := courses(cause, repairs)) > MOST_COURSES:
            raise NetworkTooWide([cause], count)


def _order(situation: Situation) -> tuple[int, list[str], list[str]]:
    return situation.epoch, sorted(situation.cut), sorted(situation.held)


def _needed(bike: BikeGraph, observations: Sequence[Observation], wanted: Wanted) -> dict[str, set[Situation]]:
    """For each node but behaviours, the situations in which something below it was seen or is asked."""
    asked: dict[str, set[Situation]] = {}
    met = [(driver, {seen.situation}) for seen in observations for driver in seen.drivers]
    for node, some in [*met, *wanted.items()]:
        for top in bike.parents(node) if node in bike.behaviours else (node,):
            asked.setdefault(top, set()).update(some)
    for condition in reversed(bike.order):
        if condition in asked:
            for parent in bike.parents(condition):
                asked.setdefault(parent, set()).update(asked[condition])
    return {node: some for node, some in asked.items() if some}


def _root_variable(root: Root, repairs: tuple[RepairDone, ...], situations: Sequence[Situation]) -> Variable:
    """A cause's courses; its level in a situation is where the course stands, or absent where it is cut out."""
    taken = paths(root.id, repairs)
    touched = epochs_of(root.id, repairs)
    levels = np.zeros((len(taken), len(situations)), dtype=np.int64)
    for n, situation in enumerate(situations):
        if root.id not in situation.cut:
            step = sum(epoch <= situation.epoch for epoch in touched)
            levels[:, n] = [course[step] for course in taken]
    return Variable(root.id, (ABSENT, PRESENT), levels)


def _known_root_factor(bike: BikeGraph, root: Root, repairs: tuple[RepairDone, ...]) -> Factor:
    """The factor of a cause; one that no repair has touched is worked out once."""
    if any(repair.touches(root.id) for repair in repairs):
        return _root_factor(root, repairs)
    return bike.remembered(("root", root), lambda: _root_factor(root, ()))


def _root_factor(root: Root, repairs: tuple[RepairDone, ...]) -> Factor:
    taken = paths(root.id, repairs)
    later = np.array([path_probability(root.id, repairs, course) for course in taken])
    begins = np.array([course[0] for course in taken])

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
    nodes: Nodes,
    repairs: tuple[RepairDone, ...],
) -> list[Factor]:
    """Give a condition its variable; return its factors given its parents."""
    groups = list(_slots(bike, condition, asked, nodes.situations, repairs).values())
    columns = [group[0] for group in groups]
    held = tuple(condition in nodes.situations[c].held for c in columns)
    parents = {p: nodes.variables[p].levels[:, columns] for p in bike.parents(condition)}
    key = (condition, held, tuple(levels.tobytes() for levels in parents.values()))
    states, factors = bike.remembered(key, lambda: _family(bike, condition, parents, nodes.variables, held))
    levels = np.full((len(states), len(nodes.situations)), -1, dtype=np.int64)
    for slot, group in enumerate(groups):
        levels[:, group] = np.array([state[slot] for state in states])[:, None]
    nodes.variables[condition] = Variable(condition, bike.conditions[condition].levels, levels)
    return factors


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
    states = joined(condition, vectors, len(held))
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


def _found(repairs: tuple[RepairDone, ...], nodes: Nodes) -> list[Factor]:
    """How each cause looked when a repair opened it: evidence about its course just before that repair."""
    factors = []
    for number, repair in enumerate(repairs, start=1):
        for cause, looked in repair.found.items():
            if cause in nodes.variables and looked in FOUND:
                before = sum(epoch < number for epoch in epochs_of(cause, repairs))
                chance = np.array([FOUND[looked][course[before]] for course in paths(cause, repairs)])
                factors.append(Factor((cause,), chance))
    return factors


def _observation(bike: BikeGraph, nodes: Nodes, seen: Observation, helper: str) -> list[Factor]:
    """The factors of one observation: rungs passed weigh single drivers, the terms of the rest join theirs.

    What it says of behaviours is added with them (see behaviours.py).
    """
    constant, passed = passing(seen.passed)
    factors = [Factor((driver,), w) for driver, w in _weights(nodes, seen.situation, passed).items()]
    factors.append(Factor((), np.array(constant)))
    return factors + _joined(bike, nodes, seen, helper)


def _weights(nodes: Nodes, situation: Situation, by_driver: Chances) -> dict[str, Table]:
    """The weight of each driver that has a variable."""
    found = {driver: nodes.weights(driver, situation, by_level) for driver, by_level in by_driver.items()}
    return {driver: w for driver, w in found.items() if w is not None}


def _joined(bike: BikeGraph, nodes: Nodes, seen: Observation, helper: str) -> list[Factor]:
    """An observation's terms, summed: a weight on their one driver, else over a helper with a state for each."""
    known = [passing(term.rungs) for term in seen.terms]
    chances = np.array([term.weight * constant for term, (constant, _) in zip(seen.terms, known, strict=True)])
    if len(chances) == 1:
        return [] if seen.terms[0] == CERTAIN else [Factor((), np.array(chances[0]))]
    weights = [_weights(nodes, seen.situation, by_driver) for _, by_driver in known]
    drivers = weights[-1]
    tables = {d: np.stack([mine.get(d, np.ones_like(w)) for mine in weights]) for d, w in drivers.items()}
    if len(drivers) == 1 and not bike.behaviours.intersection(known[-1][1]):
        ((driver, table),) = tables.items()
        terms = chances[:, None] * table
        said = terms.sum(axis=0)
        return [Factor((driver,), np.where(np.abs(said) > ROUNDING * np.abs(terms).sum(axis=0), said, 0.0))]
    return [Factor((helper,), chances), *(Factor((helper, driver), table) for driver, table in tables.items())]
