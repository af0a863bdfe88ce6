"""How a test is measured, and the bike's own figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from diagnose.model.base import Entry, Gate


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A general range for a reading: the first threshold the value lies below names the outcome, else `otherwise`."""

    applies: Gate
    below: tuple[tuple[str, float], ...]
    otherwise: str
    basis: tuple[str, ...]


Correction = Literal["sea_level_pressure", "gauge_and_hose", "copper_20c", "spark_density"]
"""What is reckoned into a reading before it is judged; the sums are in trade/."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a test is measured. unit: the unit of the limits and of every other figure here.

    sheet: the value of the bike's own sheet that this measures; lower, upper: the outcomes whose `below` the sheet's
    lower and upper limit replaces. error: of the usual instrument; error_share: the same as a share of the reading, of
    which the larger counts. possible: outside it the figure is absurd. correct: all that is reckoned in first.
    """

    quantity: str
    unit: str
    ask: str
    limits: tuple[Limit, ...]
    sheet: str = ""
    lower: str = ""
    upper: str = ""
    error: float = 0.0
    error_share: float = 0.0
    possible: tuple[float, float] | None = None
    correct: tuple[Correction, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Typical:
    """What is usual, in the unit of its item; shown beside the sheet and never a limit. None: open on that side."""

    applies: Gate
    low: float | None
    high: float | None
    basis: tuple[str, ...]


SheetGroup = Literal["identity", "ignition", "fuel", "engine", "electrical", "chassis"]


SheetKind = Literal["quantity", "number", "text", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetItem(Entry):
    """One value of a bike's own sheet: what its manual gives, as it was found, as it was set.

    unit: of a quantity, none for the other kinds. choices: of the kind choice: word -> in plain words. each: as of a
    cause; the manual's figure is one, as found and as set go by side. possible: outside it a figure is absurd. low,
    high, differs: the causes that a value under, over or other than the manual's points to.
    """

    group: SheetGroup
    kind: SheetKind
    unit: str = ""
    applies: Gate = field(default_factory=dict)
    each: str = ""
    typical: tuple[Typical, ...] = ()
    possible: tuple[float, float] | None = None
    choices: Mapping[str, str] = field(default_factory=dict)
    low: tuple[str, ...] = ()
    high: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    note: str = ""

    @property
    def measured(self) -> bool:
        """Whether its value is a figure."""
        return self.kind in ("quantity", "number")
