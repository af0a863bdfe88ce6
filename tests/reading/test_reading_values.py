"""What stands in the files is what the knowledge holds: shorthands expanded, every figure as written."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from diagnose.model import Knowledge, Link, Outcome
from diagnose.problems import KnowledgeError, Place
from diagnose.reading.load import load, shipped_folder


@pytest.fixture
def knowledge(shipped: Path) -> Knowledge:
    """Return the good knowledge."""
    return load(shipped)


def test_a_cause_leads_to_a_condition_by_one_number(knowledge: Knowledge) -> None:
    """`leads_to: {pilot_starved: 0.9}` speaks of the level present on both sides."""
    cause = knowledge.causes["pilot_jet_blocked"]
    assert cause.links == (
        Link(parent="pilot_jet_blocked", child="pilot_starved", table={"present": {"present": 0.9}}),
    )
    assert (cause.prior, cause.mechanism, cause.system) == ((0.03, 0.30, 0.70), "gum", "fuel")
    assert cause.basis == ("memory",)
    assert cause.place == Place("knowledge/causes/fuel.yaml", 1, 1)
    assert cause.layer == "shipped"


def test_a_link_by_levels_of_the_child(knowledge: Knowledge) -> None:
    """A cause may give each level of a condition its own chance."""
    (link,) = knowledge.causes["coil_dead"].links
    assert link.table == {"present": {"weak": 0.3, "none": 0.6}}


def test_a_link_by_levels_of_the_parent(knowledge: Knowledge) -> None:
    """A condition of several levels gives one chance for each of its own levels."""
    spark = knowledge.conditions["spark"]
    assert spark.levels == ("good", "weak", "none")
    assert spark.links == (
        Link(parent="spark", child="no_fire", table={"weak": {"present": 0.45}, "none": {"present": 0.97}}),
    )
    assert spark.leak == {"weak": 0.01, "none": 0.005}


def test_a_leak_of_one_number_and_levels_left_out(knowledge: Knowledge) -> None:
    """Levels default to absent and present; `1e-3` is a number."""
    no_fire = knowledge.conditions["no_fire"]
    assert (no_fire.levels, no_fire.leak, no_fire.links) == (("absent", "present"), {"present": 0.001}, ())
    assert knowledge.conditions["pilot_starved"].leak == {}


def test_a_ladder_keeps_its_order_and_expands_its_drivers(knowledge: Knowledge) -> None:
    """A number for a cause speaks of its level present."""
    assert knowledge.tests["spark_at_gap"].outcomes == (
        Outcome(id="none", name="No spark at all", base=0.03, drivers={"spark": {"none": 0.96}}),
        Outcome(
            id="weak",
            name="Yellow or now and then",
            drivers={"spark": {"weak": 0.8}, "coil_dead": {"present": 0.1}},
        ),
        Outcome(id="good", name="Jumps every time", default=True),
    )


def test_work_and_reading(knowledge: Knowledge) -> None:
    """Minutes, access, activities and limits are as written; symptoms and tests are told apart."""
    test = knowledge.tests["spark_at_gap"]
    assert (test.minutes, test.access, test.does) == (4.0, ("plug_out",), frozenset({"sparks", "kicks"}))
    assert test.ask == "Does it jump the gap?"
    assert not test.symptom
    assert knowledge.tests["fires_at_all"].symptom
    assert test.reading is not None
    assert (test.reading.quantity, test.reading.unit) == ("length", "mm")
    assert test.reading.limits[1].applies == {"strokes": frozenset({"2"})}
    assert test.reading.limits[1].below == (("none", 1.0), ("weak", 6.0))
    repair = knowledge.repairs["clean_pilot_jet"]
    assert (repair.cures, repair.dud, repair.parts) == (
        {"pilot_jet_blocked": 0.95},
        {"pilot_jet_blocked": 0.02},
        0,
    )
    assert knowledge.repairs["new_coil"].parts == 30
    assert knowledge.access["bowl_off"].needs == ("seat_off",)
    caution = knowledge.cautions["spark_near_petrol"]
    assert caution.when is not None
    assert (caution.forbids, caution.when.open) == (frozenset({"sparks"}), frozenset({"fuel_open"}))


def test_words_that_yaml_would_mangle_stay_words(knowledge: Knowledge) -> None:
    """`yes`, `no` and `"2"` are ids like any other."""
    assert list(knowledge.facts["valves"].options) == ["yes", "no"]
    assert knowledge.facts["strokes"].options["2"].implies == {"valves": "no"}
    assert knowledge.facts["parked"].options["years"].odds == {"gum": 1.5}


def test_all_of_and_gates_take_one_or_several(shipped: Path) -> None:
    """A gate's option may stand alone or in a list, and so may the level of an AND."""
    with (shipped / "conditions.yaml").open("a") as file:
        file.write(
            "flooded:\n  name: Flooded\n  system: fuel\n  applies: {strokes: ['2', '4'], valves: yes}\n"
            "  all_of: [{parents: {spark: [weak, none], pilot_jet_blocked: present}, chances: 0.9}]\n"
            "  basis: [memory]\n"
        )
    flooded = load(shipped).conditions["flooded"]
    assert flooded.applies == {"strokes": frozenset({"2", "4"}), "valves": frozenset({"yes"})}
    (both,) = flooded.all_of
    assert both.parents == {"spark": frozenset({"weak", "none"}), "pilot_jet_blocked": frozenset({"present"})}
    assert both.chances == {"present": 0.9}


