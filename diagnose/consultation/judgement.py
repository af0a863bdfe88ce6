"""A measured test judged: corrected for where it was taken, against the limits of this bike, as surely as it is exact.

Notation: x, the corrected reading; e, how far it may be out (two standard deviations: memory), so that the true value
is normal about x with sd = e / 2; the likelihood of an outcome is the share of that in its band, with a flat prior over
what is possible. A reading further than e from every limit shows its outcome for certain.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import erf, hypot, inf, sqrt

from diagnose.consultation.corrections import Where, all_told, elsewhere, own_error, untold
from diagnose.consultation.hose import hose_on
from diagnose.consultation.limits import Judging, Own, bands, judging, outcome_of, own_limits
from diagnose.consultation.readings import read, reading_of
from diagnose.consultation.state import State
from diagnose.model import Knowledge, Limit, Reading, Test
from diagnose.taken import TakenAt
from diagnose.units import convert

LEAST_WEIGHT = 1e-3
"""An outcome that is less likely than this is not counted among those a reading may show."""

HEDGED = 0.1
"""Share that a figure may be out of which was said that it is about so much: "about 90 psi" (a choice)."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading judged. Figures in the unit of the reading (model.Reading.unit) where nothing else is said.

    raw: as it was written; taken: where and with what, by the shop if that was not written; by: its limits; value: raw
    in that unit; corrected: what the limits are compared with; error: how far that may be out; weights: outcome ->
    likelihood, empty where the outcome is certain. if_at: what was not told and could change what it shows
    (corrections.untold) -> the same reading taken so.
    """

    test: Test
    reading: Reading
    raw: TakenAt
    taken: Where
    by: Judging
    value: float
    corrected: float = 0.0
    error: float = 0.0
    outcome: str = ""
    weights: dict[str, float] = field(default_factory=dict)
    if_at: dict[str, Judged] = field(default_factory=dict)

    @property
    def unit(self) -> str:
        """The unit it was written in, in which all of its working is."""
        return self.raw.quantity.unit or self.reading.unit


def judge(knowledge: Knowledge, state: State, test_id: str, text: str, own: Own | None = None) -> Judged:
    """Return a reading judged.

    Args:
        knowledge: has the test.
        state: the facts of the bike, its sheet, and the height and the gauge of the shop.
        test_id: a test that takes a reading.
        text: as it was written, with "at 6000 ft", "at 5 C" or "with 2.9 ml" behind it where that was said.
        own: limits to take in place of those of the bike's sheet.

    Raises:
        DiagnoseError: it cannot be read, is of the wrong kind or absurd, or no sum holds for it; says what to write.
    """
    test = knowledge.tests[test_id]
    reading, raw = reading_of(test), read(test, text)
    value = convert(raw.quantity, reading.unit).value
    height = state.shop.elevation_m if raw.altitude_m is None else raw.altitude_m
    volume = state.shop.gauge_ml if raw.gauge_ml is None else raw.gauge_ml
    where = Where(height, raw.celsius, hose_on(knowledge, state, volume))
    by = judging(test, reading, state.facts, own_limits(knowledge, state, reading) if own is None else own)
    judged = _at(Judged(test, reading, raw, where, by, value))
    others = {untold(one, where): _elsewhere(judged, one) for one in reading.correct}
    return replace(judged, if_at={what: other for what, other in others.items() if other is not None})


def _at(judged: Judged) -> Judged:
    """Return it corrected, with its error and outcome, by what is known of the place it was taken at."""
    reading, value = judged.reading, judged.value
    times = all_told(reading.correct, judged.taken)
    x = value * times
    share = max(reading.error_share, HEDGED if judged.raw.quantity.about else 0.0)
    of_instrument = max(reading.error, share * abs(value)) * times
    of_sums = hypot(*(own_error(one, judged.taken) for one in reading.correct))
    error = hypot(of_instrument, of_sums * abs(x)) if of_instrument else 0.0
    outcome = outcome_of(judged.by.limit, x)
    possible = (reading.possible[0] * times, reading.possible[1] * times) if reading.possible else None
    weights = weights_of(judged.by.limit, x, error, possible)
    return replace(judged, corrected=x, error=error, outcome=outcome, weights=weights if outcome in weights else {})


def _elsewhere(judged: Judged, correct: str) -> Judged | None:
    """Return the reading taken so that a correction is otherwise, where it was not told how and that could matter."""
    tries = [_at(replace(judged, taken=taken)) for taken in elsewhere(correct, judged.taken, judged.unit)]
    others = [other for other in tries if other.outcome != judged.outcome] or [o for o in tries if o.weights]
    return next(iter(others or (tries if judged.weights else ())), None)


def weights_of(limit: Limit, x: float, error: float, possible: tuple[float, float] | None = None) -> dict[str, float]:
    """Return outcome -> P(the true value lies in its band | reading x); empty where that is certain.

    error: what x may be out, two standard deviations. possible: values there can be at all, None for any.

    >>> halves = Limit(applies={}, below=(("low", 100.0),), otherwise="ok", basis=())
    >>> weights_of(halves, 100.0, 5.0), weights_of(halves, 106.0, 5.0)
    ({'low': 0.5, 'ok': 0.5}, {})
    """
    if not error or all(abs(x - below) > error for _, below in limit.below):
        return {}
    least, most = possible or (-inf, inf)
    shares: dict[str, float] = {}
    for name, start, end in bands(limit):
        inside = _below((min(end, most) - x) / error * 2) - _below((max(start, least) - x) / error * 2)
        shares[name] = shares.get(name, 0.0) + max(inside, 0.0)
    whole = sum(shares.values())
    found = {name: round(share / whole, 4) for name, share in shares.items() if share > LEAST_WEIGHT * whole}
    return found if len(found) > 1 else {}


def _below(z: float) -> float:
    """P(a standard normal value lies below z)."""
    return 0.5 * (1 + erf(z / sqrt(2)))
