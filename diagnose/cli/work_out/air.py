"""`diagnose work-out air` and `jet`: the air by altitude, and jets for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk
from diagnose.cli.work_out.measures import Altitude, Measure, Number, si
from diagnose.cli.work_out.place import air_there, by_air, words
from diagnose.cli.work_out.told import AS_JSON, Worked, asked, figure, per_cent, tell

if TYPE_CHECKING:
    from diagnose.trade.air import Air
    from diagnose.trade.jets import Jetting, Numbered
    from diagnose.units import Quantity


@click.command(
    help=asked("Pressure and density of the air, and the power it takes.", 'air --at "6000 ft" --temperature 72F')
)
@by_air
@AS_JSON
@click.pass_obj
def air(desk: Desk, /, as_json: bool, **there: Quantity | None) -> int:
    """Pressure and density of the air, and the power it takes."""
    from diagnose.trade.air import BASIS
    from diagnose.trade.jets import power_lost, richness

    here = air_there(**there)
    by_density, by_pressure = power_lost(here)
    answer = (
        f"{figure(100 * here.delta)} % of the pressure and {figure(100 * here.sigma)} % of the density at sea level."
    )
    working = f"{words(there['at'], here)}: {here.density:.3f} kg/m3."
    notes = (
        f"Power: {per_cent(max(0, by_density))} to {per_cent(max(0, by_pressure))} less. "
        f"With sea-level jets the mixture is {_rich(richness(here.sigma))}.",
    )
    figures = {
        "pressure_Pa": here.pressure,
        "temperature_C": here.celsius,
        "density_kg_m3": here.density,
        "pressure_ratio": here.delta,
        "density_ratio": here.sigma,
    }
    return tell(desk, Worked(answer, working, BASIS, figures, notes), as_json)


@click.command(
    help=asked(
        "The main jet for another altitude or temperature. Give the lowest and coldest you will ride in: "
        "lean is the danger. By bore the number is the hole in hundredths of a millimetre, by flow what goes through.",
        'jet 105 --right-at "sea level" --at "6000 ft"',
    )
)
@click.argument("number", type=Number("105"), metavar="JET")
@click.option("--right-at", type=Altitude(), metavar="ALTITUDE", required=True, help="Where this jet is right.")
@click.option("--right-temperature", type=Measure("temperature"), metavar="TEMP", help="And at which temperature.")
@click.option(
    "--numbered", type=click.Choice(["bore", "flow"]), default="bore", show_default=True, help="What the number means."
)
@click.option(
    "--step", type=Number("2.5"), metavar="N", help="From one made size to the next; usual: 2.5 by bore, 10 by flow."
)
@by_air
@AS_JSON
@click.pass_obj
def jet(
    desk: Desk,
    /,
    number: float,
    right_at: Quantity,
    right_temperature: Quantity | None,
    numbered: Numbered,
    step: float | None,
    as_json: bool,
    **there: Quantity | None,
) -> int:
    """Work out the main jet for another altitude or temperature."""
    from diagnose.trade.jets import BASIS, LEAN, rejet

    if not (there["at"] or there["barometer"]):
        raise click.UsageError('Where is it wanted? Write for instance --at "6000 ft".')
    right, here = air_there(right_at, right_temperature), air_there(**there)
    jetting = rejet(number, numbered, right, here, step)
    working = (
        f"{words(right_at, right)} to {words(there['at'], here)}: density x {jetting.sigma:.3f}, number x "
        f"{jetting.exact / number:.3f} = {jetting.exact:.1f}. With {number:g} left in: {_rich(jetting.as_is)}."
    )
    notes = (
        _advice(jetting),
        *_rule(number, numbered, (right_at, right_temperature), (there["at"], there["temperature"])),
    )
    figures = {
        "exact": jetting.exact,
        "nearest": jetting.nearest,
        "leaner": jetting.leaner,
        "richer": jetting.richer,
        "density_ratio": jetting.sigma,
        "mixture_with_old_jet": jetting.as_is,
    }
    cautions = (LEAN,) if _leaning(right, here, jetting) else ()
    return tell(desk, Worked(_sizes(jetting), working, BASIS, figures, notes, cautions), as_json)


def _leaning(right: Air, here: Air, jetting: Jetting) -> bool:
    """Return whether anything here can run lean: a smaller jet, or an old one in denser air."""
    return right != here or jetting.leaner != jetting.richer


def _sizes(jetting: Jetting) -> str:
    """Return the made sizes on either side, with what each makes of the mixture."""
    if jetting.leaner == jetting.richer:
        return f"{jetting.richer:g}: a made size fits exactly."
    sizes = ", ".join(f"{size:g} is {_rich(jetting.mixture(size))}" for size in (jetting.leaner, jetting.richer))
    return f"About {jetting.nearest:g}. By the sum {jetting.exact:.1f}: of the made sizes {sizes}."


def _advice(jetting: Jetting) -> str:
    if jetting.leaner == jetting.richer:
        return "Fit it and read the plug after a pull at full throttle."
    return (
        f"Fit the richer first, {jetting.richer:g}; go to {jetting.leaner:g} only if it four-strokes or "
        "soots and the plug shows no white."
    )


def _rich(mixture: float) -> str:
    """Return a mixture in words: 1 is right, above it rich."""
    if abs(mixture - 1) < 0.0005:
        return "right"
    return f"{100 * abs(mixture - 1):.1f} % {'rich' if mixture > 1 else 'lean'}"


def _rule(
    number: float,
    numbered: Numbered,
    right: tuple[Quantity, Quantity | None],
    here: tuple[Quantity | None, Quantity | None],
) -> tuple[str, ...]:
    """Return what a published rule would say, where it reaches; places are altitude and temperature, as written."""
    from diagnose.trade import OutOfRange
    from diagnose.trade.jets import RULE_SOURCE, rule_of_thumb

    if here[0] is None:
        return ()
    warmer = si(here[1], "F") - si(right[1], "F") if here[1] and right[1] else 0.0
    try:
        rule = rule_of_thumb(number, numbered, si(here[0], "ft") - si(right[0], "ft"), warmer)
    except OutOfRange:
        return (f"A published rule does not reach so far ({RULE_SOURCE}).",)
    return (f"A published rule would say {rule:.0f} ({RULE_SOURCE}); it is coarser than the sum.",)
