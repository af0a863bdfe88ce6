"""The cheapest grouping, between try-outs, of repairs in a given order: an O(n^2) programme over a batch of leaves.

Notation: B leaves, K items in order (repairs; the last one may be a lump of several), S states of access.
From the back: what is left after item i costs the cheaper of handing on and of the best group i..j, done with
everything shut and tried out, plus what is left after j. All of that group is paid with the probability that the
bike still fails after i, except what is done only where it is needed: that keeps the bike from running until it is
done, and is paid in any case.
Source: Ottosen and Jensen, TR 10-001, 2010 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnose.planning.options import Floats


@dataclass(frozen=True, slots=True, eq=False)
class Items:
    """What is to be grouped.

    loss: [B, K] see chances. money: [B, K] paid when it is the turn of the item. doing: [B, K] what is paid on top
    where it is needed, times the chance of that. need: [B, K, S] 1 where access must be open.
    """

    loss: Floats
    money: Floats
    doing: Floats
    need: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Grouping:
    """The groups.

    first: [B, K] money for items 0..j as a first group, access and attempt apart. need: [B, K, S] its access.
    left: [B, K + 1] money after item i, times the chance of getting there. ends: [B, K] end of the group that
    begins at i, -1 for handing on.
    """

    first: Floats
    need: Floats
    left: Floats
    ends: NDArray[np.intp]


def group(items: Items, fails: Floats, reopen: Floats, attempt: float, handed_on: Floats) -> Grouping:
    """Return the cheapest grouping.

    Args:
        items: see Items.
        fails: [B, K + 1] P(the bike still fails after so many items).
        reopen: [S] money to open and close each state of access.
        attempt: money of one try-out.
        handed_on: [B, K + 1] money of handing on after so many items, times fails; infinite where that is no way.
    """
    need, rows = items.need, np.arange(len(items.need))
    paid, sure = (np.cumsum(np.column_stack([0.0 * rows, each]), axis=1) for each in (items.money, items.doing))
    left, ends = handed_on.copy(), np.full(items.money.shape, -1)
    union = np.zeros((need.shape[0], need.shape[1] + 1, need.shape[2]))
    for i in reversed(range(need.shape[1])):
        np.maximum(union[:, i + 1 :], need[:, i, None], out=union[:, i + 1 :])
        turn = paid[:, i + 1 :] - paid[:, i, None] + union[:, i + 1 :] @ reopen + attempt
        ways = fails[:, i, None] * turn + sure[:, i + 1 :] - sure[:, i, None] + left[:, i + 1 :]
        best = ways.argmin(axis=1)
        ends[:, i] = np.where(ways[rows, best] < left[:, i], best + i + 1, -1)
        left[:, i] = np.minimum(ways[rows, best], left[:, i])
    return Grouping(paid[:, 1:] + sure[:, 1:], union[:, 1:], left, ends)
