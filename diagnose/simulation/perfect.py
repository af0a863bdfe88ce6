"""Perfect knowledge: what the bike would have cost had he known at once what is wrong. The floor for every policy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.consultation import Consultation, observe, repair
from diagnose.consultation.choices import bench_of
from diagnose.consultation.state import TRY_TO_START, situation_now
from diagnose.model import Knowledge, Repair, may_apply
from diagnose.network.situations import Situation
from diagnose.simulation.moves import Bench, followed
from diagnose.simulation.world import World, bad

AS_SURE = 0.5
"""A repair counts for a cause that it cures at least so often as the surest one does (choice of ours)."""

MOST_AGAIN = 5
"""So many times as many repairs as are needed are done at most, where some do not help at once."""


def needed(knowledge: Knowledge, world: World, job: Consultation) -> tuple[Repair, ...] | None:
    """Return repairs none of which can be left out, together enough; None where the book has no repair for it.

    All that are as sure as any to cure something that is there are taken, and then given up again one by one, the
    dearest first, as long as the bike still does what is asked. (Nearly the cheapest such set, not always.)
    """
    fit = [one for one in knowledge.repairs.values() if may_apply(one.applies, job.state.facts)]
    surest = {cause: max((one.cures.get(cause, 0.0) for one in fit), default=0.0) for cause in world.causes}
    cures = {
        one.id: frozenset(c for c, p in one.cures.items() if c in surest and p >= AS_SURE * surest[c]) for one in fit
    }
    kept = sorted((one for one in fit if cures[one.id]), key=lambda one: (-_money(job, one), one.id))
    if not _enough(world, kept, cures, job):
        return None
    for one in tuple(kept):
        fewer = [other for other in kept if other is not one]
        if _enough(world, fewer, cures, job):
            kept = fewer
    return tuple(kept)


def _enough(world: World, repairs: Sequence[Repair], cures: Mapping[str, frozenset[str]], job: Consultation) -> bool:
    cured = frozenset[str]().union(*(cures[one.id] for one in repairs))
    now = situation_now(job.knowledge, job.state)
    return not bad(world, asked(job), Situation(now.epoch, now.cut | cured, now.held))


def asked(job: Consultation) -> tuple[str, ...]:
    """Return what must be healthy at the end: what is asked of the bike, and all that a try-out shows.

    A bike that goes again but will not idle is not handed back so by any policy: what its try-out shows is asked of it
    from then on (evidence.targets), and of perfect knowledge too, that tries once.
    """
    shown = job.try_out.drivers if job.try_out else frozenset()
    return (*job.targets, *sorted(shown.difference(job.targets)))


def _money(job: Consultation, one: Repair) -> float:
    bench = bench_of(job.knowledge, job.state)
    doors = bench.tree.closure(one.access)
    return bench.money(
        one.minutes + sum(bench.tree.states[a].open + bench.tree.states[a].close for a in doors), one.wait, one.parts
    )


def perfect(bench: Bench) -> tuple[Bench, int] | None:
    """Return the bike with what it needs repaired and tried once, and the steps; None where the book cannot mend it.

    Each time the repair for which the least more has to be opened or closed is next; one that did not help (he knows)
    is done again. What costs more than handing on is handed on unopened (see walk).
    """
    job, world = bench.job, bench.world
    left = needed(job.knowledge, world, job)
    if left is None:
        return None
    steps, wait, most = 0, 0.0, MOST_AGAIN * len(left)
    while left and steps < most:
        nexts = {one.id: job.add(repair(one.id)) for one in left}
        one = min(left, key=lambda r: (nexts[r.id].state.minutes - r.minutes, r.id))
        world, before, job = followed(world, job, nexts[one.id]), world.causes, nexts[one.id]
        steps, wait = steps + 1, wait + one.wait
        if not world.causes & before & one.cures.keys():
            left = tuple(other for other in left if other is not one)
    if job.try_out is not None:
        tried = job.add(observe(TRY_TO_START, next(o.id for o in job.try_out.outcomes if o.default)))
        job, world, steps = tried, followed(world, job, tried), steps + 1
    return Bench(job, world, wait), steps
