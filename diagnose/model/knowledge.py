"""The whole of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from diagnose.model.bike import Fact
from diagnose.model.causes import Cause, Complaint, Condition, Mechanism
from diagnose.model.rules import Caution, Source
from diagnose.model.sheet import SheetItem
from diagnose.model.work import Access, Repair, Test


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Knowledge:
    """All of it, checked. Every mapping goes by id, in the order of the files."""

    facts: Mapping[str, Fact]
    mechanisms: Mapping[str, Mechanism]
    conditions: Mapping[str, Condition]
    causes: Mapping[str, Cause]
    tests: Mapping[str, Test]
    repairs: Mapping[str, Repair]
    access: Mapping[str, Access]
    complaints: Mapping[str, Complaint]
    cautions: Mapping[str, Caution]
    sources: Mapping[str, Source]
    quantities: Mapping[str, SheetItem] = field(default_factory=dict)
    version: str
    """Hash of the content, kept with every job."""

    @property
    def now(self) -> dict[str, Fact]:
        """The facts of how the bike stands now."""
        return {fact.id: fact for fact in self.facts.values() if fact.kind == "now"}

    def __repr__(self) -> str:
        """Return its version; the content would fill pages."""
        return f"Knowledge({self.version})"
