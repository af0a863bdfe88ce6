"""A step as the mechanic reads it: its texts, what locks it, and which steps there are to choose from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from diagnose.model import Caution, Knowledge, Outcome, Repair, Test, may_apply
from diagnose.planning.access import AccessTree
from diagnose.planning.steps import Step
from diagnose.terminal.views import MOST_CURES, TRY_OUT, likely
from diagnose.wording import per_cent

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation

UNDO_IT = "Put back what was unplugged or bypassed for it."
"""How a change is undone of which the book does not say it, as a test does not usually leave it."""


@dataclass(frozen=True, slots=True)
class Card:
    """A step with its texts: what to open first, dangers, how, with what, why. locks: what forbids it.

    brings: what brings the bike to stand as the step needs it; first_wait: minutes of waiting that takes.
    at_hand: what is off or open already for it, where that makes it cheap now. should_be: what it should measure, and
    whose range that is.
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
    at_hand: tuple[str, ...] = ()
    should_be: str = ""


def card(consultation: Consultation, step: Step) -> Card:
    """Return a step with its texts."""
    from diagnose.consultation.reasons import at_hand
    from diagnose.consultation.safety import brings, by_button, said_at
    from diagnose.consultation.working import should_be

    known, state = consultation.knowledge, consultation.state
    if step.kind == "reconnect":
        return _putting_back(known.tests[step.id], step)
    work = work_of(consultation, step)
    opened = [known.access[access] for access in step.opens]
    tools = [tool for entry in (*opened, work) for tool in entry.tools]
    ways = brings(known, state, work)
    return Card(
        step=step,
        name=work.name,
        brings=tuple(way.step for way in ways),
        first_wait=sum(way.wait for way in ways),
        opens=tuple((access.name, access.open) for access in opened),
        closes=tuple(known.access[access].name for access in step.closes),
        cautions=said_at(known, state, work, step.opens),
        how=tuple(said for said in (by_button(state.facts, work), *work.steps) if said),
        tools=tuple(dict.fromkeys(tools)),
        why=work.why if isinstance(work, Test) else _cures(consultation, work),
        ask=work.ask if isinstance(work, Test) else "",
        doubt=work.doubt if isinstance(work, Test) else "",
        locks=tuple(lock_text(known, consultation, caution) for caution in step.forbidden),
        at_hand=tuple(known.access[access].name for access in at_hand(known, state, step)),
        should_be=should_be(known, state, work) if isinstance(work, Test) else "",
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
    return f"It puts right {', '.join(shown)}{more}." if shown else ""


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


def waiting_step(consultation: Consultation, kind: str, work_id: str) -> Step:
    """Return what waits as the step that ends the waiting: what is still to do with the hands, and no price."""
    known = consultation.knowledge
    work: Test | Repair = known.repairs[work_id] if kind == "repair" else known.tests[work_id]
    return Step(kind="repair" if kind == "repair" else "test", id=work_id, minutes=work.minutes)


def waits(consultation: Consultation, step: Step) -> bool:
    """Return whether a step is one that was begun and soaks, dries or charges."""
    return (step.kind, step.id) in consultation.state.waiting


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
    """Return the steps that can be done now, beside what waits, best first, and those that are locked."""
    return consultation.free, tuple(step for step in consultation.steps if step.forbidden)


def step_for(consultation: Consultation, kind: str, work_id: str) -> Step | None:
    """Return the step of that kind and id if the plan holds one."""
    for step in consultation.steps:
        if step.kind == kind and (step.id == work_id or kind == "try_out"):
            return step
    return None


def repairs_for(consultation: Consultation) -> list[Repair]:
    """Return the repairs this bike may need: those of the plan first, best first, then the rest by name."""
    known = consultation.knowledge
    planned = [known.repairs[step.id] for step in consultation.steps if step.kind == "repair"]
    rest = [repair for repair in known.repairs.values() if repair not in planned]
    facts = consultation.state.facts
    return planned + sorted((repair for repair in rest if may_apply(repair.applies, facts)), key=lambda one: one.name)
