"""The order of repairs against brute force: everything that can be seen without closing up."""

from __future__ import annotations

from itertools import permutations
from math import inf, log1p

import numpy as np
import pytest

from diagnose.planning.repair_order import grow, repair_order


def cost_in_order(
    order: tuple[int, ...],
    paths: list[tuple[int, ...]],
    opening: list[float],
    money: list[float],
    q: list[float],
) -> float:
    """Return the expected cost by walking the order: each repair opens what is shut, then it is tried."""
    still, everything, opened, spent = 1.0, 1.0, set[int](), 0.0
    for chance in q:
        everything *= 1.0 - chance
    clear = everything
    for repair in order:
        still = 1.0 - clear
        spent += still * (money[repair] + sum(opening[state] for state in paths[repair] if state not in opened))
        opened |= set(paths[repair])
        clear /= 1.0 - q[repair]
    return spent / (1.0 - everything)


def random_tree(seed: int, one_fault: bool) -> tuple[list[tuple[int, ...]], list[float], list[float], list[float]]:
    """Return paths, opening, money, q of five repairs behind up to three nested states."""
    draw = np.random.default_rng(seed)
    ways: list[tuple[int, ...]] = [(), (0,)]
    for state in (1, 2):
        ways.append((*ways[draw.integers(len(ways))], state))
    paths = [ways[draw.integers(len(ways))] for _ in range(5)]
    chances = draw.dirichlet(np.ones(5)) * 1e-9 if one_fault else draw.uniform(0.05, 0.7, size=5)
    return paths, draw.uniform(2, 25, size=3).tolist(), draw.uniform(3, 40, size=5).tolist(), chances.tolist()


@pytest.mark.source("planning literature, R2 (optimal in brute-force checks) and M6 for one fault")
@pytest.mark.parametrize("one_fault", [False, True])
@pytest.mark.parametrize("first_seed", range(0, 100, 20))
def test_falling_rho_is_optimal_on_small_trees(first_seed: int, one_fault: bool) -> None:
    for seed in range(first_seed, first_seed + 20):
        paths, opening, money, q = random_tree(seed, one_fault)
        found = repair_order(grow(paths), opening, money, [-log1p(-chance) for chance in q])
        assert sorted(found) == list(range(5))
        best = min((cost_in_order(way, paths, opening, money, q) for way in permutations(range(5))), default=inf)
        assert cost_in_order(found, paths, opening, money, q) == pytest.approx(best, rel=1e-6 if one_fault else 1e-12)


def test_repairs_that_take_nothing_are_left_out() -> None:
    assert repair_order(grow([(), (0,)]), [5.0], [1.0, 1.0], [0.0, 0.2]) == (1,)
    assert repair_order(grow([]), [], [], []) == ()


def test_free_repairs_come_first() -> None:
    assert repair_order(grow([(), ()]), [], [10.0, 0.0], [0.9, 0.01]) == (1, 0)
