"""`diagnose work-out` for cranking compression: the reading, the ratio, the wet test, two cylinders, leak-down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Measure, Ratio, UnitOf, si
from diagnose.cli.work_out.place import air_there, by_pressure, words
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, figure, in_unit_of, per_cent, tell

if TYPE_CHECKING:
    from diagnose.units import Quantity

PRESSURE, VOLUME, LENGTH = Measure("pressure"), Measure("volume"), Measure("length")
PORT = click.option(
    "--port",
    type=LENGTH,
    metavar="HEIGHT",
    help="Two-stroke: upper edge of the exhaust port over the piston at the bottom.",
)
STROKE = click.option("--stroke", type=LENGTH, metavar="LENGTH", help="With --port.")


def _port_share(port: Quantity | None, stroke: Quantity | None) -> float:
    """Return how much of the stroke lies below the port's upper edge; 0 without a port. Raises DiagnoseError."""
    from diagnose.problems import DiagnoseError

    if (port is None) != (stroke is None):
        raise DiagnoseError('--port and --stroke go together; write for instance --port "17 mm" --stroke "50 mm"')
    if port is None or stroke is None:
        return 0.0
    if stroke.value <= 0:
        raise DiagnoseError(f'no engine has a stroke of {stroke.text}; write for instance --stroke "50 mm"')
    return si(port, "mm") / si(stroke, "mm")


@click.command(
    help=asked(
        "A cranking pressure at sea level, by a true gauge.",
        'compression "95 psi" --at "6000 ft"',
        'compression "90 psi" --cylinder "49 cc" --ratio 8.8 --dead "2.9 cc"',
    )
)
@click.argument("reading", type=PRESSURE)
@by_pressure
@click.option(
    "--dead",
    type=VOLUME,
    metavar="VOLUME",
    help="Of gauge, hose and adapter up to the check valve; wants --cylinder and --ratio.",
)
@click.option("--cylinder", type=VOLUME, metavar="VOLUME", help='Of one cylinder: "50 cc".')
@click.option("--ratio", type=Ratio(), metavar="RATIO", help="Compression ratio, as the maker gives it.")
@PORT
@STROKE
@AS_JSON
@click.pass_obj
def compression(
    desk: Desk,
    /,
    reading: Quantity,
    dead: Quantity | None,
    cylinder: Quantity | None,
    ratio: float | None,
    port: Quantity | None,
    stroke: Quantity | None,
    as_json: bool,
    **there: Quantity | None,
) -> int:
    """A cranking pressure at sea level, by a true gauge."""
    from diagnose.problems import DiagnoseError
    from diagnose.trade.compression import BASIS, DEAD_BASIS, DECOMPRESSOR, METHOD, trapped_ratio, true_reading

    here = air_there(**there)
    read = si(reading, "Pa")
    hidden = 1.0
    if dead:
        if not (cylinder and ratio):
            raise DiagnoseError('--dead wants the cylinder too; write for instance --cylinder "50 cc" --ratio 7')
        share = _port_share(port, stroke)
        hidden = true_reading(1.0, si(cylinder, "ml") * (1 - share), trapped_ratio(ratio, share), si(dead, "ml"))
    true, level = read * hidden, read * hidden / here.delta
    steps = [f"without the dead volume x {hidden:.2f}"] if dead else []
    if there["at"] or there["barometer"] or there["weather"]:
        steps.append(f"from {words(there['at'], here)} to sea level x {1 / here.delta:.3f}")
    density = true / here.sigma
    notes: tuple[str, ...] = (METHOD,)
    if abs(here.delta - 1) > 0.02:
        notes = (
            f"Tables that go by density would say {in_unit_of(reading, density, 'Pa')}; cranking goes by pressure.",
            METHOD,
        )
    steps = steps or ["taken as read at sea level; give --at, or --dead for a long hose"]
    answer = f"{in_unit_of(reading, level, 'Pa')} at sea level, give or take 3 %. Hold that against the manual."
    figures = {"read_Pa": read, "true_Pa": true, "sea_level_Pa": level, "by_density_Pa": density}
    basis = DEAD_BASIS if dead else BASIS
    return tell(
        desk, Worked(answer, f"{reading.text}: {'; '.join(steps)}.", basis, figures, notes, (DECOMPRESSOR,)), as_json
    )


