"""What the checks look at: the knowledge as far as it was built, and the way back to what was written."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from diagnose.model import (
    Access,
    Cause,
    Caution,
    Complaint,
    Condition,
    Entry,
    Fact,
    Gate,
    Knowledge,
    Mechanism,
    Repair,
    SheetItem,
    Source,
    Test,
    Work,
)
from diagnose.problems import Problem
from diagnose.reading.files import nearest
from diagnose.reading.layers import NAMESPACES, Trail, Written
from diagnose.reading.wording import subject

_KINDS: Mapping[type[Entry], str] = {
    Fact: "facts",
    Mechanism: "mechanisms",
    Condition: "conditions",
    Cause: "causes",
    Test: "test",
    Repair: "repairs",
    Access: "access",
    Complaint: "complaints",
    Caution: "cautions",
    Source: "sources",
    SheetItem: "quantities",
}


@dataclass(frozen=True, slots=True)
class Draft:
    """What the checks look at.

    written: entries as written, by namespace and id. broken: ids of entries that could not be built, by
    kind of file. unread: kinds of files of which something could not be read, so that any id may exist.
    mentioned: every word of the broken entries, which may use what seems unused. whole: nothing was lost
    before entries were built, so that what seems unused is.
    """

    knowledge: Knowledge
    written: Mapping[tuple[str, str], Written]
    broken: Mapping[str, frozenset[str]]
    unread: frozenset[str]
    mentioned: frozenset[str]
    whole: bool

    def entries(self) -> Iterator[Entry]:
        """Yield every entry that was built."""
        known = self.knowledge
        for group in (known.facts, known.mechanisms, known.conditions, known.causes, known.tests):
            yield from group.values()
        for others in (known.repairs, known.access, known.complaints, known.cautions, known.sources):
            yield from others.values()
        yield from known.quantities.values()

    def parents(self) -> Iterator[Cause | Condition]:
        """Yield everything that can lead to a condition."""
        yield from self.knowledge.causes.values()
        yield from self.knowledge.conditions.values()

    def gates(self) -> Iterator[tuple[Entry, Trail, Gate]]:
        """Yield every gate with its entry and the trail to it."""
        for entry in self.entries():
            if isinstance(entry, (Fact, Cause, Condition, Work, Access, Complaint, Caution, SheetItem)):
                yield entry, ("applies",), entry.applies
            if isinstance(entry, Test) and entry.reading:
                for index, limit in enumerate(entry.reading.limits):
                    yield entry, ("reading", "limits", index, "applies"), limit.applies
            if isinstance(entry, SheetItem):
                for index, usual in enumerate(entry.typical):
                    yield entry, ("typical", index, "applies"), usual.applies
            if isinstance(entry, Caution) and entry.when:
                yield entry, ("when", "facts"), entry.when.facts

    def source_of(self, entry: Entry) -> Written:
        """Return the entry as it was written."""
        kind = _KINDS[type(entry)]
        return self.written[NAMESPACES.get(kind, kind), entry.id]

    def problem(
        self, entry: Entry, trail: Trail, says: str, rule: str, write: str = "", *, key: bool = False
    ) -> Problem:
        """Return a mistake in an entry, at the value a trail leads to or at its key."""
        return self.source_of(entry).problem(trail, says, rule, write, key=key)

    def names(self, *kinds: str) -> Collection[str] | None:
        """Return the ids of some kinds of entries, broken ones included; None where any id may exist."""
        wanted = {"tests", "symptoms"} if kinds == ("tests",) else set(kinds)
        if self.unread & wanted:
            return None
        built = [name for kind in kinds for name in getattr(self.knowledge, kind)]
        return {*built, *(name for kind in wanted for name in self.broken.get(kind, ()))}

    def unknown(
        self, entry: Entry, trail: Trail, word: str, what: str, known: Collection[str], *, key: bool = True
    ) -> Problem:
        """Return the mistake of a word that nothing defines, with the known word nearest to it."""
        spoken = subject(self.source_of(entry), tuple(part for part in trail if part != word))
        write = nearest(word, sorted(known)) or _some(known)
        rule = "unknown-" + ("node" if " or " in what else what.partition(" of ")[0])
        return self.problem(entry, trail, f"{spoken} names {word}, which is no {what}", rule, write, key=key)

    def levels(self, node: str) -> tuple[str, ...] | None:
        """Return the levels of a cause or condition, or None where they are not known."""
        if node in self.knowledge.conditions:
            return self.knowledge.conditions[node].levels
        return ("absent", "present") if node in self.knowledge.causes else None


def _some(known: Collection[str], most: int = 8) -> str:
    """Return a few known words to choose from."""
    words = sorted(known)
    if not words:
        return "nothing: there is none yet"
    return "one of " + ", ".join(words[:most]) + (", ..." if len(words) > most else "")
