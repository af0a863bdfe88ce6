"""Float height and fuel level; the mixture screw."""

from __future__ import annotations

from typing import Literal

from diagnose.trade.ranges import Basis, within

Screw = Literal["air", "fuel"]
"""air: on the filter side, out is leaner; fuel: on the engine side, out is richer."""

BASE_TURNS = 1.5
STEPS = (0.5, 0.25)
"""Turns to go by: first coarse, then fine."""
USUAL = (1.0, 2.5)
BEYOND = (0.5, 3.5)
"""Turns out: inside the first nothing is odd, outside the second something else is wrong."""
SCREW_BASIS = Basis("pilot circuit, engine hot, idle set; the manual's turns go before", "common practice")
FLOAT_BASIS = Basis(
    "float measured from the joint to its far edge, carburettor upside down or tilted; bowl gasket in place",
    "lever of the float; common practice",
)
FLOAT_CAUTION = (
    "A level too high floods: petrol on a hot engine burns. Tap off when you leave it; a wet floor comes first."
)


def level_change_mm(height_was: float, height_is: float, arm_ratio: float = 1.0) -> float:
    """Return by how many mm the fuel in the bowl stands higher (above 0) or lower after a change of float height.

    Measured upside down from the joint to the far edge, a larger height is a float that shuts its valve while it
    hangs lower in the bowl: larger height, lower level.

    Args:
        height_was: mm from the joint, 2 to 60.
        height_is: likewise.
        arm_ratio: float's middle over measured edge, from the hinge; 0.5 to 1 (without it 1).

    >>> level_change_mm(21, 22.5)
    -1.5
    """
    for height in (height_was, height_is):
        within("float height", height, 2, 60, "mm", "It is measured from the joint of the bowl.")
    within("ratio of the arms", arm_ratio, 0.5, 1, "", "The middle of the float is nearer to the hinge than its edge.")
    return (height_was - height_is) * arm_ratio


def tongue_mm(level_mm: float, tongue_arm: float, float_arm: float) -> float:
    """Return how far the tongue must be bent for a change of level, mm: level x tongue arm / float arm.

    Args:
        level_mm: wanted change, -15 to 15.
        tongue_arm: hinge to valve, mm, 2 to 20.
        float_arm: hinge to the middle of the float, mm, 10 to 60.

    >>> tongue_mm(3, 6, 24)
    0.75
    """
    within("change of level", level_mm, -15, 15, "mm", "So much is not set by bending: look for a wrong or sunk float.")
    within("hinge to valve", tongue_arm, 2, 20, "mm", "Measure at the tongue.")
    within("hinge to float", float_arm, 10, 60, "mm", "Measure to the middle of the float.")
    return level_mm * tongue_arm / float_arm


def richer_is(screw: Screw) -> str:
    """Return which way to turn for a richer idle: "in" or "out".

    >>> richer_is("air"), richer_is("fuel")
    ('in', 'out')
    """
    return "in" if screw == "air" else "out"


def pilot_wants(screw: Screw, best_turns: float) -> str:
    """Return what the best setting says of the pilot jet: "larger", "smaller" or "" where it fits.

    An air screw that is best nearly shut asks for more petrol than there is: a larger pilot. A fuel screw likewise
    when it is best far out.

    Args:
        screw: which kind.
        best_turns: turns out from lightly seated where it idles best, 0 to 8.

    >>> pilot_wants("air", 0.5), pilot_wants("air", 1.5), pilot_wants("fuel", 3)
    ('larger', '', 'larger')
    """
    within("turns out", best_turns, 0, 8, "turns", "Count from lightly seated; beyond it the screw falls out.")
    if USUAL[0] <= best_turns <= USUAL[1]:
        return ""
    return "larger" if (best_turns < USUAL[0]) == (screw == "air") else "smaller"


def something_else(best_turns: float) -> bool:
    """Return whether the best setting is so odd that something else is wrong (pilot blocked, false air, level)."""
    within("turns out", best_turns, 0, 8, "turns", "Count from lightly seated; beyond it the screw falls out.")
    return not BEYOND[0] <= best_turns <= BEYOND[1]
