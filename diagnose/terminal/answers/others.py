"""Choosing a step that was not proposed: another of the plan, one off the list, any test, the try-out."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.planning.steps import Step
from diagnose.terminal import cards, screens, views
from diagnose.terminal.answers import tools
from diagnose.terminal.answers.moves import warn
from diagnose.terminal.asking.asker import BACK, BACK_ENTRY, Choice
from diagnose.terminal.bench import Bench

WHICH = "Which one? (time now, how good beside the best)"
EVERY = Choice("every", "Another one: search all", "a")


def other_steps(bench: Bench, card: cards.Card) -> Step | None:
    """Show the next few steps to choose from, and the locked ones with what unlocks them."""
    now = bench.consultation
    free, locked = cards.steps_of(now)
    page = bench.page
    page.show(screens.others_lines(page, [cards.card(now, step) for step in _worth_telling(locked)]))
    page.show(tools.out_of_reach_lines(bench))
    shown = [step for step in free if step != card.step][: views.OTHER_STEPS]
    rows = _rows(bench, shown)
    rows += [Choice(f"lift.{test}", f"Put back on the list: {name}") for test, name in views.set_aside(now)]
    chosen = bench.asker.choose("others", WHICH, [*rows, EVERY, BACK_ENTRY])
    if chosen == EVERY.value:
        return every_step(bench, [*free, *locked])
    if chosen == BACK:
        return None
    kind, _, work_id = chosen.partition(".")
    if kind == "lift":
        bench.record("lift", {"test": work_id})
        return cards.test_step(bench.consultation, work_id)
    return next(step for step in shown if (step.kind, step.id) == (kind, work_id))


def _rows(bench: Bench, steps: Sequence[Step]) -> list[Choice]:
    now = bench.consultation
    best = max((step.merit for step in now.steps), default=0.0)
    return [Choice(f"{step.kind}.{step.id}", screens.other_text(cards.card(now, step), best)) for step in steps]


def _worth_telling(locked: tuple[Step, ...]) -> list[Step]:
    """Return the first of the locked steps for each set of reasons, the try-out before all others."""
    order = sorted(locked, key=lambda step: step.kind != "try_out")
    first = {step.forbidden: step for step in reversed(order)}
    return [step for step in order if first[step.forbidden] is step][: views.OTHER_STEPS]


def every_step(bench: Bench, planned: list[Step]) -> Step | None:
    """Ask for any step at all: those of the plan first, then the tests that it does without."""
    now = bench.consultation
    rest = cards.other_tests(now)
    rows = _rows(bench, planned) + [Choice(f"test.{test.id}", f"{test.name} - not in the plan") for test in rest]
    chosen = bench.asker.choose("every", WHICH, [*rows, BACK_ENTRY], search=True)
    if chosen == BACK:
        return None
    kind, _, work_id = chosen.partition(".")
    step = cards.step_for(now, kind, work_id) or cards.test_step(now, work_id)
    return unlocked(bench, step) if step.forbidden else step


def try_out(bench: Bench) -> Step | None:
    """Show the try-out as the step; where it is locked say by what, and offer what unlocks it."""
    waiting = [work.name for _, work in views.waiting(bench.consultation)]
    if waiting:
        warn(bench, f"First the waiting has to be over: {', '.join(waiting)}.")
        return None
    step = cards.step_for(bench.consultation, "try_out", views.TRY_OUT)
    if step is None:
        warn(bench, "There is nothing to try out for this complaint now.")
        return None
    return unlocked(bench, step) if step.forbidden else step


def unlocked(bench: Bench, step: Step) -> Step | None:
    """Say what locks a step and offer the tests that unlock it; None: back to where he was."""
    now = bench.consultation
    bench.page.show(screens.others_lines(bench.page, [cards.card(now, step)]))
    openers = cards.openers(now, step)
    if not openers:
        return None
    chosen = bench.asker.choose("unlock", "Do which first?", [*_rows(bench, openers), BACK_ENTRY])
    return next((one for one in openers if f"{one.kind}.{one.id}" == chosen), None)
