"""Worked examples solved to the end: two steps ahead, exact optima, and the methods the planner is measured against.

What the planner does is run through it. p/c, one observation ahead with one fault (M3) and the exact optimum are
reference implementations in tests/planning; test sequencing (W12) and cutting edges (W13) stand here, being no
part of the tool.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import log2, prod

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import base_plan
from diagnose.planning.look_ahead import rank_steps
from diagnose.planning.options import Beliefs, Bench, Outlook, RepairOption, TestOption
from diagnose.planning.two_steps import FEW, Happened, deepen
from diagnose.problems import Place
from tests.planning.policies import base_alone, one_observation, one_step, p_over_c, two_steps
from tests.planning.small_jobs import TRY_OUT, Job, Policy, State, followed, optimum, walked

Row = tuple[float, ...]

W8_COST = {"plug": 8.0, "jet": 45.0, "coil": 60.0, "fuel": 5.0}
W8_START = (0.35, 0.40, 0.15, 0.10)
W8_ODD = {"no_spark": (0.80, 0.03, 0.95, 0.03), "empty": (0.02, 0.05, 0.02, 0.97)}
W8_TESTS = (
    TestOption(id="spark", minutes=3.0, outcomes=("no_spark", "spark")),
    TestOption(id="bowl", minutes=4.0, outcomes=("empty", "full")),
)
W8_BENCH = Bench(tree=AccessTree({}), rate=1.0, try_minutes=0.0, service_cost=1e6)
W8_REPAIRS = tuple(
    RepairOption(id=name, minutes=cost, cures={cause: 1.0}) for cause, (name, cost) in enumerate(W8_COST.items())
)


def w8_outlook(p: Row, test: TestOption, failing: float) -> Outlook:
    """Return the outlook of a test when exactly one fault is there, or none with the chance that p leaves."""
    odd = np.array(W8_ODD[test.outcomes[0]])
    fine = (1.0 - failing) * np.array([0.03, 0.97])  # not in the example, and never the best way: to try is free
    joint = np.array([p * odd, p * (1.0 - odd)])
    chances = joint.sum(axis=1) + fine
    return Outlook(chances=chances, marginals=joint / chances[:, None], failing=joint.sum(axis=1) / chances)


def w8_beliefs(p: Row, done: frozenset[str], failing: float) -> Beliefs:
    """Return the beliefs in W8: chances of the faults, tests done, P(it fails)."""
    after = {test.id: w8_outlook(p, test, failing) for test in W8_TESTS if test.id not in done}
    return Beliefs(marginals=np.array(p), failing=failing, after=after)


def w8_after(p: Row, happened: Happened) -> Beliefs:
    """Return the beliefs after what happened, from one fault with chances p on a bike that fails."""
    now, done = np.array(p), frozenset(step for step, _ in happened)
    failing = 1.0
    for step, outcome in happened:
        if step in W8_COST:
            now[list(W8_COST).index(step)] = 0.0
            failing = float(now.sum())
        elif step == TRY_OUT:
            now, failing = now / failing, 1.0
        else:
            odd = np.array(W8_ODD[next(test for test in W8_TESTS if test.id == step).outcomes[0]])
            now = now * (odd if outcome in W8_ODD else 1.0 - odd)
            now = now / now.sum()
    return w8_beliefs(tuple(now.tolist()), done, failing)


def w8_followed(deep: bool) -> tuple[str, float]:
    """Return the first step and the expected cost of following the planner, a try-out after each repair."""

    def advice(p: Row, done: frozenset[str]) -> str:
        beliefs = w8_beliefs(p, done, 1.0)
        tests = [test for test in W8_TESTS if test.id not in done]
        known = [repair for repair in W8_REPAIRS if p[list(W8_COST).index(repair.id)] > 0.0]
        steps = rank_steps(W8_BENCH, tests, known, beliefs)
        if deep:
            steps = deepen(W8_BENCH, tests, known, steps, lambda happened: without(w8_after(p, happened), done), FEW)
        return next(step.id for step in steps if step.kind != "try_out")

    def value(p: Row, done: frozenset[str]) -> float:
        step = advice(p, done)
        if step in W8_COST:
            left = tuple(0.0 if name == step else chance for name, chance in zip(W8_COST, p, strict=True))
            fails = sum(left)
            return W8_COST[step] + (fails * value(tuple(c / fails for c in left), done) if fails > 1e-12 else 0.0)
        test = next(test for test in W8_TESTS if test.id == step)
        ahead = w8_outlook(p, test, 1.0)
        rows = zip(ahead.chances.tolist(), ahead.marginals.tolist(), strict=True)
        return test.minutes + sum(chance * value(tuple(row), done | {step}) for chance, row in rows)

    return advice(W8_START, frozenset()), value(W8_START, frozenset())


def without(beliefs: Beliefs, done: frozenset[str]) -> Beliefs:
    """Return the beliefs without the outlooks of tests that were done."""
    after = {test: outlook for test, outlook in beliefs.after.items() if test not in done}
    return Beliefs(marginals=beliefs.marginals, failing=beliefs.failing, after=after)


@pytest.mark.source("planning literature, W8: one step 41.349 (spark), two steps and the optimum 40.725 (fit plug)")
def test_w8_two_steps_see_that_the_plug_is_the_better_test() -> None:
    first, value = w8_followed(deep=False)
    assert (first, value) == ("spark", pytest.approx(41.349, abs=1e-6))
    first, value = w8_followed(deep=True)
    assert (first, value) == ("plug", pytest.approx(40.725, abs=1e-6))
    steps = rank_steps(W8_BENCH, W8_TESTS, W8_REPAIRS, w8_beliefs(W8_START, frozenset(), 1.0))
    deeper = deepen(W8_BENCH, W8_TESTS, W8_REPAIRS, steps, lambda happened: w8_after(W8_START, happened))
    assert deeper[0].id == "plug"
    assert deeper[0].expected == pytest.approx(40.725, abs=1e-6)


@pytest.fixture(scope="module")
def w9() -> Job:
    """Three faults, two tests, the jet behind the carburettor."""
    place = Place("example")
    carb = Access(id="carb", name="", basis=(), place=place, applies={}, needs=(), open=12.0, close=10.0)
    known = (("plug", 8.0, ()), ("jet", 15.0, ("carb",)), ("points", 20.0, ()))
    return Job(
        Bench(tree=AccessTree({"carb": carb}), rate=1.0, try_minutes=2.0, service_cost=1e6),
        tuple(RepairOption(id=n, minutes=m, access=a, cures={i: 1.0}) for i, (n, m, a) in enumerate(known)),
        tuple(TestOption(id=n, minutes=m, outcomes=("normal", "odd")) for n, m in (("spark", 3.0), ("fuel", 4.0))),
        np.array([0.30, 0.45, 0.20]),
        np.array([[0.85, 0.0, 0.90], [0.0, 0.90, 0.0]]),
        np.array([0.02, 0.03]),
        np.array([[0.95, 0.03], [0.90, 0.08]]),
    )


def after(job: Job, *happened: tuple[str, str]) -> State:
    """Return the state after these steps."""
    return job.follow(job.start, happened)


@pytest.mark.source("planning literature, W9: exact values of each first step and of the optimal policy")
def test_w9_exact_optimum_and_what_each_first_step_is_worth(w9: Job) -> None:
    assert optimum(w9) == pytest.approx(45.570252, abs=5e-7)
    weights = w9.weights(w9.start)
    best = {
        move.id: move.money
        + sum(float(there.sum() / weights.sum()) * optimum(w9, way) for _, way, there in move.ways if way)
        for move in w9.moves(w9.start, weights)
    }
    exact = {"plug": 45.570252, "fuel": 45.813195, "spark": 46.102841, "jet": 51.716763, "points": 55.361272}
    assert best == pytest.approx(exact, abs=5e-7)
    bound = float(w9.least[0] @ weights / weights.sum())
    assert bound == pytest.approx(35.309249, abs=5e-7)


@pytest.mark.source("planning literature, W9: executed values of the policies")
@pytest.mark.parametrize(
    ("policy", "value"),
    [
        (p_over_c, 47.919075),
        (base_alone, 47.919075),
        (one_observation, 46.543987),
        (one_step, 46.196962),
        (two_steps, 45.570252),
    ],
)
def test_w9_policies_followed_to_the_end(w9: Job, policy: Policy, value: float) -> None:
    assert followed(w9, policy) == pytest.approx(value, abs=5e-7)


@pytest.mark.source("planning literature, W9: optimal policy plug; spark; points or jet first")
def test_w9_two_steps_take_the_optimal_way(w9: Job) -> None:
    assert two_steps(w9, w9.start) == "plug"
    failed = after(w9, ("plug", ""), (TRY_OUT, "fails"))
    assert two_steps(w9, after(w9, ("plug", ""))) == TRY_OUT
    assert two_steps(w9, failed) == "spark"
    for outcome, chance, first, second, runs in (
        ("odd", 0.3382, "points", "jet", 0.4994),
        ("normal", 0.6618, "jet", "points", 0.9244),
    ):
        seen = w9.follow(failed, (("spark", outcome),))
        assert w9.weights(seen).sum() / w9.weights(failed).sum() == pytest.approx(chance, abs=5e-5)
        assert two_steps(w9, seen) == first
        done = w9.follow(seen, ((first, ""),))
        assert two_steps(w9, done) == TRY_OUT
        assert 1.0 - w9.believed(done, w9.weights(done))[1] == pytest.approx(runs, abs=5e-5)
        assert two_steps(w9, w9.follow(done, ((TRY_OUT, "fails"),))) == second


@pytest.mark.source("planning literature, W9: base values and Q from exact beliefs")
def test_w9_base_plans_walked_under_the_exact_beliefs(w9: Job) -> None:
    # The planner sees marginals only; its plans are priced here by the joint over all sets of faults.
    def exact(state: State) -> float:
        weights = w9.weights(state)
        marginals, failing = w9.believed(state, weights)
        groups = base_plan(w9.bench_at(state), w9.options_at(state)[1], marginals, failing).groups
        return walked(w9, state, groups)

    values = {
        ("spark", "odd"): 44.074038,
        ("spark", "normal"): 42.881962,
        ("fuel", "odd"): 48.518614,
        ("fuel", "normal"): 33.851169,
    }
    found = {way: exact(after(w9, way)) for way in values}
    assert found == pytest.approx(values, abs=5e-7)
    assert exact(w9.start) == pytest.approx(47.919075, abs=5e-7)
    start = w9.weights(w9.start).sum()
    share = {way: float(w9.weights(after(w9, way)).sum() / start) for way in values}
    for test, own, expected in (("spark", 3.0, 46.543987), ("fuel", 4.0, 46.213313)):
        ahead = sum(share[test, outcome] * found[test, outcome] for outcome in ("odd", "normal"))
        assert own + ahead == pytest.approx(expected, abs=5e-7)


W12_PRIOR = (0.70, 0.01, 0.02, 0.10, 0.05, 0.12)
W12_ROWS = ("00000", "01001", "00110", "10011", "11000", "11110")


def split(states: frozenset[int], test: int) -> tuple[frozenset[int], frozenset[int]]:
    """Return the states that pass a test and those that fail it."""
    fail = frozenset(state for state in states if W12_ROWS[state][test] == "1")
    return states - fail, fail


def mass(states: frozenset[int]) -> float:
    return sum(W12_PRIOR[state] for state in states)


@cache
def cheapest_tree(states: frozenset[int]) -> float:
    """Return the least expected number of tests to tell these states apart, times their chance."""
    if len(states) == 1:
        return 0.0
    ways = [split(states, test) for test in range(5)]
    return mass(states) + min(sum(cheapest_tree(part) for part in way) for way in ways if all(way))


def greedy_tree(states: frozenset[int]) -> float:
    """Return the same for always the test of most information."""
    if len(states) == 1:
        return 0.0
    ways = [split(states, test) for test in range(5)]
    entropy = [
        -sum(mass(part) / mass(states) * log2(mass(part) / mass(states)) for part in way) if all(way) else 0.0
        for way in ways
    ]
    return mass(states) + sum(greedy_tree(part) for part in ways[int(np.argmax(entropy))])


def huffman(weights: list[float]) -> float:
    """Return the expected length of the best code: a bound below any tree of tests."""
    if len(weights) == 1:
        return 0.0
    first, second, *rest = sorted(weights)
    return first + second + huffman([first + second, *rest])


@pytest.mark.source("Pattipati and Alexandridis 1990 (data from memory), planning literature W12: 2.18, 2.86, 1.59")
def test_w12_test_sequencing_by_reference_implementations() -> None:
    states = frozenset(range(6))
    assert cheapest_tree(states) == pytest.approx(2.18)
    assert greedy_tree(states) == pytest.approx(2.86)
    assert huffman(list(W12_PRIOR)) == pytest.approx(1.59)
    assert -sum(p * log2(p) for p in W12_PRIOR) == pytest.approx(1.454873, abs=5e-7)


W13: Mapping[str, tuple[float, str, str]] = {
    "h1": (0.4, "A", "101"),
    "h2": (0.1, "A", "001"),
    "h3": (0.3, "B", "110"),
    "h4": (0.2, "B", "010"),
}


def edges(names: frozenset[str]) -> float:
    """Return the weight of all pairs that need different decisions."""
    chance = {c: sum(W13[n][0] for n in names if W13[n][1] == c) for c in "AB"}
    return prod(chance.values())


@pytest.mark.source("Golovin, Krause and Ray 2010; planning literature W13")
def test_w13_cutting_edges_and_information_by_reference_implementations() -> None:
    everything = frozenset(W13)
    assert edges(everything) == pytest.approx(0.25)
    cut, told = [], []
    for test in range(3):
        parts = [frozenset(n for n in W13 if W13[n][2][test] == outcome) for outcome in "01"]
        shares = [sum(W13[n][0] for n in part) for part in parts]
        left = sum(share * edges(part) for share, part in zip(shares, parts, strict=True))
        cut.append(edges(everything) - left)
        told.append(-sum(share * log2(share) for share in shares))
    assert cut == pytest.approx([0.16, 0.25, 0.25])
    assert told == pytest.approx([0.881291, 1.0, 1.0], abs=5e-7)
