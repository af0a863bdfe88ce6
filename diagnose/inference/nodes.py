"""Which nodes of a bike have a variable in one network, and what its states mean in each situation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.inference.factor import Table
from diagnose.inference.noisy_max import Levels
from diagnose.network.situations import Situation


@dataclass(frozen=True, slots=True)
class Variable:
    """A node of the network. levels: shape (states, situations), -1 where a situation does not matter to it."""

    id: str
    level_names: tuple[str, ...]
    levels: Levels


@dataclass(frozen=True)
class Nodes:
    """The variables of a network. situations: the columns of every variable's levels.

    A cause or condition has one variable of its own name for all situations; a leaf has one for each in which
    it is needed as a variable (leaf_at: leaf and column -> its name).
    """

    situations: Sequence[Situation]
    variables: dict[str, Variable] = field(default_factory=dict)
    leaf_at: dict[tuple[str, int], str] = field(default_factory=dict)

    @cached_property
    def place(self) -> Mapping[Situation, int]:
        """The column of each situation."""
        return {s: n for n, s in enumerate(self.situations)}

    def find(self, node: str, situation: Situation) -> Variable | None:
        """Return the variable that says how a node stands in a situation; None where it has none."""
        return self.variables.get(self.leaf_at.get((node, self.place[situation]), node))

    def weights(self, node: str, situation: Situation, by_level: Mapping[str, float]) -> tuple[str, Table] | None:
        """Return a node's variable and a weight for each of its states from weights by level (1 where not given).

        None where it has no variable: the bike does not have the node, or it is a leaf that does without.
        """
        variable = self.find(node, situation)
        if variable is None:
            return None
        weigh = np.array([by_level.get(level, 1.0) for level in variable.level_names])
        return variable.id, weigh[variable.levels[:, self.place[situation]]]
