"""What the evidence says: posteriors of every cause and condition, and what each result of each test would say.

Notation: a test's outcomes are differences of "passes the first k rungs", and each of those is a weight
on single variables; so all results of all tests are rows of one batch through one junction tree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from math import prod

import numpy as np

from diagnose.inference.agreement import Contradicted, agreed
from diagnose.inference.behaviours import helper_of
from diagnose.inference.compile import Network, Wanted, check_courses, compile_network
from diagnose.inference.factor import ROUNDING, Table
from diagnose.inference.junction_tree import JunctionTree, Propagation
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.parts import fits, in_parts
from diagnose.inference.rows import Rows, without_behaviours
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.model import ABSENT, PRESENT
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import ARRIVAL, RepairDone, Situation
from diagnose.problems import ImpossibleEvidence

MOST_ROWS = 96
"""Evidence sets passed through a tree at once: more no longer fit the processor's cache."""

MADE_KEPT = (4, 2, 1, 0)
"""So many of the changes that only may have made something wrong, the last ones, are followed; less if it must be."""

CELLS_AT_ONCE = 2**24
"""Cells of all cliques times evidence sets at once, at most: several such tables are held, 128 MB each."""

CELLS_ALONE = 2**20
"""In a tree with a wider clique the few rows of a belief pass one by one: together they take longer (measured)."""

MOST_NEW = 16
"""Conditions, beyond those the evidence needs, that candidates may bring into one tree."""

CELLS_NOW = 2**21
"""Cells of the widest clique at most for an answer within a second; beyond it a question has to be `settled`."""

CELLS_APART = 2**20
"""Cells of the widest clique at most for the latest answers, where the earlier ones are reckoned apart anyhow."""

CELLS_AHEAD = 250_000
"""A candidate whose tree would have a clique of more cells than this is not looked ahead to; it can still be chosen."""

CELLS_HOPELESS = 350_000
"""Where the belief itself takes more cells hardly a candidate's tree fits, and trying is half the wait (measured)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A test that could be done, its rungs in order, and the situation it would look at."""

    id: str
    ladder: tuple[Rung, ...]
    situation: Situation


@dataclass(frozen=True, slots=True)
class Prospect:
    """What a candidate would say.

    probabilities: P(outcome | evidence), shape (outcomes,). causes: P(cause present now | evidence,
    outcome), shape (outcomes, causes) in the order of Posterior.causes.
    """

    probabilities: Table
    causes: Table


