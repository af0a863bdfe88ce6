"""The two sides of a twin, and how what it has on each is called."""

from __future__ import annotations

SIDES = ("left", "right")


def side_of(entry_id: str, side: str) -> str:
    """Return the id that an entry has on one side.

    >>> side_of("plug_dead", "left")
    'plug_dead.left'
    """
    return f"{entry_id}.{side}"


def other_side(entry_id: str) -> str:
    """Return the id of the same on the other side; the id itself where it has no sides.

    >>> other_side("plug_dead.left"), other_side("tank_empty")
    ('plug_dead.right', 'tank_empty')
    """
    name, _, side = entry_id.rpartition(".")
    return side_of(name, SIDES[1 - SIDES.index(side)]) if side in SIDES else entry_id


def parted(entry_id: str) -> tuple[str, str]:
    """Return an id without its side, and the side; empty where it has none.

    >>> parted("plug_dead.left"), parted("tank_empty")
    (('plug_dead', 'left'), ('tank_empty', ''))
    """
    name, _, side = entry_id.rpartition(".")
    return (name, side) if side in SIDES else (entry_id, "")
