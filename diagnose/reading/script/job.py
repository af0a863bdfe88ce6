"""A whole scripted job: its file, the bike, the shop, the steps, what it turned out to be."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.events import Event
from diagnose.model import Knowledge, gate_state
from diagnose.problems import KnowledgeError, Place
from diagnose.reading.script.desk import Desk, opened
from diagnose.reading.script.sheet import from_manual
from diagnose.reading.script.steps import also, step_events
from diagnose.reading.source import Node
from diagnose.taken import HIGHEST_M, LOWEST_M, gauge_ml
from diagnose.tools import known_tools
from diagnose.units import QuantityError, convert

SOMETHING_ELSE = "something_else"
"""Stands under `confirmed` for what no cause of the knowledge describes."""

KEYS = (
    *("title", "source", "bike", "history", "shop", "worth", "sheet", "sheet_from"),
    *("complaint", "also", "words", "steps", "confirmed"),
)


@dataclass(frozen=True, slots=True)
class Script:
    """A scripted job. events: the intake first; places: where each is written; confirmed: causes."""

    events: tuple[Event, ...]
    confirmed: tuple[str, ...]
    source: str
    title: str
    places: tuple[Place, ...]


def read_script(path: Path | str, knowledge: Knowledge) -> Script:
    """Read a scripted job and check every id in it against the knowledge.

    Raises:
        KnowledgeError: the file cannot be read, or holds mistakes; all of them, each with its place.
    """
    path = Path(path)
    top, desk = opened(path, "scripted job", knowledge)
    script = _script(top, desk) if top else None
    if desk.problems or not script:
        raise KnowledgeError(desk.problems)
    return script


def _script(top: Node, desk: Desk) -> Script:
    """Return the job of a whole file."""
    keys = desk.mapping(top)
    desk.known_keys(keys, KEYS, "a scripted job")
    title, source, words = (desk.text(keys.get(key)) for key in ("title", "source", "words"))
    intake: dict[str, Any] = {
        "bike": _facts(keys, desk),
        "shop": _shop(keys.get("shop"), desk),
        "complaint": desk.id(keys.get("complaint"), "complaint", desk.knowledge.complaints),
        "title": title,
        "words": words,
    }
    if "worth" in keys:
        intake["worth"] = desk.limit(keys["worth"])
    if others := also(keys, desk):
        intake["also"] = others
    if "bike" not in keys:
        desk.wrong(top, "a scripted job says what bike it is", "missing-key", "bike: {a fact: an option}")
    events = [(Event("intake", intake), top)]
    events += from_manual(keys, desk)
    for step in desk.items(keys.get("steps")):
        events += [(event, step) for event in step_events(step, desk)]
    confirmed = tuple(_confirmed(keys.get("confirmed"), desk))
    places = tuple(Place(node.document.file, *node.at) for _, node in events)
    return Script(tuple(event for event, _ in events), confirmed, source, title, places)


def _facts(keys: Mapping[str, Node], desk: Desk) -> dict[str, str]:
    """Return fact -> option from `bike` and `history`, checked against each other."""
    given: dict[str, tuple[str, Node]] = {}
    for kind in ("bike", "history"):
        for fact, node in desk.mapping(keys.get(kind)).items():
            known = desk.knowledge.facts.get(fact)
            if known and known.kind != kind:
                says = f"{fact} is a fact of kind {known.kind}, written under {kind}"
                write = f"a step: - fact: {{{fact}: ...}}" if known.kind == "now" else f"{fact} under {known.kind}"
                desk.wrong(node, says, "fact-section", write, key=True)
            option = desk.option(fact, node)
            if option:
                given[fact] = (option, node)
    _agree(given, desk)
    return {fact: option for fact, (option, _) in given.items()}


def _agree(given: Mapping[str, tuple[str, Node]], desk: Desk) -> None:
    """Note where a fact contradicts what another implies, or is given for a bike that cannot have it."""
    known = {fact: option for fact, (option, _) in given.items()}
    reached = [(fact, option, f"{fact}: {option}", node) for fact, (option, node) in given.items()]
    for fact, option, because, node in reached:
        for implied, wanted in desk.knowledge.facts[fact].options[option].implies.items():
            if implied not in known:
                known[implied] = wanted
                reached.append((implied, wanted, because, node))
            elif known[implied] != wanted:
                says = f"{because} means {implied}: {wanted}, but {implied} is {known[implied]} here"
                desk.wrong(
                    node,
                    says,
                    "fact-contradiction",
                    f"{implied}: {wanted}, or another {because.split(':')[0]}",
                )
    for fact, (_, node) in given.items():
        gate = desk.knowledge.facts[fact].applies
        if gate_state(gate, known) is False:
            wanted = ", ".join(f"{key} {' or '.join(sorted(options))}" for key, options in gate.items())
            here = ", ".join(f"{key} is {known[key]}" for key in gate if key in known)
            says = f"{fact} belongs to bikes with {wanted}; here {here}"
            desk.wrong(node, says, "fact-not-applicable", f"nothing for {fact}, or correct the other fact", key=True)


def _shop(node: Node | None, desk: Desk) -> dict[str, Any]:
    """Return what is written of the shop: elevation_m (metres), labour (money per hour), currency, service (money).

    And the tools that it has not, and gauge_ml, what its compression gauge and hose hold.
    """
    keys = desk.mapping(node)
    desk.known_keys(keys, ("elevation", "gauge_volume", "labour", "currency", "service", "without"), "shop")
    shop: dict[str, Any] = {}
    if elevation := keys.get("elevation"):
        quantity = desk.quantity(elevation, "length", ("m", "ft"))
        metres = convert(quantity, "m").value if quantity else 0.0
        if not LOWEST_M <= metres <= HIGHEST_M:
            says = f"no workshop stands at {metres:.0f} m"
            desk.wrong(elevation, says, "elevation-range", f"a height from {LOWEST_M:.0f} m to {HIGHEST_M:.0f} m")
        shop["elevation_m"] = metres
    if gauge := keys.get("gauge_volume"):
        try:
            shop["gauge_ml"] = gauge_ml(desk.needed(gauge) or "0")
        except QuantityError as error:
            desk.wrong(gauge, f"{desk.needed(gauge)}: {error.says}", "bad-gauge-volume", error.write)
    if labour := keys.get("labour"):
        bare = re.sub(r"\s*(per|an|a|/)\s*h(our)?$", "", desk.needed(labour))
        before = len(desk.problems)
        shop["labour"] = desk.amount(labour, bare, "45 per hour, and the currency apart")
        if not shop["labour"] and len(desk.problems) == before:
            desk.wrong(labour, "an hour of work costs more than nothing", "labour-range", "45 per hour")
    if without := keys.get("without"):
        known = known_tools(desk.knowledge)
        shop["without"] = [tool for item in desk.items(without) if (tool := desk.id(item, "tool", known))]
    if currency := keys.get("currency"):
        shop["currency"] = desk.needed(currency)
    if service := keys.get("service"):
        shop["service"] = desk.amount(service, desk.needed(service), "what handing on costs, such as 150")
    return shop


def _confirmed(node: Node | None, desk: Desk) -> Iterator[str]:
    """Yield the causes that it turned out to be."""
    for item in desk.items(node):
        if item.content == SOMETHING_ELSE:
            yield SOMETHING_ELSE
        elif cause := desk.id(item, "cause", desk.knowledge.causes):
            yield cause
