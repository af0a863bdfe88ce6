"""The small book, on which a bike is walked in no time."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.reading.load import load


@pytest.fixture(scope="session")
def small():
    return load(Path(__file__).parents[1] / "interviews" / "small")
