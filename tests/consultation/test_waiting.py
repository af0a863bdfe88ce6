"""While something soaks or charges: what is proposed beside it touches neither it nor the starter."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, observe, repair, start, undo
from diagnose.problems import JobError
from diagnose.terminal.cards import card

BIKE = {
    "starter": "both",
    "fuelling": "carburettor",
    "cylinders": "1",
    "strokes": "4",
    "ignition": "points_battery",
    "battery": "yes",
    "parked": "lately",
}


BATTERY = {"batt_rest", "batt_load", "batt_crank", "new_battery", "charge_battery", "clean_terminals"}


@pytest.fixture(scope="module")
def charging(shipped):
    facts = {fact: option for fact, option in BIKE.items() if option in shipped.facts[fact].options}
    return begin(shipped, {"bike": facts, "complaint": "not_a_cough"}).add(start("repair", "charge_battery"))


def test_nothing_turns_the_engine_or_uses_the_battery_while_it_charges(shipped, charging):
    assert charging.state.waiting == (("repair", "charge_battery"),)
    before = {step.id for step in charging.earlier.free}
    assert any("kicks" in shipped.tests[name].does for name in before & shipped.tests.keys())
    assert BATTERY & before
    assert charging.free
    for step in charging.free:
        assert step.kind in ("test", "repair")
        work = (shipped.repairs if step.kind == "repair" else shipped.tests)[step.id]
        asked = step.kind == "test" and work.kind == "ask"
        assert asked or not {"kicks", "runs", "rides", "sparks"} & work.does, step.id
        assert asked or "seat_off" not in work.access, step.id  # the charger stands there
    assert not BATTERY & {step.id for step in charging.free}
    assert charging.next_step in charging.steps


def test_work_elsewhere_goes_on(shipped, charging):
    beside = {step.id for step in charging.free}
    without = {step.id for step in charging.steps}
    assert {"look_tap", "look_fuel_level"} & without <= beside
    assert len(beside) >= 5


def test_the_plan_itself_stays_as_it_was(shipped, charging):
    before = charging.earlier
    assert before is not None
    assert before.free == tuple(step for step in before.steps if not step.forbidden)
    assert charging.belief.causes == before.belief.causes


def test_done_it_waits_no_more_and_its_minutes_count_once(shipped, charging):
    job = charging.add(repair("charge_battery"))
    assert job.state.waiting == ()
    way = shipped.access["seat_off"].open
    assert charging.state.minutes == way
    assert job.state.minutes == way + shipped.repairs["charge_battery"].minutes
    assert charging.add(undo()).state.waiting == ()


def test_a_test_that_waits_ends_with_its_answer(shipped, charging):
    job = charging.add(start("test", "look_leaks"))
    assert len(job.state.waiting) == 2
    assert job.add(observe("look_leaks", shipped.tests["look_leaks"].outcomes[-1].id)).state.waiting == (
        ("repair", "charge_battery"),
    )


@pytest.mark.parametrize(
    ("kind", "work", "says"),
    [
        ("repair", "charge_battery", "is waiting already"),
        ("repair", "new_plug", "nothing to wait for"),
        ("repair", "no_such", "there is no repair"),
    ],
)
def test_what_cannot_be_begun_is_refused(charging, kind, work, says):
    with pytest.raises(JobError, match=says):
        charging.add(start(kind, work))


def test_the_dangers_of_what_waits_stand_at_what_is_done_beside_it(shipped, charging):
    said = [caution.id for caution in card(charging, charging.free[0]).cautions]
    assert set(shipped.repairs["charge_battery"].cautions) <= set(said)
    before = charging.earlier
    assert before is not None
    assert "battery_acid" not in [caution.id for caution in card(before, charging.free[0]).cautions]


def test_lamps_tell_nothing_while_their_battery_is_on_the_charger(charging):
    assert {"look_lamps", "key_feed"} <= {step.id for step in charging.earlier.free}
    assert not {"look_lamps", "key_feed"} & {step.id for step in charging.free}


def test_no_petrol_goes_into_a_tank_that_soaks(charging):
    before = charging.earlier
    petrol = {"fresh_fuel", "fill_tank", "turn_on_tap"}
    assert petrol <= {step.id for step in before.free}
    soaking = before.add(start("repair", "clean_tank"))
    assert not petrol & {step.id for step in soaking.free}
    assert "charge_battery" in {step.id for step in soaking.free}
