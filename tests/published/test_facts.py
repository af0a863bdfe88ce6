"""Every fact of checks.yaml is used by a test, and none of the larger collection's facts for the sums is left out."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from tests.published.facts import FACTS

HERE = Path(__file__).parent
COLLECTION = HERE.parents[2] / "shared" / "published_checks.yaml"
pytestmark = pytest.mark.source("checks.yaml, and where it is at hand the collection of published checks")


@pytest.mark.parametrize("name", FACTS)
def test_a_test_names_this_fact(name):
    tests = "".join(file.read_text(encoding="utf-8") for file in HERE.glob("test_*.py"))
    assert f'"{name}"' in tests


@pytest.mark.parametrize("name", FACTS)
def test_a_fact_says_who_printed_it_and_how_near_is_near_enough(name):
    fact = FACTS[name]
    assert set(fact) == {"topic", "says", "source", "how", "near", "values"}
    assert fact["how"] in ("read", "computed", "memory")
    assert all(fact[key] for key in fact)


@pytest.mark.skipif(not COLLECTION.exists(), reason="the collection of published checks is not at hand")
def test_no_fact_of_the_collection_is_left_out():
    topics = {fact["topic"] for fact in FACTS.values()}
    collected = yaml.safe_load(COLLECTION.read_text(encoding="utf-8"))
    assert {entry["id"] for entry in collected if entry["topic"] in topics} == set(FACTS)
