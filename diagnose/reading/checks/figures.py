"""Figures that belong together fit together: sums, levels, minutes, units and limits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

from diagnose.model import NEVER, Entry, Test
from diagnose.problems import Problem
from diagnose.reading.draft import Draft
from diagnose.reading.layers import Trail
from diagnose.reading.wording import subject
from diagnose.units import UNITS, units_of

SLACK = 1e-9
"""By how much a sum of probabilities may pass 1."""

MOST_SYMPTOM_MINUTES = 2.0


def _rows(draft: Draft) -> Iterator[tuple[Entry, Trail, str, Mapping[str, float]]]:
    """Yield every set of chances of one node's levels, with its entry and trail."""
    for parent in draft.parents():
        for link in parent.links:
            for level, row in link.table.items():
                yield parent, ("leads_to", link.child, level), link.child, row
    for condition in draft.knowledge.conditions.values():
        yield condition, ("leak",), condition.id, condition.leak
        for index, part in enumerate(condition.all_of):
            yield condition, ("all_of", index, "chances"), condition.id, part.chances


def sums(draft: Draft) -> Iterator[Problem]:
    """The chances of a condition's levels under one link, leak or AND do not pass 1 together."""
    for entry, trail, node, row in _rows(draft):
        total = sum(row.values())
        if total > 1 + SLACK:
            spoken = subject(draft.source_of(entry), trail)
            says = f"{spoken} gives the levels of {node} {total:g} together; it can be 1 at most"
            yield draft.problem(entry, trail, says, "sum-over-one", "smaller chances, 1 together at most", key=True)


def healthy_levels(draft: Draft) -> Iterator[Problem]:
    """No link, leak or driver speaks of the healthy level: it is what is left."""
    for entry, trail, node, row in _rows(draft):
        yield from _healthy(draft, entry, trail, node, row)
    for parent in draft.knowledge.conditions.values():
        for link in parent.links:
            yield from _healthy(draft, parent, ("leads_to", link.child), parent.id, link.table)
    for test in draft.knowledge.tests.values():
        for outcome in test.outcomes:
            for node, chances in outcome.drivers.items():
                yield from _healthy(draft, test, ("outcomes", outcome.id, "drivers", node), node, chances)
    for complaint in draft.knowledge.complaints.values():
        for node, chances in complaint.drivers.items():
            yield from _healthy(draft, complaint, ("drivers", node), node, chances)


def _healthy(draft: Draft, entry: Entry, trail: Trail, node: str, levels: Mapping[str, object]) -> Iterator[Problem]:
    known = draft.levels(node)
    if known and known[0] in levels:
        spoken = subject(draft.source_of(entry), trail)
        says = f"{spoken} names {known[0]}, the healthy level of {node}, which is what is left over"
        write = "only the other levels: " + ", ".join(known[1:])
        yield draft.problem(entry, (*trail, known[0]), says, "healthy-level", write, key=True)


def certainties(draft: Draft) -> Iterator[Problem]:
    """Only what the bike does is seen for certain: a condition of two levels that leads to nothing."""
    conditions = draft.knowledge.conditions
    doing = {c.id for c in conditions.values() if len(c.levels) == 2 and not c.links and not c.all_of}
    doing -= {p for c in conditions.values() for part in c.all_of for p in part.parents}
    rows: list[tuple[Entry, Trail, str, Mapping[str, float]]] = [
        (test, ("outcomes", outcome.id, "drivers", node), node, row)
        for test in draft.knowledge.tests.values()
        for outcome in test.outcomes
        for node, row in outcome.drivers.items()
    ]
    rows += [
        (complaint, ("drivers", node), node, row)
        for complaint in draft.knowledge.complaints.values()
        for node, row in complaint.drivers.items()
    ]
    for entry, trail, node, row in rows:
        if 1.0 in row.values() and draft.levels(node) is not None and node not in doing:
            spoken = subject(draft.source_of(entry), trail)
            says = f"{spoken} is certain, but {node} is hidden; only what the bike does is seen for certain"
            yield draft.problem(entry, trail, says, "certain-of-hidden", "0.97")


