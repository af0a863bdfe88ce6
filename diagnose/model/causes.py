"""What can be wrong, and what comes of it: mechanisms, causes, conditions, complaints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.model.base import Chances, Entry, Gate


@dataclass(frozen=True, slots=True, kw_only=True)
class Mechanism(Entry):
    """A hidden common root of several causes. prior by CONTEXTS; odds_ratio of its causes, on against off."""

    plain: str = ""
    prior: tuple[float, float, float]
    odds_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What a parent alone, leak off, does to a condition: parent level -> child level -> probability."""

    parent: str
    child: str
    table: Chances


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause(Entry):
    """A fault that is present or not. prior by CONTEXTS: of such a bike, before anybody complains of it.

    each: cylinder or carburettor, where a twin has it once for each (reading/instances.py).
    """

    system: str
    plain: str
    applies: Gate
    mechanism: str | None
    prior: tuple[float, float, float]
    links: tuple[Link, ...]
    each: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AllOf:
    """An AND: every parent at one of the given levels -> the condition's level with this probability."""

    parents: Mapping[str, frozenset[str]]
    chances: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition(Entry):
    """A hidden in-between state. levels: healthy first. leak: P(level | no parent does anything), shown as a cause.

    each: as of a cause. stands_for: of what one cylinder of a twin does: its levels but the first are behaviours that
    the bike shows when no cylinder does better. one_of: a condition like that; this one comes about when one cylinder
    stands at its first level and the other does not.
    """

    system: str
    levels: tuple[str, ...]
    level_names: Mapping[str, str]
    applies: Gate
    leak: Mapping[str, float]
    leak_name: str
    links: tuple[Link, ...]
    all_of: tuple[AllOf, ...] = ()
    each: str = ""
    stands_for: bool = False
    one_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What a try-out must do besides for a complaint to come back if it is still there."""

    minutes: float
    step: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint(Entry):
    """What the owner reports: a noisy view of behaviours.

    target: the conditions that must be healthy when done. excludes: what the bike did not do on arrival,
    or the owner would have said something else. proof: where a try-out alone does not show every target.
    """

    says: str
    applies: Gate
    drivers: Chances
    base: float
    target: tuple[str, ...]
    excludes: tuple[str, ...] = ()
    proof: Proof | None = None
