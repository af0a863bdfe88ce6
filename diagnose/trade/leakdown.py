"""Leak-down: how much of the air gets away, and where it comes out."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, within

BASIS = Basis(
    "piston at the top, both valves shut; two testers with other orifices do not read alike",
    "AC 43.13-1B (80 psi, 25 per cent the limit); bands: a motorcycle workshop manual, a tool maker's article",
)
CAUTION = (
    "The air turns the engine: spanner off the crank, out of gear, hands and lever clear. Begin with low pressure "
    "(20 psi tells enough on a single)."
)
AS_NEW, GOOD, POOR = 0.05, 0.15, 0.25
"""Shares of leak: to 5 % as new, to 15 % good; 15 to 25 % sources differ; above 25 % aircraft practice fails it."""

HEARD: dict[str, str] = {
    "crankcase": "piston rings or bore",
    "inlet": "inlet valve or its seat; on a two-stroke reed or piston skirt",
    "exhaust": "exhaust valve or its seat; on a two-stroke rings or bore, for the port lies below them",
    "plug hole of the other cylinder": "head gasket between them",
    "joint of the head": "head gasket",
}
"""Where the air comes out -> what leaks. Makers' service data; the two-stroke's own from common practice."""


def leak(supply: float, held: float) -> float:
    """Return the share of the air that gets away, 0 to 1: (supply - held) / supply.

    Args:
        supply: gauge pressure fed in, Pa; 70 to 700 kPa (10 to 100 psi).
        held: gauge pressure in the cylinder, Pa; 0 to supply.

    >>> leak(400000, 300000)
    0.25
    """
    within(
        "pressure fed in", supply, 68000, 700000, "Pa", "Less tells nothing, more turns the engine out of your hand."
    )
    within("pressure held", held, 0, supply, "Pa", "A cylinder holds no more than is fed in: the two gauges differ.")
    return (supply - held) / supply


def band(share: float) -> str:
    """Return what a leak means for a used engine: "as new", "good", "doubtful" (sources differ) or "poor".

    >>> band(0.04), band(0.1), band(0.2), band(0.3)
    ('as new', 'good', 'doubtful', 'poor')
    """
    within("leak", share, 0, 1, "", "It is a share of what is fed in.")
    return "as new" if share <= AS_NEW else "good" if share <= GOOD else "doubtful" if share <= POOR else "poor"
