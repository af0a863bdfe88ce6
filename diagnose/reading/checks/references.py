"""Every id that an entry names is defined somewhere."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from diagnose.model import Access, Caution, Complaint, Entry, Fact, Gate, Option, Source, Test, Work
from diagnose.problems import Problem
from diagnose.reading.draft import Draft
from diagnose.reading.layers import Trail

ACTIVITIES = ("kicks", "sparks", "opens_fuel", "runs", "primes_fuel", "live_ht", "heat", "rides")
"""What work does that can be dangerous, and what a caution can forbid."""

TAGS = ("fuel_open", "plug_hole_open", "engine_apart", "cannot_run")
"""What opened access leaves behind."""


def _unknown(
    draft: Draft, entry: Entry, trail: Trail, words: Iterable[str], what: str, known: Collection[str] | None
) -> Iterator[Problem]:
    """Yield a mistake for each word that is not known; trail leads to the list or mapping that holds it."""
    if known is not None:
        for word in words:
            if word not in known:
                yield draft.unknown(entry, (*trail, word), word, what, known)


def sources(draft: Draft) -> Iterator[Problem]:
    """Every basis is in sources.yaml."""
    known = draft.names("sources")
    for entry in draft.entries():
        if not isinstance(entry, Source):
            yield from _unknown(draft, entry, ("basis",), entry.basis, "source", known)
    for test in draft.knowledge.tests.values():
        for index, limit in enumerate(test.reading.limits if test.reading else ()):
            trail = ("reading", "limits", index, "basis")
            yield from _unknown(draft, test, trail, limit.basis, "source", known)
    for item in draft.knowledge.quantities.values():
        for index, usual in enumerate(item.typical):
            yield from _unknown(draft, item, ("typical", index, "basis"), usual.basis, "source", known)


def gates(draft: Draft) -> Iterator[Problem]:
    """Every gate names facts and their options."""
    known = draft.names("facts")
    for entry, trail, gate in draft.gates():
        yield from _unknown(draft, entry, trail, gate, "fact", known)
        for name, options in gate.items():
            if fact := draft.knowledge.facts.get(name):
                for option in sorted(options - set(fact.options)):
                    what = f"option of {name}"
                    yield draft.unknown(entry, (*trail, name, option), option, what, fact.options, key=False)


def standing(draft: Draft) -> Iterator[Problem]:
    """What work needs and leaves is how a bike can stand now; no other gate but a rule's asks for that."""
    known = draft.names("facts")
    now = draft.knowledge.now
    for entry, trail, gate in draft.gates():
        for name in gate.keys() & now.keys():
            if trail != ("when", "facts"):
                says = f"{entry.id} applies by {name}, which changes while the job goes on"
                yield draft.problem(
                    entry, (*trail, name), says, "gate-of-now", f"needs: {{{name}: ...}}, at a test or repair", key=True
                )
    for entry, trail, options in _stands(draft):
        yield from _unknown(draft, entry, trail, options, "fact", known)
        for name, wanted in options.items():
            fact = draft.knowledge.facts.get(name)
            if fact and fact.kind != "now":
                says = f"{name} is a fact of kind {fact.kind}; work does not change it"
                yield draft.problem(entry, (*trail, name), says, "not-of-now", "a fact of kind now", key=True)
            elif fact:
                for option in sorted(wanted - set(fact.options)):
                    yield draft.unknown(
                        entry, (*trail, name, option), option, f"option of {name}", fact.options, key=False
                    )


def _stands(draft: Draft) -> Iterator[tuple[Entry, Trail, Gate]]:
    """Yield what every piece of work needs and leaves, as gates."""
    for work in draft.entries():
        if isinstance(work, Work):
            yield work, ("needs",), work.needs
            yield work, ("leaves",), {fact: frozenset((option,)) for fact, option in work.leaves.items()}
        if isinstance(work, Test):
            for outcome in work.outcomes:
                left = {fact: frozenset((option,)) for fact, option in outcome.leaves.items()}
                yield work, ("outcomes", outcome.id, "leaves"), left


def options(draft: Draft) -> Iterator[Problem]:
    """Every option implies known options of known facts and moves known causes or mechanisms."""
    facts = draft.names("facts")
    movable = draft.names("causes", "mechanisms")
    for fact in draft.knowledge.facts.values():
        for option in fact.options.values():
            trail: Trail = ("options", option.id)
            yield from _unknown(draft, fact, (*trail, "odds"), option.odds, "cause or mechanism", movable)
            yield from _unknown(draft, fact, (*trail, "implies"), option.implies, "fact", facts)
            for name, other in option.implies.items():
                implied = draft.knowledge.facts.get(name)
                if implied and other not in implied.options:
                    where = (*trail, "implies", name)
                    what = f"option of {name}"
                    yield draft.unknown(fact, where, other, what, implied.options, key=False)


