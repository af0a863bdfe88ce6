"""Information gain per minute: the test that takes the most bits off what could be the fault for its price.

The bits are the entropy of the posterior taken as one fault (suspects). Repairs follow, by p/c, as soon as a cause is
as good as certain, or no test takes off bits that are worth its price (choices.BIT_MINUTES each).
Source: de Kleer and Williams 1987 for entropy as the measure; per cost, Pattipati and Alexandridis 1990 (from memory).
"""

from __future__ import annotations

import numpy as np

from diagnose.consultation import Consultation
from diagnose.model import Test
from diagnose.planning.options import Floats
from diagnose.simulation.moves import Move
from diagnose.simulation.policies.single_fault import first_repair
from diagnose.simulation.policies.suspects import TINY, Suspects, answers, askable, suspects, test_money, trying

CERTAIN = 0.9
"""From here on a cause is repaired without another test (choice of ours)."""


def information(job: Consultation) -> Move | None:
    """Choose the test with the most bits for its price while one is worth it, else a repair."""
    if move := trying(job):
        return move
    known = suspects(job)
    tests = askable(job) if known.chances.max() < CERTAIN else []
    if tests:
        prices = np.array([max(test_money(job, known.bench, test), TINY) for test, _ in tests])
        gains = np.array([gain(job, known, test) for test, _ in tests])
        best = int(np.argmax(gains / prices))
        if gains[best] * known.bench.bit_cost > prices[best]:
            return tests[best][1]
    return first_repair(job, known)


def gain(job: Consultation, known: Suspects, test: Test) -> float:
    """Return the bits a test is expected to take off what could be the fault."""
    joint = answers(job, test) * known.chances
    chances = joint.sum(axis=1)
    after = entropy(joint / np.maximum(chances[:, None], TINY))
    return float(entropy(known.chances[None])[0] - chances @ after)


def entropy(chances: Floats) -> Floats:
    """Return [B] the entropy in bits of each row.

    >>> entropy(np.array([[0.5, 0.25, 0.25, 0.0]])).tolist()
    [1.5]
    """
    found: Floats = 0.0 - (chances * np.log2(np.maximum(chances, 1e-300))).sum(axis=1)
    return found
