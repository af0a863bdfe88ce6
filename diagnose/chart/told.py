"""From what was unrolled to what the chart says: names, minutes, cautions, numbers in reading order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diagnose.chart import Chart, ChartStep, Ending, Way, layers
from diagnose.chart.branches import Branch, attempted
from diagnose.consultation import Consultation
from diagnose.consultation.safety import brings, by_button, said_at
from diagnose.model import Work
from diagnose.planning.steps import Step

HANDED_OVER = "road_ready"
"""The caution for every bike that runs again."""


_Words = tuple[str, str, tuple[str, ...], tuple[str, ...]]
_STUB: _Words = ("-", "", (), ())


@dataclass(frozen=True)
class Grown:
    """A node while the chart grows: a job, its next step, the outcomes and where each leads (None: nowhere yet).

    stub: it only takes the room of a step.
    """

    job: Consultation
    step: Step
    branches: tuple[Branch, ...]
    to: tuple[int | Ending | None, ...]
    stub: bool = False


def reached(grown: Sequence[Grown]) -> list[float]:
    """Return P(a node is come to), the first being where it begins."""
    reach = [0.0] * len(grown)
    waiting = [0] * len(grown)
    for node in grown:
        for to in node.to:
            if isinstance(to, int):
                waiting[to] += 1
    ready, reach[0] = [0], 1.0
    while ready:
        number = ready.pop()
        for branch, to in zip(grown[number].branches, grown[number].to, strict=True):
            if isinstance(to, int):
                reach[to] += reach[number] * branch.chance
                waiting[to] -= 1
                if not waiting[to]:
                    ready.append(to)
    return reach


def told(job: Consultation, grown: Sequence[Grown], start: Ending | None = None) -> Chart:
    """Return the chart of what has grown from a job, or of one that ends where it begins."""
    known, state = job.knowledge, job.state
    reach = reached(grown) if grown else []
    steps = tuple(_step(node, n + 1, reach[n]) for n, node in enumerate(grown))
    said = dict.fromkeys(caution for step in steps for caution in step.cautions)
    if _runs(steps, start) and HANDED_OVER in known.cautions:
        said[HANDED_OVER] = None
    chart = Chart(
        bike=tuple((known.facts[fact].name, known.facts[fact].options[o].name) for fact, o in state.told.items()),
        complaint=known.complaints[state.complaint].name if state.complaint else "",
        version=known.version,
        start=start or 1,
        steps=steps,
        cautions=tuple(caution for caution in known.cautions.values() if caution.id in said),
        notes=_notes(grown),
    )
    deep = layers(chart)
    return renumbered(chart, sorted(deep, key=lambda number: (deep[number], number)))


def renumbered(chart: Chart, order: Sequence[int]) -> Chart:
    """Return the chart with its steps numbered in another order. order: the old numbers."""
    new = {old: n for n, old in enumerate(order, start=1)}
    steps = tuple(
        replace(
            chart[old],
            number=new[old],
            ways=tuple(replace(w, to=new[w.to] if isinstance(w.to, int) else w.to) for w in chart[old].ways),
        )
        for old in order
    )
    return replace(chart, steps=steps, start=new[chart.start] if isinstance(chart.start, int) else chart.start)


def _notes(grown: Sequence[Grown]) -> tuple[str, ...]:
    """Return what a kick means on this bike, if a step kicks."""
    works = [(node.job, _work(node.job, node.step)) for node in grown if node.step.kind != "reconnect"]
    said = dict.fromkeys(by_button(job.state.facts, work) for job, work in works)
    return tuple(note for note in said if note)


def _work(job: Consultation, step: Step) -> Work:
    return job.knowledge.repairs[step.id] if step.kind == "repair" else attempted(job, step)


def _runs(steps: Sequence[ChartStep], start: Ending | None) -> bool:
    ends = [start, *(way.to for step in steps for way in step.ways)]
    return any(isinstance(end, Ending) and end.kind == "runs" for end in ends)


def _step(node: Grown, number: int, reach: float) -> ChartStep:
    """Return a node as the chart says it."""
    name, how, before, cautions = _STUB if node.stub else _words(node.job, node.step)
    ways = tuple(Way(b.outcome, b.says, b.chance, _to(b, to)) for b, to in zip(node.branches, node.to, strict=True))
    return ChartStep(
        number=number,
        kind=node.step.kind,
        id=node.step.id,
        name=name,
        how=how,
        before=before,
        minutes=node.step.minutes,
        wait=node.step.wait,
        parts=node.step.parts,
        cautions=cautions,
        reach=reach,
        ways=ways,
        rest=max(0.0, 1.0 - sum(way.chance for way in ways)) if len(ways) != 1 or ways[0].chance < 1.0 else 0.0,
    )


def _to(branch: Branch, to: int | Ending | None) -> int | Ending:
    if to is None:
        return branch.ending
    return to + 1 if isinstance(to, int) else to


def _words(job: Consultation, step: Step) -> _Words:
    """Return name, first plain step, what comes before it, and its cautions."""
    known, state = job.knowledge, job.state
    if step.kind == "reconnect":
        put_back = known.tests[step.id].put_back
        return f"Back as it was: {known.tests[step.id].name}", put_back[0] if put_back else "", (), ()
    work = _work(job, step)
    first = [f"First: {way.step}" for way in brings(known, state, work)]
    first += [f"First back on or shut: {known.access[access].name}" for access in step.closes]
    first += [f"First: {known.access[access].name}" for access in step.opens]
    cautions = tuple(caution.id for caution in said_at(known, state, work, step.opens))
    return work.name, next(iter(work.steps), ""), tuple(first), cautions
