"""Networks of a real bike's shape against a reference library, built there without any product form.

In the library every link is a node of its own that says what the parent contributes, and a condition is a chain of
explicit two-way maxima over them; a rung is one table over its drivers. Where a bike is looked at before and after a
repair, each link's one draw is a node that both times share. Both sides compute in double precision.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np
import pytest

from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import Question, posterior
from diagnose.model import ABSENT, BEHAVIOUR, PRESENT, AllOf, Link
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone, Situation
from tests.oracle.built import built, condition
from tests.oracle.random_knowledge import chances
from tests.oracle.worlds import _does, _intervals, _pieces

gum = pytest.importorskip("pyagrum")

PER_SYSTEM = 13
LIBRARY_CELLS = 2**19
"""The library's own triangulation of the explicit network may be far wider than ours; such draws are passed over."""

GRADED = ("good", "weak", "none")


def real_shape(rng: np.random.Generator, systems: int = 5) -> BikeGraph:
    """13 causes a system, some grown from mechanisms; conditions of two or three levels with leaks, one AND, behaviours.

    With five systems 65 causes, four mechanisms, 17 conditions.
    """
    levels = {f"c{n}": GRADED if rng.random() < 0.5 else (ABSENT, PRESENT) for n in range(2 * systems + 2)}
    system = {c: n % systems for n, c in enumerate(levels)}
    into: dict[str, dict[str, dict[str, dict[str, float]]]] = {c: {} for c in levels}
    causes = {f"x{n}": float(rng.uniform(0.01, 0.12)) for n in range(systems * PER_SYSTEM)}
    for n, x in enumerate(causes):
        mine = [c for c in levels if system[c] == n % systems]
        into[str(rng.choice(mine))][x] = {}
        if rng.random() < 0.25:
            into[str(rng.choice(mine if rng.random() < 0.9 else list(levels)))][x] = {}
    for n, c in enumerate(levels):
        if n >= systems:
            into[c][f"c{n - systems}"] = {}
    behaviours = {f"b{n}": rng.choice(list(levels), int(rng.integers(1, 4)), replace=False) for n in range(systems)}
    levels |= dict.fromkeys(behaviours, (ABSENT, PRESENT))
    into |= {b: {str(c): {} for c in above} for b, above in behaviours.items()}
    last = f"c{2 * systems + 1}"
    both = AllOf(
        parents={"c0": frozenset(levels["c0"][1:]), "c1": frozenset(levels["c1"][-1:])},
        chances=chances(rng, levels[last]),
    )
    made = []
    for c, parents in into.items():
        for p in parents:
            from_levels = levels.get(p, (ABSENT, PRESENT))
            parents[p] = {level: chances(rng, levels[c], 0.4) for level in from_levels[1:]}
        made.append(
            condition(
                c,
                parents,
                chances(rng, levels[c], 0.002, 0.03),
                levels[c],
                (both,) if c == last else (),
                BEHAVIOUR if c in behaviours else "s",
            )
        )
    mechanisms = {f"m{n}": (float(rng.uniform(0.1, 0.5)), float(rng.uniform(2, 6))) for n in range(4)}
    grows = {x: f"m{n // 17}" for n, x in enumerate(causes) if rng.random() < 0.6}
    return built(causes, *made, mechanisms=mechanisms, grows_from=grows)


def names_of(bike: BikeGraph, node: str) -> tuple[str, ...]:
    return bike.conditions[node].levels if node in bike.conditions else (ABSENT, PRESENT)


def a_ladder(rng: np.random.Generator, bike: BikeGraph) -> tuple[Rung, ...]:
    """Two to four rungs of one to four drivers, most of them conditions, out of six conditions and all causes."""
    causes = [r for r in bike.roots if r[0] == "x"]
    some = rng.choice(list(bike.conditions), 6, replace=False)
    rungs = []
    for _ in range(int(rng.integers(2, 5))):
        nodes = {str(rng.choice(some if rng.random() < 0.5 else causes)) for _ in range(rng.integers(1, 5))}
        rungs.append(
            Rung(
                float(rng.uniform(0.01, 0.1)),
                {n: {level: float(rng.uniform(0.4, 0.99)) for level in names_of(bike, n)[1:]} for n in sorted(nodes)},
            )
        )
    return tuple(rungs)


