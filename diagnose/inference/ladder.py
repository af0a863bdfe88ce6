"""Observations: the first rung whose drivers fire wins, the last is the default.

Notation: fires_k = 1 - (1 - base_k) prod_d (1 - p_kd(level of d)); P(outcome k) = fires_k prod_{j<k}
(1 - fires_j). Passing a rung is a product over single drivers; so is pass_k = P(pass the first k rungs), and
P(outcome k) = pass_(k-1) - pass_k. Only a rung that fired couples its drivers.

Soft evidence: what was seen has a likelihood w_k under each outcome, and P(seen) = sum_k w_k P(outcome k). With
pass_0 = 1 that is sum_j c_j pass_j, c_0 = w_1 and c_j = w_(j+1) - w_j: a term for each place where the weights
change. An outcome seen for certain is c = 1 for the rungs before it and c = -1 with its own rung as well.
Source: Pearl 1988, "Probabilistic Reasoning in Intelligent Systems", 2.2.2, virtual evidence (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from diagnose.model import Chances, Outcome
from diagnose.network.situations import ARRIVAL, Situation


@dataclass(frozen=True, slots=True)
class Rung:
    """One outcome that something can make fire. drivers: node -> level -> probability; base: false alarm."""

    base: float
    drivers: Chances


@dataclass(frozen=True, slots=True)
class Term:
    """One term of an observation: its weight c, of either sign, and the rungs that pass in it beside `passed`."""

    weight: float
    rungs: tuple[Rung, ...] = ()


CERTAIN = Term(1.0)
"""The term of an outcome that was seen for certain and is the default: every rung passed."""


RULED_OUT = 1e-9
"""An outcome of less than this share of the likeliest one's weight counts as ruled out."""


@dataclass(frozen=True, slots=True)
class Observation:
    """What was seen: rungs passed by, the rung that fired (None for the default), and in which situation.

    soft: the terms of soft evidence, which take the place of the rung that fired; the rungs of each are a beginning
    of those of the next.
    """

    label: str
    passed: tuple[Rung, ...]
    fired: Rung | None
    situation: Situation = ARRIVAL
    soft: tuple[Term, ...] = ()

    @property
    def terms(self) -> tuple[Term, ...]:
        """The observation is "all of `passed` pass", times the sum of these."""
        if self.soft:
            return self.soft
        return (CERTAIN, Term(-1.0, (self.fired,))) if self.fired else (CERTAIN,)

    @property
    def may_cancel(self) -> bool:
        """Whether its terms can sum to nothing: nothing that it lets be seen can be a false alarm.

        The outcomes after `passed` in order: one that it rules out may be certain, if none before it has a base.
        """
        ladder = self.terms[-1].rungs
        weights = [sum(t.weight for t in self.terms if len(t.rungs) <= k) for k in range(len(ladder) + 1)]
        for weight, rung in zip(weights, (*ladder, None), strict=True):
            if weight < RULED_OUT * max(weights):
                return True
            if rung is not None and rung.base:
                return False
        return False

    @property
    def drivers(self) -> frozenset[str]:
        """Everything that was looked at."""
        rungs_met = (*self.passed, *self.terms[-1].rungs)
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


def weighed(label: str, outcomes: Sequence[Outcome], weights: Mapping[str, float], situation: Situation) -> Observation:
    """Return soft evidence: a likelihood, 0 or more, for each outcome of a ladder; 0 for those not given.

    All weight on one outcome is that outcome seen for certain. Only the ratios count for any posterior.
    Raises KeyError for an outcome it does not have, ValueError where no weight is above 0.
    """
    names = [outcome.id for outcome in outcomes]
    if strange := weights.keys() - set(names):
        raise KeyError(min(strange))
    likely = [name for name in names if weights.get(name, 0.0) > 0]
    if not likely:
        raise ValueError(f"{label}: no outcome has a weight above 0")
    if len(likely) == 1:
        return observed(label, outcomes, likely[0], situation)
    ladder, w = rungs(outcomes), [0.0, *(weights.get(name, 0.0) for name in names)]
    changes = [(k, after - before) for k, (before, after) in enumerate(pairwise(w)) if after != before]
    first = changes[0][0]
    soft = tuple(Term(change, ladder[first:k]) for k, change in changes)
    return Observation(label, ladder[:first], None, situation, soft)


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
