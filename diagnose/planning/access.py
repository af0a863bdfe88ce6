"""What has to come off before a place can be reached, and what it costs to open and to close it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diagnose.model import Access


@dataclass(frozen=True, slots=True)
class AccessTree:
    """Everything that can be taken off or opened. One state may need several others first.

    Args:
        states: access id -> its minutes to open and to close and what it needs first.

    Raises:
        KeyError: a state needs one that is not there.
        ValueError: states need each other in a circle.
    """

    states: Mapping[str, Access]
    ids: tuple[str, ...] = field(init=False, repr=False, compare=False)
    """All states, outermost first, then by id: whatever a state needs stands before it."""
    _closures: Mapping[str, frozenset[str]] = field(init=False, repr=False, compare=False)
    _ranks: Mapping[str, tuple[int, str]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Work out once what each state needs, parents of parents included."""
        closures: dict[str, frozenset[str]] = {}
        for state in sorted(self.states):
            _close_over(state, self.states, closures, ())
        ranks = {state: (len(closure), state) for state, closure in closures.items()}
        object.__setattr__(self, "_closures", closures)
        object.__setattr__(self, "_ranks", ranks)
        object.__setattr__(self, "ids", tuple(sorted(ranks, key=ranks.__getitem__)))

    def closure(self, ids: Iterable[str]) -> frozenset[str]:
        """Return these states and everything they need first. Raises KeyError."""
        return frozenset().union(*(self._closures[state] for state in ids))

    def to_open(self, ids: Iterable[str], opened: frozenset[str]) -> tuple[str, ...]:
        """Return what is still shut on the way to these states, in an order in which it can be opened.

        Args:
            ids: states to reach.
            opened: states that are open now.

        Raises:
            KeyError: an id is not a state.
        """
        return tuple(sorted(self.closure(ids) - self._known(opened), key=self._ranks.__getitem__))

    def minutes_to_open(self, ids: Iterable[str], opened: frozenset[str]) -> float:
        """Return the minutes to reach these states from what is open now. Raises KeyError."""
        return sum(self.states[state].open for state in self.to_open(ids, opened))

    def minutes_to_close(self, opened: Iterable[str]) -> float:
        """Return the minutes to close all of these again. Raises KeyError."""
        return sum(self.states[state].close for state in sorted(self._known(opened)))

    def _known(self, ids: Iterable[str]) -> frozenset[str]:
        found = frozenset(ids)
        for state in sorted(found - self.states.keys()):
            raise KeyError(state)
        return found


def _close_over(
    state: str,
    states: Mapping[str, Access],
    closures: dict[str, frozenset[str]],
    way: tuple[str, ...],
) -> frozenset[str]:
    """Return the closure of one state and note it, with those of all it needs, in closures."""
    if state in way:
        raise ValueError(f"access needs itself first: {' -> '.join((*way[way.index(state) :], state))}")
    if state not in closures:
        needs = [_close_over(parent, states, closures, (*way, state)) for parent in states[state].needs]
        closures[state] = frozenset({state}).union(*needs)
    return closures[state]
