"""A quick view of all tests, to choose the few that are worth an exact look ahead.

Notation: F[k, i] is P(one of the first k rungs fires | cause i alone present): the network's own D-matrix, worked
out once for a bike by walking the conditions in order. q_i are independent chances that cause i is present and
stops the bike, none = prod_i (1 - q_i), Z = 1 - none. Then P(the first k rungs pass, it fails) is
prod_i (1 - q_i F[k, i]) - none, and with cause i among it q_i (1 - F[k, i]) prod_{j != i} (1 - q_j F[k, j]).
Evidence has tied the causes together in more ways than "something stops it", and those are left out here;
nothing that is shown as a probability comes from here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.inference.factor import Table
from diagnose.inference.ladder import Rung
from diagnose.inference.noisy_max import survival
from diagnose.inference.posterior import Candidate
from diagnose.model import ABSENT, PRESENT, AllOf
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import ARRIVAL, Situation
from diagnose.sides import other_side


@dataclass(frozen=True, slots=True)
class Response:
    """How a test answers to single causes.

    base: P(no false alarm so far), shape (rungs,). fires: F, shape (rungs, causes).
    """

    base: Table
    fires: Table


def response(bike: BikeGraph, candidate: Candidate) -> Response:
    """Return how a candidate answers to each cause alone; worked out once for a bike, cut and ladder."""
    key = ("response", candidate.id, candidate.situation.cut, candidate.situation.held)
    return bike.remembered(key, lambda: _response(bike, candidate))


def _response(bike: BikeGraph, candidate: Candidate) -> Response:
    levels = _alone(bike, candidate.situation)
    quiet = np.ones(len(bike.roots))
    base, fires, passed = [], [], 1.0
    for rung in candidate.ladder:
        quiet = quiet * _quiet(bike, rung, levels)
        passed *= 1 - rung.base
        base.append(passed)
        fires.append(1 - quiet)
    return Response(np.array(base), np.array(fires))


@dataclass(frozen=True, slots=True)
class Glance:
    """Roughly what a test would say. failing, working: P(outcome | the bike fails, works), shape (outcomes,).

    stops: P(cause stops the bike | it fails, outcome), shape (outcomes, causes).
    """

    failing: Table
    working: Table
    stops: Table


def glance(bike: BikeGraph, q: Table, candidate: Candidate) -> Glance:
    """Return roughly what a candidate would say. q: see the notation, shape (causes,)."""
    answer = response(bike, candidate)
    through = 1 - q * answer.fires
    log_none = np.log1p(-q).sum()
    z = -np.expm1(log_none)
    log_pass = np.log(through).sum(axis=1)
    apart = np.minimum(log_pass - log_none, 30.0)  # beyond that the second term is nothing
    fails = np.where(apart < 30.0, np.exp(log_none) * np.expm1(apart), np.exp(log_pass)) / z
    passed = np.concatenate([[1.0], answer.base * fails])
    with_cause = (answer.base * np.exp(log_pass))[:, None] * q * (1 - answer.fires) / through / z
    joint = np.concatenate([q[None] / z, with_cause])
    chances = np.maximum(_differences(passed), 1e-12)
    works = np.maximum(_differences(np.concatenate([[1.0], answer.base])), 1e-12)
    return Glance(chances / chances.sum(), works / works.sum(), np.clip(_differences(joint) / chances[:, None], 0, 1))


def _differences(passed: Table) -> Table:
    return np.concatenate([passed[:-1] - passed[1:], passed[-1:]])


def only_cause_present(bike: BikeGraph, targets: Sequence[str]) -> dict[str, float]:
    """Return for each cause P(some target not healthy | this cause alone present, every other absent).

    It says how surely a cause by itself keeps the bike from doing what the job asks. The conditions a
    cause leads to are taken as independent given the cause, which is exact where its ways to a target
    do not share a condition; the planner weighs with it, no belief depends on it. A cause of one side of a twin is
    present on both: on one alone nothing keeps the bike from running, and what stopped it is on both.
    """
    levels = _alone(bike, ARRIVAL, both_sides=True)
    healthy = np.prod([levels[t][0] for t in targets if t in levels] or [np.ones(len(bike.roots))], axis=0)
    return dict(zip(bike.roots, (1 - healthy).tolist(), strict=True))


def _quiet(bike: BikeGraph, rung: Rung, levels: Mapping[str, Table]) -> Table:
    """P(no driver makes the rung fire | cause i alone), shape (causes,)."""
    quiet = np.ones(len(bike.roots))
    for driver, by_level in rung.drivers.items():
        if driver in levels:
            names = bike.conditions[driver].levels if driver in bike.conditions else (ABSENT, PRESENT)
            stays = np.array([1 - by_level.get(name, 0.0) for name in names])
            quiet *= stays @ _at_each(levels[driver])
    return quiet


def _at_each(within: Table) -> Table:
    """Return P(exactly at level l) from P(at most at level l), both (levels, causes); np.diff is ten times as slow."""
    exactly = within.copy()
    exactly[1:] -= within[:-1]
    return exactly


def _alone(bike: BikeGraph, situation: Situation, both_sides: bool = False) -> dict[str, Table]:
    """Node -> P(level at most l | cause i alone present), shape (levels, causes), in a situation."""
    key = ("alone", situation.cut, situation.held, both_sides)
    return bike.remembered(key, lambda: _walk(bike, situation, both_sides))


def _walk(bike: BikeGraph, situation: Situation, both_sides: bool) -> dict[str, Table]:
    count = len(bike.roots)
    within: dict[str, Table] = {}
    number = {root: n for n, root in enumerate(bike.roots)}
    for n, root in enumerate(bike.roots):
        healthy = np.ones(count)
        healthy[n] = float(root in situation.cut)
        other = other_side(root)
        if both_sides and other in number:
            healthy[number[other]] = healthy[n]
        within[root] = np.stack([healthy, np.ones(count)])
    for condition in bike.order:
        names = bike.conditions[condition].levels
        below = np.ones((len(names), count))
        if condition not in situation.held:
            for link in bike.links[condition]:
                parents = bike.conditions[link.parent].levels if link.parent in bike.conditions else (ABSENT, PRESENT)
                reach = 1 - np.append(survival(names, parents, link.table)[:, 1:], np.zeros((len(parents), 1)), axis=1)
                below *= reach.T @ _at_each(within[link.parent])
            for both in bike.conditions[condition].all_of:
                if all(parent in within for parent in both.parents):
                    above = survival(names, (ABSENT, PRESENT), {PRESENT: both.chances})[1]
                    below *= 1 - np.append(above[1:], 0.0)[:, None] * _acts(bike, both, within)
        within[condition] = below
    return within


def _acts(bike: BikeGraph, both: AllOf, within: Mapping[str, Table]) -> Table:
    """P(every parent of an AND stands where it is needed | cause i alone), taken one by one, shape (causes,)."""
    acts = np.ones(len(bike.roots))
    for parent, needed in both.parents.items():
        names = bike.conditions[parent].levels if parent in bike.conditions else (ABSENT, PRESENT)
        stands = np.array([float(name in needed) for name in names])
        acts *= stands @ _at_each(within[parent])
    return acts
