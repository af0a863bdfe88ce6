"""What can come of a step: each outcome with its chance, and the job after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.chart import Ending
from diagnose.consultation import Consultation, observe, reconnect, repair
from diagnose.consultation.outlook import foreseen
from diagnose.consultation.state import TRY_TO_START
from diagnose.inference.posterior import Prospect
from diagnose.model import Test
from diagnose.planning.steps import Step
from diagnose.problems import ImpossibleEvidence

FEW = 0.03
"""Outcomes less likely than this, once the step is reached, are not drawn (a choice of ours: one time in thirty)."""

LIKELIEST = 3
"""So many causes are named where the chart ends."""

DONE = "Done"
"""What the one outcome of a repair is called."""


@dataclass(frozen=True)
class Branch:
    """An outcome: its id, its name, P(outcome | step reached), the job after it, P(cause present) then by name."""

    outcome: str
    says: str
    chance: float
    after: Consultation
    causes: tuple[tuple[str, float], ...] | None = None

    @cached_property
    def likeliest(self) -> tuple[tuple[str, float], ...]:
        """The likeliest causes after it."""
        if self.causes is not None:
            return self.causes
        return tuple((cause.name, cause.probability) for cause in self.after.ranked[:LIKELIEST])

    @cached_property
    def ending(self) -> Ending:
        """Where the chart ends if it goes no further than this outcome."""
        return Ending("runs") if self.after.done else Ending("interview", self.likeliest)


def ends(job: Consultation) -> Ending | None:
    """Return how it ends where there is nothing more to do, None where there is.

    Handing on is cheapest where no step, locked ones among them, takes anything off what is left to do.
    """
    if job.done:
        return Ending("runs")
    if job.next_step is None or max(one.merit for one in job.steps) <= 0.0:
        return Ending("hand_on", tuple((cause.name, cause.probability) for cause in job.ranked[:LIKELIEST]))
    return None


def branches(job: Consultation, step: Step) -> tuple[Branch, ...]:
    """Return the outcomes of a step that are likely enough to be drawn, in the order of its ladder."""
    if step.kind == "repair":
        return (Branch("", DONE, 1.0, job.add(repair(step.id))),)
    if step.kind == "reconnect":
        return (Branch("", DONE, 1.0, job.add(reconnect(step.id))),)
    test = attempted(job, step)
    seen = foreseen(job.knowledge, job.state, job.question, test)
    chances = _chances(job, step, test, seen)
    return tuple(
        Branch(o.id, o.name, chances[o.id], job.add(observe(test.id, o.id)), _named(job, seen, n) if seen else None)
        for n, o in enumerate(test.outcomes)
        if chances[o.id] >= FEW
    )


def attempted(job: Consultation, step: Step) -> Test:
    """Return the test that a step stands for; the try-out as the job needs it."""
    return job.try_out if job.try_out and step.id == TRY_TO_START else job.knowledge.tests[step.id]


def _chances(job: Consultation, step: Step, test: Test, seen: Prospect | None) -> Mapping[str, float]:
    """Return outcome -> P(outcome): exactly, as the planner saw it where that is too wide, or by trying each."""
    names = [outcome.id for outcome in test.outcomes]
    if seen is not None:
        return dict(zip(names, seen.probabilities.tolist(), strict=True))
    told = dict(step.outcomes)
    if set(told) != set(names):
        told = {name: _chance(job, job.add(observe(test.id, name))) for name in names}
    return {name: p / sum(told.values()) for name, p in told.items()}


def _chance(job: Consultation, after: Consultation) -> float:
    """Return P(an answer | what was seen before it), as the quotient of two probabilities of evidence.

    Where the earlier answers are reckoned in parts it holds only as far as those are cut the same both times.
    """
    try:
        return float(np.exp(min(after.belief.log_evidence - job.belief.log_evidence, 0.0)))
    except ImpossibleEvidence:
        return 0.0


def _named(job: Consultation, seen: Prospect, outcome: int) -> tuple[tuple[str, float], ...]:
    names = [root.name for root in job.bike.roots.values()]
    ranked = sorted(zip(names, seen.causes[outcome].tolist(), strict=True), key=lambda one: (-one[1], one[0]))
    return tuple(ranked[:LIKELIEST])
