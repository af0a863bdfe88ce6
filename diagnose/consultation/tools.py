"""What cannot be done for want of a tool that the shop has not."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.consultation.state import State, access_tree
from diagnose.model import Knowledge, Repair, Test, Work, may_apply
from diagnose.tools import missing


@dataclass(frozen=True, slots=True)
class OutOfReach:
    """A test or repair that fits the bike but needs tools the shop has not."""

    work: Test | Repair
    tools: tuple[str, ...]


def lacking(knowledge: Knowledge, state: State, work: Work) -> tuple[str, ...]:
    """Return the tools that a piece of work needs, with what is still shut on the way to it, and the shop has not."""
    if not state.shop.without:
        return ()
    shut = access_tree(knowledge).to_open(work.access, state.opened)
    on_the_way = (tool for access in shut for tool in knowledge.access[access].tools)
    needed = dict.fromkeys((*on_the_way, *work.tools))
    return tuple(tool for tool in needed if missing(tool, state.shop.without))


def out_of_reach(knowledge: Knowledge, state: State) -> tuple[OutOfReach, ...]:
    """Return what fits the bike and cannot be done for want of a tool, tests first, in the order of the book."""
    every: list[Test | Repair] = [*knowledge.tests.values(), *knowledge.repairs.values()]
    found = [OutOfReach(w, lacking(knowledge, state, w)) for w in every if may_apply(w.applies, state.facts)]
    return tuple(one for one in found if one.tools)
