"""Do the answers fit together? Jensen's conflict measure, and the answer whose removal resolves most of it.

Notation: conf(e) = sum_i log P(e_i) - log P(e), natural logarithm. Answers that one course of things explains
raise each other's probability, so conf is below zero; well above zero they hardly fit together.
Source: Jensen, Chamberlain, Nordahl and Jensen 1990, "Analysis in HUGIN of data conflict" (from memory).
"""

from __future__ import annotations

from diagnose.inference.ladder import Observation
from diagnose.inference.posterior import Question, log_evidence
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone


def conflict(bike: BikeGraph, question: Question, log_joint: float) -> float:
    """Return conf of all answers. log_joint: log P(e), as the posterior of the same question gives it."""
    return sum(_alone(bike, seen, question.repairs) for seen in question.observations) - log_joint


def most_resolving(bike: BikeGraph, question: Question) -> tuple[int, float]:
    """Return the index of the answer without which the others fit best, and conf of those others."""
    left = []
    for n, seen in enumerate(question.observations):
        others = tuple(o for o in question.observations if o is not seen)
        rest = sum(_alone(bike, o, question.repairs) for o in others)
        left.append((rest - log_evidence(bike, others, question.repairs), n))
    lowest, index = min(left)
    return index, lowest


def _alone(bike: BikeGraph, seen: Observation, repairs: tuple[RepairDone, ...]) -> float:
    """Log P(one answer), worked out once for each situation."""
    weights = tuple((term.weight, len(term.rungs)) for term in seen.terms)
    key = (
        "alone seen",
        bool(bike.mechanisms),
        seen.label,
        len(seen.passed),
        weights,
        seen.situation,
        tuple(repair.id for repair in repairs),
    )
    return bike.remembered(key, lambda: log_evidence(bike, (seen,), repairs))
