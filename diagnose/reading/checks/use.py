"""Nothing stands there without use: causes can be found and mended, rules are whole."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.model import BEHAVIOUR
from diagnose.problems import Problem
from diagnose.reading.draft import Draft


def causes_have_a_repair(draft: Draft) -> Iterator[Problem]:
    """Every cause is cured by some repair."""
    if not draft.whole:
        return
    cured = {cause for repair in draft.knowledge.repairs.values() for cause in repair.cures} | draft.mentioned
    for cause in draft.knowledge.causes.values():
        if cause.id not in cured:
            write = f"cures: {{{cause.id}: 0.95}} at a repair in repairs/"
            yield draft.problem(cause, (), f"no repair cures {cause.id}", "cause-without-repair", write, key=True)


def causes_lead_somewhere(draft: Draft) -> Iterator[Problem]:
    """Every cause leads to a condition."""
    if not draft.whole:
        return
    joined = {
        parent
        for condition in draft.knowledge.conditions.values()
        for part in condition.all_of
        for parent in part.parents
    }
    for cause in draft.knowledge.causes.values():
        if not cause.links and cause.id not in joined | draft.mentioned:
            says = f"{cause.id} leads to no condition, so it does nothing to the bike"
            write = "leads_to: {a_condition: 0.9}"
            yield draft.problem(cause, (), says, "cause-without-effect", write, key=True)


def causes_can_be_tested(draft: Draft) -> Iterator[Problem]:
    """Every cause drives a test or symptom, itself or through conditions."""
    if not draft.whole:
        return
    moved = {node for test in draft.knowledge.tests.values() for outcome in test.outcomes for node in outcome.drivers}
    moved |= draft.mentioned | {name for names in draft.broken.values() for name in names}
    parents: dict[str, set[str]] = {}
    for parent in draft.parents():
        for link in parent.links:
            parents.setdefault(link.child, set()).add(parent.id)
    for condition in draft.knowledge.conditions.values():
        for part in condition.all_of:
            parents.setdefault(condition.id, set()).update(part.parents)
    queue = list(moved)
    while queue:
        new = parents.get(queue.pop(), set()) - moved
        moved |= new
        queue += new
    for cause in draft.knowledge.causes.values():
        if cause.id not in moved:
            says = f"no test or symptom can tell whether {cause.id} is there"
            write = f"drivers: {{{cause.id}: 0.9}}, or one of its conditions, at an outcome"
            yield draft.problem(cause, (), says, "cause-without-test", write, key=True)


def conditions_have_an_origin(draft: Draft) -> Iterator[Problem]:
    """Every condition has something that leads to it, or a leak."""
    if not draft.whole:
        return
    reached = {link.child for parent in draft.parents() for link in parent.links}
    for condition in draft.knowledge.conditions.values():
        joined = condition.all_of or condition.one_of or condition.stands_for
        if not condition.leak and not joined and condition.id not in reached | draft.mentioned:
            says = f"nothing leads to {condition.id} and it has no leak, so it can never be"
            write = f"leads_to: {{{condition.id}: 0.9}} at a cause, or a leak"
            yield draft.problem(condition, (), says, "condition-without-origin", write, key=True)


def mechanisms_have_causes(draft: Draft) -> Iterator[Problem]:
    """Every mechanism is named by a cause."""
    if not draft.whole:
        return
    named = {cause.mechanism for cause in draft.knowledge.causes.values()} | draft.mentioned
    for mechanism in draft.knowledge.mechanisms.values():
        if mechanism.id not in named:
            says = f"no cause grows from the mechanism {mechanism.id}"
            write = f"mechanism: {mechanism.id} at a cause"
            yield draft.problem(mechanism, (), says, "mechanism-without-cause", write, key=True)


def repairs_cure(draft: Draft) -> Iterator[Problem]:
    """Every repair cures something."""
    for repair in draft.knowledge.repairs.values():
        if not repair.cures:
            says = f"{repair.id} cures nothing"
            yield draft.problem(repair, ("cures",), says, "repair-cures-nothing", "cures: {a_cause: 0.95}", key=True)


def behaviours_end(draft: Draft) -> Iterator[Problem]:
    """What the bike does has two levels and leads to nothing: it is seen by each way it comes about."""
    for condition in draft.knowledge.conditions.values():
        for key, given in (
            ("leads_to", condition.links),
            ("all_of", condition.all_of),
            ("levels", len(condition.levels) > 2),
        ):
            if condition.system == BEHAVIOUR and given:
                says = f"{condition.id} is what the bike does, so it has no {key}"
                write = f"another system, or no {key}"
                yield draft.problem(condition, (key,), says, "behaviour-leads-on", write, key=True)


def complaints_aim(draft: Draft) -> Iterator[Problem]:
    """Every complaint is driven by something and names what must be gone when the job is done."""
    for complaint in draft.knowledge.complaints.values():
        if not complaint.target:
            says = f"{complaint.id} has no target: the conditions that must be gone when the job is done"
            write = "target: [a_condition]"
            yield draft.problem(complaint, ("target",), says, "complaint-without-target", write, key=True)
        if not complaint.drivers:
            says = f"no cause or condition drives {complaint.id}, so it tells nothing"
            write = "drivers: {a_condition: 0.9}"
            yield draft.problem(complaint, ("drivers",), says, "complaint-without-drivers", write, key=True)


def complaints_are_proved(draft: Draft) -> Iterator[Problem]:
    """A try-out that can ask for the complaint is told how to bring out what a minute does not show."""
    asking = [test for test in draft.knowledge.tests.values() if any(o.complaint for o in test.outcomes)]
    for test in asking:
        for complaint in draft.knowledge.complaints.values():
            unseen = [node for node in complaint.target if node not in test.drivers]
            if unseen and complaint.proof is None:
                says = f"{test.id} does not show {', '.join(unseen)}, and {complaint.id} does not say what does"
                write = "proof: {minutes: 10, step: what brings it out}"
                yield draft.problem(complaint, ("target",), says, "complaint-without-proof", write, key=True)


def rules_are_whole(draft: Draft) -> Iterator[Problem]:
    """A caution that forbids says when, and the other way round."""
    for caution in draft.knowledge.cautions.values():
        empty = caution.when is None or not any(
            (
                caution.when.open,
                caution.when.outcome,
                caution.when.not_done,
                caution.when.likely,
                caution.when.facts,
                caution.when.isolated,
            )
        )
        if caution.forbids and empty:
            says = f"{caution.id} forbids something but does not say when"
            write = "when: {not_done: [a_test]}, or no forbids"
            yield draft.problem(caution, ("forbids",), says, "rule-without-when", write, key=True)
        if caution.when is not None and not caution.forbids:
            says = f"{caution.id} says when it holds but forbids nothing"
            yield draft.problem(caution, ("when",), says, "rule-forbids-nothing", "forbids: [kicks, runs]", key=True)


def published_sources(draft: Draft) -> Iterator[Problem]:
    """A published source names who published it."""
    for source in draft.knowledge.sources.values():
        if source.kind == "published" and not source.publisher:
            says = f"{source.id} is published, but by whom?"
            write = "publisher: the name of the body or house"
            yield draft.problem(source, (), says, "source-without-publisher", write, key=True)
