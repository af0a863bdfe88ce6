"""What can be answered at a step: record what came of it, put it off, look at others, repair, take back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from diagnose.model import Repair
from diagnose.problems import DiagnoseError, ImpossibleEvidence
from diagnose.taken import gauge_ml, parse_where
from diagnose.terminal import cards, lists, reasons, screens, views
from diagnose.terminal.answers import tools
from diagnose.terminal.asking.asker import BACK, BACK_ENTRY, AskerError, Choice
from diagnose.terminal.bench import Bench
from diagnose.terminal.page import Line
from diagnose.terminal.views import AGAIN
from diagnose.units import QuantityError

WHY_NOT = (
    Choice("no tool for it", "No tool for it"),
    Choice("a part is seized or broken", "A part is seized or broken"),
    Choice("not now", "Not now"),
    BACK_ENTRY,
)
FOUND = (
    Choice("broken", "Seen: it was bad"),
    Choice("sound", "Looked sound"),
    Choice("not_seen", "Did not see"),
    BACK_ENTRY,
)
ASK_EACH = 2
"""Up to so many causes of a repair are asked for one by one."""

WHERE = {
    "height": ("It goes by the height above the sea.", "How high here? (m, ft, sea level; Enter: skip):"),
    "temperature": ("It goes by how warm the part is.", "How warm? (C or F; Enter: not known):"),
    "gauge": (
        "On a small engine a hose gauge reads low, by what gauge and hose hold up to the check valve. With the valve "
        "at the plug end that is 0.",
        "They hold (ml; h: how to find it; Enter: skip):",
    ),
}
"""What a reading goes by -> what is said of it and asked, only where the answer can change what the reading shows."""

NO_SHEET = (
    "Capacity and compression ratio are wanted too. Put them on its sheet (More, then f) and type this reading again; "
    "till then it stands as the gauge shows it."
)

HOW = "h"
"""The answer that asks how the volume of gauge and hose is found."""

HOLDS = (
    "See where the check valve sits, the small valve that holds the needle up. At the plug end: write 0.",
    "At the gauge end: hose off the bike, plug end up. Fill it to the brim with thin oil out of a syringe. What went "
    "in is the volume, mostly 2 to 6 ml. Let it drain well before it goes on an engine.",
)
"""How the volume of gauge and hose is found."""

WHERE_AS = {"height": "altitude_m", "temperature": "celsius"}
WRITE = {"height": "6000 ft, 1500 m or sea level", "temperature": "5 C or 41 F"}
AT_THE_SEA = ("0", "sea level", "sea", "at sea level")
"""Answers that say that it is done at the sea."""

THE_REST = (
    Choice("sound", "Nothing else: the rest looked sound", "n"),
    Choice("not_seen", "Did not look at the rest", "d"),
)
THE_REST_AT_FIRST = (
    Choice("sound", "Nothing: it all looked sound", "n"),
    Choice("not_seen", "Did not look", "d"),
)


def saw(bench: Bench, test_id: str, outcome_id: str) -> str:
    """Record an outcome; show what it means and what it changed."""
    _observed(bench, {"test": test_id, "outcome": outcome_id})
    return AGAIN


def measured(bench: Bench, test_id: str) -> str | None:
    """Ask for a reading until it can be read; an empty line goes back."""
    reading = bench.knowledge.tests[test_id].reading
    if reading is None:
        return None
    question = f"{reading.ask} ({views.asked_in(reading)}; Enter: back):"
    while typed := bench.asker.text(f"reading.{test_id}", question):
        try:
            typed = _placed(bench, test_id, typed)
            _observed(bench, views.read_off(bench.consultation, test_id, typed).body)
        except (AskerError, ImpossibleEvidence):
            raise
        except DiagnoseError as error:
            warn(bench, str(error))
            continue
        return AGAIN
    return None


def _placed(bench: Bench, test_id: str, typed: str) -> str:
    """Ask where and with what a reading was taken, as far as that could change it; return it with that behind it."""
    asked: set[str] = set()
    while left := [what for what in views.untold(bench.consultation, test_id, typed) if what in WHERE.keys() - asked]:
        asked.add(left[0])
        typed += _where(bench, test_id, left[0])
    if "sheet" in views.untold(bench.consultation, test_id, typed):
        bench.page.show(bench.page.wrapped(NO_SHEET, "  "))
    return typed


def _where(bench: Bench, test_id: str, untold: str) -> str:
    """Ask for what was not told of a reading; return it as it is written behind one, empty where it is not known."""
    why, ask = WHERE[untold]
    bench.page.show(bench.page.wrapped(why))
    while told := bench.asker.text(f"reading.{test_id}.{untold}", ask):
        if untold == "gauge" and told.strip().casefold() == HOW:
            bench.page.show([line for how in HOLDS for line in bench.page.wrapped(how, "  ")])
            continue
        told = "0 m" if untold == "height" and told.casefold() in AT_THE_SEA else told
        try:
            if untold == "gauge":
                return f" with {gauge_ml(told):g} ml"
            if parse_where(told)[0] != WHERE_AS[untold]:
                raise QuantityError(told, f"this is no {untold}", WRITE[untold])
        except QuantityError as error:
            warn(bench, str(error))
            continue
        return f" at {told}"
    return ""


def told_late(bench: Bench, test_id: str, outcome_id: str, repair_id: str) -> None:
    """Record what was seen before a repair that is done by now."""
    _observed(bench, {"test": test_id, "outcome": outcome_id, "before": repair_id})


def _observed(bench: Bench, body: views.Body) -> None:
    """Write down what was seen; show the limit it was judged by, its meaning and the change it made."""
    before = views.likely(bench.consultation)
    bench.record("observe", body)
    outcome = bench.knowledge.tests[body["test"]].outcome(body["outcome"])
    reading, page = body.get("reading"), bench.page
    measured = f"{views.as_written(reading)}, " if reading else ""
    lines = [Line(""), *page.wrapped(f"Written down: {measured}{outcome.name}", "", "bold", rest="  ")]
    if reading:
        lines += [line for said in views.how_judged(bench.knowledge, body) for line in page.wrapped(said, "  ")]
    if outcome.tell:
        lines += page.wrapped(outcome.tell, "  ")
    page.show([*lines, *screens.changed_lines(page, before, views.likely(bench.consultation))])


def warn(bench: Bench, text: str) -> None:
    """Show what cannot be done, and why."""
    bench.page.show(bench.page.wrapped(text, "! ", "warn"))


def not_sure(bench: Bench, test_id: str) -> str:
    """Record that it was done and nothing could be told from it."""
    bench.record("not_sure", {"test": test_id})
    return AGAIN


def cannot(bench: Bench, card: cards.Card) -> str | None:
    """Ask why a test cannot be done and take it off the list."""
    why = bench.asker.choose("cannot.why", "Why not?", WHY_NOT)
    if why == BACK:
        return None
    test_id = cards.work_of(bench.consultation, card.step).id
    if why == "no tool for it":
        tool = tools.which_is_missing(bench, card)
        if tool is None:
            return None
        if tool:
            tools.remember(bench, tool, test_id)
            return AGAIN
    if why == "not now":
        bench.record("declined", {"test": test_id})
    else:
        bench.record("cannot", {"test": test_id, "why": why})
    return AGAIN


def why(bench: Bench, card: cards.Card) -> None:
    """Show what the outcomes would tell, what the step saves and how that compares with the next best."""
    now = bench.consultation
    bench.page.show(screens.why_lines(bench.page, card, reasons.full(now, now.reason(card.step))))


def choose_repair(bench: Bench) -> str | None:
    """Ask which repair was done, then record it."""
    rows = [Choice(repair.id, repair.name) for repair in cards.repairs_for(bench.consultation)]
    chosen = bench.asker.choose("repair", "Which repair did you do?", [*rows, BACK_ENTRY], search=True)
    return None if chosen == BACK else repaired(bench, chosen)


def repaired(bench: Bench, repair_id: str) -> str | None:
    """Ask what was found of each cause it cures, then record the repair."""
    if any(repair_id == done for done, _ in lists.repairs_done(bench.consultation)):
        warn(bench, "That was done before. It is written down as done once more; undo takes it back.")
    found = ask_found(bench, bench.knowledge.repairs[repair_id])
    if found is None:
        return None
    before = views.likely(bench.consultation)
    bench.take(views.repair_event(repair_id, found))
    page = bench.page
    head = page.wrapped(f"Written down: {bench.knowledge.repairs[repair_id].name}", "", "bold", rest="  ")
    page.show([Line(""), *head, *screens.changed_lines(page, before, views.likely(bench.consultation))])
    return AGAIN


def ask_found(bench: Bench, repair: Repair) -> dict[str, str] | None:
    """Ask what was seen of the causes the repair cures; None: back."""
    causes = list(views.cured_here(bench.consultation, repair))
    return _found_bad(bench, causes) if len(causes) > ASK_EACH else _found_each(bench, causes)


def _found_each(bench: Bench, causes: Sequence[tuple[str, str]]) -> dict[str, str] | None:
    """Ask for each of a few causes what was seen of it; None: back."""
    found: dict[str, str] = {}
    while len(found) < len(causes):
        cause_id, name = causes[len(found)]
        answer = bench.asker.choose(f"found.{cause_id}", f"{name}?", FOUND, "not_seen")
        if answer != BACK:
            found[cause_id] = answer
        elif found:
            found.popitem()
        else:
            return None
    return found


def _found_bad(bench: Bench, causes: Sequence[tuple[str, str]]) -> dict[str, str] | None:
    """Ask which of many causes were seen to be bad, then one word for all the others; None: back."""
    broken: list[str] = []
    while len(broken) < len(causes):
        rows = [Choice(cause, name) for cause, name in causes if cause not in broken]
        question = "What else was bad?" if broken else "What did you see that was bad?"
        answer = bench.asker.choose(
            "found", question, [*rows, *(THE_REST if broken else THE_REST_AT_FIRST), BACK_ENTRY]
        )
        if answer in ("sound", "not_seen"):
            return {cause: "broken" if cause in broken else answer for cause, _ in causes}
        if answer != BACK:
            broken.append(answer)
        elif broken:
            broken.pop()
        else:
            return None
    return dict.fromkeys(broken, "broken")


def plugged(bench: Bench, kind: Literal["reconnect", "accept"], test_id: str) -> str:
    """Record that what a test left unplugged is back, or that the engine may be started so."""
    bench.record(kind, {"test": test_id})
    said = views.said(bench.knowledge, bench.events[-1])
    bench.page.show(bench.page.wrapped(f"Written down: {said}", "", "bold", rest="  "))
    return AGAIN


def started(bench: Bench, card: cards.Card) -> str:
    """Record that a step is begun and now soaks, dries or charges by itself."""
    kind = "repair" if card.step.kind == "repair" else "test"
    bench.record("start", {kind: cards.work_of(bench.consultation, card.step).id})
    said = views.said(bench.knowledge, bench.events[-1])
    bench.page.show(bench.page.wrapped(f"Written down: {said}", "", "bold", rest="  "))
    return AGAIN


def undo(bench: Bench) -> str:
    """Take back the last step that still stands."""
    taken = views.said(bench.knowledge, views.last_standing(bench.consultation))
    bench.record("undo", {})
    bench.page.show(bench.page.wrapped(f"Taken back: {taken}", "", "bold", rest="  "))
    return AGAIN
