"""The decision graph: mechanisms, causes, conditions, tests, repairs and access of one bike, in networkx.

Nodes that carry belief (mechanism, cause, condition) go by their id; the others by kind and id
("test:spark_at_gap"), since a test may bear the name of a cause. Edges have a `kind`: grows_from
(mechanism -> cause), leads_to (cause or condition -> condition), shows_in (-> test),
cured_by (cause -> repair), reached_through (test or repair -> access).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import networkx as nx

from diagnose.model import (
    BEHAVIOUR,
    CONTEXTS,
    PRESENT,
    Cause,
    Condition,
    Knowledge,
    Link,
    may_apply,
    share,
)
from diagnose.network.kept import Kept
from diagnose.network.priors import by_context, odds_factors, split_by_mechanism, times_odds

MOST_FAMILIES, MOST_PRODUCTS = 2000, 2000
"""So many of them are kept for a bike: what one step takes, some times over (measured)."""

Value = TypeVar("Value")

LEAK = "other:"
"""What the id of a leak, shown as a cause of its own, begins with."""


@dataclass(frozen=True, slots=True)
class Root:
    """A cause as the network sees it. off, on: P(present) without and with its mechanism (equal where it has none)."""

    id: str
    name: str
    mechanism: str | None
    off: float
    on: float
    marginal: float
    leak_of: str | None = None


@dataclass(frozen=True, eq=False)
class BikeGraph:
    """One bike's decision graph and what inference reads off it."""

    graph: nx.DiGraph
    mechanisms: Mapping[str, float]
    roots: Mapping[str, Root]
    conditions: Mapping[str, Condition]
    links: Mapping[str, tuple[Link, ...]]
    """Condition -> links into it, leak included."""
    families: dict[tuple[object, ...], Any] = field(default_factory=lambda: Kept(MOST_FAMILIES), repr=False)
    """Families worked out before, by condition and what its parents can be."""
    products: dict[tuple[int, ...], Any] = field(default_factory=lambda: Kept(MOST_PRODUCTS), repr=False)
    """Causes summed out before, see inference/fold.py."""

    def remembered(self, key: tuple[object, ...], make: Callable[[], Value]) -> Value:
        """Return what was made for a key before, else make it now and keep it among the families."""
        if key not in self.families:
            self.families[key] = make()
        found: Value = self.families[key]
        return found

    @cached_property
    def untied(self) -> BikeGraph:
        """The same bike, each cause by itself with its marginal: none grows from a mechanism. It remembers the same."""
        roots = {
            name: replace(root, mechanism=None, off=root.marginal, on=root.marginal)
            for name, root in self.roots.items()
        }
        return replace(self, mechanisms={}, roots=roots)

    @cached_property
    def order(self) -> tuple[str, ...]:
        """Conditions, parents before children."""
        return tuple(n for n in nx.topological_sort(self._beliefs) if n in self.conditions)

    @cached_property
    def ancestors(self) -> dict[str, frozenset[str]]:
        """Causes and conditions from which a cause or condition can come about, itself included."""
        found: dict[str, frozenset[str]] = {root: frozenset((root,)) for root in self.roots}
        for node in self.order:
            above = [found[p] for p in self.parents(node)]
            found[node] = frozenset((node,)).union(*above)
        return found

    def above(self, nodes: Iterable[str]) -> frozenset[str]:
        """Return the causes and conditions from which any of these can come about, they themselves included."""
        return frozenset[str]().union(*(self.ancestors.get(node, frozenset()) for node in nodes))

    @cached_property
    def behaviours(self) -> frozenset[str]:
        """Conditions of the system `behaviour`: what the bike does. They have two levels and lead to nothing."""
        return frozenset(c.id for c in self.conditions.values() if c.system == BEHAVIOUR)

    def parents(self, condition: str) -> list[str]:
        """Causes and conditions with a link into the condition, or that one of its ANDs needs."""
        linked = [link.parent for link in self.links[condition]]
        needed = [p for both in self.conditions[condition].all_of for p in both.parents]
        return list(dict.fromkeys(linked + [p for p in needed if p in self.roots or p in self.conditions]))

    @cached_property
    def _beliefs(self) -> nx.DiGraph:
        return self.graph.edge_subgraph([(u, v) for u, v, kind in self.graph.edges(data="kind") if kind == "leads_to"])


