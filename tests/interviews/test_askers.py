"""The three ways of answering: keys in a terminal, numbered lines, answers from a file."""

from __future__ import annotations

import io

import pytest
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from diagnose.terminal.asking.asker import (
    BACK,
    AnswersAsker,
    AskerError,
    Choice,
    NeedsAnswer,
    PlainAsker,
    Stopped,
)
from diagnose.terminal.asking.prompts import TerminalAsker

STARTER = (
    Choice("kick", "Kick lever only"),
    Choice("electric", "Button only"),
    Choice("both", "Kick lever and button"),
    Choice("unknown", "Don't know", "d"),
    Choice(BACK, "Back", "b"),
)
MANY = [
    *(Choice(f"r{number}", f"Repair number {number}") for number in range(1, 31)),
    Choice(BACK, "Back", "b"),
]
DOWN, ENTER, ESCAPE, LEFT, CTRL_C, CTRL_D = "\x1b[B", "\r", "\x1b", "\x1b[D", "\x03", "\x04"


def typed(keys: str, ask):
    with create_pipe_input() as source:
        source.send_text(keys)
        return ask(TerminalAsker(source, DummyOutput()))


def starter(asker, default=None):
    return asker.choose("fact.starter", "How is it started?", STARTER, default)


@pytest.mark.parametrize(
    ("keys", "value"),
    [
        ("1", "kick"),
        ("3", "both"),
        ("d", "unknown"),
        ("b", BACK),
        (LEFT, BACK),
        (ESCAPE, BACK),
        (ENTER, "kick"),
        (DOWN + ENTER, "electric"),
        ("22", "electric"),  # one finger, pressed twice
        ("x7" + "2", "electric"),  # keys that mean nothing do nothing
    ],
)
def test_terminal_one_key_answers(keys, value):
    assert typed(keys, starter) == value


TEN = [Choice(f"r{number}", f"Row {number}") for number in range(1, 12)] + [
    Choice("undo", "Undo", "u", hidden=True),
    Choice("more", "More", "m"),
]


@pytest.mark.parametrize(("keys", "value"), [("9", "r9"), ("0", "r10"), ("u", "undo"), ("m", "more")])
def test_terminal_the_tenth_row_and_a_hidden_entry_have_a_key(keys, value):
    assert typed(keys, lambda asker: asker.choose("outcome", "What?", TEN)) == value


def test_terminal_a_hidden_entry_is_not_reached_by_arrows():
    assert typed(DOWN * 11 + ENTER, lambda asker: asker.choose("outcome", "What?", TEN)) == "more"


def test_terminal_enter_takes_the_default():
    assert typed(ENTER, lambda asker: starter(asker, "both")) == "both"


@pytest.mark.parametrize("keys", [CTRL_C, CTRL_D])
def test_terminal_breaking_off_a_list_and_a_line(keys):
    with pytest.raises(Stopped):
        typed(keys, starter)
    with pytest.raises(Stopped):
        typed(keys, lambda asker: asker.text("words", "Words?"))


def test_terminal_a_line_of_text():
    assert typed("was fine " + ENTER, lambda asker: asker.text("words", "Words?")) == "was fine"
    assert typed(ENTER, lambda asker: asker.text("title", "Name?", "Bike")) == "Bike"


def test_terminal_a_long_list_is_narrowed_by_typing():
    def ask(asker):
        return asker.choose("repair", "Which?", MANY, search=True)

    assert typed("er 17" + ENTER, ask) == "r17"
    assert typed("12" + ESCAPE, ask) == BACK


@pytest.mark.parametrize(("keys", "answer"), [("y", True), ("n", False), (ENTER, True)])
def test_terminal_yes_or_no(keys, answer):
    assert typed(keys, lambda asker: asker.confirm("sure", "Sure?", default=True)) is answer


def plain(lines: str, interactive: bool = True) -> tuple[PlainAsker, io.StringIO]:
    sink = io.StringIO()
    return PlainAsker(io.StringIO(lines), sink, interactive), sink


@pytest.mark.parametrize(
    ("line", "value"),
    [("2", "electric"), ("d", "unknown"), ("b", BACK), ("lever and", "both"), ("kick", "kick")],
)
def test_plain_number_letter_value_or_part_of_the_name(line, value):
    assert starter(plain(line + "\n")[0]) == value


def test_plain_the_list_is_printed_with_its_keys():
    asker, sink = plain("1\n")
    starter(asker)
    assert sink.getvalue() == (
        "\nHow is it started?\n  1  Kick lever only\n  2  Button only\n  3  Kick lever and button\n"
        "  d  Don't know\n  b  Back\n> "
    )


@pytest.mark.parametrize("line", ["7", "", "zzz", "lever"])
def test_plain_what_does_not_fit_is_asked_again(line):
    asker, sink = plain(f"{line}\n2\n")
    assert starter(asker) == "electric"
    assert "Type the number or letter in front of your answer." in sink.getvalue()


def test_plain_more_than_nine_choices_go_by_number():
    assert plain("12\n")[0].choose("repair", "Which?", MANY) == "r12"


def test_plain_a_long_list_is_narrowed_by_a_word():
    asker, sink = plain("number 2\n2\n")
    assert asker.choose("repair", "Which?", MANY, search=True) == "r20"
    assert "(18 more: type part of the name)" in sink.getvalue()


def test_plain_an_empty_line_takes_the_default():
    asker, sink = plain("\n")
    assert starter(asker, "both") == "both"
    assert sink.getvalue().endswith("[3] > ")
    assert plain("\n")[0].text("title", "Name?", "Bike") == "Bike"


def test_plain_the_end_of_a_terminal_is_a_stop():
    with pytest.raises(Stopped):
        starter(plain("")[0])


def test_plain_the_end_of_a_pipe_names_the_question():
    with pytest.raises(NeedsAnswer, match=r"fact\.starter: How is it started\?"):
        starter(plain("", interactive=False)[0])


def test_answers_by_order_and_by_name():
    assert starter(AnswersAsker(["both"])) == "both"
    assert starter(AnswersAsker({"fact.starter": "2"})) == "electric"


def test_answers_a_list_answers_a_question_that_comes_again():
    asker = AnswersAsker({"fact.starter": ["kick", "both"]})
    assert [starter(asker), starter(asker)] == ["kick", "both"]
    with pytest.raises(NeedsAnswer):
        starter(asker)


def test_answers_no_answer_names_question_and_options():
    with pytest.raises(NeedsAnswer) as error:
        starter(AnswersAsker({}))
    assert str(error.value) == (
        "an answer is needed and there is no terminal.\n  fact.starter: How is it started?\n  one of:\n"
        "    kick  (Kick lever only)\n    electric  (Button only)\n    both  (Kick lever and button)\n"
        "    unknown  (Don't know)\n    back  (Back)"
    )


def test_answers_a_wrong_answer_says_what_to_write():
    with pytest.raises(AskerError, match="Write one of: kick, electric, both"):
        starter(AnswersAsker(["pedals"]))
