"""Leaves: conditions of two levels that lead to nothing, what the bike does for the most part. They have many parents.

That a leaf was healthy in some situations means that no parent contributed anything in any of them: a product
over the parents, in which no two of them meet. So whatever was seen of a leaf is put as a sum over binary
marks, each of which adds a situation to those in which it was healthy:
- a rung that fired and counts on it for certain: P(fires) = 1 - P(passes), and it passes only if the leaf was
  healthy; the rung's own helper variable is the mark;
- a rung that may have missed it, or a leaf that is asked for: a variable of its own, present = anything less healthy.
Seen healthy for certain it needs neither. Several situations tie a parent once, since one draw decides a link
in all of them: the chance that it contributes nothing is that of the worst of them, not a product.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.inference.factor import Factor, Table
from diagnose.inference.ladder import Observation, passing
from diagnose.inference.nodes import Nodes, Variable
from diagnose.model import ABSENT, PRESENT
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of a leaf. healthy: where it was for certain. marks: variable -> where it was if that is 1."""

    healthy: frozenset[Situation] = frozenset()
    marks: tuple[tuple[str, Situation], ...] = ()

    @property
    def beside(self) -> tuple[str, ...]:
        """The marks, in the order in which they stand beside a parent."""
        return tuple(mark for mark, _ in self.marks)

    def healthy_too(self, situation: Situation) -> Told:
        """Return the same with one more situation in which it was healthy."""
        return Told(self.healthy | {situation}, self.marks)


def helper_of(number: int) -> str:
    """Return the variable over which a rung that fired is summed: 0 is certainty, 1 takes off "it passed"."""
    return f"seen:{number}"


def missed(bike: BikeGraph, observations: Sequence[Observation]) -> dict[str, set[Situation]]:
    """Return the leaves that some observation may have missed, and in which situations: these need a variable."""
    found: dict[str, set[Situation]] = {}
    for seen in observations:
        for ladder in (seen.passed, (seen.fired,) if seen.fired else ()):
            for leaf, by_level in passing(ladder)[1].items():
                if leaf in bike.leaves and any(by_level.values()):
                    found.setdefault(leaf, set()).add(seen.situation)
    return found


def add_variables(nodes: Nodes, leaf: str, groups: Iterable[Sequence[int]]) -> list[Factor]:
    """Give a leaf a variable for each group of columns that are one to it; return what ties those to their marks."""
    factors = []
    for columns in groups:
        name = f"{leaf}@{columns[0]}"
        levels = np.full((2, len(nodes.situations)), -1, dtype=np.int64)
        levels[:, list(columns)] = [[0], [1]]
        nodes.variables[name] = Variable(name, (ABSENT, PRESENT), levels)
        nodes.leaf_at.update({(leaf, column): name for column in columns})
        factors.append(Factor((name, _mark(name)), np.array([[0.0, 1.0], [1.0, -1.0]])))
    return factors


def _mark(name: str) -> str:
    return f"within:{name}"


def told(bike: BikeGraph, nodes: Nodes, observations: Sequence[Observation]) -> dict[str, Told]:
    """Return for each leaf that was seen or has a variable what ties its parents."""
    healthy: dict[str, set[Situation]] = {}
    marks: dict[str, dict[str, Situation]] = {}
    for (leaf, column), name in nodes.leaf_at.items():
        marks.setdefault(leaf, {}).setdefault(_mark(name), nodes.situations[column])
    for n, seen in enumerate(observations):
        for leaf in passing(seen.passed)[1]:
            if leaf in bike.leaves and nodes.find(leaf, seen.situation) is None:
                healthy.setdefault(leaf, set()).add(seen.situation)
        for leaf in seen.fired.drivers if seen.fired else ():
            if leaf in bike.leaves and nodes.find(leaf, seen.situation) is None:
                marks.setdefault(leaf, {})[helper_of(n)] = seen.situation
    return {
        leaf: Told(frozenset(healthy.get(leaf, ())), tuple(sorted(marks.get(leaf, {}).items(), key=lambda m: m[0])))
        for leaf in sorted(healthy.keys() | marks.keys())
    }


def silence(bike: BikeGraph, nodes: Nodes, leaf: str, known: Told) -> dict[str, Table]:
    """Return for each parent of a leaf the chance that it contributes nothing where the leaf was healthy.

    Shape (states of the parent, 2 for each mark). A situation in which the leaf is held healthy asks nothing.
    """
    found: dict[str, Table] = {}
    place = nodes.place
    for link in bike.links[leaf]:
        if link.parent in nodes.variables:
            parent = nodes.variables[link.parent]
            quiet = np.array([1 - sum(link.table.get(level, {}).values()) for level in parent.level_names])
            found[link.parent] = _worst(quiet, parent, leaf, known, place)
    return found


def _worst(quiet: Table, parent: Variable, leaf: str, known: Told, place: Mapping[Situation, int]) -> Table:
    table: Table = np.ones((len(parent.levels), *(2 for _ in known.marks)))
    asked = [(situation, table) for situation in known.healthy]
    asked += [(situation, np.moveaxis(table, n, 0)[1]) for n, (_, situation) in enumerate(known.marks, start=1)]
    for situation, part in asked:
        if leaf not in situation.held:
            weights = quiet[parent.levels[:, place[situation]]]
            np.minimum(part, weights.reshape(-1, *(1 for _ in part.shape[1:])), out=part)
    return table
