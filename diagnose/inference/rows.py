"""Many evidence sets for one tree: each row weighs causes and conditions, and may ask that some be healthy.

A condition that nothing depends on and of which nothing was seen needs no variable: that it is healthy is a
product over its parents (each must contribute nothing), and a weight p on it is
(1 - p) [anything] + p [healthy], two rows of the batch. So behaviours, which have many parents, do not make
the tree wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from diagnose.inference.compile import Network
from diagnose.inference.factor import Table
from diagnose.inference.fold import Folded
from diagnose.inference.junction_tree import JunctionTree, Propagation
from diagnose.inference.ladder import Rung, passing
from diagnose.inference.leaves import Told, silence
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation

MOST_LEAVES = 4
"""A ladder with more leaf conditions than this keeps them as variables instead of doubling rows."""


def needed_nodes(bike: BikeGraph, ladder: Sequence[Rung]) -> set[str]:
    """Return what the network must hold to look ahead to a ladder; leaves only where they are too many for rows."""
    by_driver = passing(ladder)[1]
    missed = {d for d, by_level in by_driver.items() if d in bike.leaves and any(by_level.values())}
    return without_leaves(bike, set(by_driver) - missed) | (
        missed if len(missed) > MOST_LEAVES else without_leaves(bike, missed)
    )


def without_leaves(bike: BikeGraph, nodes: Iterable[str]) -> set[str]:
    """Return what the network must hold to ask whether the nodes are healthy: of a leaf, its parents."""
    found: set[str] = set()
    for node in nodes:
        found.update(bike.parents(node) if node in bike.leaves else (node,))
    return found


@dataclass(frozen=True, slots=True)
class Part:
    """One row's share in a weight: its number and the factor it comes with."""

    row: int
    factor: float


