"""What a screen needs to know of a consultation, as plain values; of its steps see cards.py."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diagnose.events import Event, standing
from diagnose.model import Knowledge, Reading, Repair, Test, may_apply
from diagnose.problems import DiagnoseError
from diagnose.wording import limit_said, on_sheet, told_late

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation


MOST_LIKELY, OTHER_STEPS, MOST_CURES = 5, 5, 3
TRY_OUT = "try_to_start"
AGAIN, LEAVE = "again", "leave"
"""What an answer leads to: the next step is worked out anew, or the interview ends for today."""

NOT_CERTAIN = " (near its limit)"
"""What follows an outcome that a reading does not show for certain."""

OFF_WORDS = {
    "cannot": "Cannot be done",
    "not_sure": "Done, not sure",
    "declined": "Not now",
    "lift": "Back on the list",
    "isolate": "Left unplugged or bypassed",
    "reconnect": "Back as it was",
    "accept": "May be started so",
}

ON_SHEET = {"sheet": "manual", "as_found": "as found", "as_set": "as set"}
"""Events about the bike's own sheet -> how their figure is called."""

ANSWERS = ("observe", "repair", "cannot", "not_sure", "declined", "reconnect")
"""The events that answer a step."""

Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Likely:
    """A cause on the list: chance now and before the last step.

    beyond: not in the book (a leak). bears: it can be the reason for what the bike does.
    """

    id: str
    name: str
    now: float
    before: float
    beyond: bool
    bears: bool


@dataclass(frozen=True, slots=True)
class Board:
    """How the job stands.

    doubt: what hardly fits together, if anything. apart: answers not reckoned exactly.
    unplugged: what is still unplugged or bypassed. waiting: what soaks, dries or charges, and the minutes.
    now: how it stands, where that is not as it came in.
    """

    title: str
    number: int
    likely: tuple[Likely, ...]
    minutes_left: float
    cost_left: float
    currency: str
    doubt: str
    apart: tuple[str, ...]
    unplugged: tuple[str, ...]
    now: tuple[str, ...]
    done: bool
    waiting: tuple[tuple[str, float], ...] = ()


def board(consultation: Consultation) -> Board:
    """Return how the job stands now."""
    state = consultation.state
    return Board(
        title=state.title,
        number=1 + sum(event.kind in ANSWERS for event in _standing(consultation)),
        likely=likely(consultation),
        minutes_left=consultation.minutes_left,
        cost_left=consultation.cost_left,
        currency=state.shop.currency,
        doubt=str(getattr(consultation, "conflict", None) or ""),
        apart=consultation.question.apart,
        unplugged=tuple(name for _, name in isolated(consultation)),
        now=tuple(_changed_now(consultation)),
        done=consultation.done,
        waiting=tuple((work.name, work.wait) for _, work in waiting(consultation)),
    )


def waiting(consultation: Consultation) -> list[tuple[str, Test | Repair]]:
    """Return what soaks, dries or charges: whether it is a test or a repair, and its entry."""
    known = consultation.knowledge
    return [(k, known.repairs[i] if k == "repair" else known.tests[i]) for k, i in consultation.state.waiting]


def standing_so(consultation: Consultation) -> dict[str, str]:
    """Return how the bike stands now: fact -> option."""
    from diagnose.consultation.state import stands

    return {fact: option.id for fact, option in stands(consultation.knowledge, consultation.state).items()}


def _changed_now(consultation: Consultation) -> Iterator[str]:
    """Give how it stands now, where that is not as it came in."""
    for fact_id, option in standing_so(consultation).items():
        fact = consultation.knowledge.facts[fact_id]
        if option != next(iter(fact.options)):
            yield f"{fact.name}: {fact.options[option].name}"


def likely(consultation: Consultation) -> tuple[Likely, ...]:
    """Return all causes, the most likely first of those that can be the reason, then the others."""
    return tuple(
        Likely(ranked.id, ranked.name, ranked.probability, ranked.before, ranked.is_leak, ranked.bears)
        for ranked in consultation.ranked
    )


def suspects(consultation: Consultation) -> list[tuple[str, str]]:
    """Return id and name of the causes in the book, likeliest first, or by name."""
    try:
        return [(one.id, one.name) for one in likely(consultation) if not one.beyond]
    except DiagnoseError:
        causes = consultation.knowledge.causes.values()
        told = consultation.state.facts
        fitting = [(one.id, one.name) for one in causes if may_apply(one.applies, told)]
        return sorted(fitting, key=lambda one: one[1])


def ran_well(consultation: Consultation) -> bool:
    """Return whether the last thing that happened is a try-out with nothing amiss."""
    event = last_standing(consultation)
    known = consultation.knowledge
    tried_now = event.kind == "observe" and event.body["test"] == TRY_OUT
    return tried_now and known.tests[TRY_OUT].outcome(event.body["outcome"]).default


def short_of(consultation: Consultation) -> str:
    """Return what a bike that does what the job asks still does wrong, by its last try-out; empty if nothing."""
    outcome = consultation.tried
    if not outcome or consultation.knowledge.tests[TRY_OUT].outcome(outcome).default:
        return ""
    return consultation.knowledge.tests[TRY_OUT].outcome(outcome).name


def cured_here(consultation: Consultation, repair: Repair) -> Iterator[tuple[str, str]]:
    """Give id and name of each cause on this bike that a repair cures."""
    for cause_id in repair.cures:
        cause = consultation.knowledge.causes.get(cause_id)
        if cause is not None and may_apply(cause.applies, consultation.state.facts):
            yield cause_id, cause.name


