"""`diagnose work-out` for the ignition: coils, points, dwell, spark gaps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Measure, si
from diagnose.cli.work_out.place import air_there, by_air, words
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, figure, in_unit_of, tell

if TYPE_CHECKING:
    from diagnose.trade.sparks import Electrodes
    from diagnose.units import Quantity

OHMS, LENGTH = Measure("resistance"), Measure("length", fits=(0.3, 40, "mm"))
GAP = Measure("length", fits=(0.03, 2, "mm"))


@click.command(
    help=asked(
        "A coil's resistance at 20 C, where manuals give it.", 'coil "4.0 ohm" --temperature 5C --leads "0.2 ohm"'
    )
)
@click.argument("reading", type=OHMS)
@click.option(
    "--temperature", type=Measure("temperature"), metavar="TEMP", required=True, help="Of the coil itself: 5C."
)
@click.option("--leads", type=OHMS, metavar="OHMS", help="What the meter shows with its tips together.")
@AS_JSON
@click.pass_obj
def coil(desk: Desk, /, reading: Quantity, temperature: Quantity, leads: Quantity | None, as_json: bool) -> int:
    """A coil's resistance at 20 C, where manuals give it."""
    from diagnose.trade.coils import BASIS, LOW_OHM, factor, ohms_at_20

    ohms, celsius = si(reading, "ohm"), si(temperature, "C")
    own = si(leads, "ohm") if leads else 0.0
    at_20 = ohms_at_20(ohms, celsius, own)
    less = f" less {leads.text} of leads" if leads else ""
    working = f"{reading.text}{less} at {celsius:.0f} C: divided by {factor(celsius):.3f}."
    notes: tuple[str, ...] = ()
    if not leads and ohms < 2 * LOW_OHM:
        notes = ("So low the meter's own leads count: hold the tips together and give that as --leads.",)
    answer = f"{in_unit_of(reading, at_20, 'ohm')} at 20 C."
    return tell(desk, Worked(answer, working, BASIS, {"ohm_at_20_C": at_20, "factor": factor(celsius)}, notes), as_json)


@click.command(help=asked("What another points gap does to the timing.", 'points "0.30 mm" "0.40 mm"'))
@click.argument("was", type=GAP)
@click.argument("now", type=GAP, metavar="NOW")
@AS_JSON
@click.pass_obj
def points(desk: Desk, /, was: Quantity, now: Quantity, as_json: bool) -> int:
    """What another points gap does to the timing."""
    from diagnose.trade.points import BASIS, DEGREES_PER_MM, earlier_degrees
    from diagnose.trade.timing import CAUTION

    earlier = earlier_degrees(si(was, "mm"), si(now, "mm"))
    direction = "earlier" if earlier > 0 else "later"
    answer = f"About {abs(earlier):.0f} degrees {direction}." if abs(earlier) >= 0.5 else "The timing stays as it is."
    working = (
        f"{was.text} to {now.text}: a degree for {1 / DEGREES_PER_MM:.3f} mm. Wider opens earlier and dwells less."
    )
    note = "Set the gap first, then the timing: the one moves the other."
    cautions = (CAUTION,) if earlier > 0 else ()
    return tell(desk, Worked(answer, working, BASIS, {"degrees_earlier": earlier}, (note,), cautions), as_json)


@click.command(help=asked("A dwell from degrees to per cent, or back.", 'dwell "180 deg"', 'dwell "58 %" --openings 4'))
@click.argument("closed", type=Measure("angle", "percent"))
@click.option("--openings", type=click.IntRange(1, 8), default=1, show_default=True, help="For each turn of the cam.")
@AS_JSON
@click.pass_obj
def dwell(desk: Desk, /, closed: Quantity, openings: int, as_json: bool) -> int:
    """A dwell from degrees to per cent, or back."""
    from diagnose.trade.points import BASIS, dwell_degrees, dwell_share

    if closed.unit == "deg":
        share = dwell_share(closed.value, openings)
        answer = f"{100 * share:.1f} % closed."
    else:
        share = closed.value / 100
        answer = f"{figure(dwell_degrees(share, openings))} degrees of the cam closed."
    working = f"One opening has {360 / openings:.0f} degrees of the cam. More dwell is a smaller gap, and later."
    figures = {"share": share, "degrees": dwell_degrees(share, openings)}
    return tell(desk, Worked(answer, working, BASIS, figures), as_json)


@click.command(
    help=asked(
        "The length of a spark in open air as kilovolts.",
        'spark "8 mm" --between needles --at "5000 ft" --temperature 20C',
    )
)
@click.argument("gap", type=LENGTH)
@click.option(
    "--between",
    type=click.Choice(["needles", "spheres", "flat"]),
    default="needles",
    show_default=True,
    help="Points, balls of 25 mm, or flat faces as at a plug.",
)
@by_air
@AS_JSON
@click.pass_obj
def spark(
    desk: Desk,
    /,
    gap: Quantity,
    between: Electrodes,
    as_json: bool,
    **there: Quantity | None,
) -> int:
    """The length of a spark in open air as kilovolts."""
    from diagnose.trade.sparks import BASIS, CAUTION, ERROR, MAKERS_LEAST_MM, as_at_sea_level, density_factor, kilovolts

    here = air_there(**there)
    celsius = here.celsius if there["at"] or there["temperature"] else 20.0
    millimetres = si(gap, "mm")
    volts = kilovolts(millimetres, between, here.pressure, celsius)
    factor = density_factor(here.pressure, celsius)
    level = as_at_sea_level(millimetres, factor)
    answer = f"{figure(volts)} kV, give or take {100 * ERROR[between]:.0f} %."
    working = (
        f"{gap.text} between {between}; air at {words(there['at'], here)} takes {factor:.3f} of 1013 hPa and 20 C."
    )
    notes = [f"Two makers ask for {MAKERS_LEAST_MM:.0f} mm between points at least; 6 mm is common too."]
    if abs(factor - 1) > 0.03:
        notes.insert(0, f"At sea level the same spark would jump {figure(level)} mm.")
    figures = {"kV": volts, "density_factor": factor, "gap_at_sea_level_mm": level}
    return tell(desk, Worked(answer, working, BASIS, figures, tuple(notes), (CAUTION,)), as_json)
