"""Textbook planning for one fault, one step ahead: repairs by p/c, and a test where it is cheaper than that.

ECR, the expected cost of repair, is that of the repairs in the order of p/c with a try-out after each, up to the point
where handing on is cheaper; all such points are looked at. A test's expected cost is its own and the ECR after each
outcome. The cheapest test is done if it costs less than the ECR, else the first repair.
Source: Heckerman, Breese and Rommelse 1995 (from memory); the service call, Lin 2015 (from memory).
"""

from __future__ import annotations

import numpy as np

from diagnose.consultation import Consultation
from diagnose.model import Test
from diagnose.planning.options import Floats
from diagnose.simulation.moves import Move
from diagnose.simulation.policies.suspects import (
    TINY,
    Suspects,
    answers,
    askable,
    repairing,
    suspects,
    test_money,
    trying,
)


def single_fault(job: Consultation) -> Move | None:
    """Choose the cheapest test if that is cheaper than repairing by p/c, else the first of those repairs."""
    if move := trying(job):
        return move
    known = suspects(job)
    tests = askable(job)
    if tests:
        money = [_after(job, known, test) for test, _ in tests]
        best = int(np.argmin(money))
        if money[best] < float(repair_cost(known, known.chances[None])[0]):
            return tests[best][1]
    return first_repair(job, known)


def _after(job: Consultation, known: Suspects, test: Test) -> float:
    joint = answers(job, test) * known.chances
    chances = joint.sum(axis=1)
    after = repair_cost(known, joint / np.maximum(chances[:, None], TINY))
    return test_money(job, known.bench, test) + float(chances @ after)


def first_repair(job: Consultation, known: Suspects) -> Move | None:
    """Return the first repair in the order of p/c that is not locked; None where handing on is cheaper."""
    cures, prices = _actions(known, known.chances[None])
    if not cures.size or _best_prefix(known, cures, prices)[1][0] == 0:
        return None
    order = np.argsort(-cures[0] / prices, kind="stable").tolist()
    moves = (repairing(job, known, number) for number in order if cures[0, number] > 0)
    return next((move for move in moves if move), None)


def repair_cost(known: Suspects, chances: Floats) -> Floats:
    """Return [B] the ECR of each belief. chances: [B, n], each row adds up to one fault."""
    cures, prices = _actions(known, chances)
    return _best_prefix(known, cures, prices)[0] if cures.size else np.full(len(chances), known.bench.service_cost)


def _actions(known: Suspects, chances: Floats) -> tuple[Floats, Floats]:
    """Return [B, R] P(the repair ends it) and [R] its money with a try-out; each cause is counted on one repair."""
    table = np.zeros((len(known.names), len(known.options)))
    for cause, number in enumerate(known.repairs.astype(int).tolist()):
        if number >= 0:
            table[cause, number] = known.options[number].cures[cause]
    return chances @ table, known.prices + known.bench.money(known.bench.try_minutes)


def _best_prefix(known: Suspects, cures: Floats, prices: Floats) -> tuple[Floats, Floats]:
    """Return [B] the least expected money over all points of handing on, and [B] how many repairs come before it."""
    order = np.argsort(-cures / prices, axis=1, kind="stable")
    ended = np.cumsum(np.take_along_axis(cures, order, axis=1), axis=1)
    left = np.concatenate([np.ones((len(cures), 1)), 1 - ended], axis=1)
    spent = np.cumsum(left[:, :-1] * prices[order], axis=1)
    total = np.concatenate([np.zeros((len(cures), 1)), spent], axis=1) + left * known.bench.service_cost
    points = total.argmin(axis=1)
    return np.take_along_axis(total, points[:, None], axis=1)[:, 0], points
