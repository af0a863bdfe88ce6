"""Nothing leads back to itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from diagnose.model import Entry
from diagnose.problems import Problem
from diagnose.reading.draft import Draft
from diagnose.reading.layers import Trail

MOST_CYCLES = 20
"""After so many in one graph the rest is left for the next run."""


def conditions(draft: Draft) -> Iterator[Problem]:
    """No condition leads to itself, straight or through others."""
    nodes = draft.knowledge.conditions
    edges: dict[str, set[str]] = {node: set() for node in nodes}
    for condition in nodes.values():
        edges[condition.id] |= {link.child for link in condition.links if link.child in nodes}
        for part in condition.all_of:
            for parent in part.parents:
                if parent in nodes:
                    edges[parent].add(condition.id)
    links = {node: {link.child for link in condition.links} for node, condition in nodes.items()}

    def step(cycle: list[str]) -> tuple[Entry, Trail]:
        for parent, child in pairwise(cycle):
            if child in links[parent]:
                return nodes[parent], ("leads_to", child)
        return nodes[cycle[0]], ("all_of",)

    says = "conditions lead back to themselves: {}"
    yield from _cycles(draft, edges, step, says, "condition-cycle", "one link fewer")


def access(draft: Draft) -> Iterator[Problem]:
    """No access needs itself first."""
    known = draft.knowledge.access
    edges = {name: {need for need in entry.needs if need in known} for name, entry in known.items()}

    def step(cycle: list[str]) -> tuple[Entry, Trail]:
        return known[cycle[0]], ("needs", cycle[1])

    yield from _cycles(draft, edges, step, "access needs itself first: {}", "access-cycle", "one need fewer")


def facts(draft: Draft) -> Iterator[Problem]:
    """No fact is asked only if an answer is known that is asked only after it."""
    known = draft.knowledge.facts
    edges = {name: {gate for gate in fact.applies if gate in known} for name, fact in known.items()}

    def step(cycle: list[str]) -> tuple[Entry, Trail]:
        return known[cycle[0]], ("applies", cycle[1])

    yield from _cycles(draft, edges, step, "facts wait for each other: {}", "fact-cycle", "one gate fewer")


def _cycles(
    draft: Draft,
    edges: Mapping[str, set[str]],
    step: Callable[[list[str]], tuple[Entry, Trail]],
    says: str,
    rule: str,
    write: str,
) -> Iterator[Problem]:
    """Yield a mistake for each cycle; every cycle found is cut before the next is looked for."""
    left = {node: set(others) for node, others in edges.items()}
    for _ in range(MOST_CYCLES):
        try:
            TopologicalSorter({node: sorted(others) for node, others in left.items()}).prepare()
            return
        except CycleError as error:
            found = list(reversed(error.args[1]))[:-1]
        first = found.index(min(found))
        cycle = [*found[first:], *found[:first], found[first]]
        entry, trail = step(cycle)
        yield draft.problem(entry, trail, says.format(" -> ".join(cycle)), rule, write, key=True)
        left[cycle[0]].discard(cycle[1])
