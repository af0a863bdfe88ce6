"""READ FIRST of this room. The policy for a kind of bike and complaint, unrolled to a graph for the wall.

A node is a step as the consultation proposes it; its ways are the outcomes, each to another step or to an ending.
Two ways that lead to the same next step with nearly the same belief are one node with two ways in (`equal`). It is
unrolled where it is likeliest to be needed first, as far as the sheet goes (`unroll`); there are no circles in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from diagnose.model import Caution

ELSE = "Anything else"
"""What outcomes are called that are too seldom to be shown."""


@dataclass(frozen=True, slots=True)
class Ending:
    """Where the chart ends. likeliest: names of causes and P(present), likeliest first, where it goes on elsewhere.

    runs: the bike does what is asked. hand_on: no step takes anything off what is left to do. interview: go on there.
    """

    kind: Literal["runs", "hand_on", "interview"]
    likeliest: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Way:
    """One outcome of a step. says: its name; chance: P(outcome | step reached); to: the number of a step, or an end."""

    outcome: str
    says: str
    chance: float
    to: int | Ending


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartStep:
    """A node. reach: P(it is come to); rest: P(an outcome that is not shown | reached). Time in minutes.

    before: what is to be done first, shut first and taken off first, in this order; how: its own first plain step.
    cautions: ids, of those of the work, of what it opens and of what is to be done first.
    """

    number: int
    kind: Literal["test", "repair", "try_out", "reconnect"]
    id: str
    name: str
    how: str
    before: tuple[str, ...]
    minutes: float
    wait: float
    parts: float
    cautions: tuple[str, ...]
    reach: float
    ways: tuple[Way, ...]
    rest: float

    @property
    def next(self) -> tuple[int, ...]:
        """The numbers of the steps its ways lead to, each once."""
        return tuple(dict.fromkeys(way.to for way in self.ways if isinstance(way.to, int)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """All of it. bike: names of facts and of what they are, as told; cautions: every one that a step carries.

    start: the number of the first step, or an ending where there is none. steps: by number, from 1. version: of the
    knowledge. notes: what holds for several steps and is said once.
    """

    bike: tuple[tuple[str, str], ...]
    complaint: str
    version: str
    start: int | Ending
    steps: tuple[ChartStep, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[str, ...] = ()

    def __getitem__(self, number: int) -> ChartStep:
        """Return the step of that number. Raises IndexError."""
        return self.steps[number - 1]


def endings(chart: Chart) -> tuple[tuple[float, Ending], ...]:
    """Return every ending with P(the chart is left there); they add up to 1, what is not shown among them."""
    if isinstance(chart.start, Ending):
        return ((1.0, chart.start),)
    ends = [(s.reach * way.chance, way.to) for s in chart.steps for way in s.ways if isinstance(way.to, Ending)]
    return (*ends, *((s.reach * s.rest, Ending("interview")) for s in chart.steps if s.rest > 0.0))


def layers(chart: Chart) -> dict[int, int]:
    """Return for each step the most steps that can lie before it."""
    depth = dict.fromkeys(range(1, len(chart.steps) + 1), 0)
    waiting = {number: sum(number in step.next for step in chart.steps) for number in depth}
    ready = [number for number, before in waiting.items() if not before]
    while ready:
        number = ready.pop()
        for after in chart[number].next:
            depth[after] = max(depth[after], depth[number] + 1)
            waiting[after] -= 1
            if not waiting[after]:
                ready.append(after)
    return depth
