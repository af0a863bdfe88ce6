"""An invented bike as it comes in: its facts, what is wrong with it, what its owner says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from random import Random

from diagnose.consultation.evidence import bike_graph
from diagnose.model import CONTEXTS, Complaint, Fact, Knowledge, Option, gate_state
from diagnose.network.situations import ARRIVAL
from diagnose.problems import DiagnoseError
from diagnose.simulation.world import Acting, World, acting, bad, drawn

MOST_TRIES = 50_000
"""So many bikes are drawn at most until one does what somebody complains of."""


@dataclass(frozen=True, slots=True)
class Invented:
    """One bike that is brought in."""

    number: int
    facts: Mapping[str, str]
    complaint: str
    world: World


def invented(knowledge: Knowledge, seed: int, number: int, context: str, complaints: Sequence[str] = ()) -> Invented:
    """Return a bike that has something its owner complains of: the same for the same seed, number and context.

    Bikes of the same facts are drawn until one fits. A complaint is drawn from all that such a bike can have, and the
    bike is kept with the chance that this owner, of this bike, would say so, if it does not do what is asked of it.
    So what is wrong follows the knowledge given the complaint, and complaints come as often as they are met.

    Args:
        knowledge: what the bike is drawn from.
        seed: of the study.
        number: of the bike in it.
        context: one of CONTEXTS.
        complaints: ids; only these are drawn from. All where there are none.

    Raises:
        DiagnoseError: no bike fits.
    """
    own = seed * 1_000_003 + number * len(CONTEXTS) + CONTEXTS.index(context)
    chance = Random(f"bike {own}")
    facts = typical(knowledge, {"parked": context}, chance)
    bike = bike_graph(knowledge, facts)
    said = [
        complaint
        for complaint in knowledge.complaints.values()
        if gate_state(complaint.applies, facts) and (complaint.id in complaints or not complaints)
    ]
    for again in range(MOST_TRIES if said else 0):
        world = drawn(bike, own, again)
        complaint = chance.choice(said)
        does = acting(world, ARRIVAL)
        if chance.random() < would_say(complaint, does) and bad(world, complaint.target):
            return Invented(number, facts, complaint.id, world)
    raise DiagnoseError(
        f"no bike that stood {context} fits the complaint {' or '.join(complaints) or 'of anybody'}; "
        "write other complaints"
    )


def would_say(complaint: Complaint, does: Acting) -> float:
    """Return P(the owner of a bike that does this says so)."""
    if any(node in does for node in complaint.excludes):
        return 0.0
    quiet = 1 - complaint.base
    for node, chances in complaint.drivers.items():
        quiet *= 1 - chances.get(does.get(node, ""), 0.0)
    return 1 - quiet


def typical(knowledge: Knowledge, given: Mapping[str, str], chance: Random) -> dict[str, str]:
    """Return the facts of a bike as they come in, those given among them; of the kinds bike and history.

    By the shares of the options; where they have none what is assumed, else any with the same chance, but of its
    history the option that makes nothing likelier (no mishap, ordinary use) as often as all others together. An option
    that says only that it is one of others, or that goes against what was drawn before, is left out.
    """
    facts = dict(given)
    for fact in knowledge.facts.values():
        if fact.kind == "now" or fact.id in facts or gate_state(fact.applies, facts) is not True:
            continue
        options = [option for option in fact.options.values() if not option.covers and _fits(option, facts)]
        if options:
            option = _one_of(fact, options, chance)
            facts |= {fact.id: option.id, **option.implies}
    return facts


def _fits(option: Option, facts: Mapping[str, str]) -> bool:
    return all(facts.get(fact, value) == value for fact, value in option.implies.items())


def _one_of(fact: Fact, options: Sequence[Option], chance: Random) -> Option:
    shares = [option.share for option in options]
    if any(shares):
        return chance.choices(options, shares)[0]
    plain = [option for option in options if option.id == fact.assume or (fact.kind == "history" and not option.odds)]
    if plain and (fact.assume or chance.random() < 0.5):
        return plain[0]
    return chance.choice([option for option in options if option not in plain] or options)
