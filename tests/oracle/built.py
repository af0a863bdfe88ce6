"""Small bikes written out by hand, for worked examples and properties."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.inference.ladder import Observation, Rung
from diagnose.model import ABSENT, PRESENT, AllOf, Cause, Condition, Knowledge, Link, Mechanism
from diagnose.network.graph import BikeGraph, decision_graph
from diagnose.network.situations import ARRIVAL, Situation
from diagnose.problems import Place

HERE = Place("built by hand")

Does = float | Mapping[str, Mapping[str, float]]
"""P(present | parent present), or parent level -> level -> probability."""


def condition(
    name: str,
    links: Mapping[str, Does] | None = None,
    leak: float | Mapping[str, float] = 0.0,
    levels: tuple[str, ...] = (ABSENT, PRESENT),
    all_of: tuple[AllOf, ...] = (),
    system: str = "s",
) -> tuple[Condition, list[Link]]:
    """A condition, and the links into it."""
    into = [
        Link(parent=p, child=name, table={PRESENT: {PRESENT: does}} if isinstance(does, float) else does)
        for p, does in (links or {}).items()
    ]
    leaks = {PRESENT: leak} if isinstance(leak, float) else dict(leak)
    made = Condition(
        id=name, name=name, basis=(), place=HERE, system=system, levels=levels, level_names={}, applies={},
        leak={level: p for level, p in leaks.items() if p}, leak_name=f"something else: {name}", links=(), all_of=all_of,
    )  # fmt: skip
    return made, into


def built(
    causes: Mapping[str, float],
    *conditions: tuple[Condition, list[Link]],
    mechanisms: Mapping[str, tuple[float, float]] | None = None,
    grows_from: Mapping[str, str] | None = None,
) -> BikeGraph:
    """A bike. causes: prior; mechanisms: prior and odds ratio; grows_from: cause -> mechanism."""
    links: dict[str, list[Link]] = {}
    for _, into in conditions:
        for link in into:
            links.setdefault(link.parent, []).append(link)
    roots = {
        m: Mechanism(id=m, name=m, basis=(), place=HERE, prior=(p, p, p), odds_ratio=ratio)
        for m, (p, ratio) in (mechanisms or {}).items()
    }
    found = {
        x: Cause(
            id=x, name=x, basis=(), place=HERE, system="s", plain="", applies={}, prior=(p, p, p),
            mechanism=(grows_from or {}).get(x), links=tuple(links.get(x, ())),
        )
        for x, p in causes.items()
    }  # fmt: skip
    made = {}
    for c, _ in conditions:
        made[c.id] = Condition(
            id=c.id, name=c.name, basis=(), place=HERE, system=c.system, levels=c.levels, level_names={}, applies={},
            leak=c.leak, leak_name=c.leak_name, links=tuple(links.get(c.id, ())), all_of=c.all_of,
        )  # fmt: skip
    knowledge = Knowledge(
        facts={}, mechanisms=roots, conditions=made, causes=found, tests={}, repairs={}, access={}, complaints={},
        cautions={}, sources={}, version="built",
    )  # fmt: skip
    return decision_graph(knowledge, {})


def sure(node: str, *levels: str) -> Rung:
    """A rung that fires exactly when the node stands at one of the levels (present, if none is named)."""
    return Rung(0.0, {node: dict.fromkeys(levels or (PRESENT,), 1.0)})


def seen(node: str, *levels: str, situation: Situation = ARRIVAL) -> Observation:
    """That the node stands at one of the levels."""
    return Observation(f"{node} is there", (), sure(node, *levels), situation)


def not_seen(node: str, *levels: str, situation: Situation = ARRIVAL) -> Observation:
    """That the node does not stand at any of the levels."""
    return Observation(f"{node} is not there", (sure(node, *levels),), None, situation)
