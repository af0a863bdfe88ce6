"""Whether an entry applies to a bike of whom some facts are known."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.model.base import OR, Gate
from diagnose.model.bike import Fact


def gate_state(gate: Gate, facts: Mapping[str, str]) -> bool | None:
    """Return whether an entry applies to a bike: True, False, or None where a fact is not known.

    >>> gate_state({"strokes": frozenset({"4"})}, {"strokes": "2"})
    False
    >>> gate_state({"strokes": frozenset({"4"})}, {}) is None
    True
    >>> gate_state({"tap": frozenset({"vacuum"})}, {"tap": "gravity|vacuum"}) is None
    True
    """
    told = [(options, frozenset(facts[fact].split(OR))) for fact, options in gate.items() if fact in facts]
    if not all(options & one_of for options, one_of in told):
        return False
    return True if len(told) == len(gate) and all(one_of <= options for options, one_of in told) else None


def share(gate: Gate, facts: Mapping[str, str], known: Mapping[str, Fact]) -> float:
    """Return how many of the bikes with these facts a gate lets through, by the shares of the facts not told.

    1 where all are told, or where none of those that are not has shares.
    """
    part = 1.0
    for fact, allowed in gate.items():
        if fact in known and (fact not in facts or OR in facts[fact]):
            among = facts[fact].split(OR) if fact in facts else known[fact].options
            shares = {option: known[fact].options[option].share for option in among}
            if any(shares.values()):
                part *= sum(p for option, p in shares.items() if option in allowed) / sum(shares.values())
    return part


def may_apply(gate: Gate, facts: Mapping[str, str]) -> bool:
    """Return False only where a known fact rules the entry out.

    >>> may_apply({"strokes": frozenset({"4"})}, {})
    True
    """
    return gate_state(gate, facts) is not False
