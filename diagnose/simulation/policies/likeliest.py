"""Likeliest cause first: the cheapest repair of what is likeliest in the posterior, and a try-out after each."""

from __future__ import annotations

import numpy as np

from diagnose.consultation import Consultation
from diagnose.network.graph import LEAK
from diagnose.simulation.moves import Move
from diagnose.simulation.policies.suspects import repairing, suspects, trying

LEAST = 0.005
"""A cause less likely than this to be the fault is not repaired on suspicion (choice of ours)."""


def likeliest(job: Consultation) -> Move | None:
    """Choose the repair of the likeliest cause; hand on where that is something the book does not have."""
    if move := trying(job):
        return move
    known = suspects(job)
    for cause in np.argsort(-known.chances, kind="stable").tolist():
        if known.chances[cause] < LEAST or known.names[cause].startswith(LEAK):
            return None
        number = int(known.repairs[cause])
        if number >= 0 and (move := repairing(job, known, number)):
            return move
    return None
