"""A table over named discrete variables. Entries may be negative: noisy-MAX in product form needs it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Table = NDArray[np.float64]

Weights = Sequence[tuple[tuple[str, ...], Table]]
"""(scope, table) pairs; a table has shape (states of scope..., N or 1): a weight for each of N evidence sets."""

ROUNDING = 1e-13
"""A sum smaller than this share of its terms' sizes is rounding, and stands for nothing."""


@dataclass(frozen=True, slots=True)
class Factor:
    """A function of the variables in scope. table: one axis for each variable, in that order; no unit."""

    scope: tuple[str, ...]
    table: Table

    def __post_init__(self) -> None:
        """Refuse a table whose axes do not match the scope, or a variable that stands twice."""
        if self.table.ndim != len(self.scope) or len(set(self.scope)) != len(self.scope):
            raise ValueError(f"scope {self.scope} does not fit a table of shape {self.table.shape}")


def cardinalities(factors: Sequence[Factor]) -> dict[str, int]:
    """Return the number of states of every variable. Raises ValueError where two factors disagree.

    >>> cardinalities([Factor(("a", "b"), np.ones((2, 3)))])
    {'a': 2, 'b': 3}
    """
    cards: dict[str, int] = {}
    for factor in factors:
        for variable, size in zip(factor.scope, factor.table.shape, strict=True):
            if cards.setdefault(variable, size) != size:
                raise ValueError(f"{variable} has {cards[variable]} states in one factor and {size} in another")
    return cards
