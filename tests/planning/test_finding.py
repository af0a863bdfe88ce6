"""Looking first: the bits it takes to name what is wrong, what will be needed then, and what that costs."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import Leaves, lay_out, value_leaves
from diagnose.planning.chances import after_repairs, cover, cure_table
from diagnose.planning.finding import bits, looking, needs

BENCH = options.Bench(tree=AccessTree({}), rate=1.0, try_minutes=4.0, service_cost=200.0, bit_cost=10.0)


@pytest.mark.source("Cover and Thomas, Elements of Information Theory, example 2.1.1 and 1.1.2: 1.75 bits, 2 bits")
def test_one_fault_takes_its_entropy() -> None:
    assert bits(np.array([[0.5, 0.25, 0.125, 0.125]]))[0] == pytest.approx(1.75)
    horses = [1 / 2, 1 / 4, 1 / 8, 1 / 16, 1 / 64, 1 / 64, 1 / 64, 1 / 64]
    assert bits(np.array([horses]))[0] == pytest.approx(2.0)


def test_what_is_known_takes_nothing_and_every_fault_is_named_by_itself() -> None:
    assert bits(np.array([[1.0, 1.0, 0.0]]))[0] == 0.0
    assert bits(np.array([[0.5, 0.25], [0.25, 0.5]])).tolist() == [1.0, 1.0]


def test_what_is_needed_is_counted_once_however_many_causes_want_it() -> None:
    repairs = [
        options.RepairOption(id="a", minutes=1.0, cures={0: 1.0, 1: 1.0}),
        options.RepairOption(id="b", minutes=5.0, cures={2: 0.5}),
    ]
    m = np.array([[0.5, 0.4, 0.2, 0.1]])
    given = cover(cure_table(repairs, 4), np.array([1.0, 5.0]), m)
    needed, left = needs(given, m, 2)
    assert needed[0] == pytest.approx([1 - 0.5 * 0.6, 0.2 * 0.5])
    assert left[0] == pytest.approx(1 - (1 - 0.2 * 0.5) * (1 - 0.1))


def test_a_bike_that_probably_goes_is_tried_before_it_is_searched() -> None:
    m, nothing = np.array([[0.25] * 4] * 2), np.zeros(2)
    searched, tried = looking(BENCH, m, np.array([1.0, 0.1]), nothing, (nothing, nothing)).at(BENCH.bit_cost)
    assert searched - 4.0 == pytest.approx([20.0, 20.0])
    assert tried - 4.0 == pytest.approx([20.0 + 4.0, 0.1 * (20.0 + 4.0)])


def test_an_attempt_first_pays_for_opening_again() -> None:
    """Worked by hand: 6 to shut, 4 to try; the repair costs 10 with its cover open and 10 + 15 with it shut."""
    searched, tried = looking(
        BENCH, np.array([[0.5, 0.5]]), np.array([0.5]), np.array([6.0]), (np.array([10.0]), np.array([25.0]))
    ).at(BENCH.bit_cost)
    assert searched == pytest.approx(6.0 + 4.0 + 0.5 * 10.0 + 10.0)
    assert tried == pytest.approx(6.0 + 4.0 + 0.5 * (25.0 + 10.0 + 4.0))


@pytest.mark.parametrize("seed", range(30))
def test_a_test_never_seems_to_take_knowledge_away(seed: int) -> None:
    draw = np.random.default_rng(seed)
    repairs = [options.RepairOption(id=f"r{k}", minutes=draw.uniform(3, 40), cures={k: 1.0}) for k in range(6)]
    chances = draw.dirichlet(np.ones(3))
    after = draw.dirichlet(np.full(6, 0.4), size=3) * draw.uniform(1.0, 1.6, size=(3, 1))
    after = np.minimum(after, 0.99)
    now = chances @ after
    layout = lay_out(BENCH, repairs, now)
    shut = (frozenset[str](),)
    here = value_leaves(layout, Leaves(now[None], np.ones(1), shut)).at(BENCH.bit_cost)[0]
    told = value_leaves(layout, Leaves(after, np.ones(3), shut * 3)).at(BENCH.bit_cost)
    assert chances @ told <= here + 1e-9


@pytest.mark.parametrize("seed", range(10))
def test_beliefs_after_a_repair_nothing_was_seen_of(seed: int) -> None:
    """Against all sets of independent faults, one by one."""
    draw = np.random.default_rng(seed)
    q, cure = draw.uniform(0.05, 0.7, size=4), np.array([0.8, 0.0, 1.0, 0.0])
    some = 1 - np.prod(1 - q)
    marginals, fails = after_repairs(q[None] / some, np.array([1.0]), 1.0 - cure)
    expected, failing = np.zeros(4), 0.0
    for faults in itertools.product((0, 1), repeat=4):
        if any(faults):
            weight = np.prod([a if on else 1 - a for a, on in zip(q, faults, strict=True)]) / some
            still = np.array(faults) * (1 - cure)
            failing += weight * (1 - np.prod(1 - still))
            expected += weight * still
    assert fails[0] == pytest.approx(failing, rel=1e-6)
    assert marginals[0] == pytest.approx(expected, rel=1e-6)
