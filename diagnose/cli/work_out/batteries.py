"""`diagnose work-out` for the battery: at rest, by hydrometer, under load, charging."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Measure, Number, si
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, tell

if TYPE_CHECKING:
    from diagnose.units import Quantity

VOLTS, TEMPERATURE = Measure("voltage"), Measure("temperature")
SYSTEM = click.option(
    "--system", type=click.Choice(["6", "12"]), help="Volts of the bike; without it told by the reading."
)
_LOW_CHARGE = 50
READ_AS_THOUSANDS = 100.0
SIX_AT_REST, SIX_CHARGING = 7.0, 9.0
"""Up to so many volts, at rest and on charge, a battery is taken for one of 6 V where nobody said (a choice)."""


def _nominal(system: str | None, volts: float, most_of_six: float) -> tuple[int, str]:
    """Return the volts of the bike, and what is told of it where they were taken from the reading."""
    if system or volts > most_of_six:
        return int(system or 12), ""
    return 6, "Taken for a 6 V battery; of a 12 V bike give --system 12."


@click.command(help=asked("The charge of a battery from its voltage at rest.", "battery 12.4V"))
@click.argument("reading", type=VOLTS)
@SYSTEM
@AS_JSON
@click.pass_obj
def battery(desk: Desk, /, reading: Quantity, system: str | None, as_json: bool) -> int:
    """The charge of a battery from its voltage at rest."""
    from diagnose.trade.batteries import ACID, BASIS, CHARGE_BY_VOLTS, FROZEN, charge_by_volts, cranking_least

    volts = si(reading, "V")
    nominal, taken = _nominal(system, volts, SIX_AT_REST)
    empty, half = (CHARGE_BY_VOLTS[row][0] * nominal / 12 for row in (0, 2))
    charge = charge_by_volts(volts, nominal) if volts > empty else 0.0
    answer = f"About {charge:.0f} % charged."
    if volts < empty:
        answer = f"Empty: under {empty:.2f} V. Charge it slowly; not over {half:.2f} V next day, or a cell is dead."
    working = f"{reading.text} on a {nominal} V battery, nothing connected, an hour at rest."
    notes = (
        *([taken] if taken else []),
        f"It says nothing of what it can give: {cranking_least(nominal):g} V must stay with the starter turning.",
        "Not corrected for temperature: a printed rule (add 0.024 V for 10 F warmer) is the wrong way round.",
    )
    cautions = (ACID, FROZEN) if charge < _LOW_CHARGE else (ACID,)
    return tell(desk, Worked(answer, working, BASIS, {"charge_percent": charge}, notes, cautions), as_json)


@click.command(
    help=asked(
        "A hydrometer corrected for warmth, and the charge.",
        "hydrometer 1.225 --temperature 5C",
    )
)
@click.argument("gravity", type=Number("1.225"))
@click.option("--temperature", type=TEMPERATURE, metavar="TEMP", required=True, help="Of the acid.")
@AS_JSON
@click.pass_obj
def hydrometer(desk: Desk, /, gravity: float, temperature: Quantity, as_json: bool) -> int:
    """A hydrometer corrected for warmth, and the charge."""
    from diagnose.trade.batteries import ACID, BASIS, FROZEN, charge_by_gravity, gravity_at_80f

    gravity = gravity / 1000 if gravity > READ_AS_THOUSANDS else gravity  # 1225 is said for 1.225
    corrected = gravity_at_80f(gravity, si(temperature, "C"))
    charge = charge_by_gravity(corrected)
    answer = f"{corrected:.3f} at 80 F (27 C): about {charge:.0f} % charged."
    working = f"{gravity:.3f} at {temperature.text}: {corrected - gravity:+.3f} (0.004 for each 10 F from 80 F)."
    notes = ("Cells that differ by more than 0.05 after a charge: a bad cell (common practice).",)
    cautions = (ACID, FROZEN) if charge < _LOW_CHARGE else (ACID,)
    figures = {"gravity_at_80F": corrected, "charge_percent": charge}
    return tell(desk, Worked(answer, working, BASIS, figures, notes, cautions), as_json)


@click.command(
    help=asked(
        "What a battery must hold under load. The load is half its cold-cranking current, for 15 s.",
        "load 9.5V --temperature 10C",
    )
)
@click.argument("reading", type=VOLTS, required=False)
@click.option("--temperature", type=TEMPERATURE, metavar="TEMP", required=True, help="Of the battery.")
@SYSTEM
@AS_JSON
@click.pass_obj
def load(desk: Desk, /, reading: Quantity | None, temperature: Quantity, system: str | None, as_json: bool) -> int:
    """What a battery must hold under load. The load is half its cold-cranking current, for 15 s."""
    from diagnose.trade.batteries import ACID, LOAD_BASIS, cranking_least, load_least

    nominal, _ = _nominal(system, si(reading, "V") if reading else 12.0, SIX_AT_REST)
    least = load_least(si(temperature, "C"), nominal)
    answer = f"It must hold {least:.1f} V."
    figures: dict[str, float | str] = {"least_V": least}
    if reading:
        holds = si(reading, "V") >= least
        answer = f"{'Holds' if holds else 'Too low'}: {reading.text}, {least:.1f} V at least."
        figures |= {"holds": "yes" if holds else "no"}
    working = f"Table at {temperature.text}, {nominal} V battery."
    note = f"Below 75 % charge it first. With the starter turning: {cranking_least(nominal):g} V (common practice)."
    return tell(desk, Worked(answer, working, LOAD_BASIS, figures, (note,), (ACID,)), as_json)


@click.command(help=asked("The voltage at the battery with the engine running.", "charging 14.2V"))
@click.argument("reading", type=VOLTS)
@SYSTEM
@AS_JSON
@click.pass_obj
def charging(desk: Desk, /, reading: Quantity, system: str | None, as_json: bool) -> int:
    """The voltage at the battery with the engine running."""
    from diagnose.trade.batteries import ACID, CHARGING_BASIS, CHARGING_VOLTS
    from diagnose.trade.batteries import charging as judge

    nominal, taken = _nominal(system, si(reading, "V"), SIX_CHARGING)
    low, high = (limit * nominal / 12 for limit in CHARGING_VOLTS)
    verdict = judge(si(reading, "V"), nominal)
    told = {
        "low": "Too low: it does not charge.",
        "right": "It charges as it should.",
        "high": "Too high: it boils the battery and blows bulbs; look at regulator and earth.",
    }
    working = f"{reading.text}; {low:g} to {high:g} V is right."
    notes = (taken,) if taken else ()
    figures: dict[str, float | str] = {"verdict": verdict, "low_V": low, "high_V": high}
    return tell(desk, Worked(told[verdict], working, CHARGING_BASIS, figures, notes, (ACID,)), as_json)
