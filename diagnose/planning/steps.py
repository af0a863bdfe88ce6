"""What the planner hands out: one possible next step with its price and what it would tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A test, repair, try-out or putting back that could be done next. Money in the shop's currency, time in minutes.

    expected: expected money until the bike does what the job asks if this is done next, this step
    included. saves: money that it takes off what is left to do on average, its own price not taken off. merit: what
    steps are ranked by, see look_ahead. outcomes: outcome id and its probability (tests and try-outs), if it can be
    done; cannot: probability that it cannot. curing: probability that the bike does what is asked once this is done
    (repairs).
    opens: access to open now, outermost first; closes: what has to be shut before. forbidden: cautions that
    lock the step now. rough: expected, merit and outcomes are from the quick view.
    A step that puts back what a test left unplugged has the id of that test.
    """

    kind: Literal["test", "repair", "try_out", "reconnect"]
    id: str
    minutes: float
    wait: float = 0.0
    opens: tuple[str, ...] = ()
    closes: tuple[str, ...] = ()
    parts: float = 0.0
    cost: float = 0.0
    expected: float = 0.0
    saves: float = 0.0
    merit: float = 0.0
    outcomes: tuple[tuple[str, float], ...] = ()
    cannot: float = 0.0
    curing: float = 0.0
    forbidden: tuple[str, ...] = ()
    rough: bool = False
