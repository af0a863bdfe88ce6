"""The policies that are compared: each chooses the next move from a job as it stands, None to hand the bike on."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from diagnose.consultation import Consultation
from diagnose.simulation.moves import TRY, Move
from diagnose.simulation.policies.fixed_list import fixed_list
from diagnose.simulation.policies.information import information
from diagnose.simulation.policies.likeliest import likeliest
from diagnose.simulation.policies.single_fault import single_fault

Policy = Callable[[Consultation], Move | None]


def ours(job: Consultation) -> Move | None:
    """Choose what the tool proposes next; hand on where that is nothing, or where the tool says that it is cheaper."""
    step = job.next_step
    if step is None or (job.watches_money and job.worth.best == "hand_on"):
        return None
    return TRY if step.kind == "try_out" else Move(step.kind, step.id)


POLICIES: Mapping[str, Policy] = {
    "ours": ours,
    "list": fixed_list,
    "likeliest": likeliest,
    "single": single_fault,
    "information": information,
}
"""What is written at --policy -> the policy. `perfect` beside them is no policy: it knows what is wrong."""