def decision_graph(knowledge: Knowledge, facts: Mapping[str, str]) -> BikeGraph:
    """Compile the knowledge for a bike of these facts; a fact not given rules nothing out."""
    odds = odds_factors(facts, knowledge.facts.values())
    parked = knowledge.facts.get("parked")
    stood = tuple(parked.options[context].share for context in CONTEXTS) if parked else ()
    conditions = {c.id: c for c in knowledge.conditions.values() if may_apply(c.applies, facts)}
    causes = [c for c in knowledge.causes.values() if may_apply(c.applies, facts)]
    mechanisms = {
        m.id: times_odds(by_context(m.prior, facts, stood), odds.get(m.id, 1.0)) for m in knowledge.mechanisms.values()
    }
    roots = {c.id: _root(c, knowledge, mechanisms, facts, odds, stood) for c in causes}
    roots |= {LEAK + c.id: _leak(c, share(c.applies, facts, knowledge.facts)) for c in conditions.values() if c.leak}
    links: dict[str, list[Link]] = {c: [] for c in conditions}
    for link in _links(causes, conditions.values()):
        if link.child in links:
            links[link.child].append(link)
    grown = {root.mechanism for root in roots.values()}
    used = {m: p for m, p in mechanisms.items() if m in grown}
    graph = _belief_graph(used, roots, conditions, links)
    _add_work(graph, knowledge, facts)
    return BikeGraph(graph, used, roots, conditions, {c: tuple(into) for c, into in links.items()})


def _root(
    cause: Cause,
    knowledge: Knowledge,
    mechanisms: Mapping[str, float],
    facts: Mapping[str, str],
    odds: Mapping[str, float],
    stood: tuple[float, ...],
) -> Root:
    """A cause's prior: by context, history, and how many such bikes can have it at all; then split by its mechanism."""
    factor = odds.get(cause.id, 1.0) * odds.get(cause.mechanism or "", 1.0)
    p = times_odds(by_context(cause.prior, facts, stood), factor) * share(cause.applies, facts, knowledge.facts)
    if cause.mechanism is None:
        return Root(cause.id, cause.name, None, p, p, p)
    ratio = knowledge.mechanisms[cause.mechanism].odds_ratio
    off, on = split_by_mechanism(p, mechanisms[cause.mechanism], ratio)
    return Root(cause.id, cause.name, cause.mechanism, off, on, p)


def _leak(condition: Condition, part: float) -> Root:
    p = sum(condition.leak.values()) * part
    return Root(LEAK + condition.id, condition.leak_name, None, p, p, p, leak_of=condition.id)


def _links(causes: Iterable[Cause], conditions: Iterable[Condition]) -> Iterable[Link]:
    """Every link of the bike; a leak's levels are what it does when it is present."""
    for cause in causes:
        yield from cause.links
    for condition in conditions:
        yield from condition.links
        total = sum(condition.leak.values())
        if total > 0:
            table = {PRESENT: {level: p / total for level, p in condition.leak.items()}}
            yield Link(parent=LEAK + condition.id, child=condition.id, table=table)


def _belief_graph(
    mechanisms: Mapping[str, float],
    roots: Mapping[str, Root],
    conditions: Mapping[str, Condition],
    links: Mapping[str, list[Link]],
) -> nx.DiGraph:
    graph = nx.DiGraph()
    graph.add_nodes_from((m, {"kind": "mechanism", "prior": p}) for m, p in mechanisms.items())
    graph.add_nodes_from((r, {"kind": "cause", "prior": root.marginal}) for r, root in roots.items())
    graph.add_nodes_from((c, {"kind": "condition"}) for c in conditions)
    for root in roots.values():
        if root.mechanism:
            graph.add_edge(root.mechanism, root.id, kind="grows_from")
    for child, into in links.items():
        for link in into:
            graph.add_edge(link.parent, child, kind="leads_to", table=link.table)
        for both in conditions[child].all_of:
            for parent in both.parents:
                if parent in graph and not graph.has_edge(parent, child):
                    graph.add_edge(parent, child, kind="leads_to", table={})
    return graph


def _add_work(graph: nx.DiGraph, knowledge: Knowledge, facts: Mapping[str, str]) -> None:
    """Add tests, repairs and access to the graph."""
    for access in knowledge.access.values():
        if may_apply(access.applies, facts):
            graph.add_node(f"access:{access.id}", kind="access")
            for needed in access.needs:
                graph.add_edge(f"access:{access.id}", f"access:{needed}", kind="reached_through")
    for test in knowledge.tests.values():
        if not may_apply(test.applies, facts):
            continue
        node = f"test:{test.id}"
        graph.add_node(node, kind="symptom" if test.symptom else "test")
        graph.add_edges_from(((d, node) for d in sorted(test.drivers) if d in graph), kind="shows_in")
        graph.add_edges_from(((node, f"access:{a}") for a in test.access), kind="reached_through")
    for repair in knowledge.repairs.values():
        cured = [cause for cause in repair.cures if cause in graph]
        if cured and may_apply(repair.applies, facts):
            node = f"repair:{repair.id}"
            graph.add_node(node, kind="repair")
            graph.add_edges_from(((cause, node) for cause in cured), kind="cured_by")
            graph.add_edges_from(((node, f"access:{a}") for a in repair.access), kind="reached_through")
