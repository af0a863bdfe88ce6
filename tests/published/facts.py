"""The facts of checks.yaml, for the tests beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

FACTS: Mapping[str, Mapping[str, Any]] = yaml.safe_load(
    Path(__file__).with_name("checks.yaml").read_text(encoding="utf-8")
)
PSI = 6894.757
"""Pa; NIST SP 811."""
INCH_OF_MERCURY = 3386.389
FOOT = 0.3048


def rows(name, *having):
    """The rows of a fact, or those that have such columns."""
    return [row for row in FACTS[name]["values"] if all(column in row for column in having)]


def source(*names):
    """The mark that says who printed what a test expects."""
    return pytest.mark.source("; ".join(f"{name}: {FACTS[name]['source']}" for name in names))


def celsius(fahrenheit):
    return (fahrenheit - 32) / 1.8


def lands(knowledge, facts, test, *readings):
    """The outcomes that readings land on by the book's own ranges."""
    from diagnose.consultation.judgement import judge
    from diagnose.consultation.state import Shop, State
    from diagnose.consultation.working import body_of

    at_sea_level = State(facts=facts, shop=Shop(elevation_m=0.0))
    return {body_of(judge(knowledge, at_sea_level, test, reading))["outcome"] for reading in readings}
