"""What all entries of the knowledge share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from diagnose.problems import Place

CONTEXTS = ("lately", "year", "years")
"""How long the bike stood: ran within weeks, about a year, several years. Index into every prior."""


NEVER = (0.0, 0.0, 0.0)
"""A chance by CONTEXTS of what the book does not reckon with."""


ABSENT, PRESENT = "absent", "present"
"""The two levels of a cause; of a condition without levels of its own as well."""


BEHAVIOUR = "behaviour"
"""The system of the conditions that are what the bike does: two levels, and nothing comes of them."""


OR = "|"
"""Between the options that a fact may have, where only that much was told."""


Gate = Mapping[str, frozenset[str]]
"""Fact id -> the options that let the entry apply. All facts must agree; empty means always."""


Chances = Mapping[str, Mapping[str, float]]
"""Node id -> level of that node -> probability."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every entry of the knowledge has. basis: ids in sources.yaml; of: the entry it is one side of, on a twin."""

    id: str
    name: str
    basis: tuple[str, ...]
    place: Place = field(compare=False)
    layer: str = field(default="shipped", compare=False)
    of: str = ""