def test_the_version_follows_the_content(shipped: Path) -> None:
    """Sixteen hex digits, the same for the same bytes, another after any change, a remark included."""
    before = load(shipped).version
    assert int(before, 16) >= 0
    assert len(before) == 16
    assert load(shipped).version == before
    with (shipped / "access.yaml").open("a") as file:
        file.write("# a remark\n")
    assert load(shipped).version != before


def test_a_byte_order_mark_of_utf_8_and_crlf_are_read(shipped: Path) -> None:
    """Editors of one system write both."""
    path = shipped / "mechanisms.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    mechanism = load(shipped).mechanisms["gum"]
    assert (mechanism.odds_ratio, mechanism.place.line, mechanism.place.column) == (4, 1, 1)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """The path is named."""
    with pytest.raises(KnowledgeError, match=r"nowhere: this folder of knowledge is not there \[missing-folder\]"):
        load(tmp_path / "nowhere")


def test_a_file_that_the_system_does_not_give_us(shipped: Path) -> None:
    """Here a link leads nowhere; nothing else is said of what that file may hold."""
    (shipped / "access.yaml").unlink()
    (shipped / "access.yaml").symlink_to(shipped / "nowhere.yaml")
    with pytest.raises(KnowledgeError, match=r"knowledge/access.yaml: .* \[unreadable-file\]") as caught:
        load(shipped)
    assert len(caught.value.problems) == 1


def test_the_shipped_folder_is_found() -> None:
    """It holds the files of the knowledge."""
    assert (shipped_folder() / "conditions.yaml").is_file()


def test_the_hash_is_sha_256(shipped: Path) -> None:
    """Worked out here a second time, file by file in the order of kinds."""
    kinds = ["facts", "mechanisms", "conditions", "access", "complaints", "cautions", "sources", "quantities"]
    paths = [shipped / f"{kind}.yaml" for kind in kinds]
    for kind in ("causes", "symptoms", "tests", "repairs"):
        paths += sorted((shipped / kind).glob("*.yaml"))
    text = b""
    for path in paths:
        data, inside = path.read_bytes(), path.parent != shipped
        kind, system = (path.parent.name, path.stem) if inside else (path.stem, "")
        text += f"shipped/{kind}/{system}:{len(data)}\n".encode() + data
    assert load(shipped).version == hashlib.sha256(text).hexdigest()[:16]
