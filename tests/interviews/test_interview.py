"""Whole interviews on the small book: what is written down, what is shown, what is locked, what survives a stop."""

from __future__ import annotations

import io
from datetime import datetime

import pytest

from diagnose.cli.interview import begin
from diagnose.consultation import resume
from diagnose.events import Event
from diagnose.problems import JobError
from diagnose.report.text import as_text
from diagnose.report.trail import trail
from diagnose.terminal import views
from diagnose.terminal.asking.asker import AnswersAsker, NeedsAnswer, Stopped
from diagnose.terminal.intake import new_intake, tools_lacking
from diagnose.terminal.interview import run

NOON = datetime(2026, 3, 14, 12)
GROUP = "It starts badly, dies, floods or bangs"
LATELY = ["2", "points_magneto", "no", "port", "lately", GROUP, "not_a_cough", "nothing", "Fine on Sunday.", ""]
YEARS = ["4", "points_battery", "years", GROUP, "not_a_cough", "nothing", "", ""]
PLAN = [
    ("test.spark_at_gap", ["reading", "5", "5 mm"]),
    ("repair.clean_points", ["did_it", "broken"]),
    ("try_out.try_to_start", ["outcome.runs"]),
]
CLOSING = ["close", "points_oxidised", "cured", "nothing", "Keep it dry."]


def look_further(step: str, name: str) -> str:
    """A step that is not among the few offered is looked for in the whole list."""
    assert name == "others", f"{step} cannot be chosen at all"
    return "every"


@pytest.fixture
def work(sit_down):
    """Return a function that leads a job along a plan: at each step the wanted one is chosen, then answered."""

    def lead(intake, plan, closing, **more):
        bench, asker = sit_down([], **more)
        script, steps = list(intake), list(plan)
        pending: list[str] = []

        def following(name, question, choices):
            if script:
                return script.pop(0)
            if pending:
                return pending.pop(0)
            if name.startswith("step.") and steps:
                wanted = steps[0][0].partition(".")[2]
                if name == f"step.{wanted}":
                    pending.extend(steps.pop(0)[1])
                    return pending.pop(0)
                return "others"
            if name in ("others", "every"):
                offered = [one.value for one in choices]
                return steps[0][0] if steps[0][0] in offered else look_further(steps[0][0], name)
            if closing:
                return closing.pop(0)
            raise NeedsAnswer(name, question, choices)

        closing = list(closing)
        asker._next = following
        return bench, asker

    return lead


def bodies(bench):
    return [(event.kind, event.body) for event in bench.store.events(bench.job)]


def test_a_job_from_first_question_to_account(work):
    bench, asker = work(LATELY, PLAN, CLOSING)
    run(bench)
    done = bodies(bench)[7:]
    assert [kind for kind, _ in done] == ["observe", "repair", "observe", "close_job"]
    seen = done[0][1]
    assert seen["outcome"] == "weak"  # 5 mm lies below 6 mm
    assert seen["reading"]["text"] == "5 mm"
    assert done[1][1] == {"repair": "clean_points", "found": {"points_oxidised": "broken"}}
    assert done[3][1] == {"confirmed": {"points_oxidised": "cured"}, "words": "Keep it dry."}
    shown = asker.sink.getvalue()
    assert '! "5": the unit is missing; write: 5 mm or 5 in' in shown
    assert "Written down: 5 mm, Yellow or now and then" in shown
    assert f"The account for the owner: diagnose trail {bench.job}" in shown


def test_the_caution_stands_above_the_question(work):
    bench, asker = work(LATELY, PLAN[:1], ["q", "q", "q", "q"])
    run(bench)
    shown = asker.sink.getvalue()
    assert shown.index("! High tension: Clip the plug to bare metal") < shown.index("? Does it jump the gap?")


def test_the_account_tells_it_in_order(work):
    bench, _ = work(LATELY, PLAN, CLOSING)
    run(bench)
    told = as_text(trail(resume(bench.knowledge, bench.events)), 80)
    parts = [
        "Blue one, 14 March 2026",
        "It came in because: Turns over, not a cough.",
        'In the owner\'s words: "Fine on Sunday."',
        "At the last try-out: It runs.",
        "- Points filmed over from standing: putting this right cured it.",
        "Keep it dry.",
        " 1. Spark across a 6 mm gap: 5 mm, Yellow or now and then",
        " 2. Repair: Clean and set the points: seen to be bad (Points filmed over from",
        " 3. Try to start it: It runs",
        "- Before riding: Brakes, tyres and lights first.",
    ]
    places = [told.find(part) for part in parts]
    assert -1 not in places
    assert places == sorted(places)
    assert max(map(len, told.splitlines())) <= 80


