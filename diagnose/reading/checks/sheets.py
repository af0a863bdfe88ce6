"""The bike's own sheet: its values fit together, and what tests measure is on it in a unit of the same kind."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from diagnose.model import Entry, Reading, SheetItem, Test
from diagnose.problems import Problem
from diagnose.reading.draft import Draft
from diagnose.reading.layers import Trail
from diagnose.reading.wording import subject
from diagnose.units import UNITS, kind_of

FIGURES_ONLY = ("typical", "possible", "low", "high")
"""Keys that only a value with a figure can have."""


def references(draft: Draft) -> Iterator[Problem]:
    """A value points to known causes, and a test measures a known value."""
    causes, items = draft.names("causes"), draft.names("quantities")
    for item in draft.knowledge.quantities.values():
        for key in ("low", "high", "differs"):
            for cause in getattr(item, key):
                if causes is not None and cause not in causes:
                    yield draft.unknown(item, (key, cause), cause, "cause", causes, key=False)
    for test, reading in _readings(draft):
        if reading.sheet and items is not None and reading.sheet not in items:
            what = "value of the sheet"
            yield draft.unknown(test, ("reading", "sheet"), reading.sheet, what, items, key=False)


def kinds(draft: Draft) -> Iterator[Problem]:
    """A quantity has a unit, nothing else has; words have no figures, and a choice has something to choose from."""
    for item in draft.knowledge.quantities.values():
        if item.kind == "quantity" and not item.unit:
            says = f"{item.id} is a quantity and has no unit"
            yield draft.problem(item, ("kind",), says, "wrong-unit", "unit: mm, or kind: number")
        elif item.kind != "quantity" and item.unit:
            says = f"{item.id} has a unit, but its kind is {item.kind}"
            yield draft.problem(item, ("unit",), says, "wrong-unit", "kind: quantity, or no unit", key=True)
        elif item.unit and item.unit not in UNITS:
            yield draft.unknown(item, ("unit",), item.unit, "unit", UNITS, key=False)
        for key in () if item.measured else FIGURES_ONLY:
            if getattr(item, key):
                says = f"{item.id} is no figure, its kind is {item.kind}, and {key} is about figures"
                write = "differs: [a_cause]" if key in ("low", "high") else f"no {key}"
                yield draft.problem(item, (key,), says, "sheet-figures", write, key=True)
        if item.kind == "choice" and len(item.choices) < 2:
            says = f"{item.id} is a choice, with fewer than two to choose from"
            yield draft.problem(item, ("choices",), says, "sheet-choices", "choices: {one: One, other: Other}")
        elif item.choices and item.kind != "choice":
            says = f"{item.id} has choices, but its kind is {item.kind}"
            yield draft.problem(item, ("choices",), says, "sheet-choices", "kind: choice, or no choices", key=True)


def figures(draft: Draft) -> Iterator[Problem]:
    """Low stands before high, and what is usual lies within what is possible."""
    for item in draft.knowledge.quantities.values():
        yield from _falling(draft, item, ("possible",), item.possible)
        for index, usual in enumerate(item.typical):
            trail: Trail = ("typical", index)
            given = [figure for figure in (usual.low, usual.high) if figure is not None]
            if not given:
                says = f"{subject(draft.source_of(item), trail)} has neither low nor high"
                yield draft.problem(item, trail, says, "typical-empty", "{low: 0.3, high: 0.4, basis: [memory]}")
            yield from _falling(draft, item, trail, (given[0], given[-1]) if given else None)
            least, most = item.possible or (-inf, inf)
            if least < most and any(not least <= figure <= most for figure in given):
                says = f"{subject(draft.source_of(item), trail)} passes what is possible, {least:g} to {most:g}"
                yield draft.problem(item, trail, says, "typical-impossible", "a wider possible, or another typical")


def readings(draft: Draft) -> Iterator[Problem]:
    """What a test measures fits the sheet and its own limits; its figures are possible, its error a share."""
    for test, reading in _readings(draft):
        item = draft.knowledge.quantities.get(reading.sheet)
        if item is not None:
            yield from _fits(draft, test, reading, item)
        yield from _limits_replaced(draft, test, reading)
        yield from _falling(draft, test, ("reading", "possible"), reading.possible)
        if reading.error_share >= 1:
            says = f"error_share of {test.id} is {reading.error_share:g}; it is a share of the reading"
            write = f"{reading.error_share / 100:g}"
            yield draft.problem(test, ("reading", "error_share"), says, "error-share", write)
        if reading.possible and reading.possible[0] < reading.possible[1]:
            yield from _impossible_limits(draft, test, reading, *reading.possible)


def _readings(draft: Draft) -> Iterator[tuple[Test, Reading]]:
    """Yield every test that is measured, with how."""
    for test in draft.knowledge.tests.values():
        if test.reading is not None:
            yield test, test.reading


def _falling(draft: Draft, entry: Entry, trail: Trail, span: tuple[float, float] | None) -> Iterator[Problem]:
    if span and (span[0] > span[1] or (trail[-1] == "possible" and span[0] == span[1])):
        says = f"{subject(draft.source_of(entry), trail)} goes from {span[0]:g} to {span[1]:g}"
        yield draft.problem(entry, trail, says, "span-falls", f"the smaller first, {span[1]:g} and then {span[0]:g}")


def _fits(draft: Draft, test: Test, reading: Reading, item: SheetItem) -> Iterator[Problem]:
    """Yield a mistake where a test measures what is no figure, or something of another kind."""
    if not item.measured:
        says = f"{test.id} measures {item.id}, which is a {item.kind} and no figure"
        yield draft.problem(test, ("reading", "sheet"), says, "sheet-kind", "a value of the kind quantity or number")
    elif reading.unit in UNITS and item.unit in ("", *UNITS) and kind_of(reading.unit) != kind_of(item.unit):
        says = f"{test.id} is read in {reading.unit}, but {item.id} is given in {item.unit or 'plain numbers'}"
        yield draft.problem(test, ("reading", "sheet"), says, "sheet-unit", f"a value in {kind_of(reading.unit)} units")


def _limits_replaced(draft: Draft, test: Test, reading: Reading) -> Iterator[Problem]:
    """Yield a mistake where the outcomes whose limit the sheet replaces are no limits, or stand in the wrong order."""
    for key in ("lower", "upper"):
        word = getattr(reading, key)
        if word and not reading.sheet:
            says = f"{test.id} has {key} but no sheet, so there is no figure to take its place"
            yield draft.problem(test, ("reading", key), says, "limit-without-sheet", "sheet: a_value", key=True)
        for limit in reading.limits if word else ():
            known = [name for name, _ in limit.below]
            if word not in known:
                what = f"limit of {test.id}"
                yield draft.unknown(test, ("reading", key), word, what, known, key=False)
                break
    order = [name for name, _ in reading.limits[0].below] if reading.limits else []
    if reading.lower in order and reading.upper in order and order.index(reading.lower) >= order.index(reading.upper):
        says = f"lower of {test.id} is {reading.lower}, which does not lie below its upper, {reading.upper}"
        yield draft.problem(test, ("reading", "lower"), says, "lower-above-upper", "the outcome of the smaller limit")


def _impossible_limits(draft: Draft, test: Test, reading: Reading, least: float, most: float) -> Iterator[Problem]:
    """Yield a mistake for each limit that no possible reading could reach."""
    for index, limit in enumerate(reading.limits):
        for name, below in limit.below:
            if not least < below <= most:
                says = f"limit {name} of {test.id} is {below:g}, but a reading can only be {least:g} to {most:g}"
                trail = ("reading", "limits", index, "below", name)
                yield draft.problem(test, trail, says, "limit-impossible", "a wider possible, or another limit")
