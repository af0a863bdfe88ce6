"""What stands at the top of the list can be the reason for what the bike does."""

from __future__ import annotations

from diagnose.consultation import begin

LAMPS_ONLY = {
    "strokes": "2",
    "cylinders": "1",
    "fuelling": "carburettor",
    "starter": "kick",
    "ignition": "points_magneto",
}


def test_a_battery_that_feeds_lamps_only_is_no_reason(shipped):
    """After years it is nearly always dead, and a flywheel magneto has no need of it."""
    job = begin(shipped, {"bike": {**LAMPS_ONLY, "battery": "yes", "parked": "years"}, "complaint": "not_a_cough"})
    order = [cause.id for cause in job.ranked]
    by_id = {cause.id: cause for cause in job.ranked}
    assert by_id["battery_dead"].probability > by_id["points_oxidised"].probability
    assert not by_id["battery_dead"].bears
    assert order.index("points_oxidised") < order.index("battery_dead")
    assert [cause.bears for cause in job.ranked] == sorted((cause.bears for cause in job.ranked), reverse=True)
    assert set(order) == set(job.bike.roots)


def test_it_is_one_where_the_ignition_lives_on_it(shipped):
    bike = {**LAMPS_ONLY, "ignition": "points_battery", "battery": "yes", "parked": "years"}
    job = begin(shipped, {"bike": bike, "complaint": "not_a_cough"})
    assert next(cause for cause in job.ranked if cause.id == "battery_dead").bears
