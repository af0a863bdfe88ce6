"""How a question is put and answered: one small interface, the plain form of it, and the form for files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TextIO

from diagnose.problems import DiagnoseError

BACK = "back"
ROWS = "1234567890aefgijkopvxyz"
"""Keys for the rows of a list: digits, then letters that say nothing else anywhere."""
PLAIN_ROWS = 12


class Stopped(Exception):
    """The user pressed Ctrl-C or Ctrl-D at a question. All that was answered before is kept."""


class AskerError(DiagnoseError):
    """Asking itself failed, so that nothing more can be asked."""


class NeedsAnswer(AskerError):
    """A question has no answer and there is nobody to ask; exit code 4."""

    def __init__(self, name: str, question: str, choices: Sequence[Choice] = ()) -> None:
        """Name the question and what may be answered."""
        options = "".join(f"\n    {choice.value}  ({choice.text})" for choice in choices)
        one_of = f"\n  one of:{options}" if options else ""
        super().__init__(f"an answer is needed and there is no terminal.\n  {name}: {question}{one_of}")


@dataclass(frozen=True, slots=True)
class Choice:
    """One line of a list. value: what is returned; key: the letter of a fixed entry ("" = gets a digit).

    hidden: not on the list, its key answers all the same.
    """

    value: str
    text: str
    key: str = ""
    hidden: bool = False


BACK_ENTRY = Choice(BACK, "Back", "b")


class Asker(Protocol):
    """Whoever answers. name: the id of the question, for answers from a file and for error messages."""

    def choose(
        self,
        name: str,
        question: str,
        choices: Sequence[Choice],
        default: str | None = None,
        search: bool = False,
    ) -> str:
        """Return the value of the choice taken. search: a long list that typing narrows down."""
        ...

    def text(self, name: str, question: str, default: str = "") -> str:
        """Return a line of text without blanks round it; may be empty."""
        ...

    def confirm(self, name: str, question: str, default: bool = False) -> bool:
        """Return yes or no."""
        ...


def keyed(choices: Sequence[Choice]) -> list[tuple[str, Choice]]:
    """Give each choice its key: its own letter, else the next of the digits and of the letters left over, else none.

    >>> [key for key, _ in keyed([Choice("a", "A"), Choice("back", "Back", "b"), Choice("c", "C")])]
    ['1', 'b', '2']
    """
    taken = {choice.key for choice in choices}
    rows = iter(key for key in ROWS if key not in taken)
    return [(choice.key or next(rows, ""), choice) for choice in choices]


class PlainAsker:
    """A numbered list and a line of input: for --plain, for dumb terminals and for screen readers."""

    def __init__(self, source: TextIO, sink: TextIO, interactive: bool = True) -> None:
        """Read answers from source, write questions to sink. interactive: a person sits at the source."""
        self._source, self._sink, self._interactive = source, sink, interactive

    def choose(
        self,
        name: str,
        question: str,
        choices: Sequence[Choice],
        default: str | None = None,
        search: bool = False,
    ) -> str:
        """Print the list, read a number, a letter or part of a name; ask again until it fits one choice."""
        shown = list(choices)
        while True:
            self._print_list(question, shown, search)
            typed = self._line(name, question, choices, _shown_key(default, shown))
            if not typed and default is not None:
                return default
            found = _match(typed, shown) or (_match(typed, choices) if search else [])
            if len(found) == 1:
                return found[0].value
            if search and found:
                shown = [*found, *(choice for choice in choices if choice.key)]
                continue
            shown = list(choices)
            self._say("Type the number or letter in front of your answer.")

    def text(self, name: str, question: str, default: str = "") -> str:
        """Read one line; an empty one gives the default."""
        self._sink.write(f"\n{question}\n")
        return self._line(name, question, (), default or None) or default

    def confirm(self, name: str, question: str, default: bool = False) -> bool:
        """Read y or n; an empty line gives the default."""
        choices = (Choice("yes", "Yes", "y"), Choice("no", "No", "n"))
        return self.choose(name, question, choices, "yes" if default else "no") == "yes"

    def _print_list(self, question: str, shown: Sequence[Choice], search: bool) -> None:
        numbered = [choice for choice in shown if not choice.key]
        cut = PLAIN_ROWS if search else len(numbered)
        lines = [f"{number:>3}  {choice.text}" for number, choice in enumerate(numbered[:cut], start=1)]
        lines += [f"  {choice.key}  {choice.text}" for choice in shown if choice.key and not choice.hidden]
        if len(numbered) > cut:
            lines.append(f"  ({len(numbered) - cut} more: type part of the name)")
        self._sink.write("\n" + "\n".join([question, *lines]) + "\n")

    def _line(self, name: str, question: str, choices: Sequence[Choice], default: str | None) -> str:
        self._sink.write(f"[{default}] > " if default else "> ")
        self._sink.flush()
        try:
            line = self._source.readline()
        except KeyboardInterrupt:
            raise Stopped from None
        if not line:
            if self._interactive:
                raise Stopped
            raise NeedsAnswer(name, question, choices)
        if not self._interactive:
            self._sink.write(line if line.endswith("\n") else line + "\n")
        return line.strip()

    def _say(self, text: str) -> None:
        self._sink.write(text + "\n")


def _shown_key(value: str | None, shown: Sequence[Choice]) -> str | None:
    """Return the number or letter that stands in front of a value."""
    numbers = iter(range(1, len(shown) + 1))
    keys = {choice.value: choice.key or str(next(numbers)) for choice in shown}
    return keys.get(value) if value is not None else None


def _match(typed: str, choices: Sequence[Choice]) -> list[Choice]:
    """Return the choices that what was typed can mean: by number, letter, value or part of the text."""
    wanted = typed.strip().lower()
    if not wanted:
        return []
    numbered = [choice for choice in choices if not choice.key]
    if wanted.isdecimal() and 1 <= int(wanted) <= len(numbered):
        return [numbered[int(wanted) - 1]]
    for exact in (
        [choice for choice in choices if choice.key == wanted],
        [choice for choice in choices if choice.value == wanted],
    ):
        if exact:
            return exact
    return [choice for choice in choices if len(wanted) > 1 and wanted in choice.text.lower()]


class AnswersAsker:
    """Answers written down beforehand: a list in the order of the questions, or a mapping by question name.

    A mapping may give a list for a question that comes several times; a single value answers it every time.
    """

    def __init__(self, answers: Mapping[str, Any] | Sequence[Any]) -> None:
        """Keep the answers; they are taken as text."""
        self._by_name: dict[str, Any] = {}
        self._in_order: list[str] = []
        if isinstance(answers, Mapping):
            for name, value in answers.items():
                many = isinstance(value, Sequence) and not isinstance(value, str)
                self._by_name[name] = [str(one) for one in value] if many else str(value)
        else:
            self._in_order = [str(one) for one in answers]

    def choose(
        self,
        name: str,
        question: str,
        choices: Sequence[Choice],
        default: str | None = None,
        search: bool = False,
    ) -> str:
        """Return the next answer; it is the value or the key of one of the choices."""
        answer = self._next(name, question, choices)
        for key, choice in keyed(choices):
            if answer == choice.value or (key and answer == key):
                return choice.value
        listed = ", ".join(choice.value for choice in choices)
        raise AskerError(f"{name}: {answer!r} is not an answer to {question!r}. Write one of: {listed}")

    def text(self, name: str, question: str, default: str = "") -> str:
        """Return the next answer as it stands."""
        return self._next(name, question, ()).strip() or default

    def confirm(self, name: str, question: str, default: bool = False) -> bool:
        """Return whether the next answer is yes."""
        return self.choose(name, question, (Choice("yes", "Yes", "y"), Choice("no", "No", "n"))) == "yes"

    def _next(self, name: str, question: str, choices: Sequence[Choice]) -> str:
        if self._in_order:
            return self._in_order.pop(0)
        answer = self._by_name.get(name)
        if isinstance(answer, str):
            return answer
        if not answer:
            raise NeedsAnswer(name, question, choices)
        return str(answer.pop(0))
