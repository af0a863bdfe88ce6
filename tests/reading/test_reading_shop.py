"""The shop's own layer: it adds entries, and overrides only the keys it gives."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.problems import KnowledgeError, Place
from diagnose.reading.load import Change, changes, load


def write(folder: Path, name: str, text: str) -> None:
    """Write one file of the shop's layer."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def test_an_empty_layer_changes_nothing(shipped: Path, shop: Path) -> None:
    """A shop need not have any file."""
    assert load(shipped, shop) == load(shipped)
    assert changes(shipped, shop) == ()


def test_a_prior_is_replaced_and_the_rest_stays(shipped: Path, shop: Path) -> None:
    """A list is replaced as a whole; keys that are not given keep what they had."""
    write(shop, "causes/fuel.yaml", "pilot_jet_blocked:\n  prior: [0.1, 0.4, 0.8]\n")
    before, after = load(shipped), load(shipped, shop)
    cause = after.causes["pilot_jet_blocked"]
    assert cause.prior == (0.1, 0.4, 0.8)
    assert (cause.name, cause.links) == (
        before.causes["pilot_jet_blocked"].name,
        before.causes["pilot_jet_blocked"].links,
    )
    assert (cause.layer, after.causes["coil_dead"].layer) == ("shop", "shipped")
    assert after.version != before.version
    assert changes(shipped, shop) == (
        Change(
            "causes.pilot_jet_blocked.prior",
            "[0.03, 0.30, 0.70]",
            "[0.1, 0.4, 0.8]",
            Place("shop/causes/fuel.yaml", 2, 3),
        ),
    )


def test_an_entry_may_stand_in_another_file_of_its_kind(shipped: Path, shop: Path) -> None:
    """The id counts, not the file; the system stays the shipped one."""
    write(shop, "causes/ours.yaml", "coil_dead:\n  plain: It heats up and gives out.\n")
    cause = load(shipped, shop).causes["coil_dead"]
    assert (cause.plain, cause.system) == ("It heats up and gives out.", "spark")


def test_links_and_drivers_are_laid_over_key_by_key(shipped: Path, shop: Path) -> None:
    """One figure deep inside is changed, one added, the others stay."""
    write(shop, "causes/spark.yaml", "coil_dead:\n  leads_to: {spark: {weak: 0.35}, no_fire: 0.1}\n")
    write(shop, "tests/spark.yaml", "spark_at_gap:\n  outcomes: {none: {drivers: {spark: {none: 0.9}}}}\n")
    knowledge = load(shipped, shop)
    assert [link.table for link in knowledge.causes["coil_dead"].links] == [
        {"present": {"weak": 0.35, "none": 0.6}},
        {"present": {"present": 0.1}},
    ]
    none = knowledge.tests["spark_at_gap"].outcome("none")
    assert (none.base, none.drivers) == (0.03, {"spark": {"none": 0.9}})
    assert [(change.path, change.old, change.new) for change in changes(shipped, shop)] == [
        ("causes.coil_dead.leads_to.spark.weak", "0.3", "0.35"),
        ("causes.coil_dead.leads_to.no_fire", None, "0.1"),
        ("tests.spark_at_gap.outcomes.none.drivers.spark.none", "0.96", "0.9"),
    ]


def test_a_new_outcome_goes_before_the_default(shipped: Path, shop: Path) -> None:
    """The default stays the last rung of the ladder."""
    added = "fires_at_all:\n  outcomes:\n    spits: {name: Spits back, drivers: {pilot_starved: 0.2}}\n"
    write(shop, "symptoms/behaviour.yaml", added)
    outcomes = load(shipped, shop).tests["fires_at_all"].outcomes
    assert [outcome.id for outcome in outcomes] == ["never", "spits", "sometimes"]


def test_a_gate_is_replaced_as_a_whole(shipped: Path, shop: Path) -> None:
    """A gate is one statement: laying one over another would close it further."""
    spark = shipped / "causes" / "spark.yaml"
    spark.write_text(spark.read_text().replace("  plain:", "  applies: {strokes: '4'}\n  plain:"))
    write(shop, "causes/spark.yaml", "coil_dead:\n  applies: {valves: no}\n")
    assert load(shipped, shop).causes["coil_dead"].applies == {"valves": frozenset({"no"})}


def test_new_entries_are_checked_together_with_the_shipped_ones(shipped: Path, shop: Path) -> None:
    """A cause of the shop needs a repair, like any other; with one it is there, and known as the shop's."""
    cause = (
        "lead_chafed:\n  name: Lead chafed\n  plain: Rubbed through.\n  prior: [0.01, 0.01, 0.02]\n"
        "  leads_to: {spark: {none: 0.5}}\n  basis: [memory]\n"
    )
    write(shop, "causes/spark.yaml", cause)
    with pytest.raises(KnowledgeError, match=r"shop/causes/spark.yaml:1:1: no repair cures lead_chafed"):
        load(shipped, shop)
    write(shop, "repairs/spark.yaml", "new_coil:\n  cures: {lead_chafed: 0.5}\n")
    knowledge = load(shipped, shop)
    assert knowledge.causes["lead_chafed"].layer == "shop"
    assert knowledge.repairs["new_coil"].cures == {"coil_dead": 0.97, "lead_chafed": 0.5}
    assert [(change.path, change.old) for change in changes(shipped, shop)] == [
        ("causes.lead_chafed", None),
        ("repairs.new_coil.cures.lead_chafed", None),
    ]


def test_changes_of_files_that_cannot_be_read(shipped: Path, shop: Path) -> None:
    """The mistake is named, as on loading."""
    write(shop, "causes/spark.yaml", "coil_dead: [\n")
    with pytest.raises(KnowledgeError, match=r"shop/causes/spark.yaml:1:13: the file ends in the middle of a value"):
        changes(shipped, shop)
