"""Troubleshooting tables of handbooks: each line is in our knowledge, and its trouble makes its causes likelier.

The tables stand in troubleshooting_tables.yaml. A complaint also says how far the bike gets (who complains of no
power has seen it run), which clears much by itself; so it is held against the same bike of which only that is known,
and without the mechanisms, by which one cause lifts its neighbours. The first table, failure to start, is also held against a bike of which nothing is known
at all.
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

SINGLE = {"cylinders": "1", "fuelling": "carburettor", "starter": "kick", "line_filter": "yes", "parked": "year"}
FOUR = {**SINGLE, "strokes": "4"}
TWO = {**SINGLE, "strokes": "2", "inlet": "reed", "tap": "gravity", "throttle": "slide", "cold_start": "plunger"}
BIKES = {
    "four_magneto": {
        **FOUR,
        "ignition": "points_magneto",
        "tap": "gravity",
        "throttle": "slide",
        "cold_start": "plunger",
    },
    "four_battery": {
        **FOUR,
        "ignition": "points_battery",
        "tap": "vacuum",
        "throttle": "cv",
        "cold_start": "flap",
    },
    "two_magneto": {**TWO, "ignition": "points_magneto", "oiling": "premix"},
    "two_pump": {**TWO, "ignition": "cdi_self", "oiling": "pump"},
}
GETS_AS_FAR = "as far as who says: "


@dataclass(frozen=True)
class Line:
    """One probable cause of a table. given: the complaint before; when: what tells the trouble."""

    table: str
    says: str
    bikes: tuple[str, ...]
    given: str | None
    when: tuple[str, ...]
    causes: tuple[str, ...]
    leaves_out: str
    flat: str


def lines(**wanted: bool) -> list[Any]:
    """Return every line as a parameter with its source; wanted: causes, flat, leaves_out given or not."""
    found = []
    for name, table in TABLES.items():
        for line in table["lines"]:
            if any(bool(line.get(key)) is not is_there for key, is_there in wanted.items()):
                continue
            value = Line(
                table=name,
                says=line["says"],
                bikes=tuple(table["bikes"]),
                given=table.get("given"),
                when=tuple(line.get("when", table["when"])),
                causes=tuple(line.get("causes", ())),
                leaves_out=line.get("leaves_out", ""),
                flat=line.get("flat", ""),
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

    def _chances(self, bike: str, complaint: str | None = None, seen: str = "") -> Mapping[str, float]:
        job = begin(self._knowledge, {"bike": BIKES[bike], "complaint": complaint})
        if seen:
            job = job.add(observe(*seen.split("=")))
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
                if cause in after:
                    found[f"{bike}, {when}"] = after[cause] / before[cause]
        return found

    def rises_from_nothing(self, line: Line, cause: str) -> dict[str, float]:
        """The same against a bike of which nothing but its facts is known."""
        return {
            f"{bike}, {when}": self.chances(bike, when)[cause] / self.chances(bike)[cause]
            for bike in line.bikes
            for when in line.when
            if cause in self.chances(bike)
        }


@pytest.fixture(scope="session")
def alone(shipped) -> Bench:
    return Bench(shipped, alone=True)


@pytest.fixture(scope="session")
def whole(shipped) -> Bench:
    return Bench(shipped, alone=False)


@pytest.mark.parametrize("line", lines())
def test_line_says_what_it_means_here(shipped, line):
    assert bool(line.causes) is not bool(line.leaves_out), "causes of ours, or why it has none"
    assert set(line.causes) <= set(shipped.causes)


@pytest.mark.parametrize("line", lines(causes=True, flat=False))
def test_trouble_makes_its_causes_likelier(alone, line):
    for cause in line.causes:
        rises = alone.rises(line, cause)
        bikes = {where.split(",")[0] for where in rises}
        assert bikes, f"{cause} applies to none of the bikes"
        for bike in bikes:
            here = {where: rise for where, rise in rises.items() if where.startswith(bike)}
            assert max(here.values()) > 1 + MORE, f"{cause} is not made likelier: {here}"


@pytest.mark.parametrize("line", [line for line in lines(causes=True) if line.values[0].table == FAILS_TO_START])
def test_failure_to_start_against_a_bike_nobody_complained_of(whole, line):
    for cause in line.causes:
        rises = whole.rises_from_nothing(line, cause)
        assert max(rises.values()) > 1 + MORE, f"{cause} is not made likelier: {rises}"


@pytest.mark.parametrize("line", lines(flat=True))
def test_line_known_to_be_flat_is_still_flat(alone, line):
    for cause in line.causes:
        rises = alone.rises(line, cause)
        assert max(rises.values()) <= 1 + MORE, f"{cause} rises now, take `flat` away ({line.flat}): {rises}"


@pytest.mark.source("second method: what has no way to the trouble cannot be moved by it")
@pytest.mark.parametrize("cause", ["brake_binding", "tap_weeps", "tank_pinholed", "cam_worn"])
def test_what_cannot_keep_it_from_starting_is_not_made_likelier(alone, cause):
    before = alone.chances("four_magneto", GETS_AS_FAR + "not_a_cough")
    assert alone.chances("four_magneto", "not_a_cough")[cause] == pytest.approx(before[cause], rel=MORE)
