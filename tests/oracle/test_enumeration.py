"""Exact answers against brute force: small random bikes over all their worlds, bare trees over all combinations."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, prod

import numpy as np
import pytest

from diagnose.inference.factor import Factor
from diagnose.inference.junction_tree import JunctionTree
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import Candidate, Question, posterior, prospects
from diagnose.model import ABSENT, PRESENT
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone, Situation
from diagnose.problems import ImpossibleEvidence
from tests.oracle import random_knowledge as rk
from tests.oracle.enumeration import enumerate_marginals
from tests.oracle.world_table import Worlds, all_worlds, world_count
from tests.oracle.worlds import _chance, weighted_worlds

TOLERANCE = 1e-9
MOST_WORLDS = 30_000


@dataclass(frozen=True, eq=False)
class Case:
    """A bike, what is asked of it, what could be done next."""

    bike: BikeGraph
    question: Question
    candidates: tuple[Candidate, ...]

    def worlds(self) -> Worlds:
        """All its worlds, in every situation that plays a part."""
        situations = {o.situation for o in self.question.observations} | {c.situation for c in self.candidates}
        return all_worlds(self.bike, self.question.repairs, situations | {self.question.now})


def question_about(
    rng: np.random.Generator,
    bike: BikeGraph,
    seen: Sequence[Observation],
    repairs: tuple[RepairDone, ...],
    now: Situation,
) -> Question:
    names = list(bike.conditions)
    targets, start = (
        tuple(str(c) for c in rng.choice(names, int(rng.integers(1, min(3, len(names)) + 1)), replace=False))
        for _ in range(2)
    )
    shown = tuple(c for c in names if rng.random() < 0.5)
    return Question(tuple(seen), repairs, now, targets, start, shown)


def candidates_for(
    rng: np.random.Generator,
    bike: BikeGraph,
    now: Situation,
    among: Sequence[str] = (),
    certain: float = 0.0,
    most: int = 3,
) -> tuple[Candidate, ...]:
    """Three that look at the bike as it stands, one with a cause cut out, one with a condition held healthy."""
    causes = [r for r in bike.roots if r[0] == "x"]
    held = frozenset((str(rng.choice(list(bike.conditions))),))
    places = [now, now, now, Situation(now.epoch, now.cut | {str(rng.choice(causes))}, now.held)]
    places.append(Situation(now.epoch, now.cut, now.held | held))
    return tuple(
        Candidate(
            f"t{n}",
            tuple(rk.random_rung(rng, bike, most, among, certain) for _ in range(int(rng.integers(1, 4)))),
            s,
        )
        for n, s in enumerate(places)
    )


def small(bike: BikeGraph, repairs: tuple[RepairDone, ...] = ()) -> bool:
    return world_count(bike, repairs) <= MOST_WORLDS


def plain_case(seed: int) -> Case:
    """No repairs, nothing cut or held, everything seen on the bike as it came."""
    rng = np.random.default_rng(seed)
    while True:
        bike = rk.random_bike(
            rng,
            causes=int(rng.integers(2, 5)),
            conditions=int(rng.integers(1, 4)),
            mechanisms=int(rng.integers(0, 3)),
            parents=2,
            with_and=rng.random() < 0.3,
            behaviours=int(rng.integers(0, 3)),
        )
        if small(bike):
            break
    seen = [rk.random_observation(rng, bike, Situation(), str(k)) for k in range(int(rng.integers(0, 5)))]
    rungs = tuple(tuple(rk.random_rung(rng, bike) for _ in range(int(rng.integers(1, 4)))) for _ in range(4))
    ladders = tuple(Candidate(f"t{n}", ladder, Situation()) for n, ladder in enumerate(rungs))
    return Case(bike, question_about(rng, bike, seen, (), Situation()), ladders)


def repaired_case(seed: int) -> Case:
    """Repairs with duds and what was found, cuts and holds, ANDs."""
    rng = np.random.default_rng(10_000 + seed)
    while True:
        bike = rk.random_bike(
            rng,
            causes=int(rng.integers(2, 4)),
            conditions=int(rng.integers(1, 4)),
            mechanisms=int(rng.integers(0, 2)),
            parents=2,
            with_and=rng.random() < 0.4,
            behaviours=int(rng.integers(0, 2)),
        )
        repairs = rk.random_repairs(rng, bike, 3)
        if small(bike, repairs):
            break
    places = [rk.random_situation(rng, bike, repairs) for _ in range(int(rng.integers(1, 5)))]
    seen = [rk.random_observation(rng, bike, s, str(k)) for k, s in enumerate(places)]
    last = rk.random_situation(rng, bike, repairs)
    now = Situation(len(repairs), last.cut, last.held if rng.random() < 0.3 else frozenset())
    return Case(bike, question_about(rng, bike, seen, repairs, now), candidates_for(rng, bike, now))


def behaviour_case(seed: int) -> Case:
    """Many behaviours, looked at again and again in two situations, often for certain."""
    rng = np.random.default_rng(20_000 + seed)
    while True:
        bike = rk.random_bike(
            rng,
            causes=int(rng.integers(2, 4)),
            conditions=int(rng.integers(1, 3)),
            mechanisms=int(rng.integers(0, 2)),
            parents=2,
            behaviours=int(rng.integers(2, 7)),
        )
        repairs = rk.random_repairs(rng, bike, 1)
        if small(bike, repairs):
            break
    behaviours = [c for c in bike.conditions if c[0] == "b"]
    certain = float(rng.choice([0.0, 0.4, 0.8]))
    few = [Situation(), rk.random_situation(rng, bike, repairs)]
    steady = behaviours[0] if rng.random() < 0.6 else ""
    among = [b for b in behaviours if b != steady] or behaviours
    seen = [
        rk.random_observation(
            rng, bike, few[int(rng.integers(2))], str(k), among if rng.random() < 0.8 else (), certain
        )
        for k in range(int(rng.integers(2, 5)))
    ]
    if steady:
        never = Rung(float(rng.uniform(0.0, 0.1)), {steady: {PRESENT: 1.0}})
        seen += [Observation(f"steady{n}", (never,), None, s) for n, s in enumerate(few)]
    now = Situation(len(repairs))
    wide = candidates_for(rng, bike, now, behaviours, certain, most=6)
    mixed = candidates_for(rng, bike, few[1] if few[1].epoch == len(repairs) else now, (), certain, most=4)
    both = wide + tuple(Candidate(f"u{c.id}", c.ladder, c.situation) for c in mixed)
    return Case(bike, question_about(rng, bike, seen, repairs, now), both)


def check(case: Case, chance: dict[str, np.ndarray] | None = None) -> bool:
    """Compare every answer with the sum over worlds; return whether the evidence was possible.

    chance: P(each observation | world), where its rungs do not say it.
    """
    question, worlds = case.question, case.worlds()
    if chance is None:
        chance = {o.label: worlds.chance(o) for o in question.observations}
    weight = worlds.weight * np.prod([np.ones(len(worlds.weight)), *chance.values()], axis=0)
    total = weight.sum()
    if total == 0:
        check_contradiction(case, worlds, chance)
        return False
    check_posterior(case, worlds, weight / total, total)
    check_prospects(case, worlds, weight / total, total)
    return True


def check_posterior(case: Case, worlds: Worlds, weight: np.ndarray, total: float) -> None:
    question = case.question
    belief = posterior(case.bike, question)
    assert list(belief.causes) == list(case.bike.roots)
    np.testing.assert_allclose(list(belief.causes.values()), worlds.present @ weight, rtol=0, atol=TOLERANCE)
    assert exp(belief.log_evidence) == pytest.approx(total, rel=TOLERANCE)
    assert belief.failing == pytest.approx(1 - weight @ worlds.healthy(question.targets, question.now), abs=TOLERANCE)
    assert belief.failing_to_start == pytest.approx(
        1 - weight @ worlds.healthy(question.start, question.now), abs=TOLERANCE
    )
    assert set(belief.conditions) == set(question.shown)
    for c, levels in belief.conditions.items():
        names = case.bike.conditions[c].levels
        right = np.bincount(worlds.level[c, question.now], weights=weight, minlength=len(names))
        np.testing.assert_allclose([levels[name] for name in names], right, rtol=0, atol=TOLERANCE)


def check_prospects(case: Case, worlds: Worlds, weight: np.ndarray, total: float) -> None:
    found = prospects(case.bike, case.question, case.candidates)
    assert list(found) == [c.id for c in case.candidates]
    for candidate in case.candidates:
        ladder = candidate.ladder
        stops = [Observation("", ladder[:k], ladder[k], candidate.situation) for k in range(len(ladder))]
        joint = [weight * worlds.chance(o) for o in [*stops, Observation("", ladder, None, candidate.situation)]]
        right = np.array([w.sum() for w in joint])
        prospect = found[candidate.id]
        np.testing.assert_allclose(prospect.probabilities, right, rtol=0, atol=TOLERANCE)
        for p, w, causes in zip(right, joint, prospect.causes, strict=True):
            if p > 1e-12:
                # differences of near numbers: what is said of causes loses as many digits as all that is seen is rare
                rounding = max(1e-14 / p, 1e-15 / (p * total))
                np.testing.assert_allclose(causes, worlds.present @ w / p, rtol=0, atol=max(TOLERANCE, rounding))


def check_contradiction(case: Case, worlds: Worlds, chance: dict[str, np.ndarray]) -> None:
    """The answers that are named are impossible together, and possible without any one of them."""
    with pytest.raises(ImpossibleEvidence) as caught:
        posterior(case.bike, case.question)
    named = caught.value.answers

    def total(labels: Sequence[str]) -> float:
        return float(
            (worlds.weight * np.prod([np.ones(len(worlds.weight)), *(chance[n] for n in labels)], axis=0)).sum()
        )

    assert named
    assert total(named) == 0
    for left_out in named:
        assert total([n for n in named if n != left_out]) > 0


@pytest.mark.parametrize("batch", range(10))
def test_bikes_as_they_came(batch: int) -> None:
    for seed in range(20 * batch, 20 * batch + 20):
        assert check(plain_case(seed)), seed


@pytest.mark.parametrize("batch", range(10))
def test_bikes_with_repairs_cuts_and_holds(batch: int) -> None:
    for seed in range(32 * batch, 32 * batch + 32):
        assert check(repaired_case(seed)), seed


@pytest.mark.parametrize("batch", range(10))
def test_behaviours_seen_for_certain_and_more_than_once(batch: int) -> None:
    possible = [check(behaviour_case(seed)) for seed in range(12 * batch, 12 * batch + 12)]
    assert sum(possible) >= 6


def nested(situations: list[Situation]) -> bool:
    """Whether each situation that came later lacks all that the earlier ones lacked, as repairs alone make it."""
    order = sorted(situations, key=lambda s: s.epoch)
    return all(a.cut <= b.cut and a.held <= b.held for a, b in itertools.pairwise(order))


def test_the_random_bikes_reach_what_they_are_meant_to_reach() -> None:
    cases = [behaviour_case(seed) for seed in range(120)]
    seen = [(case, o) for case in cases for o in case.question.observations]
    sure = [
        (case, o, behaviour)
        for case, o in seen
        for rung in o.passed
        for behaviour, by_level in rung.drivers.items()
        if behaviour in case.bike.behaviours and by_level == {PRESENT: 1.0}
    ]
    leaked = [behaviour for case, _, behaviour in sure if case.bike.conditions[behaviour].leak]
    twice = [
        case
        for case in cases
        if any(
            len(
                {
                    o.situation
                    for c, o, found in sure
                    if c is case and found == behaviour and behaviour not in o.situation.held
                }
            )
            > 1
            for behaviour in case.bike.behaviours
        )
    ]
    wide = [
        c
        for case in cases
        for c in case.candidates
        if len({d for r in c.ladder for d in r.drivers} & case.bike.behaviours) > 4
    ]
    assert min(len(sure), len(leaked), len(twice), len(wide)) >= 15
    ways = [
        case
        for case, o in seen
        for rung in (*o.passed, *((o.fired,) if o.fired else ()))
        for behaviour, by_level in rung.drivers.items()
        if behaviour in case.bike.behaviours and by_level[PRESENT] < 1 and len(case.bike.links[behaviour]) > 1
    ]
    fired = [
        (case, d)
        for case in cases
        for o in case.question.observations
        for d in (o.fired.drivers if o.fired else ())
        if d in case.bike.behaviours
    ]
    again = [one for one in fired if fired.count(one) > 1]
    asked = [d for case, d in fired if d in {*case.question.targets, *case.question.start}]
    assert min(len(ways), len(again), len(asked)) >= 15
    repaired = [repaired_case(seed) for seed in range(320)]
    kinds = [nested([o.situation for o in case.question.observations]) for case in repaired]
    assert min(kinds.count(True), kinds.count(False)) >= 100
    ands = [part for case in repaired for c in case.bike.conditions.values() for part in c.all_of]
    healthy = [p for part in ands for p, levels in part.parents.items() if levels in ({ABSENT}, {"good"})]
    assert len(healthy) >= 20
    assert sum(not r.cures for case in repaired for r in case.question.repairs) >= 20
    found = [looked for case in repaired for r in case.question.repairs for looked in r.found.values()]
    assert min(found.count(looked) for looked in ("broken", "sound", "not_seen")) >= 5
    assert sum(any(c.all_of for c in case.bike.conditions.values()) for case in repaired) >= 20
    assert sum(bool(o.situation.held) for case in repaired for o in case.question.observations) >= 20
    assert sum(bool(o.situation.cut) for case in repaired for o in case.question.observations) >= 20
    assert sum(bool(case.question.now.cut) for case in repaired) >= 20


@pytest.mark.parametrize("seed", range(8))
def test_world_table_equals_worlds_one_by_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    while True:
        bike = rk.random_bike(rng, causes=2, conditions=2, mechanisms=seed % 2, parents=1, with_and=True)
        repairs = rk.random_repairs(rng, bike, 2)
        if world_count(bike, repairs) <= 3000:
            break
    places = [rk.random_situation(rng, bike, repairs) for _ in range(2)]
    seen = [rk.random_observation(rng, bike, s, str(k)) for k, s in enumerate(places)]
    table = all_worlds(bike, repairs, places)
    weight = table.weight * table.chance(seen[0]) * table.chance(seen[1])
    total, present, level = 0.0, dict.fromkeys(bike.roots, 0.0), {}
    for p, state, now in weighted_worlds(bike, repairs, seen, places):
        total += p
        for r, there in now.items():
            present[r] += p * there
        for (node, s), name in state.items():
            level[node, s, name] = level.get((node, s, name), 0.0) + p
    assert weight.sum() == pytest.approx(total, rel=1e-12)
    np.testing.assert_allclose(table.present @ weight, list(present.values()), rtol=1e-12)
    for (node, s), levels in table.level.items():
        names = bike.conditions[node].levels if node in bike.conditions else (ABSENT, PRESENT)
        for n, name in enumerate(names):
            assert weight @ (levels == n) == pytest.approx(level.get((node, s, name), 0.0), abs=1e-12)
    assert _chance(Observation("", (), Rung(0.25, {}), places[0]), {}, {}) == 0.25


def random_factors(rng: np.random.Generator) -> list[Factor]:
    """Some factors over at most nine variables of two to four states, in up to three parts, a third with negative entries."""
    while True:
        cards = {f"v{n}": int(rng.integers(2, 5)) for n in range(int(rng.integers(2, 10)))}
        if prod(cards.values()) <= 600:
            break
    names = list(cards)
    parts = [names[n :: int(rng.integers(1, 4))] for n in range(3)]
    factors = [Factor((v,), rng.uniform(0.2, 1.0, cards[v])) for v in names]
    for _ in range(int(rng.integers(1, 9))):
        part = parts[int(rng.integers(3))]
        if not part:
            continue
        scope = tuple(str(v) for v in rng.choice(part, min(len(part), int(rng.integers(1, 4))), replace=False))
        low = -0.3 if rng.random() < 0.35 else 0.0
        factors.append(Factor(scope, rng.uniform(low, 1.0, [cards[v] for v in scope])))
    if rng.random() < 0.5:
        factors.append(Factor((), np.array(rng.uniform(0.1, 2.0))))
    return [factors[n] for n in rng.permutation(len(factors))]


def absolute(factors: Sequence[Factor]) -> list[Factor]:
    return [Factor(f.scope, np.abs(f.table)) for f in factors]


@pytest.mark.parametrize("batch", range(10))
def test_trees_of_random_factors(batch: int) -> None:
    """log P, marginals and the joints of factors; where most of the sum cancels, only its sign is compared."""
    compared = 0
    for seed in range(30 * batch, 30 * batch + 30):
        rng = np.random.default_rng(30_000 + seed)
        factors = random_factors(rng)
        variables = sorted({v for f in factors for v in f.scope})
        total, right = enumerate_marginals(factors, variables)
        size, _ = enumerate_marginals(absolute(factors), [])
        done = JunctionTree(factors).propagate()
        log = float(done.log_evidence[0])
        if abs(total) < 1e-3 * size:
            continue
        if total < 0:
            assert log == -np.inf
            continue
        compared += 1
        assert log == pytest.approx(np.log(total), abs=TOLERANCE)
        for v in variables:
            np.testing.assert_allclose(done.joint((v,))[:, 0], right[v], rtol=0, atol=TOLERANCE)
            np.testing.assert_allclose(done.marginal(v)[:, 0], np.clip(right[v], 0, 1), rtol=0, atol=TOLERANCE)
        for scope in {f.scope for f in factors if len(f.scope) > 1}:
            np.testing.assert_allclose(
                done.joint(scope)[..., 0], joint_of(factors, scope, total), rtol=0, atol=TOLERANCE
            )
    assert compared >= 21


def joint_of(factors: Sequence[Factor], scope: tuple[str, ...], total: float) -> np.ndarray:
    """P(scope) from one array over all variables."""
    cards = {v: n for f in factors for v, n in zip(f.scope, f.table.shape, strict=True)}
    order = [*scope, *(v for v in cards if v not in scope)]
    table = np.ones([cards[v] for v in order])
    for f in factors:
        axes = sorted(range(len(f.scope)), key=lambda n, f=f: order.index(f.scope[n]))
        table = table * f.table.transpose(axes).reshape([cards[v] if v in f.scope else 1 for v in order])
    return table.sum(axis=tuple(range(len(scope), len(order)))) / total


@pytest.mark.parametrize("batch", range(4))
def test_many_evidence_sets_at_once(batch: int) -> None:
    """Weights for several evidence sets, on single variables and on whole scopes, against one enumeration each."""
    for seed in range(10 * batch, 10 * batch + 10):
        rng = np.random.default_rng(40_000 + seed)
        factors = [Factor(f.scope, np.abs(f.table)) for f in random_factors(rng)]
        held = [f for f in factors if f.scope]
        picked = [held[int(n)] for n in rng.choice(len(held), min(3, len(held)), replace=False)]
        weights = [(f.scope, rng.uniform(0.0, 1.0, (*f.table.shape, 1 if n == 2 else 4))) for n, f in enumerate(picked)]
        variables = sorted({v for f in factors for v in f.scope})
        done = JunctionTree(factors).propagate(weights)
        for n in range(4 if len(picked) > 1 or weights[0][1].shape[-1] > 1 else 1):
            extra = [Factor(scope, table[..., min(n, table.shape[-1] - 1)]) for scope, table in weights]
            total, right = enumerate_marginals([*factors, *extra], variables)
            assert done.log_evidence[n] == pytest.approx(np.log(total), abs=TOLERANCE)
            for v in variables:
                table = done.marginal(v)
                np.testing.assert_allclose(table[:, min(n, table.shape[-1] - 1)], right[v], rtol=0, atol=TOLERANCE)


def test_impossible_evidence_has_no_probability() -> None:
    factors = [Factor(("a", "b"), np.array([[0.5, 0.0], [0.0, 0.5]])), Factor(("a",), np.array([1.0, 0.0]))]
    weights = [(("b",), np.array([[0.0, 1.0], [1.0, 1.0]]))]
    log = JunctionTree(factors).propagate(weights).log_evidence
    assert log[0] == -np.inf
    assert log[1] == pytest.approx(np.log(0.5))
