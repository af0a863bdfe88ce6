"""Many invented bikes, walked by several policies on all cores; and what it comes to in the mean and in the tail."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from math import exp, log
from random import Random
from typing import Any

from diagnose.model import Cause, Knowledge
from diagnose.simulation.bikes import invented
from diagnose.simulation.walk import MOST_STEPS, PERFECT, Memory, Result, brought_in, walk

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""What keeps the libraries for sums in a worker from starting threads of their own; read when it begins."""

MOST_REMEMBERED = 20_000
"""Choices that a worker remembers at most; then it begins anew."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be simulated. complaints: only these, all where there are none.

    wrong_priors: standard deviation of the mistake, in natural logarithms of odds, with which the policies believe each
    cause's prior; the bikes are drawn from the right ones. most_steps: after so many a bike is handed on.
    """

    contexts: tuple[str, ...]
    policies: tuple[str, ...]
    bikes: int
    seed: int = 0
    complaints: tuple[str, ...] = ()
    wrong_priors: float = 0.0
    most_steps: int = MOST_STEPS


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean, median and nine in ten of a figure."""

    mean: float
    half: float
    nine_tenths: float


@dataclass(frozen=True, slots=True)
class Summary:
    """What one policy came to in one context.

    excess: mean money above perfect knowledge on the same bikes; error: its standard error. within: share of the bikes
    that were cured for no more than the budget, None where there is none.
    """

    context: str
    policy: str
    bikes: int
    money: Spread
    minutes: Spread
    steps: Spread
    cured: float
    handed_on: float
    within: float | None
    excess: float
    error: float

    def as_json(self) -> dict[str, Any]:
        """Return it as a value that JSON can hold."""
        return asdict(self)


def walked(
    knowledge: Knowledge, plan: Plan, workers: int, known: Collection[tuple[str, int]] = ()
) -> Iterator[tuple[Result, ...]]:
    """Give for each bike what all policies and perfect knowledge came to; whichever bike is done first comes first.

    What comes of a bike does not hang on the number of workers. known: bikes, by context and number, that are left out.
    Raises DiagnoseError where no bike fits a complaint.
    """
    every = [(context, number) for number in range(plan.bikes) for context in plan.contexts]
    bikes = [bike for bike in every if bike not in known]
    if not bikes:
        return
    if workers == 1:
        memory: Memory = {}
        yield from (one_bike(knowledge, plan, *bike, memory) for bike in bikes)
        return
    kept = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        context = multiprocessing.get_context("spawn")
        with context.Pool(min(workers, len(bikes)), initializer=_begin, initargs=(knowledge, plan)) as pool:
            yield from pool.imap_unordered(_in_worker, bikes)
    finally:
        for name, value in kept.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})


_given: dict[str, Any] = {}
"""What a worker was given when it began, and its memory; empty elsewhere."""


def _begin(knowledge: Knowledge, plan: Plan) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who began it is stopped, and stops it
    _given.update(knowledge=knowledge, plan=plan, memory={})


def _in_worker(bike: tuple[str, int]) -> tuple[Result, ...]:
    return one_bike(_given["knowledge"], _given["plan"], *bike, _given["memory"])


def one_bike(knowledge: Knowledge, plan: Plan, context: str, number: int, memory: Memory) -> tuple[Result, ...]:
    """Return what perfect knowledge and each policy come to on one bike. memory: of this knowledge; it is added to."""
    if len(memory) > MOST_REMEMBERED:
        memory.clear()
    drawn = invented(knowledge, plan.seed, number, context, plan.complaints)
    believed = mistaken(knowledge, plan.wrong_priors, f"{plan.seed} {context} {number}")
    bench = brought_in(believed, drawn)
    names = (PERFECT, *plan.policies)
    return tuple(walk(drawn, bench, name, memory=memory, most_steps=plan.most_steps) for name in names)


def mistaken(knowledge: Knowledge, deviation: float, seed: object) -> Knowledge:
    """Return the knowledge with every cause's prior mistaken: odds times exp of a normal number with this deviation.

    One number for a cause in all contexts; the same for the same seed. The knowledge itself where deviation is 0.
    """
    if not deviation:
        return knowledge
    chance = Random(f"mistaken {seed}")
    causes = {cause.id: _mistaken(cause, exp(chance.gauss(0.0, deviation))) for cause in knowledge.causes.values()}
    return replace(knowledge, causes=causes, version=f"{knowledge.version} mistaken {deviation} {seed}")


def _mistaken(cause: Cause, factor: float) -> Cause:
    lately, year, years = (1 / (1 + exp(-(log(p / (1 - p)) + log(factor)))) for p in cause.prior)
    return replace(cause, prior=(lately, year, years))


def summaries(results: Sequence[Result], budget: float | None = None) -> tuple[Summary, ...]:
    """Return one summary for each context and policy, in the order in which they are met first.

    budget: money. Raises KeyError where a bike lacks perfect knowledge to compare with.
    """
    floor = {(one.context, one.bike): one.money for one in results if one.policy == PERFECT}
    groups: dict[tuple[str, str], list[Result]] = {}
    for one in results:
        groups.setdefault((one.context, one.policy), []).append(one)
    return tuple(_summary(some, floor, budget) for some in groups.values())


def _summary(some: Sequence[Result], floor: Mapping[tuple[str, int], float], budget: float | None) -> Summary:
    above = [one.money - floor[one.context, one.bike] for one in some]
    mean = sum(above) / len(above)
    spare = sum((x - mean) ** 2 for x in above) / max(len(above) - 1, 1)
    return Summary(
        context=some[0].context,
        policy=some[0].policy,
        bikes=len(some),
        money=spread([one.money for one in some]),
        minutes=spread([one.minutes for one in some]),
        steps=spread([float(one.steps) for one in some]),
        cured=sum(one.cured for one in some) / len(some),
        handed_on=sum(one.handed_on for one in some) / len(some),
        within=None if budget is None else sum(one.cured and one.money <= budget for one in some) / len(some),
        excess=mean,
        error=(spare / len(above)) ** 0.5,
    )


def spread(figures: Sequence[float]) -> Spread:
    """Return mean, median and the ninth tenth, the smallest figure that at least so many do not exceed.

    >>> spread([1.0, 2.0, 3.0, 10.0])
    Spread(mean=4.0, half=2.0, nine_tenths=10.0)
    """
    ordered = sorted(figures)
    return Spread(sum(ordered) / len(ordered), _quantile(ordered, 1, 2), _quantile(ordered, 9, 10))


def _quantile(ordered: Sequence[float], part: int, of: int) -> float:
    """Return the smallest figure that at least part/of of them do not exceed, reckoned in whole numbers."""
    return ordered[-(-len(ordered) * part // of) - 1]
