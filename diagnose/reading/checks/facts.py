"""Facts can be asked and answered, and what they imply does not contradict itself."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.model import CONTEXTS
from diagnose.problems import Place, Problem
from diagnose.reading.checks.figures import SLACK
from diagnose.reading.draft import Draft


def options_of_a_fact(draft: Draft) -> Iterator[Problem]:
    """A fact has two options at least."""
    for fact in draft.knowledge.facts.values():
        if len(fact.options) < 2:
            says = f"{fact.id} has fewer than two options, so there is nothing to ask"
            yield draft.problem(fact, ("options",), says, "too-few-options", "two options or more", key=True)


def assumed(draft: Draft) -> Iterator[Problem]:
    """What is taken for true until told is an option of the fact."""
    for fact in draft.knowledge.facts.values():
        if fact.assume and fact.assume not in fact.options:
            yield draft.unknown(fact, ("assume",), fact.assume, f"option of {fact.id}", fact.options, key=False)


def covering(draft: Draft) -> Iterator[Problem]:
    """What an option covers are other options of its fact."""
    for fact in draft.knowledge.facts.values():
        for option in fact.options.values():
            for other in option.covers:
                if other not in fact.options or other == option.id:
                    trail = ("options", option.id, "covers")
                    what = f"other option of {fact.id}"
                    yield draft.unknown(fact, (*trail, other), other, what, set(fact.options) - {option.id}, key=False)


def shares(draft: Draft) -> Iterator[Problem]:
    """The shares of a fact's options make one together, if it has any."""
    for fact in draft.knowledge.facts.values():
        total = sum(option.share for option in fact.options.values())
        if total and abs(total - 1) > SLACK:
            says = f"the shares of the options of {fact.id} make {total:g} together"
            yield draft.problem(fact, ("options",), says, "shares-not-one", "shares that make 1 together", key=True)


def standing(draft: Draft) -> Iterator[Problem]:
    """Only a fact of the kind now says what the bike is like while it stands so; kicks count up from the first."""
    for fact in draft.knowledge.facts.values():
        for option in fact.options.values():
            keys = ("removes", "supplies", "after", "makes", "clears", "reach")
            said = [key for key in keys if getattr(option, key)]
            if fact.kind != "now" and said:
                says = f"option {option.id} of {fact.id} has {said[0]}, which only goes with how a bike stands now"
                trail = ("options", option.id, said[0])
                yield draft.problem(fact, trail, says, "not-of-now", "kind: now, or leave it out", key=True)
        kicks = [option.after for option in fact.options.values()]
        if fact.counts_kicks and kicks != sorted({0, *kicks}):
            says = f"the kicks of {fact.id} are {', '.join(map(str, kicks))}: they begin with 0 and rise"
            yield draft.problem(fact, ("options",), says, "kicks-rise", "after: 1, then after: 10", key=True)


def parked(draft: Draft) -> Iterator[Problem]:
    """The fact that picks one of the three figures of a prior is there, with its three options."""
    names = draft.names("facts")
    wanted = ", ".join(CONTEXTS)
    if names is not None and "parked" not in names:
        file = next((known.node.document.file for known in draft.written.values() if known.kind == "facts"), "")
        says = "the fact parked is missing; it picks one of the three figures of a prior"
        yield Problem(Place(file or "facts.yaml"), says, "parked-fact", f"parked, with the options {wanted}")
    fact = draft.knowledge.facts.get("parked")
    if fact and {one.id for one in fact.options.values() if not one.covers} != set(CONTEXTS):
        says = f"the options of parked must be {wanted}: they pick one of the three figures of a prior"
        yield draft.problem(fact, ("options",), says, "parked-fact", wanted, key=True)


def implications(draft: Draft) -> Iterator[Problem]:
    """What an option implies, and what that implies in turn, gives no fact two options."""
    facts = draft.knowledge.facts
    for fact in facts.values():
        for option in fact.options.values():
            settled = {fact.id: option.id}
            queue = [(fact.id, option.id)]
            while queue:
                name, chosen = queue.pop()
                implied = facts[name].options[chosen].implies if chosen in facts[name].options else {}
                for other, value in implied.items():
                    if other not in settled and other in facts:
                        settled[other] = value
                        queue.append((other, value))
                    elif settled.get(other, value) != value:
                        both = f"{settled[other]} and {value}"
                        says = f"option {option.id} of {fact.id} implies both {both} for {other}"
                        trail = ("options", option.id, "implies")
                        yield draft.problem(
                            fact,
                            trail,
                            says,
                            "implication-contradiction",
                            "implications that agree",
                            key=True,
                        )


def gates_that_open(draft: Draft) -> Iterator[Problem]:
    """A gate leaves at least one option of each of its facts."""
    for entry, trail, gate in draft.gates():
        for name, options in gate.items():
            if not options:
                says = f"the gate of {entry.id} lets no option of {name} through, so it never applies"
                yield draft.problem(
                    entry, (*trail, name), says, "gate-never-true", f"{name}: an option, or leave it out"
                )