def test_starting_is_locked_until_it_was_turned_by_hand(work):
    bench, asker = work([*YEARS, "try", "test.turn_by_hand", "outcome.turns"], [], ["q"])
    run(bench)
    shown = asker.sink.getvalue()
    assert "Try to start it: It has stood. Turn it by hand before any kick." in " ".join(shown.split())
    assert "Do which first?" in shown
    assert not any(lock.caution == "turn_first" for lock in bench.consultation.locks)


def test_try_to_start_when_locked_offers_the_test_that_unlocks_it(work):
    bench, asker = work([*YEARS, "try", "test.turn_by_hand", "outcome.turns"], [], ["q"])
    run(bench)
    assert "unlock" in asker.asked
    assert bodies(bench)[-1] == ("observe", {"test": "turn_by_hand", "outcome": "turns"})


WIRE_OFF = [("test.stop_wire_off", ["outcome.none"]), ("repair.clean_points", ["did_it", "broken"])]


def test_what_was_left_unplugged_is_put_back_before_it_is_tried(work, with_stop_wire):
    plan = [*WIRE_OFF, ("reconnect.stop_wire_off", ["put_back"]), PLAN[-1]]
    bench, asker = work(LATELY, plan, CLOSING, known=with_stop_wire)
    run(bench)
    assert [kind for kind, _ in bodies(bench)[7:]] == ["observe", "repair", "reconnect", "observe", "close_job"]
    shown = asker.sink.getvalue()
    assert "! Still unplugged or bypassed: Spark with the stop wire off" in shown
    assert "DO NEXT: Back as it was: Spark with the stop wire off - 1 min" in shown
    assert "1. Wire back on its terminal." in shown
    told = as_text(trail(resume(bench.knowledge, bench.events)), 80)
    assert " 3. Put back as it was: Spark with the stop wire off" in told
    assert "unplugged" not in told[told.index("Put back") :]


def test_it_may_be_started_unplugged_if_he_says_so(work, with_stop_wire):
    plan = [*WIRE_OFF, ("reconnect.stop_wire_off", ["accept"]), PLAN[-1]]
    bench, asker = work(LATELY, plan, CLOSING, known=with_stop_wire)
    run(bench)
    assert [kind for kind, _ in bodies(bench)[7:]] == ["observe", "repair", "accept", "observe", "close_job"]
    assert "a Start it so: I can stop it another way" in asker.sink.getvalue()
    told = as_text(trail(resume(bench.knowledge, bench.events)), 80)
    assert "Started without putting back: Spark with the stop wire off" in told
    assert "Left unplugged or bypassed by: Spark with the stop wire off" in told


def test_try_to_start_while_unplugged_offers_to_put_it_back(work, with_stop_wire):
    bench, asker = work(
        [*LATELY], WIRE_OFF[:1], ["try", "reconnect.stop_wire_off", "put_back", "q"], known=with_stop_wire
    )
    run(bench)
    assert bodies(bench)[-1] == ("reconnect", {"test": "stop_wire_off"})
    assert "Do which first?" in asker.sink.getvalue()


def test_any_test_can_be_chosen_though_the_plan_does_without_it(work):
    known = [("test.look_points", ["outcome.grey"])] * 2  # the second time it is known and off the plan
    bench, _ = work(LATELY, known, ["q"])
    run(bench)
    assert [body["test"] for kind, body in bodies(bench) if kind == "observe"] == ["look_points"] * 2


def test_an_answer_on_disk_is_not_asked_for_again_when_it_cannot_be_worked_out(work, monkeypatch):
    bench, asker = work(LATELY, [("test.look_points", ["outcome.grey"])], ["undo", "q"])
    real = views.likely

    def too_much(consultation):
        if consultation.state.seen:
            raise JobError("too much at once")
        return real(consultation)

    monkeypatch.setattr(views, "likely", too_much)
    run(bench)
    assert [kind for kind, _ in bodies(bench)][-2:] == ["observe", "undo"]
    assert "! too much at once" in asker.sink.getvalue()
    assert asker.asked.count("test.look_points") <= 1


def test_a_tool_that_is_not_there_is_remembered_and_can_be_there_again(work):
    plan = [("test.spark_at_gap", ["cannot", "no tool for it", "gap tester", "more", "tools", "gap tester"])]
    bench, asker = work(LATELY, plan, ["q"])
    run(bench)
    assert bodies(bench)[-2:] == [
        ("tool", {"tool": "gap tester", "have": False, "test": "spark_at_gap"}),
        ("tool", {"tool": "gap tester", "have": True}),
    ]
    text = asker.sink.getvalue()
    assert "Written down: no gap tester" in text
    assert "I have it now: gap tester" in text


