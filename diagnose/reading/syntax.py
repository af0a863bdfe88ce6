"""The YAML library's complaints about broken syntax, in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import yaml


@dataclass(frozen=True, slots=True)
class Slip:
    """One way to break the syntax. opening: the place to show is where the bracket, quote or line began."""

    sign: str
    says: str
    write: str
    opening: bool = False
    rule: str = "syntax"


_BRACKET = "this {} is never closed, or two items in it lack a comma between them"

_SLIPS = (
    Slip("nesting depth", "brackets are nested far too deep", "fewer brackets", rule="nested-too-deep"),
    Slip(
        "mapping values are not allowed",
        "there is a ': ' where none can stand",
        'quotes round a text that holds ": ", and the same indentation for keys that belong together',
    ),
    Slip("could not find expected ':'", "this line has no ': ' after its key", "key: value", opening=True),
    Slip(
        "unexpected end of stream",
        "this quote is never closed",
        "the same quote at the end of the text",
        opening=True,
    ),
    Slip("',' or ']'", _BRACKET.format("["), "[one, two]", opening=True),
    Slip("',' or '}'", _BRACKET.format("{"), "{key: value, other: value}", opening=True),
    Slip("cannot start any token", "a text cannot begin with this character", "the whole text in quotes"),
    Slip(
        "alphabetic or numeric character",
        "a text cannot begin with * or &",
        "the whole text in quotes",
        opening=True,
    ),
    Slip(
        "unknown escape character",
        r"inside double quotes \ begins a special character, and this one is not known",
        "single quotes round the text",
    ),
    Slip(
        "entries are not allowed",
        "a list with - cannot begin on the line of its key",
        "the list on the following lines, or [one, two]",
    ),
    Slip(
        "'-' indicator",
        "this line stands in a list but does not begin with -",
        "- before the item, or another indentation",
    ),
    Slip(
        "block end",
        "this line does not fit what stands above it",
        "the indentation of its neighbours, and quotes round a text with special characters",
    ),
    Slip(
        "expected key",
        "this line does not fit what stands above it",
        "the indentation of its neighbours, and quotes round a text with special characters",
    ),
    Slip("node content", "a value is missing before this character", "the value, or quotes round the text"),
    Slip("tag handle", "a text cannot begin with !", "the whole text in quotes", opening=True),
    Slip(
        "document start",
        "nothing can follow the end of the document",
        "one document a file, without --- and ...",
    ),
    Slip("tab character", "a tab stands where spaces are wanted", "spaces"),
    Slip(
        "comment or line break",
        "nothing but a line break can follow | or >",
        "the text on the next line, indented",
    ),
    Slip(
        "chomping or indentation",
        "nothing but a line break can follow | or >",
        "the text on the next line, indented",
    ),
)

_OTHER = Slip("", "this cannot be read as YAML", "key: value, with quotes round a text that holds special characters")


_END = Slip("", "the file ends in the middle of a value", "the bracket or quote that is still open, closed")


def in_plain_words(error: yaml.MarkedYAMLError, lines: Sequence[str]) -> tuple[tuple[int, int], Slip]:
    """Return the place (line and column from 1) of broken syntax and what to say about it.

    Args:
        error: What the library says; it counts lines and columns from 0.
        lines: The lines of the file.
    """
    trouble = error.problem or ""
    slip = next((slip for slip in _SLIPS if slip.sign in trouble), _OTHER)
    mark = error.context_mark if slip.opening and error.context_mark else error.problem_mark
    mark = mark or error.context_mark
    if mark is None:
        return (1, 1), slip
    last = max((number for number, line in enumerate(lines) if line.strip()), default=0)
    if mark.line > last:
        return (last + 1, len(lines[last]) + 1), _END
    return (mark.line + 1, mark.column + 1), slip
