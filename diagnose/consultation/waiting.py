"""What can be done while something soaks, dries or charges: nothing that turns the engine or touches what waits."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.consultation.state import State, access_tree, activities, must_close, work_of
from diagnose.model import Knowledge, Repair, Test
from diagnose.network.graph import BikeGraph
from diagnose.planning.steps import Step

TURNS = frozenset({"kicks", "runs", "rides", "sparks", "live_ht"})
"""Activities that need the whole bike: nothing of it may be soaking or on the charger."""


def meanwhile(knowledge: Knowledge, state: State, bike: BikeGraph, steps: Sequence[Step]) -> tuple[Step, ...]:
    """Return those of the steps that can be done beside all that waits, in their order; all where nothing waits."""
    waiting = [work_of(knowledge, *one) for one in state.waiting]
    return tuple(step for step in steps if all(_beside(knowledge, state, bike, work, step) for work in waiting))


def _beside(knowledge: Knowledge, state: State, bike: BikeGraph, waits: Test | Repair, step: Step) -> bool:
    """Return whether a step leaves alone what waits, and would show the same when the waiting is over.

    What belongs to the same system is taken to touch it: no tank is filled that stands full of acid on the floor.
    """
    if step.kind not in ("test", "repair"):
        return False
    other = work_of(knowledge, step.kind, step.id)
    if isinstance(other, Test) and other.kind == "ask":
        return True
    does, tree = activities(knowledge, state, other), access_tree(knowledge)
    if other.system == waits.system or does & TURNS or tree.closure(other.access) & set(waits.access):
        return False
    return not (must_close(knowledge, state, does) & tree.closure(waits.access) or _touched(bike, waits, other))


def _touched(bike: BikeGraph, waits: Test | Repair, other: Test | Repair) -> bool:
    """Return whether what another looks at or mends is what the waiting is about."""
    changes = waits.cures.keys() if isinstance(waits, Repair) else waits.drivers
    seen = other.cures.keys() if isinstance(other, Repair) else other.drivers
    return bool((bike.above(seen) | set(seen)) & changes)
