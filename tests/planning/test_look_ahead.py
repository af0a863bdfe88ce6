"""One step ahead: what each step is expected to cost, and which of equals comes first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import base_plan, money_left
from diagnose.planning.look_ahead import QUICK_SHARE, by_the_plan, rank_paying, rank_steps
from diagnose.planning.steps import Step
from diagnose.problems import Place


def tree() -> AccessTree:
    tank = Access(id="tank", name="", basis=(), place=Place("t"), applies={}, needs=(), open=6, close=7)
    carb = replace(tank, id="carb", needs=("tank",), open=10, close=12)
    return AccessTree({"tank": tank, "carb": carb})


BENCH = options.Bench(tree=tree(), rate=2.0, wait_rate=0.1, try_minutes=3.0, service_cost=1e5)
REPAIRS = (
    options.RepairOption(id="plug", minutes=5.0, parts=4.0, cures={0: 1.0}),
    options.RepairOption(id="jet", minutes=15.0, access=("carb",), cures={1: 1.0}),
    options.RepairOption(id="coil", minutes=20.0, parts=40.0, cures={2: 1.0}),
)
NOW = np.array([0.5, 0.6, 0.2])
BOWL = options.TestOption(id="bowl", minutes=4.0, wait=10.0, access=("tank",), outcomes=("empty", "full"))
OUTLOOK = options.Outlook(
    chances=np.array([0.4, 0.6]),
    marginals=np.array([[0.3, 0.9, 0.1], [0.6333333333, 0.4, 0.2666666667]]),
    failing=np.array([1.0, 1.0]),
)
BELIEFS = options.Beliefs(marginals=NOW, failing=1.0, after={"bowl": OUTLOOK})


def by_id(steps: tuple[Step, ...]) -> dict[str, Step]:
    return {step.id: step for step in steps}


def ranked(*tests: options.TestOption, beliefs: options.Beliefs = BELIEFS) -> tuple[Step, ...]:
    return rank_steps(BENCH, tests, REPAIRS, beliefs)


def test_a_test_pays_its_access_and_leaves_it_open() -> None:
    step = by_id(ranked(BOWL))["bowl"]
    opened = replace(BENCH, opened=frozenset({"tank"}))
    after = [base_plan(opened, REPAIRS, row, 1.0).value for row in OUTLOOK.marginals]
    assert step.opens == ("tank",)
    assert step.minutes == 10.0
    assert step.cost == pytest.approx(2.0 * 10.0 + 0.1 * 10.0)
    assert step.expected == pytest.approx(step.cost + 0.4 * after[0] + 0.6 * after[1])
    assert step.outcomes == (("empty", 0.4), ("full", 0.6))


def test_what_a_step_saves_is_the_plan_now_less_the_plans_after_it() -> None:
    step = by_id(ranked(BOWL))["bowl"]
    opened = replace(BENCH, opened=frozenset({"tank"}))
    after = [base_plan(opened, REPAIRS, row, 1.0).value for row in OUTLOOK.marginals]
    now = base_plan(BENCH, REPAIRS, NOW, 1.0).value
    assert step.saves == pytest.approx(now - 0.4 * after[0] - 0.6 * after[1])


@pytest.mark.source("planning literature, 1.4 point 6: plan with P(cannot)")
def test_a_test_that_may_not_be_possible() -> None:
    sure = by_id(ranked(BOWL))["bowl"]
    step = by_id(ranked(replace(BOWL, cannot=0.25)))["bowl"]
    opening, opened = 12.0, replace(BENCH, opened=frozenset({"tank"}))
    without = base_plan(opened, REPAIRS, NOW, 1.0).value
    assert step.expected == pytest.approx(opening + 0.75 * (sure.expected - opening) + 0.25 * without)
    tried = by_id(ranked(replace(BOWL, cannot=0.25, tried=3.0)))["bowl"]
    assert tried.expected == pytest.approx(step.expected + 0.25 * 3.0 * 2.0)  # three minutes at 2.0 each
    assert tried.cannot == 0.25


def test_outcomes_that_cannot_happen_are_not_read() -> None:
    rows = np.vstack([OUTLOOK.marginals, np.full(3, np.nan)])
    outlook = options.Outlook(chances=np.array([0.4, 0.6, 0.0]), marginals=rows, failing=np.array([1, 1, np.nan]))
    three = replace(BOWL, outcomes=("empty", "full", "flood"))
    step = by_id(ranked(three, beliefs=replace(BELIEFS, after={"bowl": outlook})))["bowl"]
    assert step.expected == pytest.approx(by_id(ranked(BOWL))["bowl"].expected)


def test_the_try_out_closes_up_and_goes_on_if_it_fails() -> None:
    opened = replace(BENCH, opened=frozenset({"tank", "carb"}))
    beliefs = options.Beliefs(marginals=0.7 * NOW, failing=0.7, after={})
    step = by_id(rank_steps(opened, [], REPAIRS, beliefs))["try_out"]
    after = base_plan(BENCH, REPAIRS, NOW, 1.0).value
    assert step.minutes == 12.0 + 7.0 + 3.0
    assert step.expected == pytest.approx(2.0 * 22.0 + 0.7 * after)
    assert dict(step.outcomes) == pytest.approx({"works": 0.3, "fails": 0.7})


@pytest.mark.parametrize("seed", range(20))
def test_the_best_repair_is_worth_the_base_plan(seed: int) -> None:
    draw = np.random.default_rng(seed)
    q = draw.uniform(0.05, 0.8, size=3)
    marginals = q / (1.0 - np.prod(1.0 - q))
    steps = rank_steps(BENCH, [], REPAIRS, options.Beliefs(marginals=marginals, failing=1.0, after={}))
    plan = base_plan(BENCH, REPAIRS, marginals, 1.0)
    expected = {step.id: step.expected for step in steps if step.kind == "repair"}
    assert expected[plan.first] == pytest.approx(plan.value)
    assert min(expected.values()) <= plan.value + 1e-9
    for k, repair in enumerate(REPAIRS):
        others = 1.0 - np.prod(np.delete(1.0 - q, k))
        assert by_id(steps)[repair.id].curing == pytest.approx(1.0 - others / (1.0 - np.prod(1.0 - q)))


@pytest.mark.parametrize("seed", range(20))
def test_a_free_test_that_tells_all_saves_and_one_that_tells_nothing_costs_nothing(seed: int) -> None:
    p = np.random.default_rng(seed).dirichlet(np.ones(3))
    told = options.Outlook(chances=p, marginals=np.eye(3), failing=np.ones(3))
    nothing = options.Outlook(chances=np.array([1.0]), marginals=p[None, :], failing=np.ones(1))
    tests = [
        options.TestOption(id="tells", minutes=0.0, outcomes=("plug", "jet", "coil")),
        options.TestOption(id="silent", minutes=0.0, outcomes=("same",)),
    ]
    beliefs = options.Beliefs(marginals=p, failing=1.0, after={"tells": told, "silent": nothing})
    steps, plan = by_id(rank_steps(BENCH, tests, REPAIRS, beliefs)), base_plan(BENCH, REPAIRS, p, 1.0)
    one_each = [2.0 * 3.0 + minutes * 2.0 + parts for minutes, parts in ((5.0, 4.0), (15.0 + 35.0, 0.0), (20.0, 40.0))]
    assert steps["tells"].expected == pytest.approx(float(p @ one_each), rel=1e-6)
    assert steps["tells"].expected <= plan.value + 1e-9
    assert steps["silent"].expected == pytest.approx(plan.value)


def test_a_repair_is_priced_even_where_handing_on_is_cheaper() -> None:
    cheap = replace(BENCH, service_cost=10.0)
    steps = by_id(rank_steps(cheap, [], REPAIRS, options.Beliefs(marginals=NOW, failing=1.0, after={})))
    attempt = 2.0 * 3.0 + (1.0 - steps["coil"].curing) * 10.0
    assert steps["coil"].expected == pytest.approx(2.0 * 20.0 + 40.0 + min(attempt, 10.0))


def twins(**changes: object) -> tuple[options.RepairOption, options.RepairOption]:
    """Return two repairs that are equally good except for the changes to the second."""
    first = options.RepairOption(id="m", minutes=10.0, cures={0: 1.0})
    second = options.RepairOption(id="n", minutes=10.0, cures={1: 1.0})
    return first, replace(second, **changes)  # type: ignore[arg-type]


def first_of(*repairs: options.RepairOption, bench: options.Bench = BENCH) -> str:
    beliefs = options.Beliefs(marginals=np.array([0.6, 0.6]), failing=1.0, after={})
    return rank_steps(bench, [], repairs, beliefs)[0].id


SEARCH = replace(BENCH, bit_cost=20.0)
"""The same bench where tests have a price, so that looking first is a way."""


@pytest.mark.source("planning literature, 1.4 point 2: safer, reversible, cheaper now, id")
def test_ties_go_to_the_safer_then_the_cheaper_then_the_id() -> None:
    first, second = twins()
    assert first_of(first, second) == first_of(second, first) == "m"
    assert first_of(replace(first, hazard=1), second, bench=SEARCH) == "n"
    assert first_of(replace(first, minutes=10.1), second, bench=SEARCH) == "n"
    assert first_of(replace(first, minutes=10.1), replace(second, hazard=2), bench=SEARCH) == "m"
    assert first_of(replace(first, minutes=9.0), replace(second, minutes=14.0), bench=SEARCH) == "m"


def test_what_is_forbidden_goes_last() -> None:
    first, second = twins()
    assert first_of(replace(first, forbidden=("open_fuel",)), second) == "n"
    steps = rank_steps(
        replace(BENCH, try_forbidden=("locked",)), [replace(BOWL, forbidden=("open_fuel",))], REPAIRS, BELIEFS
    )
    assert {step.id for step in steps[-2:]} == {"bowl", "try_out"}
    assert by_id(steps)["try_out"].forbidden == ("locked",)


@pytest.mark.source("planning literature, 1.4 point 2: a test comes before a repair that is as good")
def test_a_free_test_comes_first_and_one_that_costs_and_tells_nothing_does_not() -> None:
    silent = options.Outlook(chances=np.array([1.0]), marginals=NOW[None, :], failing=np.ones(1))
    beliefs = replace(BELIEFS, after={"look": silent})
    free = options.TestOption(id="look", minutes=0.0, outcomes=("same",))
    assert ranked(free, beliefs=beliefs)[0].id == "look"
    assert ranked(replace(free, minutes=0.1), beliefs=beliefs)[0].kind == "repair"


def halving(bits: float, minutes: float) -> tuple[options.TestOption, options.Outlook]:
    """Return a test of four equally likely faults that tells two of them from the others, or nothing."""
    told = np.array([[0.5, 0.5, 0.0, 0.0], [0.0, 0.0, 0.5, 0.5]]) if bits else np.full((2, 4), 0.25)
    test = options.TestOption(id=f"test {minutes}", minutes=minutes, outcomes=("left", "right"))
    return test, options.Outlook(chances=np.array([0.5, 0.5]), marginals=told, failing=np.ones(2))


FOUR = tuple(options.RepairOption(id=f"r{k}", minutes=40.0, parts=30.0, cures={k: 1.0}) for k in range(4))


@pytest.mark.source("Golovin and Krause 2011: greedy by gain per cost; entropy of four equal faults, 2 bits")
def test_looking_first_takes_the_test_that_tells_most_for_its_money() -> None:
    pairs = [halving(1.0, 3.0), halving(1.0, 5.0), halving(0.0, 0.5)]
    beliefs = options.Beliefs(
        marginals=np.full(4, 0.25), failing=1.0, after={test.id: outlook for test, outlook in pairs}
    )
    steps = rank_steps(SEARCH, [test for test, _ in pairs], FOUR, beliefs)
    assert [step.id for step in steps[:2]] == ["test 3.0", "test 5.0"]
    repaired = 2.0 * 40.0 + 30.0  # the one that is bad; then one try-out
    assert by_id(steps)["test 3.0"].expected == pytest.approx(2.0 * 3.0 + repaired + 2.0 * 3.0 + 20.0 * 1.0)
    assert steps.index(by_id(steps)["test 0.5"]) > 2


@pytest.mark.source("hand sum: a test that halves is worth a bit, whatever handing on costs")
def test_what_could_be_handed_on_for_less_is_still_looked_at_in_order() -> None:
    pairs = [halving(1.0, 3.0), halving(0.0, 0.5)]
    beliefs = options.Beliefs(
        marginals=np.full(4, 0.25), failing=1.0, after={test.id: outlook for test, outlook in pairs}
    )
    for service in (1e5, 60.0):
        bench = replace(SEARCH, service_cost=service)
        steps = rank_steps(bench, [test for test, _ in pairs], FOUR, beliefs)
        assert steps[0].id == "test 3.0"
        assert steps[0].merit == pytest.approx(20.0 * 1.0 / (2.0 * 3.0))


def test_what_is_known_is_repaired_and_then_tried_before_more_is_looked_at() -> None:
    test, outlook = halving(1.0, 3.0)
    known = np.array([0.96, 0.02, 0.01, 0.01])
    after = {test.id: replace(outlook, marginals=np.stack([known, known]) * np.array([[1.02], [0.98]]))}
    now = options.Beliefs(marginals=known, failing=1.0, after=after)
    assert rank_steps(SEARCH, [test], FOUR, now)[0].id == "r0"
    done = options.Beliefs(
        marginals=np.array([0.0, 0.02, 0.01, 0.01]),
        failing=0.04,
        after={test.id: replace(outlook, marginals=outlook.marginals * 0.04, failing=np.array([0.04, 0.04]))},
    )
    assert rank_steps(SEARCH, [test], FOUR, done)[0].kind == "try_out"


def test_nothing_dear_is_bought_on_suspicion_while_there_is_something_to_look_at() -> None:
    test, outlook = halving(1.0, 30.0)
    for parts, first in ((0.0, "repair"), (50.0, "test")):
        known = [replace(repair, minutes=5.0, parts=parts) for repair in FOUR]
        bench = replace(SEARCH, bit_cost=16.0, rate=1.0)
        beliefs = options.Beliefs(marginals=np.array([0.4, 0.3, 0.2, 0.1]), failing=1.0, after={test.id: outlook})
        steps = rank_steps(bench, [test], known, beliefs)
        assert steps[0].kind == first, [(step.id, step.merit) for step in steps]


def test_nothing_depends_on_the_order_of_what_is_given() -> None:
    other = replace(BOWL, id="again", access=())
    beliefs = replace(BELIEFS, after={"bowl": OUTLOOK, "again": OUTLOOK})
    turned = replace(BELIEFS, after={"again": OUTLOOK, "bowl": OUTLOOK})
    steps = rank_steps(BENCH, [BOWL, other], REPAIRS, beliefs)
    assert rank_steps(BENCH, [other, BOWL], REPAIRS[::-1], turned) == steps
    assert len(steps) == 2 + 3 + 1


def test_a_test_without_an_outlook_is_refused() -> None:
    with pytest.raises(KeyError, match="bowl"):
        rank_steps(BENCH, [BOWL], REPAIRS, replace(BELIEFS, after={}))


def test_where_nothing_pays_finding_is_dearer_than_the_bench_says() -> None:
    """A bit for 6 pays at the bench's 20; one for 32 does at 20 x 1.25 ** 3, the first price above 32."""
    for minutes, price in ((3.0, 20.0), (16.0, 20.0 * 1.25**3)):
        test, outlook = halving(1.0, minutes)
        beliefs = options.Beliefs(marginals=np.full(4, 0.25), failing=1.0, after={test.id: outlook})
        bench, steps = rank_paying(SEARCH, [test], FOUR, beliefs, frozenset())
        assert bench.bit_cost == pytest.approx(price)
        assert steps[0].id == test.id
        assert steps[0].merit == pytest.approx(price / (2.0 * minutes))


