"""What is done by hand: tests, repairs, access."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from diagnose.model.base import NEVER, Chances, Entry, Gate
from diagnose.model.sheet import Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One rung of a ladder. drivers: P(this rung fires | that node at that level). base: false alarm.

    complaint: of the try-out: what the owner reported is still there, and it takes his complaint's proof to show it.
    leaves: how the bike stands after it, beside what the work itself leaves.
    """

    id: str
    name: str
    base: float = 0.0
    drivers: Chances = field(default_factory=dict)
    default: bool = False
    tell: str = ""
    complaint: bool = False
    leaves: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Work(Entry):
    """What has to be done by hand: minutes without access, the access it needs, its dangers.

    needs, leaves: how the bike must stand for it and stands after it, facts of the kind now. kicks: how many, plug in.
    each: as of a cause. routine: its place in the round of jobs on a bike that has stood, 0 where it has none.
    """

    applies: Gate = field(default_factory=dict)
    minutes: float = 0.0
    wait: float = 0.0
    access: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    does: frozenset[str] = frozenset()
    needs: Gate = field(default_factory=dict)
    leaves: Mapping[str, str] = field(default_factory=dict)
    kicks: int = 0
    each: str = ""
    routine: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Test(Work):
    """A symptom (free, a question or a look) or a test (costs minutes): a ladder of outcomes.

    The first outcome whose drivers fire wins; the last is the default. removes: causes cut out of
    the bike while it is done; supplies: conditions held healthy while it is done. put_back: how that is undone;
    with it the bike is left so until somebody does. cannot: P(it turns out that it cannot be done), by CONTEXTS.
    turning: it says nothing of an engine that does not turn.
    """

    system: str
    symptom: bool
    kind: str
    why: str
    outcomes: tuple[Outcome, ...]
    ask: str = ""
    doubt: str = ""
    reading: Reading | None = None
    removes: tuple[str, ...] = ()
    supplies: tuple[str, ...] = ()
    put_back: tuple[str, ...] = ()
    cannot: tuple[float, float, float] = NEVER
    turning: bool = False

    @property
    def drivers(self) -> frozenset[str]:
        """Causes and conditions that can make some outcome fire."""
        return frozenset(driver for outcome in self.outcomes for driver in outcome.drivers)

    def outcome(self, outcome_id: str) -> Outcome:
        """Return the outcome of that id. Raises KeyError."""
        for outcome in self.outcomes:
            if outcome.id == outcome_id:
                return outcome
        raise KeyError(outcome_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair(Work):
    """Work that removes causes. cures: P(gone afterwards | was present). dud: P(present afterwards | was not)."""

    system: str
    cures: Mapping[str, float]
    parts: float = 0.0
    dud: Mapping[str, float] = field(default_factory=dict)
    check_after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Access(Entry):
    """Something taken off or opened. Minutes to open and to close again, without what it needs first.

    cannot: P(it is seized and does not come off without damage), by CONTEXTS.
    """

    applies: Gate
    needs: tuple[str, ...]
    open: float
    close: float
    tools: tuple[str, ...] = ()
    leaves: frozenset[str] = frozenset()
    cautions: tuple[str, ...] = ()
    cannot: tuple[float, float, float] = NEVER
