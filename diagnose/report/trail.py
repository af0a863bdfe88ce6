"""The account of a job for the owner of the bike: gathered from a consultation as one frozen value."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from diagnose.consultation import TRY_TO_START, Consultation, Limit
from diagnose.consultation.evidence import complaints
from diagnose.consultation.readings import as_written
from diagnose.consultation.state import State
from diagnose.consultation.working import how_judged
from diagnose.events import Event, standing
from diagnose.model import Knowledge
from diagnose.problems import DiagnoseError
from diagnose.wording import limit_said, on_sheet, per_cent, told_apart, told_late

WORTH_SAYING = 0.03
"""A change of chance below this is not mentioned."""

LIKELY_ENOUGH = 0.05
"""A cause below this chance is not mentioned as advice."""

MOST_ADVICE, MOST_NAMED = 4, 2
HOW_SURE = {
    "cured": "putting this right cured it",
    "seen": "seen to be bad",
    "replaced_with_others": "put right together with others, so not proved by itself",
    "cleared": "suspected, but it was not that",
}
FOUND = {"broken": "seen to be bad", "sound": "looked sound"}
OFF = {
    "cannot": "could not be done",
    "not_sure": "done, but nothing could be told from it",
    "declined": "left for later",
}
Body = Mapping[str, Any]
"""What an event says."""

HANDED_OVER = ("road_ready",)
"""The caution for every bike that is given back."""


@dataclass(frozen=True, slots=True)
class TrailStep:
    """One step.

    did, saw: what was done and came of it; judged: reading and limit; because: what it was to tell apart; changed:
    what it told; minutes: with the hands on it; wait: minutes that passed by themselves.
    """

    number: int
    at: str
    did: str
    saw: str = ""
    judged: str = ""
    because: str = ""
    changed: str = ""
    minutes: float = 0.0
    parts: float = 0.0
    wait: float = 0.0


@dataclass(frozen=True, slots=True)
class Trail:
    """A job told in order. Money in the shop's currency, time in minutes, rate per hour.

    clear: whether it can be worked out what the answers mean together; tried: what the last try-out showed
    and whether that is as it should be; left: what is still off, unplugged or bypassed. limit: what the owner said of
    money, as a sentence, empty if nothing. ended: handed_on, not_worth_it, or empty; reckoned: what going on would have
    cost then, in half and in nine of ten such bikes.
    """

    title: str
    date: str
    bike: tuple[tuple[str, str], ...]
    complaint: str
    words: str
    steps: tuple[TrailStep, ...]
    notes: tuple[str, ...]
    confirmed: tuple[tuple[str, str, str], ...]
    unchecked: tuple[tuple[str, str], ...]
    advice: tuple[tuple[str, str, float], ...]
    cautions: tuple[tuple[str, str], ...]
    minutes: float
    parts: float
    labour: float
    currency: str
    clear: bool
    closed: bool
    tried: tuple[str, bool] | None
    ridden: bool
    left: tuple[str, ...]
    rate: float
    closing_words: str
    limit: str
    ceiling: float | None
    ended: str
    reckoned: tuple[float, float] | None


def trail(consultation: Consultation) -> Trail:
    """Return the account of a job: what still stands of it, step by step, and what is left to say."""
    known, state = consultation.knowledge, consultation.state
    events = [event for _, event in standing(consultation.events)]
    closed, clear = state.closed or {}, _can_be_worked_out(consultation)
    return Trail(
        title=state.title,
        date=events[0].at[:10],
        bike=tuple((known.facts[fact].name, _option(known, fact, state.told)) for fact in state.told),
        complaint="; also: ".join(one.name for one in complaints(known, state)),
        words=_words(events),
        steps=tuple(_steps(consultation)),
        notes=state.notes,
        confirmed=tuple(_confirmed(known, closed.get("confirmed") or {})),
        unchecked=tuple((known.tests[test].name, why or OFF[kind]) for test, (kind, why) in state.off_list.items()),
        advice=tuple(_advice(consultation)) if clear else (),
        cautions=tuple(_cautions(consultation, clear)),
        minutes=state.minutes,
        parts=state.parts,
        labour=state.minutes / 60 * state.shop.labour,
        currency=state.shop.currency,
        clear=clear,
        closed=state.closed is not None,
        tried=_tried_last(known, events),
        ridden=_ridden(known, events),
        left=tuple(_left(known, state)),
        rate=state.shop.labour,
        closing_words=str(closed.get("words", "")),
        limit="" if state.limit == Limit() else limit_said(asdict(state.limit), state.shop.currency),
        ceiling=state.limit.ceiling,
        ended=str(closed.get("ended", "")),
        reckoned=_reckoned(closed),
    )


def _reckoned(closed: Body) -> tuple[float, float] | None:
    """Return what going on would have cost by what was known when it was ended, in half and in nine of ten bikes."""
    said = closed.get("reckoned")
    return (float(said["half"]), float(said["nine_in_ten"])) if said else None


def _can_be_worked_out(consultation: Consultation) -> bool:
    try:
        return bool(consultation.belief)
    except DiagnoseError:
        return False


def _option(known: Knowledge, fact: str, facts: Mapping[str, str]) -> str:
    return known.facts[fact].options[facts[fact]].name


def _words(events: Sequence[Event]) -> str:
    """Return the owner's own words, given with the complaint or at the start; the last ones count."""
    said = [str(event.body.get("words", "")) for event in events if event.kind in ("intake", "complaint")]
    return next((words for words in reversed(said) if words), "")


