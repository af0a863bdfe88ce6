"""Soft evidence against its definition: the mixture of hard outcomes, each weighed by its likelihood."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference.compile import compile_network
from diagnose.inference.conflict import conflict
from diagnose.inference.ladder import CERTAIN, Observation, observed, weighed
from diagnose.inference.posterior import Question, log_evidence, posterior
from diagnose.model import Outcome
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation
from diagnose.problems import ImpossibleEvidence
from tests.oracle import random_knowledge as rk
from tests.oracle.built import built, condition
from tests.oracle.test_enumeration import Case, behaviour_case, check, plain_case, repaired_case

Ladder = list[Outcome]


def ladder_of(rng: np.random.Generator, bike: BikeGraph, most: int = 3) -> Ladder:
    """A test of two to four outcomes, some of which behaviours drive, the last the default."""
    among = [c for c in bike.conditions if c[0] == "b"] if rng.random() < 0.4 else []
    rungs = [rk.random_rung(rng, bike, most, among, 0.5) for _ in range(int(rng.integers(1, 4)))]
    bases = [0.0 if rng.random() < 0.3 else rung.base for rung in rungs]
    made = [
        Outcome(id=f"o{k}", name=f"o{k}", drivers=r.drivers, base=b)
        for k, (r, b) in enumerate(zip(rungs, bases, strict=True))
    ]
    return [*made, Outcome(id="last", name="last", default=True)]


def weights_for(rng: np.random.Generator, ladder: Ladder) -> dict[str, float]:
    """Likelihoods, some of them nothing, some of neighbours equal."""
    found = {o.id: float(rng.choice([0.0, 0.25, 1.0, rng.uniform(0.01, 1.0)])) for o in ladder}
    return found if any(found.values()) else {**found, "last": 0.5}


def softened(case: Case, seed: int) -> tuple[Case, dict[str, np.ndarray]]:
    """The case with one to three soft observations beside its own, and P(observation | world) of all."""
    rng = np.random.default_rng(seed)
    worlds = case.worlds()
    own = case.question.observations
    places = [o.situation for o in own] or [case.question.now]
    chance = {o.label: worlds.chance(o) for o in own}
    soft = []
    for n in range(int(rng.integers(1, 4))):
        ladder = ladder_of(rng, case.bike)
        weights, place = weights_for(rng, ladder), places[int(rng.integers(len(places)))]
        seen = weighed(f"soft {n}", ladder, weights, place)
        hard = [worlds.chance(observed("", ladder, o.id, place)) for o in ladder]
        scale = 1.0 if seen.soft else max(weights.values())
        chance[seen.label] = sum(weights[o.id] * p for o, p in zip(ladder, hard, strict=True)) / scale
        soft.append(seen)
    return replace(case, question=replace(case.question, observations=(*own, *soft))), chance


@pytest.mark.parametrize("make", [plain_case, repaired_case, behaviour_case])
@pytest.mark.parametrize("batch", range(5))
def test_soft_evidence_is_the_mixture_over_all_worlds(make, batch):
    """Posterior, P(evidence), what each next test would say, and contradictions that are named."""
    possible = [check(*softened(make(seed), seed)) for seed in range(12 * batch, 12 * batch + 12)]
    assert sum(possible) >= 6


@pytest.mark.parametrize("seed", range(30))
def test_evidence_with_a_soft_answer_is_the_sum_of_those_with_each_outcome(seed):
    case = (plain_case, repaired_case, behaviour_case)[seed % 3](500 + seed)
    rng = np.random.default_rng(seed)
    ladder = ladder_of(rng, case.bike)
    weights = {o.id: float(rng.uniform(0.05, 1.0)) for o in ladder}
    own, repairs, place = case.question.observations, case.question.repairs, case.question.now

    def p(seen: Observation) -> float:
        return float(np.exp(log_evidence(case.bike, [*own, seen], repairs)))

    mixture = sum(w * p(observed("hard", ladder, name, place)) for name, w in weights.items())
    assert p(weighed("soft", ladder, weights, place)) == pytest.approx(mixture, abs=1e-12, rel=1e-9)


def test_the_random_softness_reaches_what_it_is_meant_to_reach():
    cases = [
        softened(make(seed), seed)[0] for make in (plain_case, repaired_case, behaviour_case) for seed in range(60)
    ]
    soft = [(case, o) for case in cases for o in case.question.observations if o.soft]
    assert sum(len(o.soft) > 2 for _, o in soft) >= 50
    assert sum(len(o.soft) == 1 for _, o in soft) >= 10, "flat weights"
    assert sum(bool(o.passed) for _, o in soft) >= 20
    assert sum(bool(case.bike.behaviours & o.drivers) for case, o in soft if len(o.soft) > 2) >= 30
    assert sum(o.may_cancel for _, o in soft) >= 20


seeds = st.integers(0, 2**32 - 1)


def large(seed: int) -> tuple[BikeGraph, Question, np.random.Generator]:
    rng = np.random.default_rng(seed)
    bike = rk.random_bike(rng, causes=10, conditions=5, mechanisms=2, parents=3, with_and=True, behaviours=3)
    seen = rk.random_observation(rng, bike, Situation(), "first")
    return bike, Question((seen,), targets=("b0",)), rng


@settings(max_examples=25, deadline=None)
@given(seeds, st.floats(0.01, 1.0))
def test_flat_weights_say_nothing(seed, w):
    bike, question, rng = large(seed)
    ladder = ladder_of(rng, bike)
    seen = weighed("flat", ladder, dict.fromkeys((o.id for o in ladder), w), Situation())
    both = posterior(bike, replace(question, observations=(*question.observations, seen)))
    alone = posterior(bike, question)
    assert seen.drivers == frozenset()
    assert both.causes == pytest.approx(alone.causes, abs=1e-12)
    assert both.log_evidence == pytest.approx(alone.log_evidence + np.log(w), abs=1e-10)


@settings(max_examples=25, deadline=None)
@given(seeds, st.floats(0.01, 1.0))
def test_only_the_ratios_of_the_weights_count(seed, scale):
    bike, question, rng = large(seed)
    ladder = ladder_of(rng, bike)
    weights = {o.id: float(rng.uniform(0.05, 1.0)) for o in ladder}
    less = {name: scale * w for name, w in weights.items()}
    beliefs = [
        posterior(bike, replace(question, observations=(*question.observations, weighed("s", ladder, w, Situation()))))
        for w in (weights, less)
    ]
    assert beliefs[0].causes == pytest.approx(beliefs[1].causes, abs=1e-9)
    assert beliefs[1].log_evidence - beliefs[0].log_evidence == pytest.approx(np.log(scale), abs=1e-8)


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_all_weight_on_one_outcome_is_that_outcome(seed):
    bike, _, rng = large(seed)
    ladder = ladder_of(rng, bike)
    for outcome in ladder:
        assert weighed("x", ladder, {outcome.id: 0.3}, Situation()) == observed("x", ladder, outcome.id, Situation())


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_a_soft_answer_lies_between_the_hard_ones(seed):
    """P(cause) is an average of what it would be under each outcome."""
    bike, question, rng = large(seed)
    ladder = ladder_of(rng, bike)
    weights = {o.id: float(rng.uniform(0.05, 1.0)) for o in ladder}

    def causes(seen: Observation) -> np.ndarray:
        try:
            belief = posterior(bike, replace(question, observations=(*question.observations, seen)))
        except ImpossibleEvidence:
            return np.full(len(bike.roots), np.nan)
        return np.array(list(belief.causes.values()))

    hard = np.array([causes(observed("x", ladder, o.id, Situation())) for o in ladder])
    soft = causes(weighed("x", ladder, weights, Situation()))
    assert (soft >= np.nanmin(hard, axis=0) - 1e-9).all()
    assert (soft <= np.nanmax(hard, axis=0) + 1e-9).all()


def test_by_hand():
    """One cause of prior 0.2, seen with 0.9; weights 0.7 for it fired, 0.3 for not.

    P(seen | present) = 0.7 x 0.9 + 0.3 x 0.1 = 0.66, P(seen | absent) = 0.3; posterior 0.132 / (0.132 + 0.24).
    """
    bike = built({"x0": 0.2}, condition("c0", {"x0": 0.5}))
    ladder = [Outcome(id="there", name="", drivers={"x0": {"present": 0.9}}), Outcome(id="not", name="", default=True)]
    seen = weighed("look", ladder, {"there": 0.7, "not": 0.3}, Situation())
    belief = posterior(bike, Question((seen,)))
    assert belief.causes["x0"] == pytest.approx(0.132 / 0.372, abs=1e-12)
    assert np.exp(belief.log_evidence) == pytest.approx(0.372, abs=1e-12)
    assert conflict(bike, Question((seen,)), belief.log_evidence) == pytest.approx(0, abs=1e-12)


def test_the_same_answer_with_other_weights_is_another_answer():
    """What is kept of an answer alone goes by its weights too."""
    bike = built({"x0": 0.2, "x1": 0.5}, condition("c0", {"x0": 0.5}))
    ladder = [Outcome(id="there", name="", drivers={"x0": {"present": 0.9}}), Outcome(id="not", name="", default=True)]
    for weights, p in (((0.7, 0.3), 0.372), ((0.3, 0.7), 0.3 * 0.18 + 0.7 * 0.82)):
        seen = weighed("look", ladder, dict(zip(("there", "not"), weights, strict=True)), Situation())
        assert conflict(bike, Question((seen,)), 0.0) == pytest.approx(np.log(p), abs=1e-12)


def look(name: str, *causes: str, sees: float = 0.9) -> Ladder:
    """A look that shows nothing that is not there: no false alarm."""
    drivers = {cause: {"present": sees} for cause in causes}
    return [Outcome(id="there", name=name, drivers=drivers), Outcome(id="not", name=name, default=True)]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(1e-6, 0.5), st.floats(0.05, 0.95)), min_size=2, max_size=12))
def test_many_unlikely_answers_are_possible(pairs):
    """Each of two causes of prior p, seen with q: P(one such look fires) = 1 - (1 - pq)^2, and all are independent."""
    bike = built({f"{side}{k}": p for k, (p, _) in enumerate(pairs) for side in "ab"}, condition("c", {"a0": 0.5}))
    seen = [
        observed(str(k), look(str(k), f"a{k}", f"b{k}", sees=q), "there", Situation()) for k, (_, q) in enumerate(pairs)
    ]
    by_hand = sum(np.log(p * q * (2 - p * q)) for p, q in pairs)
    assert log_evidence(bike, seen, ()) == pytest.approx(by_hand, abs=1e-6)
    belief = posterior(bike, Question(tuple(seen)))
    assert belief.log_evidence == pytest.approx(by_hand, abs=1e-6)


def test_a_contradiction_among_many_unlikely_answers_is_named():
    """The first look fired for one of two causes, and neither is there."""
    bike = built({f"{side}{k}": 1e-4 for k in range(8) for side in "ab"}, condition("c", {"a0": 0.5}))
    seen = [observed(f"look {k}", look("", f"a{k}", f"b{k}"), "there", Situation()) for k in range(8)]
    sure = [observed(f"no {x}", look("", x, sees=1.0), "not", Situation()) for x in ("a0", "b0")]
    with pytest.raises(ImpossibleEvidence, match="cannot all be true: look 0; no a0; no b0") as raised:
        posterior(bike, Question((*seen, *sure)))
    assert "look 1" not in str(raised.value)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(1, 9999), min_size=2, max_size=4))
def test_weights_that_sum_to_rounding_are_no_evidence(parts):
    """Every outcome but the default has a weight, of four decimals; the only driver is not there, so it is the default."""
    bike = built({"x0": 0.2}, condition("c0", {"x0": 0.5}))
    rungs = [Outcome(id=f"o{k}", name="", drivers={"x0": {"present": 0.5}}) for k in range(len(parts))]
    weights = {f"o{k}": part / 10000 for k, part in enumerate(parts)}
    soft = weighed("soft", [*rungs, Outcome(id="last", name="", default=True)], weights, Situation())
    absent = observed("sure", look("", "x0", sees=1.0), "not", Situation())
    with pytest.raises(ImpossibleEvidence):
        posterior(bike, Question((absent, soft)))


def test_an_answer_alone_is_told_from_one_with_the_same_weights_further_down():
    """0.5 for all three is 0.5; 0.5 for the last two is half of P(not the first) = 1 - 0.2 x 0.9."""
    bike = built({"x0": 0.2, "x1": 0.5}, condition("c0", {"x0": 0.5}))
    ladder = [*look("", "x0")[:1], Outcome(id="else", name="", drivers={"x1": {"present": 0.5}})]
    ladder.append(Outcome(id="last", name="", default=True))
    for names, p in ((("there", "else", "last"), 0.5), (("else", "last"), 0.41)):
        seen = weighed("look", ladder, dict.fromkeys(names, 0.5), Situation())
        assert conflict(bike, Question((seen,)), 0.0) == pytest.approx(np.log(p), abs=1e-12)


@pytest.mark.parametrize("fired", [True, False])
def test_hard_answers_need_no_more_than_before(fired):
    """A rung that fired: a helper of two states, 1 and -0.75 (1 - 0.2 x 0.9)(1 - 0.5 x 0.5); the default: none."""
    bike = built({"x0": 0.2, "x1": 0.5}, condition("c0", {"x0": 0.5}))
    rung = Outcome(id="r", name="", base=0.25, drivers={"x0": {"present": 0.9}, "x1": {"present": 0.5}})
    seen = observed("look", [rung, Outcome(id="not", name="", default=True)], "r" if fired else "not", Situation())
    factors = compile_network(bike, (seen,)).factors
    helpers = [f.table.tolist() for f in factors if f.scope == ("seen:0",)]
    assert helpers == ([pytest.approx([1.0, -0.46125], abs=1e-12)] if fired else [])
    assert seen.terms[0] == CERTAIN


def test_terms_are_where_the_weights_change():
    ladder = [Outcome(id=c, name="", drivers={c: {"present": 0.5}}) for c in "abcd"]
    ladder.append(Outcome(id="e", name="", default=True))
    seen = weighed("x", ladder, {"b": 0.25, "c": 0.25, "d": 0.75, "e": 0.5}, Situation())
    assert [list(rung.drivers) for rung in seen.passed] == [["a"]]
    terms = [(term.weight, ["".join(rung.drivers) for rung in term.rungs]) for term in seen.terms]
    assert terms == [(0.25, []), (0.5, ["b", "c"]), (-0.25, ["b", "c", "d"])]
    assert all(len(a.rungs) < len(b.rungs) for a, b in pairwise(seen.terms))


def test_weights_that_say_nothing_are_refused():
    ladder = [Outcome(id="a", name=""), Outcome(id="b", name="", default=True)]
    with pytest.raises(ValueError, match="no outcome has a weight above 0"):
        weighed("x", ladder, {"a": 0.0}, Situation())
    with pytest.raises(KeyError, match="c"):
        weighed("x", ladder, {"c": 1.0}, Situation())
