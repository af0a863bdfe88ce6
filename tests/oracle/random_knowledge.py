"""Small random bikes for the oracles: causes, mechanisms, conditions in layers, ladders, repairs, situations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from diagnose.inference.ladder import Observation, Rung
from diagnose.model import ABSENT, PRESENT, AllOf, Cause, Condition, Knowledge, Link, Mechanism
from diagnose.network.graph import BikeGraph, decision_graph
from diagnose.network.situations import RepairDone, Situation
from diagnose.problems import Place

HERE = Place("random")


def chances(
    rng: np.random.Generator, levels: tuple[str, ...], low: float = 0.2, high: float = 0.95
) -> dict[str, float]:
    """Return a random split of a random total over the unhealthy levels."""
    parts = rng.dirichlet(np.ones(len(levels) - 1)) * rng.uniform(low, high)
    return {level: float(p) for level, p in zip(levels[1:], parts, strict=True)}


def random_bike(
    rng: np.random.Generator,
    causes: int = 4,
    conditions: int = 3,
    mechanisms: int = 1,
    parents: int = 3,
    with_and: bool = False,
    behaviours: int = 0,
) -> BikeGraph:
    """Return a bike: each condition has some of the causes and at times an earlier condition above it.

    Behaviours have two levels and lead to nothing; most have no leak. An AND needs two causes, or a cause and a condition.
    """
    roots = {
        f"m{n}": Mechanism(
            id=f"m{n}",
            name="m",
            basis=(),
            place=HERE,
            prior=(float(rng.uniform(0.1, 0.7)),) * 3,
            odds_ratio=float(rng.uniform(1.5, 6)),
        )
        for n in range(mechanisms)
    }
    levels = [((ABSENT, PRESENT), ("good", "weak", "none"))[int(rng.random() < 0.4)] for _ in range(conditions)]
    into: dict[str, list[Link]] = {f"x{n}": [] for n in range(causes)} | {f"c{n}": [] for n in range(conditions)}
    for k in range(conditions):
        for n in rng.choice(causes, min(causes, int(rng.integers(1, parents + 1))), replace=False):
            into[f"x{n}"].append(Link(parent=f"x{n}", child=f"c{k}", table={PRESENT: chances(rng, levels[k])}))
        if k and rng.random() < 0.7:
            j = int(rng.integers(k))
            table = {level: chances(rng, levels[k]) for level in levels[j][1:]}
            into[f"c{j}"].append(Link(parent=f"c{j}", child=f"c{k}", table=table))
    made = {}
    for k in range(conditions):
        both: tuple[AllOf, ...] = ()
        if with_and and k == conditions - 1 and causes >= 2:
            second = {"x1": frozenset((PRESENT if rng.random() < 0.6 else ABSENT,))}  # absent: x1 hides it
            if k and rng.random() < 0.5:
                some = (levels[0][1:], levels[0][-1:], levels[0][:1])[int(rng.integers(3))]
                second = {"c0": frozenset(some)}
            both = (AllOf(parents={"x0": frozenset((PRESENT,))} | second, chances=chances(rng, levels[k])),)
        made[f"c{k}"] = Condition(
            id=f"c{k}",
            name="c",
            basis=(),
            place=HERE,
            system="s",
            levels=levels[k],
            level_names={},
            applies={},
            leak=chances(rng, levels[k], 0.01, 0.1),
            leak_name="else",
            links=tuple(into[f"c{k}"]),
            all_of=both,
        )
    for k in range(behaviours):
        made[f"b{k}"] = _behaviour(rng, f"b{k}", into, {f"c{n}": levels[n] for n in range(conditions)})
    for c in range(conditions):
        made[f"c{c}"] = replace(made[f"c{c}"], links=tuple(into[f"c{c}"]))
    found = {
        f"x{n}": Cause(
            id=f"x{n}",
            name="x",
            basis=(),
            place=HERE,
            system="s",
            plain="",
            applies={},
            mechanism=f"m{rng.integers(mechanisms)}" if mechanisms and rng.random() < 0.7 else None,
            prior=(float(rng.uniform(0.05, 0.5)),) * 3,
            links=tuple(into[f"x{n}"]),
        )
        for n in range(causes)
    }
    knowledge = Knowledge(
        facts={},
        mechanisms=roots,
        conditions=made,
        causes=found,
        tests={},
        repairs={},
        access={},
        complaints={},
        cautions={},
        sources={},
        version="random",
    )
    return decision_graph(knowledge, {})


def _behaviour(
    rng: np.random.Generator, name: str, into: dict[str, list[Link]], levels: dict[str, tuple[str, ...]]
) -> Condition:
    """Return a condition of two levels that leads to nothing; its links are added to those of its parents."""
    names = (ABSENT, PRESENT)
    parents = [node for node in into if node[0] in "xc"]
    for parent in rng.choice(parents, min(len(parents), int(rng.integers(1, 3))), replace=False):
        table = {level: chances(rng, names) for level in levels.get(str(parent), names)[1:]}
        into[str(parent)].append(Link(parent=str(parent), child=name, table=table))
    leak = chances(rng, names, 0.01, 0.1) if rng.random() < 0.3 else {}
    return Condition(
        id=name,
        name="b",
        basis=(),
        place=HERE,
        system="behaviour",
        levels=names,
        level_names={},
        applies={},
        leak=leak,
        leak_name="else",
        links=(),
    )


def random_rung(
    rng: np.random.Generator,
    bike: BikeGraph,
    most: int = 3,
    among: Sequence[str] = (),
    certain: float = 0.0,
) -> Rung:
    """Return a rung over some causes and conditions, or over some of those among which it must choose.

    certain: share of drivers that fire the rung for sure; half that share of rungs is without false alarm. With it
    comes, now and then, a driver that this bike does not have.
    """
    nodes = list(among) or [r for r in bike.roots if not r.startswith("other:")] + list(bike.conditions)
    drivers = {}
    for node in rng.choice(nodes, min(len(nodes), int(rng.integers(1, most + 1))), replace=False):
        names = bike.conditions[node].levels if node in bike.conditions else (ABSENT, PRESENT)
        sure = certain and rng.random() < certain
        drivers[str(node)] = {level: 1.0 if sure else float(rng.uniform(0.3, 0.98)) for level in names[1:]}
    if certain and rng.random() < 0.1:
        drivers["of_another_bike"] = {PRESENT: 0.9}
    return Rung(0.0 if certain and rng.random() < certain / 2 else float(rng.uniform(0.01, 0.2)), drivers)


def random_observation(
    rng: np.random.Generator,
    bike: BikeGraph,
    situation: Situation,
    label: str,
    among: Sequence[str] = (),
    certain: float = 0.0,
) -> Observation:
    """Return an observation that passed some rungs and may have stopped at one."""
    passed = tuple(random_rung(rng, bike, 3, among, certain) for _ in range(int(rng.integers(0, 3))))
    fired = random_rung(rng, bike, 3, among, certain) if rng.random() < 0.6 or not passed else None
    return Observation(label, passed, fired, situation)


def random_repairs(rng: np.random.Generator, bike: BikeGraph, most: int = 2) -> tuple[RepairDone, ...]:
    """Return some repairs, each touching one or two causes, with duds and what was found."""
    causes = [r for r in bike.roots if not r.startswith("other:")]
    done = []
    for n in range(int(rng.integers(0, most + 1))):
        mine = [str(c) for c in rng.choice(causes, min(len(causes), int(rng.integers(1, 3))), replace=False)]
        found = {c: str(rng.choice(["broken", "sound", "not_seen"])) for c in mine if rng.random() < 0.4}
        dud = {c: float(rng.uniform(0.01, 0.2)) for c in mine if rng.random() < 0.5}
        if rng.random() < 0.2:  # no repair: work that can only do harm, such as kicking it wet
            done.append(RepairDone(f"r{n}", {}, {c: float(rng.uniform(0.05, 0.4)) for c in mine}))
            continue
        done.append(RepairDone(f"r{n}", {c: float(rng.uniform(0.6, 1.0)) for c in mine}, dud, found))
    return tuple(done)


def random_situation(rng: np.random.Generator, bike: BikeGraph, repairs: tuple[RepairDone, ...]) -> Situation:
    """Return a situation after some of the repairs, now and then with something cut out or held healthy."""
    causes = [r for r in bike.roots if not r.startswith("other:")]
    cut = frozenset(str(c) for c in causes if rng.random() < 0.2) if rng.random() < 0.5 else frozenset()
    held = frozenset(c for c in bike.conditions if rng.random() < 0.25) if rng.random() < 0.3 else frozenset()
    return Situation(int(rng.integers(0, len(repairs) + 1)), cut, held)
