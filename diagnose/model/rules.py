"""Dangers, and where figures come from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from diagnose.model.base import Entry, Gate


@dataclass(frozen=True, slots=True, kw_only=True)
class While:
    """When a caution forbids something; every key that is given must hold.

    open: tags left by open access (such as fuel_open). outcome: test -> outcomes that were seen.
    not_done: tests of which none has been answered yet. likely: condition -> probability of not healthy,
    until one of `cleared_by` has been answered with its default outcome. facts: a gate. isolated: something
    is still unplugged or bypassed, and starting so has not been accepted. dead: the bike does not start, by its
    complaint or the last try-out.
    """

    open: frozenset[str] = frozenset()
    outcome: Mapping[str, frozenset[str]] = field(default_factory=dict)
    not_done: tuple[str, ...] = ()
    likely: Mapping[str, float] = field(default_factory=dict)
    cleared_by: tuple[str, ...] = ()
    facts: Gate = field(default_factory=dict)
    isolated: bool = False
    dead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution(Entry):
    """A danger, said at the step itself. forbids: activities (Work.does) that are locked while `when` holds."""

    say: str
    hazard: str
    applies: Gate = field(default_factory=dict)
    forbids: frozenset[str] = frozenset()
    when: While | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Source(Entry):
    """Where a figure or fact comes from. kind: published, common_practice or memory."""

    kind: Literal["published", "common_practice", "memory"]
    publisher: str = ""
    address: str = ""
