"""How the bike stands now: kicks since the plug was dry, warmth, oil in the bore. Work changes it and needs it."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, observe, reconnect, repair, try_out, undo
from diagnose.consultation.state import situation_for, stands
from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.terminal.cards import test_step as a_test_as_step

TWO = {"strokes": "2", "starter": "kick", "ignition": "points_magneto", "fuelling": "carburettor", "parked": "lately"}
DEAD = {"bike": TWO, "complaint": "not_a_cough"}


@pytest.fixture(scope="module")
def job(shipped):
    return begin(shipped, DEAD).add(observe("turn_by_hand", "free"))


def now(job):
    return {fact: option.id for fact, option in stands(job.knowledge, job.state).items()}


def step(job, step_id):
    return next((one for one in job.steps if one.id == step_id), None)


def test_a_bike_comes_in_dry_cold_and_as_found(job):
    assert now(job) == {"plug": "dry", "warmth": "cold", "bore": "as_found", "bowl": "as_found"}


@pytest.mark.source("coverage outline 8.2: a flood appears at about 10 to 20 kicks")
def test_ten_kicks_in_vain_may_flood_it_and_the_plug_is_looked_at_first(job, shipped):
    kicked = job.add(try_out("nothing"))
    assert now(kicked)["plug"] == "soaked"
    made = shipped.facts["plug"].options["soaked"].makes["flooded_by_drill"]
    plain = job.add(Event("fact", {"fact": "plug", "option": "dry"})).add(try_out("coughs"))
    assert plain.state.repairs[-1].dud == {"flooded_by_drill": made}
    assert [lock.caution for lock in kicked.locks] == ["kicked_enough"]
    assert "kicked_enough" in step(kicked, "try_to_start").forbidden
    assert "kicked_enough" in step(kicked, "spark_at_gap").forbidden
    assert step(kicked, "look_plug").forbidden == ()
    looked = kicked.add(observe("look_plug", "dry"))
    assert looked.locks == ()
    assert now(looked)["plug"] == "dry"


def test_the_flood_that_kicking_made_is_beside_the_one_it_came_with(job, shipped):
    """P(flooded now) = P(before) + (1 - P(before)) x P(made), as nothing was seen since."""
    kicked = job.add(try_out("nothing"))
    without = begin(shipped, {**DEAD, "bike": {**TWO}}).add(observe("turn_by_hand", "free"))
    seen = without.add(Event("fact", {"fact": "plug", "option": "dry"}))
    assert seen.belief.causes == without.belief.causes
    made = kicked.state.repairs[-1].dud["flooded_by_drill"]
    as_it_was = kicked.state.seen[-1].situation.epoch
    assert as_it_was == 0, "what the try-out showed is of the bike before its kicks did harm"
    before = _flooded_without_harm(kicked)
    assert kicked.belief.causes["flooded_by_drill"] == pytest.approx(before + (1 - before) * made, abs=1e-9)


def _flooded_without_harm(kicked):
    """The belief from the same answers where kicking does no harm: asked of the bike as it was."""
    from dataclasses import replace

    from diagnose.inference.posterior import posterior

    asked = replace(kicked.question, repairs=(), now=replace(kicked.question.now, epoch=0))
    return posterior(kicked.bike, asked).causes["flooded_by_drill"]


def test_a_spark_test_with_the_petrol_off_counts_for_little(job):
    once = job.add(observe("spark_at_gap", "none"))
    assert now(once)["plug"] == "kicked"
    assert once.state.repairs == ()
    assert step(once, "look_plug").minutes < step(job, "look_plug").minutes, "it was kicked already"


def test_a_bike_that_runs_is_dry_and_warm_again(job):
    runs = job.add(observe("spark_at_gap", "good")).add(try_out("runs_badly"))
    assert now(runs) == {"plug": "dry", "warmth": "warm", "bore": "as_found", "bowl": "as_found"}
    assert [change.id for change in runs.state.repairs] == ["now:warmth"]
    assert runs.tried == "runs_badly"
    assert runs.belief.causes["flooded_by_drill"] < 0.05 * job.belief.causes["flooded_by_drill"], "it ran dry"


def test_what_wants_a_cold_engine_waits_for_it(shipped):
    bike = {**TWO, "strokes": "4", "ignition": "cdi_self"}
    cold = begin(shipped, {"bike": bike, "complaint": "hard_to_start"}).add(observe("turn_by_hand", "free"))
    warm = cold.add(Event("fact", {"fact": "warmth", "option": "warm"}))
    assert a_test_as_step(warm, "valve_gap").wait == a_test_as_step(cold, "valve_gap").wait + 60
    assert now(warm.add(observe("valve_gap", "tight")))["warmth"] == "cold"


def test_oil_in_the_bore_hides_worn_rings_until_it_has_run(shipped):
    bike = {**TWO, "strokes": "4", "ignition": "cdi_self"}
    job = begin(shipped, {"bike": bike, "complaint": "not_a_cough"}).add(observe("comp_dry", "low"))
    oiled = job.add(observe("comp_wet", "comes_up"))
    assert now(oiled)["bore"] == "oiled"
    assert oiled.belief.causes["rings_worn"] > job.belief.causes["rings_worn"]
    thumb = shipped.tests["feel_thumb"]
    assert "rings_worn" in situation_for(shipped, oiled.state, thumb).cut
    blind = oiled.add(observe("feel_thumb", "blows_off"))
    assert blind.belief.causes["rings_worn"] > 0.9 * oiled.belief.causes["rings_worn"], "it could not have shown them"
    seeing = job.add(observe("feel_thumb", "blows_off"))
    assert seeing.belief.causes["rings_worn"] < 0.7 * job.belief.causes["rings_worn"]
    assert "rings_worn" not in situation_for(shipped, oiled.state, shipped.tests["comp_dry"]).cut, (
        "it is left to run out"
    )


def test_what_the_bowl_held_is_gone_once_it_was_filled_afresh(job):
    assert step(job, "look_bowl_catch") is not None
    assert step(job.add(repair("fresh_fuel")), "look_bowl_catch") is None


def test_how_it_stands_can_be_put_right_and_taken_back(job):
    warm = job.add(Event("fact", {"fact": "warmth", "option": "warm"}))
    assert now(warm)["warmth"] == "warm"
    assert now(warm.add(undo()))["warmth"] == "cold"
    with pytest.raises(JobError, match="warmth cannot be 'hot'; write one of: cold, warm"):
        job.add(Event("fact", {"fact": "warmth", "option": "hot"}))
    assert now(begin(job.knowledge, {**DEAD, "bike": {**TWO, "warmth": "warm"}}))["warmth"] == "warm"


def test_what_was_seen_before_a_repair_counts_for_the_bike_as_it_was(job):
    repaired = job.add(repair("new_plug"))
    late = repaired.add(observe("spark_at_gap", "none", before="new_plug"))
    in_time = job.add(observe("spark_at_gap", "none")).add(repair("new_plug"))
    assert late.belief.causes == pytest.approx(in_time.belief.causes, abs=1e-12)
    assert late.state.minutes == repaired.state.minutes
    assert late.out_of_date == frozenset(), "a plug is not above the spark that a tester shows"
    asked = job.add(repair("new_coil")).add(observe("spark_at_gap", "none", before="new_coil"))
    assert asked.out_of_date == {"spark_at_gap"}


def test_what_was_seen_before_a_repair_that_was_not_done_is_refused(job):
    repaired = job.add(repair("new_plug"))
    with pytest.raises(JobError, match="new_coil was not done, so nothing was seen before it; done so far: new_plug"):
        repaired.add(observe("spark_at_gap", "none", before="new_coil"))
    with pytest.raises(JobError, match="done so far: nothing"):
        job.add(observe("spark_at_gap", "none", before="new_coil"))
    undone = repaired.add(undo())
    with pytest.raises(JobError, match="new_plug was not done"):
        undone.add(observe("spark_at_gap", "none", before="new_plug"))
    with pytest.raises(JobError, match="spark_kill_isolated is not isolated; isolated now: nothing"):
        job.add(reconnect("spark_kill_isolated"))
