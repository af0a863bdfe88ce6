"""What the policies that believe share: chances that add up to one fault, and the repairs with their prices.

The exact posterior of all causes is turned into P(the cause stops the bike) (outlook.stopping) and then divided by its
sum: exactly one fault. What a test would then say is the network's own table of single causes (screen.response), which
under that assumption is exact; nothing is looked ahead to exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.consultation import Consultation
from diagnose.consultation.choices import (
    bench_of,
    open_repairs,
    open_tests,
    quickest_looks,
    repair_option,
    test_option,
    worth_asking,
    would_show_the_same,
)
from diagnose.consultation.outlook import stopping, stopping_alone
from diagnose.consultation.state import situation_for
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate
from diagnose.inference.screen import response
from diagnose.model import Test
from diagnose.planning.options import Bench, Floats, RepairOption
from diagnose.planning.worth import price_of
from diagnose.simulation.moves import TRY, Move, to_be_tried, unlocked

TINY = 1e-12
"""Keeps quotients finite."""


MOST_TIMES = 2
"""The same repair is done so often at most: in the textbook a repair is done once and is done with."""


@dataclass(frozen=True, eq=False)
class Suspects:
    """What is believed, as if there were one fault, and what could be done about it.

    names: the causes. chances: [n], P(this is the fault). repairs: for each cause the cheapest repair that cures it,
    index into options, -1 where there is none. prices: [R] expected money of each, access opened and closed.
    """

    bench: Bench
    names: tuple[str, ...]
    chances: Floats
    options: tuple[RepairOption, ...]
    repairs: Floats
    prices: Floats


def suspects(job: Consultation) -> Suspects:
    """Return what is believed of a job and the repairs that are open, each cause with its cheapest."""
    bike, belief = job.bike, job.belief
    stop = stopping(np.array(list(belief.causes.values())), stopping_alone(job.knowledge, job.state))
    chances = stop / max(stop.sum(), TINY)
    names = tuple(bike.roots)
    bench, quick = bench_of(job.knowledge, job.state), quickest_looks(job.knowledge, job.state)
    number = {name: n for n, name in enumerate(names)}
    options = tuple(
        repair_option(job.knowledge, job.state, repair, number, quick)
        for repair in open_repairs(job.knowledge, job.state, bike, belief)
        if sum(done.id == repair.id for done in job.state.repairs) < MOST_TIMES
    )
    prices = np.array([_price(bench, option, chances) for option in options])
    return Suspects(bench, names, chances, options, _cheapest(options, prices, len(names)), prices)


def _price(bench: Bench, option: RepairOption, chances: Floats) -> float:
    """Return the expected money of a repair; where a look shows whether it is needed, the rest is paid only if so."""
    opened = bench.opened | bench.tree.closure(option.access)
    doors = bench.tree.minutes_to_open(option.access, bench.opened) + bench.tree.minutes_to_close(opened - bench.opened)
    whole = bench.money(doors + option.minutes, option.wait, option.parts)
    if option.look is None:
        return whole
    needed = min(1.0, float(sum(chances[cause] for cause in option.cures)))
    return needed * whole + (1 - needed) * bench.money(doors + option.look)


def _cheapest(options: Sequence[RepairOption], prices: Floats, count: int) -> Floats:
    """Return for each cause the repair that cures it for the least money for its chance to."""
    found, best = np.full(count, -1), np.full(count, np.inf)
    for number, option in enumerate(options):
        for cause, chance in option.cures.items():
            if chance > 0 and prices[number] / chance < best[cause]:
                found[cause], best[cause] = number, prices[number] / chance
    return found


def answers(job: Consultation, test: Test) -> Floats:
    """Return P(outcome | this cause alone is the fault), shape (outcomes, causes)."""
    candidate = Candidate(test.id, rungs(test.outcomes), situation_for(job.knowledge, job.state, test))
    told = response(job.bike, candidate)
    passed = told.base[:, None] * (1 - told.fires)
    every: Floats = np.concatenate([np.ones((1, passed.shape[1])), passed, np.zeros((1, passed.shape[1]))])
    return np.maximum(every[:-1] - every[1:], TINY)


def askable(job: Consultation) -> list[tuple[Test, Move]]:
    """Return the tests that could tell something, each with the move that it takes: itself, or what unlocks it."""
    tests = worth_asking(open_tests(job.knowledge, job.state, job.bike, job.belief), job.belief)
    moves = [(test, unlocked(job, Move("test", test.id))) for test in tests]
    return [(test, move) for test, move in moves if move is not None]


def test_money(job: Consultation, bench: Bench, test: Test) -> float:
    """Return what a test costs, the access that it opens closed again."""
    return price_of(bench, test_option(job.knowledge, job.state, test))


def trying(job: Consultation) -> Move | None:
    """Return the try-out, or what unlocks it, where it is due; None where it is not.

    It is due where something was repaired since the last, or where all that was seen says that it should run by now.
    None too where only a repair unlocks it: then the policy goes on as if it had not helped.
    """
    due = to_be_tried(job) or (job.tried and not would_show_the_same(job.knowledge, job.state, job.belief))
    return unlocked(job, TRY) if due else None


def repairing(job: Consultation, known: Suspects, number: int) -> Move | None:
    """Return a repair, or what unlocks it; None where nothing does."""
    return unlocked(job, Move("repair", known.options[number].id))
