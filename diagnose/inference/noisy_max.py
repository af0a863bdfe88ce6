"""Leaky noisy-MAX over several situations, in product form.

Notation: a condition seen in K situations has as state a vector of K levels, one for each situation.
Every parent contributes such a vector; the condition is their maximum, situation by situation. The
chance that a contribution stays within a vector a multiplies over the parents:
F(a) = prod_i P(contribution_i <= a | parent_i). With a helper variable that runs over the same
vectors, P(c | parents) = sum_a M(c, a) prod_i F_i(a, parent_i), where M undoes "sum over all c <= a"
(Moebius inversion); for one situation M is 1 on the diagonal and -1 beside it. No family table is
built and the parents are never married. A parent's link is drawn once for all situations: one number
u, uniform in [0, 1], decides what the parent does at each of its levels, so a mechanism that produced
a condition before a repair elsewhere still produces it afterwards.
Links are stated with the leak off (Diez); the leak is a parent of its own.
Source: Diez and Galan 2003, "Efficient computation for the noisy MAX" (from memory); the vectors over
situations are worked out here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diagnose.inference.factor import Factor, Table
from diagnose.inference.triangulation import NetworkTooWide

Vector = tuple[int, ...]
Levels = NDArray[np.int64]
"""Shape (states of a variable, situations): the level in each situation."""

Contribution = Sequence[Mapping[Vector, float]]
"""For each state of the parent (or combination of parents): vector -> probability."""


def survival(levels: Sequence[str], parent_levels: Sequence[str], table: Mapping[str, Mapping[str, float]]) -> Table:
    """Return P(contribution >= child level | parent level), shape (parent levels, child levels).

    >>> survival(("good", "weak", "none"), ("no", "yes"), {"yes": {"weak": 0.4, "none": 0.5}}).tolist()
    [[1.0, 0.0, 0.0], [1.0, 0.9, 0.5]]
    """
    chances = np.zeros((len(parent_levels), len(levels)))
    for parent, row in table.items():
        for level, p in row.items():
            chances[parent_levels.index(parent), levels.index(level)] = p
    above = np.cumsum(chances[:, ::-1], axis=1)[:, ::-1]
    above[:, 0] = 1.0
    return above


def contribution(parent: Levels, above: Table, held: Sequence[bool]) -> list[dict[Vector, float]]:
    """Return for every state of the parent what it contributes, one draw for all situations.

    Args:
        parent: levels of the parent, shape (states, K).
        above: from `survival`.
        held: K flags; where True the condition is kept healthy and nothing contributes.
    """
    found = []
    cache: dict[bytes, dict[Vector, float]] = {}
    for row in parent:
        key = row.tobytes()
        if key not in cache:
            cache[key] = _one_draw(above[row], held)
        found.append(cache[key])
    return found


def _one_draw(above: Table, held: Sequence[bool]) -> dict[Vector, float]:
    """Cut [0, 1] where some situation changes its level; above: shape (K, child levels)."""
    cuts = sorted({0.0, 1.0, *above[:, 1:].ravel().tolist()})
    result: dict[Vector, float] = {}
    for low, high in pairwise(cuts):
        reached = (above >= high).sum(axis=1) - 1
        vector = tuple(0 if h else int(n) for n, h in zip(reached, held, strict=True))
        result[vector] = result.get(vector, 0.0) + high - low
    return result


MOST_STATES = 256
"""States of a condition at most: a bike tried again and again has more, in networks far too wide by then."""


def joined(condition: str, vectors: set[Vector], slots: int) -> tuple[Vector, ...]:
    """Return all maxima of the vectors, the healthy one included, in rising order of their sums.

    Raises NetworkTooWide where there are more than MOST_STATES: with every change to the bike they may double.
    """
    closed = {(0,) * slots}
    for vector in vectors:
        closed |= {tuple(map(max, vector, other)) for other in closed}
        if len(closed) > MOST_STATES:
            raise NetworkTooWide([condition], len(closed))
    return tuple(sorted(closed, key=lambda v: (sum(v), v)))


def within(states: Sequence[Vector], given: Contribution) -> Table:
    """Return P(contribution <= state | parent state), shape (states, parent states)."""
    rows: dict[Vector, list[float]] = {}
    for by_vector in given:
        for vector in by_vector:
            if vector not in rows:
                rows[vector] = [float(all(x <= y for x, y in zip(vector, s, strict=True))) for s in states]
    table = np.zeros((len(states), len(given)))
    for n, by_vector in enumerate(given):
        for vector, p in by_vector.items():
            table[:, n] += p * np.asarray(rows[vector])
    return table


def moebius(states: Sequence[Vector]) -> Table:
    """Return M with P(exactly c) = sum_a M[c, a] P(within a), shape (states, states).

    >>> moebius([(0,), (1,), (2,)]).astype(int).tolist()
    [[1, 0, 0], [-1, 1, 0], [0, -1, 1]]
    """
    zeta = [[float(all(x <= y for x, y in zip(c, a, strict=True))) for c in states] for a in states]
    return np.rint(np.linalg.inv(np.array(zeta))) + 0.0


def noisy_max(condition: str, states: Sequence[Vector], parts: Sequence[tuple[tuple[str, ...], Table]]) -> list[Factor]:
    """Return the factors of P(condition | parents); a helper variable joins more than one part.

    Args:
        condition: name of the variable.
        states: from `joined`.
        parts: for each link (or AND) its parent variables and `within`, shape (states, parent states...).
    """
    invert = moebius(states)
    if len(parts) == 1:
        scope, table = parts[0]
        return [Factor((condition, *scope), np.tensordot(invert, table, axes=1))]
    helper = f"within:{condition}"
    pairs = [Factor((helper, *scope), table) for scope, table in parts]
    return [Factor((condition, helper), invert), *pairs]
