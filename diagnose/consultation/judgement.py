"""A measured test judged: corrected for where it was taken, against the limits of this bike, as surely as it is exact.

Notation: x, the corrected reading; e, how far it may be out (two standard deviations: memory), so that the true value
is normal about x with sd = e / 2; the likelihood of an outcome is the share of that in its band, with a flat prior over
what is possible. A reading further than e from every limit shows its outcome for certain.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import erf, hypot, inf, sqrt

from diagnose.consultation.corrections import Where, elsewhere, factor, own_error
from diagnose.consultation.limits import Judging, Own, bands, judging, outcome_of, own_limits
from diagnose.consultation.readings import read, reading_of
from diagnose.consultation.state import State
from diagnose.model import Knowledge, Limit, Reading, Test
from diagnose.taken import TakenAt
from diagnose.units import convert

LEAST_WEIGHT = 1e-3
"""An outcome that is less likely than this is not counted among those a reading may show."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading judged. Figures in the unit of the reading (model.Reading.unit) where nothing else is said.

    raw: as it was written; taken: where, the shop's height if none was written; by: its limits; value: raw in that
    unit; corrected: what the limits are compared with; error: how far that may be out; weights: outcome -> likelihood,
    empty where the outcome is certain. if_at: the same taken elsewhere, where it was not told where and that could
    change what it shows.
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
    if_at: Judged | None = None

    @property
    def unit(self) -> str:
        """The unit it was written in, in which all of its working is."""
        return self.raw.quantity.unit or self.reading.unit

    @property
    def untold(self) -> str:
        """What was not told of the place and could change what it shows: height, temperature, or nothing."""
        if self.if_at is None:
            return ""
        return "height" if self.if_at.taken.altitude_m != self.taken.altitude_m else "temperature"


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
    reading, raw = reading_of(test), read(test, text)
    value = convert(raw.quantity, reading.unit).value
    height = state.shop.elevation_m if raw.altitude_m is None else raw.altitude_m
    by = judging(test, reading, state.facts, own_limits(knowledge, state, reading) if own is None else own)
    judged = _at(Judged(test, reading, raw, Where(height, raw.celsius), by, value))
    return replace(judged, if_at=_elsewhere(judged))


def _at(judged: Judged) -> Judged:
    """Return it corrected, with its error and outcome, by what is known of the place it was taken at."""
    reading, value = judged.reading, judged.value
    times = factor(reading.correct, judged.taken) or 1.0
    x = value * times
    of_instrument = max(reading.error, reading.error_share * abs(value)) * times
    error = hypot(of_instrument, own_error(reading.correct, times) * abs(x)) if of_instrument else 0.0
    outcome = outcome_of(judged.by.limit, x)
    weights = weights_of(judged.by.limit, x, error, reading.possible)
    return replace(judged, corrected=x, error=error, outcome=outcome, weights=weights if outcome in weights else {})


def _elsewhere(judged: Judged) -> Judged | None:
    """Return the reading as it would be at another place, where it was not told which and that could matter."""
    tries = [
        _at(replace(judged, taken=taken)) for taken in elsewhere(judged.reading.correct, judged.taken, judged.unit)
    ]
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
