"""The state of a job, and what follows from it: how the bike stands, what is open, what was answered (see happened)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from diagnose.model import BEHAVIOUR, OR, Gate, Knowledge, Option, Repair, Test, Work
from diagnose.network.situations import ARRIVAL, RepairDone, Situation
from diagnose.planning.access import AccessTree
from diagnose.problems import JobError

TRY_TO_START = "try_to_start"
"""The test that is the try-out."""

OFF_LIST = ("cannot", "not_sure", "declined")
"""Answers that are no evidence and take a test off the list until it is lifted."""

BY_ITSELF = "now:"
"""What the id of a change to causes begins with that nobody made as a repair: kicked wet, dried by running."""

LABOUR_PER_HOUR = 45.0
"""What an hour of work costs where the shop does not say (memory, order of size)."""


PUT_BACK_MINUTES = 1.0
"""What it takes to put back what a test left unplugged (memory)."""


@dataclass(frozen=True, slots=True)
class Shop:
    """What the shop sets: money per hour of work, its currency, metres above sea level (None: not told).

    gauge_ml: what its compression gauge and hose hold up to the check valve, 0 with the valve at the plug end (None:
    not told). service: money for handing a bike on to a specialist; None where the shop does not say. without: tools
    it has not.
    """

    labour: float = LABOUR_PER_HOUR
    currency: str = ""
    elevation_m: float | None = None
    gauge_ml: float | None = None
    service: float | None = None
    without: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Limit:
    """What the owner says of money, None where he did not: what the bike is worth running, and the most to be spent."""

    running: float | None = None
    ceiling: float | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """One result. number: of the event that gave it; reading: as written, corrected and judged, if measured.

    weights: outcome -> likelihood of what was seen, where it does not show the outcome for certain.
    """

    test: str
    outcome: str
    situation: Situation
    number: int
    reading: Mapping[str, Any] | None = None
    weights: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """A value of the sheet as it was found or set: as written, and of a figure its number, its unit and in SI.

    instrument: what it was measured with; temperature: of what was measured, in degrees C; number: of the event.
    """

    text: str
    number: int
    value: float | None = None
    unit: str = ""
    si: float | None = None
    instrument: str = ""
    temperature: float | None = None


Spot = tuple[str, str]
"""A value of the sheet and the side it was measured on, empty where it has none."""


@dataclass(frozen=True, slots=True)
class State:
    """Where a job stands.

    told: the facts that were told, with what they imply; facts: those and what goes without saying beside them, an
    empty text for a fact that such a bike does not have.
    complaint: what it came in for; also: what else the owner complains of.
    minutes, parts: spent so far. off_list: test -> (kind, why). isolated: tests whose change to the bike is
    still in force; accepted: those with which it may be started. repairs: all that changed causes, the floods that
    kicking may have made among them. now: how the bike stands, where work or word changed that; kicks: since the
    plug was last dry. limit: what the owner said of money. waiting: what soaks, dries or charges, begun and not yet
    done: test or repair, and its id. manual: value of the sheet -> what the manual gives, as in its event (happened);
    as_found, as_set: as it was found, as it was set.
    """

    title: str = ""
    words: str = ""
    told: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    complaint: str | None = None
    also: tuple[str, ...] = ()
    shop: Shop = Shop()
    limit: Limit = Limit()
    seen: tuple[Seen, ...] = ()
    repairs: tuple[RepairDone, ...] = ()
    isolated: tuple[str, ...] = ()
    accepted: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    now: Mapping[str, str] = field(default_factory=dict)
    kicks: int = 0
    waiting: tuple[tuple[str, str], ...] = ()
    minutes: float = 0.0
    parts: float = 0.0
    off_list: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    manual: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    as_found: Mapping[Spot, Figure] = field(default_factory=dict)
    as_set: Mapping[Spot, Figure] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    closed: Mapping[str, Any] | None = None


def entry_of(kind: str, entries: Mapping[str, Any], wanted: str) -> Any:
    """Return the entry of an id. Raises JobError with the nearest id where there is none."""
    if wanted not in entries:
        from difflib import get_close_matches  # only when something is wrong: it is slow to load

        close = get_close_matches(wanted, list(entries), n=1, cutoff=0.5)
        hint = f"; nearest: {close[0]}" if close else ""
        raise JobError(f"there is no {kind} {wanted!r} in the knowledge{hint}")
    return entries[wanted]


def misfit(knowledge: Knowledge, applies: Gate, facts: Mapping[str, str]) -> str:
    """Return why a gate shuts out a bike of these facts, in words; empty where it does not."""
    for fact, options in applies.items():
        if fact in facts and not options & set(facts[fact].split(OR)):
            needs = " or ".join(sorted(options))
            return f"{knowledge.facts[fact].name} is {facts[fact] or 'nothing this bike has'}, it needs {needs}"
    return ""


def stands(knowledge: Knowledge, state: State) -> dict[str, Option]:
    """Return how the bike stands now: fact -> option."""
    found = {}
    for fact in knowledge.now.values():
        if fact.counts_kicks:
            found[fact.id] = [option for option in fact.options.values() if option.after <= state.kicks][-1]
        else:
            found[fact.id] = fact.options[state.now.get(fact.id, next(iter(fact.options)))]
    return found


def reaching(knowledge: Knowledge, state: State, needs: Gate) -> dict[str, Option] | None:
    """Return how the bike must be brought to stand for a piece of work; None where nobody can bring it there."""
    found: dict[str, Option] = {}
    if not needs:
        return found
    for fact, option in stands(knowledge, state).items():
        if fact in needs and option.id not in needs[fact]:
            ways = [o for o in knowledge.facts[fact].options.values() if o.id in needs[fact] and o.reach is not None]
            if not ways:
                return None
            found[fact] = ways[0]
    return found


def activities(knowledge: Knowledge, state: State, work: Work) -> frozenset[str]:
    """Return what a piece of work does that can be dangerous, what brings the bike to stand for it among that."""
    ways = [option.reach for option in (reaching(knowledge, state, work.needs) or {}).values() if option.reach]
    return work.does.union(*(way.does for way in ways))


def reach_minutes(options: Mapping[str, Option] | None) -> tuple[float, float]:
    """Return the minutes of work and of waiting that it takes to bring the bike there."""
    ways = [option.reach for option in (options or {}).values() if option.reach is not None]
    return sum(way.minutes for way in ways), sum(way.wait for way in ways)


def situation_now(knowledge: Knowledge, state: State, brought: Mapping[str, Option] | None = None) -> Situation:
    """Return the bike as it stands: repairs done, and what is cut out or held healthy now.

    That is by isolations in force and by how it stands (oil in the bore). brought: how it is made to stand first.
    """
    changes: list[Test | Option] = [knowledge.tests[t] for t in state.isolated]
    changes += (stands(knowledge, state) | dict(brought or {})).values()
    cut = frozenset(cause for change in changes for cause in change.removes)
    held = frozenset(condition for change in changes for condition in change.supplies)
    return Situation(len(state.repairs), cut, held)


def repairs_by(state: State, situation: Situation | None = None) -> int:
    """Return how many repairs were done by then, or by now; a flood made by kicking or dried by running is none."""
    done = state.repairs if situation is None else state.repairs[: situation.epoch]
    return sum(not repair.id.startswith(BY_ITSELF) for repair in done)


def tried(knowledge: Knowledge, state: State) -> str:
    """Return the outcome of the last try-out of the bike as it stands; empty if there was none."""
    now = situation_now(knowledge, state)
    outcomes = [
        seen.outcome
        for seen in state.seen
        if seen.test == TRY_TO_START
        and repairs_by(state, seen.situation) == repairs_by(state)
        and (seen.situation.cut, seen.situation.held) == (now.cut, now.held)
    ]
    return outcomes[-1] if outcomes else ""


def situation_for(knowledge: Knowledge, state: State, test: Test) -> Situation:
    """Return the situation a test tells of.

    It is the bike as it stands, less what the test itself cuts or supplies. A question is about the bike as it came,
    or, if it is about what the bike does, as it was when it was last tried: of what was done since, nobody knows yet.
    """
    if test.kind == "ask":
        does = any(
            node in knowledge.conditions and knowledge.conditions[node].system == BEHAVIOUR for node in test.drivers
        )
        attempts = [seen.situation for seen in state.seen if seen.test == TRY_TO_START] if does else []
        return attempts[-1] if attempts else ARRIVAL
    now = situation_now(knowledge, state, reaching(knowledge, state, test.needs))
    return Situation(now.epoch, now.cut | frozenset(test.removes), now.held | frozenset(test.supplies))


_trees: dict[str, AccessTree] = {}


def access_tree(knowledge: Knowledge) -> AccessTree:
    """Return the access of the knowledge as a tree that the planner can price; the last one is kept."""
    if knowledge.version not in _trees:
        _trees.clear()
        _trees[knowledge.version] = AccessTree(knowledge.access)
    return _trees[knowledge.version]


def must_close(knowledge: Knowledge, state: State, does: frozenset[str]) -> frozenset[str]:
    """Return the open access that has to be shut before these activities.

    That is what leaves something forbidden by a rule about open things, and whatever can only be open while
    that is.
    """
    if "runs" in does:
        return state.opened
    tags = {tag for rule in knowledge.cautions.values() if rule.when and does & rule.forbids for tag in rule.when.open}
    shut = {a for a in state.opened if knowledge.access[a].leaves & tags}
    tree = access_tree(knowledge)
    return frozenset(a for a in state.opened if shut & tree.closure([a]))


def work_of(knowledge: Knowledge, kind: str, work_id: str) -> Test | Repair:
    """Return the test or repair of that id; anything but a repair is a test. Raises KeyError."""
    return knowledge.repairs[work_id] if kind == "repair" else knowledge.tests[work_id]


def known_tests(knowledge: Knowledge, state: State) -> dict[str, Seen]:
    """Return the latest result of every test."""
    return {seen.test: seen for seen in state.seen}


def starts(knowledge: Knowledge, state: State) -> bool:
    """Return whether the bike starts, by the complaint or the last try-out: then no kick is in vain."""
    attempts = [seen.outcome for seen in state.seen if seen.test == TRY_TO_START]
    if attempts:
        return bool(knowledge.tests[TRY_TO_START].outcome(attempts[-1]).leaves.get("warmth"))
    return bool(state.complaint) and "no_fire" in knowledge.complaints[state.complaint or ""].excludes
