"""Tools as the knowledge writes them. "vernier or float gauge" is one of two, "borescope with mirror" a borescope."""

from __future__ import annotations

import re
from collections.abc import Collection

from diagnose.model import Access, Knowledge, Work

FURTHER = re.compile(r" (?:with|that|for|if|of) .*")
"""What follows the name of a tool and says more of it."""


def ways(tool: str) -> tuple[str, ...]:
    """Return the tools of which one is enough.

    >>> ways("vernier or float gauge")
    ('vernier', 'float gauge')
    """
    return tuple(part.strip() for part in re.split(r"(?:^| )or ", tool) if part.strip())


def missing(tool: str, without: Collection[str]) -> bool:
    """Return whether a tool is not there, whichever way it could be done.

    >>> missing("vernier or float gauge", {"vernier"}), missing("borescope with mirror", {"borescope"})
    (False, True)
    """
    return all(way in without or FURTHER.sub("", way) in without for way in ways(tool))


def known_tools(knowledge: Knowledge) -> frozenset[str]:
    """Return every tool that something in the book needs, each way of its own."""
    works: tuple[Work | Access, ...] = (
        *knowledge.tests.values(),
        *knowledge.repairs.values(),
        *knowledge.access.values(),
    )
    named = [tool for work in works for tool in work.tools]
    every = {way for tool in named for way in ways(tool)}
    return frozenset(every | {FURTHER.sub("", way) for way in every})
