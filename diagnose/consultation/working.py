"""A judged reading told: as the event that keeps it, in one line of working, and what a test should show. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from diagnose.consultation.corrections import BY_GAUGE, BY_HEIGHT, Where, all_told, factor, height
from diagnose.consultation.hose import Hose, hose_on
from diagnose.consultation.judgement import Judged, judge
from diagnose.consultation.limits import GENERAL, Judging, Own, judging, limit_words, own_limits
from diagnose.consultation.readings import written
from diagnose.consultation.state import State
from diagnose.events import Event
from diagnose.model import Knowledge, Reading, Test
from diagnose.problems import JobError
from diagnose.trade.ranges import OutOfRange
from diagnose.units import Quantity, convert, kind_of
from diagnose.wording import figure, limit_figure, per_cent

AT = {"sea_level_pressure": "at sea level", "spark_density": "at sea level", "copper_20c": "at 20 C"}
"""What the limits are written for, by the correction that brings a reading there."""

NO_MORE = 0.005
"""A correction of less, as a share of the reading, is not told: no gauge shows it (a choice)."""


def completed(knowledge: Knowledge, state: State, event: Event) -> Event:
    """Return an observation with its outcome, worked out where only the reading is given; any other event as it is."""
    reading = event.body.get("reading")
    if event.kind != "observe" or not reading or event.body.get("outcome"):
        return event
    judged = judge(knowledge, state, event.body["test"], str(reading["text"]))
    return replace(event, body={**event.body, **body_of(judged)})


def body_of(of: Judged) -> dict[str, Any]:
    """Return the body of an observe event: outcome and weights, the reading raw and corrected, its limits, its working.

    What was told of the place stands in it where it was written with the reading or is reckoned in.
    """
    raw, by, unit = of.raw, of.by, of.reading.unit
    reading: dict[str, Any] = {
        "text": raw.text,
        "value": raw.quantity.value,
        "unit": of.unit,
        "says": f"{figure(of.value)} {unit}",
        "limit": limit_words(of.test, by.limit),
        "range": {"low": by.low, "high": by.high, "unit": unit, "of": by.label, "source": by.source},
        "working": working(of),
    }
    if of.corrected != of.value:
        reading["corrected"] = {"value": of.corrected, "unit": unit, "by": applied(of)}
    if of.error:
        reading["error"] = of.error
    for name, told in (
        ("altitude_m", of.taken.altitude_m),
        ("celsius", of.taken.celsius),
        ("gauge_ml", of.taken.hose.volume_ml),
    ):
        if told is not None and (getattr(raw, name) is not None or of.corrected != of.value):
            reading[name] = told
    weights = {"weights": of.weights} if of.weights else {}
    return {"test": of.test.id, "outcome": of.outcome, **weights, "reading": reading}


def applied(of: Judged) -> list[str]:
    """Return the corrections that were reckoned in and made another figure of it."""
    return [one for one in of.reading.correct if factor(one, of.taken) not in (None, 1.0)]


def working(judged: Judged) -> str:
    """Return one line of working: raw, corrected, the range and whose it is, where the reading lies in it.

    "95 psi here at 6000 ft is 119 psi at sea level; manual 120 to 150 psi; just low".
    """
    parts = [_corrected_words(judged)]
    if span := _span(judged.by, judged.reading.unit, judged.unit):
        beside = f" (the manual gives {judged.by.alone} and no limits)" if judged.by.alone else ""
        parts += [f"{judged.by.label} {span}{beside}", verdict(judged)]
    return "; ".join([*parts, *(_if_told(what, judged, other) for what, other in judged.if_at.items())])


def _if_told(what: str, judged: Judged, other: Judged) -> str:
    """Return what was not told of a reading, and what it would count as if it were so."""
    if what == "height":
        return f"height above sea level not set; at {_height(other)} this would count as {_figure(other)}"
    if what == "temperature":
        return f"temperature not told; at {_degrees(other)} this would count as {_figure(other)}"
    hose, tried = judged.taken.hose, other.taken.hose
    names = [("capacity", hose.swept_cc), ("compression ratio", hose.ratio)]
    lacking = " and ".join(name for name, told in names if told is None)
    ratio = f" of {tried.ratio:g} to 1" if what == "sheet" else ""
    on = f"with {_volume(tried)} on a {figure(tried.swept_cc or 0.0)} cc cylinder{ratio} this would be {_figure(other)}"
    return f"volume of gauge and hose not told; {on}" if what == "gauge" else f"no {lacking} on the sheet; {on}"


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
    """Return what a test should show on this bike, whose range that is, and what this gauge shows then at this height.

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
    at = "".join(f" {AT[one]}" for one in reading.correct if one in AT)
    return f"{span}{at} ({'; '.join([*said, *_shown_here(knowledge, state, reading, by, unit)])})"


def _shown_here(knowledge: Knowledge, state: State, reading: Reading, by: Judging, unit: str) -> list[str]:
    """Return what the gauge shows in the shop when all is right, where that is another figure."""
    here = Where(state.shop.elevation_m, None, hose_on(knowledge, state, state.shop.gauge_ml))
    by_place = [one for one in reading.correct if one in (*BY_HEIGHT, *BY_GAUGE)]
    try:
        shown = _span(by, reading.unit, unit, all_told(by_place, here))
    except OutOfRange:
        return ["not with this gauge: it holds more than the chamber"]
    if shown == _span(by, reading.unit, unit, 1.0):
        return []
    return [f"{' '.join(_changes(by_place, here, unit)[0])} {shown}"]


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
    if (
        abs(judged.corrected - judged.value) <= NO_MORE * abs(judged.value)
        or there == f"{figure(judged.raw.quantity.value)} {judged.unit}"
    ):
        return here
    how, counts = _changes(judged.reading.correct, judged.taken, judged.unit)
    if not how:
        return here
    return f"{here} {' '.join(how)} is {there} {' '.join(counts) or 'on a true gauge'}"


def _changes(correct: Sequence[str], taken: Where, unit: str) -> tuple[list[str], list[str]]:
    """Return in words what makes a reading another, and what it is brought to by that."""
    how, counts = [], []
    for one in correct:
        if abs((factor(one, taken) or 1.0) - 1) < NO_MORE:
            continue
        if one in BY_GAUGE:
            how.append(f"on a gauge of {_volume(taken.hose)}")
            continue
        warm = f" and {_degrees_of(taken)}" if one == "spark_density" and taken.celsius is not None else ""
        at = f"here at {height(taken.altitude_m or 0.0, unit)}" if one in BY_HEIGHT else f"at {_degrees_of(taken)}"
        how.append(f"{at}{warm}")
        counts.append(AT[one])
    return how, counts


def _figure(judged: Judged) -> str:
    """Return the corrected figure in the unit that was written."""
    return f"{figure(convert(Quantity(judged.corrected, judged.reading.unit), judged.unit).value)} {judged.unit}"


def _height(judged: Judged) -> str:
    return height(judged.taken.altitude_m or 0.0, judged.unit)


def _volume(hose: Hose) -> str:
    return f"{figure(hose.volume_ml or 0.0)} ml"


def _degrees(judged: Judged) -> str:
    return _degrees_of(judged.taken)


def _degrees_of(taken: Where) -> str:
    return f"{figure(taken.celsius or 0.0)} C"
