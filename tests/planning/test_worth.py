"""What it may still cost: the spread against hand sums and all sets of faults; job-enders and what goes first by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import log2, prod

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import base_plan
from diagnose.planning.worth import enders, faults_drawn, goes_first, moved, price_of, spread
from diagnose.problems import Place

BENCH = options.Bench(tree=AccessTree({}), rate=1.0, try_minutes=5.0, service_cost=300.0, bit_cost=10.0)
REPAIRS = (
    options.RepairOption(id="a", minutes=20.0, cures={0: 1.0}),
    options.RepairOption(id="b", minutes=30.0, parts=10.0, cures={1: 1.0}),
    options.RepairOption(id="c", minutes=10.0, parts=90.0, cures={2: 1.0}),
)
ONE = np.array([0.5, 0.25, 0.25])


def access(name: str, *needs: str, minutes: tuple[float, float]) -> Access:
    place = Place("t")
    return Access(id=name, name=name, basis=(), place=place, applies={}, needs=needs, open=minutes[0], close=minutes[1])


TREE = AccessTree({"plug": access("plug", minutes=(2.0, 1.0)), "head": access("head", "plug", minutes=(30.0, 40.0))})


def test_one_fault_is_looked_for_then_mended() -> None:
    """By hand: 1, 2 and 2 bits at 10, the repair, the try-out at 5."""
    found = spread(BENCH, REPAIRS, ONE, 1.0)
    assert (found.at(0.5), found.at(0.75), found.at(0.9)) == pytest.approx((35.0, 65.0, 125.0))
    assert [found.within(limit) for limit in (34.0, 35.0, 64.0, 65.0, 125.0)] == pytest.approx([0, 0.5, 0.5, 0.75, 1])
    assert found.mean == pytest.approx(65.0)


def test_without_tests_the_base_plan_is_followed() -> None:
    """By hand: 20 + 5, then 40 + 5, then 100 + 5, each only if it still fails."""
    found = spread(replace(BENCH, bit_cost=float("inf")), REPAIRS, ONE, 1.0)
    assert (found.at(0.5), found.at(0.75), found.at(1.0)) == pytest.approx((25.0, 70.0, 175.0))
    assert found.mean == pytest.approx(0.5 * 25 + 0.25 * 70 + 0.25 * 175)


def test_handing_on_has_one_price() -> None:
    found = spread(replace(BENCH, service_cost=12.0, bit_cost=float("inf")), REPAIRS, ONE, 1.0)
    assert (found.at(0.1), found.at(0.99), found.mean) == pytest.approx((12.0, 12.0, 12.0))


def test_a_bike_that_probably_goes_costs_the_try_out_first() -> None:
    """By hand: 9 of 10 cost 5; the rest 5 for that, then as one fault that is looked for."""
    found = spread(BENCH, REPAIRS, ONE * 0.1, 0.1)
    assert found.at(0.9) == pytest.approx(5.0)
    assert (found.at(0.95), found.at(1.0)) == pytest.approx((40.0, 130.0))
    assert found.mean == pytest.approx(0.9 * 5 + 0.1 * (65 + 5))


def test_going_on_can_end_before_all_is_spent() -> None:
    """By hand: 35 and 65 as above; the quarter that would cost 125 ends at 80, half of which was spent by then."""
    found = spread(BENCH, REPAIRS, ONE, 1.0)
    assert found.until(80.0) == pytest.approx(0.5 * 35 + 0.25 * 65 + 0.25 * (80 + 40))
    assert found.until(200.0) == pytest.approx(found.mean)
    assert found.until(float("inf")) == found.mean


def worlds(chance):
    """Give every set of faults with its probability, that there is one given."""
    some = 1.0 - prod(1.0 - q for q in chance)
    for bits in product((False, True), repeat=len(chance)):
        if any(bits):
            yield bits, prod(q if bit else 1.0 - q for q, bit in zip(chance, bits, strict=True)) / some


def by_enumeration(cost, chance):
    """Return amounts, P(no more than each), and the mean, over all sets of faults."""
    rows = [(cost(bits), weight) for bits, weight in worlds(chance)]
    limits = sorted(money for money, _ in rows)
    upto = [sum(weight for money, weight in rows if money <= limit + 1e-9) for limit in limits]
    return limits, upto, sum(money * weight for money, weight in rows)


@pytest.mark.parametrize("seed", range(12))
def test_looking_first_against_all_sets_of_faults(seed: int) -> None:
    draw = np.random.default_rng(seed)
    chance = draw.uniform(0.1, 0.7, size=4)
    ways: list[tuple[str, ...]] = [(), ("plug",), ("head",), ("head",)]
    known = [
        options.RepairOption(id=f"r{k}", minutes=draw.uniform(5, 80), access=ways[k], cures={k: 1.0}) for k in range(4)
    ]
    bench = replace(BENCH, tree=TREE, bit_cost=3.0, opened=frozenset({"plug"}) if seed % 2 else frozenset())
    m = chance / (1.0 - np.prod(1.0 - chance))

    def cost(bits):
        """Open and close what the faults that are there need, once; search, mend, shut, try."""
        fix = sum(known[k].minutes for k in range(4) if bits[k])
        head, plug = bits[2] or bits[3], bits[1] or bits[2] or bits[3]
        way = 70.0 * head + (1.0 if seed % 2 else 3.0 * plug)
        search = 3.0 * sum(log2(1.0 / m[k]) for k in range(4) if bits[k])
        return fix + way + search + 5.0

    money, share, mean = by_enumeration(cost, chance)
    found = spread(bench, known, m, 1.0)
    assert [found.within(limit + 1e-6) for limit in money] == pytest.approx(share, abs=0.03)
    assert found.mean == pytest.approx(mean, rel=0.02)


@pytest.mark.parametrize("seed", range(12))
def test_the_base_plan_against_all_sets_of_faults(seed: int) -> None:
    """Followed by hand: group by group, all opened and shut again, until nothing is left."""
    draw = np.random.default_rng(100 + seed)
    chance = draw.uniform(0.1, 0.7, size=4)
    known = {
        f"r{k}": options.RepairOption(
            id=f"r{k}", minutes=draw.uniform(5, 80), access=("head",) if k > 1 else (), cures={k: 1.0}
        )
        for k in range(4)
    }
    bench = replace(BENCH, tree=TREE, bit_cost=float("inf"), service_cost=1e4)
    m = chance / (1.0 - np.prod(1.0 - chance))
    groups = base_plan(bench, list(known.values()), m, 1.0).groups

    def cost(bits):
        left, spent = {f"r{k}" for k in range(4) if bits[k]}, 0.0
        for group in groups:
            if left:
                spent += sum(known[name].minutes for name in group) + 5.0
                spent += 73.0 if any(known[name].access for name in group) else 0.0
                left -= set(group)
        return spent

    money, share, mean = by_enumeration(cost, chance)
    found = spread(bench, list(known.values()), m, 1.0)
    assert [found.within(limit + 1e-6) for limit in money] == pytest.approx(share, abs=0.03)
    assert found.mean == pytest.approx(mean, rel=0.02)


@pytest.mark.parametrize("chance", [(0.3, 0.6, 0.2), (0.01, 0.02, 0.015), (0.9, 0.9, 0.05)])
def test_worlds_have_the_marginals_they_are_drawn_from(chance) -> None:
    some = 1.0 - prod(1.0 - q for q in chance)
    drawn = faults_drawn(np.array(chance) / some, 20_000, np.random.default_rng(3))
    pair = sum(weight for bits, weight in worlds(chance) if bits[0] and bits[1])
    assert drawn[:, :3].mean(axis=0) == pytest.approx(np.array(chance) / some, abs=0.012)
    assert (drawn[:, 0] & drawn[:, 1]).mean() == pytest.approx(pair, abs=0.012)
    assert drawn.any(axis=1).all()


def test_what_no_cause_explains_is_handed_on() -> None:
    found = spread(BENCH, REPAIRS[:1], np.array([0.75]), 1.0)  # a quarter is not in the book
    assert found.at(0.7) == pytest.approx(20 + 5 + 10 * log2(4 / 3))
    assert found.at(0.8) == pytest.approx(300 + 5)


TESTS = (
    options.TestOption(id="sure", minutes=8.0, outcomes=("bad", "good")),
    options.TestOption(id="hint", minutes=1.0, outcomes=("bad", "good")),
    options.TestOption(id="dear", minutes=4.0, access=("head",), outcomes=("bad", "good")),
)
NOW = np.array([0.5, 0.3, 0.2])
SURE = options.Outlook(
    chances=np.array([0.2, 0.8]),
    marginals=np.array([[0.0, 0.0, 1.0], [0.625, 0.375, 0.0]]),
    failing=np.ones(2),
)
HINT = options.Outlook(
    chances=np.array([0.5, 0.5]),
    marginals=np.array([[0.5, 0.28, 0.22], [0.5, 0.32, 0.18]]),
    failing=np.ones(2),
)
BELIEFS = options.Beliefs(marginals=NOW, failing=1.0, after={"sure": SURE, "hint": HINT, "dear": SURE})


def test_a_job_ender_is_named_with_the_test_that_clears_it() -> None:
    """The third repair costs 100 and is the only one above 60; the hint moves its chance by 0.02 of 0.16 only."""
    bench = replace(BENCH, tree=TREE)
    (found,) = enders(bench, REPAIRS, TESTS, BELIEFS, 60.0)
    assert (found.cause, found.chance, found.price, found.test, found.cost) == (2, 0.2, 100.0, "sure", 8.0)
    assert enders(bench, REPAIRS, TESTS, BELIEFS, 100.0) == ()


def test_a_fault_with_a_cheap_way_out_ends_no_job() -> None:
    cheap = options.RepairOption(id="d", minutes=5.0, cures={2: 0.6})
    assert enders(BENCH, (*REPAIRS, cheap), (), BELIEFS, 60.0) == ()
    assert len(enders(BENCH, (*REPAIRS, replace(cheap, cures={2: 0.4})), (), BELIEFS, 60.0)) == 1


def test_the_cost_of_a_test_counts_its_access_both_ways() -> None:
    bench = replace(BENCH, tree=TREE)
    assert price_of(bench, TESTS[2]) == 4.0 + 2.0 + 30.0 + 40.0 + 1.0
    assert price_of(replace(bench, opened=frozenset({"plug"})), TESTS[2]) == 4.0 + 30.0 + 40.0


def test_it_goes_first_where_it_pays() -> None:
    """By hand: it moves 0.2 x 0.8 = 0.16 of the bikes; half of what is at stake: 0.08 x 200 = 16, 0.08 x 90 = 7.2."""
    assert moved(SURE.chances, 0.2, SURE.marginals[:, 2]) == pytest.approx(0.16)
    found = enders(replace(BENCH, tree=TREE), REPAIRS, TESTS, BELIEFS, 60.0)
    assert goes_first(found, 200.0) == "sure"
    assert goes_first(found, 90.0) == ""
    assert goes_first((), 1e6) == ""


def test_what_is_not_likely_is_not_looked_for_first() -> None:
    """One in 50: it would pay, 0.0196 x half of 2000, and is left to the ranking all the same."""
    seen = replace(SURE, chances=np.array([0.02, 0.98]), marginals=np.array([[0, 0, 1.0], [0.6, 0.4, 0.0]]))
    beliefs = options.Beliefs(marginals=np.array([0.59, 0.39, 0.02]), failing=1.0, after={"sure": seen})
    found = enders(BENCH, REPAIRS, TESTS[:1], beliefs, 60.0)
    assert found[0].test == "sure"
    assert goes_first(found, 2000.0) == ""
