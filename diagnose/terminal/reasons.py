"""Why a step, in words: two short lines on its card, the whole of it under "Why this step?"."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from diagnose.planning.steps import Step
from diagnose.terminal.cards import work_of
from diagnose.wording import in_a_sentence, minutes, money, per_cent, told_apart, waiting

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation, Reason
    from diagnose.consultation.reasons import RunnerUp, Then

ON_THE_CARD = 2
"""So many causes are named on a card after the same outcome, and so many such groups."""

AS_GOOD = 0.95
"""A step that brings at least this share of what another brings for the same money is said to be as good."""

WORTH_SAYING = 0.01
"""A chance below this that the bike is right as it stands is not mentioned."""

MAY_FAIL = 0.02
"""From this chance on it is said that a test may turn out not to be possible."""

EVEN = 1.1
"""Up to this factor between them a step is said to save about what it costs."""

SAME_MINUTES = 0.5
"""Differences below this are not mentioned."""

AS_SEEN = 0.9
"""From this chance on a cause is said to be as good as seen."""


def short(consultation: Consultation, reason: Reason) -> list[str]:
    """Return why a step in one or two short sentences; what stands on the card anyway is left out."""
    step, said = reason.step, []
    if reason.unlocks is not None:
        said.append(_unlocks(consultation, reason.unlocks))
    elif reason.tells:
        few = [group[:ON_THE_CARD] for group in reason.tells[:ON_THE_CARD]]
        said.append(_sentence(told_apart([[_name(consultation, cause) for cause in group] for group in few])))
    if step.kind == "try_out":
        said.append(f"It goes with {per_cent(_works(step))}.")
    if _priced(step) and reason.unlocks is None:
        said.append(_saves(consultation, step))
    return said


def full(consultation: Consultation, reason: Reason) -> list[str]:
    """Return why a step, one text for each line or paragraph: what it tells, what it saves, what else there is."""
    return [text for text in _full(consultation, reason) if text]


def _full(consultation: Consultation, reason: Reason) -> Iterator[str]:
    step = reason.step
    if reason.unlocks is not None:
        yield _unlocks(consultation, reason.unlocks)
    yield _sentence(told_apart([[_name(consultation, cause) for cause in group] for group in reason.tells]))
    for then in reason.then:
        yield f"- {_then(consultation, step, then)}"
    if step.kind == "repair":
        yield from _of_a_repair(consultation, reason)
    if step.kind == "try_out":
        yield f"It goes with {per_cent(_works(step))}, and then nothing more is to be looked for."
    if step.cannot >= MAY_FAIL:
        yield f"In {per_cent(step.cannot)} of cases it turns out that it cannot be done; that is reckoned in."
    if _priced(step):
        yield _account(consultation, step)
        if reason.runner_up is not None:
            yield _runner_up(consultation, reason.runner_up)


def _unlocks(consultation: Consultation, waits: Step) -> str:
    return f"First, because this waits for it: {in_a_sentence(work_of(consultation, waits).name)}."


def _then(consultation: Consultation, step: Step, then: Then) -> str:
    """Return one outcome: its chance, what it moves most, and what is likeliest then where that is news."""
    outcome = consultation.knowledge.tests[step.id].outcome(then.outcome).name
    moved = f"{_name(consultation, then.moved)} {per_cent(then.before)} -> {per_cent(then.after)}"
    now = max(consultation.belief.causes.items(), key=lambda one: one[1])[0]
    if per_cent(then.before) == per_cent(then.after):
        moved = "changes hardly anything"
    news = then.cause not in (now, then.moved)
    best = f"; likeliest then {_name(consultation, then.cause)}, {per_cent(then.probability)}" if news else ""
    return f"{outcome} ({per_cent(then.chance)}): {moved}{best}"


def _of_a_repair(consultation: Consultation, reason: Reason) -> Iterator[str]:
    """Give how likely a repair helps, and why it is done without looking first; what it cures stands above."""
    without = 1 - consultation.belief.failing
    beside = f", without it in {per_cent(without)}" if without >= WORTH_SAYING else ""
    yield f"With this done it is right in {per_cent(reason.step.curing)} of cases{beside}."
    if reason.cures and reason.cures[0][1] >= AS_SEEN:
        yield "That is as good as seen; there is nothing to look at first."
    elif reason.look is not None:
        look = consultation.knowledge.tests[reason.look.id].name
        yield f"To look first ({in_a_sentence(look)}) {_brings(reason.look.merit, reason.step.merit)} for its money."
    else:
        yield "Nothing that is left to look at shows it more plainly than doing it."


def _priced(step: Step) -> bool:
    """Return whether the planner has a figure of its own for a step: not for what it does without."""
    return step.kind != "reconnect" and step.cost > 0.0


def _brings(other: float, mine: float) -> str:
    if other > mine / AS_GOOD:
        return "brings more"
    return "brings as much" if other >= mine * AS_GOOD else "brings less"


def _saves(consultation: Consultation, step: Step) -> str:
    """Return what a step takes off what is left to do, beside what it costs itself."""
    if step.saves < step.cost / EVEN:
        return "It saves less than it costs."
    if step.saves <= step.cost * EVEN:
        return "It saves about what it costs."
    return f"Saves about {minutes(step.saves / _rate(consultation))}."


def _account(consultation: Consultation, step: Step) -> str:
    """Return what a step saves and what it costs, in time and in money."""
    time = step.saves / _rate(consultation)
    saved = f"Saves {_about(step)} {minutes(time)} of what is left (cost {_money(consultation, step.saves)})"
    if time < SAME_MINUTES:
        saved = "By itself it saves nothing of what is left"
    wait = f" and {waiting(step.wait)} of waiting" if step.wait else ""
    return f"{saved}; takes {minutes(step.minutes)}{wait} (cost {_money(consultation, step.cost)})."


def _about(step: Step) -> str:
    return "roughly" if step.rough else "on average"


def _runner_up(consultation: Consultation, other: RunnerUp) -> str:
    """Return the best other step, and how it compares."""
    name, rate = work_of(consultation, other.step).name, _rate(consultation)
    says = ", ".join(
        text
        for text in (
            _differs(other.dearer / rate, "costs {} more", "costs {} less"),
            _differs(other.saves_less / rate, "saves {} less", "saves {} more"),
        )
        if text
    )
    head = "Better for the money" if other.share > 1 / AS_GOOD else "As good" if other.share >= AS_GOOD else "Next best"
    return f"{head}: {name}{f' ({says})' if says else ''}."


def _differs(by: float, more: str, less: str) -> str:
    if abs(by) < SAME_MINUTES:
        return ""
    return (more if by > 0 else less).format(minutes(abs(by)))


def _works(step: Step) -> float:
    return dict(step.outcomes).get("works", 0.0)


def _name(consultation: Consultation, cause: str) -> str:
    return consultation.bike.roots[cause].name


def _money(consultation: Consultation, amount: float) -> str:
    return money(amount, consultation.state.shop.currency)


def _rate(consultation: Consultation) -> float:
    """Return the shop's money per minute of work."""
    return consultation.state.shop.labour / 60


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""
