"""The screens, as lines: few words, what matters first. Pure: a page and plain values in, lines out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from diagnose.model import Fact, Option
from diagnose.terminal.cards import Card
from diagnose.terminal.page import Line, Page
from diagnose.terminal.views import MOST_LIKELY, Board, Likely
from diagnose.wording import minutes, money, per_cent, waiting

LOCKED = "LOCKED"
APART = "Much was done since the {} earliest answers: these count only by what they say of each cause by itself."
"""Said where not all answers fit one exact network; the number of those that do not."""

WORTH_AN_ARROW = 0.02
"""A change of chance below this is not shown."""

LEAST = 0.01
"""A cause below this chance is not on the short list."""


def board_lines(page: Page, board: Board, most: int = MOST_LIKELY) -> list[Line]:
    """Return the head of a step: what is likely and what it will still take."""
    lines = [Line(""), page.rule(f"Step {board.number}", board.title), Line("Most likely:", "bold")]
    for likely in [one for one in board.likely[:most] if one.bears and one.now >= LEAST] or board.likely[:1]:
        lines += likely_lines(page, likely)
    if board.apart:
        lines += page.wrapped(APART.format(len(board.apart)), "  ", "dim")
    if board.now:
        lines += page.wrapped(f"The bike now: {'; '.join(board.now)}", rest="  ")
    for name in board.unplugged:
        lines += page.wrapped(f"Still unplugged or bypassed: {name}", "  ! ", "warn")
    for name, wait in board.waiting:
        lines += page.wrapped(f"Waiting by itself: {name} ({waiting(wait)})", "  ", rest="    ")
    if board.doubt:
        lines += page.wrapped(board.doubt, "! ", "warn")
    left = f"{minutes(board.minutes_left)}, cost {money(board.cost_left, board.currency)}"
    return [*lines, *page.wrapped(f"Still to go, roughly: {left}", rest="  ")]


def likely_lines(page: Page, likely: Likely) -> list[Line]:
    """Return one cause: bar, chance, arrow, name and what it was before."""
    now, before = per_cent(likely.now), per_cent(likely.before)
    moved = abs(likely.now - likely.before) >= WORTH_AN_ARROW and now != before
    arrow = (" ↑" if likely.now > likely.before else " ↓") if moved else "  "
    bar = page.bar(likely.now)
    short = now.replace("under ", "<").replace("over ", ">")
    head = f"  {bar}{short.rjust(6)}{arrow} "
    was = f" (was {before})" if moved else ""
    return page.wrapped(likely.name + was, head)


def card_lines(page: Page, card: Card, now: Sequence[str] = (), heading: str = "DO NEXT") -> list[Line]:
    """Return a step in the order it is read: what and why, tools, what to open, dangers, how, what to doubt.

    now: why just now, a sentence each. On a small screen the top scrolls away; so the dangers and the work stand
    nearest to the question.
    """
    lines = [Line(""), *page.wrapped(f"{heading}: {card.name} - {_time(card)}", "", "bold", rest="  ")]
    if card.why:
        lines += page.wrapped(f"Why: {card.why}", "  ", "dim", rest="    ")
    if now:
        lines += page.wrapped(f"Now: {' '.join(now)}", "  ", "dim", rest="    ")
    if card.at_hand:
        lines += page.wrapped(f"Cheap now, open already: {', '.join(card.at_hand)}", "  ", rest="    ")
    if card.tools:
        lines += page.wrapped(f"Tools: {', '.join(card.tools)}", "  ", rest="    ")
    for doing in card.brings:
        lines += page.wrapped(f"First: {doing}", "  ", rest="    ")
    for name in card.closes:
        lines += page.wrapped(f"First back on or shut: {name}", "  ", rest="    ")
    for name, opening in card.opens:
        lines += page.wrapped(f"First: {name} ({minutes(opening)})", "  ", rest="    ")
    for lock in card.locks:
        lines += page.wrapped(f"{LOCKED}: {lock}", "  ! ", "warn")
    for caution in card.cautions:
        lines += page.wrapped(f"{caution.name}: {caution.say}", "  ! ", "warn")
    for number, step in enumerate(card.how, start=1):
        lines += page.wrapped(step, f"  {number}. ")
    if card.should_be:
        lines += page.wrapped(f"Should be: {card.should_be}", "  ", rest="    ")
    if card.doubt:
        lines += page.wrapped(f"Do not trust it: {card.doubt}", "  ", "dim", rest="    ")
    return lines


def _time(card: Card) -> str:
    """Return the time with the hands on it, what passes by itself apart, and what the parts cost."""
    step = card.step
    if not step.wait:
        parts = [minutes(step.minutes)]
    else:
        first = f"wait {waiting(card.first_wait)}, then " if card.first_wait else ""
        parts = [f"{first}{minutes(step.minutes)} hands on"]
    if step.wait > card.first_wait:
        parts.append(f"then wait {waiting(step.wait - card.first_wait)}")
    if step.parts:
        parts.append(f"parts {step.parts:.0f}")
    return ", ".join(parts)


def why_lines(page: Page, card: Card, reasons: Iterable[str]) -> list[Line]:
    """Return why a step: what it is for, then the reasons of this moment, a text for each line."""
    lines = [Line(""), *page.wrapped(f"Why {card.name}?", "", "bold")]
    for text in (card.why, *reasons):
        if text:
            lines += page.wrapped(text, "  ", rest="    " if text.startswith("- ") else "  ")
    return lines


def others_lines(page: Page, locked: Sequence[Card]) -> list[Line]:
    """Return the locked steps, each with its reason."""
    lines = [Line(""), Line("Locked for now:", "bold")] if locked else []
    for card in locked:
        lines += page.wrapped(f"{card.name}: {' '.join(card.locks)}", "  ! ")
    return lines


def other_text(card: Card, best: float) -> str:
    """Return a step as a row of a list: name, time, what it brings for the same money as a share of the best."""
    parts = [f"{card.name} - {_time(card)}"]
    if card.step.merit > 0 and best > 0:
        parts.append(f"{100 * card.step.merit / best:.0f} % as good")
    if card.at_hand:
        parts.append("cheap now")
    if card.step.forbidden:
        parts.append("locked")
    return ", ".join(parts)


def fact_help(page: Page, fact: Fact, options: Iterable[Option]) -> list[Line]:
    """Return how a fact can be seen on the bike."""
    lines = [Line(""), *page.wrapped(fact.how or fact.ask, "  ")]
    for option in options:
        if option.look:
            lines += page.wrapped(f"{option.name}: {option.look}", "  - ")
    return lines


def changed_lines(page: Page, before: Sequence[Likely], after: Sequence[Likely]) -> Iterator[Line]:
    """Give the one thing a step changed most: the cause whose chance moved furthest."""
    were = {likely.id: likely.now for likely in before}
    moved = max(after, key=lambda one: abs(one.now - were.get(one.id, one.now)), default=None)
    if moved is None or per_cent(were.get(moved.id, moved.now)) == per_cent(moved.now):
        return
    change = f"{moved.name}: {per_cent(were[moved.id])} -> {per_cent(moved.now)}"
    yield from page.wrapped(change, "  ")
