"""Parts of the evidence that agree on every cause and mechanism: expectation propagation.

Each part is exact in itself; of the others it knows what they say of each cause and mechanism alone. Notation: p,
what is believed without any answer; t_i, what part i says; m_i, a weight for every state of every cause and mechanism
that stands for t_i. m_i is chosen so that the marginals of p prod_j m_j are those of t_i p prod_{j != i} m_j, over and
over until no marginal moves. Exact where a part's answers bear on single causes; else the parts' say on how causes
hang together is lost. Of a cause that no answer of a part bears on it says nothing but through its mechanism.
Source: Minka 2001, "Expectation propagation for approximate Bayesian inference" (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

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
"""Cause or mechanism -> a weight for each of its states."""


@dataclass(frozen=True, slots=True)
class Say:
    """A number for every state. causes: shape (causes, most states), mechanisms: shape (mechanisms, 2)."""

    causes: Table
    mechanisms: Table

    def times(self, other: Say) -> Say:
        """The product, each state's weight beside the likeliest's."""
        return Say(_beside_largest(self.causes * other.causes), _beside_largest(self.mechanisms * other.mechanisms))


def agreed(bike: BikeGraph, parts: Sequence[Sequence[Observation]], repairs: tuple[RepairDone, ...]) -> Carried:
    """Return what all parts but the last say, once they agree."""
    alone = _Alone(bike, repairs)
    heard = [_Part(bike, part, repairs, alone) for part in parts]
    silent = Say(np.ones(alone.chances[:, 0].shape), np.ones((len(bike.mechanisms), 2)))
    says = [silent for _ in parts]
    for _ in range(MOST_SWEEPS):
        moved = 0.0
        for n, part in enumerate(heard):
            others = _product([say for k, say in enumerate(says) if k != n], silent)
            said, before = part.marginals(others), alone.marginals(others.times(says[n]))
            moved = max(moved, np.abs(said.causes - before.causes)[part.own].max(initial=0.0))
            moved = max(moved, np.abs(said.mechanisms - before.mechanisms).max(initial=0.0))
            says[n] = says[n].times(_ratio(said, before, part.own))
        if moved < STILL:
            break
    about = np.unique(np.concatenate([part.own for part in heard]))
    return alone.by_name(_product(says[:-1], silent), about)


def _product(says: Iterable[Say], silent: Say) -> Say:
    product = silent
    for say in says:
        product = product.times(say)
    return product


def _beside_largest(weights: Table) -> Table:
    largest = weights.max(axis=1, keepdims=True, initial=0.0)
    result: Table = np.maximum(weights / np.where(largest > 0, largest, 1.0), LEAST)
    return result


def _ratio(said: Say, before: Say, own: Places) -> Say:
    causes = np.ones_like(before.causes)
    causes[own] = np.maximum(said.causes[own], LEAST) / np.maximum(before.causes[own], LEAST)
    return Say(causes, np.maximum(said.mechanisms, LEAST) / np.maximum(before.mechanisms, LEAST))


class _Alone:
    """What is believed without any answer: causes hang together only by their mechanism, so it is a sum.

    chances: P(course | mechanism off, on), shape (causes, 2, most states), 0 beyond a cause's own states.
    """

    def __init__(self, bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> None:
        """Read the chances off the network in which nothing was seen."""
        network = compile_network(bike, (), repairs)
        free = {factor.scope[0]: factor.table for factor in network.factors if len(factor.scope) == 1}
        self.names, self.mechanisms = list(bike.roots), list(bike.mechanisms)
        self.states = [len(network.nodes.variables[cause].levels) for cause in self.names]
        self.chances = np.zeros((len(self.names), 2, max(self.states, default=1)))
        for n, cause in enumerate(self.names):
            folded = network.folded[cause]
            table = free[cause][:, None] if folded.scope == (cause,) else folded.table
            self.chances[n, :, : self.states[n]] = table.T
        none = len(self.mechanisms)
        within = [root.mechanism for root in bike.roots.values()]
        self._within = np.array([none if m is None else self.mechanisms.index(m) for m in within], dtype=np.intp)
        on = np.array(list(bike.mechanisms.values()))
        self._prior = np.stack([1 - on, on], axis=1) if none else np.ones((0, 2))

    def marginals(self, say: Say) -> Say:
        """P(state) of every cause and mechanism with these weights."""
        given = self.chances * say.causes[:, None, :]
        each = given.sum(axis=2)
        on = self._prior * say.mechanisms * self._together(each)
        on = on / on.sum(axis=1, keepdims=True)
        whole = np.concatenate([on, np.full((1, 2), 0.5)])[self._within]
        causes = (given * (whole / each)[:, :, None]).sum(axis=1)
        return Say(causes / causes.sum(axis=1, keepdims=True), on)

    def through_mechanisms(self, say: Say, but: Places) -> Table:
        """What the weights say of each mechanism, by it and by its causes but some, shape (mechanisms, 2)."""
        each = (self.chances * say.causes[:, None, :]).sum(axis=2) / self.chances.sum(axis=2)
        each[but] = 1.0
        result: Table = say.mechanisms * self._together(each)
        return result

    def _together(self, each: Table) -> Table:
        """The product over each mechanism's causes, beside the larger of its two."""
        logs = np.zeros((len(self.mechanisms) + 1, 2))
        np.add.at(logs, self._within, np.log(each))
        logs = logs[:-1]
        result: Table = np.exp(logs - logs.max(axis=1, keepdims=True, initial=-np.inf))
        return result

    def by_name(self, say: Say, causes: Places) -> Carried:
        """The weights by name, of these causes and every mechanism."""
        found = dict(zip(self.mechanisms, say.mechanisms, strict=True))
        return found | {self.names[n]: say.causes[n, : self.states[n]] for n in causes}


