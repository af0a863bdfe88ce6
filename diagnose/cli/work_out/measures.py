"""Arguments as people write them: readings with units, altitudes, ratios."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from diagnose.units import Quantity


class Measure(click.ParamType["Quantity"]):
    """A reading of one kind, or of one of two; comes out as a Quantity with a unit.

    A unit that goes without saying may be left out: the only one there is, or the only one that fits.
    """

    def __init__(self, *kinds: str, example: str = "", fits: tuple[float, float, str] | None = None) -> None:
        """Take the kinds of quantity that may be written.

        example: what to write, where the kinds do not tell; fits: from where to where it can be, and in which unit.
        """
        self.kinds, self.example, self.fits = kinds, example, fits
        self.name = " or ".join(kinds)

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Quantity:
        """Return what was written. Fails with what to write instead."""
        from diagnose.units import Quantity, QuantityError, read_quantity

        if isinstance(value, Quantity):
            return value
        try:
            return self._bare(str(value)) or read_quantity(str(value), *self.kinds)
        except QuantityError as error:
            self.fail(f'"{value}": {error.says}; write: {self.example or error.write}', param, ctx)

    def _bare(self, text: str) -> Quantity | None:
        """Return what was written without a unit where only one can be meant. Raises QuantityError."""
        from dataclasses import replace

        from diagnose.units import parse_quantity, understood, usual_units

        given = parse_quantity(text, self.kinds[0])
        if given.unit or len(self.kinds) > 1:
            return None
        low, high, unit = self.fits or (-inf, inf, usual_units(self.kinds[0])[0])
        meant = understood([given.value], unit, (low, high))
        return replace(given, unit=meant, text=f"{given.text} {meant}") if meant else None


class Altitude(Measure):
    """A height above the sea, or "sea level"."""

    def __init__(self) -> None:
        """Take lengths."""
        super().__init__("length", example='"6000 ft", 1500m or "sea level"')
        self.name = "altitude"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Quantity:
        """Return the height. Fails with what to write instead."""
        from diagnose.units import Quantity

        if str(value).strip().casefold() in ("sea level", "sea", "sealevel", "coast", "0"):
            return Quantity(0.0, "m", "sea level")
        return super().convert(value, param, ctx)


class Ratio(click.ParamType[float]):
    """A ratio to one: 9, 9.5:1, 32:1, 1:32."""

    name = "ratio"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the larger side over the smaller. Fails with what to write instead."""
        import re

        text = str(value).strip()
        parts = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?)(?:\s*[:/]\s*([0-9]+(?:[.,][0-9]+)?))?", text)
        if not parts:
            self.fail(f'"{text}" is no ratio; write for instance 9, 9.5:1 or 32:1', param, ctx)
        one, other = (float((part or "1").replace(",", ".")) for part in parts.groups())
        if min(one, other) <= 0:
            self.fail(f'"{text}" has nothing on one side; write for instance 9.5:1', param, ctx)
        return max(one, other) / min(one, other) if parts[2] else one


class Number(click.ParamType[float]):
    """A plain number, with a comma or a point for decimals."""

    def __init__(self, example: str) -> None:
        """Take what to write, for the message."""
        self.name, self.example = "number", example

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number. Fails with what to write instead."""
        from diagnose.units import QuantityError, parse_quantity

        try:
            quantity = parse_quantity(str(value), "count")
        except QuantityError as error:
            self.fail(f'"{value}": {error.says}; write: {self.example}', param, ctx)
        if quantity.unit not in ("", "turns"):
            self.fail(f'"{value}" has a unit; write a plain number such as {self.example}', param, ctx)
        return quantity.value


class UnitOf(click.ParamType[str]):
    """A unit of one kind, in any spelling; comes out as its name."""

    def __init__(self, kind: str) -> None:
        """Take the kind of quantity that the unit measures."""
        self.kind = kind
        self.name = "unit"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the unit's name. Fails with the usual ones."""
        from diagnose.units import QuantityError, read_quantity, usual_units

        try:
            return read_quantity(f"1 {value}", self.kind).unit
        except QuantityError:
            usual = ", ".join(usual_units(self.kind))
            self.fail(f'"{value}" is no unit of {self.kind}; write for instance {usual}', param, ctx)


def si(quantity: Quantity, unit: str) -> float:
    """Return a quantity in a unit of its kind."""
    from diagnose.units import convert

    return convert(quantity, unit).value
