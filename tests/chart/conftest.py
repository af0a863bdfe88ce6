"""The small book of the interviews, and charts of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.chart.unroll import unroll
from diagnose.consultation import begin
from diagnose.reading.load import load

SMALL = Path(__file__).parents[1] / "interviews" / "small"
BIKE = {"strokes": "2", "ignition": "points_magneto", "battery": "no"}


@pytest.fixture(scope="session")
def small():
    return load(SMALL)


@pytest.fixture(scope="session")
def new_job():
    """Return a function: the book, how long it stood -> a job with nothing done yet."""
    return lambda known, parked="lately": begin(known, {"bike": {**BIKE, "parked": parked}, "complaint": "not_a_cough"})


@pytest.fixture(scope="session")
def charts(small, new_job):
    """Charts of the small book with up to so many steps, by how long it stood."""
    return {
        parked: unroll(new_job(small, parked), lambda chart: len(chart.steps) <= 12)
        for parked in ("lately", "year", "years")
    }
