"""READ FIRST. A consultation as plain values: begin, add what happened, ask what is likely and what to do next.

    knowledge = load(shipped_folder())
    job = begin(knowledge, {"bike": {"strokes": "2", "starter": "kick"}, "complaint": "not_a_cough"})
    job.ranked[0]                                     # the likeliest reason
    job.next_step                                     # what to do next, with its price
    job = job.add(observe("spark_at_gap", "none"))    # an answer; nothing is ever changed in place
    job = job.add(repair("new_plug"))
    job = job.add(undo())

A job is a tuple of events and everything else is worked out from them: `state` says where the job stands
(happened.py, state.py), `belief` what the evidence says (inference/), `steps` what could be done (planning/), and
which of it is locked (safety.py).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from diagnose.consultation.choices import would_show_the_same
from diagnose.consultation.evidence import bike_graph, question, targets, try_out_of
from diagnose.consultation.happened import state_of
from diagnose.consultation.outlook import Outlooked, foreseen, look_ahead, unplanned
from diagnose.consultation.reasons import Groups, Reason, reason, told_causes
from diagnose.consultation.repeats import out_of_date
from diagnose.consultation.safety import Lock, locks
from diagnose.consultation.state import OFF_LIST, TRY_TO_START, Limit, Seen, Shop, State, tried
from diagnose.consultation.tools import OutOfReach, out_of_reach
from diagnose.consultation.waiting import meanwhile
from diagnose.consultation.working import completed
from diagnose.consultation.worth import CLEARLY, Worth, round_of_repairs, worth_of
from diagnose.events import Event, standing
from diagnose.inference.conflict import conflict, most_resolving
from diagnose.inference.posterior import Posterior, Question, log_evidence, posterior, settled
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.model import Knowledge, Test
from diagnose.network.graph import BikeGraph
from diagnose.planning.bundle import Bundle
from diagnose.planning.steps import Step
from diagnose.problems import JobError

__all__ = [
    "OFF_LIST",
    "TRY_TO_START",
    "Conflict",
    "Consultation",
    "Limit",
    "RankedCause",
    "Reason",
    "Seen",
    "Shop",
    "State",
    "Worth",
    "begin",
    "close_job",
    "no_tool",
    "note",
    "observe",
    "off_list",
    "played",
    "reconnect",
    "repair",
    "resume",
    "start",
    "try_out",
    "undo",
    "worth",
]

HARDLY_FITS = 1.0
"""Above this conflict measure the answers are said not to fit together (memory; e is odds of nearly three)."""

SOLVED = 0.05
"""The bike counts as running as asked when P(a target is not healthy) is below this after a try-out said so."""


@dataclass(frozen=True, slots=True)
class RankedCause:
    """A cause with its probability now and before the last event.

    is_leak: "something else", not in the book. bears: what is asked of the bike can fail by it; a flat battery may well
    be there on a bike whose ignition has no need of one, and is no reason why it does not start.
    """

    id: str
    name: str
    probability: float
    before: float
    is_leak: bool
    bears: bool


@dataclass(frozen=True, slots=True)
class Conflict:
    """The answers hardly fit together. measure: Jensen's, natural logarithm; repeat: the answer to do again first."""

    measure: float
    repeat: str

    def __str__(self) -> str:
        """Return it as the mechanic reads it."""
        return f"What was seen hardly fits together. Do this again first: {self.repeat}"