def leaks(draft: Draft) -> Iterator[Problem]:
    """A leak has a name, as it is shown like a cause."""
    for condition in draft.knowledge.conditions.values():
        if condition.leak and not condition.leak_name:
            says = f"{condition.id} has a leak but no leak_name, and a leak is shown like a cause"
            write = "leak_name: Something else that is not in the book"
            yield draft.problem(condition, ("leak",), says, "leak-without-name", write, key=True)


def level_names(draft: Draft) -> Iterator[Problem]:
    """Names are given to levels that the condition has."""
    for condition in draft.knowledge.conditions.values():
        for level in condition.level_names:
            if level not in condition.levels:
                what = f"level of {condition.id}"
                yield draft.unknown(condition, ("level_names", level), level, what, condition.levels)


def symptom_minutes(draft: Draft) -> Iterator[Problem]:
    """A symptom costs a question or a look; what takes longer is a test."""
    for test in draft.knowledge.tests.values():
        if test.symptom and test.minutes > MOST_SYMPTOM_MINUTES:
            says = f"{test.id} takes {test.minutes:g} minutes; a symptom takes {MOST_SYMPTOM_MINUTES:g} at most"
            write = f"it in tests/{test.system}.yaml, or fewer minutes"
            yield draft.problem(test, ("minutes",), says, "symptom-too-long", write)


def cannots(draft: Draft) -> Iterator[Problem]:
    """What can turn out to be impossible is work with the hands; a question can always be asked."""
    for test in draft.knowledge.tests.values():
        if test.kind == "ask" and test.cannot != NEVER:
            says = f"{test.id} is a question, and a question can always be asked"
            yield draft.problem(test, ("cannot",), says, "question-that-cannot", "no cannot, or another kind", key=True)


def units(draft: Draft) -> Iterator[Problem]:
    """The quantity of a reading is known, and its unit measures that quantity."""
    for test in draft.knowledge.tests.values():
        if test.reading is None:
            continue
        quantity, unit = test.reading.quantity, test.reading.unit
        allowed = units_of(quantity)
        if not allowed:
            known = set(UNITS.values())
            yield draft.unknown(test, ("reading", "quantity"), quantity, "quantity", known, key=False)
        elif unit not in allowed and (unit or quantity != "count"):
            yield _wrong_unit(draft, test, quantity, unit)


def _wrong_unit(draft: Draft, test: Test, quantity: str, unit: str) -> Problem:
    """Return the mistake of a unit that is left out, not known, or measures something else."""
    write = "unit: " + " or ".join(units_of(quantity))
    if not unit:
        return draft.problem(test, ("reading",), f"reading of {test.id} has no unit", "wrong-unit", write, key=True)
    measures = UNITS.get(unit)
    reason = f"a unit of {measures}, not of {quantity}" if measures else f"no unit of {quantity} that is known"
    says = f"reading unit of {test.id} is {unit}, {reason}"
    return draft.problem(test, ("reading", "unit"), says, "wrong-unit", write)


def limits(draft: Draft) -> Iterator[Problem]:
    """Limits name outcomes of their test and rise from one to the next."""
    for test in draft.knowledge.tests.values():
        if test.reading is None:
            continue
        if not test.reading.limits:
            says, write = (
                f"reading of {test.id} has no limits",
                "limits: [{below: {low: 600}, otherwise: ok, basis: [memory]}]",
            )
            yield draft.problem(test, ("reading", "limits"), says, "no-limits", write, key=True)
        known = [outcome.id for outcome in test.outcomes]
        what = f"outcome of {test.id}"
        for index, limit in enumerate(test.reading.limits):
            trail: Trail = ("reading", "limits", index)
            for name, _ in limit.below:
                if name not in known:
                    yield draft.unknown(test, (*trail, "below", name), name, what, known)
            if limit.otherwise not in known:
                yield draft.unknown(test, (*trail, "otherwise"), limit.otherwise, what, known, key=False)
            for (_, low), (name, high) in pairwise(limit.below):
                if high <= low:
                    says = f"limit {name} of {test.id} is {high:g}, not above the one before it, {low:g}"
                    yield draft.problem(test, (*trail, "below", name), says, "limits-not-rising", "limits that rise")
