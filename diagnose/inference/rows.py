"""Many evidence sets for one tree: each row weighs causes and conditions, and may ask that some be healthy.

A condition that nothing depends on and of which nothing was seen needs no variable: that it is healthy is a
product over its parents (each must contribute nothing), and a weight p on it is
(1 - p) [anything] + p [healthy], two rows of the batch. So behaviours, which have many parents, do not make
the tree wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from diagnose.inference.compile import Network, silence
from diagnose.inference.factor import Table
from diagnose.inference.junction_tree import JunctionTree, Propagation
from diagnose.inference.ladder import Rung, passing
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation

MOST_LEAVES = 4
"""A ladder with more leaf conditions than this keeps them as variables instead of doubling rows."""


def leaves_of(bike: BikeGraph, ladder: Sequence[Rung]) -> frozenset[str]:
    """Return the leaf conditions among the drivers of a ladder."""
    return frozenset(d for rung in ladder for d in rung.drivers if d in bike.leaves)


def needed_nodes(bike: BikeGraph, nodes: Iterable[str], kept: frozenset[str]) -> set[str]:
    """Return what the network must hold to ask about the nodes: a leaf that is not kept needs only its parents."""
    found: set[str] = set()
    for node in nodes:
        found.update(bike.parents(node) if node in bike.leaves and node not in kept else (node,))
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
        self._by_node: dict[str, dict[int, Table]] = {}
        self.count = 1

    def passing(self, ladder: Sequence[Rung], situation: Situation) -> list[Part]:
        """Add rows whose weighted sum is P(all rungs pass, ...)."""
        constant, by_driver = passing(ladder)
        free = {d: levels for d, levels in by_driver.items() if self._is_free(d)}
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

    def _is_free(self, node: str) -> bool:
        """Whether a node is a leaf that the network does without."""
        return node in self._bike.leaves and node not in self._network.variables

    def _weigh(self, node: str, row: int, situation: Situation, by_level: Mapping[str, float]) -> None:
        weights = self._network.weights(node, situation, by_level)
        if weights is not None:
            self._multiply(node, row, weights)

    def _multiply(self, node: str, row: int, weights: Table) -> None:
        mine = self._by_node.setdefault(node, {})
        mine[row] = mine[row] * weights if row in mine else weights

    def _healthy(self, node: str, row: int, situation: Situation) -> None:
        """Ask a condition to be healthy; of a free leaf, that every parent contributes nothing."""
        condition = self._bike.conditions.get(node)
        if condition is None or node in situation.held:
            return
        if not self._is_free(node):
            self._weigh(node, row, situation, dict.fromkeys(condition.levels[1:], 0.0))
            return
        net = self._network
        known = net.quiet.get(node, frozenset())
        both = silence(self._bike, net.variables, net.place, node, known | {situation})
        before = silence(self._bike, net.variables, net.place, node, known) if known else {}
        for parent, w in both.items():
            if parent in before:
                w = np.divide(w, before[parent], out=np.zeros_like(w), where=before[parent] > 0)
            self._multiply(parent, row, w)

    def weights(self, first: int = 0, last: int | None = None) -> list[tuple[tuple[str, ...], Table]]:
        """Return what rows first to last multiply into the network; a weight on a cause becomes one on its scope."""
        last = self.count if last is None else last
        found = []
        for node, rows in self._by_node.items():
            mine = {row: w for row, w in rows.items() if first <= row < last}
            if mine:
                cause = self._network.folded.get(node)
                shape = cause.total.shape if cause else next(iter(mine.values())).shape
                table = np.ones((*shape, last - first))
                for row, w in mine.items():
                    table[..., row - first] = cause.share(w) if cause else w
                found.append((cause.scope if cause else (node,), table))
        return found

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
        place = network.place[now]
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
        result: Table = (self._network.variables[root].levels[:, place] == 1).astype(np.float64)
        return result

    def _correct(self, found: Table, done: Propagation, roots: Sequence[str], place: int, first: int) -> None:
        """Set right the causes that a row itself weighs: their share of the scope has changed with it."""
        number = {root: n for n, root in enumerate(roots)}
        for node, rows in self._by_node.items():
            cause = self._network.folded.get(node)
            mine = {row - first: w for row, w in rows.items() if 0 <= row - first < found.shape[1]}
            if cause is None or not mine:
                continue
            joint = done.joint(cause.scope)
            present = self._present(node, place)
            for row, w in mine.items():
                whole = cause.share(w)
                ratio = np.divide(cause.share(w * present), whole, out=np.zeros_like(whole), where=whole != 0)
                found[number[node], row] = (joint[..., row if joint.shape[-1] > 1 else 0] * ratio).sum()