class Rows:
    """Evidence sets over one network. Row 0 is the evidence alone."""

    def __init__(self, bike: BikeGraph, network: Network) -> None:
        """Begin with row 0."""
        self._bike, self._network = bike, network
        self._by_scope: dict[tuple[str, ...], dict[int, Table]] = {}
        """A node and the marks of leaves beside it -> row -> weights."""
        self.count = 1

    def passing(self, ladder: Sequence[Rung], situation: Situation) -> list[Part]:
        """Add rows whose weighted sum is P(all rungs pass, ...)."""
        constant, by_driver = passing(ladder)
        free = {d: levels for d, levels in by_driver.items() if self._is_free(d, situation)}
        plain = {d: levels for d, levels in by_driver.items() if d not in free}
        parts = []
        names = sorted(free)
        for k in range(len(names) + 1):
            for healthy in combinations(names, k):
                factor = constant
                for d in names:
                    stays = next(iter(free[d].values()))
                    factor *= 1 - stays if d in healthy else stays
                if factor > 0:
                    parts.append(Part(self.add(plain, healthy, situation), factor))
        return parts

    def add(self, by_driver: Mapping[str, Mapping[str, float]], healthy: Iterable[str], situation: Situation) -> int:
        """Add one row that weighs nodes by level and asks the others to be healthy; return its number."""
        row = self.count
        self.count += 1
        for node, by_level in by_driver.items():
            self._weigh(node, row, situation, by_level)
        for node in healthy:
            self._healthy(node, row, situation)
        return row

    def _is_free(self, node: str, situation: Situation) -> bool:
        """Whether a node is a leaf that the network does without."""
        return node in self._bike.leaves and self._network.nodes.find(node, situation) is None

    def _weigh(self, node: str, row: int, situation: Situation, by_level: Mapping[str, float]) -> None:
        weights = self._network.nodes.weights(node, situation, by_level)
        if weights is not None:
            self._multiply((weights[0],), row, weights[1])

    def _multiply(self, scope: tuple[str, ...], row: int, weights: Table) -> None:
        mine = self._by_scope.setdefault(scope, {})
        mine[row] = mine[row] * weights if row in mine else weights

    def _healthy(self, node: str, row: int, situation: Situation) -> None:
        """Ask a condition to be healthy; of a free leaf, that every parent contributes nothing."""
        condition = self._bike.conditions.get(node)
        if condition is None or node in situation.held:
            return
        if not self._is_free(node, situation):
            self._weigh(node, row, situation, dict.fromkeys(condition.levels[1:], 0.0))
            return
        nodes = self._network.nodes
        known = self._network.told.get(node, Told())
        before = silence(self._bike, nodes, node, known)
        for parent, both in silence(self._bike, nodes, node, known.healthy_too(situation)).items():
            ratio = np.divide(both, before[parent], out=np.zeros_like(both), where=before[parent] > 0)
            self._multiply((parent, *known.beside), row, ratio)

    def weights(self, first: int = 0, last: int | None = None) -> list[tuple[tuple[str, ...], Table]]:
        """Return what rows first to last multiply into the network; a weight on a cause becomes one on its scope."""
        last = self.count if last is None else last
        found = []
        for scope, rows in self._asked(first, last):
            if rows:
                table = np.ones((*next(iter(rows.values())).shape, last - first))
                for row, w in rows.items():
                    table[..., row - first] = w
                found.append((scope, table))
        return found

    def _asked(self, first: int, last: int) -> Iterator[tuple[tuple[str, ...], dict[int, Table]]]:
        """What the rows weigh, by the variables that are in the network."""
        for scope, rows in self._by_scope.items():
            if self._summed_out(scope[0]) is None:
                yield scope, {row: w for row, w in rows.items() if first <= row < last}
        for cause, folded in self._causes_asked():
            marks, on_cause = self._on_cause(cause, first, last)
            yield folded.scope, {row: folded.share(w, marks) for row, w in on_cause.items()}

    def _summed_out(self, node: str) -> Folded | None:
        """A node's fold, if it is a cause that the network itself no longer holds."""
        folded = self._network.folded.get(node)
        return None if folded is None or folded.scope == (node,) else folded

    def _causes_asked(self) -> Iterator[tuple[str, Folded]]:
        for cause in dict.fromkeys(scope[0] for scope in self._by_scope):
            folded = self._summed_out(cause)
            if folded is not None:
                yield cause, folded

    def _on_cause(self, cause: str, first: int, last: int) -> tuple[tuple[str, ...], dict[int, Table]]:
        """What rows weigh a cause with: the marks beside it, and row -> weights over it and those."""
        mine = {scope[1:]: rows for scope, rows in self._by_scope.items() if scope[0] == cause}
        marks = tuple(sorted({mark for some in mine for mark in some}))
        states = len(self._network.nodes.variables[cause].levels)
        whole: dict[int, Table] = {}
        for some, rows in mine.items():
            shape = (states, *(2 if mark in some else 1 for mark in marks))
            for row, w in rows.items():
                if first <= row < last:
                    before = whole.get(row, np.ones((states, *(2 for _ in marks))))
                    whole[row] = before * w.reshape(shape)
        return marks, whole

    def propagated(self, tree: JunctionTree, now: Situation, at_once: int) -> tuple[Table, Table]:
        """Return log P(row's evidence), shape (rows,), and P(cause present now | row), shape (causes, rows)."""
        logs, causes = [], []
        for first in range(0, self.count, at_once):
            last = min(self.count, first + at_once)
            done = tree.propagate(self.weights(first, last))
            logs.append(np.broadcast_to(done.log_evidence, (last - first,)))
            causes.append(self.causes_now(done, now, first, last))
        return np.concatenate(logs), np.concatenate(causes, axis=1)

    def causes_now(self, done: Propagation, now: Situation, first: int, last: int) -> Table:
        """Return P(cause present now | row) of some rows, shape (causes, rows).

        A cause that is cut out for now still counts as present. done: those rows propagated, or more.
        """
        network = self._network
        roots = list(self._bike.roots)
        place = network.nodes.place[now]
        by_scope: dict[tuple[str, ...], list[int]] = {}
        for n, root in enumerate(roots):
            by_scope.setdefault(network.folded[root].scope, []).append(n)
        found = np.empty((len(roots), last - first))
        for scope, numbers in by_scope.items():
            joint = done.joint(scope)
            shares = [network.folded[roots[n]].share(self._present(roots[n], place)) for n in numbers]
            present = np.stack(shares).reshape(len(numbers), -1) @ joint.reshape(-1, joint.shape[-1])
            found[numbers] = present[:, : last - first]
        self._correct(found, done, roots, place, first)
        result: Table = np.clip(found, 0.0, 1.0)
        return result

    def _present(self, root: str, place: int) -> Table:
        result: Table = (self._network.nodes.variables[root].levels[:, place] == 1).astype(np.float64)
        return result

    def _correct(self, found: Table, done: Propagation, roots: Sequence[str], place: int, first: int) -> None:
        """Set right the causes that a row itself weighs: their share of the scope has changed with it."""
        number = {root: n for n, root in enumerate(roots)}
        for node, cause in self._causes_asked():
            marks, rows = self._on_cause(node, first, first + found.shape[1])
            joint = done.joint(cause.scope)
            present = self._present(node, place).reshape(-1, *(1 for _ in marks))
            for row, w in rows.items():
                whole = cause.share(w, marks)
                ratio = np.divide(cause.share(w * present, marks), whole, out=np.zeros_like(whole), where=whole != 0)
                this = joint[..., row - first if joint.shape[-1] > 1 else 0]
                found[number[node], row - first] = (this * ratio).sum()
