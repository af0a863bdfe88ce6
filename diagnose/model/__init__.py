"""The values everything else speaks of: what the knowledge holds, frozen."""

from diagnose.model.base import ABSENT, BEHAVIOUR, CONTEXTS, NEVER, OR, PRESENT, Chances, Entry, Gate
from diagnose.model.bike import Fact, Option, Reach
from diagnose.model.causes import AllOf, Cause, Complaint, Condition, Link, Mechanism, Proof
from diagnose.model.gates import gate_state, may_apply, share
from diagnose.model.knowledge import Knowledge
from diagnose.model.rules import Caution, Source, While
from diagnose.model.sheet import Correction, Limit, Reading, SheetGroup, SheetItem, SheetKind, Typical
from diagnose.model.work import Access, Outcome, Repair, Test, Work

__all__ = [
    "ABSENT",
    "BEHAVIOUR",
    "CONTEXTS",
    "NEVER",
    "OR",
    "PRESENT",
    "Access",
    "AllOf",
    "Cause",
    "Caution",
    "Chances",
    "Complaint",
    "Condition",
    "Correction",
    "Entry",
    "Fact",
    "Gate",
    "Knowledge",
    "Limit",
    "Link",
    "Mechanism",
    "Option",
    "Outcome",
    "Proof",
    "Reach",
    "Reading",
    "Repair",
    "SheetGroup",
    "SheetItem",
    "SheetKind",
    "Source",
    "Test",
    "Typical",
    "While",
    "Work",
    "gate_state",
    "may_apply",
    "share",
]
