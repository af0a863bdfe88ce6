"""`diagnose work-out` for what is set: timing, float, mixture screw."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Measure, Number, si
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, figure, tell

if TYPE_CHECKING:
    from diagnose.trade.carburettor import Screw
    from diagnose.units import Quantity

LENGTH = Measure("length", fits=(3, 250, "mm"))


@click.command(
    help=asked(
        "Degrees before top dead centre to millimetres, or back.",
        'timing "22 deg" --stroke 54mm --rod 100mm',
        'timing 2.5mm --stroke 42mm --aslant "45 deg"',
    )
)
@click.argument("before", type=Measure("angle", "length"), metavar="DEGREES|MM")
@click.option("--stroke", type=LENGTH, metavar="LENGTH", required=True, help="Of the piston: 54mm.")
@click.option(
    "--rod", type=LENGTH, metavar="LENGTH", help="Between the centres of its eyes; without it twice the stroke."
)
@click.option(
    "--aslant", type=Measure("angle"), metavar="DEGREES", help="Between dial gauge and bore, if the plug hole leans."
)
@AS_JSON
@click.pass_obj
def timing(
    desk: Desk, /, before: Quantity, stroke: Quantity, rod: Quantity | None, aslant: Quantity | None, as_json: bool
) -> int:
    """Degrees before top dead centre to millimetres, or back."""
    from diagnose.trade.timing import BASIS, CAUTION, ROD_NOTE, degrees_at, dial_mm, drop_mm, travel_mm

    length, eyes = si(stroke, "mm"), si(rod, "mm") if rod else None
    lean = si(aslant, "deg") if aslant else 0.0
    if before.unit == "deg":
        degrees = before.value
        travel = drop_mm(degrees, length, eyes)
        shows = dial_mm(travel, lean)
        answer = f"{shows:.2f} mm{' on the dial' if lean else ''} before top dead centre."
    else:
        shows = si(before, "mm")
        travel = travel_mm(shows, lean)
        degrees = degrees_at(travel, length, eyes)
        answer = f"{degrees:.1f} degrees before top dead centre."
    by = f"stroke {stroke.text}, {f'rod {rod.text}' if rod else ROD_NOTE}"
    working = f"{by}: {degrees:.1f} degrees is {travel:.2f} mm of the piston"
    working += f", {shows:.2f} mm on a dial {lean:g} degrees aslant." if lean else "."
    notes = () if aslant else ("Does the gauge stand in line with the bore? If the plug hole leans, give --aslant.",)
    figures = {"degrees": degrees, "travel_mm": travel, "dial_mm": shows}
    return tell(desk, Worked(answer, working, BASIS, figures, notes, (CAUTION,)), as_json)


@click.command(
    name="float",
    help=asked(
        "What another float height does to the level. Measured upside down, from the joint to the "
        "far edge of the float, valve just closed.",
        "float 21mm 22.5mm",
    ),
)
@click.argument("was", type=LENGTH)
@click.argument("now", type=LENGTH, metavar="NOW")
@click.option(
    "--arms",
    type=Number("0.7"),
    metavar="SHARE",
    default="1",
    help="Hinge to the float's middle over hinge to where you measure.",
)
@AS_JSON
@click.pass_obj
def float_level(desk: Desk, /, was: Quantity, now: Quantity, arms: float, as_json: bool) -> int:
    """Work out what another float height does to the level in the bowl."""
    from diagnose.trade.carburettor import FLOAT_BASIS, FLOAT_CAUTION, level_change_mm

    change = level_change_mm(si(was, "mm"), si(now, "mm"), arms)
    level = f"about {figure(abs(change))} mm {'higher' if change > 0 else 'lower'}" if change else "where it was"
    leaning = "richer" if change > 0 else "leaner"
    answer = f"The level stands {level}{f': {leaning} everywhere' if change else ''}."
    working = f"{was.text} to {now.text} x {arms:g}. Further from the joint shuts lower."
    note = "Check it with a clear hose at the drain, bike upright; 2 to 6 mm below the joint is usual (memory)."
    cautions = (
        (FLOAT_CAUTION,)
        if change >= 0
        else ("A level too low starves the engine lean at full throttle.", FLOAT_CAUTION)
    )
    return tell(desk, Worked(answer, working, FLOAT_BASIS, {"level_mm": change}, (note,), cautions), as_json)


@click.command(
    help=asked(
        "What the best setting of the mixture screw says. KIND: air (on the filter side) or fuel (on the "
        "engine side). TURNS: out from lightly seated, where it idles best.",
        'screw air "1 1/2"',
    )
)
@click.argument("kind", type=click.Choice(["air", "fuel"]))
@click.argument("turns", type=Number("1 1/2"))
@AS_JSON
@click.pass_obj
def screw(desk: Desk, /, kind: Screw, turns: float, as_json: bool) -> int:
    """Work out what the best setting of the mixture screw says."""
    from diagnose.trade.carburettor import BASE_TURNS, SCREW_BASIS, STEPS, USUAL, pilot_wants, richer_is, something_else

    wants = pilot_wants(kind, turns)
    answer = (
        f"The pilot jet fits: {USUAL[0]:g} to {USUAL[1]:g} turns is usual."
        if not wants
        else f"A {wants} pilot jet is wanted."
    )
    if something_else(turns):
        answer = f"Something else is wrong first: pilot blocked, false air or the level. If not, a {wants} pilot jet."
    richer = richer_is(kind)
    working = (
        f"{turns:g} turns out; richer is {richer}. Begin at {BASE_TURNS:g}, go by {STEPS[0]:g}, then by {STEPS[1]:g}."
    )
    figures: dict[str, float | str] = {"turns": turns, "pilot": wants or "fits", "richer_is": richer}
    cautions = ("Seat it with two fingers: forced, it ruins its seat.",)
    return tell(desk, Worked(answer, working, SCREW_BASIS, figures, (), cautions), as_json)
