"""From factors to an elimination order: moral graph and the min-fill heuristic.

Notation: the moral graph joins two variables when some factor holds both. Eliminating a variable
joins its neighbours pairwise; the edges that were missing are the fill-in. Min-fill eliminates the
variable with the least fill-in next; here an edge weighs the product of the logarithms of its ends'
states, since variables differ in states. Source: Kjaerulff 1990, "Triangulation of graphs" (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from heapq import heapify, heappop, heappush
from math import log2, prod

import networkx as nx

from diagnose.inference.factor import Factor
from diagnose.problems import DiagnoseError


class NetworkTooWide(DiagnoseError):
    """Exact inference would not fit; names the variables that make it so."""

    def __init__(self, clique: Sequence[str], cells: int) -> None:
        """Keep the widest clique."""
        self.clique = tuple(sorted(clique))
        listed = ", ".join(self.clique)
        super().__init__(f"too many things hang together to be worked out exactly ({cells} cells): {listed}")


def moral_graph(factors: Iterable[Factor]) -> nx.Graph:
    """Return the graph whose vertices are the variables, joined when a factor holds both.

    >>> import numpy as np
    >>> sorted(moral_graph([Factor(("a", "b", "c"), np.ones((2, 2, 2)))]).edges)
    [('a', 'b'), ('a', 'c'), ('b', 'c')]
    """
    graph = nx.Graph()
    for factor in factors:
        graph.add_nodes_from(factor.scope)
        graph.add_edges_from((u, v) for i, u in enumerate(factor.scope) for v in factor.scope[i + 1 :])
    return graph


def elimination_cliques(
    graph: nx.Graph, cards: Mapping[str, int], most_cells: int | None = None
) -> list[tuple[str, frozenset[str]]]:
    """Eliminate by weighted min-fill; return each variable with its neighbours at that moment, in order.

    Ties go to the smaller clique table, then to the name, so that runs repeat. Raises NetworkTooWide as soon as a
    variable and its neighbours have more than most_cells states together.

    >>> [v for v, _ in elimination_cliques(nx.path_graph(["a", "b", "c"]), dict.fromkeys("abc", 2))]
    ['a', 'b', 'c']
    """
    near = {v: set(graph.adj[v]) for v in graph}

    size = {v: log2(cards[v]) for v in near}

    def score(v: str) -> tuple[float, float, str]:
        neighbours = near[v]
        twice = 0.0
        for u in neighbours:
            if len(missing := neighbours - near[u]) > 1:  # u itself is always among them
                twice += size[u] * (sum(map(size.__getitem__, missing)) - size[u])
        return round(twice / 2, 9), round(size[v] + sum(map(size.__getitem__, neighbours)), 9), v

    scores = {v: score(v) for v in near}
    heap = list(scores.values())
    heapify(heap)
    order = []
    while heap:
        entry = heappop(heap)
        v = entry[2]
        if scores.get(v) != entry:
            continue
        neighbours = near.pop(v)
        if most_cells is not None and (cells := prod(cards[u] for u in (v, *neighbours))) > most_cells:
            raise NetworkTooWide((v, *neighbours), cells)
        del scores[v]
        order.append((v, frozenset(neighbours)))
        for changed in _connect(near, v, neighbours):
            scores[changed] = score(changed)
            heappush(heap, scores[changed])
    return order


def _connect(near: dict[str, set[str]], gone: str, neighbours: set[str]) -> set[str]:
    """Take a variable out and join its neighbours; return those whose score may have changed."""
    touched = set(neighbours)
    for u in neighbours:
        near[u].discard(gone)
    listed = sorted(neighbours)
    for i, u in enumerate(listed):
        for w in listed[i + 1 :]:
            if w not in near[u]:
                near[u].add(w)
                near[w].add(u)
                touched |= near[u] & near[w]
    return touched
