"""The asker for a real terminal. The only module that imports questionary and prompt_toolkit."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Sequence
from time import monotonic
from typing import Any

import questionary
from prompt_toolkit.input import Input
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent, merge_key_bindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.output import Output, create_output
from questionary.prompts.common import InquirerControl
from questionary.question import Question

from diagnose.terminal.asking.asker import BACK, Choice, Stopped, keyed

STRAY_SECONDS = 0.4
"""An Enter within so long of a question, after a one-key answer, was meant for that answer (memory)."""

STYLE = questionary.Style(
    [("qmark", "bold"), ("question", "bold"), ("pointer", "bold"), ("highlighted", "bold"), ("answer", "")]
)


class TerminalAsker:
    """Lists moved through by arrow keys, answered by one key; Esc and left arrow mean Back."""

    def __init__(
        self, source: Input | None = None, sink: Output | None = None, width: int = 80, marks: bool = True
    ) -> None:
        """Ask on stderr unless given an output. width: columns; marks: it can show more than ASCII."""
        self._streams: dict[str, Any] = {"output": sink or create_output(stdout=sys.stderr)}
        if source is not None:
            self._streams["input"] = source
        self._width, self._pointer = width, "»" if marks else ">"
        self._by_key = False

    def choose(
        self,
        name: str,
        question: str,
        choices: Sequence[Choice],
        default: str | None = None,
        search: bool = False,
    ) -> str:
        """Show the list, return the value taken; one key answers at once, unless typing searches."""
        listed = [(key, choice) for key, choice in keyed(choices) if not choice.hidden]
        rows = [
            questionary.Choice(self._title("" if search else key, choice), value=choice.value) for key, choice in listed
        ]
        asked = questionary.select(
            self._fitted(f"{question} (type part of a name, Esc: back)" if search else question),
            choices=rows,
            default=default,
            qmark="?",
            pointer=self._pointer,
            instruction=" ",
            use_search_filter=search,
            use_jk_keys=False,
            style=STYLE,
            **self._streams,
        )
        keys = {} if search else {key: choice.value for key, choice in keyed(choices) if key}
        shown, after_key, self._by_key = monotonic(), self._by_key, False

        def stray_enter() -> bool:
            """Return whether an Enter belongs to the answer before, which its key alone had given."""
            return after_key and monotonic() - shown < STRAY_SECONDS

        def took_key() -> None:
            self._by_key = True

        _bind(asked, {one.value: self._answer(question, one) for one in choices}, keys, stray_enter, took_key)
        return str(_run(asked))

    def text(self, name: str, question: str, default: str = "") -> str:
        """Read a line of text; an empty one gives the default, which stands in the question."""
        asked = f"{question} (Enter: {default})" if default else question
        put = questionary.text(f"{self._fitted(asked)}\n ", qmark="?", style=STYLE, **self._streams)
        return str(_run(put)).strip() or default

    def confirm(self, name: str, question: str, default: bool = False) -> bool:
        """Ask for yes or no by one key."""
        choices = (Choice("yes", "Yes", "y"), Choice("no", "No", "n"))
        return self.choose(name, question, choices, "yes" if default else "no") == "yes"

    def _fitted(self, question: str) -> str:
        """Return the question broken into lines behind its mark."""
        return "\n  ".join(textwrap.wrap(question, max(20, self._width - 3)) or [""])

    def _answer(self, question: str, choice: Choice) -> str:
        """Return what stands behind an answered question; on lines of its own where there is no room."""
        if len(question) + len(choice.text) + 4 <= self._width:
            return choice.text
        return "\n  " + "\n  ".join(textwrap.wrap(choice.text, max(20, self._width - 3)))

    def _title(self, key: str, choice: Choice) -> str:
        """Return the row as shown: key and text, broken into lines that fit behind the pointer."""
        room = max(20, self._width - 8)
        return f"{key or ' '}  " + "\n      ".join(textwrap.wrap(choice.text, room) or [""])


def _bind(
    asked: Question,
    answers: dict[str, str],
    keys: dict[str, str],
    stray_enter: Callable[[], bool],
    took_key: Callable[[], None],
) -> None:
    """Add the one-key answers, Esc and left arrow for Back, and Ctrl-D for stopping.

    Args:
        asked: the question to bind them to.
        answers: value -> what stands behind the question once it is answered.
        keys: key -> value; the value need not be on the list.
        stray_enter: whether an Enter that comes now is to be dropped.
        took_key: called when one of the keys has answered.
    """
    control = next(
        found for found in asked.application.layout.find_all_controls() if isinstance(found, InquirerControl)
    )
    bound = KeyBindings()

    def take(event: KeyPressEvent, value: str | None = None, by_key: bool = False) -> None:
        if event.app.is_done:
            return
        if by_key:
            took_key()
        row = control.get_pointed_at()
        chosen = str(row.value) if value is None else value
        row.title = answers.get(chosen) or row.title  # what stands behind the question from now on
        control.is_answered = True
        event.app.exit(result=chosen)

    @bound.add(Keys.ControlM, eager=True)
    def _enter(event: KeyPressEvent) -> None:
        if not stray_enter():
            take(event)

    @bound.add(Keys.ControlD, eager=True)
    def _stop(event: KeyPressEvent) -> None:
        if not event.app.is_done:
            event.app.exit(exception=EOFError)

    if BACK in answers:
        bound.add(Keys.Left, eager=True)(lambda event: take(event, BACK))
        bound.add(Keys.Escape)(lambda event: take(event, BACK))
    for key, value in keys.items():
        bound.add(key, eager=True)(lambda event, value=value: take(event, value, by_key=True))
    theirs = asked.application.key_bindings or KeyBindings()
    asked.application.key_bindings = merge_key_bindings([theirs, bound])
    asked.application.ttimeoutlen = asked.application.timeoutlen = 0.05


def _run(asked: Question) -> Any:
    """Ask; turn the two ways of breaking off into Stopped."""
    try:
        return asked.unsafe_ask()
    except (KeyboardInterrupt, EOFError):
        raise Stopped from None