@click.command(
    help=asked(
        "What an engine of a compression ratio may read. A two-stroke goes by what is left after its "
        "exhaust port has closed: give --port and --stroke, or the ratio that is given for the closed port.",
        'ratio 9:1 --at "5000 ft"',
        'ratio 7.9 --port "16 mm" --stroke "52 mm"',
    )
)
@click.argument("compression_ratio", type=Ratio(), metavar="RATIO")
@PORT
@STROKE
@by_pressure
@click.option(
    "--unit",
    type=UnitOf("pressure"),
    metavar="UNIT",
    default="psi",
    show_default=True,
    help="psi, bar, kPa or another unit of pressure.",
)
@AS_JSON
@click.pass_obj
def ratio(
    desk: Desk,
    /,
    compression_ratio: float,
    port: Quantity | None,
    stroke: Quantity | None,
    unit: str,
    as_json: bool,
    **there: Quantity | None,
) -> int:
    """Work out what a healthy engine of a compression ratio may read."""
    from diagnose.trade.compression import BASIS, DECOMPRESSOR, METHOD, expected, trapped_ratio
    from diagnose.units import Quantity, convert

    here = air_there(**there)
    share = _port_share(port, stroke)
    trapped = trapped_ratio(compression_ratio, share)
    low, high = (convert(Quantity(pressure, "Pa"), unit).value for pressure in expected(trapped, here.pressure))
    closed = (
        f"{compression_ratio:g}:1 over the whole stroke is {trapped:.2f}:1 after the port has closed; " if share else ""
    )
    working = f"{closed}{here.pressure / 100:.0f} hPa x ({trapped:.3g} ^ n - 1), n 1.20 to 1.35."
    notes = (f"Real engines read lower more often than higher. {METHOD}",)
    figures = {"trapped_ratio": trapped, f"low_{unit}": low, f"high_{unit}": high}
    answer = f"{figure(low)} to {figure(high)} {unit} on the gauge."
    return tell(desk, Worked(answer, working, BASIS, figures, notes, (DECOMPRESSOR,)), as_json)


@click.command(
    help=asked(
        "The oil for a wet test, and what the rise says.",
        'wet-test --cylinder "125 cc" --ratio 9',
        'wet-test "80 psi" "120 psi" --cylinder "125 cc" --ratio 9 --oil "2 ml"',
    )
)
@click.argument("dry", type=PRESSURE, required=False)
@click.argument("wet", type=PRESSURE, required=False)
@click.option("--cylinder", type=VOLUME, metavar="VOLUME", required=True, help='Of one cylinder: "125 cc".')
@click.option("--ratio", type=Ratio(), metavar="RATIO", required=True, help="Compression ratio.")
@click.option("--oil", type=VOLUME, metavar="VOLUME", help="What you put in; without it what you should.")
@AS_JSON
@click.pass_obj
def wet_test(
    desk: Desk,
    /,
    dry: Quantity | None,
    wet: Quantity | None,
    cylinder: Quantity,
    ratio: float,
    oil: Quantity | None,
    as_json: bool,
) -> int:
    """The oil for a wet test, and what the rise says."""
    from diagnose.problems import DiagnoseError
    from diagnose.trade import compression as sums

    if (dry is None) != (wet is None):
        raise DiagnoseError("a wet test has two readings, dry and wet; write both, or neither for the oil alone")
    swept = si(cylinder, "ml")
    millilitres = si(oil, "ml") if oil else sums.oil_ml(swept)
    factor = sums.false_rise(swept, ratio, millilitres)
    working = (
        f"{millilitres:g} ml in a chamber of {sums.chamber_cc(swept, ratio):.1f} cc lifts the reading by "
        f"{per_cent(factor - 1)} by their volume alone."
    )
    figures: dict[str, float | str] = {"oil_ml": millilitres, "false_rise_factor": factor}
    cautions = (
        "Turn it over by hand first: too much oil locks the engine. Never the tablespoon that is told for cars.",
    )
    if not (dry and wet):
        answer = f"{sums.oil_ml(swept):g} ml of engine oil, no more."
        return tell(desk, Worked(answer, working, sums.WET_BASIS, figures, (sums.METHOD,), cautions), as_json)
    says = sums.wet_test(si(dry, "Pa"), si(wet, "Pa"), factor)
    answer = {
        "rings": f"Speaks for rings or bore: {per_cent(says.sealed)} more than the oil's volume explains.",
        "valves": "Speaks for valves or head gasket: the oil sealed nothing.",
        "": f"Does not tell: {per_cent(says.sealed)} more than the oil's volume explains is too little to go by.",
    }[says.speaks_for]
    figures |= {"rise": says.rise, "sealed": says.sealed, "speaks_for": says.speaks_for}
    worked = Worked(
        answer, f"{dry.text} to {wet.text}: {100 * says.rise:+.0f} %. {working}", sums.WET_BASIS, figures, (), cautions
    )
    return tell(desk, worked, as_json)


