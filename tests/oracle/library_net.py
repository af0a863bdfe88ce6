"""One bike as it stands, in the reference library, as favourably to it as we know how.

A condition is a chain of two-way maxima, each joint of which takes one parent in: state(so far), level(parent) ->
state; no family table is built, and no node stands for a link. A test is a chain of minima over "the first rung that
this driver sets off", so its last node is the outcome itself and rungs with common drivers do not marry. That rungs were passed by is a leaf seen at each driver by itself. Only what a look at a
behaviour sees, each parent's contribution, is a node of its own: several looks share it. The order in which a chain
takes its parents in decides how wide the library's tree becomes, so several are tried and the narrowest is kept.
One situation only; tests/oracle/test_reference_library.py builds several.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any

import networkx as nx
import numpy as np

from diagnose.inference.factor import Table
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.triangulation import elimination_cliques
from diagnose.model import ABSENT, PRESENT, AllOf
from diagnose.network.graph import BikeGraph

try:
    import pyagrum as gum
except ImportError:  # only the benchmark that says so needs it
    gum = None


def names_of(bike: BikeGraph, node: str) -> tuple[str, ...]:
    """The levels of a cause or condition."""
    return bike.conditions[node].levels if node in bike.conditions else (ABSENT, PRESENT)


@dataclass
class LibraryNet:
    """A bike's causes and conditions, and as many ladders as were laid over them."""

    bike: BikeGraph
    place: Mapping[str, int] = field(default_factory=dict)
    """Where each parent comes in a chain; by default causes before conditions."""
    net: Any = field(default_factory=lambda: gum.BayesNet())
    built: set[str] = field(default_factory=set)
    seen: dict[str, int] = field(default_factory=dict)
    """Node -> the state it was seen in."""

    def node(self, name: str, states: int, parents: Sequence[str], table: Table) -> str:
        """Add a node; table: one axis for each parent, then its own states."""
        self.net.add(gum.LabelizedVariable(name, name, states))
        for p in parents:
            self.net.addArc(p, name)
        self.net.cpt(name).fillWith(table.transpose([*reversed(range(len(parents))), len(parents)]).ravel().tolist())
        return name

    def causes(self) -> None:
        """Add every mechanism and cause."""
        for m, p in self.bike.mechanisms.items():
            self.node(m, 2, [], np.array([1 - p, p]))
        for r in self.bike.roots.values():
            if r.mechanism:
                self.node(r.id, 2, [r.mechanism], np.array([[1 - r.off, r.off], [1 - r.on, r.on]]))
            else:
                self.node(r.id, 2, [], np.array([1 - r.marginal, r.marginal]))

    def need(self, nodes: Iterable[str]) -> None:
        """Add the conditions at or above the nodes that are not there yet."""
        above = {a for n in nodes for a in self.bike.ancestors.get(n, ())}
        for c in self.bike.order:
            if c in above - self.built and c not in self.bike.behaviours:
                self.built.add(c)
                self._condition(c)

    def _condition(self, c: str) -> None:
        bike, names = self.bike, names_of(self.bike, c)
        parts = [((link.parent,), self._does(c, link.parent, link.table)) for link in bike.links[c]]
        parts += [
            (tuple(both.parents), self._does_both(c, both))
            for both in bike.conditions[c].all_of
            if all(p in bike.roots or p in self.built for p in both.parents)
        ]
        start = np.zeros(len(names))
        start[0] = 1.0
        self._chain(c, len(names), start, parts, np.maximum)

    def _chain(
        self, name: str, states: int, start: Table, parts: Sequence[tuple[tuple[str, ...], Table]], how: np.ufunc
    ) -> None:
        """Add a chain of maxima or minima whose last node bears the name.

        start: P(state) before any part; parts: parents and P(what they come to | parents), its axis last.
        """
        larger = np.zeros((states,) * 3)
        for a, b in itertools.product(range(states), repeat=2):
            larger[a, b, how(a, b)] = 1.0
        if not parts:
            self.node(name, states, [], start)
        so_far = ""
        for n, (parents, table) in enumerate(sorted(parts, key=lambda part: max(map(self._comes, part[0])))):
            step = np.tensordot(table, larger, axes=(-1, 1))  # parents..., so far, state
            this = name if n == len(parts) - 1 else f"{name}<{n}"
            if n == 0:
                self.node(this, states, parents, np.tensordot(start, step, axes=(0, -2)))
            else:
                self.node(this, states, [*parents, so_far], step)
            so_far = this

    def _comes(self, node: str) -> int:
        parent = node.split(">")[0]
        return self.place.get(parent, int(parent in self.bike.conditions))

    def _does(self, child: str, parent: str, by_level: Mapping[str, Mapping[str, float]]) -> Table:
        """P(what a parent alone brings about | its level)."""
        return np.array([self._row(child, by_level.get(level, {})) for level in names_of(self.bike, parent)])

    def _row(self, child: str, chances: Mapping[str, float]) -> list[float]:
        worse = [chances.get(level, 0.0) for level in names_of(self.bike, child)[1:]]
        return [1 - sum(worse), *worse]

    def _does_both(self, child: str, both: AllOf) -> Table:
        levels = [names_of(self.bike, p) for p in both.parents]
        shape = [len(some) for some in levels]
        table = np.zeros((*shape, len(names_of(self.bike, child))))
        for at in itertools.product(*map(range, shape)):
            acts = all(some[n] in need for some, n, need in zip(levels, at, both.parents.values(), strict=True))
            table[at] = self._row(child, both.chances if acts else {})
        return table

    def look(self, name: str, ladder: Sequence[Rung]) -> str:
        """Add a test; the node's states are the rungs in order, then "none of them"."""
        drivers = list(dict.fromkeys(d for rung in ladder for d in rung.drivers))
        self.need(drivers)
        parts = []
        for d in drivers:
            chances = [[rung.drivers.get(d, {}).get(level, 0.0) for rung in ladder] for level in names_of(self.bike, d)]
            table = np.array([first_to_fire(some) for some in chances])
            parts += [((node,), table) for node in self._seen_of(d)]
        self._chain(name, len(ladder) + 1, first_to_fire([rung.base for rung in ladder]), parts, np.minimum)
        return name

    def observe(self, name: str, seen: Observation) -> None:
        """Add what was seen of a test: each driver quiet in the rungs passed by, and the rung that fired."""
        for d in sorted({d for rung in seen.passed for d in rung.drivers}):
            self.need([d])
            quiet = [
                prod(1 - rung.drivers.get(d, {}).get(level, 0.0) for rung in seen.passed)
                for level in names_of(self.bike, d)
            ]
            for node in self._seen_of(d):
                self.seen[self.node(f"{name}|{node}", 2, [node], np.array([[p, 1 - p] for p in quiet]))] = 0
        if seen.fired:
            self.seen[self.look(name, [seen.fired])] = 0

    def widest(self, targets: Iterable[str]) -> int:
        """Cells of the widest clique by min-fill, what is barren left out."""
        graph, cards = nx.Graph(), {}
        stack = [*self.seen, *targets]
        while stack:
            v = stack.pop()
            if v not in cards:
                cards[v] = self.net.variable(v).domainSize()
                above = [self.net.variable(p).name() for p in self.net.parents(v)]
                stack += above
                graph.add_nodes_from([v, *above])
                graph.add_edges_from(itertools.combinations([v, *above], 2))
        graph.remove_nodes_from(self.seen)
        return max(prod(cards[u] for u in near | {v}) for v, near in elimination_cliques(graph, cards))

    def _seen_of(self, driver: str) -> list[str]:
        """The nodes by which a test sees a driver: of a behaviour, what each parent does to it."""
        if driver not in self.bike.behaviours:
            return [driver] if driver in self.bike.roots or driver in self.bike.conditions else []
        found = []
        for link in self.bike.links[driver]:
            name = f"{link.parent}>{driver}"
            if name not in self.built:
                self.built.add(name)
                self.node(name, 2, [link.parent], self._does(driver, link.parent, link.table))
            found.append(name)
        return found


def first_to_fire(chances: Sequence[float]) -> Table:
    """P(the first of independent rungs that fires is number k), "none" last."""
    passes = np.cumprod([1.0, *(1 - p for p in chances)])
    return np.append(passes[:-1] - passes[1:], passes[-1])


def narrowest(
    bike: BikeGraph,
    observations: Sequence[Observation],
    orders: Sequence[Mapping[str, int]],
    ladder: Sequence[Rung] = (),
) -> tuple[LibraryNet, int]:
    """Return the network of what was seen (and of one test, named "test") in the best of some orders, and its cells."""
    tried = []
    for place in orders:
        net = LibraryNet(bike, place)
        net.causes()
        for n, seen in enumerate(observations):
            net.observe(f"seen:{n}", seen)
        if ladder:
            net.look("test", ladder)
        tried.append((net.widest(["test"] if ladder else []), len(tried), net))
    cells, _, best = min(tried)
    return best, cells
