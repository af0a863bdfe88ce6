"""What the planner is given: the bench, the tests and repairs to choose from, and what is believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from diagnose.planning.access import AccessTree

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The bike as it stands now and what things cost in this shop.

    opened: access open now. rate, wait_rate: money per minute of work and of waiting. try_minutes: one
    try-out, closing up apart. service_cost: money for handing on what the known repairs leave over.
    bit_cost: money to halve what could be wrong by tests; infinite where the plan only repairs.
    try_forbidden: cautions that lock the try-out now. try_hazard: 0 is harmless, higher is worse.
    """

    tree: AccessTree
    opened: frozenset[str] = frozenset()
    rate: float
    wait_rate: float = 0.0
    try_minutes: float
    service_cost: float
    bit_cost: float = inf
    try_forbidden: tuple[str, ...] = ()
    try_hazard: int = 0

    def money(self, minutes: float, wait: float = 0.0, parts: float = 0.0) -> float:
        """Return the price of so many minutes of work and of waiting, and of parts."""
        return self.rate * minutes + self.wait_rate * wait + parts

    @property
    def handing_on(self) -> float:
        """Return the money to close up what is open and hand the bike on."""
        return self.money(self.tree.minutes_to_close(self.opened)) + self.service_cost


@dataclass(frozen=True, slots=True, kw_only=True)
class TestOption:
    """A test that could be done: minutes without access, its outcome ids, and what speaks against it.

    cannot: probability that it turns out not to be possible, found out once its access is open, by trying for so
    many minutes: tried.
    forbidden: cautions that lock it now.
    """

    id: str
    minutes: float
    wait: float = 0.0
    access: tuple[str, ...] = ()
    outcomes: tuple[str, ...]
    hazard: int = 0
    cannot: float = 0.0
    tried: float = 0.0
    forbidden: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairOption:
    """A repair that could be done. cures: index of a cause -> P(gone afterwards | was present).

    look: minutes, without access, after which one sees whether it is needed at all; the rest, and the
    parts, are then paid only if it is. None where it can only be done blindly.
    """

    id: str
    minutes: float
    wait: float = 0.0
    parts: float = 0.0
    access: tuple[str, ...] = ()
    cures: Mapping[int, float]
    look: float | None = None
    hazard: int = 0
    forbidden: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """What would be believed after each outcome of one test, in the order of TestOption.outcomes.

    chances: [K] probability of each outcome. marginals: [K, n], failing: [K], as in Beliefs. Rows of
    outcomes that cannot happen are not read.
    """

    chances: Floats
    marginals: Floats
    failing: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beliefs:
    """What is believed now.

    marginals: [n] P(cause present and stopping the bike). failing: P(the bike does not do what is
    asked). after: test id -> its outlook.
    """

    marginals: Floats
    failing: float
    after: Mapping[str, Outlook]
