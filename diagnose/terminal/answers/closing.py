"""The end of a job: what it was, and how sure that is."""

from __future__ import annotations

from diagnose.terminal import views, worth
from diagnose.terminal.asking.asker import BACK, Choice
from diagnose.terminal.bench import Bench
from diagnose.terminal.page import Line
from diagnose.terminal.views import AGAIN, LEAVE

FIRST_CAUSES = 8
NOTHING, MORE, ELSE = "nothing", "all", "something_else"
HOW_SURE = (
    Choice("cured", "This alone cured it"),
    Choice("seen", "I saw that it was bad"),
    Choice("replaced_with_others", "Put right together with others"),
    Choice("cleared", "It was not that after all"),
    Choice(BACK, "Back", "b"),
)


def close(bench: Bench, done: bool) -> str:
    """Ask whether it is finished, what it was and how sure; write it down and say where the account is."""
    short = views.short_of(bench.consultation) if done else ""
    if short:
        says = f"But at the last try-out: {short}. The complaint it came with is gone; for this begin another job."
        bench.page.show(bench.page.wrapped(says, "! ", "warn"))
    rows = (
        Choice("close", "Yes, finish the job" if done else "Finish the job as it is"),
        *(() if done else _ends(bench)),
        Choice("undo", "No: undo the last step" if done else "Undo the last step", "u"),
        *(() if done else (Choice("lift", "Put a step back on the list", "l"),)),
        Choice("later", "Stop for today, leave it open", "q"),
    )
    answer = bench.asker.choose("finish", "Is the job finished?", rows)
    if answer == "undo":
        bench.record("undo", {})
        return AGAIN
    if answer == "lift":
        return _lift(bench)
    if answer != "later":
        _finish(bench, "" if answer == "close" else answer)
    return LEAVE


def _ends(bench: Bench) -> tuple[Choice, ...]:
    """Return the ways to end without a bike that goes."""
    return (
        Choice("handed_on", f"Hand it on to a specialist{worth.price_of_handing_on(bench.consultation)}"),
        Choice("not_worth_it", "Give it back as it is: more would not be worth it"),
    )


def ran_well(bench: Bench) -> str | None:
    """Ask whether a good try-out ends the job; None: go on looking for what shows hot or on the road."""
    says = "It ran as it should, from cold. What is left on the list shows only hot, on the road or another day."
    bench.page.show(bench.page.wrapped(says, "", "bold"))
    rows = (
        Choice("close", "Yes, finish the job"),
        Choice("on", "No, go on looking"),
        Choice("undo", "Undo the last step", "u"),
        Choice("later", "Stop for today, leave it open", "q"),
    )
    answer = bench.asker.choose("finish", "Is the job finished?", rows)
    if answer == "on":
        return None
    if answer == "undo":
        bench.record("undo", {})
        return AGAIN
    if answer == "close":
        _finish(bench)
    return LEAVE


def _finish(bench: Bench, ended: str = "") -> None:
    """Ask what it was and for a last word, and close the job. ended: how, if not with a bike that goes."""
    more = {"ended": ended, **worth.reckoned(bench.consultation)} if ended else {}
    confirmed = ask_confirmed(bench)
    words = bench.asker.text("closing.words", "A line for the owner (Enter: none):")
    bench.record("close_job", {"confirmed": confirmed, "words": words, **more})
    bench.page.show([Line(""), Line("Job finished.", "bold"), *where_to_read(bench)])


def where_to_read(bench: Bench) -> list[Line]:
    """Return the line that names the command for the account."""
    return bench.page.wrapped(f"diagnose trail {bench.job}", "The account for the owner: ")


def _lift(bench: Bench) -> str:
    """Put one step back on the list, or every correction can be made by undoing."""
    rows = [Choice(test, name) for test, name in views.set_aside(bench.consultation)]
    chosen = bench.asker.choose("lift", "Which one?", [*rows, Choice(BACK, "Back", "b")])
    if chosen != BACK:
        bench.record("lift", {"test": chosen})
    return AGAIN


def ask_confirmed(bench: Bench) -> dict[str, str]:
    """Ask what it turned out to be, one cause after another, each with how sure it is."""
    confirmed: dict[str, str] = {}
    broken = views.found_broken(bench.consultation)
    names = {cause: bench.knowledge.causes[cause].name for cause in broken}
    names |= {cause: name for cause, name in views.suspects(bench.consultation) if cause not in names}
    every = False
    while True:
        shown = [cause for cause in names if cause not in confirmed]
        rows = [Choice(cause, names[cause]) for cause in (shown if every else shown[:FIRST_CAUSES])]
        if not every and len(shown) > FIRST_CAUSES:
            rows.append(Choice(MORE, "Another cause", "a"))
        if ELSE not in confirmed:
            rows.append(Choice(ELSE, "Something that is not in the book", "e"))
        rows.append(Choice(NOTHING, "Nothing more" if confirmed else "Not known", "n"))
        question = "And what else?" if confirmed else "What was it?"
        cause = bench.asker.choose("confirmed", question, rows, search=every)
        if cause == NOTHING:
            return confirmed
        if cause == MORE:
            every = True
            continue
        every = False
        name = names.get(cause, "Something else")
        sure = bench.asker.choose("how_sure", f"{name}: how sure?", HOW_SURE)
        if sure != BACK:
            confirmed[cause] = sure
