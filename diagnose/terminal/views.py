"""What a screen needs to know of a consultation, as plain values. Only here a consultation is read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diagnose.events import Event
from diagnose.model import Caution, Knowledge, Outcome, Repair, Test, may_apply
from diagnose.planning.access import AccessTree
from diagnose.planning.steps import Step
from diagnose.problems import DiagnoseError
from diagnose.wording import limit_said, per_cent, told_late

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation

UNDO_IT = "Put back what was unplugged or bypassed for it."
"""How a change is undone of which the book does not say it, as a test does not usually leave it."""

MOST_LIKELY, OTHER_STEPS, MOST_CURES = 5, 5, 3
TRY_OUT = "try_to_start"
AGAIN, LEAVE = "again", "leave"
"""What an answer leads to: the next step is worked out anew, or the interview ends for today."""

OFF_WORDS = {
    "cannot": "Cannot be done",
    "not_sure": "Done, not sure",
    "declined": "Not now",
    "lift": "Back on the list",
    "isolate": "Left unplugged or bypassed",
    "reconnect": "Back as it was",
    "accept": "May be started so",
}

ANSWERS = ("observe", "repair", "cannot", "not_sure", "declined", "reconnect")
"""The events that answer a step."""

Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Likely:
    """A cause on the list: chance now and before the last step. beyond: not in the book (a leak)."""

    id: str
    name: str
    now: float
    before: float
    beyond: bool


@dataclass(frozen=True, slots=True)
class Board:
    """How the job stands.

    doubt: what hardly fits together, if anything. apart: answers not reckoned exactly.
    unplugged: what is still unplugged or bypassed. now: how it stands, where that is not as it came in.
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