def test_once_finding_is_dearer_than_the_plan_the_plan_is_followed() -> None:
    """Worked by hand. One fault: a (0.4) or b (0.2), 40 to mend, x (0.1), 400, or one nobody can mend (0.3), 150.

    The plan mends a, then b, then hands on: 46 + 0.6 x (46 + 2/3 x 150) = 133.6, an attempt of 6 after each. To find it
    first takes 115 and 1.85 bits: 124 at 5 a bit, which is cheaper, but 207 at 50.
    """
    repairs = [
        options.RepairOption(id=name, minutes=minutes, cures={n: 1.0})
        for n, (name, minutes) in enumerate((("a", 20.0), ("b", 20.0), ("x", 200.0)))
    ]
    beliefs = options.Beliefs(marginals=np.array([0.4, 0.2, 0.1, 0.3]), failing=1.0, after={})
    cheap, dear = (replace(SEARCH, service_cost=150.0, bit_cost=bit) for bit in (5.0, 50.0))
    plan = base_plan(dear, repairs, beliefs.marginals, 1.0)
    assert (plan.first, plan.value) == ("a", pytest.approx(133.6))
    assert money_left(cheap, repairs, beliefs.marginals, 1.0) == pytest.approx(124.2, abs=0.1)
    assert money_left(dear, repairs, beliefs.marginals, 1.0) == pytest.approx(207.3, abs=0.1)
    steps = sorted(rank_steps(dear, [], repairs, beliefs), key=lambda step: step.id == "a")
    assert by_the_plan(cheap, repairs, beliefs, steps, frozenset()) == (steps, True)
    found, goes_on = by_the_plan(dear, repairs, beliefs, steps, frozenset())
    assert goes_on
    assert [step.id for step in found] == ["a", *(step.id for step in steps if step.id != "a")]
    locked = [replace(step, forbidden=("locked",)) for step in steps]
    assert by_the_plan(dear, repairs, beliefs, locked, frozenset()) == (locked, True)
    soon = replace(dear, service_cost=50.0)
    assert by_the_plan(soon, repairs, beliefs, steps, frozenset()) == (steps, False), "46 first saves 0.4 x 50"