def test_a_step_without_its_tool_is_shown_apart_from_those_that_can_be_done(work):
    plan = [("test.spark_at_gap", ["cannot", "no tool for it", "gap tester", "others", "back"])]
    bench, asker = work(LATELY, plan, ["q"])
    run(bench)
    after = asker.sink.getvalue().partition("Written down: no gap tester")[2]
    assert "Needs a tool you have not:\n  - Spark across a 6 mm gap: gap tester" in after
    assert "Spark across a 6 mm gap - " not in after


def test_none_of_the_tools_is_only_this_step(work):
    bench, _ = work(LATELY, [("test.spark_at_gap", ["cannot", "no tool for it", "none"])], ["q"])
    run(bench)
    assert bodies(bench)[-1] == ("cannot", {"test": "spark_at_gap", "why": "no tool for it"})


def test_what_was_not_there_at_the_last_job_is_not_there_at_the_next(work):
    bench, _ = work(LATELY, [("test.spark_at_gap", ["cannot", "no tool for it", "gap tester"])], ["q"])
    run(bench)
    new = begin(bench.store, AnswersAsker(["Next bike"]), "v")
    assert bench.store.events(new)[0].body["shop"]["without"] == ["gap tester"]
    assert tools_lacking(bench.events) == ["gap tester"]
    assert tools_lacking((*bench.events, Event("undo"))) == []
    assert tools_lacking((new_intake("Next", NOON, {"without": ["gap tester"]}),)) == ["gap tester"]
    again = Event("tool", {"tool": "gap tester", "have": True})
    assert tools_lacking((new_intake("Next", NOON, {"without": ["gap tester"]}), again)) == []


def test_while_something_soaks_something_else_is_offered_and_the_end_is_one_answer(work, with_soak):
    plan = [("repair.soak_points", ["started", "over.repair.soak_points", "did_it", "broken"])]
    bench, asker = work(LATELY, plan, ["q"], known=with_soak)
    run(bench)
    assert bodies(bench)[-2:] == [
        ("start", {"repair": "soak_points"}),
        ("repair", {"repair": "soak_points", "found": {"points_oxidised": "broken"}}),
    ]
    text = asker.sink.getvalue()
    assert "1 min hands on, then wait 10 h" in text
    begun = text.partition("Written down: Begun, it waits: Points in spirit overnight")[2]
    beside, _, after = begun.partition("-> The waiting is over: Points in spirit overnight")
    assert "Waiting by itself: Points in spirit overnight (10 h)" in beside
    assert "WHILE IT WAITS: Clear the pilot jet" in beside  # all else needs a kick, or the points
    assert "WAITING: Points in spirit overnight - 1 min" in after
    account = as_text(trail(bench.consultation))
    assert "1 min, 10 h of waiting" in account
    assert "up to 10 h of waiting" in " ".join(account.split())


def test_it_is_not_started_while_something_soaks(work, with_soak):
    bench, asker = work(LATELY, [("repair.soak_points", ["started", "try"])], ["q"], known=with_soak)
    run(bench)
    assert "First the waiting has to be over" in asker.sink.getvalue()
    assert any("Still soaking" in left for left in trail(bench.consultation).left)


def test_cannot_asks_why_and_the_step_can_be_put_back(work):
    bench, _ = work(LATELY, [("test.look_points", ["cannot", "no tool for it", "others", "lift.look_points"])], ["q"])
    run(bench)
    assert bodies(bench)[-2:] == [
        ("cannot", {"test": "look_points", "why": "no tool for it"}),
        ("lift", {"test": "look_points"}),
    ]


def test_undo_takes_back_the_last_answer_and_says_which(work):
    bench, asker = work(LATELY, [("test.look_points", ["outcome.grey", "undo"])], ["q"])
    run(bench)
    assert bench.consultation.state.seen == ()
    assert "Taken back: Look at the points: Grey or furred" in asker.sink.getvalue()


def test_facts_and_complaint_can_be_corrected_later(work):
    corrections = [
        "more",
        "fact",
        "ignition",
        "points_battery",
        "more",
        "complaint",
        "It runs, but not right",
        "knocks",
        GROUP,
        "not_a_cough",
    ]
    bench, asker = work([*LATELY, *corrections], [], ["q"])
    run(bench)
    assert bench.consultation.state.facts["battery"] == "yes"
    assert bench.consultation.state.complaint == "knocks"
    assert bench.consultation.state.also == ("not_a_cough",)
    assert asker.asked.count("also.group") == 2, "where nothing is left to name nothing is asked"


def test_a_repair_of_his_own_choice_asks_for_each_cause(work):
    bench, asker = work([*LATELY, "repaired", "new_coil", "sound"], [], ["q"])
    run(bench)
    assert bodies(bench)[-1] == ("repair", {"repair": "new_coil", "found": {"coil_dead": "sound"}})
    assert "found.coil_dead" in asker.asked


