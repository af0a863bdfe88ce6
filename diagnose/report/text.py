"""The account as plain text that reads like an honest note from a mechanic."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator

from diagnose.report.trail import Trail, TrailStep
from diagnose.wording import day, minutes, money, per_cent, waiting

LEAST_COLUMNS = 30
LEAD = re.compile(r"(?: *\d+\. | *- | *)")
"""What stands before a line: a number, a dash, or room."""

ENDED = {
    "": "The work was ended here.",
    "handed_on": "The work was ended here, and the bike is handed on to a specialist with this account.",
    "not_worth_it": "The work was ended here because going on would likely cost more than it is worth to the owner.",
}
"""How a job ended that did not end with a bike that goes."""


def as_text(trail: Trail, width: int = 80) -> str:
    """Return the account broken into lines of that width."""
    blocks = [
        _head(trail),
        _came_in(trail),
        _result(trail),
        _section("What was done", _done(trail)),
        _section("Notes", (f"- {note}" for note in trail.notes)),
        _section("Not checked", (f"- {name}: {why}." for name, why in trail.unchecked)),
        _section("Worth looking at" if trail.closed else "Still possible", _advice(trail)),
        _section(
            "Mind", (*(f"- {left}." for left in trail.left), *(f"- {name}: {say}" for name, say in trail.cautions))
        ),
        _section("What it took", [_sum(trail)]),
    ]
    return "\n\n".join(_wrapped(block, max(width, LEAST_COLUMNS)) for block in blocks if block) + "\n"


def _wrapped(lines: list[str], width: int) -> str:
    """Break each line so that what follows stands under the text behind its number or dash."""
    rows: list[str] = []
    for line in lines:
        lead = _lead(line)
        rows += textwrap.wrap(line, width, subsequent_indent=" " * lead, break_on_hyphens=False) or [""]
    return "\n".join(rows)


def _lead(line: str) -> int:
    found = LEAD.match(line)
    return found.end() if found else 0


def _section(title: str, lines: Iterable[str]) -> list[str]:
    """Return a heading with its lines; nothing where there are no lines."""
    body = list(lines)
    return [title, *body] if body else []


def _head(trail: Trail) -> list[str]:
    head = trail.title or "A motorcycle"
    return [f"{head}, {day(trail.date)}" if trail.date else head]


def _came_in(trail: Trail) -> list[str]:
    lines = [f"The bike: {'; '.join(_fact(name, option) for name, option in trail.bike)}."] if trail.bike else []
    if trail.complaint:
        lines.append(f"It came in because: {trail.complaint}.")
    if trail.words:
        lines.append(f'In the owner\'s words: "{trail.words}"')
    if trail.limit:
        lines.append(f"{trail.limit}.")
    return lines


def _fact(name: str, option: str) -> str:
    """Return a fact of the bike; one that has its name in it stands without.

    >>> _fact("Strokes", "Four-stroke"), _fact("Battery", "Yes")
    ('four-stroke', 'battery: yes')
    """
    said = option[:1].lower() + option[1:]
    return said if name.lower().rstrip("s") in said.lower() else f"{name.lower()}: {said}"


def _result(trail: Trail) -> list[str]:
    """Return how it ended: running or not, and what it was."""
    lines = [] if trail.closed else ["The work is not finished."]
    if trail.tried is None and trail.closed:
        lines += ["It has not been tried since the last work on it."]
    if trail.tried is not None:
        lines += [f"At the last try-out: {trail.tried[0]}."]
    if trail.tried and trail.tried[1] and not trail.ridden:
        lines[-1] += " That was a minute from cold; hot and on the road it has not been tried."
    if trail.closed and not (trail.tried and trail.tried[1]):
        lines += [f"{ENDED[trail.ended]} It has not been seen to run as it should.", *_reckoned(trail)]
    lines += [f"- {name}: {how}. {plain}".rstrip() for name, how, plain in trail.confirmed]
    return [*lines, trail.closing_words] if trail.closing_words else lines


def _reckoned(trail: Trail) -> list[str]:
    """Return what going on would have cost, by what was known when the work was ended."""
    if trail.reckoned is None:
        return []
    half, most = (money(amount, trail.currency) for amount in trail.reckoned)
    says = f"By what was known then, going on would have cost under {half} more on half of such bikes"
    return [f"{says}, and under {most} on nine of ten."]


def _done(trail: Trail) -> Iterator[str]:
    """Give every step; before them what the figures mean, if there are any."""
    if any(step.changed for step in trail.steps):
        yield "The per cent say how likely a fault was, by all that was known, before and after the step."
    for step in trail.steps:
        yield from _step(step)


def _step(step: TrailStep) -> Iterator[str]:
    said = f"{step.did}: {step.saw}" if step.saw else step.did
    spent = [minutes(step.minutes)] if step.minutes else []
    spent += [f"{waiting(step.wait)} of waiting"] if step.wait else []
    spent += [f"parts {step.parts:.0f}"] if step.parts else []
    extra = f" ({', '.join(spent)})" if spent else ""
    yield f"{step.number:>2}. {said}{extra}."
    if step.judged:
        yield f"    {step.judged}."
    if step.because:
        yield f"    Why: it {step.because}."
    if step.changed:
        yield f"    {step.changed}."


def _advice(trail: Trail) -> Iterator[str]:
    if not trail.clear:
        yield "What may still be wrong could not be worked out from these answers together."
    for name, plain, chance in trail.advice:
        yield f"- {name}, {per_cent(chance)}." + (f" {plain}" if plain else "")


def _sum(trail: Trail) -> str:
    """Return what it took; the total is that of the two sums as they are shown."""
    if not (trail.minutes or trail.parts or trail.ceiling or any(step.wait for step in trail.steps)):
        return "Nothing yet that is reckoned by the hour."
    labour, parts = money(trail.labour, trail.currency), money(trail.parts, trail.currency)
    total = money(round(trail.labour) + round(trail.parts), trail.currency)
    hour = money(trail.rate, trail.currency)
    of = "" if trail.ceiling is None else f", of {money(trail.ceiling, trail.currency)} at most"
    waited = sum(step.wait for step in trail.steps)
    beside = f" Beside that up to {waiting(waited)} of waiting, which is not charged." if waited else ""
    done = f"{minutes(trail.minutes)} of work at {hour} an hour ({labour}) and parts ({parts})"
    return f"{done}: {total} in all{of}.{beside}"
