"""Summing the causes out before the tree is built, and getting their posteriors back afterwards.

Notation: f(x, s) is the product of all factors that hold the cause x; s the other variables in them (its
mechanism, the conditions it leads to, what was seen of it). F(s) = sum_x f(x, s) takes their place in the
network, and P(x | evidence) = sum_s P(s | evidence) f(x, s) / F(s). F is above zero wherever s can be at
all, since a link never acts for certain. Causes with the same s share one table. A weight w on x turns
F into sum_x w(x) f(x, s).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np

from diagnose.inference.factor import Factor, Table, cardinalities
from diagnose.inference.triangulation import NetworkTooWide


@dataclass(frozen=True)
class Folded:
    """A cause summed out. scope: s; table: f, the cause's states first, then s."""

    scope: tuple[str, ...]
    table: Table

    @cached_property
    def total(self) -> Table:
        """F(s)."""
        result: Table = self.table.sum(axis=0)
        return result

    @cached_property
    def _shares(self) -> dict[tuple[bytes, tuple[str, ...]], Table]:
        return {}

    def share(self, states: Table, beside: Sequence[str] = ()) -> Table:
        """Return sum over the given states (a 0/1 mask, or weights) of f(x, s) / F(s), shape of s.

        states: shape (states of the cause, states of each variable beside it in the order of the scope...).
        """
        key = (states.tobytes(), tuple(beside))
        if key not in self._shares:
            if beside:
                shape = [self.table.shape[n] if v in beside else 1 for n, v in enumerate(self.scope, start=1)]
                picked = (states.reshape(-1, *shape) * self.table).sum(axis=0)
            else:
                picked = np.tensordot(states, self.table, axes=1)
            self._shares[key] = np.divide(picked, self.total, out=np.zeros_like(picked), where=self.total != 0)
        return self._shares[key]


Known = dict[tuple[int, ...], tuple[list[Factor], Folded]]
"""Identities of some factors -> the factors themselves (so that the identities stay theirs) and their product."""


def fold(
    factors: Sequence[Factor], causes: Collection[str], known: Known, most_cells: int
) -> tuple[dict[str, Folded], list[Factor]]:
    """Return the causes summed out and the factors that are left, those of equal scope multiplied together.

    known: products worked out before, by the factors they are of; filled in as new ones are met. most_cells: what a
    cause is summed out onto will share a clique; raises NetworkTooWide where that has more cells.

    A factor over two causes (an AND of causes) keeps both in the network as they are, and so does a cause
    that nothing hangs on; such a cause is then its own scope.
    """
    married = {c for factor in factors for c in _married(factor, causes)}
    mine: dict[str, list[Factor]] = {c: [] for c in causes}
    rest: dict[tuple[str, ...], Table] = {}
    for factor in factors:
        cause = next((v for v in factor.scope if v in causes and v not in married), None)
        if cause is None:
            _multiply(rest, factor.scope, factor.table)
        else:
            mine[cause].append(factor)
    folded = {}
    for cause, held in mine.items():
        if cause in married:
            states = next(f.table.shape[f.scope.index(cause)] for f in factors if cause in f.scope)
            folded[cause] = Folded((cause,), np.eye(states))
            continue
        key = tuple(map(id, held))
        if key not in known:
            _check(cause, held, most_cells)
            known[key] = (held, _product(cause, held))
        product = known[key][1]
        if not product.scope:
            folded[cause] = Folded((cause,), np.eye(len(product.table)))
            _multiply(rest, (cause,), product.table)
        else:
            folded[cause] = product
            _multiply(rest, folded[cause].scope, folded[cause].total)
    return folded, [Factor(scope, table) for scope, table in rest.items()]


def _married(factor: Factor, causes: Collection[str]) -> list[str]:
    found = [v for v in factor.scope if v in causes]
    return found if len(found) > 1 else []


def _check(cause: str, factors: Sequence[Factor], most_cells: int) -> None:
    """Raise NetworkTooWide if what a cause would be summed out onto has more cells, before any is laid out."""
    cards = cardinalities(factors)
    around = [v for v in cards if v != cause]
    if (cells := prod(cards[v] for v in around)) > most_cells:
        raise NetworkTooWide(around, cells)


def _product(cause: str, factors: Sequence[Factor]) -> Folded:
    """Multiply the factors of one cause over the union of their scopes, the cause first."""
    scope = tuple(sorted({v for factor in factors for v in factor.scope if v != cause}))
    axes = (cause, *scope)
    table: Table = np.ones((1,) * len(axes))
    for factor in factors:
        order = sorted(range(len(factor.scope)), key=lambda n: axes.index(factor.scope[n]))
        shape = [1] * len(axes)
        for n in order:
            shape[axes.index(factor.scope[n])] = factor.table.shape[n]
        table = table * factor.table.transpose(order).reshape(shape)
    return Folded(scope, table)


def _multiply(into: dict[tuple[str, ...], Table], scope: tuple[str, ...], table: Table) -> None:
    into[scope] = into[scope] * table if scope in into else table
