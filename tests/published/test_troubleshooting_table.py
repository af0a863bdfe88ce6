"""Troubleshooting tables of handbooks: each line is in our knowledge, and its trouble speaks for its causes.

The tables stand in troubleshooting_tables.yaml. Two things are asked of every cause that a line means.

The trouble makes it likelier. A complaint also says how far the bike gets (who complains of no power has seen it run),
which clears much by itself; so it is held against the same bike of which only that is known, and without the
mechanisms, by which one cause lifts its neighbours. The first table, failure to start, is also held against a bike of
which nothing is known at all.

It lies in the upper half of all that can be wrong with such a bike ("something else" counts too), with the trouble as
the only complaint and the sign that the table itself tells it by. A handbook speaks of a machine in use: the bike ran
lately, but where standing makes the fault (gum, rust, a nest, plates that stick) it stood a year. It must do so on every
bike of the line that can have the cause, under at least one of the ways to say the trouble.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from diagnose.consultation import begin, observe
from diagnose.model import Knowledge

TABLES: Mapping[str, Mapping[str, Any]] = yaml.safe_load(
    Path(__file__).with_name("troubleshooting_tables.yaml").read_text(encoding="utf-8")
)
FAILS_TO_START = "tbl-faa-1"
MORE = 1e-9
"""Relative; what counts as a rise and not as rounding."""

PROBABLE_CAUSES = {
    "tbl-faa-1": 13,
    "tbl-faa-2": 6,
    "tbl-faa-3": 11,
    "tbl-army-1": 4,
    "tbl-army-2": 4,
    "tbl-army-3": 3,
    "tbl-army-4": 2,
    "tbl-army-5": 6,
    "tbl-army-6": 4,
    "tbl-army-7": 6,
    "tbl-army-8": 3,
    "tbl-1902-1": 7,
    "tbl-1902-2": 11,
    "tbl-1902-3": 6,
    "tbl-1902-4": 4,
    "tbl-1902-5": 11,
    "tbl-tp-1": 9,
    "tbl-tp-2": 7,
    "tbl-sm-1": 9,
    "tbl-br-1": 4,
    "tbl-rb-1": 8,
    "tbl-ko-1": 18,
    "tbl-ko-2": 10,
    "tbl-mtd-1": 9,
    "tbl-mtd-2": 6,
    "tbl-2s-2": 7,
    "tbl-2s-3": 6,
    "tbl-br2-1": 5,
    "tbl-sb-1": 9,
    "tbl-tim-1": 5,
}
"""Table -> how many probable causes it prints that a motorcycle can have."""

SIMPLE = {"tap": "gravity", "throttle": "slide", "cold_start": "plunger"}
SINGLE = {
    "cylinders": "1",
    "fuelling": "carburettor",
    "starter": "kick",
    "line_filter": "yes",
    "drive": "hand",
    "decompressor": "no",
}
FOUR = {**SINGLE, "strokes": "4"}
TWO = {**SINGLE, **SIMPLE, "strokes": "2", "inlet": "reed"}
MAGNETO = {"ignition": "points_magneto", "battery": "no"}
VACUUM = {"tap": "vacuum", "throttle": "cv", "cold_start": "flap"}
BIKES = {
    "four_magneto": {**FOUR, **SIMPLE, **MAGNETO},
    "four_easy_kick": {**FOUR, **SIMPLE, **MAGNETO, "decompressor": "auto"},
    "four_pump": {**FOUR, **SIMPLE, **MAGNETO, "fuel_pump": "pulse"},
    "four_lift_pump": {**FOUR, **SIMPLE, **MAGNETO, "fuel_pump": "electric"},
    "four_battery": {**FOUR, **VACUUM, "ignition": "points_battery"},
    "four_button": {**FOUR, **VACUUM, "ignition": "transistor", "starter": "both", "interlocks": "yes"},
    "twin_magneto": {**FOUR, **SIMPLE, **MAGNETO, "cylinders": "2", "carburettors": "two"},
    "two_magneto": {**TWO, **MAGNETO, "oiling": "premix"},
    "two_pump": {**TWO, "ignition": "cdi_self", "battery": "yes", "oiling": "pump"},
}
GETS_AS_FAR = "as far as who says: "


@dataclass(frozen=True)
class Line:
    """One probable cause of a table. given: the complaint before; when: what tells the trouble.

    flat, low: causes that are not made likelier, or do not lie in the upper half, and why.
    """

    table: str
    says: str
    bikes: tuple[str, ...]
    given: str | None
    when: tuple[str, ...]
    sign: str
    stood: str
    causes: tuple[str, ...]
    leaves_out: str
    flat: Mapping[str, str]
    low: Mapping[str, str]


def lines(**wanted: bool) -> list[Any]:
    """Return every line as a parameter with its source; wanted: causes, flat, leaves_out given or not."""
    found = []
    for name, table in TABLES.items():
        for line in table["lines"]:
            if any(bool(line.get(key)) is not is_there for key, is_there in wanted.items()):
                continue
            told = {**table, **line}
            value = Line(
                table=name,
                says=line["says"],
                bikes=tuple(told["bikes"]),
                given=told.get("given"),
                when=tuple(told["when"]),
                sign=told.get("sign", ""),
                stood=told.get("stood", "lately"),
                causes=tuple(line.get("causes", ())),
                leaves_out=line.get("leaves_out", ""),
                flat=line.get("flat", {}),
                low=line.get("low", {}),
            )
            source = pytest.mark.source(table["source"])
            found.append(pytest.param(value, id=f"{name}: {value.says}", marks=source))
    return found


class Bench:
    """Chances of all causes of a bike, each question worked out once.

    alone: without mechanisms, so that no cause rises only because its neighbours of the same root do.
    """

    def __init__(self, knowledge: Knowledge, alone: bool) -> None:
        bare = {
            GETS_AS_FAR + name: replace(said, id=GETS_AS_FAR + name, drivers={}, base=0.5)
            for name, said in knowledge.complaints.items()
        }
        causes = {name: replace(cause, mechanism=None) for name, cause in knowledge.causes.items()}
        self._knowledge = replace(
            knowledge,
            complaints={**knowledge.complaints, **bare},
            causes=causes if alone else knowledge.causes,
            version=f"{knowledge.version} for tables, {alone=}",
        )
        self.chances = cache(self._chances)

    def _chances(self, bike: str, complaint: str | None = None, *seen: str, stood: str = "year") -> Mapping[str, float]:
        job = begin(self._knowledge, {"bike": {**BIKES[bike], "parked": stood}, "complaint": complaint})
        for one in seen:
            job = job.add(observe(*one.split("=")))
        return job.belief.causes

    def rises(self, line: Line, cause: str) -> dict[str, float]:
        """Return bike and trouble -> how many times likelier the trouble makes a cause there."""
        found = {}
        for bike in line.bikes:
            for when in line.when:
                if "=" in when:
                    before, after = self.chances(bike, line.given), self.chances(bike, line.given, when)
                else:
                    before, after = self.chances(bike, GETS_AS_FAR + when), self.chances(bike, when)
                for own in ids(cause, after):
                    found[f"{bike}, {when}, {own}"] = after[own] / before[own]
        return found

    def rises_from_nothing(self, line: Line, cause: str) -> dict[str, float]:
        """The same against a bike of which nothing but its facts is known."""
        return {
            f"{bike}, {when}, {own}": self.chances(bike, when)[own] / self.chances(bike)[own]
            for bike in line.bikes
            for when in line.when
            for own in ids(cause, self.chances(bike))
        }

    def places(self, line: Line, cause: str) -> dict[str, tuple[int, int]]:
        """Return bike -> the best place of a cause among all that can be wrong with it, and how many those are."""
        found: dict[str, tuple[int, int]] = {}
        for bike in line.bikes:
            for when in line.when:
                complaint, seen = (line.given, [when]) if "=" in when else (when, [])
                if line.sign:
                    seen = [*seen, line.sign]
                chances = self.chances(bike, complaint, *seen, stood=line.stood)
                for own in ids(cause, chances):
                    place = 1 + sum(other > chances[own] for other in chances.values())
                    found[bike] = min(found.get(bike, (len(chances), len(chances))), (place, len(chances)))
        return found

    def misses(self, line: Line, cause: str) -> str:
        """Return where a cause does not lie in the upper half, empty if it does on every bike that can have it."""
        places = self.places(line, cause)
        return ", ".join(f"{bike} {at} of {size}" for bike, (at, size) in places.items() if at > size / 2)


def ids(cause: str, chances: Mapping[str, float]) -> list[str]:
    """Return what a cause is called on a bike: by its name, or on a twin once for each side."""
    return [name for name in chances if name == cause or name.startswith(f"{cause}.")]


@pytest.fixture(scope="session")
def alone(shipped) -> Bench:
    return Bench(shipped, alone=True)


@pytest.fixture(scope="session")
def whole(shipped) -> Bench:
    return Bench(shipped, alone=False)


@pytest.mark.source("collection of published checks, entries named tbl-")
def test_every_line_of_every_table_is_here():
    assert {name: len(table["lines"]) for name, table in TABLES.items()} == PROBABLE_CAUSES


@pytest.mark.parametrize("line", lines())
def test_line_says_what_it_means_here(shipped, line):
    assert bool(line.causes) is not bool(line.leaves_out), "causes of ours, or why it has none"
    assert set(line.causes) <= set(shipped.causes)
    assert {*line.flat, *line.low} <= set(line.causes)


@pytest.mark.parametrize("line", lines(causes=True))
def test_trouble_makes_its_causes_likelier(alone, line):
    for cause in line.causes:
        rises = alone.rises(line, cause)
        bikes = {where.split(",")[0] for where in rises}
        assert bikes, f"{cause} applies to none of the bikes"
        if cause in line.flat:
            assert max(rises.values()) <= 1 + MORE, f"{cause} rises now, take `flat` away: {rises}"
            continue
        for bike in bikes:
            here = {where: rise for where, rise in rises.items() if where.split(",")[0] == bike}
            assert max(here.values()) > 1 + MORE, f"{cause} is not made likelier: {here}"


@pytest.mark.parametrize("line", [line for line in lines(causes=True) if line.values[0].table == FAILS_TO_START])
def test_failure_to_start_against_a_bike_nobody_complained_of(whole, line):
    for cause in line.causes:
        rises = whole.rises_from_nothing(line, cause)
        assert max(rises.values()) > 1 + MORE, f"{cause} is not made likelier: {rises}"


@pytest.mark.parametrize("line", lines(causes=True))
def test_trouble_puts_its_causes_in_the_upper_half(whole, line):
    misses = {cause: whole.misses(line, cause) for cause in line.causes}
    assert not {cause: where for cause, where in misses.items() if where and cause not in line.low}
    risen = [cause for cause in line.low if not misses[cause]]
    assert not risen, f"lie in the upper half now, take `low` away: {risen}"


@pytest.mark.source("second method: what has no way to the trouble cannot be moved by it")
@pytest.mark.parametrize("cause", ["brake_binding", "tap_weeps", "tank_pinholed", "cam_worn"])
def test_what_cannot_keep_it_from_starting_is_not_made_likelier(alone, cause):
    before = alone.chances("four_magneto", GETS_AS_FAR + "not_a_cough")
    assert alone.chances("four_magneto", "not_a_cough")[cause] == pytest.approx(before[cause], rel=MORE)
