"""The bike by looking, its history, and the complaint: the questions before the first step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from diagnose.events import Event, standing
from diagnose.model import Complaint, Fact, Knowledge, gate_state, may_apply
from diagnose.terminal.answers.limit import ask_limit
from diagnose.terminal.asking.asker import BACK, Asker, Choice
from diagnose.terminal.bench import Bench
from diagnose.terminal.page import Line
from diagnose.terminal.screens import fact_help
from diagnose.tools import ways

UNKNOWN, HELP, ENOUGH, STOP, NOTHING = "unknown", "how", "enough", "stop", "nothing"
ELSE = "And what else does it do?"
STOOD = "parked"
"""The fact that picks one of the three figures of a prior."""
LABOUR_PER_HOUR = 45.0
NO_START, STARTS_BADLY = "It will not start", "It starts badly, dies, floods or bangs"
RUNS_BADLY, BESIDE = "It runs, but not right", "It smokes, makes a noise or will not stop"
GROUPS = (NO_START, STARTS_BADLY, RUNS_BADLY, BESIDE)

FIXED = (
    Choice(UNKNOWN, "Don't know", "d"),
    Choice(HELP, "How do I see that?", "h"),
    Choice(ENOUGH, "Skip the rest of these questions", "s"),
    Choice(BACK, "Back", "b"),
    Choice(STOP, "Stop for today", "q"),
)


def new_intake(title: str, day: datetime, shop: Mapping[str, Any] | None = None) -> Event:
    """Return the first event of a job; facts and complaint follow one by one. shop: what is known of it (shop_told)."""
    shop = {"labour": LABOUR_PER_HOUR, "currency": "", "elevation_m": None, **(shop or {})}
    body = {
        "bike": {},
        "shop": shop,
        "complaint": None,
        "title": title or default_title(day),
        "words": "",
    }
    return Event("intake", body)


def tools_lacking(events: Sequence[Event]) -> list[str]:
    """Return the tools that were not there when a job was last worked on, by name."""
    without: set[str] = set()
    for _, event in standing(events):
        if event.kind == "intake":
            without |= {way for tool in event.body.get("shop", {}).get("without", ()) for way in ways(tool)}
        elif event.kind == "tool":
            told = set(ways(event.body["tool"]))
            without = without - told if event.body.get("have") else without | told
    return sorted(without)


def shop_told(events: Sequence[Event]) -> dict[str, Any]:
    """Return what a job tells of the shop that holds for the next: tools it lacks, its height, its gauge.

    The height that was told first counts, in metres, and the gauge that was used last, in ml; as in the state of a job.
    """
    found: dict[str, Any] = {}
    for _, event in standing(events):
        told = event.body.get("shop" if event.kind == "intake" else "reading") or {}
        height = told.get("elevation_m" if event.kind == "intake" else "altitude_m")
        if height is not None:
            found.setdefault("elevation_m", height)
        if told.get("gauge_ml") is not None:
            found["gauge_ml"] = told["gauge_ml"]
    without = tools_lacking(events)
    return found | ({"without": without} if without else {})


def default_title(day: datetime) -> str:
    """Return the name of a job that was given none.

    >>> default_title(datetime(2026, 3, 4, 9, 30))
    'Bike of 4 March, 09:30'
    """
    return f"Bike of {day.day} {day:%B, %H:%M}"


def ask_title(asker: Asker, day: datetime) -> str:
    """Ask what to call the job; Enter takes the day."""
    return asker.text("title", "Which bike is it? A name for the list:", default_title(day))


def known_facts(events: Iterable[Event]) -> dict[str, str]:
    """Return the facts told so far, the last word on each."""
    facts: dict[str, str] = {}
    for event in events:
        if event.kind == "intake":
            facts |= event.body.get("bike", {})
        elif event.kind == "fact":
            facts.pop(event.body["fact"], None)
            if event.body["option"] is not None:
                facts[event.body["fact"]] = event.body["option"]
    return facts


def implied(known: Knowledge, facts: Mapping[str, str]) -> dict[str, str]:
    """Return the facts that follow from those told."""
    return {
        fact: option
        for told, chosen in facts.items()
        if told in known.facts and chosen in known.facts[told].options
        for fact, option in known.facts[told].options[chosen].implies.items()
        if fact not in facts
    }


def intake(bench: Bench) -> bool:
    """Ask what is not yet answered of bike, history, complaint and money. False: the user stops for today."""
    return ask_facts(bench) and ask_complaint(bench)


def ask_facts(bench: Bench) -> bool:
    """Ask the facts one by one, each written down before the next; False: stop for today."""
    asked = list(dict.fromkeys(event.body["fact"] for event in bench.events if event.kind == "fact"))
    if any(event.kind == "complaint" for event in bench.events):
        return True
    while (fact := _next_fact(bench, asked)) is not None:
        answer = ask_fact(bench, fact, FIXED if asked else tuple(one for one in FIXED if one.value != BACK))
        if answer == STOP:
            return False
        if answer == ENOUGH:
            return _ask_what_counts(bench, asked)
        if answer == BACK:
            asked.pop()
            continue
        tell(bench, fact.id, None if answer == UNKNOWN else answer)
        asked.append(fact.id)
    return True


def _ask_what_counts(bench: Bench, asked: Sequence[str]) -> bool:
    """Ask, where the rest is skipped, at least how long it stood: nothing moves the chances more. False: stop."""
    fact = bench.knowledge.facts.get(STOOD)
    if fact is None or STOOD in {*asked, *known_facts(bench.events)}:
        return True
    answer = ask_fact(bench, fact, [one for one in FIXED if one.value in (UNKNOWN, HELP, STOP)])
    if answer == STOP:
        return False
    tell(bench, STOOD, None if answer == UNKNOWN else answer)
    return True


def tell(bench: Bench, fact_id: str, option: str | None) -> None:
    """Write down a fact; first unsay those told before that cannot be true beside it."""
    known, told = bench.knowledge.facts, known_facts(bench.events)
    told.pop(fact_id, None)
    if option is not None:
        implies = known[fact_id].options[option].implies
        for other in [one for one in told if implies.get(one, told[one]) != told[one]]:
            bench.record("fact", {"fact": other, "option": None})
            del told[other]
        told[fact_id] = option
    while wrong := [one for one in told if one != fact_id and _ruled_out(bench.knowledge, one, told)]:
        bench.record("fact", {"fact": wrong[0], "option": None})
        del told[wrong[0]]
    bench.record("fact", {"fact": fact_id, "option": option})


def _ruled_out(known: Knowledge, fact: str, told: Mapping[str, str]) -> bool:
    return gate_state(known.facts[fact].applies, {**implied(known, told), **told}) is False


def _next_fact(bench: Bench, asked: Iterable[str]) -> Fact | None:
    """Return the next fact that is neither asked, nor follows from another, nor ruled out."""
    told = {fact: option for fact, option in known_facts(bench.events).items() if fact in asked}
    facts = told | implied(bench.knowledge, told)
    for fact in bench.knowledge.facts.values():
        if (
            fact.kind != "now"
            and fact.at_intake
            and fact.id not in asked
            and fact.id not in facts
            and gate_state(fact.applies, facts) is not False
        ):
            return fact
    return None


def ask_fact(bench: Bench, fact: Fact, fixed: Iterable[Choice]) -> str:
    """Ask one fact, showing how to see it as often as wanted; return an option or a fixed answer."""
    choices = [Choice(option.id, option.name) for option in fact.options.values()]
    default = known_facts(bench.events).get(fact.id)
    while True:
        answer = bench.asker.choose(f"fact.{fact.id}", fact.ask, [*choices, *fixed], default)
        if answer != HELP:
            return answer
        bench.page.show(fact_help(bench.page, fact, fact.options.values()))


def ask_complaint(bench: Bench) -> bool:
    """Ask what is wrong and what may be spent on it, unless that is known; False: stop for today."""
    if any(event.kind == "complaint" for event in bench.events):
        return True
    chosen = choose_complaints(bench)
    if not chosen:
        return False
    words = bench.asker.text("words", "The owner's own words, for the account (Enter: none):")
    bench.record("complaint", {**chosen, "words": words})
    ask_limit(bench)
    return True


def choose_complaints(bench: Bench) -> dict[str, Any]:
    """Ask for the complaint, then for what else the bike does until nothing more is named; empty: stop for today."""
    first = _choose(bench, "What does it do?", [], Choice(STOP, "Stop for today", "q"))
    if first == STOP:
        return {}
    also: list[str] = []
    while (other := _choose(bench, ELSE, [first, *also], Choice(NOTHING, "Nothing else", "n"))) != NOTHING:
        also.append(other)
    return {"complaint": first} | ({"also": also} if also else {})


def _choose(bench: Bench, ask: str, named: Sequence[str], leave: Choice) -> str:
    """Ask for one complaint in two short lists, without those named already; return its id, or what leaves."""
    facts = known_facts(bench.events)
    fitting = [c for c in bench.knowledge.complaints.values() if may_apply(c.applies, facts) and c.id not in named]
    groups, topic = _grouped(fitting), "also" if named else "complaint"
    while groups:
        rows = [leave] * bool(named) + [Choice(name, name) for name in groups] + [leave] * (not named)
        group = bench.asker.choose(f"{topic}.group", ask, rows)
        if group == leave.value:
            return group
        says = [Choice(one.id, one.name) for one in groups[group]]
        chosen = bench.asker.choose(topic, f"{group}:", [*says, Choice(BACK, "Back", "b")])
        if chosen != BACK:
            return chosen
    return leave.value


def _grouped(complaints: Iterable[Complaint]) -> dict[str, list[Complaint]]:
    """Return the complaints under their group; empty groups left out."""
    groups: dict[str, list[Complaint]] = {name: [] for name in GROUPS}
    for complaint in complaints:
        groups[_group(complaint)].append(complaint)
    return {name: members for name, members in groups.items() if members}


def _group(complaint: Complaint) -> str:
    """Return where a complaint is looked for: by what must be gone, and by what the bike does well already."""
    if {"smokes", "knocks", "wont_stop"} & set(complaint.target[:1]):
        return BESIDE
    if "coughs" in complaint.excludes or not {"no_turn", "no_fire"} & set(complaint.target):
        return RUNS_BADLY
    return NO_START if "no_turn" in complaint.target and "no_fire" not in complaint.excludes else STARTS_BADLY


def fact_sheet(bench: Bench) -> list[Line]:
    """Return the facts of the bike in one paragraph."""
    facts = known_facts(bench.events)
    facts |= implied(bench.knowledge, facts)
    parts = [
        f"{bench.knowledge.facts[fact].name}: {bench.knowledge.facts[fact].options[option].name}"
        for fact, option in facts.items()
        if fact in bench.knowledge.facts and fact not in bench.knowledge.now
    ]
    return bench.page.wrapped("; ".join(parts) + ".", "The bike: ", rest="  ") if parts else []
