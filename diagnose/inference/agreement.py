"""Parts of the evidence, and the ties between causes, that agree on every cause: expectation propagation.

Notation: p, what is believed of every cause by itself before any answer; t_i, what part i says; t_0, the ties, by
which causes that grow from one mechanism come together; m_i, a weight for every state of every cause that stands for
t_i. Each t_i is exact in itself; of the others it knows what they say of each cause alone. m_i is chosen so that the
marginals of p prod_j m_j are those of t_i p prod_{j != i} m_j, over and over until no marginal moves. Exact where a
part's answers bear on single causes; else its say on how causes hang together is lost.
Source: Minka 2001, "Expectation propagation for approximate Bayesian inference" (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from diagnose.inference.compile import compile_network
from diagnose.inference.factor import Table
from diagnose.inference.fold import Folded
from diagnose.inference.junction_tree import JunctionTree
from diagnose.inference.ladder import Observation
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone

MOST_SWEEPS = 12
"""So often every part is heard at most."""

STILL = 5e-2
"""The parts agree once no marginal moves by more: what is lost by cutting is larger."""

LEAST = 1e-12
"""No state is ruled out altogether by a part that is carried."""

Places = NDArray[np.intp]
"""Numbers of causes, in the order of the bike's."""

Carried = dict[str, Table]
"""Cause -> a weight for each of its states."""


class Contradicted(Exception):
    """The answers of a part contradict each other; names them."""

    def __init__(self, part: Sequence[Observation]) -> None:
        """Keep the part."""
        super().__init__("the answers of a part contradict each other")
        self.part = tuple(part)


class _Site(Protocol):
    """What says something of causes. own: those it says something of."""

    own: Places

    def marginals(self, say: Table) -> Table:
        """P(state) of its own causes, with these weights besides; shape (causes, most states), 0 for other causes."""
        ...


def agreed(bike: BikeGraph, parts: Sequence[Sequence[Observation]], repairs: tuple[RepairDone, ...]) -> Carried:
    """Return what the ties and all parts but the last say, once they agree: weights for a network without ties.

    Raises Contradicted.
    """
    ties = _Ties(bike, repairs)
    heard: list[_Site] = [*(_Part(bike.untied, part, repairs, ties.names) for part in parts), ties]
    last, silent = len(parts) - 1, np.ones_like(ties.alone)
    says = [silent for _ in heard]
    for _ in range(MOST_SWEEPS):
        moved = 0.0
        for n, site in enumerate(heard):
            others = _product([say for k, say in enumerate(says) if k != n], silent)
            said, before = site.marginals(others)[site.own], _normalised(ties.alone * others * says[n])[site.own]
            moved = max(moved, np.abs(said - before).max(initial=0.0))
            says[n] = says[n].copy()
            says[n][site.own] *= np.maximum(said, LEAST) / np.maximum(before, LEAST)
            says[n] = _beside_largest(says[n])
        if moved < STILL:
            break
    carried = _product([say for k, say in enumerate(says) if k != last], silent)
    about = np.unique(np.concatenate([site.own for k, site in enumerate(heard) if k != last]))
    return {ties.names[n]: carried[n, : ties.states[n]] for n in about}


def _product(says: Iterable[Table], silent: Table) -> Table:
    product = silent
    for say in says:
        product = _beside_largest(product * say)
    return product


def _beside_largest(weights: Table) -> Table:
    largest = weights.max(axis=1, keepdims=True, initial=0.0)
    result: Table = np.maximum(weights / np.where(largest > 0, largest, 1.0), LEAST)
    return result


def _normalised(weights: Table) -> Table:
    result: Table = weights / weights.sum(axis=1, keepdims=True)
    return result


