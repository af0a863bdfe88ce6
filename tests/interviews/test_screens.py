"""Exact screens for fixed values, without colour, at 80 and at 50 columns; the texts were read line by line."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.model import Caution
from diagnose.planning.steps import Step
from diagnose.problems import Place
from diagnose.terminal import screens
from diagnose.terminal.cards import Card
from diagnose.terminal.page import Line, Page
from diagnose.terminal.views import Board, Likely

HERE = Path(__file__).parent

BOARD = Board(
    apart=(),
    unplugged=(),
    now=(),
    title="Blue moped",
    number=4,
    likely=(
        Likely("points", "Points filmed over from standing", 0.48, 0.12, False, True),
        Likely("jet", "Pilot jet blocked by dried petrol", 0.20, 0.31, False, True),
        Likely("else", "Something else in the ignition that is not in the book", 0.04, 0.04, True, True),
        Likely("coil", "Ignition coil dead", 0.004, 0.02, False, True),
    ),
    minutes_left=95,
    cost_left=71.4,
    currency="EUR",
    doubt="",
    done=False,
    waiting=(("Charge the battery", 600.0),),
)
TENSION = Caution(
    id="ht",
    name="High tension",
    say="Clip the plug to bare metal; never hold the lead. Not for anyone with a pacemaker.",
    hazard="shock",
    basis=(),
    place=Place("x"),
)
CARD = Card(
    step=Step(kind="test", id="spark", minutes=7, opens=("plug_out",), expected=71.4, merit=2.0, wait=10),
    name="Spark across a 6 mm gap",
    brings=(),
    first_wait=0.0,
    opens=(("Spark plug out", 3.0),),
    closes=("Float bowl off",),
    cautions=(TENSION,),
    how=(
        "Clip the tester to bare metal on the engine, well away from the plug hole.",
        "Kick it over and watch.",
    ),
    tools=("plug spanner", "gap tester"),
    why="Tells spark from fuel. It does not see a plug that fails under compression.",
    ask="Does it jump the gap?",
    doubt="A spark in the open says nothing of a spark under compression.",
    locks=(),
    at_hand=("Seat off",),
    should_be="6 mm or more at sea level (general range; here at 1829 m 7.49 mm or more)",
)
LOCKED = replace(
    CARD,
    step=Step(kind="try_out", id="try_to_start", minutes=6, forbidden=("turn_first",)),
    name="Try to start it",
    locks=("It has stood. Turn it by hand before any kick. Unlocked by: Turn the engine by hand.",),
)
NOW = ("Tells points filmed over from standing apart from pilot jet blocked by dried petrol.", "Saves about 12 min.")
REASONS = (
    "- No spark at all (47 %): Points filmed over from standing 24 % -> 54 %",
    "Saves on average 12 min of what is left (cost 9 EUR); takes 7 min (cost 5 EUR).",
)


def printed(page: Page) -> str:
    page.show(screens.board_lines(page, BOARD))
    page.show(screens.card_lines(page, CARD, NOW))
    page.show(screens.why_lines(page, CARD, REASONS))
    page.show(screens.others_lines(page, [LOCKED]))
    page.show(page.wrapped(screens.other_text(CARD, 2.5), "  1  "))
    assert isinstance(page.sink, io.StringIO)
    return page.sink.getvalue()


@pytest.mark.parametrize("width", [80, 50])
def test_screens_are_as_written_down(width):
    text = printed(Page(width, sink=io.StringIO()))
    assert text == (HERE / f"screens_{width}.txt").read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= width


def test_without_bars_and_marks_nothing_but_ascii_is_printed():
    text = printed(Page(50, marks=False, bars=False, sink=io.StringIO()))
    assert text.isascii()
    assert "48 % ^ Points" in text
    assert "#" not in text


def test_a_rising_and_a_falling_cause_differ_without_colour():
    page = Page(80, marks=False, sink=io.StringIO())
    rising, falling = (screens.likely_lines(page, one)[0].text for one in BOARD.likely[:2])
    assert "↑" in rising
    assert "(was 12 %)" in rising
    assert "↓" in falling
    assert "(was 31 %)" in falling


def test_text_that_looks_like_markup_is_printed_as_it_is():
    sink = io.StringIO()
    Page(80, color=True, sink=sink).show([Line("[bold]plug[/bold] [1/2]", "bold")])
    assert "[bold]plug[/bold] [1/2]" in sink.getvalue()