@dataclass(frozen=True, slots=True)
class Card:
    """A step with its texts: what to open first, dangers, how, with what, why. locks: what forbids it.

    brings: what brings the bike to stand as the step needs it; first_wait: minutes of waiting that takes.
    """

    step: Step
    name: str
    brings: tuple[str, ...]
    first_wait: float
    opens: tuple[tuple[str, float], ...]
    closes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    how: tuple[str, ...]
    tools: tuple[str, ...]
    why: str
    ask: str
    doubt: str
    locks: tuple[str, ...]


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
    )


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
    """Return all causes, the most likely first."""
    return tuple(
        Likely(ranked.id, ranked.name, ranked.probability, ranked.before, ranked.is_leak)
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


def card(consultation: Consultation, step: Step) -> Card:
    """Return a step with its texts."""
    from diagnose.consultation.safety import brings, by_button, said_at

    known = consultation.knowledge
    if step.kind == "reconnect":
        return _putting_back(known.tests[step.id], step)
    work = work_of(consultation, step)
    opened = [known.access[access] for access in step.opens]
    tools = [tool for entry in (*opened, work) for tool in entry.tools]
    ways = brings(known, consultation.state, work)
    return Card(
        step=step,
        name=work.name,
        brings=tuple(way.step for way in ways),
        first_wait=sum(way.wait for way in ways),
        opens=tuple((access.name, access.open) for access in opened),
        closes=tuple(known.access[access].name for access in step.closes),
        cautions=said_at(known, consultation.state, work, step.opens),
        how=tuple(said for said in (by_button(consultation.state.facts, work), *work.steps) if said),
        tools=tuple(dict.fromkeys(tools)),
        why=work.why if isinstance(work, Test) else _cures(consultation, work),
        ask=work.ask if isinstance(work, Test) else "",
        doubt=work.doubt if isinstance(work, Test) else "",
        locks=tuple(lock_text(known, consultation, caution) for caution in step.forbidden),
    )


def _putting_back(test: Test, step: Step) -> Card:
    """Return what undoes the change that a test left."""
    return Card(
        step=step,
        name=f"Back as it was: {test.name}",
        brings=(),
        first_wait=0.0,
        opens=(),
        closes=(),
        cautions=(),
        how=test.put_back or (UNDO_IT,),
        tools=(),
        why="It has to be back before the engine may run.",
        ask="",
        doubt="",
        locks=(),
    )


def work_of(consultation: Consultation, step: Step) -> Test | Repair:
    """Return the entry a step stands for; a try-out is the test of that name, as the job needs it."""
    known = consultation.knowledge
    if step.kind == "repair":
        return known.repairs[step.id]
    if consultation.try_out and step.id == TRY_OUT:
        return consultation.try_out
    return known.tests[step.id]


def outcomes_of(test: Test) -> Iterator[Outcome]:
    """Give the outcomes that can be told apart; what the owner reported only where a try-out is made to show it."""
    return (outcome for outcome in test.outcomes if outcome.drivers or not outcome.complaint)


def _cures(consultation: Consultation, repair: Repair) -> str:
    """Return what a repair puts right: the likeliest of its causes, and how many more."""
    cured = [one for one in likely(consultation) if one.id in repair.cures]
    shown = [f"{one.name} ({per_cent(one.now)})" for one in cured[:MOST_CURES]]
    rest = len(cured) - len(shown)
    more = f" and {rest} less likely" if rest else ""
    return f"it puts right {', '.join(shown)}{more}." if shown else ""


def lock_text(known: Knowledge, consultation: Consultation, caution_id: str) -> str:
    """Return why something is locked and what unlocks it."""
    caution = known.cautions[caution_id]
    tests = [known.tests[test].name for test in _openers(consultation, caution_id)]
    mended = caution.when is not None and bool(caution.when.outcome)
    if tests:
        how = f"{'When that is put right, do again' if mended else 'To unlock it, do first'}: {' or '.join(tests)}."
    else:
        how = ""
    return f"{caution.say} {how}".strip()


def _openers(consultation: Consultation, caution_id: str) -> tuple[str, ...]:
    """Return the tests of which a good answer lifts a lock, some only after a repair."""
    caution = consultation.knowledge.cautions[caution_id]
    when = caution.when
    if when is None:
        return ()
    tests = (*when.not_done, *when.cleared_by, *when.outcome)
    facts = consultation.state.facts
    known = consultation.knowledge.tests
    return tuple(test for test in tests if test in known and may_apply(known[test].applies, facts))


def openers(consultation: Consultation, step: Step) -> list[Step]:
    """Return what is to be put back and tested before a locked step, as steps that can be done now."""
    puts = [one for one in consultation.steps if one.kind == "reconnect" and _waits_for(consultation, step, one.id)]
    wanted = dict.fromkeys(test for lock in step.forbidden for test in _openers(consultation, lock))
    steps = [test_step(consultation, test) for test in wanted]
    return puts + [one for one in steps if not one.forbidden]


def _waits_for(consultation: Consultation, step: Step, unplugged: str) -> bool:
    return any(lock.caution in step.forbidden and unplugged in lock.put_back for lock in consultation.locks)


def test_step(consultation: Consultation, test_id: str) -> Step:
    """Return a test as a step: that of the plan, else one without a price, for what he does of his own accord."""
    planned = step_for(consultation, "test", test_id)
    if planned is not None:
        return planned
    from diagnose.consultation.state import activities, reach_minutes, reaching

    known, state = consultation.knowledge, consultation.state
    test = known.tests[test_id]
    tree = AccessTree(known.access)
    minutes, wait = reach_minutes(reaching(known, state, test.needs))
    return Step(
        kind="test",
        id=test_id,
        minutes=test.minutes + minutes + tree.minutes_to_open(test.access, state.opened),
        wait=test.wait + wait,
        opens=tree.to_open(test.access, state.opened),
        forbidden=tuple(lock.caution for lock in consultation.locks if lock.forbids & activities(known, state, test)),
    )


def other_tests(consultation: Consultation) -> list[Test]:
    """Return the tests that fit this bike and are not in the plan: known already, or not worth it; by name."""
    planned = {step.id for step in consultation.steps if step.kind in ("test", "try_out")}
    facts = consultation.state.facts
    rest = [
        test
        for test in consultation.knowledge.tests.values()
        if test.id not in planned and test.id != TRY_OUT and may_apply(test.applies, facts)
    ]
    return sorted(rest, key=lambda test: test.name)


def steps_of(consultation: Consultation) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return the steps that can be done now, best first, and those that are locked."""
    free = [step for step in consultation.steps if not step.forbidden]
    return tuple(free), tuple(step for step in consultation.steps if step.forbidden)


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


def step_for(consultation: Consultation, kind: str, work_id: str) -> Step | None:
    """Return the step of that kind and id if the plan holds one."""
    for step in consultation.steps:
        if step.kind == kind and (step.id == work_id or kind == "try_out"):
            return step
    return None


def prospects(consultation: Consultation, step: Step) -> Iterator[tuple[str, float, str, float]]:
    """Give for each outcome of a step its name, its chance, the likeliest cause then, its chance."""
    work = work_of(consultation, step)
    if not isinstance(work, Test):
        return
    if step.kind == "try_out":
        yield from _try_out_prospects(consultation, work, dict(step.outcomes))
        return
    chances = dict(step.outcomes)
    for outcome in work.outcomes:
        if chances.get(outcome.id, 0.0) < 0.001:
            continue
        try:
            then = likely(consultation.add(Event("observe", {"test": work.id, "outcome": outcome.id})))
        except DiagnoseError:
            continue
        if then:
            yield outcome.name, chances[outcome.id], then[0].name, then[0].now


def _try_out_prospects(
    consultation: Consultation, test: Test, chances: Mapping[str, float]
) -> Iterator[tuple[str, float, str, float]]:
    """Give how likely it is that a try-out shows the bike to be right, and that it does not."""
    for outcome in test.outcomes:
        if outcome.default:
            yield outcome.name, chances.get("works", 0.0), "", 0.0
    yield "Anything else", chances.get("fails", 0.0), "", 0.0


def repairs_for(consultation: Consultation) -> list[Repair]:
    """Return the repairs this bike may need: those of the plan first, best first, then the rest by name."""
    known = consultation.knowledge
    planned = [known.repairs[step.id] for step in consultation.steps if step.kind == "repair"]
    rest = [repair for repair in known.repairs.values() if repair not in planned]
    facts = consultation.state.facts
    return planned + sorted((repair for repair in rest if may_apply(repair.applies, facts)), key=lambda one: one.name)


def cured_here(consultation: Consultation, repair: Repair) -> Iterator[tuple[str, str]]:
    """Give id and name of each cause on this bike that a repair cures."""
    for cause_id in repair.cures:
        cause = consultation.knowledge.causes.get(cause_id)
        if cause is not None and may_apply(cause.applies, consultation.state.facts):
            yield cause_id, cause.name


def set_aside(consultation: Consultation) -> list[tuple[str, str]]:
    """Return id and name of the tests taken off the list: could not be done, not sure, not wanted."""
    return [(test, consultation.knowledge.tests[test].name) for test in consultation.state.off_list]


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
    from diagnose.consultation.readings import judged

    return Event("observe", judged(consultation.knowledge, facts(consultation), test_id, typed))


def as_written(reading: Mapping[str, Any]) -> str:
    """Return a reading as it was written, and in the unit of its limits where that is another."""
    from diagnose.consultation.readings import as_written

    return as_written(reading)


def repair_event(repair_id: str, found: Mapping[str, str]) -> Event:
    """Return the event of a repair and what was found of its causes."""
    return Event("repair", {"repair": repair_id, "found": dict(found)})


def said(known: Knowledge, event: Event) -> str:
    """Return what an event says, in words."""
    body = event.body
    if event.kind == "observe":
        test, reading = known.tests[body["test"]], body.get("reading")
        outcome = test.outcome(body["outcome"]).name + told_late(_before(known, body))
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
    from diagnose.consultation.state import standing

    return [event for _, event in standing(consultation.events)]


def found_broken(consultation: Consultation) -> list[str]:
    """Return the causes that were seen to be bad when a repair was done."""
    return [cause for done in consultation.state.repairs for cause, looked in done.found.items() if looked == "broken"]


def complaint_known(consultation: Consultation) -> bool:
    """Return whether it has been said what is wrong."""
    return consultation.state.complaint is not None
