"""From a state to what the network is asked: the bike's graph, what was seen, what should be healthy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from diagnose.consultation.safety import asked_conditions
from diagnose.consultation.state import TRY_TO_START, State, situation_now
from diagnose.inference.ladder import Observation, Rung, observed, weighed
from diagnose.inference.posterior import Question
from diagnose.model import PRESENT, Complaint, Knowledge, Test
from diagnose.network.graph import BikeGraph, decision_graph

TURN_TARGET = ("no_turn",)
"""What must be gone for the engine to turn over."""

START_TARGET = (*TURN_TARGET, "no_fire", "coughs", "fires_dies")
"""What must be gone where no complaint was given: the bike starts and keeps running."""

_graphs: dict[tuple[str, tuple[tuple[str, str], ...]], BikeGraph] = {}


def bike_graph(knowledge: Knowledge, facts: Mapping[str, str]) -> BikeGraph:
    """Return the decision graph of a bike; the last few are kept."""
    key = (knowledge.version, tuple(sorted(facts.items())))
    if key not in _graphs:
        while len(_graphs) >= 8:
            _graphs.pop(next(iter(_graphs)))
        _graphs[key] = decision_graph(knowledge, facts)
    return _graphs[key]


def complaints(knowledge: Knowledge, state: State) -> tuple[Complaint, ...]:
    """Return what the owner complains of: what the bike came in for, then what else."""
    return tuple(knowledge.complaints[one] for one in (state.complaint, *state.also) if one)


def targets(knowledge: Knowledge, state: State) -> tuple[str, ...]:
    """Return the conditions that must be healthy for the job to be done.

    Those of the complaints, and whatever a try-out has shown since: a bike that goes again, but only on the
    choke, does not yet do what it should.
    """
    wanted = [node for complaint in complaints(knowledge, state) for node in complaint.target] or START_TARGET
    attempt = try_out_of(knowledge, state)
    shown = [attempt.outcome(seen.outcome).drivers for seen in state.seen if attempt and seen.test == attempt.id]
    return tuple(dict.fromkeys((*wanted, *(node for drivers in shown for node in drivers))))


def try_out_of(knowledge: Knowledge, state: State) -> Test | None:
    """Return the try-out as this job needs it: it lasts until every complaint would have shown itself."""
    attempt, said = knowledge.tests.get(TRY_TO_START), complaints(knowledge, state)
    if attempt is None or not said:
        return attempt
    unseen = {
        node: dict.fromkeys(knowledge.conditions[node].levels[1:], 1.0)
        for complaint in said
        for node in complaint.target
        if node not in attempt.drivers and node in knowledge.conditions
    }
    outcomes = tuple(replace(o, drivers=unseen) if o.complaint else o for o in attempt.outcomes)
    proofs = list(dict.fromkeys(complaint.proof for complaint in said if complaint.proof))
    return replace(
        attempt,
        outcomes=outcomes,
        steps=(*attempt.steps, *(proof.step for proof in proofs)),
        minutes=attempt.minutes + sum(proof.minutes for proof in proofs),
        cautions=tuple(dict.fromkeys((*attempt.cautions, *(c for proof in proofs for c in proof.cautions)))),
    )


def evidence(knowledge: Knowledge, state: State) -> tuple[Observation, ...]:
    """Return the complaints and every result as observations, each in its situation.

    Only the first complaint says what the bike did not do: what else is told may be of another day.
    """
    found = []
    for complaint in complaints(knowledge, state):
        first = complaint.id == state.complaint
        did_not = (Rung(0.0, {node: {PRESENT: 1.0} for node in complaint.excludes}),) if first else ()
        reported = Rung(complaint.base, complaint.drivers)
        found.append(Observation(f"complaint: {complaint.name}", did_not, reported))
    attempt = try_out_of(knowledge, state)
    for seen in state.seen:
        test = attempt if attempt and seen.test == attempt.id else knowledge.tests[seen.test]
        label = f"{test.name}: {test.outcome(seen.outcome).name}"
        if seen.weights:
            found.append(weighed(label, test.outcomes, seen.weights, seen.situation))
        else:
            found.append(observed(label, test.outcomes, seen.outcome, seen.situation))
    return tuple(found)


def question(knowledge: Knowledge, state: State) -> Question:
    """Return what the network is asked, without looking ahead."""
    return Question(
        observations=evidence(knowledge, state),
        repairs=state.repairs,
        now=situation_now(knowledge, state),
        targets=tuple(t for t in targets(knowledge, state)),
        start=START_TARGET,
        turn=TURN_TARGET,
        shown=tuple(dict.fromkeys((*asked_conditions(knowledge), *supplied(knowledge)))),
    )


def supplied(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the conditions that some test holds healthy while it is done."""
    return tuple(dict.fromkeys(c for test in knowledge.tests.values() for c in test.supplies))