@dataclass(frozen=True)
class Consultation:
    """One job at one moment. Adding an event gives a new one; everything is worked out when asked for."""

    knowledge: Knowledge
    events: tuple[Event, ...]

    @cached_property
    def state(self) -> State:
        """Where the job stands."""
        return state_of(self.knowledge, self.events)

    @cached_property
    def bike(self) -> BikeGraph:
        """The decision graph of this bike."""
        return bike_graph(self.knowledge, self.state.facts)

    @cached_property
    def _ahead(self) -> Outlooked:
        return look_ahead(self.knowledge, self.state, self.belief, self.question)

    @property
    def question(self) -> Question:
        """What the network is asked; where all answers together are too much for it, see `Question.apart`."""
        return self._answered[0]

    @property
    def belief(self) -> Posterior:
        """What the evidence says. Raises ImpossibleEvidence naming the answers that contradict each other."""
        return self._answered[1]

    @cached_property
    def _answered(self) -> tuple[Question, Posterior]:
        asked = question(self.knowledge, self.state)
        try:
            return asked, posterior(self.bike, asked)
        except NetworkTooWide:
            fewer = settled(self.bike, asked)
            return fewer, posterior(self.bike, fewer)

    @cached_property
    def earlier(self) -> Consultation | None:
        """The job before the last event that still stands, None at the beginning."""
        kept = [event for _, event in standing(self.events)]
        return Consultation(self.knowledge, tuple(kept[:-1])) if len(kept) > 1 else None

    @cached_property
    def ranked(self) -> tuple[RankedCause, ...]:
        """Every cause the bike can have: those that bear on what is asked of it, likeliest first, then the others."""
        before = self.earlier.belief.causes if self.earlier else {}
        above = self.bike.above(self.targets)
        causes = [
            RankedCause(root.id, root.name, p, before.get(root.id, p), root.leak_of is not None, root.id in above)
            for root, p in zip(self.bike.roots.values(), self.belief.causes.values(), strict=True)
        ]
        return tuple(sorted(causes, key=lambda cause: (not cause.bears, -round(cause.probability, 9), cause.id)))

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Everything that could be done next, best first; what is locked stands last.

        Where the owner set a limit, the test that shows whether it must be broken stands before all others if it pays.
        """
        planned, first = self._ahead.steps, self.worth.first if self.state.limit != Limit() else ""
        if not first:
            return planned
        known = [step for step in planned if step.kind == "test" and step.id == first]
        step = known[0] if known else unplanned(self.knowledge, self.state, self._ahead.given, first)
        return (step, *(other for other in planned if other is not step))

    @cached_property
    def worth(self) -> Worth:
        """What it may still cost, what could break the owner's limit, and the cheapest way to end it."""
        return worth_of(self.knowledge, self.state, self._ahead)

    @property
    def watches_money(self) -> bool:
        """Whether money may be worth a word: the owner set a limit, or handing on could be the cheapest."""
        dear = self.cost_left >= CLEARLY * self._ahead.given.bench.handing_on or not self._ahead.helps
        return self.state.limit != Limit() or dear

    @cached_property
    def round_of_repairs(self) -> Bundle:
        """The repairs that are due on a bike that has stood: each done, looked at first or left."""
        return round_of_repairs(self.knowledge, self.state, self.belief, self._ahead)

    @property
    def next_step(self) -> Step | None:
        """The best step that can be done now, beside what waits if something does; None when nothing is left."""
        return next(iter(self.free), None)

    @property
    def free(self) -> tuple[Step, ...]:
        """The steps that can be done now, best first: not locked, and not touching what soaks, dries or charges.

        Nor a try-out that would show the same once more.
        """
        again = "try_out" if would_show_the_same(self.knowledge, self.state, self.belief) else ""
        free = [step for step in self.steps if not step.forbidden and step.kind != again]
        return meanwhile(self.knowledge, self.state, self.bike, free)

    def reason(self, step: Step) -> Reason:
        """Return why a step is worth doing, one of the plan or another."""
        test = self.knowledge.tests.get(step.id) if step.kind == "test" else None
        prospect = self._ahead.ahead.get(step.id)
        if prospect is None and test is not None:
            prospect = foreseen(self.knowledge, self.state, self.question, test)
        return reason(self.knowledge, self.state, self.belief.causes, self.steps, self.locks, step, prospect)

    def tells(self, test: str) -> Groups:
        """Return the causes that a test would move most, see Reason.tells; none where that would take too long."""
        prospect = foreseen(self.knowledge, self.state, self.question, self.knowledge.tests[test])
        return told_causes(self.belief.causes, prospect) if prospect else ()

    @property
    def cost_left(self) -> float:
        """Expected money until the bike does what is asked."""
        return 0.0 if self.done else self._ahead.cost_left

    @property
    def minutes_left(self) -> float:
        """The expected cost left as minutes of the shop's work."""
        return self.cost_left / (self.state.shop.labour / 60)

    @cached_property
    def conflict(self) -> Conflict | None:
        """What to do again where the answers hardly fit together, None where they do."""
        asked = self.question
        if asked.apart:
            return None  # how well answers fit together is known only of those reckoned together
        bike, log_joint = asked.graph(self.bike), self.belief.log_evidence
        if asked.untied:  # what is carried weighs in its belief
            log_joint = log_evidence(bike, asked.observations, asked.repairs)
        measure = conflict(bike, asked, log_joint)
        if measure < HARDLY_FITS:
            return None
        index, _ = most_resolving(bike, asked)
        return Conflict(measure, asked.observations[index].label)

    @cached_property
    def locks(self) -> tuple[Lock, ...]:
        """The cautions that lock something now."""
        return locks(self.knowledge, self.state, self.bike, self.belief.conditions)

    @property
    def out_of_date(self) -> frozenset[str]:
        """Tests whose last result is of the bike as it was before something was changed; kept as evidence of that."""
        return out_of_date(self.knowledge, self.state, self.bike)

    @property
    def out_of_reach(self) -> tuple[OutOfReach, ...]:
        """What fits the bike and cannot be done for want of a tool."""
        return out_of_reach(self.knowledge, self.state)

    @property
    def targets(self) -> tuple[str, ...]:
        """The conditions that must be healthy for the job to be done."""
        return targets(self.knowledge, self.state)

    @property
    def done(self) -> bool:
        """Whether a try-out of the bike as it stands showed that it does what is asked."""
        if self.state.closed is not None:
            return True
        return self.tried != "" and self.belief.failing < SOLVED

    @property
    def tried(self) -> str:
        """The outcome of the last try-out of the bike as it stands; empty if there was none."""
        return tried(self.knowledge, self.state)

    @cached_property
    def try_out(self) -> Test | None:
        """The try-out as this job needs it; None where the knowledge has none."""
        return try_out_of(self.knowledge, self.state)

    def add(self, event: Event) -> Consultation:
        """Return the job with one more event. Raises JobError if it cannot have happened, ImpossibleEvidence."""
        if self.state.closed is not None and event.kind not in ("undo", "note"):
            raise JobError("this job is closed; undo the closing first, or begin a new job")
        if event.kind == "undo" and len(standing(self.events)) < 2:
            raise JobError("there is nothing to undo")
        after = replace(self, events=(*self.events, event))._checked()
        if event.kind != "undo":
            after.__dict__["earlier"] = self  # what it would work out again
        return after

    def _checked(self) -> Consultation:
        self.state  # noqa: B018  worked out now, so that a wrong event is refused before it is kept
        return self


