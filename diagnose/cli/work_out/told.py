"""How a sum is told: the answer first, then the working, what it holds for, who says so, and what can hurt."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from diagnose.cli.desk import Desk
    from diagnose.trade import Basis
    from diagnose.units import Quantity

_NARROW = 50
AS_JSON = click.option("--json", "as_json", is_flag=True, help="The same for a program.")


def asked(says: str, *examples: str) -> str:
    """Return the help of a sum: what it works out, and how it is asked; long examples broken before an option."""
    rows = ["\b"]
    for example in examples:
        command, *options = re.split(r" (?=--)", f"diagnose work-out {example}")
        rows.append(command)
        for option in options:
            if len(rows[-1]) + len(option) < _NARROW - 3:
                rows[-1] += f" {option}"
            else:
                rows.append(f"  {option}")
    return "\n".join([says, "", *rows])


@dataclass(frozen=True, slots=True)
class Worked:
    """A sum that is done. figures: name -> value as a program reads it, the unit in the name."""

    answer: str
    working: str
    basis: Basis
    figures: Mapping[str, float | str]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=())


def tell(desk: Desk, worked: Worked, as_json: bool) -> int:
    """Print a sum; return the exit code."""
    if as_json:
        told = {
            "answer": worked.answer,
            **{name: _rounded(figure) for name, figure in worked.figures.items()},
            "working": worked.working,
            "notes": list(worked.notes),
            "holds_for": worked.basis.holds,
            "source": worked.basis.source,
            "cautions": list(worked.cautions),
        }
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
        return 0
    page = desk.page()
    page.show(page.wrapped(worked.answer, style="bold"))
    page.show(page.wrapped(worked.working, "  "))
    for note in worked.notes:
        page.show(page.wrapped(note, "  "))
    page.show(page.wrapped(f"Holds for: {worked.basis.holds}.", "  ", "dim"))
    page.show(page.wrapped(f"From: {worked.basis.source}.", "  ", "dim"))
    for caution in worked.cautions:
        page.show(page.wrapped(caution, "! ", "warn"))
    return 0


def figure(value: float) -> str:
    """Return a number to three figures, whole ones kept whole.

    >>> figure(118.53), figure(0.0457), figure(1829.0), figure(105.0)
    ('119', '0.0457', '1829', '105')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{float(f'{value:.3g}'):.10g}"


def per_cent(share: float) -> str:
    """Return a share with one decimal where it is small.

    >>> per_cent(0.2727), per_cent(0.008)
    ('27 %', '0.8 %')
    """
    return f"{100 * share:.1f} %" if abs(share) < 0.0995 else f"{100 * share:.0f} %"


def in_unit_of(asked: Quantity, value: float, base: str) -> str:
    """Return a value, given in a base unit, in the unit that was typed."""
    from diagnose.units import Quantity, convert

    return f"{figure(convert(Quantity(value, base), asked.unit).value)} {asked.unit}"


def _rounded(value: float | str) -> float | str:
    """Return a figure without the digits that no sum of ours can know."""
    return value if isinstance(value, str) else float(f"{value:.6g}")
