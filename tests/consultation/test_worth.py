"""The owner's limit on the shipped book: kept as events, watched, and the likely job-ender looked for first."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from diagnose.consultation import Limit, begin, close_job, observe, repair, undo, worth
from diagnose.consultation.choices import bench_of
from diagnose.consultation.outlook import Outlooked
from diagnose.consultation.worth import _best
from diagnose.events import Event
from diagnose.planning.base_plan import money_left
from diagnose.planning.steps import Step
from diagnose.planning.worth import Spread, spread
from diagnose.problems import JobError

BARN = {
    "bike": {"strokes": "4", "cylinders": "1", "parked": "years", "stored": "outdoors"},
    "complaint": "hard_to_start",
}
LATELY = {"bike": {"strokes": "2", "cylinders": "1", "parked": "lately"}, "complaint": "not_a_cough"}


@pytest.fixture(scope="module")
def barn(shipped):
    """A bike out of a barn, turned over by hand, its owner with 120 to spend; one hour costs 45."""
    return begin(shipped, BARN | {"worth": {"ceiling": 120.0}}).add(observe("turn_by_hand", "free"))


def test_the_last_word_on_each_counts_and_can_be_taken_back(shipped) -> None:
    job = begin(shipped, LATELY | {"worth": {"ceiling": 250.0, "running": 400.0}})
    assert job.state.limit == Limit(400.0, 250.0)
    later = job.add(Event("worth", {"ceiling": 300.0}))
    assert later.state.limit == Limit(400.0, 300.0)
    assert later.add(Event("worth", {"running": None})).state.limit == Limit(None, 300.0)
    assert later.add(undo()).state.limit == job.state.limit
    assert job.add(worth(Limit())).state.limit == Limit()


@pytest.mark.parametrize("body", [{"ceiling": -1.0}, {"value": 250.0}])
def test_a_limit_that_is_none_is_refused(shipped, body) -> None:
    with pytest.raises(JobError, match="write running or ceiling, and an amount of money"):
        begin(shipped, LATELY).add(Event("worth", body))


def test_nothing_changes_where_nobody_spoke_of_money(shipped) -> None:
    job = begin(shipped, LATELY)
    assert job.worth.cut_off == inf
    assert (job.worth.enders, job.worth.first, job.worth.kept) == ((), "", 1.0)
    assert job.steps == job._ahead.steps


def test_the_spread_has_the_mean_of_the_plan(shipped) -> None:
    """The value of the base plan or of looking first, reckoned without any draw."""
    job = begin(shipped, LATELY)
    given = job._ahead.given
    value = money_left(given.bench, given.repairs, given.beliefs.marginals, given.beliefs.failing)
    assert job.worth.spread.mean == pytest.approx(value, rel=0.05)
    half, most = job.worth.spread.at(0.5), job.worth.spread.at(0.9)
    assert 0.0 < half < most
    assert job.worth.spread.within(most) == pytest.approx(0.9, abs=0.01)


def test_what_is_still_to_come_is_reckoned_at_the_usual_price_of_a_bit(shipped) -> None:
    """Where no step pays the price is raised until one does; what the next answer may show is cheaper again."""
    job = begin(shipped, LATELY)
    while job._ahead.pays:
        step = job.next_step
        told = "nothing"
        if step.kind == "test":
            told = next(one.id for one in shipped.tests[step.id].outcomes if one.default)
        job = job.add(repair(step.id) if step.kind == "repair" else observe(step.id, told))
        assert len(job.events) < 40, "some day nothing pays"
    given, usual = job._ahead.given, bench_of(shipped, job.state)
    now, dearer = (
        spread(bench, given.repairs, given.beliefs.marginals, given.beliefs.failing)
        for bench in (usual, replace(usual, bit_cost=1.25 * usual.bit_cost))
    )
    assert job.worth.spread.mean == pytest.approx(now.mean)
    assert now.mean < dearer.mean


def test_what_is_spent_counts_against_the_ceiling(shipped) -> None:
    job = begin(shipped, LATELY | {"worth": {"ceiling": 250.0}, "shop": {"labour": 60.0}})
    assert (job.worth.spent, job.worth.left) == (0.0, 250.0)
    after = job.add(Event("repair", {"repair": "new_plug", "minutes": 30.0, "parts": 20.0}))
    opened = after.state.minutes - 30.0  # the plug had to come out
    assert after.worth.spent == pytest.approx(60.0 / 60 * (30 + opened) + 20)
    assert after.worth.left == pytest.approx(250.0 - after.worth.spent)
    broke = after.add(Event("repair", {"repair": "new_plug", "parts": 500.0}))
    assert broke.worth.left == 0.0
    assert broke.worth.kept < 0.01


def test_the_test_for_a_likely_job_ender_goes_first(shipped, barn) -> None:
    """Cleaning the rust out of a tank is more than what is left of 120, and a look into it costs next to nothing."""
    ender = barn.worth.enders[0]
    assert (ender.cause, ender.test) == ("tank_rust", "look_tank_inside")
    assert ender.price > barn.worth.left > ender.cost
    assert (barn.next_step.kind, barn.next_step.id) == ("test", "look_tank_inside")
    assert [step.id for step in barn.steps].count("look_tank_inside") == 1
    free = begin(shipped, BARN).add(observe("turn_by_hand", "free"))
    assert free.next_step.id != "look_tank_inside"
    clean = shipped.tests["look_tank_inside"].outcomes[-1]
    assert clean.default
    after = barn.add(observe("look_tank_inside", clean.id))
    assert after.worth.first != "look_tank_inside"
    assert max((one.chance for one in after.worth.enders if one.cause == "tank_rust"), default=0.0) < ender.chance / 3


def test_an_end_has_the_price_the_shop_says(shipped) -> None:
    dear = begin(shipped, LATELY | {"shop": {"labour": 45.0}})
    assert dear.worth.hand_on == pytest.approx(8 * 45.0)  # a day's work
    cheap = begin(shipped, LATELY | {"shop": {"service": 20.0}})
    assert cheap.worth.hand_on == pytest.approx(20.0)
    assert (dear.worth.best, cheap.worth.best) == ("go_on", "hand_on")


@pytest.mark.parametrize(
    ("half", "all_of_it", "handing", "stop", "best"),
    [
        (100.0, 500.0, 340.0, inf, "go_on"),  # 300 in the mean, less than 0.9 of 340
        (100.0, 500.0, 330.0, inf, "hand_on"),  # but not of 330
        (40.0, 400.0, 1000.0, 140.0, "go_on"),  # stopped at 140: 20 + 105 in the mean, less than the 140 it would lose
        (40.0, 400.0, 1000.0, 50.0, "stop"),  # 20 + 37.5: 50 is clearly less
    ],
)
def test_an_end_is_weighed_against_going_on(half, all_of_it, handing, stop, best) -> None:
    """By hand: half of such bikes take one amount, half the other; of what is spent before stopping half is counted."""
    money = Spread(np.array([half, all_of_it]), np.array([0.5, 1.0]))
    ahead = Outlooked(steps=(), cost_left=0.0, given=None)  # type: ignore[arg-type]
    assert _best(money, handing, stop, ahead) == best
    assert _best(money, handing, stop, replace(ahead, helps=False)) == ("hand_on" if stop == inf else "stop")
    look = Step(kind="test", id="look", minutes=1.0, cost=1.0, merit=1.5)
    assert _best(money, handing, stop, replace(ahead, steps=(look,))) == "go_on", "one small look that pays"
    for other in (replace(look, cost=12.0), replace(look, merit=0.9), replace(look, kind="repair")):
        assert _best(money, handing, stop, replace(ahead, steps=(other,))) == best


def test_a_bike_that_is_worth_little_is_better_left(shipped) -> None:
    assert begin(shipped, LATELY | {"worth": {"running": 20.0}}).worth.best == "stop"
    assert begin(shipped, LATELY | {"worth": {"running": 5000.0}}).worth.best == "go_on"


def test_a_job_ends_only_as_it_can(shipped) -> None:
    job = begin(shipped, LATELY)
    assert job.add(close_job({}, ended="handed_on")).state.closed == {"confirmed": {}, "ended": "handed_on"}
    with pytest.raises(JobError, match="a job cannot end as 'sold'; write one of: handed_on, not_worth_it"):
        job.add(close_job({}, ended="sold"))


def test_the_round_of_repairs_is_without_what_is_done(shipped) -> None:
    job = begin(shipped, BARN)
    due = {one.id for one in job.round_of_repairs.due}
    assert {"fresh_fuel", "new_plug"} <= due
    assert all(shipped.repairs[name].routine for name in due)
    after = job.add(repair("fresh_fuel"))
    assert "fresh_fuel" not in {one.id for one in after.round_of_repairs.due}
