"""Worked examples of troubleshooting plans: expected cost of repair, groups between try-outs, look-ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import permutations
from math import log1p, prod

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import SERVICE_CALL, base_plan
from diagnose.planning.look_ahead import rank_steps
from diagnose.planning.repair_order import grow, repair_order
from diagnose.planning.steps import Step
from diagnose.problems import Place

NEVER = 1e6
"""A service cost at which handing on never pays."""


def bench(carb: tuple[float, float] | None = None, try_out: float = 0.0, service: float = NEVER) -> options.Bench:
    """Return a bench on which a minute costs 1; carb: minutes to open and close the only access."""
    states = {}
    if carb:
        place = Place("example")
        states["carb"] = Access(
            id="carb", name="", basis=(), place=place, applies={}, needs=(), open=carb[0], close=carb[1]
        )
    return options.Bench(tree=AccessTree(states), rate=1.0, try_minutes=try_out, service_cost=service)


def repairs(
    costs: Mapping[str, float], inside: str = "", cure: Mapping[str, float] | None = None
) -> list[options.RepairOption]:
    """Return one repair for each cause, in order; inside: those behind the carburettor, by first letter."""
    return [
        options.RepairOption(
            id=name,
            minutes=cost,
            access=("carb",) if name[0] in inside else (),
            cures={cause: 1.0 if cure is None else cure[name]},
        )
        for cause, (name, cost) in enumerate(costs.items())
    ]


def single_fault_ecr(order: Sequence[str], p: Mapping[str, float], cost: Mapping[str, float]) -> float:
    """Return the textbook sum for exactly one fault: each cost times the chance that it is still there."""
    return sum(cost[name] * (1.0 - sum(p[done] for done in order[:k])) for k, name in enumerate(order))


def several_fault_ecr(order: Sequence[str], q: Mapping[str, float], cost: Mapping[str, float]) -> float:
    """Return the sum for independent faults, tried out after each step. Steps without a q are openings."""
    clear = [prod(1.0 - q.get(name, 0.0) for name in order[k:]) for k in range(len(order))]
    return sum(cost[name] * (1.0 - left) for name, left in zip(order, clear, strict=True)) / (1.0 - clear[0])


W1_P = {"a": 0.40, "b": 0.30, "c": 0.20, "d": 0.10}
W1_COST = {"a": 20.0, "b": 10.0, "c": 9.0, "d": 4.0}


@pytest.mark.source("planning literature, W1 (Kadane and Simon 1977: falling p/c)")
def test_w1_one_fault_falling_probability_per_cost() -> None:
    plan = base_plan(bench(), repairs(W1_COST), np.array(list(W1_P.values())), 1.0)
    assert plan.order == ("b", "d", "c", "a")
    assert plan.value == pytest.approx(26.2, abs=1e-7)
    assert plan.left == pytest.approx(0.0, abs=1e-9)
    every = {order: single_fault_ecr(order, W1_P, W1_COST) for order in permutations("abcd")}
    assert min(every.values()) == pytest.approx(26.2)
    assert every["b", "c", "d", "a"] == pytest.approx(26.3)
    assert every["a", "b", "c", "d"] == pytest.approx(29.1)
    assert every["d", "c", "b", "a"] == pytest.approx(27.1)
    assert max(every, key=every.__getitem__) == ("a", "c", "d", "b")
    assert every["a", "c", "d", "b"] == pytest.approx(30.0)


W2_LOOK = {"a": 5.0, "b": 2.0, "c": 10.0, "d": 1.0}
W2_MEND = {"a": 60.0, "b": 15.0, "c": 20.0, "d": 30.0}


@pytest.mark.source("planning literature, W2")
def test_w2_looking_first_orders_by_the_cost_of_looking() -> None:
    known = [
        replace(repair, minutes=W2_LOOK[repair.id] + W2_MEND[repair.id], look=W2_LOOK[repair.id])
        for repair in repairs(W2_LOOK)
    ]
    plan = base_plan(bench(), known, np.array(list(W1_P.values())), 1.0)
    assert plan.order == ("b", "d", "a", "c")
    assert plan.value == pytest.approx(43.2, abs=1e-7)
    mending = sum(W1_P[name] * W2_MEND[name] for name in W1_P)
    every = {order: single_fault_ecr(order, W1_P, W2_LOOK) + mending for order in permutations("abcd")}
    assert sorted(every.values())[:2] == pytest.approx([43.2, 43.3])
    assert every["b", "a", "d", "c"] == pytest.approx(43.3)


@pytest.mark.source("planning literature, W2, the last known by elimination: 41.2")
def test_w2_the_last_one_need_not_be_looked_at() -> None:
    # Our plan looks at the last one too: with leaks and several faults, what is left over is never certain.
    look = {**W2_LOOK, "c": 0.0}
    mending = sum(W1_P[name] * W2_MEND[name] for name in W1_P)
    assert single_fault_ecr("bdac", W1_P, look) + mending == pytest.approx(41.2)


@pytest.mark.source("planning literature, W3")
@pytest.mark.parametrize(
    ("service", "prefixes"),
    [
        (30.0, [30.0, 31.0, 30.8, 30.2, 26.2]),
        (22.0, [22.0, 25.4, 26.0, 27.0, 26.2]),
        (40.0, [40.0, 38.0, 36.8, 34.2, 26.2]),
    ],
)
def test_w3_handing_on_checks_every_prefix(service: float, prefixes: list[float]) -> None:
    order = ("b", "d", "c", "a")
    for done, expected in enumerate(prefixes):
        left = 1.0 - sum(W1_P[name] for name in order[:done])
        assert single_fault_ecr(order[:done], W1_P, W1_COST) + left * service == pytest.approx(expected)
    plan = base_plan(bench(service=service), repairs(W1_COST), np.array(list(W1_P.values())), 1.0)
    assert plan.value == pytest.approx(min(prefixes), abs=1e-7)
    assert plan.first == (SERVICE_CALL if service == min(prefixes) else "b")


@pytest.mark.source("planning literature, W4")
def test_w4_repairs_that_may_fail() -> None:
    cure = {"a": 0.9, "b": 0.8, "c": 0.95, "d": 0.6}
    with_try = {name: cost + 3.0 for name, cost in W1_COST.items()}
    chances = np.array(list(W1_P.values()))
    plan = base_plan(bench(service=150.0), repairs(with_try, cure=cure), chances, 1.0)
    assert plan.order == ("b", "c", "a", "d")
    assert plan.value == pytest.approx(59.2, abs=1e-7)
    assert plan.left == pytest.approx(0.15, abs=1e-9)
    grouped = base_plan(bench(try_out=3.0, service=150.0), repairs(W1_COST, cure=cure), chances, 1.0)
    assert grouped.value <= 59.2 + 1e-7


@pytest.mark.source("planning literature, W5 (greedy 1.50, best 1.45)")
def test_w5_repairs_that_cure_several_causes() -> None:
    chances = np.array([0.20, 0.25, 0.40, 0.15])
    known = [options.RepairOption(id=f"A{k + 1}", minutes=1.0, cures={k: 1.0, k + 1: 1.0}) for k in range(3)]
    plan = base_plan(bench(), known, chances, 1.0)
    assert plan.order == ("A2", "A1", "A3")
    assert plan.value == pytest.approx(1.50, abs=1e-7)
    cured = {"A1": {0, 1}, "A2": {1, 2}, "A3": {2, 3}}
    for order, ecr in (
        ("A2 A3 A1", 1.55),
        ("A3 A1 A2", 1.45),
        ("A1 A2 A3", 1.70),
        ("A1 A3 A2", 1.55),
        ("A3 A2 A1", 1.65),
    ):
        done, spent = set[int](), 0.0
        for name in order.split():
            spent += 1.0 - sum(chances[cause] for cause in done)
            done |= cured[name]
        assert spent == pytest.approx(ecr)
    beliefs = options.Beliefs(marginals=chances, failing=1.0, after={})
    expected = {step.id: step.expected for step in rank_steps(bench(), [], known, beliefs)}
    assert expected["A3"] == pytest.approx(1.45, abs=1e-7)
    assert min(expected, key=expected.__getitem__) == "A3"


@pytest.mark.source("planning literature, W6 (postponed try-out, Ottosen and Jensen 2010)")
@pytest.mark.parametrize(
    ("try_out", "sizes", "value"),
    [
        (0.0, [1, 1, 1, 1, 1], 15.0),
        (1.0, [1, 1, 1, 1, 1], 17.5),
        (3.0, [2, 1, 1, 1], 22.2),
        (6.0, [2, 2, 1], 27.3),
        (12.0, [3, 2], 36.0),
        (20.0, [3, 2], 46.0),
    ],
)
def test_w6_groups_between_try_outs(try_out: float, sizes: list[int], value: float) -> None:
    known = repairs(dict.fromkeys("abcde", 6.0))
    plan = base_plan(bench(try_out=try_out), known, np.array([0.30, 0.25, 0.20, 0.15, 0.10]), 1.0)
    assert plan.value == pytest.approx(value, abs=1e-7)
    assert [len(group) for group in plan.groups] == sizes
    assert plan.order == tuple("abcde")


W7_COST = {"plug": 5.0, "tank": 20.0, "coil": 50.0, "jet": 6.0, "float": 6.0, "needle": 6.0}
W7_P = {"plug": 0.20, "tank": 0.16, "coil": 0.20, "jet": 0.18, "float": 0.16, "needle": 0.10}


@pytest.mark.source("planning literature, W7 (cost clusters, Ottosen and Jensen 2010)")
def test_w7_one_fault_behind_the_carburettor() -> None:
    names = list(W7_COST)
    tree = grow([(), (), (), (0,), (0,), (0,)])
    order = [names[k] for k in repair_order(tree, [20.0], list(W7_COST.values()), [1e-10 * p for p in W7_P.values()])]
    assert order == ["plug", "jet", "float", "needle", "tank", "coil"]
    cost, p = {**W7_COST, "open": 20.0}, {**W7_P, "open": 0.0}
    assert single_fault_ecr(["plug", "open", *order[1:]], p, cost) == pytest.approx(49.48)
    nearest = ["plug", "tank", "open", "jet", "float", "needle", "coil"]
    assert single_fault_ecr(nearest, p, cost) == pytest.approx(52.20)


@pytest.mark.source("planning literature, W7, must-close variant")
def test_w7_closing_before_each_try_out() -> None:
    place = bench(carb=(20.0, 10.0), try_out=2.0)
    plan = base_plan(place, repairs(W7_COST, inside="jfn"), np.array(list(W7_P.values())), 1.0)
    assert plan.groups == (("plug",), ("jet", "float", "needle"), ("tank",), ("coil",))
    assert plan.value == pytest.approx(65.32, abs=1e-6)


@pytest.mark.source("planning literature, W7b (R1)")
def test_w7b_several_faults_by_odds_per_cost() -> None:
    q, cost = dict(zip("ABCD", (0.6, 0.5, 0.3, 0.2), strict=True)), {"A": 24.0, "B": 22.0, "C": 6.0, "D": 7.0}
    plan = base_plan(bench(), repairs(cost), np.array(list(q.values())) / 0.888, 1.0)
    assert plan.order == ("C", "A", "B", "D")
    assert plan.value == pytest.approx(45.144144, abs=5e-7)
    every = {order: several_fault_ecr(order, q, cost) for order in permutations("ABCD")}
    assert min(every.values()) == pytest.approx(plan.value)
    assert every["C", "D", "A", "B"] == pytest.approx(46.630631, abs=5e-7)
    assert every["A", "C", "B", "D"] == pytest.approx(45.306306, abs=5e-7)
    assert every["C", "A", "D", "B"] == pytest.approx(45.819820, abs=5e-7)
    assert every["D", "B", "A", "C"] == pytest.approx(max(every.values())) == pytest.approx(49.792793, abs=5e-7)


@pytest.mark.source("planning literature, W7c (R2)")
def test_w7c_several_faults_behind_the_carburettor() -> None:
    q = {"plug": 0.30, "tap": 0.25, "coil": 0.15, "jet": 0.45, "float": 0.30}
    cost = {"plug": 5.0, "tap": 20.0, "coil": 50.0, "jet": 6.0, "float": 6.0, "open": 20.0}
    names = list(q)
    tree = grow([(), (), (), (0,), (0,)])
    found = repair_order(tree, [20.0], [cost[name] for name in names], [-log1p(-chance) for chance in q.values()])
    order = [names[k] for k in found]
    assert order == ["plug", "jet", "float", "tap", "coil"]
    assert several_fault_ecr(["plug", "open", *order[1:]], q, cost) == pytest.approx(50.510033, abs=5e-7)
    allowed = [way for way in permutations(cost) if way.index("open") < min(way.index("jet"), way.index("float"))]
    assert min(several_fault_ecr(way, q, cost) for way in allowed) == pytest.approx(50.510033, abs=5e-7)


def by_id(steps: Sequence[Step]) -> dict[str, Step]:
    """Return the steps by id."""
    return {step.id: step for step in steps}


@pytest.mark.source("planning literature, W8 (Heckerman, Breese and Rommelse 1995: one observation ahead)")
def test_w8_observation_against_repair_with_one_fault() -> None:
    p = np.array([0.35, 0.40, 0.15, 0.10])
    known = repairs({"plug": 8.0, "jet": 45.0, "coil": 60.0, "fuel": 5.0})
    likelihood = {"spark": np.array([0.80, 0.03, 0.95, 0.03]), "bowl": np.array([0.02, 0.05, 0.02, 0.97])}
    after, values = {}, {}
    for test, bad in likelihood.items():
        joint = np.array([p * bad, p * (1.0 - bad)])
        chances = joint.sum(axis=1)
        posterior = joint / chances[:, None]
        values[test] = [base_plan(bench(), known, row, 1.0).value for row in posterior]
        after[test] = options.Outlook(chances=chances, marginals=posterior, failing=np.ones(2))
    assert base_plan(bench(), known, p, 1.0).value == pytest.approx(45.0, abs=1e-6)
    assert base_plan(bench(), known, p, 1.0).order == ("plug", "fuel", "jet", "coil")
    assert values["spark"] == pytest.approx([31.005714, 44.060444], abs=1e-6)
    tests = [
        options.TestOption(id="spark", minutes=3.0, outcomes=("no_spark", "spark")),
        options.TestOption(id="bowl", minutes=4.0, outcomes=("empty", "full")),
    ]
    steps = rank_steps(bench(), tests, known, options.Beliefs(marginals=p, failing=1.0, after=after))
    assert steps[0].id == "spark"
    assert by_id(steps)["spark"].expected == pytest.approx(41.349, abs=1e-6)
    assert by_id(steps)["bowl"].expected == pytest.approx(45.939, abs=1e-6)
    assert dict(by_id(steps)["spark"].outcomes)["no_spark"] == pytest.approx(0.4375)


W9_COST = {"plug": 8.0, "jet": 15.0, "points": 20.0}
W9_START = np.array([0.30, 0.45, 0.20]) / 0.692


def w9_after() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return chances and marginals of both tests, from the joint over all eight sets of faults."""
    found = {}
    for test, links, leak, seen, false in (
        ("spark", (0.85, 0.0, 0.90), 0.02, 0.95, 0.03),
        ("fuel", (0.0, 0.90, 0.0), 0.03, 0.90, 0.08),
    ):
        joint = np.zeros((2, 4))
        for bits in np.ndindex(2, 2, 2):
            if not any(bits):
                continue
            chance = prod(q if bit else 1.0 - q for q, bit in zip((0.30, 0.45, 0.20), bits, strict=True))
            fine = (1.0 - leak) * prod(1.0 - link * bit for link, bit in zip(links, bits, strict=True))
            abnormal = seen * (1.0 - fine) + false * fine
            joint += chance / 0.692 * np.outer((abnormal, 1.0 - abnormal), (1.0, *bits))
        found[test] = joint[:, 0], joint[:, 1:] / joint[:, :1]
    return found


