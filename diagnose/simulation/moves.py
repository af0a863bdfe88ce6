"""One step on an invented bike: what a policy may choose, what has to be unlocked before it, and what it comes to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from diagnose.consultation import TRY_TO_START, Consultation, observe, reconnect, repair
from diagnose.consultation.choices import quickest_looks, repair_option
from diagnose.consultation.safety import Lock
from diagnose.consultation.state import (
    BY_ITSELF,
    activities,
    reach_minutes,
    reaching,
    repairs_by,
    situation_for,
    situation_now,
)
from diagnose.events import Event
from diagnose.model import Repair, Test, Work, may_apply
from diagnose.network.situations import RepairDone
from diagnose.simulation.world import World, answer, bad, changed, looks


@dataclass(frozen=True, slots=True)
class Move:
    """One step. id: of the test, of the repair, or of the test that is put back; the try-out has its own."""

    kind: Literal["test", "repair", "try_out", "reconnect"]
    id: str


TRY = Move("try_out", TRY_TO_START)

FLOODS_KEPT = 4
"""So many changes that came about by kicking or running, the last ones, are believed in (see `lightened`)."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A job, the bike it is about, and the minutes that were waited so far (the job counts those of work)."""

    job: Consultation
    world: World
    waited: float = 0.0


def work_of(job: Consultation, move: Move) -> Work | None:
    """Return the work that a move is, None for putting something back."""
    if move.kind == "reconnect":
        return None
    if move.kind == "repair":
        return job.knowledge.repairs[move.id]
    return job.try_out if move.kind == "try_out" else job.knowledge.tests[move.id]


def unlocked(job: Consultation, move: Move) -> Move | None:
    """Return the move, or what must be done first so that it may be; None where nothing but a repair unlocks it.

    What is unplugged is put back before a test is asked; of several tests the quickest is.
    """
    work = work_of(job, move)
    held = _holding(job, work) if work else []
    ways = [_way(job, lock) for lock in held]
    if None in ways:
        return None
    back = [way for way in ways if way and way.kind == "reconnect"]
    return (back or [way for way in ways if way] or [move])[0]


def _holding(job: Consultation, work: Work) -> list[Lock]:
    """Return the locks that hold a piece of work; belief is asked for only where some rule could."""
    does = activities(job.knowledge, job.state, work)
    if not any(rule.when and rule.forbids & does for rule in job.knowledge.cautions.values()):
        return []
    return [lock for lock in job.locks if lock.forbids & does]


def _way(job: Consultation, lock: Lock) -> Move | None:
    """Return what may lift a lock: putting back, else the quickest test that is not locked itself."""
    if lock.put_back:
        return Move("reconnect", lock.put_back[0])
    tests = [job.knowledge.tests[test] for test in lock.unlocked_by]
    free = [test for test in tests if may_be_done(job, test) and not _holding(job, test)]
    return Move("test", min(free, key=lambda test: (test.minutes, test.id)).id) if free else None


def may_be_done(job: Consultation, work: Work) -> bool:
    """Return whether work fits the bike, is on the list, and the bike can be brought to stand for it."""
    return (
        may_apply(work.applies, job.state.facts)
        and work.id not in job.state.off_list
        and reaching(job.knowledge, job.state, work.needs) is not None
    )


def carried_out(bench: Bench, move: Move) -> Bench:
    """Return how it stands after a move: what was seen is told to the job, what happened is done to the bike."""
    job, work = bench.job, work_of(bench.job, move)
    if work is None:
        return replace(bench, job=job.add(reconnect(move.id)))
    wait = work.wait + reach_minutes(reaching(job.knowledge, job.state, work.needs))[1]
    if isinstance(work, Repair):
        event = _repaired(bench, work)
    else:
        test = _as_test(work)
        situation = situation_for(job.knowledge, job.state, test)
        tries = _done_before(job, test) if test.id == TRY_TO_START else 0
        event = observe(test.id, answer(bench.world, test, situation, job.state.repairs, tries))
    after = job.add(event)
    return Bench(after, followed(bench.world, job, after), bench.waited + wait)


def _done_before(job: Consultation, test: Test) -> int:
    """Return how often a test was done: an answer that came in the place of another of the same moment counts too."""
    return sum(event.kind == "observe" and event.body.get("test") == test.id for event in job.events)


def _as_test(work: Work) -> Test:
    if not isinstance(work, Test):
        raise TypeError(f"{work.id} is no test")
    return work


def _repaired(bench: Bench, work: Repair) -> Event:
    """Return the event of a repair: of parts that a look shows, how they looked.

    Where all of them are such and were sound, the look is all the time that it took, and no part was bought.
    """
    job = bench.job
    quick = quickest_looks(job.knowledge, job.state)
    before = sum(done.id == work.id for done in job.state.repairs)
    found = looks(bench.world, work, frozenset(quick), before)
    event = repair(work.id, found)
    look = repair_option(job.knowledge, job.state, work, {}, quick).look
    if look is None or "broken" in found.values():
        return event
    return replace(event, body={**event.body, "minutes": look, "parts": 0.0})


def followed(world: World, before: Consultation, after: Consultation) -> World:
    """Return the bike after all that the job counts as changes to causes, in their order."""
    done = list(before.state.repairs)
    for one in after.state.repairs[len(done) :]:
        world = changed(world, one, sum(old.id == one.id for old in done))
        done.append(one)
    return world


def does_its_job(bench: Bench) -> bool:
    """Return whether the bike truly does all that is asked of it, as it stands."""
    state = bench.job.state
    return not bad(bench.world, bench.job.targets, situation_now(bench.job.knowledge, state))


def finished(job: Consultation) -> bool:
    """Return whether the last try-out ends the job. Belief is worked out only where the bike ran well."""
    shown = job.tried
    return bool(shown) and job.try_out is not None and job.try_out.outcome(shown).default and job.done


def to_be_tried(job: Consultation) -> bool:
    """Return whether something was repaired since the bike was last tried."""
    tries = [repairs_by(job.state, seen.situation) for seen in job.state.seen if seen.test == TRY_TO_START]
    return repairs_by(job.state) > max(tries, default=0)


def lightened(job: Consultation) -> Consultation:
    """Return the job without what matters least to the belief, for the sake of speed: what the compared policies see.

    Left out are try-outs that came again in the same way later: a bike only gets better by repairs, so if it still
    fails in the same way afterwards, that it did before is a matter of course, and each moment fewer makes the network
    narrower. Other results stand: that a plug was wet before it was dried as well as after tells of more than floods.
    And of the floods that kicking may have made only the last few count.
    """
    last = {seen.outcome: number for number, seen in enumerate(job.state.seen) if seen.test == TRY_TO_START}
    kept = tuple(
        seen for number, seen in enumerate(job.state.seen) if seen.test != TRY_TO_START or last[seen.outcome] == number
    )
    lighter = Consultation(job.knowledge, job.events)
    lighter.__dict__["state"] = replace(job.state, seen=kept, repairs=_forgotten(job.state.repairs))
    return lighter


def _forgotten(repairs: tuple[RepairDone, ...]) -> tuple[RepairDone, ...]:
    """Return the changes, of those that came by themselves all but the last few without effect; none is left out."""
    by_itself = [n for n, done in enumerate(repairs) if done.id.startswith(BY_ITSELF)]
    old = set(by_itself[:-FLOODS_KEPT])
    return tuple(replace(done, cures={}, dud={}) if n in old else done for n, done in enumerate(repairs))