@dataclass
class Library:
    """The same bike in the reference library: nodes for every situation, explicit tables only."""

    bike: BikeGraph
    repairs: tuple[RepairDone, ...]
    situations: Sequence[Situation]
    net: object = field(default_factory=lambda: gum.BayesNet())
    found: dict[str, int] = field(default_factory=dict)

    def node(self, name: str, states: int, parents: Sequence[str], table: np.ndarray) -> str:
        """Add a node; table: one axis for each parent, then its own states."""
        self.net.add(gum.LabelizedVariable(name, name, states))
        for p in parents:
            self.net.addArc(p, name)
        axes = [*reversed(range(len(parents))), len(parents)]
        self.net.cpt(name).fillWith(np.broadcast_to(table, table.shape).transpose(axes).ravel().tolist())
        return name

    def build(self) -> None:
        for m, p in self.bike.mechanisms.items():
            self.node(m, 2, [], np.array([1 - p, p]))
        for root in self.bike.roots.values():
            self.cause(root.id)
        for c in self.bike.order:
            self.condition(c)

    def cause(self, name: str) -> None:
        root = self.bike.roots[name]
        if root.mechanism:
            self.node(f"{name}@0", 2, [root.mechanism], np.array([[1 - root.off, root.off], [1 - root.on, root.on]]))
        else:
            self.node(f"{name}@0", 2, [], np.array([1 - root.marginal, root.marginal]))
        for n, repair in enumerate(self.repairs, start=1):
            gone, bad = repair.cures.get(name, 0.0), repair.dud.get(name, 0.0)
            self.node(f"{name}@{n}", 2, [f"{name}@{n - 1}"], np.array([[1 - bad, bad], [gone, 1 - gone]]))

    def at(self, node: str, n: int) -> str | None:
        """The node that says how it stands in situation n; None where a cause is cut out."""
        if node in self.bike.conditions:
            return f"{node}@{n}"
        s = self.situations[n]
        return None if node in s.cut else f"{node}@{s.epoch}"

    def condition(self, c: str) -> None:
        names = names_of(self.bike, c)
        parts: list[list[str]] = [[] for _ in self.situations]
        for link in self.bike.links[c]:
            self.link(link, names, parts)
        for both in self.bike.conditions[c].all_of:
            self.both(c, both, names, parts)
        for n, mine in enumerate(parts):
            so_far = mine[0] if mine else self.node(f"{c}@{n}|nothing", len(names), [], np.eye(len(names))[0])
            larger = np.zeros((len(names),) * 3)
            for a, b in itertools.product(range(len(names)), repeat=2):
                larger[a, b, max(a, b)] = 1.0
            for k, part in enumerate(mine[1:]):
                so_far = self.node(f"{c}@{n}|max{k}", len(names), [so_far, part], larger)
            self.node(f"{c}@{n}", len(names), [so_far], np.eye(len(names)))

    def link(self, link: Link, names: tuple[str, ...], parts: list[list[str]]) -> None:
        drawn = list(_intervals(link))
        u = f"u:{link.parent}>{link.child}"
        self.node(u, len(drawn), [], np.array([width for _, width in drawn]))
        table = np.zeros((len(names_of(self.bike, link.parent)), len(drawn), len(names)))
        for i, level in enumerate(names_of(self.bike, link.parent)):
            for j, (point, _) in enumerate(drawn):
                table[i, j, _does(link.table.get(level, {}), names, point)] = 1.0
        for n, mine in enumerate(parts):
            parent = self.at(link.parent, n)
            if parent:
                mine.append(self.node(f"{u}@{n}", len(names), [parent, u], table))

    def both(self, c: str, both: AllOf, names: tuple[str, ...], parts: list[list[str]]) -> None:
        drawn = list(_pieces(both.chances, list(names)))
        u = self.node(f"u:and>{c}", len(drawn), [], np.array([width for _, width in drawn]))
        sizes = [len(names_of(self.bike, p)) for p in both.parents]
        table = np.zeros((*sizes, len(drawn), len(names)))
        for states in itertools.product(*map(range, sizes)):
            acts = all(
                names_of(self.bike, p)[s] in good for s, (p, good) in zip(states, both.parents.items(), strict=True)
            )
            for j, (point, _) in enumerate(drawn):
                table[(*states, j, _does(both.chances, names, point) if acts else 0)] = 1.0
        for n, mine in enumerate(parts):
            mine.append(self.node(f"{u}@{n}", len(names), [*(self.at(p, n) or "" for p in both.parents), u], table))

    def observe(self, seen: Observation) -> None:
        """One explicit table for each rung: 1 - (1 - base) prod (1 - p), over what each parent does to a behaviour."""
        n = self.situations.index(seen.situation)
        for k, rung in enumerate([*seen.passed, *([seen.fired] if seen.fired else [])]):
            drivers = {
                node: (d, by_level) for d, by_level in rung.drivers.items() for node in self.looked_at(d, n) if node
            }
            quiet = np.array(1 - rung.base)
            for d, by_level in drivers.values():
                quiet = quiet[..., None] * np.array([1 - by_level.get(level, 0.0) for level in names_of(self.bike, d)])
            name = self.node(f"{seen.label}/{k}", 2, list(drivers), np.stack([quiet, 1 - quiet], axis=-1))
            self.found[name] = int(rung is seen.fired)

    def looked_at(self, driver: str, n: int) -> list[str | None]:
        """The nodes by which a rung sees a driver: of a behaviour, what each parent does to it."""
        if driver not in self.bike.behaviours:
            return [self.at(driver, n)]
        return [f"u:{link.parent}>{driver}@{n}" for link in self.bike.links[driver] if self.at(link.parent, n)]

    def engine(self) -> object:
        """Its junction tree with what was seen."""
        engine = gum.LazyPropagation(self.net)
        engine.setEvidence(self.found)
        return engine

    def widest(self) -> int:
        """Cells of the largest clique of its own triangulation."""
        tree = self.engine().junctionTree()
        return max(prod(self.net.variable(v).domainSize() for v in tree.clique(k)) for k in tree.nodes())

    def answers(self) -> tuple[dict[str, float], float]:
        """P(cause present at the end) and log P(all that was seen)."""
        engine = self.engine()
        engine.makeInference()
        last = len(self.repairs)
        return {r: float(engine.posterior(f"{r}@{last}")[1]) for r in self.bike.roots}, float(
            np.log(engine.evidenceProbability())
        )


