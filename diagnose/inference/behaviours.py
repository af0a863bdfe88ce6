"""Behaviours: what the bike does. They have many parents and lead to nothing, and need no variable.

Each way a behaviour can come about - each parent's contribution - is seen by itself: a rung that counts on it with
p goes off for each contribution with p, a noisy-OR like every other. So that it stays quiet is a product over the
parents in which no two of them meet, and P(a rung fires) = 1 - P(it stays quiet) is a sum of two such products, over
the observation's own helper variable; soft evidence is a sum of one for each of its terms (see ladder.py).
Notation: a mention is one look at a behaviour in one situation; unseen, the chance that a contribution goes unnoticed
there (0: it is seen for certain). One draw u, uniform in [0, 1], decides a link in all situations: the parent
contributes in s where u > quiet_s, and the weight of the parent is the integral over u of the product of `unseen`
over the mentions where it contributes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from diagnose.inference.factor import Table
from diagnose.inference.ladder import Observation, Rung, passing
from diagnose.inference.nodes import Nodes, Variable
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import Situation


@dataclass(frozen=True, slots=True)
class Mention:
    """One look at a behaviour that stayed quiet; with a helper, only where that stands at one of its states."""

    situation: Situation
    unseen: float
    helper: str = ""
    state: int = 1
    states: int = 2


@dataclass(frozen=True, slots=True)
class Told:
    """All looks at one behaviour."""

    mentions: tuple[Mention, ...] = ()

    @property
    def helpers(self) -> tuple[str, ...]:
        """The helper variables, in the order in which they stand beside a parent."""
        return tuple(sorted(self.sizes))

    @property
    def sizes(self) -> dict[str, int]:
        """How many states each helper has."""
        return {m.helper: m.states for m in self.mentions if m.helper}

    def quiet_too(self, situation: Situation, unseen: float) -> Told:
        """Return the same with one more look that stayed quiet; unseen 0: the behaviour is healthy."""
        return Told((*self.mentions, Mention(situation, unseen)))


def helper_of(number: int) -> str:
    """Return the variable over which the terms of an observation are summed, a state for each."""
    return f"seen:{number}"


def unseen(by_level: Mapping[str, float]) -> float:
    """Return the weight of the one level of a behaviour that is not healthy."""
    return next(iter(by_level.values()), 1.0)


def told(bike: BikeGraph, observations: Sequence[Observation]) -> dict[str, Told]:
    """Return for each behaviour that was looked at all its mentions."""
    found: dict[str, list[Mention]] = {}
    for n, seen in enumerate(observations):
        for ladder, where in _ladders(seen, helper_of(n)):
            for behaviour, by_level in passing(ladder)[1].items():
                if behaviour in bike.behaviours:
                    found.setdefault(behaviour, []).append(Mention(seen.situation, unseen(by_level), *where))
    return {behaviour: Told(tuple(mentions)) for behaviour, mentions in found.items()}


def _ladders(seen: Observation, helper: str) -> Iterator[tuple[tuple[Rung, ...], tuple[str, int, int] | tuple[()]]]:
    """Give the rungs that pass whatever the helper is, then those of each of its states."""
    yield seen.passed, ()
    terms = seen.terms
    yield from ((term.rungs, (helper, state, len(terms))) for state, term in enumerate(terms) if term.rungs)


def silence(bike: BikeGraph, nodes: Nodes, behaviour: str, known: Told) -> dict[str, Table]:
    """Return for each parent of a behaviour the chance that all looks stayed quiet for its part.

    Shape (states of the parent, states of each helper). Where the behaviour is held healthy there is nothing to see.
    """
    mentions = [m for m in known.mentions if behaviour not in m.situation.held]
    sizes = [(helper, known.sizes[helper]) for helper in known.helpers]
    found: dict[str, Table] = {}
    for link in bike.links[behaviour]:
        if link.parent in nodes.variables:
            parent = nodes.variables[link.parent]
            quiet = np.array([1 - sum(link.table.get(level, {}).values()) for level in parent.level_names])
            found[link.parent] = _silent(quiet, parent, nodes, mentions, sizes)
    return found


def _silent(
    quiet: Table, parent: Variable, nodes: Nodes, mentions: Sequence[Mention], sizes: Sequence[tuple[str, int]]
) -> Table:
    tables = []
    for states in product(*(range(size) for _, size in sizes)):
        at = {helper: state for (helper, _), state in zip(sizes, states, strict=True)}
        looks = [m for m in mentions if not m.helper or at[m.helper] == m.state]
        ends = [quiet[parent.levels[:, nodes.place[m.situation]]] for m in looks]
        tables.append(
            _integral(np.array(ends), np.array([m.unseen for m in looks])) if looks else np.ones(len(parent.levels))
        )
    result: Table = np.stack(tables, axis=1).reshape(-1, *(size for _, size in sizes))
    return result


def _integral(ends: Table, weights: Table) -> Table:
    """Return for each column the integral over u in [0, 1] of the product of the weights whose end lies below u.

    >>> _integral(np.array([[0.25], [0.75]]), np.array([0.5, 0.0])).tolist()
    [0.5]
    """
    order = np.argsort(ends, axis=0, kind="stable")
    ends = np.take_along_axis(ends, order, axis=0)
    lengths = np.diff(ends, axis=0, append=1.0)
    result: Table = ends[0] + (lengths * np.cumprod(weights[order], axis=0)).sum(axis=0)
    return result