def _steps(consultation: Consultation) -> Iterator[TrailStep]:
    """Give the results and repairs in order, each with what it changed."""
    known, number = consultation.knowledge, 0
    for before, after in pairwise(_stages(consultation)):
        event = standing(after.events)[-1][1]
        if event.kind in _TELLS:
            number += 1
            spent = after.state.minutes - before.state.minutes
            paid = after.state.parts - before.state.parts
            did, saw, judged = _TELLS[event.kind](known, event.body)
            told = did, saw, judged or _by_manual(known, before, event)
            why, change = _because(before, event), _change(before, after)
            yield TrailStep(number, event.at, *told, why, change, spent, paid, _wait(known, event))


def _stages(consultation: Consultation) -> list[Consultation]:
    """Return the job after each event that still stands; those it has been through need not be worked out again."""
    stages = [consultation]
    while earlier := stages[-1].earlier:
        stages.append(earlier)
    return stages[::-1]


def _by_manual(known: Knowledge, before: Consultation, event: Event) -> str:
    """Return what the manual says of a value that was found or set so; empty if nothing."""
    given = before.state.manual.get(str(event.body.get("item")))
    if given is None:
        return ""
    text = known.quantities[event.body["item"]].choices.get(str(given["text"]), str(given["text"]))
    return f"The manual: {text} ({given['source']})"


def _observed(known: Knowledge, body: Body) -> tuple[str, str, str]:
    """Return what was looked at, what came of it, and the reading with its limits."""
    test, reading = known.tests[body["test"]], body.get("reading")
    saw = test.outcome(body["outcome"]).name
    if body.get("before"):
        saw += told_late(known.repairs[body["before"]].name)
    if not reading:
        return test.name, saw, ""
    return test.name, f"{as_written(reading)}, {saw}", ". ".join(how_judged(known, body))


def _repaired(known: Knowledge, body: Body) -> tuple[str, str, str]:
    """Return what was put right and what was found of its causes: the bad by name, the sound by number if many."""
    looks: dict[str, list[str]] = {}
    for cause, looked in (body.get("found") or {}).items():
        looks.setdefault(looked, []).append(known.causes[cause].name)
    said = [f"{FOUND['broken']} ({', '.join(looks['broken'])})"] if "broken" in looks else []
    sound = looks.get("sound", [])
    if sound:
        named = ", ".join(sound) if len(sound) <= MOST_NAMED else f"{len(sound)} things it also puts right"
        said.append(f"{FOUND['sound']} ({named})")
    return f"Repair: {known.repairs[body['repair']].name}", "; ".join(said), ""


def _unplugged(says: str) -> Callable[[Knowledge, Body], tuple[str, str, str]]:
    """Return what tells that something was left unplugged or put back."""
    return lambda known, body: (says.format(known.tests[body["test"]].name), "", "")


_TELLS: Mapping[str, Callable[[Knowledge, Body], tuple[str, str, str]]] = {
    "observe": _observed,
    "repair": _repaired,
    "isolate": _unplugged("Left unplugged or bypassed: {}"),
    "reconnect": _unplugged("Put back as it was: {}"),
    "accept": _unplugged("Started without putting back: {}"),
    "as_found": lambda known, body: (on_sheet(known, body, "as found"), "", ""),
    "as_set": lambda known, body: (on_sheet(known, body, "as set"), "", ""),
}
"""The events that are steps of the account -> what tells them: what was done, what was seen, how it was judged."""


