"""Observations: the first rung whose drivers fire wins, the last is the default.

Notation: fires_k = 1 - (1 - base_k) prod_d (1 - p_kd(level of d)); P(outcome k) = fires_k prod_{j<k}
(1 - fires_j). Passing a rung is a product over single drivers; so is passing the first k rungs, and
P(outcome k) = P(pass the first k-1) - P(pass the first k). Only a rung that fired couples its drivers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.model import Chances, Outcome
from diagnose.network.situations import ARRIVAL, Situation


@dataclass(frozen=True, slots=True)
class Rung:
    """One outcome that something can make fire. drivers: node -> level -> probability; base: false alarm."""

    base: float
    drivers: Chances


@dataclass(frozen=True, slots=True)
class Observation:
    """What was seen: rungs passed by, the rung that fired (None for the default), and in which situation."""

    label: str
    passed: tuple[Rung, ...]
    fired: Rung | None
    situation: Situation = ARRIVAL

    @property
    def drivers(self) -> frozenset[str]:
        """Everything that was looked at."""
        rungs_met = (*self.passed, self.fired) if self.fired else self.passed
        return frozenset(driver for rung in rungs_met for driver in rung.drivers)


def rungs(outcomes: Sequence[Outcome]) -> tuple[Rung, ...]:
    """Return the rungs of a ladder, the default left out."""
    return tuple(Rung(o.base, o.drivers) for o in outcomes if not o.default)


def observed(label: str, outcomes: Sequence[Outcome], outcome: str, situation: Situation) -> Observation:
    """Return the observation of one outcome of a ladder. Raises KeyError for an outcome it does not have."""
    names = [o.id for o in outcomes]
    if outcome not in names:
        raise KeyError(outcome)
    ladder = rungs(outcomes)
    k = names.index(outcome)
    if k < len(ladder):
        return Observation(label, ladder[:k], ladder[k], situation)
    return Observation(label, ladder, None, situation)


def passing(ladder: Sequence[Rung]) -> tuple[float, dict[str, dict[str, float]]]:
    """Return P(all rungs pass | drivers) as a constant and, for each driver, level -> factor.

    >>> passing([Rung(0.1, {"a": {"present": 0.75}}), Rung(0.0, {"a": {"present": 0.5}})])
    (0.9, {'a': {'present': 0.125}})
    """
    constant = 1.0
    factors: dict[str, dict[str, float]] = {}
    for rung in ladder:
        constant *= 1 - rung.base
        for driver, chances in rung.drivers.items():
            mine = factors.setdefault(driver, {})
            for level, p in chances.items():
                mine[level] = mine.get(level, 1.0) * (1 - p)
    return constant, factors
