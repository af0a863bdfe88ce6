"""Junction tree over factors, with messages by plain broadcasting and a last axis of evidence sets.

Notation: N evidence sets at once; every table has shape (states, ..., N or 1), so that the innermost
loop of every product runs over evidence sets and not over the two states of some variable. pot:
product of the factors a clique was given. up, down: messages towards and away from the root
(Shafer-Shenoy: no division, no logarithm of a table, since entries may be negative). Each message is
scaled by its largest absolute value and the logarithms of the scales are summed. A wide clique with
many children is spared most of the products by hubs: small cliques that gather children first.
Source: Shenoy and Shafer 1990; Koller and Friedman 2009, chapter 10 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diagnose.inference.factor import Factor, Table, Weights, cardinalities
from diagnose.inference.triangulation import elimination_cliques, moral_graph

MOST_CELLS = 2**24
"""Cells of one clique beyond which a network is refused (128 MB of doubles for one evidence set)."""


HUB_SHARE = 4
"""A hub has at most this fraction of the cells of the clique it serves."""

PAIRS_UP_TO = 24
"""With more children than this only neighbours in order are considered for a hub."""

HUBS_FROM = 10**6
"""Hubs are numbered from here while the tree is being built."""


@dataclass(frozen=True, slots=True)
class Clique:
    """One node of the tree. separator: the variables shared with the parent; it sits on that edge."""

    scope: tuple[str, ...]
    parent: int
    children: tuple[int, ...]
    separator: tuple[str, ...]


class JunctionTree:
    """A tree of cliques built once for a set of factors, then propagated for any evidence."""

    def __init__(self, factors: Sequence[Factor], most_cells: int = MOST_CELLS) -> None:
        """Triangulate and hand every factor to a clique. Raises NetworkTooWide if one has more than most_cells."""
        kept = [factor for factor in factors if factor.scope]
        self.constant = float(np.prod([factor.table for factor in factors if not factor.scope]))
        self.cards = cardinalities(kept)
        self.cliques, self.home = _tree(kept, self.cards, most_cells)
        self.axis = [{v: n for n, v in enumerate(clique.scope)} for clique in self.cliques]
        self.pot = [np.ones((1,) * (len(clique.scope) + 1)) for clique in self.cliques]
        self._place = {v: n for n, v in enumerate(self.home)}
        self._cells = [_cells(clique.scope, self.cards) for clique in self.cliques]
        self._cliques_of: dict[str, set[int]] = {v: set() for v in self.home}
        for k, clique in enumerate(self.cliques):
            for v in clique.scope:
                self._cliques_of[v].add(k)
        for factor in kept:
            k = self._holder(factor.scope)
            self.pot[k] = self.pot[k] * self._spread(k, factor.scope, factor.table[..., None])

    @property
    def width(self) -> int:
        """Variables in the largest clique, less one."""
        return max((len(clique.scope) for clique in self.cliques), default=1) - 1

    @property
    def cells(self) -> int:
        """Cells of all clique tables together."""
        return sum(self._cells)

    @property
    def largest(self) -> int:
        """Cells of the largest clique table."""
        return max(self._cells, default=1)

    def propagate(self, weights: Weights = ()) -> Propagation:
        """Pass all messages for N evidence sets at once.

        Args:
            weights: (scope, table) pairs that multiply the product of all factors; a table has shape
                (states of scope..., N or 1), and some factor must hold the whole scope.
        """
        pot = self._weighed(weights)
        up, log_evidence = self._collect(pot)
        return Propagation(self, pot, up, self._distribute(pot, up), log_evidence)

    def log_evidence(self, weights: Weights = ()) -> Table:
        """Return log P(evidence) of N evidence sets, shape (N,) or (1,): a third of the work of `propagate`."""
        return self._collect(self._weighed(weights))[1]

    def _weighed(self, weights: Weights) -> list[Table]:
        pot = list(self.pot)
        for scope, table in weights:
            k = self._holder(scope)
            pot[k] = pot[k] * self._spread(k, scope, table)
        return pot

    def _holder(self, scope: Sequence[str]) -> int:
        """The clique that was given the factors of this scope."""
        return self.home[min(scope, key=self._place.__getitem__)]

    def _smallest(self, scope: Sequence[str]) -> int:
        """The clique with the fewest cells that holds the whole scope: the cheapest to read it off."""
        shared = set.intersection(*(self._cliques_of[v] for v in scope))
        return min(shared, key=lambda k: (self._cells[k], k))

    def _collect(self, pot: list[Table]) -> tuple[list[Table], Table]:
        """Messages towards the roots, children before parents, and log P(evidence)."""
        up: list[Table] = []
        log_scale: Table = np.full(1, np.log(self.constant) if self.constant > 0 else -np.inf)
        sign: Table = np.ones(1)
        for k, clique in enumerate(self.cliques):
            table = _product(pot[k], (self._spread(k, self.cliques[c].separator, up[c]) for c in clique.children))
            message, scale = _scaled(self._fold(k, table, clique.separator))
            up.append(message)
            log_scale = log_scale + scale
            if clique.parent < 0:
                sign = sign * message
        return up, np.where(sign > 0, log_scale, -np.inf)

    def _distribute(self, pot: list[Table], up: list[Table]) -> list[Table | None]:
        """Messages from the roots: the product of everything else, summed onto the separator."""
        down: list[Table | None] = [None] * len(self.cliques)
        for k in range(len(self.cliques) - 1, -1, -1):
            clique = self.cliques[k]
            if not clique.children:
                continue
            from_above = down[k]
            base = pot[k] if from_above is None else pot[k] * self._spread(k, clique.separator, from_above)
            parts = [self._spread(k, self.cliques[c].separator, up[c]) for c in clique.children]
            before = [base]
            for part in parts[:-1]:
                before.append(before[-1] * part)
            after: Table | None = None
            for n in range(len(parts) - 1, -1, -1):
                own = n > 0 or from_above is not None
                table = before[n] if after is None else _times(before[n], after, own)
                c = clique.children[n]
                down[c] = _scaled(self._fold(k, table, self.cliques[c].separator))[0]
                if n:
                    after = parts[n] if after is None else after * parts[n]
        return down

    def _spread(self, k: int, scope: Sequence[str], table: Table) -> Table:
        """Lay a table over the axes of clique k: (states of scope..., N) -> (1 or states, ..., N)."""
        axis = self.axis[k]
        order = sorted(range(len(scope)), key=lambda n: axis[scope[n]])
        shape = [1] * (len(axis) + 1)
        shape[-1] = table.shape[-1]
        for n in order:
            shape[axis[scope[n]]] = table.shape[n]
        if order != list(range(len(scope))):
            table = table.transpose([*order, len(scope)])
        return table.reshape(shape)

    def _fold(self, k: int, table: Table, keep: Sequence[str]) -> Table:
        """Sum a table of clique k onto some of its variables, in the order of the clique."""
        axis = self.axis[k]
        kept = {axis[v] for v in keep}
        gone = tuple(n for n in range(len(axis)) if n not in kept)
        # an axis is still 1 long where every factor so far ignores the variable
        missing = 1
        for v, n in axis.items():
            if n not in kept and table.shape[n] == 1:
                missing *= self.cards[v]
        folded = table.sum(axis=gone) if gone else table
        full = (*(self.cards[v] for v in self.cliques[k].scope if axis[v] in kept), folded.shape[-1])
        if missing != 1:
            folded = folded * missing
        return folded if folded.shape == full else np.broadcast_to(folded, full)


class Propagation:
    """A calibrated tree: what the messages say for N evidence sets."""

    def __init__(
        self,
        tree: JunctionTree,
        pot: list[Table],
        up: list[Table],
        down: list[Table | None],
        log_evidence: Table,
    ) -> None:
        """Keep the messages; beliefs are multiplied out when asked for."""
        self.tree, self._pot, self._up, self._down = tree, pot, up, down
        self.log_evidence = log_evidence
        """Natural logarithm of P(evidence), shape (N,) or (1,); -inf where it is zero."""
        self._belief: dict[int, Table] = {}

    def joint(self, scope: Sequence[str]) -> Table:
        """Return P(scope | evidence), shape (states of scope..., N or 1). Some factor must hold the whole scope.

        Helper variables can make entries negative; sums over a helper are probabilities. All 0 where the
        evidence is impossible.
        """
        k = self.tree._smallest(scope)
        table = self.tree._fold(k, self._clique(k), scope)
        axis = self.tree.axis[k]
        kept = sorted(scope, key=axis.__getitem__)
        table = table.transpose([*(kept.index(v) for v in scope), len(scope)])
        total = table.sum(axis=tuple(range(len(scope))))
        result: Table = np.divide(table, total, out=np.zeros(table.shape), where=total != 0)
        return result

    def marginal(self, variable: str) -> Table:
        """Return P(variable | evidence), shape (states, N or 1); rounding below zero is cut off."""
        return np.clip(self.joint((variable,)), 0.0, 1.0)

    def left_over(self, variables: Iterable[str]) -> float:
        """Return what is left of the terms once they are summed, at least, in any clique that holds one of these.

        1: nothing cancels; below about 1e-15: all of it does, and what is left is rounding. One evidence set.
        """
        holding = set[int]().union(*(self.tree._cliques_of.get(v, ()) for v in variables))
        beliefs = [self._clique(k) for k in sorted(holding)]
        return min((abs(float(b.sum())) / float(np.abs(b).sum() or 1.0) for b in beliefs), default=1.0)

    def _clique(self, k: int) -> Table:
        """The product of everything that reaches clique k."""
        if k not in self._belief:
            tree, clique = self.tree, self.tree.cliques[k]
            parts = [tree._spread(k, tree.cliques[c].separator, self._up[c]) for c in clique.children]
            from_above = self._down[k]
            if from_above is not None:
                parts.append(tree._spread(k, clique.separator, from_above))
            self._belief[k] = _product(self._pot[k], parts)
        return self._belief[k]


def _product(first: Table, others: Iterable[Table]) -> Table:
    """Return the product of tables of the same axes."""
    product = first
    for other in others:
        product = _times(product, other, product is not first)
    return product


def _times(table: Table, other: Table, own: bool) -> Table:
    """Return the product; own: in the memory of the first where it is as wide, for new memory costs as much again."""
    if own and all(b in (1, a) for a, b in zip(table.shape, other.shape, strict=True)):
        table *= other
        return table
    return table * other


def _scaled(message: Table) -> tuple[Table, Table]:
    """Divide by the largest absolute value of each evidence set; return that and its logarithm, shape (N,)."""
    flat = np.abs(message).reshape(-1, message.shape[-1])
    largest = flat.max(axis=0)
    safe = np.where(largest > 0, largest, 1.0)
    with np.errstate(divide="ignore"):
        return message / safe, np.log(largest)


def _cells(scope: Sequence[str], cards: Mapping[str, int]) -> int:
    size = 1
    for v in scope:
        size *= cards[v]
    return size


def _tree(factors: Sequence[Factor], cards: Mapping[str, int], most_cells: int) -> tuple[list[Clique], dict[str, int]]:
    """Cliques with children before parents, and for each variable (in elimination order) its clique."""
    eliminated = elimination_cliques(moral_graph(factors), cards, most_cells)
    place = {v: n for n, (v, _) in enumerate(eliminated)}
    sets = [near | {v} for v, near in eliminated]
    parent = [min((place[u] for u in near), default=-1) for _, near in eliminated]
    joined = list(range(len(sets)))
    for n in range(len(sets)):
        into, next_up = joined[n], parent[n]
        if next_up >= 0 and joined[next_up] == next_up and sets[next_up] <= sets[into]:
            joined[next_up] = into
    members: dict[int, list[int]] = {}
    for n in range(len(sets)):
        members.setdefault(joined[n], []).append(n)
    over = {first: parent[max(group)] for first, group in members.items()}
    above = {first: joined[up] if up >= 0 else -1 for first, up in over.items()}
    return _numbered(members, above, sets, eliminated, cards)


def _numbered(
    members: Mapping[int, list[int]],
    above: Mapping[int, int],
    sets: Sequence[frozenset[str]],
    eliminated: Sequence[tuple[str, frozenset[str]]],
    cards: Mapping[str, int],
) -> tuple[list[Clique], dict[str, int]]:
    """Gather children under hubs and number the cliques so that children stand before parents."""
    scopes = {first: sets[first] for first in members}
    children: dict[int, list[int]] = {first: [] for first in members}
    for first in sorted(members):
        if above[first] >= 0:
            children[above[first]].append(first)
    for first in list(members):
        _gather(first, scopes, children, cards)
    parent = {c: p for p, below in children.items() for c in below}
    order = _children_first([n for n in scopes if n not in parent], children)
    number = {n: k for k, n in enumerate(order)}
    cliques = []
    for n in order:
        scope = tuple(sorted(scopes[n]))
        up = scopes[parent[n]] if n in parent else frozenset[str]()
        below = tuple(number[c] for c in children[n])
        cliques.append(
            Clique(scope, number[parent[n]] if n in parent else -1, below, tuple(v for v in scope if v in up))
        )
    clique_of = {n: number[first] for first, group in members.items() for n in group}
    return cliques, {v: clique_of[n] for n, (v, _) in enumerate(eliminated)}


def _children_first(roots: Sequence[int], children: Mapping[int, Sequence[int]]) -> list[int]:
    order: list[int] = []
    stack = list(roots)
    while stack:
        n = stack.pop()
        order.append(n)
        stack.extend(children[n])
    return order[::-1]


def _gather(
    clique: int, scopes: dict[int, frozenset[str]], children: dict[int, list[int]], cards: Mapping[str, int]
) -> None:
    """Put children of a wide clique under hubs whose scope is the union of two separators, smallest first.

    Every child costs some products over the whole clique; one that hangs on a hub costs only the hub's.
    """
    scope = scopes[clique]
    most = _cells(tuple(scope), cards) // HUB_SHARE
    hanging = [(scopes[c] & scope, c) for c in children[clique]]
    while len(hanging) > 2:
        cells, i, j = (
            min(
                (_cells(tuple(a | b), cards), i, j)
                for i, (a, _) in enumerate(hanging)
                for j, (b, _) in enumerate(hanging[:i])
            )
            if len(hanging) <= PAIRS_UP_TO
            else _neighbours(hanging, cards)
        )
        if cells > most:
            break
        (a, one), (b, other) = hanging[i], hanging[j]
        hub = len(scopes) + HUBS_FROM
        scopes[hub], children[hub] = a | b, [one, other]
        hanging = [h for n, h in enumerate(hanging) if n not in (i, j)] + [(a | b, hub)]
    children[clique] = [c for _, c in hanging]


def _neighbours(hanging: Sequence[tuple[frozenset[str], int]], cards: Mapping[str, int]) -> tuple[int, int, int]:
    """The best pair among neighbours in the order of their separators: good enough while there are many."""
    order = sorted(range(len(hanging)), key=lambda n: (sorted(hanging[n][0]), n))
    pairs = pairwise(order)
    return min((_cells(tuple(hanging[i][0] | hanging[j][0]), cards), max(i, j), min(i, j)) for i, j in pairs)
