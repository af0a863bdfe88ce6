"""The unrolling: the likeliest outcome that is still open is followed first, until the sheet is full."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from diagnose.chart import Chart, Ending
from diagnose.chart.branches import Branch, branches, ends
from diagnose.chart.equal import NEARLY, distance, same
from diagnose.chart.told import Grown, reached, told
from diagnose.consultation import Consultation

LEAST = 0.005
"""What is less likely than this to be come to is left to the interview: one bike in two hundred (a choice of ours)."""

MOST_REFUSED = 6
"""After so many steps in all that no longer fit, the sheet counts as full."""

NAMED = 2
"""Two endings that name the same so many causes, in whatever order, say the same."""

ROUNDS = 5
"""So often the room of what was left out again is filled."""

Fits = Callable[[Chart], bool]
"""Whether a chart goes on the sheet."""

Tell = Callable[[int], None]
"""Told the number of steps on the chart, each time before one more is worked out."""


@dataclass(frozen=True)
class _Open:
    """An outcome that leads nowhere yet: of which node, which branch, and P(it is come to)."""

    node: int
    branch: int
    reach: float


def unroll(job: Consultation, fits: Fits, tell: Tell = lambda _: None) -> Chart:
    """Return the chart of what is proposed from here on. Raises DiagnoseError where the job itself is impossible.

    Args:
        job: the bike and the complaint, nothing done yet.
        fits: asked before a step is added; the first step is there in any case.
        tell: how far it is.
    """
    end = ends(job)
    if end is not None:
        return told(job, (), end)
    grown: tuple[Grown, ...] = (grow(job),)
    for _ in range(ROUNDS):
        full = _filled(job, grown, fits, tell)
        grown = telling(full)
        if len(grown) == len(full):
            break
    return told(job, grown)


def _filled(job: Consultation, grown: tuple[Grown, ...], fits: Fits, tell: Tell) -> tuple[Grown, ...]:
    """Return the nodes with the likeliest open outcomes followed until the sheet is full."""
    shut: set[tuple[int, int]] = set()
    refused = 0
    while refused < MOST_REFUSED and (wanted := _likeliest(grown, shut)) is not None:
        place = (wanted.node, wanted.branch)
        if not fits(told(job, _with_stub(grown, wanted))) and not _near_another(grown, wanted):
            shut.add(place)
            continue
        tell(len(grown))
        more = _followed(grown, wanted)
        if fits(told(job, more)):
            grown = more
        else:
            shut.add(place)
            refused += 1
    return grown


def telling(grown: tuple[Grown, ...]) -> tuple[Grown, ...]:
    """Return the nodes without the tests of which nothing comes on this chart: it says the same whatever they show.

    The ways there end the chart; the interview will ask them. The first node stays.
    """
    silent = next((n for n, node in enumerate(grown) if n and _tells_nothing(node)), None)
    if silent is None:
        return grown
    kept = [
        replace(node, to=tuple(_past(b, to, silent) for b, to in zip(node.branches, node.to, strict=True)))
        for n, node in enumerate(grown)
        if n != silent
    ]
    return telling(tuple(kept))


def _tells_nothing(node: Grown) -> bool:
    """Whether a test ends the chart with the same likeliest causes whatever it shows."""
    ends_so = [branch.ending if to is None else to for branch, to in zip(node.branches, node.to, strict=True)]
    said = {frozenset(name for name, _ in end.likeliest[:NAMED]) for end in ends_so if isinstance(end, Ending)}
    going_on = all(isinstance(end, Ending) and end.kind == "interview" for end in ends_so)
    return node.step.kind == "test" and going_on and len(said) <= 1


def _past(branch: Branch, to: int | Ending | None, dropped: int) -> int | Ending | None:
    """Return where an outcome leads once a node is dropped."""
    if not isinstance(to, int) or to < dropped:
        return to
    return branch.ending if to == dropped else to - 1


def grow(job: Consultation) -> Grown:
    """Return the node of a job that has a next step, none of its outcomes followed yet."""
    step = job.next_step
    if step is None:
        raise ValueError("nothing is left to do")
    found = branches(job, step)
    to = tuple(branch.ending if step.kind == "try_out" and branch.after.done else None for branch in found)
    return Grown(job, step, found, to)


def _likeliest(grown: Sequence[Grown], shut: set[tuple[int, int]]) -> _Open | None:
    """Return the outcome most likely to be come to of those that lead nowhere yet, earliest first where equal."""
    reach = reached(grown)
    open_ones = [
        _Open(n, b, reach[n] * branch.chance)
        for n, node in enumerate(grown)
        for b, (branch, to) in enumerate(zip(node.branches, node.to, strict=True))
        if to is None and (n, b) not in shut
    ]
    best = max(open_ones, key=lambda one: (one.reach, -one.node, -one.branch), default=None)
    return best if best is not None and best.reach >= LEAST else None


def _followed(grown: tuple[Grown, ...], wanted: _Open) -> tuple[Grown, ...]:
    """Return the nodes with one outcome followed: to an end, to a node that is there already, to a new one."""
    after = grown[wanted.node].branches[wanted.branch].after
    end = ends(after)
    if end is not None:
        return _led(grown, wanted, end)
    for number, node in enumerate(grown):
        if not _leads(grown, number, wanted.node) and same(node.job, after):
            return _led(grown, wanted, number)
    return (*_led(grown, wanted, len(grown)), grow(after))


def _near_another(grown: Sequence[Grown], wanted: _Open) -> bool:
    """Whether another outcome of the same step, followed already, leads to nearly the same belief."""
    node = grown[wanted.node]
    after = node.branches[wanted.branch].after
    return any(isinstance(to, int) and distance(grown[to].job, after) <= NEARLY for to in node.to)


def _with_stub(grown: tuple[Grown, ...], wanted: _Open) -> tuple[Grown, ...]:
    """Return the nodes with the smallest step there can be at the end of an outcome: to see whether any fits."""
    node = grown[wanted.node]
    branch = Branch("", "", 1.0, node.job, ())
    stub = Grown(node.job, replace(node.step, opens=(), closes=()), (branch,), (Ending("runs"),), stub=True)
    return (*_led(grown, wanted, len(grown)), stub)


def _led(grown: tuple[Grown, ...], wanted: _Open, to: int | Ending) -> tuple[Grown, ...]:
    node = grown[wanted.node]
    led = replace(node, to=(*node.to[: wanted.branch], to, *node.to[wanted.branch + 1 :]))
    return (*grown[: wanted.node], led, *grown[wanted.node + 1 :])


def _leads(grown: Sequence[Grown], one: int, other: int) -> bool:
    """Whether a way goes from one node to the other, or they are the same: a way back would make a circle."""
    seen, ahead = set(), [one]
    while ahead:
        number = ahead.pop()
        if number == other:
            return True
        if number not in seen:
            seen.add(number)
            ahead += [to for to in grown[number].to if isinstance(to, int)]
    return False