def test_what_a_step_leaves_is_no_more_than_mending_what_is_likely_and_handing_on_the_rest() -> None:
    """Worked by hand. One fault: a (0.6), 40 to mend, or b (0.4), 300; an attempt 6, a bit 5, handing on 200.

    To look first takes 6 + 144 + 0.97 x 5 = 154.9, less than 200. So a is mended, and if that was not it the bike handed
    on: 40 + 6 + 0.4 x 200 = 126. A look after which a is 0.65 or 0.55 leaves 116 or 136, on average the same.
    Where handing on costs 100 it is no way, else nothing would be worth a step: with a mended it is then b, if anything,
    and what is to come is 40 + 6 + 0.4 x 300.
    """
    repairs = [
        options.RepairOption(id="a", minutes=20.0, cures={0: 1.0}),
        options.RepairOption(id="b", minutes=150.0, cures={1: 1.0}),
    ]
    look = options.TestOption(id="look", minutes=1.0, outcomes=("more", "less"))
    outlook = options.Outlook(
        chances=np.array([0.5, 0.5]), marginals=np.array([[0.65, 0.35], [0.55, 0.45]]), failing=np.ones(2)
    )
    beliefs = options.Beliefs(marginals=np.array([0.6, 0.4]), failing=1.0, after={"look": outlook})
    bench = replace(SEARCH, bit_cost=5.0, service_cost=200.0)
    steps = rank_steps(bench, [look], repairs, beliefs)
    assert steps[0].id == "a"
    assert by_id(steps)["a"].expected == pytest.approx(126.0)
    assert by_id(steps)["a"].merit == pytest.approx(1.0)
    assert by_id(steps)["look"].saves == pytest.approx(0.0, abs=1e-9)
    dear = rank_steps(replace(bench, bit_cost=50.0, service_cost=100.0), [look], repairs, beliefs)
    assert by_id(dear)["a"].expected == pytest.approx(166.0)


