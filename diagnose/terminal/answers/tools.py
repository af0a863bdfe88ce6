"""Tools that are not there: said where a test fails for want of one, kept for the next bike, taken back under More."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.terminal import cards, views
from diagnose.terminal.asking.asker import BACK, BACK_ENTRY, Choice
from diagnose.terminal.bench import Bench
from diagnose.terminal.page import Line
from diagnose.terminal.views import AGAIN

JUST_THIS = Choice("none", "None of these, or just this time", "n")
MOST_SHOWN = 6
"""So many steps that need a missing tool are named."""


def which_is_missing(bench: Bench, card: cards.Card) -> str | None:
    """Ask which tool of a step is not there; empty for none to be remembered, None: back."""
    if not card.tools:
        return ""
    rows = [Choice(tool, tool) for tool in card.tools]
    answer = bench.asker.choose("cannot.tool", "Which one have you not got?", [*rows, JUST_THIS, BACK_ENTRY])
    return None if answer == BACK else "" if answer == JUST_THIS.value else answer


def remember(bench: Bench, tool: str, test_id: str) -> None:
    """Write down that a tool is not there; say what else that leaves out."""
    before = {one.work.id for one in bench.consultation.out_of_reach}
    bench.record("tool", {"tool": tool, "have": False, "test": test_id})
    others = [one for one in bench.consultation.out_of_reach if one.work.id not in before | {test_id}]
    page = bench.page
    lines = page.wrapped(f"Written down: no {tool}, for the next bike too (More takes it back).", "", "bold", rest="  ")
    if others:
        lines += page.wrapped(f"{len(others)} more that need it are not proposed either.", "  ")
    page.show([Line(""), *lines])


def not_at_hand(bench: Bench) -> str | None:
    """Show the tools that are not there, and ask which one is at hand again."""
    without = views.without(bench.consultation)
    if not without:
        says = 'None is missing. Where one is, answer "Cannot do it" at the step: it is remembered.'
        bench.page.show(bench.page.wrapped(says, "  "))
        return None
    rows = [Choice(tool, f"I have it now: {tool}") for tool in without]
    answer = bench.asker.choose("tools", "Tools you have not got", [*rows, BACK_ENTRY], search=len(rows) > 8)
    if answer == BACK:
        return None
    bench.record("tool", {"tool": answer, "have": True})
    return AGAIN


def out_of_reach_lines(bench: Bench) -> Sequence[Line]:
    """Return what needs a tool that is not there, apart from all that can be done."""
    now = bench.consultation
    found = now.out_of_reach
    if not found:
        return []
    lines = [Line(""), Line("Needs a tool you have not:", "bold")]
    for one in found[:MOST_SHOWN]:
        lines += bench.page.wrapped(f"{one.work.name}: {', '.join(one.tools)}", "  - ")
    rest = len(found) - MOST_SHOWN
    return [*lines, Line(f"  and {rest} more")] if rest > 0 else lines
