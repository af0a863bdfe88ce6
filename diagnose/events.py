"""What happens in a job, one frozen value after another; the whole job is nothing but these."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

Kind = Literal[
    "intake",
    "fact",
    "complaint",
    "worth",
    "observe",
    "cannot",
    "not_sure",
    "declined",
    "lift",
    "tool",
    "start",
    "repair",
    "open",
    "close",
    "isolate",
    "reconnect",
    "accept",
    "sheet",
    "as_found",
    "as_set",
    "note",
    "undo",
    "close_job",
]
KINDS: tuple[str, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened. body holds only what JSON can hold; at is an ISO time, empty in a scripted job."""

    kind: Kind
    body: Mapping[str, Any] = field(default_factory=dict)
    at: str = ""


ENDED = ("handed_on", "not_worth_it")
"""How a job can end besides with a bike that goes: with a specialist, or with its owner as it is."""


def standing(events: Sequence[Event]) -> tuple[tuple[int, Event], ...]:
    """Return the events that still stand, with their numbers; an undo takes back the last one before it."""
    kept: list[tuple[int, Event]] = []
    for number, event in enumerate(events):
        if event.kind != "undo":
            kept.append((number, event))
        elif len(kept) > 1:
            kept.pop()
    return tuple(kept)
