"""The slow oracle: every combination of every variable, for small networks in tests and doubts."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from diagnose.inference.factor import Factor, Table, cardinalities


def enumerate_marginals(factors: Sequence[Factor], variables: Sequence[str]) -> tuple[float, dict[str, Table]]:
    """Return the sum over all combinations and the normalised marginals, each of shape (states,).

    Cost is the product of all cardinalities; meant for at most some 2**20 combinations.
    """
    cards = cardinalities([factor for factor in factors if factor.scope])
    names = list(cards)
    place = {v: n for n, v in enumerate(names)}
    sums = {v: np.zeros(cards[v]) for v in variables}
    total = 0.0
    for states in itertools.product(*(range(cards[v]) for v in names)):
        weight = 1.0
        for factor in factors:
            weight *= float(factor.table[tuple(states[place[v]] for v in factor.scope)])
        total += weight
        for v in variables:
            sums[v][states[place[v]]] += weight
    return total, {v: table / total for v, table in sums.items()}
