"""A job is a pure function of its events, and an event that cannot have happened is refused in plain words."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, close_job, note, observe, off_list, repair, resume, try_out, undo
from diagnose.events import Event
from diagnose.problems import JobError

BIKE = {
    "strokes": "2",
    "starter": "kick",
    "ignition": "points_magneto",
    "fuelling": "carburettor",
    "tap": "gravity",
    "parked": "lately",
}


@pytest.fixture
def job(shipped):
    return begin(shipped, {"bike": BIKE, "complaint": "not_a_cough", "title": "A bike"})


def refused(job, event) -> str:
    with pytest.raises(JobError) as caught:
        job.add(event)
    return str(caught.value)


def test_an_answer_is_kept_with_the_situation_it_was_seen_in(job):
    after = job.add(observe("spark_at_gap", "none"))
    (seen,) = after.state.seen
    assert (seen.test, seen.outcome, seen.situation.epoch, seen.number) == ("spark_at_gap", "none", 0, 1)
    assert job.state.seen == ()


def test_a_repeated_answer_in_the_same_situation_replaces_the_earlier(job):
    after = job.add(observe("spark_at_gap", "none")).add(observe("spark_at_gap", "good"))
    assert [seen.outcome for seen in after.state.seen] == ["good"]


def test_after_a_repair_the_earlier_answer_stays_as_evidence_of_the_bike_as_it_was(job):
    after = job.add(observe("spark_at_gap", "none")).add(repair("clean_points")).add(observe("spark_at_gap", "good"))
    assert [(seen.outcome, seen.situation.epoch) for seen in after.state.seen] == [("none", 0), ("good", 1)]


def test_minutes_count_opening_and_what_must_be_shut_first(job, shipped):
    look = shipped.tests["pilot_jet_look"]
    bowl = shipped.access["bowl_off"]
    after = job.add(observe("pilot_jet_look", "clear"))
    assert after.state.opened == {"bowl_off"}
    assert after.state.minutes == pytest.approx(look.minutes + bowl.open)
    spark = shipped.tests["spark_at_gap"]
    later = after.add(observe("spark_at_gap", "good"))
    assert "bowl_off" not in later.state.opened, "no spark beside an open bowl"
    opened = sum(shipped.access[a].open for a in later.state.opened)
    assert later.state.minutes == pytest.approx(after.state.minutes + bowl.close + spark.minutes + opened)


def test_a_try_out_shuts_everything(job):
    after = job.add(observe("pilot_jet_look", "clear")).add(try_out("nothing"))
    assert after.state.opened == frozenset()


def test_undo_takes_back_the_last_step_that_stands_and_can_be_repeated(job):
    after = job.add(observe("spark_at_gap", "none")).add(note("wet")).add(undo()).add(undo())
    assert after.state.seen == ()
    assert len(after.events) == 5, "nothing is erased"
    assert refused(after, undo()) == "there is nothing to undo"


def test_undo_of_a_repair_brings_the_bike_back(job):
    after = job.add(repair("clean_points")).add(undo())
    assert after.state.repairs == ()
    assert after.belief.causes == job.belief.causes


def test_cannot_not_sure_and_declined_are_no_evidence(job):
    before = job.belief.causes
    for kind in ("cannot", "not_sure", "declined"):
        after = job.add(off_list(kind, "spark_at_gap", "no tester"))
        assert after.belief.causes == before
        assert "spark_at_gap" not in [step.id for step in after.steps]
        assert after.add(Event("lift", {"test": "spark_at_gap"})).state.off_list == {}


def test_resuming_the_events_gives_the_same_job(job, shipped):
    after = job.add(observe("spark_at_gap", "none")).add(repair("clean_points", {"points_oxidised": "broken"}))
    again = resume(shipped, after.events)
    assert again.state == after.state
    assert again.belief == after.belief


def test_a_closed_job_takes_only_a_note_or_an_undo(job):
    closed = job.add(close_job({"points_oxidised": "cured"}))
    assert closed.done
    assert refused(closed, observe("spark_at_gap", "none")).startswith("this job is closed")
    assert closed.add(undo()).state.closed is None


@pytest.mark.parametrize(
    ("event", "message"),
    [
        (observe("spark_at_gapp", "none"), "there is no test 'spark_at_gapp' in the knowledge; nearest: spark_at_gap"),
        (
            observe("spark_plug_air", "blue"),
            "spark_plug_air has no outcome 'blue'; write one of: none, irregular, good",
        ),
        (
            observe("valve_gap", "tight"),
            "Inlet valve clearance, cold (valve_gap) does not fit this bike: Strokes is 2, it needs 4",
        ),
        (repair("new_plugg"), "there is no repair 'new_plugg' in the knowledge; nearest: new_plug"),
        (
            repair("clean_points", {"plug_dead": "broken"}),
            "found as: plug_dead: broken does not go with clean_points; write broken, sound or not_seen for one of: ",
        ),
        (Event("close", {"access": "bowl_off"}), "bowl_off is not open"),
        (
            Event("reconnect", {"test": "spark_kill_isolated"}),
            "spark_kill_isolated is not isolated; isolated now: nothing",
        ),
        (Event("lift", {"test": "spark_at_gap"}), "spark_at_gap is on the list already"),
        (Event("complaint", {"complaint": "sad"}), "there is no complaint 'sad' in the knowledge"),
        (
            Event("complaint", {"complaint": "smokes", "also": ["smokes"]}),
            "what else is wrong comes beside another complaint, each once",
        ),
        (Event("fact", {"fact": "strokes", "option": "3"}), "strokes cannot be '3'; write one of: 2, 4"),
        (
            Event("fact", {"fact": "battery", "option": "maybe"}),
            "battery cannot be 'maybe'; write one of: yes, no",
        ),
    ],
)
def test_an_event_that_cannot_have_happened_says_what_to_write(job, event, message):
    assert refused(job, event).startswith(message)


def test_facts_that_contradict_each_other_are_refused(shipped):
    with pytest.raises(JobError, match="ignition: points_battery means battery: yes, but battery is given as no"):
        begin(shipped, {"bike": {"ignition": "points_battery", "battery": "no"}})
    with pytest.raises(JobError, match="oiling is only asked of a bike with strokes: 2; leave it out"):
        begin(shipped, {"bike": {"strokes": "4", "oiling": "premix"}})


def test_a_fact_brings_what_it_implies(shipped):
    assert begin(shipped, {"bike": {"ignition": "cdi_battery"}}).state.facts["battery"] == "yes"


def test_a_job_begins_with_its_intake(shipped):
    with pytest.raises(JobError, match="a job begins with its intake"):
        resume(shipped, [note("hello")])


def test_what_is_left_unplugged_locks_the_start_until_it_is_put_back_or_accepted(job):
    off = job.add(observe("spark_kill_isolated", "returns"))
    assert off.state.isolated == ("spark_kill_isolated",)
    assert "isolated_now" in [lock.caution for lock in off.locks]
    back = off.add(Event("reconnect", {"test": "spark_kill_isolated"}))
    assert "isolated_now" not in [lock.caution for lock in back.locks]
    accepted = off.add(Event("accept", {"test": "spark_kill_isolated"}))
    assert "isolated_now" not in [lock.caution for lock in accepted.locks]
    message = refused(job, Event("accept", {"test": "spark_kill_isolated"}))
    assert message.endswith("nothing to accept; isolated now: nothing")


def test_a_second_complaint_is_evidence_and_must_be_gone_as_well(shipped):
    """Blue smoke beside a bike that is hard to start: oil in the cylinder rises, and the job is not done while it smokes."""
    bike = {"strokes": "4", "starter": "kick", "fuelling": "carburettor", "parked": "lately"}
    one = begin(shipped, {"bike": bike, "complaint": "hard_to_start"})
    both = begin(shipped, {"bike": bike, "complaint": "hard_to_start", "also": ["smokes"]})
    assert both.belief.causes["rings_worn"] > 3 * one.belief.causes["rings_worn"]
    assert set(both.targets) >= set(one.targets) | {"smokes"}
    assert both.try_out.minutes == one.try_out.minutes + shipped.complaints["smokes"].proof.minutes


def test_what_is_told_besides_does_not_depend_on_the_order(shipped):
    bike = {"strokes": "2", "parked": "lately"}
    there, back = (
        begin(shipped, {"bike": bike, "complaint": "no_power", "also": also}).belief.causes
        for also in (["smokes", "knocks"], ["knocks", "smokes"])
    )
    assert there == pytest.approx(back, abs=1e-12)


def test_a_bike_that_ran_today_has_no_old_petrol(shipped):
    """Standing faults fall, what fails at a stroke does not."""
    today, lately = (
        begin(shipped, {"bike": {"strokes": "4", "starter": "electric", "parked": parked}})
        for parked in ("today", "lately")
    )
    assert today.state.facts["parked"] == lately.state.facts["parked"] == "lately"
    for cause in ("fuel_stale", "battery_flat", "pilot_jet_blocked"):
        assert today.belief.causes[cause] < 0.7 * lately.belief.causes[cause]
    assert today.belief.causes["plug_dead"] == pytest.approx(lately.belief.causes["plug_dead"], rel=0.02)
