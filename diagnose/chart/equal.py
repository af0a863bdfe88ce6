"""When two states are one node of the chart.

They are, if whoever works from the wall would go on the same way from both: the same step is proposed, the bike
stands and is open and unplugged the same, the same repairs were done, the same cautions lock something, neither would
still ask what the other has answered, and what is left to find is nearly the same.
"""

from __future__ import annotations

import numpy as np

from diagnose.consultation import Consultation
from diagnose.consultation.outlook import stopping_now
from diagnose.consultation.state import stands

NEARLY = 0.05
"""P(present and what stops the bike) of no cause differs by more than this: half a cell of the bars on the board, so
that who reads both would say the same of them (a choice of ours)."""

STILL_ASKED = 10
"""Of so many of the best steps none may be a test that the other state has answered."""


def same(one: Consultation, other: Consultation) -> bool:
    """Return whether two states of one job, each with a step to do, are one node."""
    return (
        _mark(one) == _mark(other)
        and not _asks(one, other)
        and not _asks(other, one)
        and distance(one, other) <= NEARLY
    )


def distance(one: Consultation, other: Consultation) -> float:
    """Return the largest difference of P(cause present and what stops the bike), over the causes."""
    here, there = (stopping_now(job.knowledge, job.state, job.belief) for job in (one, other))
    return float(np.abs(here - there).max())


def _mark(job: Consultation) -> tuple[object, ...]:
    """What has to be the same altogether."""
    state, step = job.state, job.next_step
    return (
        (step.kind, step.id, step.opens, step.closes) if step else None,
        {fact: option.id for fact, option in stands(job.knowledge, state).items()},
        (state.facts, state.kicks, state.opened, state.accepted, frozenset(state.isolated)),
        sorted(repair.id for repair in state.repairs),
        frozenset(lock.caution for lock in job.locks),
        frozenset(job.targets),
        job.tried,
    )


def _asks(one: Consultation, other: Consultation) -> bool:
    """Whether one would soon ask what only the other has answered."""
    answered = {seen.test for seen in other.state.seen} - {seen.test for seen in one.state.seen}
    return any(step.kind == "test" and step.id in answered for step in one.steps[:STILL_ASKED])
