"""Which cautions are said at a step, which lock an activity now, what would unlock it: safety is no trade-off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from diagnose.consultation.state import (
    BY_ITSELF,
    Seen,
    State,
    known_tests,
    reaching,
    repairs_by,
    stands,
    starts,
    work_of,
)
from diagnose.model import Access, Caution, Gate, Knowledge, Reach, Test, Work, gate_state, may_apply
from diagnose.network.graph import BikeGraph


@dataclass(frozen=True, slots=True)
class Lock:
    """A caution that holds now.

    unlocked_by: tests of which an answer may lift it; put_back: tests whose change to the bike is to be put back
    first. Neither: it takes a repair of what is `about`: the conditions that are likely, or what can have made the
    answer that locks (answered): that must be put right whatever else is wrong. known: those tests that would hardly
    say anything else, since no repair has touched what they look at; where an answer locks, anything that was done is
    reason enough to look again.
    """

    caution: str
    forbids: frozenset[str]
    unlocked_by: tuple[str, ...]
    put_back: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    known: frozenset[str] = frozenset()
    answered: bool = False


def brings(knowledge: Knowledge, state: State, work: Work) -> tuple[Reach, ...]:
    """Return what has to be done first for the bike to stand as a piece of work needs it."""
    ways = (reaching(knowledge, state, work.needs) or {}).values()
    return tuple(option.reach for option in ways if option.reach is not None)


def said_at(knowledge: Knowledge, state: State, work: Work, opens: Iterable[str]) -> tuple[Caution, ...]:
    """Return the cautions of a piece of work, of what it opens (access ids) and of what has to be done first.

    Those of what soaks, dries or charges come after: they are there as long as it waits.
    """
    opened = [knowledge.access[access] for access in opens]
    waits = [work_of(knowledge, *one) for one in state.waiting]
    entries: list[Reach | Access | Work] = [*brings(knowledge, state, work), *opened, work, *waits]
    said = dict.fromkeys(caution for entry in entries for caution in entry.cautions)
    return tuple(c for c in (knowledge.cautions[one] for one in said) if may_apply(c.applies, state.facts))


def by_button(facts: Mapping[str, str], work: Work) -> str:
    """Return what a kick means on a bike that has only a button; empty where nothing needs saying."""
    if facts.get("starter") == "electric" and "kicks" in work.does:
        return "No kick lever here - where it says kick, press the button, five seconds at most, then let it cool."
    return ""


def locks(
    knowledge: Knowledge, state: State, bike: BikeGraph, conditions: Mapping[str, Mapping[str, float]]
) -> tuple[Lock, ...]:
    """Return the cautions that hold, rules about open things left out (those are shut before a step).

    Args:
        knowledge: its cautions hold the rules.
        state: the job as it stands.
        bike: its graph.
        conditions: condition -> level -> probability now, for those that a rule asks about.
    """
    holding = [rule for rule in knowledge.cautions.values() if _holds(knowledge, rule, state, conditions)]
    return tuple(_lock(knowledge, state, bike, rule) for rule in holding)


def _lock(knowledge: Knowledge, state: State, bike: BikeGraph, rule: Caution) -> Lock:
    """Return a rule that holds as a lock."""
    unlocking, seen = _unlocking(knowledge, rule, state), known_tests(knowledge, state)
    answered = bool(rule.when and rule.when.outcome and not rule.when.likely and not rule.when.not_done)
    looked = [] if answered else [test for test in unlocking if test in seen]
    return Lock(
        rule.id,
        rule.forbids,
        unlocking,
        _not_put_back(rule, state),
        _shown(knowledge, rule) if answered else tuple(rule.when.likely) if rule.when else (),
        frozenset(test for test in looked if not _touched_since(knowledge, state, bike, seen[test])),
        answered,
    )


def _shown(knowledge: Knowledge, rule: Caution) -> tuple[str, ...]:
    """Return the causes and conditions that make the answers by which a rule locks."""
    answers = rule.when.outcome.items() if rule.when else ()
    named = (knowledge.tests[test].outcome(one).drivers for test, outcomes in answers for one in outcomes)
    return tuple(dict.fromkeys(driver for drivers in named for driver in drivers))


def asked_conditions(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the conditions whose probability some rule asks about."""
    rules = [rule.when for rule in knowledge.cautions.values() if rule.when]
    return tuple(dict.fromkeys(condition for when in rules for condition in when.likely))


def _holds(knowledge: Knowledge, rule: Caution, state: State, conditions: Mapping[str, Mapping[str, float]]) -> bool:
    when = rule.when
    if when is None or when.open or gate_state(when.facts, _standing(knowledge, state)) is False:
        return False
    if (when.isolated and not _not_put_back(rule, state)) or (when.dead and starts(knowledge, state)):
        return False
    seen = known_tests(knowledge, state)
    if any(test not in seen or seen[test].outcome not in outcomes for test, outcomes in when.outcome.items()):
        return False
    if when.not_done and any(test in seen for test in when.not_done):
        return False
    if not when.likely:
        return True
    return not _cleared(knowledge, when.cleared_by, state) and _likely(when.likely, knowledge, conditions)


def _not_put_back(rule: Caution, state: State) -> tuple[str, ...]:
    """Return the tests whose change is still in force and not accepted, for a rule about that."""
    if rule.when is None or not rule.when.isolated:
        return ()
    return tuple(test for test in state.isolated if test not in state.accepted)


def _standing(knowledge: Knowledge, state: State) -> dict[str, str]:
    """Return all facts of the bike, how it stands now among them."""
    return {**state.facts, **{fact: option.id for fact, option in stands(knowledge, state).items()}}


def _leads_out(gate: Gate, test: Test) -> bool:
    """Return whether the bike, after a test, no longer stands as a gate says."""
    return any(fact in gate and option not in gate[fact] for fact, option in test.leaves.items())


def _likely(limits: Mapping[str, float], knowledge: Knowledge, conditions: Mapping[str, Mapping[str, float]]) -> bool:
    for condition, limit in limits.items():
        levels = conditions.get(condition)
        healthy = knowledge.conditions[condition].levels[0]
        if levels and 1 - levels.get(healthy, 1.0) > limit:
            return True
    return False


def _cleared(knowledge: Knowledge, tests: tuple[str, ...], state: State) -> bool:
    """Whether one of the tests has been answered with its default since the last repair."""
    seen = known_tests(knowledge, state)
    for test in tests:
        answer = seen.get(test)
        if (
            answer
            and repairs_by(state, answer.situation) == repairs_by(state)
            and knowledge.tests[test].outcome(answer.outcome).default
        ):
            return True
    return False


def _unlocking(knowledge: Knowledge, rule: Caution, state: State) -> tuple[str, ...]:
    when = rule.when
    if when is None:
        return ()
    seen = known_tests(knowledge, state)
    if when.not_done:
        return when.not_done
    if when.facts.keys() & knowledge.now.keys():
        return tuple(test.id for test in knowledge.tests.values() if _leads_out(when.facts, test))
    again = {test for test, answer in seen.items() if repairs_by(state, answer.situation) < repairs_by(state)}
    if when.likely:
        return tuple(test for test in when.cleared_by if test not in seen or test in again)
    return tuple(test for test in when.outcome if test in again)


def _touched_since(knowledge: Knowledge, state: State, bike: BikeGraph, answer: Seen) -> bool:
    """Return whether a repair since the answer can have changed what the test looks at."""
    above = bike.above(knowledge.tests[answer.test].drivers)
    since = state.repairs[answer.situation.epoch :]
    return any(repair.touches(cause) for repair in since if not repair.id.startswith(BY_ITSELF) for cause in above)
