"""What is true of a bike: its facts, and how it stands now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from diagnose.model.base import Entry, Gate


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How the bike is brought to stand so: minutes of work, minutes of waiting, what to do, and the dangers of it."""

    step: str
    minutes: float = 0.0
    wait: float = 0.0
    does: frozenset[str] = frozenset()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One answer to a fact's question. odds: factor on the odds of a mechanism or cause.

    share: of all bikes of whom the fact was not told, how many are so; all options of a fact have one, or none has.
    covers: it says only that the bike is one of these other options.

    Only of a fact of the kind now: removes, supplies: causes cut out and conditions held healthy while it stands so;
    after: it stands so from that many kicks on; makes: cause -> P(it comes about each time work kicks it so far);
    clears: cause -> P(gone once work leaves it so); reach: how it is brought to stand so, None where nobody can.
    """

    id: str
    name: str
    look: str = ""
    implies: Mapping[str, str] = field(default_factory=dict)
    share: float = 0.0
    covers: tuple[str, ...] = ()
    odds: Mapping[str, float] = field(default_factory=dict)
    removes: tuple[str, ...] = ()
    supplies: tuple[str, ...] = ()
    after: int = 0
    makes: Mapping[str, float] = field(default_factory=dict)
    clears: Mapping[str, float] = field(default_factory=dict)
    reach: Reach | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact(Entry):
    """Something true of the bike or its history, found by asking or looking, never by model name.

    kind now: how it stands now, which work changes (Work.leaves) and needs (Work.needs); it comes in at the first
    option. Where options have `after` the kicks since the first one was reached say how it stands.
    assume: the option that is taken for true until another is told; at_intake: whether the interview asks it at the
    beginning.
    """

    ask: str
    how: str = ""
    kind: Literal["bike", "history", "now"] = "bike"
    applies: Gate = field(default_factory=dict)
    options: Mapping[str, Option] = field(default_factory=dict)
    assume: str = ""
    at_intake: bool = True

    @property
    def counts_kicks(self) -> bool:
        """Whether kicks say how it stands."""
        return any(option.after for option in self.options.values())