class _Ties:
    """What is believed without any answer: causes hang together only by their mechanism, so it is a sum.

    How parts looked when a repair laid them open is in it, as in every part. alone: P(course) of every cause by itself,
    shape (causes, most states), 0 beyond a cause's own states.
    """

    def __init__(self, bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> None:
        """Read the chances off the network in which nothing was seen."""
        network = compile_network(bike, (), repairs)
        free = {factor.scope[0]: factor.table for factor in network.factors if len(factor.scope) == 1}
        mechanisms = list(bike.mechanisms)
        self.names = list(bike.roots)
        self.states = [len(network.nodes.variables[cause].levels) for cause in self.names]
        self._given = np.zeros((len(self.names), 2, max(self.states, default=1)))  # P(course | mechanism off, on)
        for n, cause in enumerate(self.names):
            folded = network.folded[cause]
            table = free[cause][:, None] if folded.scope == (cause,) else folded.table
            self._given[n, :, : self.states[n]] = table.T
        within = [root.mechanism for root in bike.roots.values()]
        self._within = np.array([len(mechanisms) if m is None else mechanisms.index(m) for m in within], dtype=np.intp)
        self.own = np.flatnonzero(self._within < len(mechanisms))
        on = np.array([*bike.mechanisms.values(), 0.5])
        self._prior = np.stack([1 - on, on], axis=1)
        self.alone = _normalised((self._given * self._prior[self._within][:, :, None]).sum(axis=1))

    def marginals(self, say: Table) -> Table:
        """P(state) of every cause with these weights."""
        given = self._given * say[:, None, :]
        each = given.sum(axis=2)
        logs = np.zeros_like(self._prior)
        np.add.at(logs, self._within, np.log(each))
        logs[-1] = 0.0
        on = self._prior * np.exp(logs - logs.max(axis=1, keepdims=True))
        on = on / on.sum(axis=1, keepdims=True)
        return _normalised((given * (on[self._within] / each)[:, :, None]).sum(axis=1))


@dataclass(frozen=True, slots=True)
class _Alike:
    """Causes that were summed out onto the same variables. table: shape (causes, states, states of scope...)."""

    scope: tuple[str, ...]
    rows: Places
    table: Table


class _Part:
    """One part as a tree without ties, asked again and again with other weights."""

    def __init__(
        self, bike: BikeGraph, observations: Sequence[Observation], repairs: tuple[RepairDone, ...], names: list[str]
    ) -> None:
        """Build its tree."""
        above = bike.above(driver for seen in observations for driver in seen.drivers)
        network = compile_network(bike, observations, repairs)
        self._observations, self._tree = observations, JunctionTree(network.factors)
        self.own = np.array([n for n, cause in enumerate(names) if cause in above], dtype=np.intp)
        self._alike = _alike(names, self.own, network.folded)

    def marginals(self, say: Table) -> Table:
        """P(state) of its own causes, with these weights besides; 0 for other causes. Raises Contradicted."""
        weights: list[tuple[tuple[str, ...], Table]] = []
        shares = []
        for some in self._alike:
            axes = (1,) * len(some.scope)
            w = say[some.rows, : some.table.shape[1]]
            weighed = some.table * w.reshape(*w.shape, *axes)
            now, before = weighed.sum(axis=1), some.table.sum(axis=1)
            weights.append((some.scope, _divided(now, before).prod(axis=0)[..., None]))
            shares.append(_divided(weighed, now[:, None]))
        done = self._tree.propagate(weights)
        if not np.isfinite(done.log_evidence[0]):
            raise Contradicted(self._observations)
        causes = np.zeros(say.shape)
        for some, share in zip(self._alike, shares, strict=True):
            joint = (share * done.joint(some.scope)[..., 0]).reshape(*share.shape[:2], -1).sum(axis=2).clip(0.0, 1.0)
            causes[some.rows, : joint.shape[1]] = joint / joint.sum(axis=1, keepdims=True)
        return causes


def _alike(names: Sequence[str], own: Places, folded: Mapping[str, Folded]) -> list[_Alike]:
    """The causes by what they were summed out onto."""
    groups: dict[tuple[tuple[str, ...], int], list[int]] = {}
    for n in own.tolist():
        held = folded[names[n]]
        groups.setdefault((held.scope, len(held.table)), []).append(n)
    return [
        _Alike(scope, np.array(rows), np.stack([folded[names[n]].table for n in rows]))
        for (scope, _), rows in groups.items()
    ]


def _divided(above: Table, below: Table) -> Table:
    shape = np.broadcast_shapes(above.shape, below.shape)
    result: Table = np.divide(above, below, out=np.zeros(shape), where=np.broadcast_to(below != 0, shape))
    return result