def test_a_bike_that_may_go_is_tried_when_no_test_pays() -> None:
    test, outlook = halving(1.0, 16.0)
    half = options.Beliefs(
        marginals=np.full(4, 0.125),
        failing=0.5,
        after={test.id: replace(outlook, marginals=outlook.marginals / 2, failing=np.full(2, 0.5))},
    )
    _, steps = rank_paying(SEARCH, [test], FOUR, half, frozenset())
    assert steps[0].kind == "try_out"
    _, steps = rank_paying(SEARCH, [test], FOUR, half, frozenset(), idle=frozenset(["try_out"]))
    assert max(step.merit for step in steps if step.kind != "try_out") >= 1.0


def test_what_was_seen_quickly_counts_for_less() -> None:
    """By hand: a bit for 6 money saves 20, seen quickly the share of it."""
    test, outlook = halving(1.0, 3.0)
    beliefs = options.Beliefs(marginals=np.full(4, 0.25), failing=1.0, after={test.id: outlook})
    exact = by_id(rank_steps(SEARCH, [test], FOUR, beliefs))[test.id]
    quick = by_id(rank_steps(SEARCH, [test], FOUR, beliefs, quick=frozenset([test.id])))[test.id]
    assert exact.saves == pytest.approx(20.0)
    assert quick.saves == pytest.approx(20.0 * QUICK_SHARE)
    assert quick.merit == pytest.approx(20.0 * QUICK_SHARE / 6.0)
    assert quick.expected == pytest.approx(exact.expected + 20.0 * (1.0 - QUICK_SHARE))
    assert quick.rough
    assert not exact.rough
