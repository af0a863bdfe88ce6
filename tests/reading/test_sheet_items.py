"""The values of the bike's own sheet as they are read, against what is written beside them here."""

from __future__ import annotations

from pathlib import Path

from diagnose.model import Typical
from diagnose.reading.files import shipped_folder
from diagnose.reading.load import changes, load
from diagnose.units import kind_of

LINKED = """
    sheet: spark_length
    lower: weak
    error: 0.5
    error_share: 0.05
    possible: [0, 40]
    correct: spark_density
"""


def test_a_value_of_the_sheet_is_as_written(shipped: Path) -> None:
    """Unit, gate and figures of what is usual, what is possible and what it points to."""
    items = load(shipped).quantities
    assert list(items) == ["spark_length", "plug_code", "stop_circuit"]
    item = items["spark_length"]
    usual = Typical(applies={"strokes": frozenset({"4"})}, low=6.0, high=8.0, basis=("memory",))
    assert (item.group, item.kind, item.unit, item.typical) == ("ignition", "quantity", "mm", (usual,))
    assert (item.possible, item.low, item.high, item.measured) == ((0.0, 40.0), ("coil_dead",), (), True)
    assert (items["plug_code"].differs, items["plug_code"].measured) == (("coil_dead",), False)
    assert items["stop_circuit"].choices == {"earths": "It earths the ignition", "opens": "It opens the feed"}


def test_a_reading_names_its_value_and_its_error(shipped: Path) -> None:
    """All that a reading needs to be judged by the sheet."""
    path = shipped / "tests" / "spark.yaml"
    path.write_text(path.read_text().replace("    limits:\n", LINKED.lstrip("\n") + "    limits:\n"))
    reading = load(shipped).tests["spark_at_gap"].reading
    assert reading is not None
    assert (reading.sheet, reading.lower, reading.upper) == ("spark_length", "weak", "")
    assert (reading.error, reading.error_share, reading.possible) == (0.5, 0.05, (0.0, 40.0))
    assert reading.correct == ("spark_density",)


def test_a_shop_adds_values_and_changes_figures(shipped: Path, shop: Path) -> None:
    """As with every other kind: keys that are not given keep what they had."""
    (shop / "quantities.yaml").write_text(
        "spark_length: {possible: [0, 25]}\n"
        "frame_number: {name: Frame number, group: identity, kind: text, basis: [memory]}\n"
    )
    items = load(shipped, shop).quantities
    assert (items["spark_length"].possible, items["spark_length"].unit) == ((0.0, 25.0), "mm")
    assert (items["frame_number"].layer, items["plug_code"].layer) == ("shop", "shipped")
    assert [change.path for change in changes(shipped, shop)] == [
        "quantities.spark_length.possible",
        "quantities.frame_number",
    ]


def test_on_a_twin_a_value_points_to_either_side() -> None:
    """The manual's figure is one; the plug gap of a twin points to the gap of either plug."""
    known = load(shipped_folder())
    assert known.quantities["plug_gap"].low == ("plug_gap", "plug_gap.left", "plug_gap.right")
    assert "plug_gap.left" not in known.quantities
    left = known.tests["gap_plug.left"].reading
    assert left is not None
    assert left.sheet == "plug_gap"


def test_what_the_shipped_tests_measure_is_on_the_sheet() -> None:
    """Every reading has an error and what is possible, and its value on the sheet fits the same bikes."""
    known = load(shipped_folder())
    measured = [test for test in known.tests.values() if test.reading and not test.of]
    assert len(measured) == 47
    for test in measured:
        assert test.reading is not None
        assert test.reading.error or test.reading.error_share, test.id
        assert test.reading.possible, test.id
        item = known.quantities.get(test.reading.sheet)
        if item is not None:
            assert kind_of(item.unit) == kind_of(test.reading.unit)
            assert all(options >= test.applies.get(fact, options) for fact, options in item.applies.items()), test.id
            assert item.each == test.each, test.id
    assert sum(bool(test.reading and test.reading.sheet) for test in measured) == 32
