"""What happens in a job, one frozen value after another; the whole job is nothing but these."""

from __future__ import annotations

from collections.abc import Mapping
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
    "repair",
    "open",
    "close",
    "isolate",
    "reconnect",
    "accept",
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