def mechanisms(draft: Draft) -> Iterator[Problem]:
    """Every cause names a known mechanism, if any."""
    known = draft.names("mechanisms")
    for cause in draft.knowledge.causes.values():
        if cause.mechanism and known is not None and cause.mechanism not in known:
            yield draft.unknown(cause, ("mechanism",), cause.mechanism, "mechanism", known, key=False)


def _levels(draft: Draft, entry: Entry, trail: Trail, node: str, words: Iterable[str]) -> Iterator[Problem]:
    """Yield a mistake for each word that is no level of a node."""
    known = draft.levels(node)
    if known is not None:
        yield from _unknown(draft, entry, trail, words, f"level of {node}", known)


def links(draft: Draft) -> Iterator[Problem]:
    """Every link leads to a known condition and speaks of known levels."""
    known = draft.names("conditions")
    for parent in draft.parents():
        for link in parent.links:
            yield from _unknown(draft, parent, ("leads_to",), [link.child], "condition", known)
            trail: Trail = ("leads_to", link.child)
            yield from _levels(draft, parent, trail, parent.id, link.table)
            for level, row in link.table.items():
                yield from _levels(draft, parent, (*trail, level), link.child, row)


def all_of(draft: Draft) -> Iterator[Problem]:
    """Every AND and every leak speaks of known nodes and levels."""
    known = draft.names("conditions", "causes")
    for condition in draft.knowledge.conditions.values():
        yield from _levels(draft, condition, ("leak",), condition.id, condition.leak)
        for index, part in enumerate(condition.all_of):
            trail: Trail = ("all_of", index, "parents")
            yield from _unknown(draft, condition, trail, part.parents, "cause or condition", known)
            for parent, levels in part.parents.items():
                yield from _levels(draft, condition, (*trail, parent), parent, sorted(levels))
            yield from _levels(draft, condition, ("all_of", index, "chances"), condition.id, part.chances)


def cylinders(draft: Draft) -> Iterator[Problem]:
    """What goes by cylinder speaks of known conditions, and the bike has the facts that tell how many it has."""
    conditions, facts = draft.names("conditions"), draft.names("facts")
    for condition in draft.knowledge.conditions.values():
        shown = condition.levels[1:] if condition.stands_for else ()
        yield from _unknown(draft, condition, ("levels",), shown, "condition", conditions)
        if condition.one_of:
            yield from _unknown(draft, condition, ("one_of",), [condition.one_of], "condition", conditions)
    for entry in draft.entries():
        wanted = {"cylinder": "cylinders", "carburettor": "carburettors"}.get(getattr(entry, "each", ""), "")
        if wanted and facts is not None and wanted not in facts:
            says = f"{entry.id} goes by {getattr(entry, 'each', '')}, but there is no fact {wanted}"
            yield draft.problem(entry, ("each",), says, "unknown-fact", f"{wanted} in facts.yaml, or no each", key=True)


def drivers(draft: Draft) -> Iterator[Problem]:
    """Everything that drives an outcome or a complaint is a cause or a condition, at one of its levels."""
    known = draft.names("conditions", "causes")
    driven: list[tuple[Entry, Trail, dict[str, Iterable[str]]]] = []
    for test in draft.knowledge.tests.values():
        for outcome in test.outcomes:
            driven.append((test, ("outcomes", outcome.id, "drivers"), dict(outcome.drivers)))
    for complaint in draft.knowledge.complaints.values():
        driven.append((complaint, ("drivers",), dict(complaint.drivers)))
    for entry, trail, nodes in driven:
        yield from _unknown(draft, entry, trail, nodes, "cause or condition", known)
        for node, levels in nodes.items():
            yield from _levels(draft, entry, (*trail, node), node, levels)


def access(draft: Draft) -> Iterator[Problem]:
    """Every access that is needed is known."""
    known = draft.names("access")
    for entry in draft.entries():
        if isinstance(entry, Work):
            yield from _unknown(draft, entry, ("access",), entry.access, "access", known)
        elif isinstance(entry, Access):
            yield from _unknown(draft, entry, ("needs",), entry.needs, "access", known)


