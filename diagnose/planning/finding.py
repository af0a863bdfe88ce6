"""What it costs to look for what is wrong before putting it right: the other end of the base plan.

The base plan repairs blindly, likeliest first, and hands on what is left. With a hundred cheap tests at hand
nobody works so: what is wrong is narrowed down, and then only that is put right. Per leaf,

  V = closing + attempt + the lesser of
        P(fails) repairs + search                                searched as it stands, and then put right
        P(fails) (repairs from shut + search + attempt)          one more attempt first, searched if it fails
  search = bits x price of a bit

repairs is what will be needed, with its access, and what is left for none of them x service. The second way shuts what
is open and opens again what is needed; it pays on a bike that probably goes, and its first step is the try-out.
bits is what it takes to name every fault that is there, the sum of m log2(1/m); with one fault that is the entropy.
The price of a bit is a figure of the bench, infinite where nothing is known of tests. Repairs and access are those
of perfect knowledge.
Source: entropy as the measure of the diagnosis left, de Kleer and Williams 1987; the bound by perfect information,
Vomlelova and Vomlel 2000 (from memory); their sum is a choice of ours, measured by walking invented bikes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.planning.chances import CERTAIN, Cover
from diagnose.planning.options import Bench, Floats

TINY = 1e-300
"""Keeps logarithms finite."""


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Finding out first what is wrong, searched as it stands (row 0) and after one more attempt (row 1).

    money: [2, B] all but the search. bits: [2, B] those that are searched for.
    """

    money: Floats
    bits: Floats

    def at(self, bit_cost: float) -> Floats:
        """Return [2, B] the money of both ways at a price of a bit."""
        both: Floats = self.money + bit_cost * self.bits
        return both


def looking(bench: Bench, m: Floats, failing: Floats, close: Floats, repairs: tuple[Floats, Floats]) -> Search:
    """Return what it takes to find out first what is wrong.

    Args:
        bench: what things cost.
        m: [B, n] P(cause present and stopping the bike | it fails).
        failing: [B] P(it fails).
        close: [B] money to shut what is open now.
        repairs: [B] money of what will be needed on a failing bike, as it stands and with everything shut.
    """
    all_bits, attempt = bits(m), bench.money(bench.try_minutes)
    here, shut = repairs
    money: Floats = close + attempt + np.stack([failing * here, failing * (shut + attempt)])
    return Search(money, np.stack([all_bits, failing * all_bits]))


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
