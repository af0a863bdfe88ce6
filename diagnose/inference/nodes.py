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
    """The variables of a network. situations: the columns of every variable's levels."""

    situations: Sequence[Situation]
    variables: dict[str, Variable] = field(default_factory=dict)

    @cached_property
    def place(self) -> Mapping[Situation, int]:
        """The column of each situation."""
        return {s: n for n, s in enumerate(self.situations)}

    def weights(self, node: str, situation: Situation, by_level: Mapping[str, float]) -> Table | None:
        """Return a weight for each state of a node from weights by level (1 where not given).

        None where it has no variable: the bike does not have the node, or it is a behaviour.
        """
        if node not in self.variables:
            return None
        variable = self.variables[node]
        weigh = np.array([by_level.get(level, 1.0) for level in variable.level_names])
        result: Table = weigh[variable.levels[:, self.place[situation]]]
        return result
