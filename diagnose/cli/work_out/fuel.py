"""`diagnose work-out` for petrol and oil: tap, water, age, mixing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Measure, Number, Ratio, si
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, figure, in_unit_of, tell

if TYPE_CHECKING:
    from diagnose.units import Quantity

VOLUME = Measure("volume")


@click.command(help=asked("The flow of the tap, against what the engine takes.", 'tap "90 ml" "30 s" --power 6kW'))
@click.argument("caught", type=VOLUME)
@click.argument("seconds", type=Measure("time"), metavar="TIME")
@click.option("--power", type=Measure("power"), metavar="POWER", help="Of the engine: 6kW, 8hp.")
@AS_JSON
@click.pass_obj
def tap(desk: Desk, /, caught: Quantity, seconds: Quantity, power: Quantity | None, as_json: bool) -> int:
    """The flow of the tap, against what the engine takes."""
    from diagnose.trade.fuel import DEMAND_BASIS, FIRE, TAP_OVER_DEMAND, demand, flow

    given = flow(si(caught, "ml"), si(seconds, "s"))
    working = f"{caught.text} in {seconds.text}."
    answer = f"{figure(given)} ml/min."
    figures = {"flow_ml_min": given}
    if power:
        taken = demand(si(power, "kW"))
        enough = "enough" if given >= TAP_OVER_DEMAND * taken else "barely" if given >= taken else "too little"
        answer = f"{figure(given)} ml/min: {enough} for {power.text}."
        working += f" Full power takes about {figure(taken)} ml/min; a gravity tap should give twice that."
        figures |= {"demand_ml_min": taken}
    rule = "Rule of thumb: a 50 wants 60 ml/min at least, a 125 120, a 250 200; --power reckons it."
    note = (
        "Starting and idling take a few ml a minute: a slow tap explains dying at speed, not no start with a full bowl."
    )
    return tell(
        desk, Worked(answer, working, DEMAND_BASIS, figures, (note,) if power else (rule, note), (FIRE,)), as_json
    )


@click.command(help=asked("The water that petrol with alcohol holds.", 'water "10 l" --temperature 15C'))
@click.argument("petrol", type=VOLUME)
@click.option(
    "--temperature",
    type=Measure("temperature"),
    metavar="TEMP",
    required=True,
    help="Of the petrol, or the coldest it had.",
)
@click.option("--ethanol", type=Number("10"), default="10", show_default=True, metavar="PERCENT", help="Alcohol in it.")
@AS_JSON
@click.pass_obj
def water(desk: Desk, /, petrol: Quantity, temperature: Quantity, ethanol: float, as_json: bool) -> int:
    """The water that petrol with alcohol holds."""
    from diagnose.trade.fuel import FIRE, LAYERS, WATER_BASIS, water_held

    held = water_held(si(temperature, "C"), ethanol)
    millilitres = si(petrol, "ml") * held / 100
    answer = f"About {millilitres:.0f} ml of water; with more, or colder, it separates."
    working = f"{held:.2f} % of {petrol.text} at {temperature.text}."
    figures = {"water_ml": millilitres, "water_percent": held}
    return tell(desk, Worked(answer, working, WATER_BASIS, figures, (LAYERS,), (FIRE,)), as_json)


@click.command(help=asked("What petrol of an age is good for.", 'petrol-age "14 months"'))
@click.argument("age", type=Measure("time"))
@AS_JSON
@click.pass_obj
def petrol_age(desk: Desk, /, age: Quantity, as_json: bool) -> int:
    """What petrol of an age is good for."""
    from diagnose.trade.fuel import AGE_BASIS, FIRE, VAPOUR_PSI
    from diagnose.trade.fuel import age as judge

    days = si(age, "days")
    told = {
        "fresh": "Fresh: use it.",
        "use it up": "Use it up in an engine that runs; some makers say 30 days.",
        "suspect": "Suspect: drain it before you look for other faults.",
        "bad": "Bad: drain it. A year is enough to gum small passages; clean the pilot jet too.",
    }
    working = f"{age.text}; fresh to 30 days, suspect from 90, bad from a year."
    light = "What a cold start needs goes first: {summer:g} psi of vapour in summer petrol, {winter:g} in winter's."
    figures: dict[str, float | str] = {"days": days, "verdict": judge(days)}
    return tell(
        desk, Worked(told[judge(days)], working, AGE_BASIS, figures, (light.format(**VAPOUR_PSI),), (FIRE,)), as_json
    )


@click.command(
    help=asked("The oil for a can of petrol.", 'premix "5 l" --ratio 32:1', 'premix "1 US gal" --ratio 40:1')
)
@click.argument("petrol", type=VOLUME)
@click.option("--ratio", type=Ratio(), required=True, metavar="RATIO", help="Petrol to oil: 32:1.")
@click.option("--has", type=Ratio(), metavar="RATIO", help="PETROL is a mix already, of this ratio: what to add.")
@AS_JSON
@click.pass_obj
def premix(desk: Desk, /, petrol: Quantity, ratio: float, has: float | None, as_json: bool) -> int:
    """The oil for a can of petrol."""
    from diagnose.trade.mixing import BASIS, CAUTION, oil_for, oil_to_add

    can = si(petrol, "ml")
    oil = oil_for(can, ratio) if has is None else oil_to_add(can, has, ratio)
    ounces = {"imp gal": "imp fl oz", "US gal": "US fl oz"}.get(petrol.unit, "")
    told = f" ({in_unit_of(_like(ounces), oil, 'ml')})" if ounces else ""
    answer = f"{figure(oil)} ml of oil{told}{' more' if has else ''}."
    working = f"{petrol.text} / {ratio:g}." if has is None else f"{petrol.text} of mix {has:g}:1, to be {ratio:g}:1."
    return tell(desk, Worked(answer, working, BASIS, {"oil_ml": oil}, (), (CAUTION,)), as_json)


def _like(unit: str) -> Quantity:
    """Return a quantity of a unit, to show others in."""
    from diagnose.units import Quantity

    return Quantity(0.0, unit)