def _wait(known: Knowledge, event: Event) -> float:
    """Return the minutes in which a step soaks, dries or charges by itself."""
    if event.body.get("before"):
        return 0.0
    if event.kind == "repair":
        return known.repairs[event.body["repair"]].wait
    return known.tests[event.body["test"]].wait if event.kind == "observe" else 0.0


def _because(before: Consultation, event: Event) -> str:
    """Return what a test was to tell apart; nothing where it was told late or cannot be worked out."""
    if event.kind != "observe" or event.body.get("before"):
        return ""
    try:
        groups = before.tells(event.body["test"])
    except DiagnoseError:
        return ""
    names = [[before.bike.roots[cause].name for cause in group[:MOST_NAMED]] for group in groups[:MOST_NAMED]]
    return told_apart(names) if sum(map(len, names)) > 1 else ""  # one alone is told by what it changed


def _change(before: Consultation, after: Consultation) -> str:
    """Return the cause whose chance moved most, before and after; nothing where it cannot be seen."""
    try:
        were, now = before.belief.causes, after.belief.causes
    except DiagnoseError:  # what was done is told even where it cannot be worked out what it means
        return ""
    both = [cause for cause in now if cause in were]
    if not both:
        return ""
    moved = max(both, key=lambda cause: abs(now[cause] - were[cause]))
    if abs(now[moved] - were[moved]) < WORTH_SAYING:
        return ""
    name = after.bike.roots[moved].name
    return f"{name}: {per_cent(were[moved])} likely before, {per_cent(now[moved])} after"


def _confirmed(known: Knowledge, confirmed: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    """Give what it was: name, how sure that is, in plain words."""
    for cause, how in confirmed.items():
        if cause in known.causes:
            yield known.causes[cause].name, HOW_SURE[how], known.causes[cause].plain
        else:
            yield "Something that is not in the book", HOW_SURE[how], ""


def _advice(consultation: Consultation) -> Iterator[tuple[str, str, float]]:
    """Give what is still likely: name, in plain words, chance. What is known from the closing is left out."""
    known, closed = consultation.knowledge, consultation.state.closed or {}
    settled = set(closed.get("confirmed") or {})
    likely = [one for one in consultation.ranked if one.probability >= LIKELY_ENOUGH and one.id not in settled]
    for one in likely[:MOST_ADVICE]:
        plain = known.causes[one.id].plain if one.id in known.causes else ""
        yield one.name, plain, one.probability


def _cautions(consultation: Consultation, clear: bool) -> Iterator[tuple[str, str]]:
    """Give the dangers that stand now, and the one said with every bike that is handed over."""
    known = consultation.knowledge.cautions
    held = [lock.caution for lock in consultation.locks] if clear else []
    for caution in dict.fromkeys([*held, *HANDED_OVER]):
        if caution in known:
            yield known[caution].name, known[caution].say


def _left(known: Knowledge, state: State) -> Iterator[str]:
    """Give what was not put back: taken off or open, unplugged or bypassed."""
    yield from (f"Still off or open: {known.access[access].name}" for access in sorted(state.opened))
    work = {**known.tests, **known.repairs}
    yield from (f"Still soaking, drying or charging: {work[waits].name}" for _, waits in state.waiting)
    yield from (f"Left unplugged or bypassed by: {known.tests[test].name}" for test in state.isolated)


def _tried_last(known: Knowledge, events: Sequence[Event]) -> tuple[str, bool] | None:
    """Return what the last try-out showed and whether that was as it should be; None where work came after it."""
    for event in reversed(events):
        if event.kind == "repair":
            return None
        if event.kind == "observe" and event.body["test"] == TRY_TO_START:
            outcome = known.tests[TRY_TO_START].outcome(event.body["outcome"])
            return outcome.name, outcome.default
    return None


def _ridden(known: Knowledge, events: Sequence[Event]) -> bool:
    """Return whether it was ridden after the last repair."""
    repairs = [number for number, event in enumerate(events) if event.kind == "repair"]
    after = events[repairs[-1] :] if repairs else events
    return any(event.kind == "observe" and "rides" in known.tests[event.body["test"]].does for event in after)
