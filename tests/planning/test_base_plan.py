"""The base plan against slow second methods: enumeration of fault sets and of all ways to group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod

import numpy as np
import pytest

from diagnose.model import Access
from diagnose.planning import options
from diagnose.planning.access import AccessTree
from diagnose.planning.base_plan import SERVICE_CALL, SINGLY, TRY_OUT, base_plan
from diagnose.planning.chances import unconditioned
from diagnose.problems import Place

NEVER = 1e6


@dataclass(frozen=True)
class Case:
    """A bench, its repairs, and the independent faults behind it: chance[i] of fault i."""

    bench: options.Bench
    repairs: tuple[options.RepairOption, ...]
    chance: tuple[float, ...]

    @property
    def failing(self) -> float:
        return 1.0 - prod(1.0 - q for q in self.chance)

    @property
    def marginals(self) -> np.ndarray:
        """P(fault | it fails)."""
        return np.array(self.chance) / self.failing


def access(name: str, *needs: str, minutes: tuple[float, float]) -> Access:
    return Access(
        id=name,
        name=name,
        basis=(),
        place=Place("t"),
        applies={},
        needs=needs,
        open=minutes[0],
        close=minutes[1],
    )


def random_case(seed: int, causes: int = 5, service: float = NEVER, cure: float = 0.6) -> Case:
    """Return causes with one repair each behind three states of access, one of which needs two others."""
    draw = np.random.default_rng(seed)
    minutes = [(float(a), float(b)) for a, b in draw.uniform(2, 15, size=(3, 2))]
    states = [
        access("a", minutes=minutes[0]),
        access("b", minutes=minutes[1]),
        access("c", "a", "b", minutes=minutes[2]),
    ]
    ways: list[tuple[str, ...]] = [(), ("a",), ("b",), ("c",), ("a", "b")]
    known = tuple(
        options.RepairOption(
            id=f"r{k}",
            minutes=float(draw.uniform(3, 40)),
            parts=float(draw.uniform(0, 20)),
            access=ways[draw.integers(len(ways))],
            cures={k: float(draw.uniform(cure, 1.0))},
        )
        for k in range(causes)
    )
    opened = (frozenset[str](), frozenset({"a"}), frozenset({"a", "b", "c"}))[seed % 3]
    bench = options.Bench(
        tree=AccessTree({state.id: state for state in states}),
        opened=opened,
        rate=1.5,
        try_minutes=float(draw.uniform(1, 12)),
        service_cost=service,
    )
    return Case(bench, known, tuple(draw.uniform(0.05, 0.7, size=causes).tolist()))


def still_fails(case: Case, done: frozenset[str]) -> float:
    """Return P(some fault left | it failed), over every set of faults: those repaired may have stayed."""
    fails = 0.0
    for bits in product((False, True), repeat=len(case.chance)):
        if not any(bits):
            continue
        chance = prod(q if bit else 1.0 - q for q, bit in zip(case.chance, bits, strict=True))
        gone = prod(repair.cures[k] if repair.id in done else 0.0 for k, repair in enumerate(case.repairs) if bits[k])
        fails += chance * (1.0 - gone)
    return fails / case.failing


def needed(states: Mapping[str, Access], names: Sequence[str]) -> set[str]:
    found: set[str] = set()
    for name in names:
        found |= {name} | needed(states, states[name].needs)
    return found


def walk(case: Case, groups: Sequence[Sequence[str]]) -> float:
    """Return the expected money by doing it: open, repair, close all, try; what is left is handed on."""
    by_id = {repair.id: repair for repair in case.repairs}
    states, rate = case.bench.tree.states, case.bench.rate
    opened, done, spent = set(case.bench.opened), frozenset[str](), 0.0
    for group in groups:
        money = rate * case.bench.try_minutes
        for name in group:
            money += rate * by_id[name].minutes + by_id[name].parts
            for state in needed(states, by_id[name].access) - opened:
                money += rate * states[state].open
                opened.add(state)
        money += rate * sum(states[state].close for state in opened)
        opened = set()
        spent += money * (still_fails(case, done) if done else 1.0)
        done |= set(group)
    if not groups:
        spent += rate * sum(states[state].close for state in opened)
    return spent + (still_fails(case, done) if done else 1.0) * case.bench.service_cost


def ordered_partitions(order: Sequence[str]) -> Iterator[list[list[str]]]:
    """Yield every way to cut the order, kept, into groups."""
    for cuts in product((False, True), repeat=len(order) - 1):
        groups = [[order[0]]]
        for name, cut in zip(order[1:], cuts, strict=True):
            if cut:
                groups.append([name])
            else:
                groups[-1].append(name)
        yield groups


@pytest.mark.source("planning literature, M7: the programme equals enumeration over all ordered partitions")
@pytest.mark.parametrize("seed", range(30))
def test_the_best_grouping_is_found(seed: int) -> None:
    case = random_case(seed)
    plan = base_plan(case.bench, case.repairs, case.marginals, 1.0)
    assert sorted(plan.order) == [repair.id for repair in case.repairs]
    values = [walk(case, groups) for groups in ordered_partitions(plan.order)]
    assert plan.value == pytest.approx(min(values), rel=1e-9)
    assert walk(case, plan.groups) == pytest.approx(plan.value, rel=1e-9)
    assert plan.left == pytest.approx(still_fails(case, frozenset(plan.order)), rel=1e-6)


@pytest.mark.source("planning literature, M2: every prefix is checked")
@pytest.mark.parametrize("seed", range(30))
def test_handing_on_after_the_best_prefix(seed: int) -> None:
    case = random_case(seed, service=(30.0, 60.0, 120.0, 250.0)[seed % 4])
    full = base_plan(replace(case.bench, service_cost=NEVER), case.repairs, case.marginals, 1.0)
    prefixes = [full.order[:count] for count in range(1, len(full.order) + 1)]
    values = [walk(case, groups) for order in prefixes for groups in ordered_partitions(order)]
    plan = base_plan(case.bench, case.repairs, case.marginals, 1.0)
    assert plan.value == pytest.approx(min([walk(case, []), *values]), rel=1e-9)
    assert walk(case, plan.groups) == pytest.approx(plan.value, rel=1e-9)


def walk_looking(case: Case, looks: Sequence[float], groups: Sequence[Sequence[str]]) -> float:
    """Return the expected money over every set of faults: looks are paid as they come, repairs where needed.

    Repairs are sure, so one is needed if its fault is there; nothing is done any more on a bike that runs.
    """
    rate, states = case.bench.rate, case.bench.tree.states
    index = {repair.id: k for k, repair in enumerate(case.repairs)}
    spent = 0.0
    for bits in product((False, True), repeat=len(case.chance)):
        chance = prod(q if bit else 1.0 - q for q, bit in zip(case.chance, bits, strict=True)) / case.failing
        left, opened = {k for k, bit in enumerate(bits) if bit}, set(case.bench.opened)
        for group in groups if left else ():
            if not left:
                break
            spent += chance * rate * case.bench.try_minutes
            for k in (index[name] for name in group):
                need = needed(states, case.repairs[k].access)
                spent += chance * rate * (looks[k] + sum(states[state].open for state in need - opened))
                spent += (
                    chance
                    * (case.bench.money(case.repairs[k].minutes, parts=case.repairs[k].parts) - rate * looks[k])
                    * (k in left)
                )
                opened |= need
                left -= {k}
            spent += chance * rate * sum(states[state].close for state in opened)
            opened = set()
        spent += chance * case.bench.service_cost * bool(left)
    return spent


@pytest.mark.source("second method: every set of faults; planning literature M1, inspect-then-repair")
@pytest.mark.parametrize("seed", range(15))
def test_what_is_seen_to_be_sound_is_only_looked_at(seed: int) -> None:
    case = random_case(seed, causes=4, cure=1.0)
    looks = [0.2 * repair.minutes for repair in case.repairs]
    known = [replace(repair, look=look) for repair, look in zip(case.repairs, looks, strict=True)]
    plan = base_plan(case.bench, known, case.marginals, 1.0)
    assert plan.value == pytest.approx(walk_looking(case, looks, plan.groups), rel=1e-9)
    values = [walk_looking(case, looks, groups) for groups in ordered_partitions(plan.order)]
    assert plan.value == pytest.approx(min(values), rel=1e-9)
    assert plan.value < base_plan(case.bench, case.repairs, case.marginals, 1.0).value


@pytest.mark.source("planning literature, 1.3: Z = 1 - product of (1 - m Z)")
@pytest.mark.parametrize("seed", range(20))
def test_marginals_of_a_failing_bike_give_back_the_independent_faults(seed: int) -> None:
    draw = np.random.default_rng(seed)
    q = draw.uniform(0.001, 0.9, size=draw.integers(2, 12))
    fails = 1.0 - np.prod(1.0 - q)
    assert unconditioned((q / fails)[None, :])[0] == pytest.approx(fails, rel=1e-9)


def test_a_cause_that_is_certain_is_no_trouble() -> None:
    case = random_case(1, cure=1.0)
    plan = base_plan(case.bench, case.repairs, np.array([1.0, 0.0, 0.0, 0.0, 0.0]), 1.0)
    assert plan.order == ("r0",)
    assert plan.left == pytest.approx(0.0, abs=1e-9)


def test_what_no_known_cause_explains_goes_to_the_service_call() -> None:
    case = random_case(0, cure=1.0)
    plan = base_plan(case.bench, case.repairs, np.array([0.3, 0.2, 0.1, 0.0, 0.0]), 1.0)
    assert plan.left == pytest.approx(0.4, abs=1e-8)
    nobody = base_plan(replace(case.bench, opened=frozenset()), [], np.array([0.5, 0.5]), 1.0)
    assert (nobody.first, nobody.order, nobody.value) == (SERVICE_CALL, (), NEVER)


def test_one_repair_for_two_exclusive_causes_is_certain_to_help() -> None:
    both = options.RepairOption(id="both", minutes=10.0, cures={0: 1.0, 1: 1.0})
    bench = replace(random_case(0).bench, opened=frozenset())
    plan = base_plan(bench, [both], np.array([0.5, 0.5]), 1.0)
    assert plan.left == pytest.approx(0.0, abs=1e-9)
    assert plan.value == pytest.approx(1.5 * (10.0 + bench.try_minutes), rel=1e-8)


def test_what_one_repair_may_leave_is_left_to_the_next() -> None:
    clean = options.RepairOption(id="clean", minutes=5.0, cures={0: 0.8})
    swap = options.RepairOption(id="swap", minutes=5.0, parts=30.0, cures={0: 1.0})
    bench = options.Bench(tree=AccessTree({}), rate=1.0, try_minutes=2.0, service_cost=NEVER)
    plan = base_plan(bench, [swap, clean], np.array([1.0]), 1.0)
    assert plan.groups == (("clean",), ("swap",))
    assert plan.value == pytest.approx((5 + 2) + 0.2 * (5 + 30 + 2), rel=1e-8)


def test_a_bike_that_may_already_run_is_tried_first_when_that_is_cheap() -> None:
    case = replace(random_case(3), bench=replace(random_case(3).bench, opened=frozenset(), try_minutes=2.0))
    given_fails = base_plan(case.bench, case.repairs, case.marginals, 1.0)
    for failing in (0.02, 0.3):
        plan = base_plan(case.bench, case.repairs, failing * case.marginals, failing)
        tried = 1.5 * 2.0 + failing * given_fails.value
        assert plan.value <= tried + 1e-9
    plan = base_plan(case.bench, case.repairs, 0.02 * case.marginals, 0.02)
    assert plan.first == TRY_OUT
    assert plan.value == pytest.approx(1.5 * 2.0 + 0.02 * given_fails.value, rel=1e-9)
    dear = replace(case.bench, try_minutes=200.0)
    assert base_plan(dear, case.repairs, 0.95 * case.marginals, 0.95).first != TRY_OUT


@pytest.mark.parametrize("seed", range(15))
def test_open_access_only_adds_what_it_costs_to_close(seed: int) -> None:
    case = random_case(seed)
    order = base_plan(case.bench, case.repairs, case.marginals, 1.0).order
    shut = replace(case, bench=replace(case.bench, opened=frozenset()))
    for groups in ordered_partitions(order):
        everything = replace(case.bench, opened=frozenset("abc"))
        closing = 1.5 * case.bench.tree.minutes_to_close(frozenset("abc"))
        assert walk(replace(case, bench=everything), groups) <= walk(shut, groups) + closing + 1e-9


@pytest.mark.parametrize("seed", range(15))
def test_access_that_is_needed_anyway_is_cheaper_when_open(seed: int) -> None:
    case = random_case(seed, causes=1)
    one = replace(case.repairs[0], access=("c",))
    values = [
        base_plan(replace(case.bench, opened=opened), [one], np.array([1.0]), 1.0).value
        for opened in (frozenset[str](), frozenset({"a"}), frozenset({"a", "b"}), frozenset("abc"))
    ]
    assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("seed", range(15))
def test_dearer_things_never_make_the_plan_cheaper(seed: int) -> None:
    case = random_case(seed, service=150.0)
    value = base_plan(case.bench, case.repairs, case.marginals, 1.0).value
    for dearer in (replace(case.bench, service_cost=200.0), replace(case.bench, try_minutes=30.0)):
        assert base_plan(dearer, case.repairs, case.marginals, 1.0).value >= value - 1e-9
    assert value <= 150.0 + 1.5 * case.bench.tree.minutes_to_close(case.bench.opened) + 1e-9


@pytest.mark.parametrize("seed", range(10))
def test_the_order_of_what_is_given_does_not_matter(seed: int) -> None:
    case = random_case(seed)
    plan = base_plan(case.bench, case.repairs, case.marginals, 1.0)
    turned = AccessTree(dict(reversed(list(case.bench.tree.states.items()))))
    again = base_plan(replace(case.bench, tree=turned), case.repairs[::-1], case.marginals, 1.0)
    assert again == plan


def test_many_unlikely_repairs_end_in_one_lump() -> None:
    count = 3 * SINGLY
    chance = np.array([0.5] + [0.0005] * (count - 1))
    known = [options.RepairOption(id=f"r{k:03d}", minutes=2.0, cures={k: 1.0}) for k in range(count)]
    bench = options.Bench(tree=AccessTree({}), rate=1.0, try_minutes=1.0, service_cost=NEVER)
    plan = base_plan(bench, known, chance, 1.0)
    assert [len(group) for group in plan.groups] == [1, count - 1]
    assert plan.value == pytest.approx(3.0 + 0.5 * (2.0 * (count - 1) + 1.0) + plan.left * NEVER, rel=1e-6)


def test_unknown_access_is_refused() -> None:
    case = random_case(0)
    lost = replace(case.repairs[0], access=("boot",))
    with pytest.raises(KeyError, match="boot"):
        base_plan(case.bench, [lost], case.marginals, 1.0)
