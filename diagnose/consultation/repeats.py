"""Whether a test that was answered before could show something else now: nothing is asked twice for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from math import prod

from diagnose.consultation.state import State, situation_for
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate, Posterior
from diagnose.inference.screen import response
from diagnose.model import Knowledge, Test
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone, Situation

ASK_AGAIN = 0.1
"""A test is asked again if what was done since has changed what it shows with at least this probability (a choice)."""

SURELY = 0.999
"""No repair is taken to cure more surely than this where its success is reckoned back."""


def out_of_date(knowledge: Knowledge, state: State, bike: BikeGraph) -> frozenset[str]:
    """Return the tests whose last result describes the bike as it was: what they look at has been changed since.

    Such a result stays evidence about the bike as it was; it is only no longer taken to describe it now.
    """
    last = {seen.test: seen for seen in state.seen}
    return frozenset(
        name
        for name, seen in last.items()
        if _mark(knowledge.tests[name], state, bike, seen.situation)
        != _mark(knowledge.tests[name], state, bike, situation_for(knowledge, state, knowledge.tests[name]))
    )


def known(test: Test, state: State, situation: Situation, bike: BikeGraph, belief: Posterior) -> bool:
    """Return whether the test was answered and would hardly show anything else now.

    Either nothing that it looks at has been changed since, or what was changed is unlikely to be what it showed.
    """
    answers = [seen for seen in state.seen if seen.test == test.id]
    wanted = _mark(test, state, bike, situation)
    if any(_mark(test, state, bike, seen.situation) == wanted for seen in answers):
        return True
    last = next((seen for seen in reversed(answers) if _same_set_up(seen.situation, situation)), None)
    if last is None:
        return False
    since = state.repairs[last.situation.epoch : situation.epoch]
    changes = _changes(test, last.outcome, since, situation, bike, belief)
    return 1 - prod(1 - chance for chance in changes) < ASK_AGAIN


def _same_set_up(before: Situation, now: Situation) -> bool:
    return before.cut == now.cut and before.held == now.held and before.epoch <= now.epoch


def _changes(
    test: Test, outcome: str, since: tuple[RepairDone, ...], situation: Situation, bike: BikeGraph, belief: Posterior
) -> Iterator[float]:
    """Give for each repair and cause P(the repair changed the cause, and by it what the test shows), roughly.

    A cause that is cured changes an answer that it can have given; one that is brought in, any answer. How likely it
    was there before the repair follows from how likely it is now: p now = p before x (1 - cure).
    """
    shows = response(bike, Candidate(test.id, rungs(test.outcomes), situation)).fires
    rung = [o.id for o in test.outcomes if not o.default].index(outcome) if not test.outcome(outcome).default else None
    number = {root: n for n, root in enumerate(bike.roots)}
    for repair in since:
        for cause in number.keys() & {*repair.cures, *repair.dud}:
            fires = shows[:, number[cause]]
            yield repair.dud.get(cause, 0.0) * float(fires[-1])
            if rung is not None and repair.found.get(cause) != "sound":
                gave = float(fires[rung] - (fires[rung - 1] if rung else 0.0))
                cure = min(repair.cures.get(cause, 0.0), SURELY)
                there = 1.0 if repair.found.get(cause) == "broken" else belief.causes[cause] / (1 - cure)
                yield min(there, 1.0) * cure * gave


def _mark(test: Test, state: State, bike: BikeGraph, situation: Situation) -> tuple[object, ...]:
    """What tells one situation from another for a test: repairs, cuts and holds above what it looks at."""
    above = bike.above(test.drivers)
    done = [
        n
        for n, repair in enumerate(state.repairs, start=1)
        if n <= situation.epoch and any(repair.touches(a) for a in above)
    ]
    return tuple(done), situation.cut & above, situation.held & above
