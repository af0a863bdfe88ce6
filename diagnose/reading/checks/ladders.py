"""The outcomes of a test are a ladder: the first whose drivers fire wins, the last is the default."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.problems import Problem
from diagnose.reading.draft import Draft


def defaults(draft: Draft) -> Iterator[Problem]:
    """Exactly one outcome is the default; it stands last and has neither drivers nor base."""
    for test in draft.knowledge.tests.values():
        marked = [outcome for outcome in test.outcomes if outcome.default]
        if not marked:
            says = f"{test.id} has no default outcome: what is seen when nothing else is"
            write = "default: true at the last outcome"
            yield draft.problem(test, ("outcomes",), says, "no-default", write, key=True)
        for extra in marked[1:]:
            says = f"{test.id} has a second default outcome, {extra.id}; the first is {marked[0].id}"
            trail = ("outcomes", extra.id, "default")
            yield draft.problem(test, trail, says, "two-defaults", "default: true at one outcome only", key=True)
        if len(marked) == 1 and marked[0] is not test.outcomes[-1]:
            says = f"{marked[0].id} is the default outcome of {test.id} but does not stand last"
            write = f"{marked[0].id} after {test.outcomes[-1].id}"
            yield draft.problem(test, ("outcomes", marked[0].id), says, "default-not-last", write, key=True)
        for outcome in marked:
            if outcome.drivers or outcome.base:
                given = "drivers" if outcome.drivers else "base"
                says = f"{outcome.id} is the default outcome of {test.id} and cannot have {given}"
                trail = ("outcomes", outcome.id, given)
                yield draft.problem(test, trail, says, "default-with-drivers", f"it without {given}", key=True)


def rungs(draft: Draft) -> Iterator[Problem]:
    """There are two outcomes at least, something drives the test, and every outcome can happen."""
    for test in draft.knowledge.tests.values():
        if len(test.outcomes) < 2:
            says = f"{test.id} has {len(test.outcomes)} outcome; with fewer than two it tells nothing apart"
            says = says.replace("0 outcome", "no outcome")
            yield draft.problem(test, ("outcomes",), says, "single-outcome", "two outcomes or more", key=True)
        elif not any(outcome.drivers for outcome in test.outcomes):
            says = f"no cause or condition drives any outcome of {test.id}, so it tells nothing"
            write = "drivers: {a_cause: 0.9} at an outcome"
            yield draft.problem(test, ("outcomes",), says, "test-without-drivers", write, key=True)
        else:
            for outcome in test.outcomes:
                if not outcome.default and not outcome.drivers and not outcome.base:
                    says = f"outcome {outcome.id} of {test.id} can never happen: it has no drivers and no base"
                    write = "drivers: {a_cause: 0.9}, or base: 0.02"
                    yield draft.problem(test, ("outcomes", outcome.id), says, "dead-outcome", write, key=True)
