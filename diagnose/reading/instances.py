"""Twins: what every cylinder or every carburettor has for itself becomes one entry for each side.

An entry with `each: cylinder` stands for three: itself on a single, and `id.left` and `id.right` on a twin; with
`each: carburettor` the twin must have one each. A side speaks only of its own side and of what both share; what both
share speaks of either side. What the bike does only when no cylinder does better (`all_cylinders`) is kept apart for
each side and comes about when the two agree; `one_cylinder` is what shows when they do not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from typing import TypeVar

from diagnose.model import (
    ABSENT,
    PRESENT,
    AllOf,
    Cause,
    Caution,
    Complaint,
    Condition,
    Entry,
    Fact,
    Gate,
    Knowledge,
    Link,
    Repair,
    Test,
)

SIDES = ("left", "right")
BOTH = "both"
ON_TWIN: Mapping[str, Gate] = {
    "cylinder": {"cylinders": frozenset({"2"})},
    "carburettor": {"cylinders": frozenset({"2"}), "carburettors": frozenset({"two"})},
}
"""What a bike must have for an entry to be there once for each side."""

ON_SINGLE: Mapping[str, Gate] = {
    "cylinder": {"cylinders": frozenset({"1"})},
    "carburettor": {"carburettors": frozenset({"one"})},
}
"""What it must have for the entry to be there once; a single has no fact `carburettors`."""

T = TypeVar("T")
Named = TypeVar("Named", Cause, Condition, Test, Repair)


def side_of(entry_id: str, side: str) -> str:
    """Return the id that an entry has on one side.

    >>> side_of("plug_dead", "left")
    'plug_dead.left'
    """
    return f"{entry_id}.{side}"


def with_instances(known: Knowledge) -> Knowledge:
    """Return the knowledge with every entry that goes by cylinder or carburettor once for each side."""
    groups: tuple[Mapping[str, Entry], ...] = (known.causes, known.conditions, known.tests, known.repairs)
    by_side = {name: _each(entry) for group in groups for name, entry in group.items() if _each(entry)}
    if not by_side:
        return known
    shared = _Names(by_side, frozenset(c.id for c in known.conditions.values() if c.all_cylinders is not None))
    conditions = _expanded(known.conditions, shared, _condition)
    conditions |= {side_of(name, BOTH): _both(known.conditions[name]) for name in sorted(shared.whole)}
    return replace(
        known,
        causes=_expanded(known.causes, shared, _cause),
        conditions=conditions,
        tests=_expanded(known.tests, shared, _test),
        repairs=_expanded(known.repairs, shared, _repair),
        facts={name: _fact(fact, shared) for name, fact in known.facts.items()},
        complaints={name: _complaint(complaint, shared) for name, complaint in known.complaints.items()},
        cautions={name: _caution(caution, shared) for name, caution in known.cautions.items()},
    )


def _each(entry: Entry) -> str:
    """Return by what an entry goes: cylinder, carburettor, or nothing."""
    if isinstance(entry, Condition) and entry.all_cylinders is not None:
        return "cylinder"
    return entry.each if isinstance(entry, (Cause, Condition, Test, Repair)) else ""


@dataclass(frozen=True)
class _Names:
    """What an entry calls others by.

    by_side: id -> by what it goes; whole: what the bike does as a whole, of which only a side speaks as its own;
    each, side: of the entry that speaks.
    """

    by_side: Mapping[str, str]
    whole: frozenset[str]
    each: str = ""
    side: str = ""

    def of(self, name: str) -> tuple[str, ...]:
        """Return the ids that a name stands for. More than the bike has does no harm: gates sort them out."""
        goes_by = self.by_side.get(name)
        if goes_by is None or (name in self.whole and not self.side):
            return (name,)
        if not self.side:
            return (name, *(side_of(name, side) for side in SIDES))
        mine = side_of(name, self.side)
        return (name, mine) if (goes_by, self.each) == ("carburettor", "cylinder") else (mine,)

    def every(self, names: Iterable[str]) -> tuple[str, ...]:
        """Return the ids that names stand for, in their order."""
        return tuple(chain.from_iterable(self.of(name) for name in names))

    def keyed(self, table: Mapping[str, T]) -> dict[str, T]:
        """Return a mapping by ids for one by names."""
        return {one: value for name, value in table.items() for one in self.of(name)}


def _expanded(group: Mapping[str, Named], shared: _Names, spoken: Callable[[Named, _Names], Named]) -> dict[str, Named]:
    """Return a group of entries, each with its sides behind it."""
    found: dict[str, Named] = {}
    for name, entry in group.items():
        each = _each(entry)
        stays = not each or name in shared.whole  # the whole bike does it, by what both share or when they agree
        once = entry.applies if stays else _gated(entry.applies, ON_SINGLE[each])
        if once is not None:
            found[name] = spoken(replace(entry, applies=once), shared)
        twin = _gated(entry.applies, ON_TWIN[each]) if each else None
        if twin is not None:
            for side in SIDES:
                mine = side_of(name, side)
                instance = replace(entry, id=mine, name=f"{entry.name}, {side}", applies=twin, of=name)
                found[mine] = spoken(instance, replace(shared, each=each, side=side))
    return found


def _gated(gate: Gate, besides: Gate) -> Gate | None:
    """Return a gate that lets through what two let through; None where nothing can pass."""
    both = {
        fact: options & besides.get(fact, options) & gate.get(fact, options)
        for fact, options in {**gate, **besides}.items()
    }
    return both if all(both.values()) else None


def _links(links: Iterable[Link], parent: str, names: _Names) -> tuple[Link, ...]:
    return tuple(Link(parent=parent, child=child, table=link.table) for link in links for child in names.of(link.child))


def _cause(cause: Cause, names: _Names) -> Cause:
    return replace(cause, links=_links(cause.links, cause.id, names))


def _condition(condition: Condition, names: _Names) -> Condition:
    """Return a condition on its side. A behaviour's side has no leak of its own and ends in what both do."""
    if names.side and condition.all_cylinders is not None:
        return replace(condition, system="cylinder", leak={}, leak_name="", links=(), all_cylinders=None)
    all_of = tuple(
        AllOf(parents=parents, chances=both.chances)
        for both in condition.all_of
        for parents in _combined(both.parents, names)
    )
    if condition.one_cylinder:
        all_of += tuple(_alone(condition.one_cylinder))
    return replace(condition, links=_links(condition.links, condition.id, names), all_of=all_of)


