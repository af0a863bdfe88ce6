"""Many evidence sets for one tree: each row weighs causes and conditions, and may ask that some be healthy.

A behaviour has no variable: that a further look at it stays quiet is a weight on each of its parents. So behaviours,
which have many parents, do not make the tree wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from diagnose.inference.behaviours import Told, silence, unseen
from diagnose.inference.compile import Network
from diagnose.inference.factor import Table
from diagnose.inference.fold import Folded
from diagnose.inference.junction_tree import JunctionTree, Propagation
from diagnose.inference.ladder import Rung, passing
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation


def without_behaviours(bike: BikeGraph, nodes: Iterable[str]) -> set[str]:
    """Return what the network must hold to weigh the nodes: of a behaviour, its parents."""
    found: set[str] = set()
    for node in nodes:
        found.update(bike.parents(node) if node in bike.behaviours else (node,))
    return found


class Rows:
    """Evidence sets over one network. Row 0 is the evidence alone."""

    def __init__(self, bike: BikeGraph, network: Network) -> None:
        """Begin with row 0."""
        self._bike, self._network = bike, network
        self._by_scope: dict[tuple[str, ...], dict[int, Table]] = {}
        """A node and the helpers beside it -> row -> weights."""
        self._looks: dict[tuple[str, Situation, float], list[tuple[tuple[str, ...], Table]]] = {}
        self._healthy: dict[tuple[frozenset[str], Situation], int] = {}
        self.count = 1

    def passing(self, ladder: Sequence[Rung], situation: Situation) -> tuple[int, float]:
        """Add a row for "all rungs pass"; return its number and the factor that P(row) still lacks."""
        constant, by_driver = passing(ladder)
        return self.add(by_driver, situation), constant

    def healthy(self, nodes: Iterable[str], situation: Situation) -> int:
        """Return the row in which all the nodes are healthy; it is added unless there is one already."""
        conditions = self._bike.conditions
        key = frozenset(n for n in nodes if n in conditions), situation
        if key not in self._healthy:
            zero = {n: dict.fromkeys(conditions[n].levels[1:], 0.0) for n in sorted(key[0])}
            self._healthy[key] = self.add(zero, situation)
        return self._healthy[key]

    def add(self, by_driver: Mapping[str, Mapping[str, float]], situation: Situation) -> int:
        """Add a row that weighs nodes by level in a situation; return its number."""
        row = self.count
        self.count += 1
        for node, by_level in by_driver.items():
            if node in self._bike.behaviours:
                for scope, ratio in self._look(node, situation, unseen(by_level)):
                    self._multiply(scope, row, ratio)
                continue
            weights = self._network.nodes.weights(node, situation, by_level)
            if weights is not None:
                self._multiply((node,), row, weights)
        return row

    def _multiply(self, scope: tuple[str, ...], row: int, weights: Table) -> None:
        mine = self._by_scope.setdefault(scope, {})
        mine[row] = mine[row] * weights if row in mine else weights

    def _look(self, behaviour: str, situation: Situation, missing: float) -> list[tuple[tuple[str, ...], Table]]:
        """What one more look that stays quiet changes for each parent, beside what was seen of the behaviour.

        The ladders of many candidates look at the same behaviours, so each look is worked out once.
        """
        key = (behaviour, situation, missing)
        if key not in self._looks:
            nodes, known = self._network.nodes, self._network.told.get(behaviour, Told())
            before = silence(self._bike, nodes, behaviour, known)
            both = silence(self._bike, nodes, behaviour, known.quiet_too(situation, missing))
            self._looks[key] = [
                ((p, *known.helpers), np.divide(w, before[p], out=np.zeros_like(w), where=before[p] > 0))
                for p, w in both.items()
            ]
        return self._looks[key]

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
            helpers, on_cause = self._on_cause(cause, first, last)
            yield folded.scope, {row: folded.share(w, helpers) for row, w in on_cause.items()}

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
        """What rows weigh a cause with: the helpers beside it, and row -> weights over it and those."""
        mine = {scope[1:]: rows for scope, rows in self._by_scope.items() if scope[0] == cause}
        sizes = {
            h: n for some, rows in mine.items() for w in rows.values() for h, n in zip(some, w.shape[1:], strict=True)
        }
        helpers = tuple(sorted(sizes))
        states = len(self._network.nodes.variables[cause].levels)
        whole: dict[int, Table] = {}
        for some, rows in mine.items():
            shape = (states, *(sizes[helper] if helper in some else 1 for helper in helpers))
            for row, w in rows.items():
                if first <= row < last:
                    before = whole.get(row, np.ones((states, *(sizes[helper] for helper in helpers))))
                    whole[row] = before * w.reshape(shape)
        return helpers, whole

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
            helpers, rows = self._on_cause(node, first, first + found.shape[1])
            joint = done.joint(cause.scope)
            present = self._present(node, place).reshape(-1, *(1 for _ in helpers))
            for row, w in rows.items():
                whole = cause.share(w, helpers)
                ratio = np.divide(cause.share(w * present, helpers), whole, out=np.zeros_like(whole), where=whole != 0)
                this = joint[..., row - first if joint.shape[-1] > 1 else 0]
                found[number[node], row - first] = (this * ratio).sum()
