"""A measured test judged: corrected for where it was taken, against the limits of this bike, as surely as it is exact.

Notation: x, the corrected reading; e, how far it may be out (two standard deviations: memory), so that the true value
is normal about x with sd = e / 2; the likelihood of an outcome is the share of that in its band, with a flat prior over
what is possible. A reading further than e from every limit shows its outcome for certain.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import erf, hypot, inf, sqrt
from typing import Any

from diagnose.consultation.corrections import Taken, factor, own_error, untold
from diagnose.consultation.limits import Judging, Own, bands, judging, limit_words, outcome_of
from diagnose.consultation.readings import measured, reading_of, written
from diagnose.consultation.state import State
from diagnose.events import Event
from diagnose.measured import Measured
from diagnose.model import Knowledge, Limit, Reading, Test
from diagnose.units import Quantity, convert
from diagnose.wording import figure, per_cent

LEAST_WEIGHT = 1e-3
"""An outcome that is less likely than this is not counted among those a reading may show."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading judged. Figures in the unit of the reading (model.Reading.unit) where nothing else is said.

    raw: as it was written; value: raw in that unit; corrected: what the limits are compared with; error: how far that
    may be out; weights: outcome -> likelihood, empty where the outcome is certain; untold: what was not told of the
    place, though it could change the outcome ("height", "temperature" or nothing).
    """

    test: Test
    reading: Reading
    raw: Measured
    taken: Taken
    by: Judging
    value: float
    corrected: float
    error: float
    outcome: str
    weights: dict[str, float]
    untold: str = ""


def judge(knowledge: Knowledge, state: State, test_id: str, text: str, own: Own | None = None) -> Judged:
    """Return a reading judged.

    Args:
        knowledge: has the test.
        state: the facts of the bike, its sheet, and the height of the shop.
        test_id: a test that takes a reading.
        text: as it was written, with "at 6000 ft" or "at 5 C" behind it where that was said.
        own: limits to take in place of those of the bike's sheet.

    Raises:
        DiagnoseError: it cannot be read, is of the wrong kind or absurd, or no sum holds for it; says what to write.
    """
    test = knowledge.tests[test_id]
    reading = reading_of(test)
    raw = measured(test, text)
    value = convert(raw.quantity, reading.unit).value
    height = state.shop.elevation_m if raw.altitude_m is None else raw.altitude_m
    by = judging(test, reading, state.facts, Own() if own is None else own)
    judged = _at(Judged(test, reading, raw, Taken(height, raw.celsius), by, value, value, 0.0, "", {}))
    return replace(judged, untold=_untold(judged))


def completed(knowledge: Knowledge, state: State, event: Event) -> Event:
    """Return an observation with its outcome, worked out where only the reading is given; any other event as it is."""
    reading = event.body.get("reading")
    if event.kind != "observe" or not reading or event.body.get("outcome"):
        return event
    judged = judge(knowledge, state, event.body["test"], str(reading["text"]))
    return replace(event, body={**event.body, **body(judged)})


def body(judged: Judged) -> dict[str, Any]:
    """Return what an observe event says of a reading: outcome and weights, figures, limits and their source."""
    raw, by, unit = judged.raw, judged.by, judged.reading.unit
    said: dict[str, Any] = {
        "text": raw.text,
        "value": raw.quantity.value,
        "unit": raw.quantity.unit or unit,
        "says": f"{figure(judged.value)} {unit}",
        "limit": limit_words(judged.test, by.limit),
        "range": {"low": by.low, "high": by.high, "unit": unit, "of": by.label, "source": by.source},
        "working": working(judged),
    }
    if judged.corrected != judged.value:
        said["corrected"] = {"value": judged.corrected, "unit": unit, "by": judged.reading.correct}
    if judged.error:
        said["error"] = judged.error
    taken = {"altitude_m": judged.taken.altitude_m, "celsius": judged.taken.celsius}
    said |= {name: given for name, given in taken.items() if given is not None and _plays_a_part(judged, name)}
    weights = {"weights": judged.weights} if judged.weights else {}
    return {"test": judged.test.id, "outcome": judged.outcome, **weights, "reading": said}


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


def _plays_a_part(judged: Judged, name: str) -> bool:
    """Whether it was written with the reading, or is reckoned in."""
    return getattr(judged.raw, name) is not None or judged.corrected != judged.value


def working(judged: Judged) -> str:
    """Return one line of working: raw, corrected, the range and whose it is, where the reading lies in it.

    "95 psi here at 6000 ft is 119 psi at sea level; manual 120 to 150 psi; just low".
    """
    parts = [_corrected_words(judged)]
    if span := judged.by.span(_unit(judged), _converter(judged)):
        parts += [f"{judged.by.label} {span}", verdict(judged)]
    if judged.untold:
        parts.append(_untold_words(judged))
    return "; ".join(parts)


def verdict(judged: Judged) -> str:
    """Return where a reading lies: low, high or within, "just" where that is not further than its error."""
    low, high, x, e = judged.by.low, judged.by.high, judged.corrected, judged.error
    if low is not None and x < low:
        word = "just low" if low - x <= e else "low"
    elif high is not None and x > high:
        word = "just high" if x - high <= e else "high"
    else:
        return "just within" if any(end is not None and abs(x - end) <= e for end in (low, high)) else "within"
    return f"{word}, which counts as sound here" if judged.test.outcome(judged.outcome).default else word


def weights_of(limit: Limit, x: float, error: float, possible: tuple[float, float] | None) -> dict[str, float]:
    """Return outcome -> P(the true value lies in its band | reading x); empty where that is certain.

    error: what x may be out, two standard deviations. possible: values there can be at all, None for any.

    >>> halves = Limit(applies={}, below=(("low", 100.0),), otherwise="ok", basis=())
    >>> weights_of(halves, 100.0, 5.0, None)
    {'low': 0.5, 'ok': 0.5}
    >>> weights_of(halves, 106.0, 5.0, None)
    {}
    """
    if not error or all(abs(x - below) > error for _, below in limit.below):
        return {}
    least, most = possible or (-inf, inf)
    shares: dict[str, float] = {}
    for name, start, end in bands(limit):
        start, end = max(start, least), min(end, most)
        if start < end:
            shares[name] = shares.get(name, 0.0) + _below((end - x) / error * 2) - _below((start - x) / error * 2)
    whole = sum(shares.values())
    if whole <= 0:
        return {}
    found = {name: round(share / whole, 4) for name, share in shares.items() if share >= LEAST_WEIGHT * whole}
    return found if len(found) > 1 else {}


def _below(z: float) -> float:
    """P(a standard normal value lies below z)."""
    return 0.5 * (1 + erf(z / sqrt(2)))


def _at(judged: Judged) -> Judged:
    """Return it corrected, with its error and outcome, by what is known of the place it was taken at."""
    reading, value = judged.reading, judged.value
    by = factor(reading.correct, judged.taken)
    times = 1.0 if by is None else by
    x = value * times
    of_instrument = max(reading.error, reading.error_share * abs(value)) * times
    error = hypot(of_instrument, own_error(reading.correct, times) * abs(x)) if of_instrument else 0.0
    outcome = outcome_of(judged.by.limit, x)
    weights = weights_of(judged.by.limit, x, error, reading.possible)
    return replace(judged, corrected=x, error=error, outcome=outcome, weights=weights if outcome in weights else {})


def _untold(judged: Judged) -> str:
    """Return what was not told of the place though it could change what the reading shows."""
    tries = untold(judged.reading.correct, judged.taken)
    others = [_at(replace(judged, taken=taken)) for taken in tries]
    if not judged.weights and all(other.outcome == judged.outcome and not other.weights for other in others):
        return ""
    if not tries:
        return ""
    return "height" if tries[0].altitude_m != judged.taken.altitude_m else "temperature"


def _corrected_words(judged: Judged) -> str:
    here, unit = written(judged.raw.quantity, judged.reading.unit), _unit(judged)
    there = f"{figure(_converter(judged)(judged.corrected))} {unit}"
    taken, correct = judged.taken, judged.reading.correct
    if factor(correct, taken) is None or not correct or there == f"{figure(judged.raw.quantity.value)} {unit}":
        return here
    if correct == "copper_20c":
        return f"{here} at {_degrees(judged)} is {there} at 20 C"
    warm = f" and {_degrees(judged)}" if correct == "spark_density" and taken.celsius is not None else ""
    return f"{here} here at {_height(judged, taken.altitude_m or 0.0)}{warm} is {there} at sea level"


def _untold_words(judged: Judged) -> str:
    """Say what was not told, and what the reading would count as at some place."""
    taken = untold(judged.reading.correct, judged.taken)[0]
    other = _at(replace(judged, taken=taken))
    there = f"{figure(_converter(judged)(other.corrected))} {_unit(judged)}"
    if judged.untold == "height":
        return (
            f"height above sea level not set; at {_height(judged, taken.altitude_m or 0.0)} this would count as {there}"
        )
    return f"temperature not told; at {_degrees(other)} this would count as {there}"


def _unit(judged: Judged) -> str:
    """The unit a reading was written in, in which all of its working is."""
    return judged.raw.quantity.unit or judged.reading.unit


def _converter(judged: Judged) -> Callable[[float], float]:
    """Return what brings a figure from the unit of the limits to the unit that was written."""
    unit = _unit(judged)
    return lambda value: convert(Quantity(value, judged.reading.unit), unit).value


IMPERIAL = ("psi", "inHg", "in", "thou", "ft", "F")
"""Who writes these is told heights in feet and temperatures in degrees F (a choice)."""


def _height(judged: Judged, metres: float) -> str:
    feet = _unit(judged) in IMPERIAL
    return f"{round(metres / 0.3048)} ft" if feet else f"{round(metres)} m"


def _degrees(judged: Judged) -> str:
    celsius = judged.taken.celsius or 0.0
    return f"{figure(celsius)} C"
