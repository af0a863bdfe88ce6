"""The sheets of paper, and how large the type is on them. Lengths in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

NARROWEST, WIDEST = 15.0, 32.0
"""Widths of a box, in sizes of its type: about 30 and 64 letters in a line (45 to 75 are read best, from memory; half
as wide still holds the names of the book in two lines)."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet standing upright. type: size of the type in the boxes; everything else goes by it.

    Small letters are about half as high as the type: at 3.4 mm they are seen from a metre under six minutes of arc,
    names under seven; five are the limit of a good eye (common practice for signs; from memory).
    """

    name: str
    width: float
    height: float
    type: float
    margin: float = 9.0

    @property
    def name_size(self) -> float:
        """Size of the type of names."""
        return 1.25 * self.type

    @property
    def title_size(self) -> float:
        """Size of the type of the complaint."""
        return 2.0 * self.type

    @property
    def small_size(self) -> float:
        """Size of the type at the foot, which is read from near."""
        return 0.8 * self.type

    @property
    def line(self) -> float:
        """From one line in a box to the next, as a share of the size of the type."""
        return 1.2

    @property
    def room(self) -> float:
        """What is left between the margins."""
        return self.width - 2 * self.margin

    def box(self, boxes: int, lanes: int) -> float:
        """Return how wide the boxes of a row are: they share the room, as far as that can be read."""
        free = self.room - (boxes + lanes - 1) * self.gap
        return min(max(free / max(boxes, 1), NARROWEST * self.type), WIDEST * self.type)

    @property
    def gap(self) -> float:
        """Between two boxes, and half of it at both sides of a lane."""
        return 1.1 * self.type


SHEETS = {
    "a4": Sheet("a4", 210.0, 297.0, 2.7),
    "a3": Sheet("a3", 297.0, 420.0, 3.4),
}
"""A4 hangs over the bench, A3 on the wall (ISO 216)."""
