"""Pulling a wire, swapping a box and repairing change the bike; what was seen before stays true of the bike as it was."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.consultation import begin, observe, reconnect, repair, try_out, undo
from diagnose.inference.posterior import posterior

BOX = {"strokes": "4", "starter": "kick", "ignition": "cdi_self", "fuelling": "carburettor", "parked": "lately"}
DEAD = {"bike": BOX, "complaint": "not_a_cough"}
TWO_FAULTS = [
    observe("look_stop_switch", "at_run"),
    observe("spark_at_gap", "none"),
    observe("swap_box", "none"),
    observe("spark_kill_isolated", "still_none"),
    observe("swap_box", "good"),
]
"""A shorted stop wire and a dead box: neither remedy alone brings the spark back, both together do."""


def after(knowledge, events):
    job = begin(knowledge, DEAD)
    for event in events:
        job = job.add(event)
    return job


def rank(job, cause):
    return next(n for n, ranked in enumerate(job.ranked, 1) if ranked.id == cause)


def test_two_faults_that_hide_each_other_end_first_and_second(shipped):
    job = after(shipped, TWO_FAULTS)
    assert {rank(job, "box_dead"), rank(job, "kill_shorted")} == {1, 2}, [c.id for c in job.ranked[:5]]


def test_the_same_answers_as_plain_symptoms_say_much_less_of_the_pair(shipped):
    """As if swapping and unplugging changed nothing: each answer is then one more look at the same spark."""
    plain = {name: replace(test, removes=(), supplies=(), put_back=()) for name, test in shipped.tests.items()}
    seen, changed = (after(k, TWO_FAULTS).belief.causes for k in (replace(shipped, tests=plain, version="p"), shipped))
    for cause in ("box_dead", "kill_shorted"):
        assert changed[cause] > 1.4 * seen[cause], cause


def test_what_is_pulled_off_stays_off_until_it_is_put_back(shipped):
    job = after(shipped, TWO_FAULTS)
    assert job.state.seen[-1].situation.cut >= {"kill_shorted", "box_dead"}
    back = job.add(reconnect("spark_kill_isolated"))
    assert "kill_shorted" not in back.add(observe("swap_box", "none")).state.seen[-1].situation.cut


def test_what_is_off_is_to_be_put_back_before_a_start_is_proposed(shipped):
    """The points were filmed over: the spark is back, and only the try-out is left that makes sense."""
    facts = {"bike": {**BOX, "ignition": "points_magneto", "strokes": "2"}, "complaint": "not_a_cough"}
    job = begin(shipped, facts)
    for event in (
        observe("turn_by_hand", "free"),
        observe("look_stop_switch", "at_run"),
        observe("spark_at_gap", "none"),
        observe("spark_kill_isolated", "still_none"),
        observe("look_points", "film"),
        repair("clean_points", {"points_oxidised": "broken"}),
        observe("spark_at_gap", "good"),
    ):
        job = job.add(event)
    wanted = [step for step in job.steps if step.kind in ("reconnect", "try_out")]
    assert [step.kind for step in wanted] == ["reconnect", "try_out"]
    assert wanted[0].id == "spark_kill_isolated"
    assert wanted[1].forbidden == ("isolated_now",)
    back = job.add(reconnect("spark_kill_isolated"))
    assert [(s.kind, s.forbidden) for s in back.steps if s.kind in ("reconnect", "try_out")] == [("try_out", ())]
    assert back.state.minutes == job.state.minutes + 1


def test_a_result_from_before_a_repair_is_out_of_date_and_still_counts(shipped):
    job = begin(shipped, DEAD).add(observe("spark_at_gap", "none")).add(observe("comp_dry", "ok"))
    assert job.out_of_date == frozenset()
    fitted = job.add(repair("new_box"))
    assert fitted.out_of_date == {"spark_at_gap"}, "the compression is what it was"
    never_seen = begin(shipped, DEAD).add(repair("new_box"))
    assert fitted.belief.causes["coil_dead"] > never_seen.belief.causes["coil_dead"]


def test_still_no_spark_after_a_repair_speaks_for_what_was_not_repaired(shipped):
    before = begin(shipped, DEAD).add(observe("spark_at_gap", "none"))
    still = before.add(repair("new_box")).add(observe("spark_at_gap", "none"))
    assert still.belief.causes["box_dead"] < before.belief.causes["box_dead"]
    assert still.belief.causes["source_coil_bad"] > before.belief.causes["source_coil_bad"]


def test_a_new_part_can_be_bad_and_the_second_one_too(shipped):
    once = begin(shipped, DEAD).add(observe("spark_at_gap", "none")).add(repair("new_box"))
    assert once.belief.causes["box_dead"] > 0
    twice = once.add(repair("new_box"))
    new_box = shipped.repairs["new_box"]
    cure, dud, p = new_box.cures["box_dead"], new_box.dud["box_dead"], once.belief.causes["box_dead"]
    assert twice.belief.causes["box_dead"] == pytest.approx(p * (1 - cure) + (1 - p) * dud, abs=1e-9)


def test_undo_of_a_repair_brings_the_earlier_situation_back(shipped):
    before = begin(shipped, DEAD).add(observe("spark_at_gap", "none"))
    again = before.add(repair("new_box")).add(undo())
    assert again.belief == before.belief
    assert again.out_of_date == frozenset()


def test_it_runs_clears_what_forbids_running_and_nothing_else(shipped):
    job = begin(shipped, DEAD).add(observe("spark_at_gap", "none")).add(repair("new_box"))
    runs = job.add(try_out("runs_well"))
    assert runs.done
    assert runs.belief.causes["coil_dead"] < job.belief.causes["coil_dead"]
    assert runs.belief.causes["clutch_stuck"] == pytest.approx(job.belief.causes["clutch_stuck"], rel=0.35)


@pytest.mark.slow
def test_a_long_job_with_repairs_and_isolations_stays_exact_and_narrow(shipped):
    job = after(
        shipped,
        [
            observe("spark_at_gap", "none"),
            observe("spark_kill_isolated", "still_none"),
            repair("new_box"),
            observe("spark_at_gap", "none"),
            reconnect("spark_kill_isolated"),
            repair("new_plug"),
            observe("swap_coil", "good"),
            repair("new_coil"),
        ],
    )
    assert job.belief.width <= 20
    assert all(0 <= p <= 1 for p in job.belief.causes.values())


def test_a_rich_fault_hides_false_air_until_it_is_put_right(shipped):
    """An inhibitor: air leak AND NOT rich makes it weak. Rich put right, the weak mixture comes out."""
    bike = {**BOX, "strokes": "2", "ignition": "points_magneto", "inlet": "port"}
    job = begin(shipped, {"bike": bike, "complaint": "wont_idle"}).add(observe("look_intake_rubber", "cracked"))
    right = job.add(repair("clean_filter", {"air_filter_choked": "broken"}))

    def weak(epoch):
        asked = replace(right.question, shown=("mix_lean",), now=replace(right.question.now, epoch=epoch))
        return posterior(right.bike, asked).conditions["mix_lean"]["present"]

    assert weak(1) > 1.05 * weak(0)


def test_when_nothing_in_the_book_fits_something_else_rises(shipped):
    job = begin(shipped, DEAD)
    looks = [
        ("spark_at_gap", "none"),
        ("look_stop_switch", "at_run"),
        ("spark_kill_isolated", "still_none"),
        ("swap_coil", "none"),
        ("swap_box", "none"),
        ("ohm_source", "ok"),
        ("peak_source", "ok"),
        ("peak_pickup", "ok"),
        ("ohm_cap", "ok"),
    ]
    for test, outcome in looks:
        assert outcome in [o.id for o in shipped.tests[test].outcomes], test
        job = job.add(observe(test, outcome))
    beyond = sum(one.probability for one in job.ranked if one.is_leak)
    before = sum(one.probability for one in begin(shipped, DEAD).ranked if one.is_leak)
    assert beyond > 2.5 * before
    assert job.ranked[0].is_leak or any(one.is_leak for one in job.ranked[:3])
