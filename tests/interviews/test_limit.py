"""Money in the interview: asked once, shown when there is something to say, changed, and told in the account."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, close_job, observe, resume
from diagnose.events import Event
from diagnose.report.text import as_text
from diagnose.report.trail import trail
from diagnose.terminal import worth as shown
from diagnose.terminal.interview import run
from diagnose.terminal.page import Page
from diagnose.terminal.worth import board_lines, first_lines, full_lines, round_lines

GROUP = "It starts badly, dies, floods or bangs"
BIKE = ["2", "points_magneto", "no", "port", "years", GROUP, "not_a_cough", "nothing", "Dead."]
INTAKE = {"bike": {"strokes": "2", "ignition": "points_magneto", "parked": "years"}, "complaint": "not_a_cough"}


def said(lines) -> str:
    return " ".join(" ".join(line.text.split()) for line in lines)


def talk(sit_down, *answers):
    bench, asker = sit_down([*BIKE, *answers])
    run(bench)
    return bench, asker, " ".join(asker.sink.getvalue().split())


def test_enter_skips_it_and_nothing_more_is_said_of_money(sit_down) -> None:
    bench, asker, screen = talk(sit_down, "", "q")
    assert asker.asked.count("worth.ceiling") == 1
    assert "worth.running" not in asker.asked
    assert not any(event.kind == "worth" for event in bench.events)
    assert "Ceiling" not in screen
    assert "Of 100 such bikes" not in screen


def test_a_ceiling_is_watched_from_the_first_step(sit_down) -> None:
    bench, _, screen = talk(sit_down, "250", "400", "q")
    assert [event.body for event in bench.events if event.kind == "worth"] == [{"ceiling": 250.0, "running": 400.0}]
    assert "Spent 0. Of 100 such bikes 50 take under " in screen
    assert "Ceiling 250: it should hold." in screen


def test_a_ceiling_that_will_hardly_hold_is_said_with_what_to_do(sit_down) -> None:
    _, _, screen = talk(sit_down, "10", "", "q")
    assert "Ceiling 10: it will more likely break than hold" in screen
    assert "! Cheapest now: stop here. More would likely cost more than is left of the ceiling (10)." in screen


def test_it_is_changed_later_and_the_job_goes_on(sit_down) -> None:
    changed = ["more", "worth", "ceiling", "lots", "300", "more", "worth", "ceiling", "none"]
    bench, _, screen = talk(sit_down, "250", "", *changed, "q")
    assert [event.body for event in bench.events if event.kind == "worth"][1:] == [
        {"ceiling": 300.0},
        {"ceiling": None},
    ]
    assert "! lots is not read as an amount. Write a number such as 250, or none." in screen
    assert "The owner on money: at most 300." in screen
    assert bench.consultation.state.limit.ceiling is None


def test_a_job_taken_up_again_does_not_ask_twice(sit_down) -> None:
    bench, _, _ = talk(sit_down, "250", "", "q")
    again, asker = sit_down(["q"])
    again.job, again.events = bench.job, bench.store.events(bench.job)
    run(again)
    assert "worth.ceiling" not in asker.asked


@pytest.mark.parametrize(
    ("answer", "ended", "says"),
    [
        (
            "handed_on",
            "handed_on",
            "The work was ended here, and the bike is handed on to a specialist with this account.",
        ),
        (
            "not_worth_it",
            "not_worth_it",
            "The work was ended here because going on would likely cost more than it is worth to the owner.",
        ),
    ],
)
def test_a_job_ends_without_a_bike_that_goes_and_says_so(sit_down, answer, ended, says) -> None:
    bench, _, screen = talk(sit_down, "250", "", "more", "finish", answer, "n", "Ask again in spring.")
    closed = bench.events[-1]
    assert (closed.kind, closed.body["ended"]) == ("close_job", ended)
    assert "Hand it on to a specialist (about 360, taken as a day's work)" in screen
    told = " ".join(as_text(trail(resume(bench.knowledge, bench.events)), 80).split())
    half, most = closed.body["reckoned"]["half"], closed.body["reckoned"]["nine_in_ten"]
    assert f"{says} It has not been seen to run as it should." in told
    assert f"would have cost under {half:.0f} more on half of such bikes, and under {most:.0f} on nine of ten" in told
    assert "The owner on money: at most 250." in told
    assert "0 in all, of 250 at most." in told
    assert "Ask again in spring." in told


def test_the_account_of_a_job_without_a_limit_says_nothing_of_it(small) -> None:
    told = as_text(trail(begin(small, INTAKE).add(close_job({}))), 80)
    assert "The work was ended here. It has not been seen to run as it should." in told
    assert "The owner on" not in told
    assert "at most" not in told


def test_the_first_test_says_what_it_is_for(shipped) -> None:
    barn = {"strokes": "4", "cylinders": "1", "parked": "years", "stored": "outdoors"}
    job = begin(shipped, {"bike": barn, "complaint": "hard_to_start", "worth": {"ceiling": 120.0}})
    job = job.add(observe("turn_by_hand", "free"))
    says = said(first_lines(Page(50), job, job.next_step))
    assert says.strip().startswith("Before anything else is spent, is it this: Rust in the tank (")
    assert f"{job.worth.left:.0f} is left of the ceiling." in says
    assert first_lines(Page(50), job, job.steps[1]) == []


def test_what_would_break_the_limit_by_itself_is_listed(small) -> None:
    """The coil takes 20 minutes and 30 of parts: 45, more than a ceiling of 40."""
    job = begin(small, INTAKE | {"worth": {"ceiling": 40.0}})
    (ender,) = [one for one in job.worth.enders if one.cause == "coil_dead"]
    assert ender.price == pytest.approx(20 / 60 * 45 + 30)
    full = said(full_lines(Page(80), job))
    assert (
        "What would break it by itself, and how likely it stops the bike (40 is left of the ceiling): - Ignition coil dead"
        in full
    )
    assert f": {ender.price:.0f}. " in full


@pytest.mark.parametrize("width", [80, 50])
def test_all_lines_fit(small, width) -> None:
    page = Page(width)
    for limit in ({}, {"ceiling": 10.0}, {"running": 30.0}, {"ceiling": 40.0, "running": 60.0}):
        job = begin(small, INTAKE | {"worth": limit, "shop": {"currency": "EUR", "service": 20.0}})
        lines = [*board_lines(page, job), *full_lines(page, job), *round_lines(page, job)]
        lines += [line for step in job.steps for line in first_lines(page, job, step)]
        assert max(len(line.text) for line in lines) <= width


def test_handing_on_is_named_where_it_is_the_cheapest_though_nobody_set_a_limit(small) -> None:
    """Closing nothing and 5 to hand it on, against 15 to 20 minutes of any repair at 45 an hour."""
    job = begin(small, INTAKE | {"shop": {"service": 5.0}})
    says = said(board_lines(Page(80), job))
    assert "! Cheapest now: hand it on (about 5): m, Finish the job. Or go on below." in says
    assert board_lines(Page(80), begin(small, INTAKE)) == []


def test_a_price_that_the_shop_states_is_not_called_taken(small) -> None:
    job = begin(small, INTAKE | {"shop": {"service": 150.0, "currency": "EUR"}})
    assert shown.price_of_handing_on(job) == " (about 150 EUR)"


def test_a_ceiling_that_is_reached_is_said(small) -> None:
    job = begin(small, INTAKE | {"worth": {"ceiling": 40.0}}).add(
        Event("repair", {"repair": "new_coil", "parts": 60.0})
    )
    assert "Ceiling 40: reached. Ask the owner before anything more." in said(board_lines(Page(80), job))