def begin(knowledge: Knowledge, intake: Mapping[str, Any], at: str = "") -> Consultation:
    """Return a new job. intake: bike, shop, complaint, title, words. Raises JobError."""
    return resume(knowledge, [Event("intake", dict(intake), at)])


def resume(knowledge: Knowledge, events: Sequence[Event]) -> Consultation:
    """Return the job that these events make. Raises JobError for one that cannot have happened."""
    if not events or events[0].kind != "intake":
        raise JobError("a job begins with its intake")
    return Consultation(knowledge, tuple(events))._checked()


def played(knowledge: Knowledge, events: Iterable[Event]) -> Iterator[tuple[Event, Consultation]]:
    """Yield each event of a script, a bare reading with its outcome, and the job after it. Raises DiagnoseError."""
    job: Consultation | None = None
    for event in events:
        if job is None:
            job = begin(knowledge, event.body)
        else:
            event = completed(knowledge, job.state, event)
            job = job.add(event)
        yield event, job


def observe(
    test: str,
    outcome: str,
    reading: Mapping[str, Any] | None = None,
    at: str = "",
    before: str = "",
    weights: Mapping[str, float] | None = None,
) -> Event:
    """Return the event of a result.

    before: a repair before which it was seen, though it is told only now. weights: outcome -> likelihood of what was
    seen, where it does not show the outcome for certain; the outcome is then the likeliest.
    """
    body: dict[str, Any] = {"test": test, "outcome": outcome} | ({"before": before} if before else {})
    body |= {"weights": dict(weights)} if weights else {}
    return Event("observe", body | ({"reading": dict(reading)} if reading else {}), at)


def try_out(outcome: str, at: str = "") -> Event:
    """Return the event of an attempt to start."""
    return observe(TRY_TO_START, outcome, at=at)


def off_list(kind: str, test: str, why: str = "", at: str = "") -> Event:
    """Return the event that takes a test off the list: kind is cannot, not_sure or declined."""
    if kind not in OFF_LIST:
        raise JobError(f"{kind!r} is no reason; write one of: {', '.join(OFF_LIST)}")
    return Event(kind, {"test": test} | ({"why": why} if why else {}), at)  # type: ignore[arg-type]


def no_tool(tool: str, test: str = "", at: str = "") -> Event:
    """Return the event that the shop has not a tool. test: the one that could not be done without it."""
    return Event("tool", {"tool": tool, "have": False} | ({"test": test} if test else {}), at)


def start(kind: str, work_id: str, at: str = "") -> Event:
    """Return the event that something is begun and left to wait. kind: test or repair."""
    return Event("start", {kind: work_id}, at)


def repair(repair_id: str, found: Mapping[str, str] | None = None, at: str = "") -> Event:
    """Return the event of a repair. found: cause -> broken, sound or not_seen."""
    body: dict[str, Any] = {"repair": repair_id}
    return Event("repair", body | ({"found": dict(found)} if found else {}), at)


def reconnect(test: str, at: str = "") -> Event:
    """Return the event that what a test left unplugged or bypassed is back as it was."""
    return Event("reconnect", {"test": test}, at)


def note(text: str, at: str = "") -> Event:
    """Return the event of a note."""
    return Event("note", {"text": text}, at)


def undo(at: str = "") -> Event:
    """Return the event that takes back the last step that stands."""
    return Event("undo", {}, at)


def worth(limit: Limit, at: str = "") -> Event:
    """Return the event that the owner says what it is worth; None unsays it."""
    return Event("worth", {"running": limit.running, "ceiling": limit.ceiling}, at)


def close_job(confirmed: Mapping[str, str], words: str = "", at: str = "", ended: str = "") -> Event:
    """Return the closing event.

    Args:
        confirmed: cause -> cured, seen, replaced_with_others or cleared.
        words: a line for the owner.
        at: when.
        ended: handed_on or not_worth_it, for a job that was ended so.
    """
    more = {name: text for name, text in (("words", words), ("ended", ended)) if text}
    return Event("close_job", {"confirmed": dict(confirmed), **more}, at)
