"""How much of a larger collection of published tables is covered; skipped where the collection is not at hand."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[2]
COLLECTION = ROOT.parent / "shared" / "published_checks.yaml"
OURS = yaml.safe_load(Path(__file__).with_name("troubleshooting_tables.yaml").read_text(encoding="utf-8"))

pytestmark = [
    pytest.mark.source("collection of published checks, entries named tbl-"),
    pytest.mark.skipif(not COLLECTION.exists(), reason="the collection of published checks is not at hand"),
]


@pytest.fixture(scope="module")
def collected():
    """Table -> its probable causes that a small motorcycle can have."""
    entries = yaml.safe_load(COLLECTION.read_text(encoding="utf-8"))
    tables = [entry for entry in entries if entry.get("topic") == "troubleshooting_table"]
    return {table["id"]: table["probable_causes"] for table in tables}


@pytest.mark.parametrize("table", OURS)
def test_table_in_hand_is_covered_wholly(collected, table):
    assert len(OURS[table]["lines"]) == len(collected[table])


def test_count_what_is_mapped(collected, record_property):
    mapped = {
        table: sum(1 for line in OURS.get(table, {"lines": []})["lines"] if line.get("causes")) for table in collected
    }
    for table, count in mapped.items():
        record_property(table, f"{count} of {len(collected[table])}")
    print("\n".join(f"{table}: {count} of {len(collected[table])}" for table, count in mapped.items()))
    print(f"all: {sum(mapped.values())} of {sum(map(len, collected.values()))}")
    assert set(OURS) <= set(collected)
    assert all(count <= len(collected[table]) for table, count in mapped.items())
