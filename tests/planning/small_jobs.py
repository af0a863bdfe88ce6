"""Small jobs in which everything can be tried: drawn at random, solved exactly, and walked by any policy.

Independent faults, the bike runs if none is left, repairs are sure, tests are noisy and can be done once each, a
try-out needs everything shut. The draw is that of the measured comparison in the literature file, 1.3.

Notation: sets of faults, of repairs and of access are bit masks. A state is what has been seen and done. Weights
are P(set of faults at the start, what was seen), one number for each of the 2^n sets; they are not normalised, so
that money times their sum is money times the chance of getting there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from operator import or_
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from diagnose.model import Access
from diagnose.planning.access import AccessTree
from diagnose.planning.options import Beliefs, Bench, Outlook, RepairOption, TestOption
from diagnose.problems import Place

Floats = NDArray[np.float64]
Weights = Floats
NOT_DONE, NORMAL, ODD = -1, 0, 1
TRY_OUT, RUNS, FAILS = "try_out", "works", "fails"
HARDLY = 1e-15
"""A way taken less often than this costs nothing worth counting."""


class State(NamedTuple):
    """seen: per test NOT_DONE, or its outcome + 2 x the mask of what was repaired by then of what it sees.

    tried: repairs done when the bike last failed. since: those done after that. opened: access.
    """

    seen: tuple[int, ...]
    tried: int
    since: int
    opened: int


class Move(NamedTuple):
    """A step: its id, its money, and per outcome its name, the state after it (None: it runs) and the weights there."""

    id: str
    money: float
    ways: tuple[tuple[str, State | None, Weights], ...]


Policy = Callable[["Job", State], str]
"""What to do next: the id of a step."""


@dataclass(frozen=True, eq=False)
class Job:
    """A job to be done: what could be tried, and how things really are.

    chance: [n] of each fault. odd: [m, n] P(fault alone makes a test odd). leak: [m] P(odd without a fault).
    sharp: [m, 2] P(said to be odd | odd) and P(said to be odd | not). Repair i cures fault i.
    """

    bench: Bench
    repairs: tuple[RepairOption, ...]
    tests: tuple[TestOption, ...]
    chance: Floats
    odd: Floats
    leak: Floats
    sharp: Floats

    @cached_property
    def start(self) -> State:
        """It does not run, nothing was done."""
        return State((NOT_DONE,) * len(self.tests), 0, 0, 0)

    @cached_property
    def faults(self) -> NDArray[np.bool_]:
        """[2^n, n]: which faults are in each set."""
        sets = np.arange(2 ** len(self.chance))
        return (sets[:, None] >> np.arange(len(self.chance)) & 1).astype(bool)

    @cached_property
    def prior(self) -> Weights:
        """P(set of faults)."""
        weights: Weights = np.where(self.faults, self.chance, 1.0 - self.chance).prod(axis=1)
        return weights

    @cached_property
    def fails(self) -> Weights:
        """[done, set]: 1 where the bike fails with these faults at the start and these repairs done."""
        sets = np.arange(len(self.faults))
        return (sets[None, :] & ~sets[:, None] != 0).astype(float)

    @cached_property
    def said(self) -> Floats:
        """[test, outcome, done, set]: P(outcome | faults at the start, repairs done)."""
        sets = np.arange(len(self.faults))
        left = self.faults[sets[None, :] & ~sets[:, None]]
        fine = (1.0 - self.leak)[:, None, None] * np.where(left, 1.0 - self.odd[:, None, None, :], 1.0).prod(axis=-1)
        odd = (1.0 - fine) * self.sharp[:, 0, None, None] + fine * self.sharp[:, 1, None, None]
        return np.stack([1.0 - odd, odd], axis=1)

    @cached_property
    def sees(self) -> tuple[int, ...]:
        """Per test the mask of the faults that it sees."""
        return tuple(sum(1 << i for i in np.flatnonzero(row).tolist()) for row in self.odd)

    @cached_property
    def reach(self) -> dict[str, int]:
        """Per test and repair the mask of the access that it needs."""
        return {work.id: self._mask(work.access) for work in (*self.tests, *self.repairs)}

    @cached_property
    def opening(self) -> tuple[float, ...]:
        """Per mask of access the money to open it."""
        tree, ids = self.bench.tree, self.bench.tree.ids
        each = [self.bench.money(tree.states[state].open) for state in ids]
        return tuple(sum(m for k, m in enumerate(each) if mask >> k & 1) for mask in range(2 ** len(ids)))

    @cached_property
    def closing(self) -> tuple[float, ...]:
        """Per mask of access the money to close it and to attempt a start."""
        tree, ids = self.bench.tree, self.bench.tree.ids
        each, attempt = [self.bench.money(tree.states[state].close) for state in ids], self.bench.try_minutes
        return tuple(
            self.bench.money(attempt) + sum(m for k, m in enumerate(each) if mask >> k & 1)
            for mask in range(2 ** len(ids))
        )

    @cached_property
    def own(self) -> dict[str, float]:
        """Per test and repair its money without access."""
        return {work.id: self.bench.money(work.minutes) for work in (*self.tests, *self.repairs)}

    @cached_property
    def least(self) -> Floats:
        """[opened, left]: the money to put right the faults left, if they were known; it ends with a try-out."""
        rows = np.empty((len(self.opening), len(self.faults)))
        for opened in range(len(self.opening)):
            for left, bits in enumerate(self.faults):
                mine = [repair.id for repair, bit in zip(self.repairs, bits, strict=True) if bit]
                need = reduce(or_, (self.reach[name] for name in mine), 0)
                money = sum(self.own[name] for name in mine) + self.opening[need & ~opened]
                rows[opened, left] = money + self.closing[need | opened]
        return rows

    def _mask(self, access: tuple[str, ...]) -> int:
        closure = self.bench.tree.closure(access)
        return sum(1 << k for k, state in enumerate(self.bench.tree.ids) if state in closure)

    def weights(self, state: State) -> Weights:
        """Return the weights of a state."""
        weights = self.prior * self.fails[state.tried]
        for test, seen in enumerate(state.seen):
            if seen != NOT_DONE:
                weights = weights * self.said[test, seen & 1, seen >> 1]
        return weights

    def moves(self, state: State, weights: Weights) -> Iterator[Move]:
        """Yield every step that could be done; a test of which all that it sees is repaired tells nothing more."""
        done = state.tried | state.since
        for number, test in enumerate(self.tests):
            if state.seen[number] == NOT_DONE and self.sees[number] & ~done:
                yield self._test(state, weights, number, test)
        for number, repair in enumerate(self.repairs):
            if not done >> number & 1:
                need = self.reach[repair.id]
                after = State(state.seen, state.tried, state.since | 1 << number, state.opened | need)
                money = self.own[repair.id] + self.opening[need & ~state.opened]
                yield Move(repair.id, money, (("", after, weights),))
        if state.since:
            failed = weights * self.fails[done]
            after = State(state.seen, done, 0, 0)
            runs = weights - failed
            yield Move(TRY_OUT, self.closing[state.opened], ((RUNS, None, runs), (FAILS, after, failed)))

    def _test(self, state: State, weights: Weights, number: int, test: TestOption) -> Move:
        done, need, ways = state.tried | state.since, self.reach[test.id], []
        for outcome, name in enumerate(test.outcomes):
            seen = outcome + 2 * (done & self.sees[number])
            after = State(
                (*state.seen[:number], seen, *state.seen[number + 1 :]), state.tried, state.since, state.opened | need
            )
            ways.append((name, after, weights * self.said[number, outcome, done]))
        return Move(test.id, self.own[test.id] + self.opening[need & ~state.opened], tuple(ways))

    def believed(self, state: State, weights: Weights) -> tuple[Floats, float]:
        """Return [n] P(fault there and stopping the bike) and P(it fails)."""
        done, total = state.tried | state.since, float(weights.sum())
        left = np.array([not done >> i & 1 for i in range(len(self.chance))])
        marginals: Floats = weights @ (self.faults & left) / total
        return marginals, float(weights @ self.fails[done]) / total

    def bench_at(self, state: State) -> Bench:
        """Return the bench as it is in a state."""
        ids, bench = self.bench.tree.ids, self.bench
        opened = frozenset(name for k, name in enumerate(ids) if state.opened >> k & 1)
        return Bench(
            tree=bench.tree,
            opened=opened,
            rate=bench.rate,
            try_minutes=bench.try_minutes,
            service_cost=bench.service_cost,
            bit_cost=bench.bit_cost,
        )

    def options_at(self, state: State) -> tuple[list[TestOption], list[RepairOption]]:
        """Return the tests and repairs that could still be done."""
        done = state.tried | state.since
        tests = [t for k, t in enumerate(self.tests) if state.seen[k] == NOT_DONE and self.sees[k] & ~done]
        return tests, [repair for k, repair in enumerate(self.repairs) if not done >> k & 1]

    def beliefs(self, state: State) -> Beliefs:
        """Return what the planner is told in a state, worked out over all sets of faults."""
        weights = self.weights(state)
        after, total, tests = {}, weights.sum(), {test.id for test in self.tests}
        for move in self.moves(state, weights):
            if move.id in tests:
                rows = [self.believed(way, there) for _, way, there in move.ways if way is not None]
                after[move.id] = Outlook(
                    chances=np.array([there.sum() / total for _, _, there in move.ways]),
                    marginals=np.array([row for row, _ in rows]),
                    failing=np.array([failing for _, failing in rows]),
                )
        marginals, failing = self.believed(state, weights)
        return Beliefs(marginals=marginals, failing=failing, after=after)

    def follow(self, state: State, happened: tuple[tuple[str, str], ...]) -> State:
        """Return the state after steps with these outcomes."""
        for step, outcome in happened:
            move = next(move for move in self.moves(state, self.weights(state)) if move.id == step)
            ways = {name: way for name, way, _ in move.ways}
            found = ways[outcome]
            if found is None:
                raise ValueError(f"it runs after {step}")
            state = found
        return state


def optimum(job: Job, start: State | None = None) -> float:
    """Return the least expected money: everything is tried, but what cannot be the best by perfect knowledge."""
    start = start or job.start
    known: dict[State, float] = {}
    sets = np.arange(len(job.faults))
    least = {done: job.least[:, sets & ~done] for done in range(len(sets))}

    def value(state: State, weights: Weights) -> float:
        if state in known:
            return known[state]
        ways, total = [], float(weights.sum())
        if total <= 0.0:
            return 0.0
        for move in job.moves(state, weights):
            own = move.money * total
            bound = own
            for _, after, there in move.ways:
                if after is not None:
                    bound += float(least[after.tried | after.since][after.opened] @ there)
            ways.append((bound, own, move))
        best = np.inf
        for bound, own, move in sorted(ways, key=lambda way: way[0]):
            if bound >= best:
                break
            best = min(best, own + sum(value(way, there) for _, way, there in move.ways if way is not None))
        known[state] = best
        return best

    weights = job.weights(start)
    return value(start, weights) / float(weights.sum())


def followed(job: Job, policy: Policy) -> float:
    """Return the expected money of following a policy to the end."""
    known: dict[State, float] = {}

    def value(state: State, weights: Weights) -> float:
        if state not in known:
            chosen = policy(job, state)
            move = next(move for move in job.moves(state, weights) if move.id == chosen)
            known[state] = move.money * float(weights.sum()) + sum(
                value(way, there) for _, way, there in move.ways if way is not None and there.sum() > HARDLY
            )
        return known[state]

    weights = job.weights(job.start)
    return value(job.start, weights) / float(weights.sum())


def walked(job: Job, state: State, groups: Sequence[Sequence[str]]) -> float:
    """Return the expected money of repairing in these groups, a try-out after each, whatever is there."""
    weights = job.weights(state)
    total, spent = float(weights.sum()), 0.0
    for step in [step for group in groups for step in (*group, TRY_OUT)]:
        move = next(move for move in job.moves(state, weights) if move.id == step)
        spent += move.money * float(weights.sum()) / total
        _, after, weights = move.ways[-1]
        if after is None:
            raise ValueError(f"nothing is left after {step}")
        state = after
    return spent


@dataclass(frozen=True)
class Kind:
    """What jobs are drawn: chance of each fault between low and high, so many faults and tests."""

    low: float
    high: float
    faults: int
    tests: int


KINDS = {
    "likely, 4 faults 4 tests": Kind(0.15, 0.60, 4, 4),
    "likely, 5 faults 4 tests": Kind(0.15, 0.60, 5, 4),
    "almost one fault, 4 and 4": Kind(0.01, 0.08, 4, 4),
    "parked for years, 4 and 5": Kind(0.40, 0.80, 4, 5),
}
"""The sets of the literature file, 1.3."""


def random_job(kind: Kind, seed: int) -> Job:
    """Return a job drawn as in the measured comparison of the literature file."""
    draw, n = np.random.default_rng(seed), kind.faults

    def state(name: str, needs: tuple[str, ...], opening: tuple[float, float], closing: tuple[float, float]) -> Access:
        minutes = draw.uniform(*opening), draw.uniform(*closing)
        return Access(
            id=name, name="", basis=(), place=Place("t"), applies={}, needs=needs, open=minutes[0], close=minutes[1]
        )

    inner = ("a",) if draw.random() < 0.4 else ()
    tree = AccessTree({"a": state("a", (), (8, 20), (5, 15)), "b": state("b", inner, (5, 20), (5, 12))})
    ways = [((), ("a",), ("b",))[k] for k in draw.choice(3, p=(0.25, 0.5, 0.25), size=n)]
    odd, reach = np.zeros((kind.tests, n)), []
    for test in range(kind.tests):
        seen = draw.choice(n, size=draw.integers(1, max(n - 1, 2)), replace=False)
        odd[test, seen] = draw.uniform(0.85, 1.0, size=len(seen))
        reach.append(ways[seen[0]] if len(seen) == 1 or draw.random() < 0.3 else ())
    return Job(
        Bench(tree=tree, rate=1.0, try_minutes=float(draw.uniform(1, 4)), service_cost=1e5),
        tuple(
            RepairOption(id=f"r{i}", minutes=float(draw.uniform(5, 40)), access=ways[i], cures={i: 1.0})
            for i in range(n)
        ),
        tuple(
            TestOption(id=f"t{t}", minutes=float(draw.uniform(1, 10)), access=reach[t], outcomes=("normal", "odd"))
            for t in range(kind.tests)
        ),
        draw.uniform(kind.low, kind.high, size=n),
        odd,
        np.full(kind.tests, 0.01),
        np.column_stack([draw.uniform(0.85, 0.98, kind.tests), 1.0 - draw.uniform(0.90, 0.99, kind.tests)]),
    )
