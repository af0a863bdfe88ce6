"""The order of repairs that lie behind access which is paid once.

Notation: a block is a string of openings and repairs done one after the other.
  q     probability that a repair removes a fault that is there, faults independent, not conditioned on
        "it does not run"
  loss  -log of G, G = product of (1 - q) over the repairs of a block
  D     expected cost: each step's cost times the product of (1 - q) from that step onward
  rho   (1 - G) / D, the index of a block; openings have q = 0
Joined, s before t: G = G_s G_t, D = D_s G_t + D_t. Falling rho is optimal for a tree of access if it
can be seen without closing up whether the bike runs. It is the mirror image of least-cost fault detection
(Monma and Sidney 1979) put in place of P/C in the bottom-up rule for cost clusters (Ottosen and Jensen 2010,
arXiv 1203.3502); for one fault it becomes P/C.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, expm1, inf

ROOT = -1
"""The state of the root: nothing has to be opened."""


@dataclass(frozen=True, slots=True)
class Branch:
    """One state of access.

    state: its index, ROOT at the root. repairs: those at hand there. branches: what is behind it.
    reach: bit r is set where repair r is here or behind.
    """

    state: int
    repairs: tuple[int, ...]
    branches: tuple[Branch, ...]
    reach: int


_Block = tuple[float, int, float, float, tuple[int, ...]]
"""Minus rho, lowest repair, loss, D, repairs in order: sorts by falling rho. A plain tuple, for speed."""


def grow(paths: Sequence[Sequence[int]]) -> Branch:
    """Return the tree in which the path of each repair leads down from the root.

    Paths that begin alike share those branches. A state that is reached by several ways stands in several
    branches; whoever prices the order charges it once.

    Args:
        paths: per repair all states on its way, outermost first.
    """
    return _grow(ROOT, range(len(paths)), 0, paths)


def _grow(state: int, repairs: Iterable[int], depth: int, paths: Sequence[Sequence[int]]) -> Branch:
    here, behind = [], dict[int, list[int]]()
    for repair in repairs:
        if len(paths[repair]) == depth:
            here.append(repair)
        else:
            behind.setdefault(paths[repair][depth], []).append(repair)
    branches = tuple(_grow(inner, behind[inner], depth + 1, paths) for inner in sorted(behind))
    reach = sum(1 << repair for repair in here) + sum(branch.reach for branch in branches)
    return Branch(state, tuple(here), branches, reach)


def repair_order(
    root: Branch, opening: Sequence[float], money: Sequence[float], losses: Sequence[float]
) -> tuple[int, ...]:
    """Return the repairs in the order of falling rho, every one after its access.

    Args:
        root: the tree of access, see grow.
        opening: per state the cost of opening and closing it, 0 for what is open.
        money: per repair its cost, access apart.
        losses: per repair -log(1 - q); repairs with 0 are left out.

    Derived here; optimal in brute force over small trees.
    """
    active = sum(1 << repair for repair, loss in enumerate(losses) if loss > 0.0)
    return tuple(repair for block in _blocks(root, opening, money, losses, active) for repair in block[-1])


def _blocks(
    branch: Branch, opening: Sequence[float], money: Sequence[float], losses: Sequence[float], active: int
) -> list[_Block]:
    """Return the blocks behind a branch, best first, its opening glued to the block that pays for it."""
    blocks = [
        _block(losses[repair], money[repair] * exp(-losses[repair]), (repair,))
        for repair in branch.repairs
        if losses[repair] > 0.0
    ]
    for child in branch.branches:
        if child.reach & active:
            blocks += _blocks(child, opening, money, losses, active)
    blocks.sort()
    own = opening[branch.state] if branch.state != ROOT else 0.0
    return _open_first(own, blocks) if own > 0.0 and blocks else blocks


def _open_first(opening: float, blocks: list[_Block]) -> list[_Block]:
    """Return the blocks with the opening glued to the first few: as many as raise its rho."""
    repairs: tuple[int, ...] = ()
    loss, expected, taken = 0.0, opening, 0
    for minus_rho, _, more, cost, others in blocks:
        if taken and -minus_rho * expected <= -expm1(-loss):
            break
        loss, expected = loss + more, expected * exp(-more) + cost
        repairs, taken = repairs + others, taken + 1
    return [_block(loss, expected, repairs), *blocks[taken:]]


def _block(loss: float, expected: float, repairs: tuple[int, ...]) -> _Block:
    rho = -expm1(-loss) / expected if expected > 0.0 else inf
    return -rho, min(repairs), loss, expected, repairs
