"""`diagnose explain`: what an entry of the knowledge is, how it is done, what leads to what."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from diagnose.model import Cause, Condition, Entry, Knowledge, Repair, SheetItem, Test, Work


@click.command()
@click.argument("entry", metavar="ID")
@click.pass_obj
def explain(desk: Desk, entry: str) -> int:
    """Say what something in the book is.

    ID is a cause, condition, test, repair or value of the sheet: what it is, how it is done, what leads to what.
    """
    from difflib import get_close_matches

    from diagnose.problems import DiagnoseError
    from diagnose.sides import SIDES, side_of
    from diagnose.terminal.page import Line

    known, page = desk.knowledge(), desk.page()
    told = list(about(known, entry)) or list(about(known, side_of(entry, SIDES[0])))
    if not told:
        ids = [*known.causes, *known.conditions, *known.tests, *known.repairs, *known.quantities]
        near = get_close_matches(entry, ids, 3, 0.5) or [one for one in ids if entry in one][:3]
        hint = f" Did you mean {' or '.join(near)}?" if near else " Ids look like this: pilot_jet_blocked."
        raise DiagnoseError(f'there is no cause, condition, test, repair or value "{entry}".{hint}')
    for text in told:
        if text.startswith("# "):
            page.show([Line(text[2:], "bold")])
        else:
            page.show(page.wrapped(text, "  ", rest="    "))
    return 0


def about(known: Knowledge, entry: str) -> Iterator[str]:
    """Give what is known of every entry of that id, line by line; headings start with "# "."""
    if entry in known.causes:
        yield from about_cause(known, known.causes[entry])
    if entry in known.conditions:
        yield from about_condition(known, known.conditions[entry])
    if entry in known.tests:
        yield from about_test(known, known.tests[entry])
    if entry in known.repairs:
        yield from about_repair(known, known.repairs[entry])
    if entry in known.quantities:
        yield from about_value(known, known.quantities[entry])


def about_cause(known: Knowledge, cause: Cause) -> Iterator[str]:
    """Give a cause: in plain words, how common, what it leads to, what shows it, what cures it."""
    from diagnose.wording import per_cent

    yield f"# {cause.name} (cause)"
    yield cause.plain
    lately, year, years = (per_cent(prior) for prior in cause.prior)
    yield f"How often, before any complaint: ran lately {lately}, a year ago {year}, years ago {years}."
    if cause.mechanism:
        yield f"Comes from: {known.mechanisms[cause.mechanism].name}."
    yield from _leads_to(known, [link.child for link in cause.links])
    yield from _shown_by(known, cause.id)
    cures = [
        f"{one.name} ({one.id})" for one in known.repairs.values() if cause.id in one.cures and not _side(known, one)
    ]
    yield f"Cured by: {'; '.join(cures) or 'nothing in the book'}."


def about_condition(known: Knowledge, condition: Condition) -> Iterator[str]:
    """Give a condition: its levels, what brings it about, what it leads to, what shows it."""
    yield f"# {condition.name} (condition)"
    yield f"Levels: {', '.join(condition.level_names.get(level, level) for level in condition.levels)}."
    entries: list[Cause | Condition] = [*known.causes.values(), *known.conditions.values()]
    entries = [entry for entry in entries if condition.of or not _side(known, entry)]
    parents = [entry for entry in entries if any(link.child == condition.id for link in entry.links)]
    if parents:
        yield f"Brought about by: {'; '.join(f'{parent.name} ({parent.id})' for parent in parents)}."
    if condition.leak_name:
        yield f"Or by: {condition.leak_name}."
    yield from _leads_to(known, [link.child for link in condition.links])
    yield from _shown_by(known, condition.id)


def about_test(known: Knowledge, test: Test) -> Iterator[str]:
    """Give a test: why, how, what each outcome points to, when not to trust it."""
    yield f"# {test.name} ({'symptom' if test.symptom else 'test'})"
    yield f"Asks: {test.ask}"
    yield f"Why: {test.why}"
    yield from _work(known, test)
    for outcome in test.outcomes:
        names = [_name(known, driver) for driver in outcome.drivers if test.of or not _of_a_side(known, driver)]
        yield f"{outcome.name}: {'points to ' + '; '.join(names) if names else 'none of these'}."
    if test.doubt:
        yield f"Do not trust it: {test.doubt}"


def about_repair(known: Knowledge, repair: Repair) -> Iterator[str]:
    """Give a repair: what it cures and how it is done."""
    from diagnose.wording import per_cent

    yield f"# {repair.name} (repair)"
    cures = [
        f"{_name(known, cause)} ({per_cent(chance)})"
        for cause, chance in repair.cures.items()
        if repair.of or not _of_a_side(known, cause)
    ]
    yield f"Cures: {'; '.join(cures)}."
    yield from _work(known, repair)
    if repair.check_after:
        yield f"Check afterwards: {'; '.join(known.tests[test].name for test in repair.check_after)}."


def about_value(known: Knowledge, item: SheetItem) -> Iterator[str]:
    """Give a value of the sheet: what is usual, what it points to, which test measures it."""
    from diagnose.consultation.sheet import span

    yield f"# {item.name} (value of the sheet)"
    if item.note:
        yield item.note
    for usual in item.typical:
        options = [known.facts[fact].options[one].name for fact, gate in usual.applies.items() for one in sorted(gate)]
        bikes = f" ({'; '.join(options)})" if options else ""
        yield f"Usual, where the manual is silent: {span(usual.low, usual.high, item.unit)}{bikes}. It is no limit."
    for says, causes in (("Less", item.low), ("More", item.high), ("Another", item.differs)):
        names = [known.causes[cause].name for cause in causes if not _of_a_side(known, cause)]
        if names:
            yield f"{says} than the manual's points to: {'; '.join(names)}."
    measures = [test for test in known.tests.values() if test.reading and test.reading.sheet == item.id]
    tests = [f"{test.name} ({test.id})" for test in measures if not _side(known, test)]
    if tests:
        yield f"Measured by: {'; '.join(tests)}."


def _work(known: Knowledge, work: Work) -> Iterator[str]:
    from diagnose.wording import minutes

    for caution in dict.fromkeys(work.cautions):
        yield f"! {known.cautions[caution].name}: {known.cautions[caution].say}"
    for access in work.access:
        yield f"First: {known.access[access].name} ({minutes(known.access[access].open)})"
    for number, step in enumerate(work.steps, start=1):
        yield f"{number}. {step}"
    if work.tools:
        yield f"Tools: {', '.join(work.tools)}"
    if work.routine:
        yield "Belongs to the round of jobs on a bike that has stood."
    yield f"Takes {minutes(work.minutes)}{f', then wait {minutes(work.wait)}' if work.wait else ''}."


def _leads_to(known: Knowledge, children: list[str]) -> Iterator[str]:
    once = [child for child in children if not _of_a_side(known, child)] or children
    if once:
        yield f"Leads to: {'; '.join(f'{_name(known, child)} ({child})' for child in once)}."


def _shown_by(known: Knowledge, node: str) -> Iterator[str]:
    tests = [
        f"{test.name} ({test.id})"
        for test in known.tests.values()
        if any(node in outcome.drivers for outcome in test.outcomes) and not _side(known, test)
    ]
    if tests:
        yield f"Shown by: {'; '.join(tests)}."


def _side(known: Knowledge, entry: Entry) -> bool:
    """Return whether an entry is one side of another that stands there as well."""
    return any(entry.of in group for group in (known.causes, known.conditions, known.tests, known.repairs))


def _of_a_side(known: Knowledge, node: str) -> bool:
    entry = known.causes.get(node) or known.conditions.get(node)
    return entry is not None and _side(known, entry)


def _name(known: Knowledge, node: str) -> str:
    entry = known.causes.get(node) or known.conditions.get(node)
    return entry.name if entry else node