def set_aside(consultation: Consultation) -> list[tuple[str, str]]:
    """Return id and name of the tests taken off the list: could not be done, not sure, not wanted."""
    return [(test, consultation.knowledge.tests[test].name) for test in consultation.state.off_list]


def without(consultation: Consultation) -> list[str]:
    """Return the tools that are not there, by name."""
    return sorted(consultation.state.shop.without)


def isolated(consultation: Consultation) -> list[tuple[str, str]]:
    """Return id and name of the tests whose change to the bike is still in force."""
    return [(test, consultation.knowledge.tests[test].name) for test in consultation.state.isolated]


def opened(consultation: Consultation) -> list[str]:
    """Return what is off or open now."""
    return sorted(consultation.state.opened)


def facts(consultation: Consultation) -> Mapping[str, str]:
    """Return the facts of the bike as they were told, and those that go without saying; none that it does not have."""
    state, known = consultation.state, consultation.knowledge.facts
    return {fact: state.told.get(fact, option) for fact, option in state.facts.items() if fact in known and option}


def currency(consultation: Consultation) -> str:
    """Return the name of the shop's money; may be empty."""
    return consultation.state.shop.currency


def read_off(consultation: Consultation, test_id: str, typed: str) -> Event:
    """Return the observation that a reading makes. Raises DiagnoseError where it cannot be read."""
    from diagnose.consultation.judgement import judge
    from diagnose.consultation.working import body_of

    return Event("observe", body_of(judge(consultation.knowledge, consultation.state, test_id, typed)))


def untold(consultation: Consultation, test_id: str, typed: str) -> tuple[str, ...]:
    """Return what was not told of a reading and could change what it shows: height, temperature, gauge, sheet."""
    from diagnose.consultation.judgement import judge

    return tuple(judge(consultation.knowledge, consultation.state, test_id, typed).if_at)


def how_judged(known: Knowledge, body: Body) -> list[str]:
    """Return how a reading was judged: its working, and whether it lies too near a limit to be certain."""
    from diagnose.consultation.working import how_judged

    return how_judged(known, body)


def as_written(reading: Mapping[str, Any]) -> str:
    """Return a reading as it was written, and in the unit of its limits where that is another."""
    from diagnose.consultation.readings import as_written

    return as_written(reading)


def asked_in(reading: Reading) -> str:
    """Return the units in which a reading may be typed, as a question names them."""
    from diagnose.consultation.readings import asked_in

    return asked_in(reading.unit)


def repair_event(repair_id: str, found: Mapping[str, str]) -> Event:
    """Return the event of a repair and what was found of its causes."""
    return Event("repair", {"repair": repair_id, "found": dict(found)})


def said(known: Knowledge, event: Event) -> str:
    """Return what an event says, in words."""
    body = event.body
    if event.kind == "observe":
        test, reading = known.tests[body["test"]], body.get("reading")
        outcome = test.outcome(body["outcome"]).name + told_late(_before(known, body))
        outcome += NOT_CERTAIN if body.get("weights") else ""
        return f"{test.name}: {reading['text']}, {outcome}" if reading else f"{test.name}: {outcome}"
    if event.kind == "fact":
        fact = known.facts[body["fact"]]
        return f"{fact.name}: {fact.options[body['option']].name if body['option'] else 'not known'}"
    if event.kind == "complaint":
        both = [known.complaints[one].name for one in (body["complaint"], *body.get("also", ()))]
        return f"Complaint: {'; also: '.join(both)}"
    if event.kind == "repair":
        return f"Repair: {known.repairs[body['repair']].name}{_found(known, body.get('found') or {})}"
    if event.kind == "worth":
        return limit_said(body)
    if event.kind == "start":
        work = known.repairs[body["repair"]] if "repair" in body else known.tests[body["test"]]
        return f"Begun, it waits: {work.name}"
    if event.kind == "tool":
        return f"{'Tool at hand' if body.get('have') else 'No such tool here'}: {body['tool']}"
    if event.kind in ON_SHEET:
        return on_sheet(known, body, ON_SHEET[event.kind])
    if event.kind == "note":
        return f"Note: {body['text']}"
    if "test" in body:
        why = f" ({body['why']})" if body.get("why") else ""
        return f"{OFF_WORDS.get(event.kind, event.kind)}: {known.tests[body['test']].name}{why}"
    if "access" in body:
        return f"{'Off' if event.kind == 'open' else 'Back on'}: {known.access[body['access']].name}"
    return event.kind.replace("_", " ")


def _before(known: Knowledge, body: Body) -> str:
    """Return the repair before which a result was seen though told after it; empty if there is none."""
    return known.repairs[body["before"]].name if body.get("before") else ""


def _found(known: Knowledge, found: Mapping[str, str]) -> str:
    bad = [known.causes[cause].name for cause, looked in found.items() if looked == "broken"]
    return f"; it was bad: {', '.join(bad)}" if bad else ""


def last_standing(consultation: Consultation) -> Event:
    """Return the event that an undo would take back."""
    return _standing(consultation)[-1]


def _standing(consultation: Consultation) -> list[Event]:
    return [event for _, event in standing(consultation.events)]


def found_broken(consultation: Consultation) -> list[str]:
    """Return the causes that were seen to be bad when a repair was done."""
    return [cause for done in consultation.state.repairs for cause, looked in done.found.items() if looked == "broken"]


def complaint_known(consultation: Consultation) -> bool:
    """Return whether it has been said what is wrong."""
    return consultation.state.complaint is not None
