"""The bike as it was when something was seen: what had been repaired, cut out or held healthy by then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Situation:
    """A state of the bike. epoch: repairs done by then; cut: causes taken out; held: conditions kept healthy."""

    epoch: int = 0
    cut: frozenset[str] = frozenset()
    held: frozenset[str] = frozenset()


ARRIVAL = Situation()
"""As the bike came in."""


@dataclass(frozen=True, slots=True)
class RepairDone:
    """A repair that was carried out. found: cause -> "broken", "sound" or "not_seen" when it was opened."""

    id: str
    cures: Mapping[str, float]
    dud: Mapping[str, float] = field(default_factory=dict)
    found: Mapping[str, str] = field(default_factory=dict)

    def touches(self, cause: str) -> bool:
        """Return whether the repair can have changed the cause."""
        return cause in self.cures or cause in self.dud


def epochs_of(cause: str, repairs: tuple[RepairDone, ...]) -> tuple[int, ...]:
    """Return the numbers of the repairs that touched the cause, counted from 1."""
    return tuple(n for n, repair in enumerate(repairs, start=1) if repair.touches(cause))


def paths(cause: str, repairs: tuple[RepairDone, ...]) -> tuple[tuple[int, ...], ...]:
    """Return every course a cause can take: present (1) or absent (0) before and after each repair that touches it.

    >>> paths("plug_dead", (RepairDone("new_plug", {"plug_dead": 0.99}),))
    ((0, 0), (1, 0), (1, 1))
    """
    courses: list[tuple[int, ...]] = [(0,), (1,)]
    for repair in repairs:
        if repair.touches(cause):
            courses = [(*c, now) for c in courses for now in (0, 1) if _step(cause, repair, c[-1], now) > 0]
    return tuple(courses)


def courses(cause: str, repairs: tuple[RepairDone, ...]) -> int:
    """Return how many paths there are, without laying them out: what comes and goes may double them each time.

    >>> courses("plug_dead", (RepairDone("new_plug", {"plug_dead": 0.99}),))
    3
    """
    absent, present = 1, 1
    for repair in repairs:
        if repair.touches(cause):
            absent, present = (
                sum(n for before, n in ((0, absent), (1, present)) if _step(cause, repair, before, now) > 0)
                for now in (0, 1)
            )
    return absent + present


def path_probability(cause: str, repairs: tuple[RepairDone, ...], path: tuple[int, ...]) -> float:
    """Return P(the later course | how it began).

    >>> path_probability("plug_dead", (RepairDone("new_plug", {"plug_dead": 0.99}),), (1, 0))
    0.99
    """
    p = 1.0
    touching = [repair for repair in repairs if repair.touches(cause)]
    for repair, before, after in zip(touching, path, path[1:], strict=False):
        p *= _step(cause, repair, before, after)
    return p


def _step(cause: str, repair: RepairDone, before: int, after: int) -> float:
    """P(present afterwards | present before), one repair: cured, or dud (a new part that is bad)."""
    stays = 1 - repair.cures.get(cause, 0.0) if before else repair.dud.get(cause, 0.0)
    return stays if after else 1 - stays