def test_a_repair_done_twice_says_so_and_counts_twice(work):
    answers = ["repaired", "new_coil", "not_seen", "repaired", "new_coil", "not_seen"]
    bench, asker = work([*LATELY, *answers], [], ["q"])
    run(bench)
    assert [repair.id for repair in bench.consultation.state.repairs] == ["new_coil", "new_coil"]
    shown = " ".join(asker.sink.getvalue().split())
    assert "! That was done before. It is written down as done once more; undo takes it back." in shown


def test_what_was_seen_before_a_repair_is_told_late_and_listed_as_it_was(work):
    late = ["repaired", "new_coil", "not_seen", "more", "before", "new_coil", "spark_at_gap", "none", "more", "seen"]
    bench, asker = work([*LATELY, *late], [], ["q"])
    run(bench)
    assert bodies(bench)[-1] == ("observe", {"test": "spark_at_gap", "outcome": "none", "before": "new_coil"})
    assert bench.consultation.state.seen[-1].situation.epoch == 0
    shown = asker.sink.getvalue()
    assert "  - Spark across a 6 mm gap: No spark at all (as it was then; changed since)" in shown
    told = as_text(trail(resume(bench.knowledge, bench.events)), 80)
    assert "No spark at all (seen before: Fit another coil)" in told.replace("\n    ", " ")


def test_nothing_was_seen_before_a_repair_where_none_was_done(work):
    bench, asker = work([*LATELY, "more", "before"], [], ["q"])
    run(bench)
    assert "! No repair is written down yet." in asker.sink.getvalue()


def test_how_it_stands_is_shown_put_right_and_waited_for(work, with_standing):
    warm = ["more", "fact", "warmth", "warm", "others", "every", "test.gap_cold"]
    bench, asker = work([*LATELY, *warm], [], ["q"], known=with_standing)
    run(bench)
    assert "fact.plug" not in asker.asked, "how it stands is no question of the intake"
    shown = asker.sink.getvalue()
    assert "The bike now: Engine: warm from running" in shown
    assert "DO NEXT: Gap of the points, cold - wait 1 h, then 3 min" in shown
    assert "First: Let it go cold." in shown


def test_why_names_each_outcome_and_the_next_best(work):
    bench, asker = work(LATELY, [("test.spark_at_gap", ["why", "q"])], [])
    run(bench)
    shown = asker.sink.getvalue()
    for outcome in ("No spark at all (", "Yellow or now and then (", "Jumps every time ("):
        assert f"  - {outcome}" in shown
    assert any(says in shown for says in ("Next best: ", "As good: ", "Better for the money: "))


def test_nothing_is_lost_whichever_question_is_broken_off(work):
    known: list[int] = []
    bench, asker = work(LATELY, PLAN, CLOSING)
    asker.before_each = lambda: known.append(len(bench.store.events(bench.job)))
    run(bench)
    whole = bodies(bench)
    assert len(known) == len(asker.asked)
    for question, kept in enumerate(known):
        bench, asker = work(LATELY, PLAN, CLOSING, stop_at=question)
        with pytest.raises(Stopped):
            run(bench)
        assert bodies(bench) == whole[:kept]
        if question <= 5:  # the facts: each answer is on disk before the next question
            assert kept == question + 1


def test_a_job_broken_off_goes_on_where_it_was(work):
    bench, _ = work(LATELY, PLAN, CLOSING, stop_at=3)
    with pytest.raises(Stopped):
        run(bench)
    again, asker = work(LATELY[3:], PLAN, CLOSING)
    again.job, again.events = bench.job, bench.store.events(bench.job)
    run(again)
    assert asker.asked[0] == "fact.inlet"
    assert [kind for kind, _ in bodies(again)][-1] == "close_job"


def test_two_terminals_on_one_job_do_not_overwrite_each_other(work):
    bench, _ = work(LATELY[:3], [], [])
    other, _ = work([], [], [])
    other.job, other.events = bench.job, bench.events
    with pytest.raises(NeedsAnswer):
        run(bench)
    with pytest.raises(JobError, match="another terminal"):
        other.record("fact", {"fact": "strokes", "option": "4"})


def test_the_screens_of_a_whole_job_fit_fifty_columns(work):
    bench, asker = work(LATELY, PLAN, CLOSING, width=50)
    run(bench)
    ours = [row for row in asker.sink.getvalue().splitlines() if not row.startswith(("?", "->", "    "))]
    assert max(map(len, ours)) <= 50
    told = as_text(trail(resume(bench.knowledge, bench.events)), 50)
    assert max(map(len, told.splitlines())) <= 50
    assert isinstance(asker.sink, io.StringIO)
