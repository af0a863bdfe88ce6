"""A judged reading in words: its one line of working, where it lies in its range, what a test should show. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diagnose.consultation.corrections import BY_HEIGHT, Where, factor, height
from diagnose.consultation.judgement import Judged
from diagnose.consultation.limits import GENERAL, Judging, Own, judging, own_limits
from diagnose.consultation.readings import written
from diagnose.consultation.state import State
from diagnose.model import Knowledge, Test
from diagnose.problems import JobError
from diagnose.units import Quantity, convert, kind_of
from diagnose.wording import figure, limit_figure, per_cent

AT = {"sea_level_pressure": " at sea level", "spark_density": " at sea level", "copper_20c": " at 20 C"}
"""What the limits are written for, by the correction that brings a reading there."""


def working(judged: Judged) -> str:
    """Return one line of working: raw, corrected, the range and whose it is, where the reading lies in it.

    "95 psi here at 6000 ft is 119 psi at sea level; manual 120 to 150 psi; just low".
    """
    parts = [_corrected_words(judged)]
    if span := _span(judged.by, judged.reading.unit, judged.unit):
        beside = f" (the manual gives {judged.by.alone} and no limits)" if judged.by.alone else ""
        parts += [f"{judged.by.label} {span}{beside}", verdict(judged)]
    if judged.if_at is not None:
        there = f"this would count as {_figure(judged.if_at)}"
        if judged.untold == "height":
            parts.append(f"height above sea level not set; at {_height(judged.if_at)} {there}")
        else:
            parts.append(f"temperature not told; at {_degrees(judged.if_at)} {there}")
    return "; ".join(parts)


def verdict(judged: Judged) -> str:
    """Return where a reading lies: low, high or within; just, where that is not further from the end than its error."""
    low, high, x, e = judged.by.low, judged.by.high, judged.corrected, judged.error
    if low is not None and x < low:
        word = "just low" if low - x <= e else "low"
    elif high is not None and x > high:
        word = "just high" if x - high <= e else "high"
    else:
        return "just within" if any(end is not None and abs(x - end) <= e for end in (low, high)) else "within"
    return f"{word}, not counted against it" if judged.test.outcome(judged.outcome).default else word


def how_judged(knowledge: Knowledge, event: Mapping[str, Any]) -> list[str]:
    """Return what is told of how a reading was judged: its working, its source, and how certain it is.

    event: the body of an observation. One that was written before there were workings tells its limits.
    """
    reading = event.get("reading") or {}
    if "working" not in reading:
        return [f"The limits: {reading['limit']}"] if reading.get("limit") else []
    told, source = [str(reading["working"])], reading["range"]["source"]
    if source:
        told.append(f"Manual: {source}")
    if weights := event.get("weights"):
        test = knowledge.tests[event["test"]]
        shares = sorted(((share, test.outcome(name).name) for name, share in weights.items()), reverse=True)
        listed = ", ".join(f"{per_cent(share)} {name}" for share, name in shares)
        told.append(f"Too near the limit for this instrument to be certain, so it counts as: {listed}")
    return told


def should_be(knowledge: Knowledge, state: State, test: Test, own: Own | None = None) -> str:
    """Return what a test should show on this bike, whose range that is, and what the gauge shows then at this height.

    Empty for one that is not measured, or of which the book does not say what is right.
    """
    reading = test.reading
    if reading is None:
        return ""
    mine = own_limits(knowledge, state, reading) if own is None else own
    try:
        by = judging(test, reading, state.facts, mine)
    except JobError:
        return ""
    unit = mine.unit or reading.unit
    span = _span(by, reading.unit, unit)
    if not span:
        return ""
    said = [f"{by.label}: {by.source}" if by.source and not by.alone else by.label]
    if unit == reading.unit == "kPa" and not by.source:  # which few gauges show
        spans = (_span(by, unit, other) for other in ("psi", "bar"))
        said.insert(0, ", ".join(one.removesuffix(" or more").removesuffix(" or less") for one in spans))
    if by.alone:
        said.append(f"the manual gives {by.alone}")
    times = factor(reading.correct, Where(state.shop.elevation_m)) or 1.0
    if reading.correct in BY_HEIGHT and (here := _span(by, reading.unit, unit, times)) != _span(
        by, reading.unit, unit, 1.0
    ):
        said.append(f"here at {height(state.shop.elevation_m or 0.0, unit)} {here}")
    return f"{span}{AT.get(reading.correct, '')} ({'; '.join(said)})"


NO_MORE = 0.005
"""A correction of less, as a share of the reading, is not told: no gauge shows it (a choice)."""

ROUGHLY = ".2g"
"""How a general range is said in another unit, or at another height: nobody knows it closer."""


def _span(by: Judging, unit: str, shown: str, times: float | None = None) -> str:
    """Return a range in words, in another unit unless that is a thousand times its own.

    times: what is divided out of it, and then it is told less exactly.
    """
    if kind_of(unit) == "resistance":  # ohm and kohm: a range in the other is all noughts
        shown = unit
    rough = by.label == GENERAL and (shown != unit or times not in (None, 1.0))

    def told(end: float) -> str:
        value = convert(Quantity(end / (times or 1.0), unit), shown).value
        if rough:
            return f"{float(f'{value:{ROUGHLY}}'):.10g}"
        return limit_figure(value) if times is None else figure(value)

    low, high = (None if end is None else told(end) for end in (by.low, by.high))
    if low is not None and high is not None:
        return f"{low} to {high} {shown}"
    return f"{low} {shown} or more" if low is not None else f"{high} {shown} or less" if high is not None else ""


def _corrected_words(judged: Judged) -> str:
    """Return the reading, and what it is where its limits are written for; the reading alone where that is no other."""
    here, there = written(judged.raw.quantity, judged.unit), _figure(judged)
    correct = judged.reading.correct
    if (
        abs(judged.corrected - judged.value) <= NO_MORE * abs(judged.value)
        or there == f"{figure(judged.raw.quantity.value)} {judged.unit}"
    ):
        return here
    if correct not in BY_HEIGHT:
        return f"{here} at {_degrees(judged)} is {there}{AT.get(correct, '')}"
    warm = f" and {_degrees(judged)}" if correct == "spark_density" and judged.taken.celsius is not None else ""
    return f"{here} here at {_height(judged)}{warm} is {there}{AT[correct]}"


def _figure(judged: Judged) -> str:
    """Return the corrected figure in the unit that was written."""
    return f"{figure(convert(Quantity(judged.corrected, judged.reading.unit), judged.unit).value)} {judged.unit}"


def _height(judged: Judged) -> str:
    return height(judged.taken.altitude_m or 0.0, judged.unit)


def _degrees(judged: Judged) -> str:
    return f"{figure(judged.taken.celsius or 0.0)} C"
