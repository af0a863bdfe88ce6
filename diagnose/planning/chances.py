"""From posterior marginals to what each repair, in turn, takes off the chance that the bike still fails.

Notation, per leaf (one row of beliefs) b and cause i:
  m     P(cause present and stopping the bike | the bike fails) = marginal / failing
  Z, q  the independent faults that would give these marginals: q = m Z, Z = 1 - product of (1 - m Z)
  loss  what a repair adds to -log P(nothing stops the bike)
P(still fails | fails) after some repairs is (1 - exp(-losses not yet taken)) / Z.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnose.planning.options import Floats, RepairOption

LIMIT = 1e-10
"""Z where exactly one fault is the only reading: q = m Z is then so small that products become sums."""

CERTAIN = 1.0 - 1e-12
"""The largest m or q: keeps logarithms finite."""

FREE = 1e-9
"""Money: what costs less is priced at this."""

NEARLY = 1e-9
"""Marginals that sum to so little above 1 are read as summing to 1."""

EXACT = 1e-15
"""A Newton step below this ends the search."""

ROUNDS = 80
"""Newton rounds at most; a double root at 0 halves the distance each round, all others need under ten."""


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """Which repair is counted on for which cause.

    P pairs of repair and cause, sorted by repair, at least one for each. before, after: [B, P] share of the
    cause that the repairs picked earlier leave, and that is left once this one is done too. left: [B, n]
    share left after all repairs. B may be 1: the same for all leaves.
    """

    repair: NDArray[np.intp]
    cause: NDArray[np.intp]
    before: Floats
    after: Floats
    left: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Losses:
    """Losses per leaf.

    repairs: [B, R], each counted after those picked before it. rest: [B] what no repair removes. z: [B].
    """

    repairs: Floats
    rest: Floats
    z: Floats


def cure_table(repairs: Sequence[RepairOption], causes: int) -> Floats:
    """Return [R, n]: P(cause gone after the repair | it was present)."""
    cures = np.zeros((len(repairs), causes))
    for row, repair in enumerate(repairs):
        cures[row, list(repair.cures)] = list(repair.cures.values())
    return cures


def cover(cures: Floats, money: Floats, marginals: Floats) -> Cover:
    """Return how the causes are shared out among the repairs.

    Greedy minimum-sum set cover: again and again the repair with the most expected cures of what is still
    uncovered per money; ties go to the first. What a repair leaves of a cause (cure below 1) is left to the
    next one that cures it. A repair done in another order than that of picking may take more than is
    counted here, never less, so that the value of a plan is never too low.

    Args:
        cures: [R, n], see cure_table.
        money: [R] cost of each repair from the bench as it is, its shut access included.
        marginals: [B, n] beliefs to share out by.

    Source: Feige, Lovasz and Tetali 2004 (greedy is within a factor 4; from memory).
    """
    repair, cause = np.nonzero((cures > 0.0) | (np.arange(cures.shape[1]) == 0))
    worth = marginals[:, cause] * (cures[repair, cause] / np.maximum(money, FREE)[repair])
    left, before, after = np.ones_like(worth), np.ones_like(worth), np.ones_like(worth)
    open_to = np.ones((len(marginals), len(cures)), dtype=np.bool_)
    group, kept = _rivals(cures), np.vstack([1.0 - cures, np.ones(cures.shape[1])])
    for _ in range(np.bincount(group).max(initial=0)):
        pick = _first_of_each(np.where(open_to, _by_repair(worth * left, repair), -1.0), group)
        mine = pick[:, group]
        np.copyto(before, left, where=mine[:, repair] == repair)
        left *= kept[mine[:, repair], cause]
        np.copyto(after, left, where=mine[:, repair] == repair)
        open_to &= mine != np.arange(len(cures))
    return Cover(repair, cause, before, after, np.prod(1.0 - cures, axis=0)[None, :])


def _rivals(cures: Floats) -> NDArray[np.intp]:
    """Return [R] the group of each repair; those of different groups have no cause in common, so they do not wait."""
    count, (repair, cause) = len(cures), np.nonzero(cures > 0.0)
    mine, before = np.arange(count), np.full(count, -1)
    while not np.array_equal(mine, before):
        before = mine.copy()
        least = np.full(cures.shape[1], count)
        np.minimum.at(least, cause, mine[repair])
        np.minimum.at(mine, repair, least[cause])
    return np.unique(mine, return_inverse=True)[1]


def _first_of_each(gains: Floats, group: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return [B, G] the repair of most gain in each group, the first of several; R where none gains 0 or more."""
    order = np.argsort(group, kind="stable")
    starts = np.flatnonzero(np.diff(group[order], prepend=-1))
    best = np.maximum.reduceat(gains[:, order], starts, axis=1)
    first = np.where((gains == best[:, group]) & (gains >= 0.0), np.arange(gains.shape[1]), gains.shape[1])
    return np.minimum.reduceat(first[:, order], starts, axis=1)


