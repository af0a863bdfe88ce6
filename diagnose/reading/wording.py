"""The schema library's errors as mistakes in our own words, each at its place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any

from pydantic import ValidationError

from diagnose.problems import Problem
from diagnose.reading.files import nearest
from diagnose.reading.layers import Trail, Written
from diagnose.reading.scalars import as_snake, short
from diagnose.reading.schema import INNER, SHAPES

EXAMPLES: Mapping[str, str] = {
    "name": "name: a short label",
    "basis": "basis: [memory]",
    "ask": "ask: the question to the mechanic",
    "why": "why: what this tells apart, and what it cannot see",
    "kind": "kind: look",
    "plain": "plain: one or two sentences for the owner",
    "prior": "prior: [0.05, 0.2, 0.4]    (ran lately, about a year, years)",
    "cannot": "cannot: [0.02, 0.05, 0.1]    (ran lately, about a year, years)",
    "odds_ratio": "odds_ratio: 4",
    "options": "options: {one: {name: One}, other: {name: Other}}",
    "outcomes": "outcomes: {bad: {name: Bad, drivers: {a_cause: 0.9}}, good: {name: Good, default: true}}",
    "minutes": "minutes: 5",
    "steps": "steps: [first, then]",
    "cures": "cures: {a_cause: 0.95}",
    "open": "open: 5",
    "close": "close: 5",
    "base": "base: 0.02",
    "say": "say: one or two sentences",
    "says": "says: the owner's words",
    "hazard": "hazard: fire",
    "system": "system: fuel",
    "quantity": "quantity: pressure",
    "limits": "limits: [{below: {low: 600}, otherwise: ok, basis: [memory]}]",
    "below": "below: {low: 600}",
    "otherwise": "otherwise: ok",
    "parents": "parents: {one: present, other: present}",
    "chances": "chances: 0.9",
}
"""Key -> how it is written, for an entry that lacks it."""


def subject(written: Written, trail: Trail) -> str:
    """Return how a value is spoken of: the keys that lead to it and the entry it belongs to."""
    spoken: list[str] = []
    for is_item, group in groupby(written.written_trail(trail), key=lambda part: isinstance(part, int)):
        parts = list(group)
        spoken += [f"item {int(part) + 1}" for part in parts] if is_item else [" ".join(map(str, parts))]
    return " of ".join([*reversed(spoken), written.id])


def shape_problems(written: Written, error: ValidationError) -> Iterator[Problem]:
    """Yield one mistake for each error in an entry."""
    for item in error.errors(include_url=False, include_input=False):
        trail = written.written_trail(item["loc"])
        last = str(item["loc"][-1]) if item["loc"] else ""
        if item["type"] == "missing":
            rule = "no-basis" if last == "basis" else "missing-key"
            says = f"{subject(written, trail)} has no {last}"
            yield written.problem(trail, says, rule, EXAMPLES.get(last, f"{last}: ..."), key=True)
        elif item["type"] == "extra_forbidden":
            yield _unknown_key(written, trail, last)
        else:
            words: Mapping[str, Any] = item.get("ctx", {})
            says = f"{subject(written, trail)} {words.get('says', 'does not fit: ' + item['msg'])}"
            yield written.problem(trail, says, item["type"].replace("_", "-"), words.get("write", ""))


def no_mapping(written: Written) -> Problem:
    """Return the mistake of an entry that is no mapping of keys."""
    says = f"{written.id} must be a mapping of keys"
    return written.problem((), says, "wrong-type", "name: and the other keys below it, indented")


def no_snake(written: Written, trail: Trail, word: str, *, key: bool = True) -> Problem:
    """Return the mistake of an id that is not lower_snake."""
    says = f"{short(word)} is an id; ids are small letters, digits and _"
    better = as_snake(word)
    if not trail:
        says += ", beginning with a letter"
        better = better if better[0].isalpha() else f"id_{better}"
    return written.problem(trail, says, "lower-snake", better, key=key)


def _unknown_key(written: Written, trail: Trail, key: str) -> Problem:
    """Return the mistake of a key that the entry, or the part of it, does not have."""
    outer = [part for part in trail[:-1] if isinstance(part, str)]
    shape = next((INNER[part] for part in reversed(outer) if part in INNER), SHAPES[written.kind])
    known = list(shape.model_fields)
    close = nearest(key, known)
    says = f"{subject(written, trail[:-1])} has a key {key}, which is not known"
    return written.problem(trail, says, "unknown-key", close or "one of " + ", ".join(known), key=True)
