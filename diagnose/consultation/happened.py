"""From events to the state of a job: what each event says, checked against the knowledge before it counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import inf
from typing import Any, TypeVar

from diagnose.consultation.sheet_events import SHEET, found_by_test
from diagnose.consultation.state import (
    BY_ITSELF,
    LABOUR_PER_HOUR,
    OFF_LIST,
    PUT_BACK_MINUTES,
    Seen,
    Shop,
    State,
    access_tree,
    activities,
    entry_of,
    misfit,
    must_close,
    reach_minutes,
    reaching,
    situation_for,
    stands,
    starts,
)
from diagnose.events import ENDED, Event, standing
from diagnose.model import OR, Knowledge, Test, Work, gate_state, may_apply
from diagnose.network.situations import ARRIVAL, RepairDone, Situation
from diagnose.problems import JobError
from diagnose.tools import ways

Fitting = TypeVar("Fitting", bound=Work)
Apply = Callable[[Knowledge, State, Mapping[str, Any], int], State]


def state_of(knowledge: Knowledge, events: Sequence[Event]) -> State:
    """Return the state after all events. Raises JobError for an event that cannot have happened."""
    state = State()
    for number, event in standing(events):
        state = APPLY[event.kind](knowledge, state, event.body, number)
    return state


def _fitting(knowledge: Knowledge, state: State, kind: str, works: Mapping[str, Fitting], wanted: str) -> Fitting:
    """Return a piece of work that is in the knowledge and fits the bike. Raises JobError."""
    work: Fitting = entry_of(kind, works, wanted)
    if not may_apply(work.applies, state.facts):
        raise JobError(f"{work.name} ({work.id}) does not fit this bike: {_gate_words(knowledge, work, state)}")
    return work


def _test(knowledge: Knowledge, state: State, wanted: str) -> Test:
    return _fitting(knowledge, state, "test", knowledge.tests, wanted)


def _gate_words(knowledge: Knowledge, work: Work, state: State) -> str:
    """Return why a piece of work does not fit the bike, and what to write instead where it goes by side."""
    group: Mapping[str, Work] = knowledge.tests if isinstance(work, Test) else knowledge.repairs
    sides = [one.id for one in group.values() if one.of == work.id and may_apply(one.applies, state.facts)]
    if sides:
        return f"on this one it goes by side, write {' or '.join(sides)}"
    return misfit(knowledge, work.applies, state.facts) or "its facts are not known"


def check_facts(knowledge: Knowledge, facts: Mapping[str, str]) -> dict[str, str]:
    """Return the facts with what they imply. Raises JobError for an unknown one or a contradiction."""
    full = dict(facts)
    for fact_id, option_id in facts.items():
        fact = entry_of("fact", knowledge.facts, fact_id)
        option = fact.options.get(option_id)
        if option is None:
            raise JobError(f"{fact_id} cannot be {option_id!r}; write one of: {', '.join(fact.options)}")
        for implied, value in option.implies.items():
            if full.setdefault(implied, value) != value:
                raise JobError(
                    f"{fact_id}: {option_id} means {implied}: {value}, "
                    f"but {implied} is given as {full[implied]}; change one"
                )
    for fact_id in facts:
        if gate_state(knowledge.facts[fact_id].applies, full) is False:
            gate = knowledge.facts[fact_id].applies
            needs = ", ".join(f"{k}: {' or '.join(sorted(v))}" for k, v in gate.items())
            raise JobError(f"{fact_id} is only asked of a bike with {needs}; leave it out")
    return full


def _intake(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if number:
        raise JobError("a job has one intake, at its beginning")
    given = body.get("shop") or {}
    shop = Shop(
        labour=float(given.get("labour", LABOUR_PER_HOUR)),
        currency=str(given.get("currency", "")),
        elevation_m=None if given.get("elevation_m") is None else float(given["elevation_m"]),
        gauge_ml=None if given.get("gauge_ml") is None else float(given["gauge_ml"]),
        service=given.get("service"),
        without=frozenset(way for tool in given.get("without") or () for way in ways(str(tool))),
    )
    given_facts = body.get("bike") or {}
    facts = check_facts(knowledge, {k: v for k, v in given_facts.items() if k not in knowledge.now})
    for fact in given_facts.keys() & knowledge.now.keys():
        state = _stand(knowledge, state, fact, given_facts[fact])
    title, words = str(body.get("title", "")), str(body.get("words", ""))
    state = _complaint(knowledge, replace(state, title=title, words=words, shop=shop), body, number)
    return _with_facts(knowledge, _worth(knowledge, state, body.get("worth") or {}, number), facts)


def _with_facts(knowledge: Knowledge, state: State, told: Mapping[str, str]) -> State:
    """Return the state with these facts told, and what goes without saying.

    That is what a fact is assumed to be, and, of one that is not asked of such a bike, that it is none of its options.
    """
    unsaid = {
        fact.id: fact.assume
        for fact in knowledge.facts.values()
        if fact.id not in told and (fact.assume or gate_state(fact.applies, told) is False)
    }
    means = {fact: OR.join(knowledge.facts[fact].options[option].covers) or option for fact, option in told.items()}
    return replace(state, told=told, facts={**unsaid, **means})


def _stand(knowledge: Knowledge, state: State, fact_id: str, option_id: str | None) -> State:
    """Return the state with the bike standing so; None: as it comes in."""
    fact = knowledge.facts[fact_id]
    option = fact.options.get(option_id or next(iter(fact.options)))
    if option is None:
        raise JobError(f"{fact_id} cannot be {option_id!r}; write one of: {', '.join(fact.options)}")
    if fact.counts_kicks:
        return replace(state, kicks=option.after)
    return replace(state, now={**state.now, fact_id: option.id})


def _fact(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if body["fact"] in knowledge.now:
        return _stand(knowledge, state, body["fact"], body.get("option"))
    facts = {k: v for k, v in state.told.items() if k != body["fact"]}
    if body.get("option") is not None:
        facts[body["fact"]] = body["option"]
    return _with_facts(knowledge, state, check_facts(knowledge, facts))


def _complaint(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    first, also = body.get("complaint"), tuple(body.get("also") or ())
    for complaint in (*also, *([] if first is None else [first])):
        entry_of("complaint", knowledge.complaints, complaint)
    if also and (first is None or len({first, *also}) <= len(also)):
        raise JobError("what else is wrong comes beside another complaint, each once")
    return replace(state, complaint=first, also=also)


def _worth(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    for name, money in body.items():
        if name not in ("running", "ceiling") or not (money is None or money >= 0):
            raise JobError(f"worth: {name}: {money} is not read; write running or ceiling, and an amount of money")
    return replace(state, limit=replace(state.limit, **body))


def _observe(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    test = _test(knowledge, state, body["test"])
    outcomes = [outcome.id for outcome in test.outcomes]
    if body.get("outcome") not in outcomes:
        raise JobError(f"{test.id} has no outcome {body.get('outcome')!r}; write one of: {', '.join(outcomes)}")
    if body.get("before"):
        return _seen_before(knowledge, state, test, body, number)
    seen = _seen(test, body, situation_for(knowledge, state, test), number)
    earlier = _others(state, seen)
    state = _worked(knowledge, state, test, float(body.get("minutes", test.minutes)))
    state = _left(knowledge, state, test, test.outcome(seen.outcome).leaves)
    isolated = state.isolated
    if test.put_back and test.id not in isolated:
        isolated = (*isolated, test.id)
    off = {t: why for t, why in state.off_list.items() if t != test.id}
    state = _shop_told(state, seen)
    waiting = _over(state, "test", test.id)
    state = found_by_test(knowledge, state, test, seen)
    return replace(state, seen=(*earlier, seen), isolated=isolated, off_list=off, waiting=waiting)


def _seen(test: Test, body: Mapping[str, Any], situation: Situation, number: int) -> Seen:
    """Return the result an event tells of. Raises JobError for weights that do not go with the test."""
    weights = body.get("weights") or None
    outcomes = [outcome.id for outcome in test.outcomes]
    for name, weight in (weights or {}).items():
        if name not in outcomes:
            raise JobError(f"{test.id}: weights: no outcome {name!r}; write one of: {', '.join(outcomes)}")
        if isinstance(weight, bool) or not isinstance(weight, int | float) or not 0 <= weight < inf:
            raise JobError(f"{test.id}: weights: {name}: {weight!r} is no weight; write a number, 0 or more")
    if weights and not weights.get(body["outcome"]):
        raise JobError(f"{test.id}: weights: {body['outcome']} is what was seen; give it a weight above 0")
    return Seen(test.id, body["outcome"], situation, number, body.get("reading"), weights)


def _shop_told(state: State, seen: Seen) -> State:
    """Return the state with what a reading tells of the shop.

    Its height above the sea, where that was not told; its gauge, and the one that was used last counts.
    """
    shop, reading = state.shop, seen.reading or {}
    if reading.get("altitude_m") is not None and shop.elevation_m is None:
        shop = replace(shop, elevation_m=float(reading["altitude_m"]))
    if reading.get("gauge_ml") is not None:
        shop = replace(shop, gauge_ml=float(reading["gauge_ml"]))
    return replace(state, shop=shop)


def _over(state: State, kind: str, work_id: str) -> tuple[tuple[str, str], ...]:
    """Return what still waits when one piece of work is done or given up."""
    return tuple(one for one in state.waiting if one != (kind, work_id))


def _others(state: State, seen: Seen) -> tuple[Seen, ...]:
    """Return the results that a new one leaves standing: not the same test in the same situation."""
    return tuple(old for old in state.seen if (old.test, old.situation) != (seen.test, seen.situation))


def _seen_before(knowledge: Knowledge, state: State, test: Test, body: Mapping[str, Any], number: int) -> State:
    """Take in what was seen before a repair and is only told now; nothing is done for it any more."""
    repair = entry_of("repair", knowledge.repairs, body["before"]).id
    epochs = [n for n, done in enumerate(state.repairs) if done.id == repair]
    if not epochs:
        listed = ", ".join(done.id for done in state.repairs if not done.id.startswith(BY_ITSELF)) or "nothing"
        raise JobError(f"{repair} was not done, so nothing was seen before it; done so far: {listed}")
    situation = Situation(epochs[-1], frozenset(test.removes), frozenset(test.supplies))
    seen = _seen(test, body, ARRIVAL if test.kind == "ask" else situation, number)
    return found_by_test(knowledge, replace(state, seen=(*_others(state, seen), seen)), test, seen)


def _worked(knowledge: Knowledge, state: State, work: Work, minutes: float) -> State:
    """Bring the bike to stand as the work needs it, shut what must be shut, open what is needed, count the minutes."""
    tree = access_tree(knowledge)
    does, brought = activities(knowledge, state, work), reaching(knowledge, state, work.needs)
    for fact, option in stands(knowledge, state).items():
        if fact in work.needs and option.id not in work.needs[fact]:  # he did it, so it stood so
            state = _stand(knowledge, state, fact, brought[fact].id if brought else min(work.needs[fact]))
    shut = must_close(knowledge, state, does)
    left = state.opened - shut
    total = minutes + tree.minutes_to_close(shut) + tree.minutes_to_open(work.access, left) + reach_minutes(brought)[0]
    return replace(state, opened=left | tree.closure(work.access), minutes=state.minutes + total)


def _left(knowledge: Knowledge, state: State, work: Work, besides: Mapping[str, str] | None = None) -> State:
    """Return the state with the bike as the work leaves it; kicks in vain may have flooded it, a run dries it."""
    leaves = {**work.leaves, **(besides or {})}
    kicks = 0 if starts(knowledge, state) else work.kicks
    if kicks:
        state = replace(state, kicks=state.kicks + kicks)
    for fact, option in leaves.items():
        state = _stand(knowledge, state, fact, option)
    options = stands(knowledge, state).items()
    changed = [RepairDone(BY_ITSELF + f, dict(o.clears)) for f, o in options if o.clears and f in leaves]
    if kicks:
        changed += [RepairDone(BY_ITSELF + f, {}, dict(o.makes)) for f, o in options if o.makes and f not in leaves]
    return replace(state, repairs=(*state.repairs, *changed))


def _off(kind: str) -> Apply:
    def apply(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
        test = entry_of("test", knowledge.tests, body["test"])
        off_list = {**state.off_list, test.id: (kind, str(body.get("why", "")))}
        return replace(state, off_list=off_list, waiting=_over(state, "test", test.id))

    return apply


def _tool(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    """Take in that the shop has a tool or has it not; test: the one that could not be done without it."""
    tool, have = frozenset(ways(str(body["tool"]))), bool(body.get("have", False))
    why = ("cannot", f"no {body['tool']}")
    off = {test: (kind, because) for test, (kind, because) in state.off_list.items() if (kind, because) != why}
    if body.get("test") and not have:
        off[entry_of("test", knowledge.tests, body["test"]).id] = why
    without = state.shop.without - tool if have else state.shop.without | tool
    return replace(state, shop=replace(state.shop, without=without), off_list=off)


def _lift(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if body["test"] not in state.off_list:
        raise JobError(f"{body['test']} is on the list already")
    return replace(state, off_list={t: why for t, why in state.off_list.items() if t != body["test"]})


def _repair(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    repair = _fitting(knowledge, state, "repair", knowledge.repairs, body["repair"])
    found = dict(body.get("found") or {})
    for cause, looked in found.items():
        if cause not in repair.cures or looked not in ("broken", "sound", "not_seen"):
            raise JobError(
                f"found as: {cause}: {looked} does not go with {repair.id}; "
                "write broken, sound or not_seen for one of: " + ", ".join(repair.cures)
            )
    done = RepairDone(repair.id, dict(repair.cures), dict(repair.dud), found)
    state = _worked(knowledge, state, repair, float(body.get("minutes", repair.minutes)))
    parts = state.parts + float(body.get("parts", repair.parts))
    waiting = _over(state, "repair", repair.id)
    return _left(knowledge, replace(state, repairs=(*state.repairs, done), parts=parts, waiting=waiting), repair)


def _start(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    """Begin what has to wait; its own minutes count when it is done, the way to it now."""
    kind = "repair" if "repair" in body else "test"
    works: Mapping[str, Work] = knowledge.repairs if kind == "repair" else knowledge.tests
    work = _fitting(knowledge, state, kind, works, body[kind])
    if not work.wait:
        raise JobError(f"{work.id} has nothing to wait for; write it as done")
    if (kind, work.id) in state.waiting:
        raise JobError(f"{work.id} is waiting already")
    minutes = state.minutes + access_tree(knowledge).minutes_to_open(work.access, state.opened)
    opened = state.opened | access_tree(knowledge).closure(work.access)
    return replace(state, opened=opened, minutes=minutes, waiting=(*state.waiting, (kind, work.id)))


def _open(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    entry_of("access", knowledge.access, body["access"])
    tree = access_tree(knowledge)
    minutes = state.minutes + tree.minutes_to_open([body["access"]], state.opened)
    return replace(state, opened=state.opened | tree.closure([body["access"]]), minutes=minutes)


def _close(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if body["access"] not in state.opened:
        raise JobError(f"{body['access']} is not open")
    tree = access_tree(knowledge)
    shut = frozenset(a for a in state.opened if body["access"] in tree.closure([a]))
    return replace(state, opened=state.opened - shut, minutes=state.minutes + tree.minutes_to_close(shut))


def _isolate(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    test = _test(knowledge, state, body["test"])
    if not (test.removes or test.supplies):
        raise JobError(f"{test.id} isolates nothing")
    return state if test.id in state.isolated else replace(state, isolated=(*state.isolated, test.id))


def _reconnect(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if body["test"] not in state.isolated:
        listed = ", ".join(state.isolated) or "nothing"
        raise JobError(f"{body['test']} is not isolated; isolated now: {listed}")
    isolated = tuple(t for t in state.isolated if t != body["test"])
    minutes = state.minutes + float(body.get("minutes", PUT_BACK_MINUTES))
    return replace(state, isolated=isolated, accepted=state.accepted - {body["test"]}, minutes=minutes)


def _accept(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    if body["test"] not in state.isolated:
        listed = ", ".join(state.isolated) or "nothing"
        raise JobError(f"{body['test']} is not isolated, so there is nothing to accept; isolated now: {listed}")
    return replace(state, accepted=state.accepted | {body["test"]})


def _note(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    return replace(state, notes=(*state.notes, str(body["text"])))


def _close_job(knowledge: Knowledge, state: State, body: Mapping[str, Any], number: int) -> State:
    for cause in body.get("confirmed") or {}:
        if cause != "something_else":
            entry_of("cause", knowledge.causes, cause)
    if body.get("ended", "") not in ("", *ENDED):
        raise JobError(f"a job cannot end as {body['ended']!r}; write one of: {', '.join(ENDED)}, or nothing")
    return replace(state, closed=dict(body))


APPLY: Mapping[str, Apply] = {
    "intake": _intake,
    "fact": _fact,
    "complaint": _complaint,
    "worth": _worth,
    "observe": _observe,
    **{kind: _off(kind) for kind in OFF_LIST},
    "lift": _lift,
    "tool": _tool,
    "repair": _repair,
    "start": _start,
    "open": _open,
    "close": _close,
    "isolate": _isolate,
    "reconnect": _reconnect,
    "accept": _accept,
    **SHEET,
    "note": _note,
    "close_job": _close_job,
}