def losses(given: Cover, marginals: Floats, failing: Floats) -> Losses:
    """Return what each repair takes off, for a batch of leaves.

    Args:
        given: the share-out of causes.
        marginals: [B, n] P(cause present and stopping the bike).
        failing: [B] P(the bike fails).
    """
    m = np.minimum(marginals / np.maximum(failing, 1e-12)[:, None], 1.0)
    z = unconditioned(m)
    q = np.minimum(m * z[:, None], CERTAIN)
    unexplained = z * np.maximum(1.0 - m.sum(axis=1), 0.0)
    rest = unexplained - np.log1p(-q * given.left).sum(axis=1)
    pairs = q[:, given.cause]
    taken = np.log1p(-pairs * given.after) - np.log1p(-pairs * given.before)
    return Losses(np.maximum(_by_repair(taken, given.repair), 0.0), np.maximum(rest, 0.0), z)


def after_repairs(marginals: Floats, failing: Floats, left: Floats) -> tuple[Floats, Floats]:
    """Return the beliefs once something was repaired and nothing seen since: [B, n] marginals and [B] P(it fails).

    Args:
        marginals: [B, n] P(cause present and stopping the bike) before.
        failing: [B] P(it fails) before.
        left: [B, n] or [n] share of each cause that the repairs leave.
    """
    m = np.minimum(marginals / np.maximum(failing, 1e-12)[:, None], 1.0)
    z = unconditioned(m)
    q = np.minimum(m * z[:, None], CERTAIN)
    loss = z * np.maximum(1.0 - m.sum(axis=1), 0.0) - np.log1p(-q * left).sum(axis=1)
    fails = np.minimum(-np.expm1(-loss) / z, 1.0) * failing
    still = failing / np.maximum(z, LIMIT)
    return np.minimum(q * left * still[:, None], fails[:, None]), fails


def _by_repair(pairs: Floats, repair: NDArray[np.intp]) -> Floats:
    """Return [B, R]: the sums of [B, P] over the pairs of each repair, which stand together."""
    starts = np.flatnonzero(np.diff(repair, prepend=-1))
    return np.add.reduceat(pairs, starts, axis=1) if len(starts) else np.zeros((len(pairs), 0))


def unconditioned(m: Floats) -> Floats:
    """Return Z = P(some fault) of the independent faults behind the marginals of a failing bike.

    The largest root of Z = 1 - product of (1 - m Z). If the marginals sum to 1 or less there is none above 0:
    exactly one fault is then the reading, and LIMIT is returned.

    Args:
        m: [B, n] P(cause present | the bike fails).

    Derived here; leaves valued from marginals alone came out as good as from the exact joint.

    >>> float(unconditioned(np.array([[0.75, 0.75]]))[0].round(9))
    0.888888889
    """
    z, single = np.ones(len(m)), m.sum(axis=1) <= 1.0 + NEARLY
    m = np.minimum(m, CERTAIN)
    for _ in range(ROUNDS):
        clear = 1.0 - m * z[:, None]
        product = clear.prod(axis=1)
        slope = 1.0 - product * (m / clear).sum(axis=1)
        step = np.divide(z - 1.0 + product, slope, out=np.zeros_like(z), where=slope > 0.0)
        z = np.clip(z - step, LIMIT, 1.0)
        if np.abs(step).max(initial=0.0) < EXACT:
            break
    return np.where(single, LIMIT, z)
