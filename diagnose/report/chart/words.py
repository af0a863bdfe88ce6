"""What the chart says beside the names of the book, the same as text and drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

from diagnose.chart import ELSE, Chart, ChartStep, Ending, Way
from diagnose.wording import minutes, per_cent

WHATEVER = "Whatever it shows"
"""What all outcomes together are called that lead to the same place."""

INTERVIEW, BEGIN = "interview", "begin the interview"
PROMISES = "Costs nothing but what it says. The figures are expectations, not promises."
NO_MANUAL = "This is no replacement for the manual of the bike, and none for a licensed mechanic."
HOW_TO_READ = (
    "Begin at 1 and go where your answer leads; never skip ahead: the order of the steps is part of the safety.",
    'Every "!" is explained at the foot: read it before the step. How a step is done in full: diagnose explain and the '
    "word behind its minutes.",
    "Where your answer has no number, go on with the interview (the command: diagnose) and tell it what you found; "
    "the likeliest causes are named there.",
)
HARD = "\N{NO-BREAK SPACE}"
"""Where no line is broken."""

LEGEND = "What can hurt you"


@dataclass(frozen=True, slots=True)
class Exit:
    """Outcomes that lead to the same place, and their chance together."""

    says: str
    chance: float
    to: int | Ending


def made(chart: Chart, date: str, program: str) -> str:
    """Return how the chart was made. date: ISO; program: its version."""
    return f"Made on {date} by diagnose {program} from the book {chart.version[:12]}."


def bike(chart: Chart) -> str:
    """Return which bikes the chart is for."""
    told = "; ".join(f"{name.lower()}: {option}" for name, option in chart.bike)
    return f"For bikes with {told}. What is not said here was left open." if told else "For any bike."


def spent(step: ChartStep) -> str:
    """Return what a step takes."""
    parts = [minutes(step.minutes)]
    parts += [f"wait {minutes(step.wait)}"] if step.wait else []
    parts += [f"parts {step.parts:.0f}"] if step.parts else []
    return ", ".join(parts)


def exits(step: ChartStep, most: int) -> tuple[Exit, ...]:
    """Return the ways out of a step, those to the same place as one. most: causes that an ending names.

    Endings are the same place if they name the same causes; their figures are then the mean of both.
    """
    found: dict[object, list[Way]] = {}
    for way in step.ways:
        found.setdefault(_place(way, most), []).append(way)
    rest = (Exit(ELSE, step.rest, Ending("interview")),) if step.rest >= 0.0005 else ()
    together = [_together(ways, most) for ways in found.values()]
    if len(together) == 1 and len(step.ways) > 1:
        together = [replace(together[0], says=WHATEVER)]
    return (*together, *rest)


def _place(way: Way, most: int) -> object:
    if isinstance(way.to, int):
        return way.to
    return way.to.kind, frozenset(name for name, _ in way.to.likeliest[:most])


def _together(ways: list[Way], most: int) -> Exit:
    chance = sum(way.chance for way in ways)
    says = "; ".join(way.says for way in ways)
    to = ways[0].to
    if isinstance(to, int):
        return Exit(says, chance, to)
    mean: dict[str, float] = {}
    for way in ways:
        if isinstance(way.to, Ending):
            for name, p in way.to.likeliest[:most]:
                mean[name] = mean.get(name, 0.0) + p * way.chance / chance
    return Exit(says, chance, Ending(to.kind, tuple(sorted(mean.items(), key=lambda one: -one[1]))))


def end(ending: Ending) -> str:
    """Return what an ending says."""
    if ending.kind == "runs":
        return "it does what it should. Done."
    names = ", ".join(f"{name} {share(p)}" for name, p in ending.likeliest)
    if ending.kind == "hand_on":
        return (
            f"hand it on; that is cheapest now. Likeliest: {names}." if names else "hand it on; that is cheapest now."
        )
    if not names:
        return f"{BEGIN}."
    return f"{INTERVIEW}, likeliest {names}."


def outcome(way: Exit) -> str:
    """Return an outcome with its chance, if it is not the only one."""
    return f"{way.says} ({share(way.chance)})" if way.chance < 1.0 else way.says


def share(chance: float) -> str:
    """Return a chance that is not torn apart at the end of a line."""
    return per_cent(chance).replace(" ", HARD)


def marks(chart: Chart, step: ChartStep) -> str:
    """Return the names of a step's cautions; empty where it has none."""
    return "; ".join(caution.name for caution in chart.cautions if caution.id in step.cautions)
