"""What every check of a scripted job needs: the knowledge to look things up in, and the mistakes so far."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from diagnose.model import Knowledge, SheetItem
from diagnose.problems import KnowledgeError, Place, Problem, printable
from diagnose.reading.files import nearest, read_bytes, unreadable
from diagnose.reading.source import Node, read
from diagnose.taken import parse_taken
from diagnose.units import Quantity, QuantityError, kind_of, parse_quantity

_LONGEST = 400
"""Signs of a message that are shown."""

Figure = Callable[[SheetItem, str], dict[str, Any]]
"""Reads what is written for a value of the sheet: figures.manual_figure or measured_figure."""


@dataclass(frozen=True, slots=True)
class Desk:
    """Reads one value after another; whatever is wrong with one goes on the list of problems."""

    knowledge: Knowledge
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, node: Node, says: str, rule: str, write: str = "", *, key: bool = False) -> None:
        """Note a mistake at a value, or at its key."""
        self.problems.append(node.problem(printable(says[:_LONGEST]), rule, printable(write[:_LONGEST]), key=key))

    def id(self, node: Node | None, kind: str, known: Iterable[str]) -> str | None:
        """Return an id that must be known; None where nothing is written or a mistake was noted."""
        if node is None or not (written := self.needed(node)):
            return None
        if written in known:
            return written
        self.unknown(node, kind, written, known)
        return None

    def unknown(self, node: Node, kind: str, written: str, known: Iterable[str], *, key: bool = False) -> None:
        """Note an id that the knowledge does not have, with the nearest that it has."""
        write = nearest(written, known) or f"the id of a {kind} that is in the knowledge"
        self.wrong(node, f"the knowledge has no {kind} {written}", f"unknown-{kind}", write, key=key)

    def option(self, fact: str, node: Node) -> str | None:
        """Return the option that is written for a fact; None where it is not known or a mistake was noted."""
        known = self.knowledge.facts.get(fact)
        if not known:
            self.unknown(node, "fact", fact, self.knowledge.facts, key=True)
            return None
        if node.content is None or (node.content == "unknown" and "unknown" not in known.options):
            return None
        option = self.needed(node)
        if option and option not in known.options:
            near = nearest(option, known.options)
            says = f"{fact} has no option {option}; it has {listed(known.options)}"
            self.wrong(node, says, "unknown-option", near or listed([*known.options, "unknown"], " or "))
        return option if option in known.options else None

    def known_keys(self, keys: Mapping[str, Node], allowed: tuple[str, ...], owner: str) -> None:
        """Note every key that does not belong here."""
        for key, node in keys.items():
            if key not in allowed:
                says = f"{key} is no key of {owner}; the keys are {listed(allowed)}"
                write = nearest(key, allowed) or "nothing, or one of the keys"
                self.wrong(node, says, "unknown-key", write, key=True)

    def quantity(
        self, node: Node, kind: str, units: tuple[str, ...], owner: str = "this", placed: bool = False
    ) -> Quantity | None:
        """Return a quantity of a kind; without a unit only where something is counted.

        placed: where it was taken may stand behind it; the text is then all that is written.
        """
        if not (text := self.needed(node)):
            return None
        try:
            taken = parse_taken(text, kind) if placed else None
            quantity = replace(taken.quantity, text=taken.text) if taken else parse_quantity(text, kind)
        except QuantityError as error:
            self.wrong(node, f"{text}: {error.says}", "bad-reading", error.write)
            return None
        if quantity.unit in units or (not quantity.unit and kind == "count"):
            return quantity
        if quantity.unit:
            measured = kind_of(quantity.unit)
            says = f"{quantity.unit} is a unit of {measured}; {owner} takes {kind} in {listed(units)}"
            self.wrong(node, says, "wrong-unit", f"a reading in {listed(units, ' or ')}")
        else:
            says = f"{text} has no unit; {owner} takes {kind} in {listed(units)}"
            self.wrong(node, says, "no-unit", listed((f"{text} {unit}" for unit in units), " or "))
        return None

    def figure(self, node: Node, item: str, text: str, read_as: Figure) -> dict[str, Any] | None:
        """Return what is written for a value of the sheet; None where that cannot be read and a mistake was noted."""
        try:
            return {"item": item, **read_as(self.knowledge.quantities[item], text)}
        except QuantityError as error:
            self.wrong(node, f"{text}: {error.says}", "bad-figure", error.write)
            return None

    def amounts(self, keys: Mapping[str, Node], names: tuple[str, ...]) -> dict[str, float]:
        """Return the plain numbers that are given beside a step's main key."""
        return {
            name: self.amount(keys[name], self.needed(keys[name]), "a number such as 12")
            for name in names
            if name in keys
        }

    def amount(self, node: Node, text: str, write: str) -> float:
        """Return a number that is not negative and has no unit; 0 where a mistake was noted."""
        try:
            quantity = parse_quantity(text) if text else None
        except QuantityError as error:
            self.wrong(node, f"{text}: {error.says}", "not-a-number", write)
            return 0.0
        if quantity and (quantity.unit or quantity.value < 0):
            self.wrong(node, f"{text} must be a plain number, 0 or more", "not-a-number", write)
        return quantity.value if quantity else 0.0

    def limit(self, node: Node | None) -> dict[str, float]:
        """Return what the owner says of money: running (what it is worth so), ceiling (the most to be spent)."""
        keys = self.mapping(node)
        self.known_keys(keys, ("running", "ceiling"), "worth")
        return {
            name: self.amount(each, self.needed(each), "an amount such as 250, without a currency")
            for name, each in keys.items()
            if name in ("running", "ceiling")
        }

    def mapping(self, node: Node | None) -> Mapping[str, Node]:
        """Return a mapping; empty where there is none."""
        if node is None or node.content is None:
            return {}
        if isinstance(node.content, dict):
            return node.content
        self.wrong(node, "here must be a mapping", "not-a-mapping", "{key: value}")
        return {}

    def items(self, node: Node | None) -> list[Node]:
        """Return a list; empty where there is none."""
        if node is None or node.content is None:
            return []
        if isinstance(node.content, list):
            return node.content
        self.wrong(node, "here must be a list", "not-a-list", "one line beginning with - for each item")
        return []

    def text(self, node: Node | None) -> str:
        """Return a text; empty where there is none."""
        if node is None or node.content is None:
            return ""
        if isinstance(node.content, str):
            return node.content.strip()
        self.wrong(node, "here must be one text", "not-a-text", "one text, in quotes if it holds : or #")
        return ""

    def needed(self, node: Node) -> str:
        """Return a text that must be there."""
        if not (text := self.text(node)) and not isinstance(node.content, dict | list):
            self.wrong(node, "nothing is written here", "empty-value", "a value after the colon", key=True)
        return text


def listed(words: Iterable[str], last: str = " and ") -> str:
    """Return words as a list in a sentence.

    >>> listed(["none", "weak", "good"])
    'none, weak and good'
    """
    *first, end = [*words] or ["none"]
    return f"{', '.join(first)}{last}{end}" if first else end


def opened(path: Path, what: str, knowledge: Knowledge) -> tuple[Node | None, Desk]:
    """Return what a file holds, None for nothing, and a desk with the mistakes of its writing.

    what: "scripted job". Raises KnowledgeError where the file cannot be read.
    """
    try:
        data = read_bytes(path)
    except FileNotFoundError:
        problem = Problem(Place(str(path)), "there is no such file", "missing-file", f"the path of a {what}")
        raise KnowledgeError([problem]) from None
    except OSError as error:
        raise KnowledgeError([unreadable(str(path), error)]) from error
    top, problems = read(data, str(path))
    return top, Desk(knowledge, list(problems))
