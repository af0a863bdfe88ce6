"""What it costs to look for what is wrong before putting it right: the other end of the base plan.

The base plan repairs blindly, likeliest first, and hands on what is left. With a hundred cheap tests at hand
nobody works so: what is wrong is narrowed down, and then only that is put right. Per leaf,

  V = closing + attempt + P(fails) (repairs that will be needed, with their access + rest x service) + search
  search = bits x price of a bit, or after a first attempt P(fails) (bits x price of a bit + attempt), if that is less

bits is what it takes to name every fault that is there, the sum of m log2(1/m); with one fault that is the entropy.
The price of a bit is a figure of the bench, infinite where nothing is known of tests. Repairs and access are those
of perfect knowledge.
Source: entropy as the measure of the diagnosis left, de Kleer and Williams 1987; the bound by perfect information,
Vomlelova and Vomlel 2000 (from memory); their sum is a choice of ours, measured by walking invented bikes.
"""

from __future__ import annotations

import numpy as np

from diagnose.planning.chances import CERTAIN, Cover
from diagnose.planning.options import Bench, Floats

TINY = 1e-300
"""Keeps logarithms finite."""


def search_cost(bench: Bench, m: Floats, failing: Floats) -> Floats:
    """Return [B] the money to find what is wrong, after one more attempt where that saves looking at a bike that goes.

    Args:
        bench: what things cost.
        m: [B, n] P(cause present and stopping the bike | it fails).
        failing: [B] P(it fails).
    """
    search = bench.bit_cost * bits(m)
    cost: Floats = np.minimum(search, failing * (search + bench.money(bench.try_minutes)))
    return cost


def bits(m: Floats) -> Floats:
    """Return [B] the bits it takes to name every fault that is there. m: [B, n] probabilities.

    >>> bits(np.array([[0.5, 0.25, 0.25], [1.0, 1.0, 0.0]])).tolist()
    [1.5, 0.0]
    """
    found: Floats = 0.0 - (m * np.log2(np.maximum(m, TINY))).sum(axis=1)
    return found


def needs(given: Cover, m: Floats, repairs: int) -> tuple[Floats, Floats]:
    """Return [B, R] P(a repair is needed) and [B] P(something is left for none of them).

    Args:
        given: which repair is counted on for which cause.
        m: [B, n] P(cause present and stopping the bike | it fails).
        repairs: how many there are.
    """
    taken = np.log1p(-np.minimum(m[:, given.cause] * (given.before - given.after), CERTAIN))
    logs = np.zeros((len(m), repairs))
    for row, mine in enumerate(taken):
        logs[row] = np.bincount(given.repair, mine, minlength=repairs)
    left = np.log1p(-np.minimum(m * given.left, CERTAIN)).sum(axis=1)
    return -np.expm1(logs), -np.expm1(left)
