"""One bike, one policy: what it costs until the bike runs, or until it is handed on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from diagnose.consultation import Consultation, begin
from diagnose.consultation.choices import SERVICE_MINUTES, WAIT_SHARE, bench_of
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.model import Knowledge
from diagnose.problems import ImpossibleEvidence
from diagnose.simulation.bikes import Invented
from diagnose.simulation.moves import Bench, Move, carried_out, does_its_job, finished, lightened
from diagnose.simulation.perfect import perfect
from diagnose.simulation.policies import POLICIES

PERFECT = "perfect"
"""The name of perfect knowledge beside those of the policies."""

OURS = "ours"
"""The name of the tool's own policy."""

MOST_STEPS = 100
"""A bike on which so many steps were done is handed on, unless the study says another number.

So is one on which as much was spent as handing it on costs, by whatever policy: nobody then pays much more than twice
that, which is the best that can be promised without knowing how it goes on (renting or buying, from memory)."""


@dataclass(frozen=True, slots=True)
class Result:
    """What one bike came to. minutes: of work; waited: beside them; money: both and the parts, in the shop's currency.

    cured: it does what was asked. handed_on: it was given to somebody else, which is in minutes and money
    (choices.SERVICE_MINUTES); so is what comes back because it was taken for cured and was not.
    """

    bike: int
    context: str
    complaint: str
    policy: str
    steps: int
    minutes: float
    waited: float
    money: float
    cured: bool
    handed_on: bool

    def as_json(self) -> dict[str, Any]:
        """Return it as a value that JSON can hold."""
        return asdict(self)


Told = Callable[[int, Move, Bench], None]
"""Told of every step: its number from 1, what was done, how it stands then."""


def brought_in(knowledge: Knowledge, bike: Invented) -> Bench:
    """Return an invented bike on the bench, its job begun. knowledge: what the policy believes in."""
    return Bench(begin(knowledge, {"bike": dict(bike.facts), "complaint": bike.complaint}), bike.world)


def walk(
    bike: Invented,
    bench: Bench,
    policy: str,
    told: Told | None = None,
    memory: Memory | None = None,
    most_steps: int = MOST_STEPS,
) -> Result:
    """Follow a policy, or perfect knowledge, until the bike runs or is handed on.

    Where answers contradict each other, or are too many to be reckoned with, it is handed on; see MOST_STEPS too.

    Args:
        bike: the invented bike.
        bench: the bike as it was brought in.
        policy: one of POLICIES, or PERFECT.
        told: is told of every step.
        memory: what policies chose before for the same events.
        most_steps: after so many the bike is handed on.
    """
    if policy == PERFECT:
        done = perfect(bench)
        given_up = result(bike, policy, bench, 0, handed_on=True)
        mended = result(bike, policy, *done, handed_on=False) if done else given_up
        return mended if mended.money <= given_up.money else given_up
    steps = 0
    try:
        while not finished(job := seen_by(policy, bench.job)):
            over = steps >= most_steps or spent(bench) >= handing_on(bench)
            move = None if over else chosen(policy, job, memory if memory is not None else {})
            if move is None:
                return result(bike, policy, bench, steps, handed_on=True)
            bench, steps = carried_out(bench, move), steps + 1
            if told:
                told(steps, move, bench)
    except (ImpossibleEvidence, NetworkTooWide):
        return result(bike, policy, bench, steps, handed_on=True)
    return result(bike, policy, bench, steps, handed_on=False)


def spent(bench: Bench) -> float:
    """Return the money that a bike has cost so far."""
    state = bench.job.state
    return state.shop.labour / 60 * (state.minutes + WAIT_SHARE * bench.waited) + state.parts


def handing_on(bench: Bench) -> float:
    """Return the money of handing a bike on."""
    return bench_of(bench.job.knowledge, bench.job.state).service_cost


def seen_by(policy: str, job: Consultation) -> Consultation:
    """Return the job as a policy sees it: the tool as it is, the others `lightened`."""
    return job if policy == OURS else lightened(job)


Memory = dict[tuple[str, str, str], Move | None]
"""What was chosen before, by policy, knowledge and events."""


def chosen(policy: str, job: Consultation, memory: Memory) -> Move | None:
    """Return what a policy does next, from memory where it has been in the same state before."""
    key = (policy, job.knowledge.version, repr([(event.kind, dict(event.body)) for event in job.events]))
    if key not in memory:
        memory[key] = POLICIES[policy](job)
    return memory[key]


def result(bike: Invented, policy: str, bench: Bench, steps: int, *, handed_on: bool) -> Result:
    """Return what a walk came to. A bike that still does not do what is asked comes back and is handed on."""
    cured = not handed_on and does_its_job(bench)
    minutes = bench.job.state.minutes + (0.0 if cured else SERVICE_MINUTES)
    money = spent(bench) + (0.0 if cured else handing_on(bench))
    return Result(
        bike=bike.number,
        context=bike.facts["parked"],
        complaint=bike.complaint,
        policy=policy,
        steps=steps,
        minutes=minutes,
        waited=bench.waited,
        money=money,
        cured=cured,
        handed_on=handed_on,
    )
