"""What must hold of any exact answer, whatever the numbers."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.inference import junction_tree
from diagnose.inference import posterior as posterior_module
from diagnose.inference.factor import Factor
from diagnose.inference.junction_tree import JunctionTree
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import Candidate, Question, posterior, prospects
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation
from diagnose.problems import DiagnoseError, ImpossibleEvidence
from tests.oracle import random_knowledge as rk
from tests.oracle.built import built, condition, not_seen, seen

quick = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
seeds = st.integers(0, 2**32 - 1)


def a_case(seed: int, most: int = 5) -> tuple[np.random.Generator, BikeGraph, Question]:
    """A bike far larger than could be enumerated, with repairs and some answers; no answer is impossible."""
    rng = np.random.default_rng(seed)
    bike = rk.random_bike(rng, causes=12, conditions=5, mechanisms=2, parents=4, with_and=True, behaviours=3)
    repairs = rk.random_repairs(rng, bike, 2)
    few = [rk.random_situation(rng, bike, repairs) for _ in range(2)]
    places = [few[int(rng.integers(2))] for _ in range(int(rng.integers(1, most + 1)))]
    answers = tuple(rk.random_observation(rng, bike, s, f"answer {k}") for k, s in enumerate(places))
    targets = ("b0", "c4")
    return rng, bike, Question(answers, repairs, Situation(len(repairs)), targets, ("b1",), ("c0", "b2"))


def numbers(bike: BikeGraph, question: Question) -> dict[str, float]:
    """Everything that a posterior says, but for the width."""
    belief = posterior(bike, question)
    levels = {f"{c} {level}": p for c, by_level in belief.conditions.items() for level, p in by_level.items()}
    sums = {"failing": belief.failing, "failing to start": belief.failing_to_start, "log": belief.log_evidence}
    return {**belief.causes, **levels, **sums}


@quick
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_the_answers_does_not_matter(seed, shuffler):
    _, bike, question = a_case(seed)
    mixed = list(question.observations)
    shuffler.shuffle(mixed)
    assert numbers(bike, replace(question, observations=tuple(mixed))) == pytest.approx(
        numbers(bike, question), abs=1e-10
    )


@quick
@given(seeds)
def test_what_nobody_looks_at_changes_nothing(seed):
    _, bike, question = a_case(seed)
    named = {d for o in question.observations for r in (*o.passed, *([o.fired] if o.fired else [])) for d in r.drivers}
    named |= {*question.targets, *question.start, *question.shown}
    bearing = set().union(*(bike.ancestors[n] for n in named if n in bike.ancestors))
    barren = [c for c in bike.conditions if c not in bearing]
    links = {c: into for c, into in bike.links.items() if c not in barren}
    gone = {f"other:{c}" for c in barren} & set(bike.roots)
    smaller = BikeGraph(
        bike.graph.subgraph([n for n in bike.graph if n not in barren and n not in gone]),
        bike.mechanisms,
        {r: root for r, root in bike.roots.items() if r not in gone},
        {c: made for c, made in bike.conditions.items() if c not in barren},
        links,
    )
    more = numbers(bike, question)
    assert {k: p for k, p in more.items() if k not in gone} == pytest.approx(numbers(smaller, question), abs=1e-10)
    for leak in gone:
        assert more[leak] == pytest.approx(bike.roots[leak].marginal, abs=1e-10)


def test_the_last_property_does_leave_conditions_out():
    left_out = 0
    for seed in range(20):
        _, bike, question = a_case(seed, 1)
        named = {
            d for o in question.observations for r in (*o.passed, *([o.fired] if o.fired else [])) for d in r.drivers
        }
        named |= {*question.targets, *question.start, *question.shown}
        bearing = set().union(*(bike.ancestors[n] for n in named if n in bike.ancestors))
        left_out += any(c not in bearing for c in bike.conditions)
    assert left_out >= 5


@quick
@given(seeds)
def test_asking_more_changes_no_answer(seed):
    """Conditions that are shown, or not, are the same network with more or fewer variables."""
    _, bike, question = a_case(seed)
    few = numbers(bike, replace(question, shown=()))
    all_of_them = numbers(bike, replace(question, shown=tuple(bike.conditions)))
    assert {k: all_of_them[k] for k in few} == pytest.approx(few, abs=1e-10)


@quick
@given(seeds)
def test_the_chain_rule(seed):
    """P(all answers) is the product of what was foretold of each, given those before."""
    _, bike, question = a_case(seed)
    now = question.now
    answers = [replace(o, situation=now) for o in question.observations]
    product = exp(posterior(bike, replace(question, observations=())).log_evidence)
    for k, answer in enumerate(answers):
        ladder = (*answer.passed, *((answer.fired,) if answer.fired else ()))
        so_far = replace(question, observations=tuple(answers[:k]))
        foretold = prospects(bike, so_far, [Candidate("next", ladder, now)])["next"]
        stops_at = len(answer.passed)
        product *= foretold.probabilities[stops_at]
        known = posterior(bike, replace(question, observations=tuple(answers[: k + 1])))
        assert exp(known.log_evidence) == pytest.approx(product, rel=1e-9)
        np.testing.assert_allclose(foretold.causes[stops_at], list(known.causes.values()), rtol=0, atol=1e-9)


@quick
@given(seeds)
def test_a_cause_without_a_path_to_the_evidence_keeps_its_prior(seed):
    rng = np.random.default_rng(seed)
    priors = {f"x{n}": float(rng.uniform(0.05, 0.9)) for n in range(6)}
    link = {x: float(rng.uniform(0.1, 0.95)) for x in priors}
    bike = built(
        priors,
        condition("left", {x: link[x] for x in ("x0", "x1")}, 0.1),
        condition("right", {x: link[x] for x in ("x2", "x3", "x4")}, 0.05),
        condition("far", {"right": 0.7, "x5": link["x5"]}),
        mechanisms={"damp": (0.4, 5.0)},
        grows_from={"x0": "damp", "x5": "damp"},
    )
    belief = posterior(bike, Question((seen("left"),), targets=("far",)))
    for x in ("x2", "x3", "x4", "other:right"):
        assert belief.causes[x] == pytest.approx(bike.roots[x].marginal, abs=1e-12)
    assert bike.roots["x5"].marginal == pytest.approx(priors["x5"])
    assert belief.causes["x5"] > priors["x5"] + 1e-6
    assert belief.causes["x1"] > priors["x1"] + 1e-6


@quick
@given(seeds)
def test_probabilities_are_probabilities(seed):
    _, bike, question = a_case(seed)
    belief = posterior(bike, question)
    every = [*belief.causes.values(), belief.failing, belief.failing_to_start]
    every += [p for by_level in belief.conditions.values() for p in by_level.values()]
    assert all(0.0 <= p <= 1.0 for p in every)
    assert belief.log_evidence <= 1e-12
    for by_level in belief.conditions.values():
        assert sum(by_level.values()) == pytest.approx(1.0, abs=1e-10)


@quick
@given(seeds)
def test_foretold_beliefs_average_to_the_belief(seed):
    rng, bike, question = a_case(seed)
    here = question.now
    places = [here, Situation(here.epoch, frozenset(("x0",))), Situation(here.epoch, frozenset(), frozenset(("c0",)))]
    looks = [
        Candidate(f"look {n}", tuple(rk.random_rung(rng, bike, 6) for _ in range(int(rng.integers(1, 4)))), place)
        for n, place in enumerate(places)
    ]
    now = np.array(list(posterior(bike, question).causes.values()))
    found = prospects(bike, question, looks)
    assert set(found) <= {look.id for look in looks}, "one that is too wide may be left out"
    for prospect in found.values():
        assert prospect.probabilities.sum() == pytest.approx(1.0, abs=1e-12)
        assert (prospect.probabilities >= 0).all()
        assert ((prospect.causes >= 0) & (prospect.causes <= 1)).all()
        np.testing.assert_allclose(prospect.probabilities @ prospect.causes, now, rtol=0, atol=1e-9)


@quick
@given(seeds)
def test_a_candidate_alone_says_what_it_says_among_others(seed):
    rng, bike, question = a_case(seed)
    looks = [
        Candidate(
            f"look {n}", tuple(rk.random_rung(rng, bike, 6) for _ in range(int(rng.integers(1, 4)))), question.now
        )
        for n in range(8)
    ]
    together = prospects(bike, question, looks)
    for look in looks:
        alone = prospects(bike, question, [look])
        if look.id in alone:
            assert look.id in together
            np.testing.assert_allclose(
                together[look.id].probabilities, alone[look.id].probabilities, rtol=0, atol=1e-10
            )
            np.testing.assert_allclose(together[look.id].causes, alone[look.id].causes, rtol=0, atol=1e-9)


def test_only_what_is_too_wide_is_left_out(monkeypatch):
    rng, bike, question = a_case(1)
    looks = [Candidate(f"look {n}", (rk.random_rung(rng, bike, 6),), question.now) for n in range(6)]
    every = prospects(bike, question, looks)
    assert list(every) == [look.id for look in looks]
    left_out = set()
    for cells in (2**4, 2**5, 2**6, 2**7, 2**8, 2**9, 2**10):
        monkeypatch.setattr(posterior_module, "CELLS_AHEAD", cells)
        found = prospects(bike, question, looks)
        left_out.add(len(looks) - len(found))
        for name, prospect in found.items():
            np.testing.assert_allclose(prospect.causes, every[name].causes, rtol=0, atol=1e-9)
    assert {0, 6} <= left_out


def star(rng: np.random.Generator, children: int) -> list[Factor]:
    """A wide clique in the middle, and many small ones that hang on two of its variables each."""
    middle = tuple(f"m{n}" for n in range(8))
    factors = [Factor(middle, rng.uniform(-0.1, 1.0, (2,) * 8))]
    for n in range(children):
        two = tuple(str(v) for v in rng.choice(middle, 2, replace=False))
        factors.append(Factor((f"x{n}", *two), rng.uniform(0.1, 1.0, (3, 2, 2))))
    return factors


@pytest.mark.parametrize("children", [3, 6, 12, 24, 25, 40])
def test_hubs_change_no_answer(children, monkeypatch):
    factors = star(np.random.default_rng(children), children)
    weights = [(("x0",), np.random.default_rng(1).uniform(0.0, 1.0, (3, 5)))]
    tree = JunctionTree(factors)
    with_hubs = tree.propagate(weights)
    monkeypatch.setattr(junction_tree, "_gather", lambda *_: None)
    bare = JunctionTree(factors)
    without = bare.propagate(weights)
    assert len(tree.cliques) > len(bare.cliques)
    np.testing.assert_allclose(with_hubs.log_evidence, without.log_evidence, rtol=0, atol=1e-10)
    for v in tree.cards:
        np.testing.assert_allclose(with_hubs.joint((v,)), without.joint((v,)), rtol=0, atol=1e-10)


@quick
@given(seeds)
def test_hubs_change_no_posterior(seed):
    _, bike, question = a_case(seed)
    with_hubs = numbers(bike, question)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(junction_tree, "_gather", lambda *_: None)
        assert numbers(bike, question) == pytest.approx(with_hubs, abs=1e-10)


def test_answers_that_cannot_all_be_true_are_named():
    """No fuel at the tap is what both parents alone could have brought about, and neither was there."""
    bike = built(
        {"tap": 0.3, "pipe": 0.2, "plug": 0.4},
        condition("no_fuel", {"tap": 0.9, "pipe": 0.8}),
        condition("no_spark", {"plug": 0.9}, 0.1),
    )
    innocent = Observation("a spark was seen", (Rung(0.1, {"no_spark": {"present": 0.9}}),), None)
    answers = (not_seen("pipe"), innocent, seen("no_fuel"), not_seen("tap"))
    with pytest.raises(ImpossibleEvidence) as caught:
        posterior(bike, Question(answers))
    assert sorted(caught.value.answers) == ["no_fuel is there", "pipe is not there", "tap is not there"]
    assert "tap is not there" in str(caught.value)
    assert "spark" not in str(caught.value)
    for left_out in caught.value.answers:
        kept = tuple(o for o in answers if o.label != left_out)
        assert posterior(bike, Question(kept)).log_evidence > -20


def test_the_same_leaf_healthy_twice_is_not_seen_twice():
    """One draw decides a link for both situations: with a cut out nothing new is learned, nothing is multiplied."""
    bike = built({"a": 0.3, "b": 0.4}, condition("no_start", {"a": 0.6, "b": 0.5}))
    cut = Situation(0, frozenset(("a",)))
    once = posterior(bike, Question((not_seen("no_start"),)))
    twice = posterior(bike, Question((not_seen("no_start"), not_seen("no_start", situation=cut))))
    assert twice.log_evidence == pytest.approx(once.log_evidence, abs=1e-12)
    assert exp(once.log_evidence) == pytest.approx((1 - 0.3 * 0.6) * (1 - 0.4 * 0.5), abs=1e-12)
    assert twice.causes["b"] == pytest.approx(0.4 * 0.5 / (1 - 0.4 * 0.5), abs=1e-12)


@pytest.mark.filterwarnings("error")
def test_an_answer_that_is_certain_leaves_other_outlooks_whole():
    """What can no longer happen has no probability and spoils nothing else."""
    bike = built({"a": 0.3, "b": 0.4}, condition("no_start", {"a": 0.6}, 0.1), condition("no_spark", {"b": 0.7}, 0.2))
    ladder = (Rung(0.0, {"no_start": {"present": 1.0}}), Rung(0.05, {"no_spark": {"present": 0.8}}))
    for answer, first in ((seen("no_start"), 1.0), (not_seen("no_start"), 0.0)):
        question = Question((answer,))
        found = prospects(bike, question, [Candidate("again", ladder, Situation())])["again"]
        assert found.probabilities[0] == pytest.approx(first, abs=1e-12)
        assert np.isfinite(found.causes).all()
        now = np.array(list(posterior(bike, question).causes.values()))
        np.testing.assert_allclose(found.probabilities @ found.causes, now, rtol=0, atol=1e-9)


def test_a_network_too_wide_names_its_variables():
    names = [f"v{n:02}" for n in range(25)]
    pairs = [Factor((a, b), np.ones((2, 2))) for n, a in enumerate(names) for b in names[:n]]
    aside = Factor(("far", "away"), np.ones((2, 2)))
    with pytest.raises(NetworkTooWide) as caught:
        JunctionTree([*pairs, aside])
    assert caught.value.clique == tuple(names)
    assert all(name in str(caught.value) for name in names)
    assert "far" not in str(caught.value)
    assert isinstance(caught.value, DiagnoseError)
    JunctionTree([f for f in pairs if "v24" not in f.scope and "v23" not in f.scope and "v22" not in f.scope][:40])