@dataclass(frozen=True)
class Posterior:
    """The belief about one bike at one moment. Probabilities in [0, 1].

    causes: P(present now), whatever is isolated. conditions: level -> probability, for those asked for.
    failing: P(some target is not healthy now); failing_to_start: the same of what is needed to start and keep
    running; failing_to_turn: of what is needed to turn over. log_evidence: natural logarithm of P(all answers).
    width: variables in the largest clique, less one; cells: of the largest table.
    """

    causes: Mapping[str, float]
    conditions: Mapping[str, Mapping[str, float]]
    failing: float
    failing_to_start: float
    failing_to_turn: float
    log_evidence: float
    width: int
    cells: int


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of the network.

    observations, repairs: the evidence. now: the moment. targets: what should be healthy for the job;
    start, turn: what should be to start and keep running, to turn over. shown: conditions whose levels are wanted.
    untied: whether what ties causes together is reckoned apart; apart: labels of the answers that are; carried: what
    both say of each cause (see `settled`).
    """

    observations: tuple[Observation, ...] = ()
    repairs: tuple[RepairDone, ...] = ()
    now: Situation = ARRIVAL
    targets: tuple[str, ...] = ()
    start: tuple[str, ...] = ()
    turn: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    untied: bool = False
    carried: Mapping[str, Table] = field(default_factory=dict)
    apart: tuple[str, ...] = ()

    def graph(self, bike: BikeGraph) -> BikeGraph:
        """Return the graph of which it is asked."""
        return bike.untied if self.untied else bike


def settled(bike: BikeGraph, question: Question) -> Question:
    """Return the question without ties between causes, with as many of the latest answers as then fit one tree.

    The ties, and the answers that do not fit, are reckoned apart; where all answers fit only the ties are.
    Of those that do not fit, what came again in the same way later is left out first: in parts of their own both would
    count in full, though a link that acted once acts again, and what acts always, as "something else" does, would win
    by that; what repairs in between may have spoilt is counted less (see `_spoilt`). The last answer that shows a
    target itself, a try-out or the complaint, counts as the latest: that the bike fails says how all causes hang
    together, which parts do not hear. Raises NetworkTooWide where nothing helps, ImpossibleEvidence.
    """
    question, wanted = _few_courses(bike, question), _asked_now(bike, question)
    if fits(bike.untied, question.observations, question.repairs, wanted, CELLS_APART):
        return _untied(bike, question)
    times = Counter(seen.label for seen in question.observations)
    last = {seen.label: seen for seen in question.observations}
    question = replace(question, repairs=_spoilt(bike, question, last))
    once = [_again(seen, times[seen.label]) for seen in question.observations if last[seen.label] is seen]
    shown = [n for n, seen in enumerate(once) if seen.drivers & set(question.targets)]
    once += [once.pop(n) for n in shown[-1:]]
    with _named(bike, question):
        kept, carried = in_parts(bike, once, question.repairs, wanted, CELLS_APART)
    here = {seen.label for seen in kept}
    labels = tuple(o.label for o in question.observations if o.label not in here or last[o.label] is not o)
    return replace(question, untied=True, observations=kept, carried=carried, apart=labels)


def light(bike: BikeGraph, question: Question, belief: Posterior) -> Question | None:
    """Return the question as it is looked ahead from: without ties where its tree is too wide; None if it still is.

    belief: its answer.
    """
    if belief.cells <= CELLS_HOPELESS:
        return question
    seen, wanted = question.observations, _asked_now(bike, question)
    if question.untied or not fits(bike.untied, seen, question.repairs, wanted, CELLS_HOPELESS):
        return None
    return _untied(bike, question)


def _untied(bike: BikeGraph, question: Question) -> Question:
    """Return the question with nothing but the ties reckoned apart. Raises ImpossibleEvidence."""
    with _named(bike, question):
        return replace(question, untied=True, carried=agreed(bike, [question.observations], question.repairs))


@contextmanager
def _named(bike: BikeGraph, question: Question) -> Iterator[None]:
    """Name the answers where a part of them contradicts itself. Raises ImpossibleEvidence."""
    try:
        yield
    except Contradicted as met:
        part = replace(question, untied=True, observations=met.part)
        raise ImpossibleEvidence(contradiction(bike, part)) from None


def _few_courses(bike: BikeGraph, question: Question) -> Question:
    """Return the question, of what may only have made something wrong (a flood by kicking) all but the last forgotten.

    But only where a cause came and went too often to be followed through all its courses, and no more than is needed.
    """
    fewer = question
    for kept in MADE_KEPT:
        with suppress(NetworkTooWide):
            check_courses(bike, fewer.repairs)
            break
        fewer = replace(question, repairs=_made(question.repairs, kept))
    return fewer


def _made(repairs: tuple[RepairDone, ...], kept: int) -> tuple[RepairDone, ...]:
    """Return the changes, of those that cure nothing only the last few with their effect."""
    makes = [n for n, done in enumerate(repairs) if done.dud and not done.cures]
    old = set(makes[: len(makes) - kept])
    return tuple(replace(done, dud={}) if n in old else done for n, done in enumerate(repairs))


def _spoilt(bike: BikeGraph, question: Question, last: Mapping[str, Observation]) -> tuple[RepairDone, ...]:
    """Return the repairs, a bad part fitted by one less likely where the same was seen before it and after it.

    The new part then explains what was seen only if what the repair cured did before; counted once, the answer does not
    say so. Hence times P(something that it cures was there), by the priors. last: of each answer, when it came last.
    """
    first: dict[str, int] = {}
    for seen in question.observations:
        first.setdefault(seen.label, seen.situation.epoch)
    repairs = []
    for number, done in enumerate(question.repairs, start=1):
        same = [seen for label, seen in last.items() if first[label] < number <= seen.situation.epoch]
        shown = bike.above(driver for seen in same for driver in seen.drivers)
        was = 1.0 - prod(1.0 - bike.roots[c].marginal * p for c, p in done.cures.items() if c in bike.roots)
        less = {c: p * was if c in shown else p for c, p in done.dud.items()} if done.cures else done.dud
        repairs.append(replace(done, dud=less))
    return tuple(repairs)


def _again(seen: Observation, times: int) -> Observation:
    """Return what was seen so many times as one answer: as often in error by chance is so much less likely."""
    if seen.fired is None or times == 1:
        return seen
    return replace(seen, fired=replace(seen.fired, base=seen.fired.base**times))


def _asked_now(bike: BikeGraph, question: Question) -> Wanted:
    """What the network is asked: every cause now, what should be healthy, what is shown."""
    shown = [c for c in question.shown if c in bike.conditions]
    nodes = without_behaviours(bike, [*question.targets, *question.start, *question.turn, *shown])
    return _with_causes(bike, question, {node: {question.now} for node in nodes})


def _with_causes(bike: BikeGraph, question: Question, nodes: Mapping[str, set[Situation]]) -> Wanted:
    """The nodes in their situations, and every cause now."""
    asked = {root: frozenset((_uncut(question.now),)) for root in bike.roots}
    return asked | {node: asked.get(node, frozenset()) | frozenset(some) for node, some in nodes.items()}


def posterior(bike: BikeGraph, question: Question) -> Posterior:
    """Return the posterior: exact, but for what the question has apart.

    Raises ImpossibleEvidence naming the answers that contradict each other, NetworkTooWide.
    """
    tree, network = _tree(bike, question, _asked_now(bike, question), CELLS_NOW)
    shown = [c for c in question.shown if c in bike.conditions]
    does = [c for c in shown if c in bike.behaviours]
    rows = Rows(bike, network)
    asked = (question.targets, question.start, question.turn, *((c,) for c in does))
    numbers = [rows.healthy(some, question.now) for some in asked]
    done = tree.propagate()
    log = _or_impossible(done, question.observations)
    if not np.isfinite(log):
        raise ImpossibleEvidence(contradiction(bike, question))
    at_once = rows.count if tree.largest < CELLS_ALONE else 1
    chunks = [(n, min(n + at_once, rows.count)) for n in range(1, rows.count, at_once)]
    each = np.concatenate([np.broadcast_to(tree.log_evidence(rows.weights(a, b)), (b - a,)) for a, b in chunks])
    healthy = np.clip(np.exp(each[[n - 1 for n in numbers]] - log), 0.0, 1.0).tolist()
    causes = rows.causes_now(done, _uncut(question.now), 0, 1)[:, 0]
    levels = {c: {ABSENT: h, PRESENT: 1 - h} for c, h in zip(does, healthy[3:], strict=True)}
    return Posterior(
        causes=dict(zip(bike.roots, causes.tolist(), strict=True)),
        conditions={c: levels[c] if c in levels else _levels_now(network, done, c, question.now) for c in shown},
        failing=1 - healthy[0],
        failing_to_start=1 - healthy[1],
        failing_to_turn=1 - healthy[2],
        log_evidence=log,
        width=tree.width,
        cells=tree.largest,
    )


def prospects(bike: BikeGraph, question: Question, candidates: Sequence[Candidate]) -> dict[str, Prospect]:
    """Return what each candidate would say, exactly; those that would take too long are left out.

    Candidates that need the same conditions in the same situation share a tree; one that changes the bike
    while it is done has a tree of its own.
    """
    found: dict[str, Prospect] = {}
    for group in _groups(bike, question, candidates):
        found |= _together(bike, question, group)
    return {candidate.id: found[candidate.id] for candidate in candidates if candidate.id in found}


def _groups(bike: BikeGraph, question: Question, candidates: Sequence[Candidate]) -> list[list[Candidate]]:
    """Put each candidate to those of its situation that need the fewest conditions more, MOST_NEW new ones at most."""
    has = _conditions_above(bike, [d for seen in question.observations for d in seen.drivers])
    fresh = {c.id: _conditions_above(bike, without_behaviours(bike, _drivers(c))) - has for c in candidates}
    groups: list[tuple[Situation, set[str], list[Candidate]]] = []
    for candidate in sorted(candidates, key=lambda c: (-len(fresh[c.id]), c.id)):
        mine = fresh[candidate.id]
        fits = [
            (len(new | mine) - len(new), len(new), n)
            for n, (situation, new, _) in enumerate(groups)
            if situation == candidate.situation and len(new | mine) <= max(MOST_NEW, len(new))
        ]
        if fits:
            _, new, members = groups[min(fits)[2]]
            new |= mine
            members.append(candidate)
        else:
            groups.append((candidate.situation, set(mine), [candidate]))
    return [members for _, _, members in groups]


def _drivers(candidate: Candidate) -> set[str]:
    return {driver for rung in candidate.ladder for driver in rung.drivers}


def _conditions_above(bike: BikeGraph, nodes: Iterable[str]) -> set[str]:
    return {a for a in bike.above(nodes) if a in bike.conditions}


def _together(bike: BikeGraph, question: Question, group: Sequence[Candidate]) -> dict[str, Prospect]:
    """The prospects of candidates that share a tree: every rung of every ladder passed is a row.

    Where that is too wide each half is tried.
    """
    wanted: dict[str, set[Situation]] = {}
    for candidate in group:
        for node in without_behaviours(bike, _drivers(candidate)):
            wanted.setdefault(node, set()).add(candidate.situation)
    try:
        tree, network = _tree(bike, question, _with_causes(bike, question, wanted), CELLS_AHEAD)
    except NetworkTooWide:
        half = len(group) // 2
        return _together(bike, question, group[:half]) | _together(bike, question, group[half:]) if half else {}
    rows = Rows(bike, network)
    passed = {c.id: [rows.passing(c.ladder[:k], c.situation) for k in range(1, len(c.ladder) + 1)] for c in group}
    log, causes = rows.propagated(tree, _uncut(question.now), max(1, min(MOST_ROWS, CELLS_AT_ONCE // tree.cells)))
    relative = np.exp(log - log[0])
    return {name: _prospect(relative, causes, some) for name, some in passed.items()}


def _prospect(relative: Table, causes: Table, passed: Sequence[tuple[int, float]]) -> Prospect:
    """P(outcome k) = P(pass the first k-1) - P(pass the first k), jointly with each cause; the default passes all."""
    rows, factors = [0, *(row for row, _ in passed)], np.array([1.0, *(factor for _, factor in passed)])
    p = factors * relative[rows]
    chances = np.maximum(_differences(p), 1e-15)
    joint = _differences(p[:, None] * causes[:, rows].T)
    return Prospect(chances / chances.sum(), np.clip(joint / chances[:, None], 0.0, 1.0))


def _differences(passed: Table) -> Table:
    return np.concatenate([passed[:-1] - passed[1:], passed[-1:]])


def contradiction(bike: BikeGraph, question: Question) -> list[str]:
    """Return the labels of a smallest set of answers, none of which can be left out, that is impossible together."""
    kept, graph = list(question.observations), question.graph(bike)
    for seen in question.observations:
        fewer = [o for o in kept if o is not seen]
        if not np.isfinite(log_evidence(graph, fewer, question.repairs)):
            kept = fewer
    return [seen.label for seen in kept]


def log_evidence(bike: BikeGraph, observations: Sequence[Observation], repairs: tuple[RepairDone, ...]) -> float:
    """Return log P(all these answers), natural logarithm; -inf where they contradict each other."""
    tree = JunctionTree(compile_network(bike, observations, repairs).factors)
    if any(seen.may_cancel for seen in observations):
        return _or_impossible(tree.propagate(), observations)
    return float(tree.log_evidence()[0])


def _or_impossible(done: Propagation, observations: Sequence[Observation]) -> float:
    """Return log P(evidence), but -inf where its signed terms cancel to within rounding.

    Rounding is as large as the terms where they are summed, in the cliques of the helpers; it has nothing to do with
    how unlikely all answers are together. Without a rung that fired for want of a false alarm nothing can cancel.
    """
    helpers = [helper_of(n) for n, seen in enumerate(observations) if seen.may_cancel]
    return float(done.log_evidence[0]) if done.left_over(helpers) > ROUNDING else -np.inf


def _tree(bike: BikeGraph, question: Question, wanted: Wanted, most_cells: int) -> tuple[JunctionTree, Network]:
    network = compile_network(
        question.graph(bike), question.observations, question.repairs, wanted, question.carried, most_cells
    )
    return JunctionTree(network.factors, most_cells), network


def _uncut(now: Situation) -> Situation:
    """The bike of this moment with everything connected again."""
    return Situation(now.epoch)


def _levels_now(network: Network, done: Propagation, condition: str, now: Situation) -> dict[str, float]:
    variable = network.nodes.variables[condition]
    table = done.marginal(condition)[:, 0]
    levels = variable.levels[:, network.nodes.place[now]]
    return {name: float(table[levels == n].sum()) for n, name in enumerate(variable.level_names)}