def sampled(
    rng: np.random.Generator,
    bike: BikeGraph,
    repairs: tuple[RepairDone, ...],
    asked: Sequence[tuple[str, tuple[Rung, ...], Situation]],
) -> list[Observation]:
    """What one bike drawn at random would answer, its AND left aside."""
    on = {m: rng.random() < p for m, p in bike.mechanisms.items()}
    course = {}
    for r, root in bike.roots.items():
        p = root.marginal if root.mechanism is None else (root.on if on[root.mechanism] else root.off)
        course[r] = [bool(rng.random() < p)]
        for repair in repairs:
            there = course[r][-1]
            course[r].append(bool(rng.random() < (1 - repair.cures.get(r, 0.0) if there else repair.dud.get(r, 0.0))))
    u = {(link.parent, c): rng.random() for c, into in bike.links.items() for link in into}
    answers = []
    for label, ladder, s in asked:
        level = {r: PRESENT if steps[s.epoch] and r not in s.cut else ABSENT for r, steps in course.items()}
        ways = {}
        for c in bike.order:
            worst = [
                _does(link.table.get(level[link.parent], {}), names_of(bike, c), u[link.parent, c])
                for link in bike.links[c]
            ]
            level[c] = names_of(bike, c)[max(worst)]
            ways[c] = sum(n > 0 for n in worst)
        answers.append(_answer(rng, label, ladder, s, level, {c: ways[c] for c in bike.behaviours}))
    return answers


def _answer(
    rng: np.random.Generator,
    label: str,
    ladder: tuple[Rung, ...],
    s: Situation,
    level: Mapping[str, str],
    ways: Mapping[str, int],
) -> Observation:
    for k, rung in enumerate(ladder):
        quiet = 1 - rung.base
        for d, by_level in rung.drivers.items():
            quiet *= (1 - by_level.get(level[d], 0.0)) ** ways.get(d, 1)
        if rng.random() >= quiet:
            return Observation(label, ladder[:k], rung, s)
    return Observation(label, ladder, None, s)


def asked_of(
    rng: np.random.Generator,
    bike: BikeGraph,
    repairs: tuple[RepairDone, ...],
    situations: Sequence[Situation],
    answers: int,
) -> tuple[Library, list[Observation]] | None:
    """So many answers and the library's network of them; None where the library would take long."""
    places = [situations[k % len(situations)] for k in range(answers)]
    seen = sampled(rng, bike, repairs, [(f"t{k}", a_ladder(rng, bike), s) for k, s in enumerate(places)])
    library = Library(bike, repairs, situations)
    library.build()
    for o in seen:
        library.observe(o)
    return (library, seen) if library.widest() <= LIBRARY_CELLS else None


def compare(library: Library, seen: Sequence[Observation]) -> None:
    causes, log = library.answers()
    belief = posterior(library.bike, Question(tuple(seen), library.repairs, Situation(len(library.repairs))))
    assert list(belief.causes) == list(causes)
    np.testing.assert_allclose(list(belief.causes.values()), list(causes.values()), rtol=0, atol=1e-9)
    assert belief.log_evidence == pytest.approx(log, abs=1e-9)


@pytest.mark.source("pyAgrum 3.3.1, LazyPropagation")
@pytest.mark.parametrize("seed", range(20))
def test_a_bike_as_it_came(seed: int) -> None:
    rng = np.random.default_rng(seed)
    while True:
        bike = real_shape(rng)
        assert len([r for r in bike.roots if r[0] == "x"]) == 65
        assert len(bike.conditions) == 17
        asked = asked_of(rng, bike, (), (Situation(),), int(rng.integers(10, 16)))
        if asked:
            return compare(*asked)


@pytest.mark.source("pyAgrum 3.3.1, LazyPropagation on two time slices that share the draws of all links")
@pytest.mark.parametrize("seed", range(5))
def test_a_bike_before_and_after_a_repair_and_with_something_cut_out(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    while True:
        bike = real_shape(rng, 2)
        worst = sorted((x for x in bike.roots if x[0] == "x"), key=lambda x: -bike.roots[x].marginal)[:6]
        repair = RepairDone("r", {x: float(rng.uniform(0.7, 1.0)) for x in worst[:3]}, {worst[0]: 0.05})
        asked = asked_of(rng, bike, (repair,), (Situation(), Situation(1, frozenset(worst[3:4]))), 6)
        if asked:
            return compare(*asked)
