"""Twins: what every cylinder or every carburettor has for itself becomes one entry for each side.

An entry with `each: cylinder` stands for three: itself on a single, and `id.left` and `id.right` on a twin; with
`each: carburettor` the twin must have one each. A side speaks only of its own side and of what both share; what both
share speaks of either side.

What one cylinder does (`stands_for`) is one condition for each side, its levels the behaviours from good to worst. A
side's links into those behaviours go there, and the bike does the best that one of its cylinders does. `one_of` is
what shows when one cylinder is well and the other is not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from typing import TypeVar

from diagnose.model import (
    ABSENT,
    BEHAVIOUR,
    PRESENT,
    AllOf,
    Cause,
    Caution,
    Chances,
    Complaint,
    Condition,
    Entry,
    Fact,
    Gate,
    Knowledge,
    Link,
    Repair,
    SheetItem,
    Test,
)
from diagnose.sides import SIDES, side_of

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

UNEVEN = 0.97
"""P(it shows that one cylinder is out | it is and the other is not). Basis: memory."""

WEAK = 0.3
"""A link between what one side has and what both share is left out on a twin where it is no stronger than this.

The many faint ties between the sides say little and make the network too wide to work out while the mechanic waits.
"""

T = TypeVar("T")
Named = TypeVar("Named", Cause, Condition, Test, Repair)


def with_instances(known: Knowledge) -> Knowledge:
    """Return the knowledge with every entry that goes by cylinder or carburettor once for each side."""
    groups: tuple[Mapping[str, Entry], ...] = (known.causes, known.conditions, known.tests, known.repairs)
    each = {name: _each(entry) for group in groups for name, entry in group.items() if _each(entry)}
    if not each:
        return known
    states = [c for c in known.conditions.values() if c.stands_for]
    behaviours = frozenset(c.id for c in known.conditions.values() if c.system == BEHAVIOUR)
    shared = _Names(each, {level: state.id for state in states for level in state.levels[1:]}, behaviours)
    conditions = _expanded(known.conditions, shared, _condition)
    for state in states:
        conditions |= {both.id: both for both in _agreeing(state, conditions)}
    return replace(
        known,
        causes=_expanded(known.causes, shared, _cause),
        conditions=conditions,
        tests=_expanded(known.tests, shared, _test),
        repairs=_expanded(known.repairs, shared, _repair),
        facts={name: _fact(fact, shared) for name, fact in known.facts.items()},
        complaints={name: _complaint(complaint, shared) for name, complaint in known.complaints.items()},
        cautions={name: _caution(caution, shared) for name, caution in known.cautions.items()},
        quantities={name: _sheet_item(item, shared) for name, item in known.quantities.items()},
    )


def _each(entry: Entry) -> str:
    """Return by what an entry goes: cylinder, carburettor, or nothing."""
    return entry.each if isinstance(entry, (Cause, Condition, Test, Repair)) else ""


@dataclass(frozen=True)
class _Names:
    """What an entry calls others by.

    by_side: id -> by what it goes; state_of: behaviour -> what stands for it on one side; behaviours: what the bike
    does; each, side: of the entry that speaks.
    """

    by_side: Mapping[str, str]
    state_of: Mapping[str, str]
    behaviours: frozenset[str]
    each: str = ""
    side: str = ""

    def of(self, name: str) -> tuple[str, ...]:
        """Return the ids that a name stands for. More than the bike has does no harm: gates sort them out."""
        goes_by = self.by_side.get(name)
        if goes_by is None:
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

    def drivers(self, chances: Chances) -> Chances:
        """Return the drivers of a rung; a side sees what its own cylinder does."""
        found: dict[str, Mapping[str, float]] = {}
        for name, by_level in chances.items():
            state = self.state_of.get(name) if self.side else None
            if state is None:
                found |= dict.fromkeys(self.of(name), by_level)
            else:
                mine = side_of(state, self.side)
                found[mine] = {**found.get(mine, {}), name: by_level[PRESENT]}
        return found


def _expanded(group: Mapping[str, Named], shared: _Names, spoken: Callable[[Named, _Names], Named]) -> dict[str, Named]:
    """Return a group of entries, each with its sides behind it."""
    found: dict[str, Named] = {}
    for name, entry in group.items():
        each = _each(entry)
        once = _gated(entry.applies, ON_SINGLE[each]) if each else entry.applies
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
    """Return the links of a side: into behaviours as one link into what its cylinder does."""
    found: list[Link] = []
    does: dict[str, list[Link]] = {}
    for link in links:
        if names.side and link.child in names.state_of:
            does.setdefault(names.state_of[link.child], []).append(link)
        else:
            found += [Link(parent=parent, child=child, table=link.table) for child in _reached(link, names)]
    for state, mine in does.items():
        order = [name for name, stands in names.state_of.items() if stands == state]
        found.append(Link(parent=parent, child=side_of(state, names.side), table=_worst(mine, order)))
    return tuple(found)


def _reached(link: Link, names: _Names) -> tuple[str, ...]:
    """Return the ids that a link leads to: none on a twin where it is weak and goes from one side to both or back."""
    strong = max(sum(row.values()) for row in link.table.values()) > WEAK
    if strong or link.child in names.behaviours:
        return names.of(link.child)
    if names.side:
        return names.of(link.child) if link.child in names.by_side else ()
    return (link.child,)


def _worst(links: Iterable[Link], order: list[str]) -> Chances:
    """Return links into several behaviours as one into their state: each is drawn, and the worst one counts.

    order: the behaviours from good to worst.

    >>> made = [Link(parent="a", child=c, table={"present": {"present": 0.5}}) for c in ("coughs", "no_fire")]
    >>> _worst(made, ["fires_dies", "coughs", "no_fire"])
    {'present': {'no_fire': 0.5, 'coughs': 0.25}}
    """
    tables = {link.child: link.table for link in links}
    found: dict[str, dict[str, float]] = {}
    for level in dict.fromkeys(level for table in tables.values() for level in table):
        none_worse = 1.0
        for behaviour in reversed(order):
            p = tables.get(behaviour, {}).get(level, {}).get(PRESENT, 0.0)
            if p:
                found.setdefault(level, {})[behaviour] = none_worse * p
                none_worse *= 1 - p
    return found


def _cause(cause: Cause, names: _Names) -> Cause:
    return replace(cause, links=_links(cause.links, cause.id, names))


def _condition(condition: Condition, names: _Names) -> Condition:
    all_of = tuple(
        AllOf(parents=parents, chances=both.chances)
        for both in condition.all_of
        for parents in _combined(both.parents, names)
    )
    return replace(condition, links=_links(condition.links, condition.id, names), all_of=all_of)


def _combined(parents: Mapping[str, frozenset[str]], names: _Names) -> Iterable[dict[str, frozenset[str]]]:
    """Yield an AND as each side has it: the parents of one side meet only each other and what is shared."""
    for n in range(max(len(names.of(name)) for name in parents)):
        yield {names.of(name)[min(n, len(names.of(name)) - 1)]: levels for name, levels in parents.items()}


def _agreeing(state: Condition, conditions: Mapping[str, Condition]) -> Iterable[Condition]:
    """Yield what leads to each behaviour when no cylinder does better, and what shows when one alone is well."""
    left, right = (side_of(state.id, side) for side in SIDES)
    for n, behaviour in enumerate(state.levels[1:], start=1):
        this, worse = frozenset({behaviour}), frozenset(state.levels[n + 1 :])
        pairs = [(this, this | worse)] + ([(worse, this)] if worse else [])
        both = side_of(behaviour, "both")
        yield replace(
            state,
            id=both,
            name=f"{conditions[behaviour].name}, both cylinders",
            of=behaviour,
            levels=(ABSENT, PRESENT),
            level_names={},
            applies=ON_TWIN["cylinder"],
            each="",
            stands_for=False,
            links=(Link(parent=both, child=behaviour, table={PRESENT: {PRESENT: 1.0}}),),
            all_of=tuple(AllOf(parents={left: a, right: b}, chances={PRESENT: 1.0}) for a, b in pairs),
        )
    out, well = frozenset(state.levels[1:]), frozenset(state.levels[:1])
    ways = tuple(AllOf(parents={left: a, right: b}, chances={PRESENT: UNEVEN}) for a, b in ((out, well), (well, out)))
    for shows in conditions.values():
        if shows.one_of == state.id:
            yield replace(shows, all_of=ways)


def _test(test: Test, names: _Names) -> Test:
    outcomes = tuple(replace(outcome, drivers=names.drivers(outcome.drivers)) for outcome in test.outcomes)
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


def _sheet_item(item: SheetItem, names: _Names) -> SheetItem:
    points_to = (item.low, item.high, item.differs)
    low, high, differs = (names.every(causes) for causes in points_to)
    return replace(item, low=low, high=high, differs=differs)


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