@dataclass(frozen=True, slots=True)
class _Alike:
    """Causes that were summed out onto the same variables. table: shape (causes, states, states of scope...)."""

    scope: tuple[str, ...]
    rows: Places
    table: Table


class _Part:
    """One part as a tree, asked again and again with other weights. own: the causes its answers bear on, as rows."""

    def __init__(
        self, bike: BikeGraph, observations: Sequence[Observation], repairs: tuple[RepairDone, ...], alone: _Alone
    ) -> None:
        """Build its tree."""
        above = bike.above(driver for seen in observations for driver in seen.drivers)
        network = compile_network(bike, observations, repairs)
        self._alone = alone
        self._tree = JunctionTree(network.factors)
        self.own = np.array([n for n, cause in enumerate(alone.names) if cause in above], dtype=np.intp)
        self._alike = _alike(alone.names, self.own, network.folded)

    def marginals(self, say: Say) -> Say:
        """P(state) of every mechanism and of its own causes, with these weights besides; 0 for other causes."""
        through = self._alone.through_mechanisms(say, self.own)
        weights: list[tuple[tuple[str, ...], Table]] = [
            ((m,), w[:, None]) for m, w in zip(self._alone.mechanisms, through, strict=True)
        ]
        shares = []
        for some in self._alike:
            axes = (1,) * len(some.scope)
            w = say.causes[some.rows, : some.table.shape[1]]
            weighed = some.table * w.reshape(*w.shape, *axes)
            now, before = weighed.sum(axis=1), some.table.sum(axis=1)
            weights.append((some.scope, _divided(now, before).prod(axis=0)[..., None]))
            shares.append(_divided(weighed, now[:, None]))
        done = self._tree.propagate(weights)
        causes = np.zeros(say.causes.shape)
        for some, share in zip(self._alike, shares, strict=True):
            joint = (share * done.joint(some.scope)[..., 0]).reshape(*share.shape[:2], -1).sum(axis=2).clip(0.0, 1.0)
            causes[some.rows, : joint.shape[1]] = joint / joint.sum(axis=1, keepdims=True)
        on = [done.marginal(m)[:, 0] for m in self._alone.mechanisms]
        return Say(causes, np.array(on).reshape(-1, 2))


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