def _combined(parents: Mapping[str, frozenset[str]], names: _Names) -> Iterable[dict[str, frozenset[str]]]:
    """Yield an AND as each side has it: the parents of one side meet only each other and what is shared."""
    for n in range(max(len(names.of(name)) for name in parents)):
        yield {names.of(name)[min(n, len(names.of(name)) - 1)]: levels for name, levels in parents.items()}


def _both(condition: Condition) -> Condition:
    """Return the condition that all cylinders do it, or the others do what is no better."""
    others = condition.all_cylinders or ()
    name = condition.id
    pairs = [(name, name)] + [pair for other in others for pair in ((name, other), (other, name))]
    present = frozenset({PRESENT})
    all_of = tuple(
        AllOf(parents={side_of(a, SIDES[0]): present, side_of(b, SIDES[1]): present}, chances={PRESENT: 1.0})
        for a, b in pairs
    )
    return replace(
        condition,
        id=side_of(name, BOTH),
        name=f"{condition.name}, both cylinders",
        system="cylinder",
        applies=_gated(condition.applies, ON_TWIN["cylinder"]) or {},
        leak={},
        leak_name="",
        links=(Link(parent=side_of(name, BOTH), child=name, table={PRESENT: {PRESENT: 1.0}}),),
        all_of=all_of,
        all_cylinders=None,
        of=name,
    )


def _alone(bad: Iterable[str]) -> Iterable[AllOf]:
    """Yield the ways in which one cylinder is bad and the other is none of it."""
    for side, other in (SIDES, SIDES[::-1]):
        well = {side_of(name, other): frozenset({ABSENT}) for name in bad}
        for name in bad:
            yield AllOf(parents={side_of(name, side): frozenset({PRESENT}), **well}, chances={PRESENT: 0.97})


def _test(test: Test, names: _Names) -> Test:
    outcomes = tuple(replace(outcome, drivers=names.keyed(outcome.drivers)) for outcome in test.outcomes)
    removes, supplies = names.every(test.removes), names.every(test.supplies)
    return replace(test, outcomes=outcomes, removes=removes, supplies=supplies)


def _repair(repair: Repair, names: _Names) -> Repair:
    checks = names.every(repair.check_after)
    return replace(repair, cures=names.keyed(repair.cures), dud=names.keyed(repair.dud), check_after=checks)


def _fact(fact: Fact, names: _Names) -> Fact:
    options = {
        name: replace(
            option,
            odds=names.keyed(option.odds),
            removes=names.every(option.removes),
            supplies=names.every(option.supplies),
            makes=names.keyed(option.makes),
            clears=names.keyed(option.clears),
        )
        for name, option in fact.options.items()
    }
    return replace(fact, options=options)


def _complaint(complaint: Complaint, names: _Names) -> Complaint:
    return replace(complaint, drivers=names.keyed(complaint.drivers))


def _caution(caution: Caution, names: _Names) -> Caution:
    when = caution.when
    if when is None:
        return caution
    return replace(
        caution,
        when=replace(
            when,
            outcome=names.keyed(when.outcome),
            not_done=names.every(when.not_done),
            likely=names.keyed(when.likely),
            cleared_by=names.every(when.cleared_by),
        ),
    )
