"""One step ahead: what each step is expected to cost, and which of equals comes first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import base_plan
from diagnose.planning.look_ahead import TIE_MINUTES, rank_steps
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


@pytest.mark.source("planning literature, 1.4 point 6: plan with P(cannot)")
def test_a_test_that_may_not_be_possible() -> None:
    sure = by_id(ranked(BOWL))["bowl"]
    step = by_id(ranked(replace(BOWL, cannot=0.25)))["bowl"]
    opening, opened = 12.0, replace(BENCH, opened=frozenset({"tank"}))
    without = base_plan(opened, REPAIRS, NOW, 1.0).value
    assert step.expected == pytest.approx(opening + 0.75 * (sure.expected - opening) + 0.25 * without)


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
    left = 1.0 - steps["coil"].curing
    assert steps["coil"].expected == pytest.approx(2.0 * 20.0 + 40.0 + 2.0 * 3.0 + left * 10.0)


def twins(**changes: object) -> tuple[options.RepairOption, options.RepairOption]:
    """Return two repairs that are equally good except for the changes to the second."""
    first = options.RepairOption(id="m", minutes=10.0, cures={0: 1.0})
    second = options.RepairOption(id="n", minutes=10.0, cures={1: 1.0})
    return first, replace(second, **changes)  # type: ignore[arg-type]


def first_of(*repairs: options.RepairOption, bench: options.Bench = BENCH) -> str:
    beliefs = options.Beliefs(marginals=np.array([0.6, 0.6]), failing=1.0, after={})
    return rank_steps(bench, [], repairs, beliefs)[0].id


@pytest.mark.source("planning literature, 1.4 point 2: safer, reversible, cheaper now, id")
def test_ties_go_to_the_safer_then_the_cheaper_then_the_id() -> None:
    first, second = twins()
    assert first_of(first, second) == first_of(second, first) == "m"
    assert first_of(replace(first, hazard=1), second) == "n"
    assert first_of(replace(first, minutes=10.1), second) == "n"
    assert first_of(replace(first, minutes=10.1), replace(second, hazard=2)) == "m"
    assert first_of(replace(first, minutes=9.0), replace(second, minutes=14.0)) == "m"


def test_what_is_forbidden_goes_last() -> None:
    first, second = twins()
    assert first_of(replace(first, forbidden=("open_fuel",)), second) == "n"
    steps = rank_steps(
        replace(BENCH, try_forbidden=("locked",)), [replace(BOWL, forbidden=("open_fuel",))], REPAIRS, BELIEFS
    )
    assert {step.id for step in steps[-2:]} == {"bowl", "try_out"}
    assert by_id(steps)["try_out"].forbidden == ("locked",)


@pytest.mark.source("planning literature, 1.4 point 2: a test comes before a repair that is as good")
def test_a_test_wins_a_tie_only_if_it_is_worth_its_cost() -> None:
    silent = options.Outlook(chances=np.array([1.0]), marginals=NOW[None, :], failing=np.ones(1))
    beliefs = replace(BELIEFS, after={"look": silent})
    free = options.TestOption(id="look", minutes=0.0, outcomes=("same",))
    assert ranked(free, beliefs=beliefs)[0].id == "look"
    assert ranked(replace(free, minutes=0.1), beliefs=beliefs)[0].kind == "repair"


def test_a_test_that_gives_back_less_than_twice_its_cost_wins_no_tie() -> None:
    shift = 0.2 * np.array([1.0, -1.0, 0.0])
    little = options.Outlook(
        chances=np.array([0.5, 0.5]), marginals=np.stack([NOW + shift, NOW - shift]), failing=np.ones(2)
    )
    beliefs = replace(BELIEFS, after={"look": little})
    free = options.TestOption(id="look", minutes=0.0, outcomes=("more", "less"))
    gain = base_plan(BENCH, REPAIRS, NOW, 1.0).value - by_id(ranked(free, beliefs=beliefs))["look"].expected
    assert 0 < gain < BENCH.money(TIE_MINUTES)
    cheap, dear = (replace(free, minutes=share * gain / BENCH.rate) for share in (0.4, 0.6))
    assert ranked(cheap, beliefs=beliefs)[0].id == "look"
    assert ranked(dear, beliefs=beliefs)[0].kind == "repair"
    assert by_id(ranked(dear, beliefs=beliefs))["look"].expected < base_plan(BENCH, REPAIRS, NOW, 1.0).value


def test_a_cheap_repair_that_hardly_helps_wins_no_tie() -> None:
    beliefs = options.Beliefs(marginals=np.array([0.999, 0.002]), failing=1.0, after={})
    useful = options.RepairOption(id="useful", minutes=60.0, hazard=2, cures={0: 1.0})
    token = options.RepairOption(id="token", minutes=0.1, cures={1: 1.0})
    steps = rank_steps(BENCH, [], [token, useful], beliefs)
    assert by_id(steps)["token"].expected <= 1.02 * by_id(steps)["useful"].expected
    assert steps[0].id == "useful"


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
