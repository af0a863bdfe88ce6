"""YAML bytes to nodes that know their place. Every scalar stays the text it was written as.

The events of the YAML library are walked one by one, so an anchor, a tag or too deep a nesting is
refused where it stands, before anything can grow.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import yaml

from diagnose.problems import Place, Problem
from diagnose.reading.files import MAX_BYTES
from diagnose.reading.syntax import in_plain_words

MAX_LINE = 10_000
MAX_DEPTH = 20

LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The parser in C where the wheel has it, else the slow one in Python."""

Spot = tuple[int, int]
"""Line and column, both from 1."""

_ODD = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_TAB = re.compile(r"^ *(\t)[ \t]*[^\s]", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Document:
    """The lines of one file, for messages."""

    file: str
    lines: tuple[str, ...]

    def problem(self, spot: Spot, says: str, rule: str, write: str = "") -> Problem:
        """Return a mistake at a spot of this file, with the line it stands in."""
        line, column = spot
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Problem(Place(self.file, line, column), says, rule, write, _ODD.sub("\ufffd", text))


@dataclass(frozen=True, slots=True)
class Node:
    """A value as it was written: text, nothing at all, a mapping or a list. key: the spot of its key."""

    content: str | dict[str, Node] | list[Node] | None
    document: Document
    at: Spot
    key: Spot

    def plain(self) -> Any:
        """Return the value as plain mappings, lists and texts."""
        if isinstance(self.content, dict):
            return {key: node.plain() for key, node in self.content.items()}
        if isinstance(self.content, list):
            return [node.plain() for node in self.content]
        return self.content

    def problem(self, says: str, rule: str, write: str = "", *, key: bool = False) -> Problem:
        """Return a mistake at this value, or at its key."""
        return self.document.problem(self.key if key else self.at, says, rule, write)


class _Refused(Exception):
    """A mistake after which the rest of the file cannot be read."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.says)
        self.problem = problem


def read(data: bytes, shown: str) -> tuple[Node | None, list[Problem]]:
    """Read one file.

    Args:
        data: The bytes of the file.
        shown: The name of the file in messages.

    Returns:
        The mapping at the top, or None where the file cannot be read as one, and every mistake.
    """
    problems: list[Problem] = []
    try:
        document = Document(shown, ())
        text = _text(data, shown)
        document = Document(shown, tuple(re.split("\r\n|[\n\r]", text)))
        _refuse_odd_text(text, document)
        return _Reader(text, document, problems).top(), problems
    except _Refused as refused:
        return None, [*problems, refused.problem]
    except yaml.MarkedYAMLError as error:
        spot, slip = in_plain_words(error, document.lines)
        return None, [*problems, document.problem(spot, slip.says, slip.rule, slip.write)]
    except yaml.YAMLError:
        return None, [
            *problems,
            document.problem((0, 0), "this cannot be read as YAML", "syntax", "key: value"),
        ]


def _text(data: bytes, shown: str) -> str:
    """Return the bytes as text. Raises _Refused for a file that is too large or not UTF-8."""
    if len(data) > MAX_BYTES:
        says = f"this file is larger than {MAX_BYTES // 1_000_000} MB"
        raise _Refused(Problem(Place(shown), says, "file-too-large", "several smaller files"))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _Refused(Problem(Place(shown), "this file is UTF-16", "encoding", "the file saved as UTF-8"))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: data.rfind(b"\n", 0, error.start) + 1]
        line = before.count(b"\n")
        column = len(data[len(before) : error.start].decode(errors="replace").lstrip("\ufeff")) + 1
        lines = tuple(data.decode(errors="replace").lstrip("\ufeff").split("\n", line + 1))[: line + 1]
        found = Document(shown, tuple(text.rstrip("\r")[:MAX_LINE] for text in lines))
        says = f"byte {data[error.start]:#04x} is not UTF-8"
        raise _Refused(found.problem((line + 1, column), says, "encoding", "the file saved as UTF-8")) from None


def _refuse_odd_text(text: str, document: Document) -> None:
    """Raise _Refused for lines too long, tabs as indentation and characters that do not print."""
    if max(map(len, document.lines)) > MAX_LINE:
        number = next(n for n, line in enumerate(document.lines, start=1) if len(line) > MAX_LINE)
        line = document.lines[number - 1]
        says = f"this line has {len(line)} characters; more than {MAX_LINE} are not read"
        raise _Refused(document.problem((number, MAX_LINE + 1), says, "line-too-long", "shorter lines"))
    if odd := _ODD.search(text):
        says = f"character U+{ord(odd[0]):04X} does not print and cannot stand in a text"
        raise _Refused(document.problem(_spot(text, odd.start()), says, "odd-character", "the text without it"))
    if tab := _TAB.search(text):
        spot = _spot(text, tab.start(1))
        raise _Refused(document.problem(spot, "a tab indents this line", "tab-indent", "spaces"))


def _spot(text: str, index: int) -> Spot:
    """Return line and column of a position in a text."""
    before = text[:index]
    breaks = before.count("\n") + before.count("\r") - before.count("\r\n")
    return breaks + 1, index - max(before.rfind("\n"), before.rfind("\r"))


class _Reader:
    """Walks the events of one document and collects what is wrong on the way."""

    def __init__(self, text: str, document: Document, problems: list[Problem]) -> None:
        self.events: Iterator[Any] = iter(yaml.parse(text, Loader=LOADER))
        self.document = document
        self.problems = problems

    def top(self) -> Node | None:
        """Return the mapping of the only document."""
        next(self.events)
        start = next(self.events)
        event = None if isinstance(start, yaml.StreamEndEvent) else next(self.events)
        if event is None or (isinstance(event, yaml.ScalarEvent) and event.value == "" and not event.anchor):
            says = "this file holds nothing"
            raise _Refused(
                Problem(Place(self.document.file), says, "empty-file", "at least one entry, or no such file")
            )
        node = self.node(event, _start(event), 0)
        next(self.events)
        after = next(self.events)
        if isinstance(after, yaml.DocumentStartEvent):
            says = "a second document begins here; only one is read"
            raise _Refused(self.document.problem(_start(after), says, "several-documents", "one document, without ---"))
        if isinstance(node.content, dict):
            return node
        says = "this file must be a mapping of ids to entries"
        raise _Refused(node.problem(says, "not-a-mapping", "id: and below it, indented, the keys of the entry"))

    def node(self, event: Any, key: Spot, depth: int) -> Node:
        """Return the value that begins with this event."""
        at = _start(event)
        if isinstance(event, yaml.AliasEvent) or event.anchor:
            sign = "*" if isinstance(event, yaml.AliasEvent) else "&"
            says = f"{sign}{event.anchor}: anchors and aliases are not read"
            raise _Refused(self.document.problem(at, says, "anchor", "the value itself, or quotes round the text"))
        if event.tag is not None:
            says = "tags with ! are not read; every value is a text, a list or a mapping"
            self.problems.append(
                self.document.problem(at, says, "custom-tag", "the value without the tag, or in quotes")
            )
        if isinstance(event, yaml.ScalarEvent):
            nothing = event.value == "" and not event.style
            return Node(None if nothing else event.value, self.document, at, key)
        if depth == MAX_DEPTH:
            says = f"values are nested more than {MAX_DEPTH} deep"
            raise _Refused(self.document.problem(at, says, "nested-too-deep", "fewer brackets and indented levels"))
        if isinstance(event, yaml.SequenceStartEvent):
            return Node(list(self.items(depth + 1)), self.document, at, key)
        return Node(self.mapping(depth + 1), self.document, at, key)

    def items(self, depth: int) -> Iterator[Node]:
        """Yield the items of the list that has just begun."""
        for event in self.events:
            if isinstance(event, yaml.SequenceEndEvent):
                return
            yield self.node(event, _start(event), depth)

    def mapping(self, depth: int) -> dict[str, Node]:
        """Return the mapping that has just begun."""
        found: dict[str, Node] = {}
        for event in self.events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            name = self.node(event, _start(event), depth)
            value = self.node(next(self.events), name.at, depth)
            if self.refused_key(event, name, found):
                continue
            found[str(name.content)] = value
        return found

    def refused_key(self, event: Any, name: Node, found: dict[str, Node]) -> bool:
        """Return whether a key cannot stand here, having said why."""
        if not isinstance(name.content, str) or not name.content:
            self.problems.append(name.problem("a key must be one word", "complex-key", "key: value"))
        elif name.content == "<<" and not event.style:
            says = "<< does not merge anything here"
            self.problems.append(name.problem(says, "merge-key", "the keys themselves"))
        elif name.content in found:
            says = f"{name.content} is written twice; the first is in line {found[name.content].key[0]}"
            self.problems.append(name.problem(says, "repeated-key", "each key once"))
        else:
            return False
        return True


def _start(event: Any) -> Spot:
    """Return where an event begins."""
    return event.start_mark.line + 1, event.start_mark.column + 1
