"""The rarer answers behind "More": all causes, corrections of the bike and complaint, open or shut, notes."""

from __future__ import annotations

from collections.abc import Callable

from diagnose.model import may_apply
from diagnose.terminal import cards, lists, screens, views, worth
from diagnose.terminal.answers import closing, limit, moves, sheet, tools
from diagnose.terminal.asking.asker import BACK, BACK_ENTRY, Choice
from diagnose.terminal.bench import Bench, patience
from diagnose.terminal.intake import FIXED, UNKNOWN, ask_fact, choose_complaints, tell
from diagnose.terminal.views import AGAIN, LEAVE

MOST_BESIDE = 8
"""Causes at most that are not the reason, on the long list."""

BESIDE = "Not the reason, but likely there too:"

ALL_CAUSES = 30
AT_ONCE = (
    Choice("why", "Why this step?", "w"),
    Choice("repaired", "I did a repair", "r"),
    Choice("try", "Try to start it", "t"),
    Choice("undo", "Undo the last step", "u"),
)
"""What is answered by its key without opening the list."""

ENTRIES = (
    *AT_ONCE,
    Choice("causes", "All likely causes"),
    Choice("seen", "What was seen so far"),
    Choice("round", "What is due on a bike that has stood"),
    Choice("sheet", "Sheet, its figures: manual, found, set", "f"),
    Choice("worth", "What it may still cost, the owner's limit"),
    Choice("before", "I saw something before a repair"),
    Choice("fact", "Correct or add a fact of the bike"),
    Choice("complaint", "Correct the complaint"),
    Choice("open", "Something is off, or back on"),
    Choice("tools", "Tools I have not got"),
    Choice("note", "Write a note"),
    Choice("finish", "Finish the job"),
    BACK_ENTRY,
)


def act(bench: Bench, answer: str) -> str | None:
    """Do one of the rarer things; None: the same step again."""
    actions: dict[str, Callable[[Bench], str | None]] = {
        "causes": all_causes,
        "seen": what_was_seen,
        "round": round_of_jobs,
        "sheet": sheet.on_sheet,
        "worth": limit.what_it_may_cost,
        "before": seen_before,
        "fact": correct_fact,
        "complaint": correct_complaint,
        "open": open_or_shut,
        "tools": tools.not_at_hand,
        "note": note,
        "finish": lambda bench: closing.close(bench, done=False),
        BACK: lambda bench: None,
    }
    return actions[answer](bench)


def all_causes(bench: Bench) -> None:
    """Show the long list of causes; apart those that may be there and are not the reason."""
    listed = [one for one in views.likely(bench.consultation) if one.now >= 0.01]
    beside = [one for one in listed if not one.bears][:MOST_BESIDE]
    reasons = [one for one in listed if one.bears][:ALL_CAUSES]
    bench.page.show(line for one in reasons for line in screens.likely_lines(bench.page, one))
    if beside:
        bench.page.show(bench.page.wrapped(BESIDE, "", "bold"))
        bench.page.show(line for one in beside for line in screens.likely_lines(bench.page, one))


def what_was_seen(bench: Bench) -> None:
    """Show every result; those that tell of the bike as it was, and no longer of it as it is, say so."""
    for said, holds in lists.seen_so_far(bench.consultation):
        was = "" if holds else " (as it was then; changed since)"
        bench.page.show(bench.page.wrapped(f"{said}{was}", "  - ", "" if holds else "dim"))


def round_of_jobs(bench: Bench) -> None:
    """Show the jobs that a bike which has stood is due, in their order, and which are done; then what of it pays."""
    for number, due in enumerate(lists.round_of_jobs(bench.consultation), start=1):
        text = f"{due.name} - {due.says}"
        bench.page.show(bench.page.wrapped(text, f"  {number:2}. ", "dim" if due.done else "", rest="      "))
    with patience():
        bench.page.show(worth.round_lines(bench.page, bench.consultation))


def seen_before(bench: Bench) -> str | None:
    """Ask what was seen before which repair, and write it down as that."""
    done = lists.repairs_done(bench.consultation)
    if not done:
        moves.warn(bench, "No repair is written down yet. What you saw goes in as an answer: Show other steps.")
        return None
    repair = bench.asker.choose("before", "Before which repair?", [*(Choice(*one) for one in done), BACK_ENTRY])
    if repair == BACK:
        return None
    tests = sorted(bench.knowledge.tests.values(), key=lambda test: test.name)
    rows = [Choice(test.id, test.name) for test in tests if may_apply(test.applies, views.facts(bench.consultation))]
    test = bench.asker.choose("before.test", "What did you look at?", [*rows, BACK_ENTRY], search=True)
    if test == BACK:
        return None
    outcomes = [Choice(one.id, one.name) for one in cards.outcomes_of(bench.knowledge.tests[test])]
    seen = bench.asker.choose("before.outcome", bench.knowledge.tests[test].ask, [*outcomes, BACK_ENTRY])
    if seen == BACK:
        return None
    moves.told_late(bench, test, seen, repair)
    return AGAIN


def correct_fact(bench: Bench) -> str | None:
    """Ask which fact, then its option."""
    facts = bench.knowledge.facts
    told = {**views.facts(bench.consultation), **views.standing_so(bench.consultation)}
    rows = [
        Choice(fact.id, f"{fact.name}: {fact.options[told[fact.id]].name if fact.id in told else 'not known'}")
        for fact in facts.values()
        if may_apply(fact.applies, told)
    ]
    chosen = bench.asker.choose("fact", "Which fact?", [*rows, BACK_ENTRY], search=True)
    if chosen == BACK:
        return None
    fixed = [one for one in FIXED if one.value in (UNKNOWN, "how", BACK)]
    option = ask_fact(bench, facts[chosen], fixed)
    if option == BACK:
        return None
    tell(bench, chosen, None if option == UNKNOWN else option)
    return AGAIN


def correct_complaint(bench: Bench) -> str:
    """Ask for the complaint anew: what it was when the bike came in."""
    chosen = choose_complaints(bench)
    if not chosen:
        return LEAVE
    bench.record("complaint", chosen)
    return AGAIN


def open_or_shut(bench: Bench) -> str | None:
    """Ask what was taken off or put back by hand, and what was plugged in again."""
    now, known = bench.consultation, bench.knowledge
    opened = views.opened(now)
    rows = [Choice(f"reconnect.{test}", f"Back as it was: {name}") for test, name in views.isolated(now)]
    rows += [Choice(f"close.{one}", f"Back on or shut: {known.access[one].name}") for one in opened]
    fitting = [one for one in known.access.values() if may_apply(one.applies, views.facts(now))]
    rows += [Choice(f"open.{one.id}", f"Off now: {one.name}") for one in fitting if one.id not in opened]
    chosen = bench.asker.choose("open", "What is it?", [*rows, BACK_ENTRY], search=True)
    kind, _, entry = chosen.partition(".")
    if kind == "reconnect":
        bench.record("reconnect", {"test": entry})
    elif kind == "close":
        bench.record("close", {"access": entry})
    elif kind == "open":
        bench.record("open", {"access": entry})
    return None if chosen == BACK else AGAIN


def note(bench: Bench) -> str | None:
    """Ask for a line of text and keep it."""
    text = bench.asker.text("note", "Note (Enter: none):")
    if not text:
        return None
    bench.record("note", {"text": text})
    moves.warn(bench, "Noted.")
    return AGAIN