def cautions(draft: Draft) -> Iterator[Problem]:
    """Every caution that is named is known."""
    known = draft.names("cautions")
    for entry in draft.entries():
        if isinstance(entry, (Work, Access)):
            yield from _unknown(draft, entry, ("cautions",), entry.cautions, "caution", known)
        elif isinstance(entry, Fact):
            for option in entry.options.values():
                trail = ("options", option.id, "reach", "cautions")
                yield from _unknown(
                    draft, entry, trail, option.reach.cautions if option.reach else (), "caution", known
                )
        elif isinstance(entry, Complaint) and entry.proof:
            yield from _unknown(draft, entry, ("proof", "cautions"), entry.proof.cautions, "caution", known)


def _options(draft: Draft) -> Iterator[tuple[Fact, Option, Trail]]:
    """Yield every option of every fact with the trail to it."""
    for fact in draft.knowledge.facts.values():
        for option in fact.options.values():
            yield fact, option, ("options", option.id)


def causes(draft: Draft) -> Iterator[Problem]:
    """Repairs cure, and tests remove, known causes."""
    known = draft.names("causes")
    for repair in draft.knowledge.repairs.values():
        yield from _unknown(draft, repair, ("cures",), repair.cures, "cause", known)
        yield from _unknown(draft, repair, ("dud",), repair.dud, "cause", known)
    for test in draft.knowledge.tests.values():
        yield from _unknown(draft, test, ("removes",), test.removes, "cause", known)
    for fact, option, trail in _options(draft):
        yield from _unknown(draft, fact, (*trail, "removes"), option.removes, "cause", known)
        yield from _unknown(draft, fact, (*trail, "makes"), option.makes, "cause", known)
        yield from _unknown(draft, fact, (*trail, "clears"), option.clears, "cause", known)


def conditions(draft: Draft) -> Iterator[Problem]:
    """Tests supply, and complaints aim at, known conditions."""
    known = draft.names("conditions")
    for test in draft.knowledge.tests.values():
        yield from _unknown(draft, test, ("supplies",), test.supplies, "condition", known)
    for fact, option, trail in _options(draft):
        yield from _unknown(draft, fact, (*trail, "supplies"), option.supplies, "condition", known)
    for complaint in draft.knowledge.complaints.values():
        yield from _unknown(draft, complaint, ("target",), complaint.target, "condition", known)
        yield from _unknown(draft, complaint, ("excludes",), complaint.excludes, "condition", known)


def tests(draft: Draft) -> Iterator[Problem]:
    """Every test that a repair is checked by is known."""
    known = draft.names("tests")
    for repair in draft.knowledge.repairs.values():
        yield from _unknown(draft, repair, ("check_after",), repair.check_after, "test", known)


def rules_of_cautions(draft: Draft) -> Iterator[Problem]:
    """The rule of a caution speaks of known tests, outcomes and conditions."""
    tests_known, conditions_known = draft.names("tests"), draft.names("conditions")
    for caution in draft.knowledge.cautions.values():
        when = caution.when
        if when is None:
            continue
        yield from _unknown(draft, caution, ("when", "not_done"), when.not_done, "test", tests_known)
        yield from _unknown(draft, caution, ("when", "cleared_by"), when.cleared_by, "test", tests_known)
        yield from _unknown(draft, caution, ("when", "outcome"), when.outcome, "test", tests_known)
        yield from _unknown(draft, caution, ("when", "likely"), when.likely, "condition", conditions_known)
        for name, outcomes in when.outcome.items():
            if test := draft.knowledge.tests.get(name):
                known = [outcome.id for outcome in test.outcomes]
                trail = ("when", "outcome", name)
                yield from _unknown(draft, caution, trail, sorted(outcomes), f"outcome of {name}", known)


def activities(draft: Draft) -> Iterator[Problem]:
    """What work does, and what a caution forbids, are activities we know."""
    for entry in draft.entries():
        if isinstance(entry, Work):
            yield from _unknown(draft, entry, ("does",), sorted(entry.does), "activity", ACTIVITIES)
        elif isinstance(entry, Fact):
            for option in entry.options.values():
                trail = ("options", option.id, "reach", "does")
                does = sorted(option.reach.does) if option.reach else ()
                yield from _unknown(draft, entry, trail, does, "activity", ACTIVITIES)
        elif isinstance(entry, Caution):
            yield from _unknown(draft, entry, ("forbids",), sorted(entry.forbids), "activity", ACTIVITIES)


def tags(draft: Draft) -> Iterator[Problem]:
    """What access leaves open, and what a rule looks at, are tags we know."""
    for entry in draft.knowledge.access.values():
        yield from _unknown(draft, entry, ("leaves",), sorted(entry.leaves), "tag", TAGS)
    for caution in draft.knowledge.cautions.values():
        if caution.when:
            yield from _unknown(draft, caution, ("when", "open"), sorted(caution.when.open), "tag", TAGS)
