"""The trade's fixed list: does it turn, spark, fuel, compression, air, then strip what usually is the matter.

Every look that finds something is followed by the repair it points to: the cause its outcome names that is likeliest on
such a bike, and a try-out. The look is then done again. When the list is through, what can stop the bike is repaired in
the order of how common it is. Nothing else is reckoned from what was seen.
Order: common practice ("spark, fuel, compression, air").
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from diagnose.consultation import Consultation
from diagnose.consultation.repeats import out_of_date
from diagnose.consultation.state import Seen, known_tests
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate
from diagnose.inference.screen import only_cause_present, response
from diagnose.model import Repair, Test
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import ARRIVAL
from diagnose.simulation.moves import TRY, Move, may_be_done, to_be_tried, unlocked

TURNS = ("hear_starter", "batt_rest", "turn_by_hand", "kick_watch")
SPARK = ("look_stop_switch", "fuse_check", "look_cap_on", "spark_at_gap", "look_points", "gap_points")
FUEL = ("look_tap", "look_fuel_level", "look_smell_fuel", "flow_tap", "look_bowl_catch", "efi_prime_sound")
COMPRESSION = ("comp_dry",)
AIR = ("look_filter", "look_exhaust_outlet", "look_intake_rubber", "look_reed")
STRIP = (
    "look_bowl_dirt",
    "pilot_jet_look",
    "main_jet_look",
    "float_height",
    "screw_turns",
    "efi_codes",
    "timing_marks",
    "check_key_tdc",
    "valve_gap",
    "valve_gap_exhaust",
)
LIST = (*TURNS, *SPARK, *FUEL, *COMPRESSION, *AIR, *STRIP)
"""Tests of the shipped book; one that a bike or a book does not have is left out."""

MOST_REPAIRS = 3
"""After so many repairs for one finding the list goes on (choice of ours)."""

LEAST = 0.005
"""What is less common than this is not repaired on suspicion (choice of ours)."""


def fixed_list(job: Consultation) -> Move | None:
    """Choose the next look on the list, or the repair that the last one points to."""
    if to_be_tried(job) and (move := unlocked(job, TRY)):
        return move
    known = known_tests(job.knowledge, job.state)
    stale = out_of_date(job.knowledge, job.state, job.bike)
    for name in LIST:
        test = job.knowledge.tests.get(name)
        if test is None or not may_be_done(job, test):
            continue
        if name not in known:
            if move := unlocked(job, Move("test", name)):
                return move
        elif not test.outcome(known[name].outcome).default and (move := _mending(job, test, known, name in stale)):
            return move
    return next(_repairs(job, _common(job.bike, job.targets)), None)


def _mending(job: Consultation, test: Test, known: Mapping[str, Seen], stale: bool) -> Move | None:
    """Return the next repair for what a look found, or the look again where something of it was repaired since."""
    wanted = _named(job.bike, test, known[test.id].outcome)
    if sum(bool(done.cures.keys() & set(wanted)) for done in job.state.repairs) >= MOST_REPAIRS:
        return None
    return unlocked(job, Move("test", test.id)) if stale else next(_repairs(job, wanted), None)


def _repairs(job: Consultation, wanted: tuple[str, ...]) -> Iterator[Move]:
    """Give for each cause, in this order, the cheapest repair that was not done yet."""
    done = {repair.id for repair in job.state.repairs}
    for cause in wanted:
        curing = [repair for repair in job.knowledge.repairs.values() if cause in repair.cures]
        if any(repair.id in done for repair in curing):
            continue
        fits = [repair for repair in curing if may_be_done(job, repair)]
        for repair in sorted(fits, key=lambda one: (_price(job, one), one.id))[:1]:
            if move := unlocked(job, Move("repair", repair.id)):
                yield move


def _price(job: Consultation, repair: Repair) -> float:
    access = sum(job.knowledge.access[a].open + job.knowledge.access[a].close for a in repair.access)
    return job.state.shop.labour / 60 * (repair.minutes + access) + repair.parts


def _named(bike: BikeGraph, test: Test, outcome: str) -> tuple[str, ...]:
    """Return the causes that an outcome names, the likeliest on such a bike first: how common, and how often shown."""
    number = [one.id for one in test.outcomes].index(outcome)
    fires = response(bike, Candidate(test.id, rungs(test.outcomes), ARRIVAL)).fires
    shows = fires[number] - (fires[number - 1] if number else 0.0)
    scores = {root.id: root.marginal * float(p) for root, p in zip(bike.roots.values(), shows, strict=True)}
    return tuple(cause for cause in sorted(scores, key=lambda one: (-scores[one], one)) if scores[cause] > 0)


@lru_cache(maxsize=64)
def _common(bike: BikeGraph, wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Return the causes that can stop such a bike, the most common first."""
    alone = only_cause_present(bike, wanted)
    scores = {root.id: root.marginal * alone[root.id] for root in bike.roots.values()}
    return tuple(cause for cause in sorted(scores, key=lambda one: (-scores[one], one)) if scores[cause] >= LEAST)