@pytest.mark.source("planning literature, W9, values from marginals only")
def test_w9_base_plan_and_its_values_after_each_outcome() -> None:
    place, known = bench(carb=(12.0, 10.0), try_out=2.0), repairs(W9_COST, inside="j")
    plan = base_plan(place, known, W9_START, 1.0)
    assert plan.first == "plug"
    assert plan.value == pytest.approx(47.919075, abs=5e-7)
    after = w9_after()
    assert after["spark"][0][0] == pytest.approx(0.555355, abs=5e-7)
    assert after["fuel"][0][0] == pytest.approx(0.570116, abs=5e-7)
    assert after["spark"][1] == pytest.approx(
        np.array([[0.655028, 0.467455, 0.459442], [0.156873, 0.878645, 0.076159]]), abs=5e-7
    )
    values = [base_plan(place, known, row, 1.0).value for test in after for row in after[test][1]]
    assert values == pytest.approx([44.727683, 42.942642, 48.518614, 33.851169], abs=5e-7)


@pytest.mark.source("planning literature, W9, one-step values")
def test_w9_one_step_ahead() -> None:
    place, known = bench(carb=(12.0, 10.0), try_out=2.0), repairs(W9_COST, inside="j")
    outlooks = {
        test: options.Outlook(chances=chances, marginals=rows, failing=np.ones(2))
        for test, (chances, rows) in w9_after().items()
    }
    tests = [
        options.TestOption(id="spark", minutes=3.0, outcomes=("abnormal", "normal")),
        options.TestOption(id="fuel", minutes=4.0, outcomes=("abnormal", "normal")),
    ]
    beliefs = options.Beliefs(marginals=W9_START, failing=1.0, after=outlooks)
    steps = by_id(rank_steps(place, tests, known, beliefs))
    assert steps["plug"].expected == pytest.approx(47.919075, abs=5e-7)
    assert steps["jet"].expected == pytest.approx(51.716763, abs=5e-7)
    assert steps["points"].expected == pytest.approx(55.361272, abs=5e-7)
    assert steps["fuel"].expected == pytest.approx(46.213313, abs=2e-6)
    from_marginals = 3.0 + 0.555355 * 44.727683 + 0.444645 * 42.942642
    assert steps["spark"].expected == pytest.approx(from_marginals, abs=5e-6)
    assert steps["plug"].curing == pytest.approx(0.1908, abs=5e-5)
    assert steps["jet"].opens == ("carb",)
    assert steps["jet"].cost == pytest.approx(27.0)