@click.command(help=asked("Cylinder against cylinder: same gauge, same kicks.", 'cylinders "150 psi" "120 psi"'))
@click.argument("readings", type=PRESSURE, nargs=-1, required=True)
@AS_JSON
@click.pass_obj
def cylinders(desk: Desk, /, readings: tuple[Quantity, ...], as_json: bool) -> int:
    """Cylinder against cylinder: same gauge, same kicks."""
    from diagnose.trade import Basis
    from diagnose.trade.compression import DECOMPRESSOR, SPREAD_LIMITS, spread

    share = spread(tuple(si(reading, "Pa") for reading in readings))
    verdicts = [f"{'passes' if share >= limit else 'fails'} {limit:.0%} ({who})" for limit, who in SPREAD_LIMITS]
    basis = Basis("one engine, warm, one gauge, the same number of kicks", "makers' service data; their limits differ")
    answer = f"The lowest has {per_cent(share)} of the highest."
    note = "Two neighbours low alike and oil does not help: the head gasket between them."
    working = f"It {'; '.join(verdicts)}."
    return tell(desk, Worked(answer, working, basis, {"share": share}, (note,), (DECOMPRESSOR,)), as_json)


@click.command(
    help=asked(
        "The leak of a leak-down test. SUPPLY is what you feed in, HELD what stays.", 'leak-down "80 psi" "60 psi"'
    )
)
@click.argument("supply", type=PRESSURE)
@click.argument("held", type=PRESSURE)
@AS_JSON
@click.pass_obj
def leak_down(desk: Desk, /, supply: Quantity, held: Quantity, as_json: bool) -> int:
    """The leak of a leak-down test. SUPPLY is what you feed in, HELD what stays."""
    from diagnose.problems import DiagnoseError
    from diagnose.trade.leakdown import BASIS, CAUTION, HEARD, band, leak

    if si(held, "Pa") > si(supply, "Pa"):
        says = f"{held.text} held is more than the {supply.text} fed in; write what is fed in first."
        raise DiagnoseError(f"{says} If it is so on the gauges, they do not agree.")
    share = leak(si(supply, "Pa"), si(held, "Pa"))
    answer = f"{per_cent(share)} leak: {band(share)}."
    bands = "5 % is as new, 15 % good, over 25 % poor; between them sources differ."
    working = f"({supply.text} - {held.text}) / {supply.text}. {bands}"
    heard = "Listen where it comes out: " + "; ".join(f"{where}: {what}" for where, what in HEARD.items()) + "."
    return tell(
        desk, Worked(answer, working, BASIS, {"leak": share, "band": band(share)}, (heard,), (CAUTION,)), as_json
    )
