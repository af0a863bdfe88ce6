"""`diagnose work-out`: the sums of the trade, each on its own. No book and no job is needed."""

from __future__ import annotations

import click

from diagnose.cli.work_out.air import air, jet
from diagnose.cli.work_out.batteries import battery, charging, hydrometer, load
from diagnose.cli.work_out.compression import compression, cylinders, leak_down, ratio, wet_test
from diagnose.cli.work_out.fuel import petrol_age, premix, tap, water
from diagnose.cli.work_out.settings import float_level, screw, timing
from diagnose.cli.work_out.sparks import coil, dwell, points, spark

HELP = """Work out a figure: jets by altitude, a compression reading, a coil in the cold, timing, petrol and oil.

Figures are written as you say them, with their unit: "95 psi", 0,6mm, "6000 ft". Each answer says what it holds for
and where it comes from; --json is for programs. `diagnose work-out jet --help` shows how one is asked.

\b
  diagnose work-out jet 105 --right-at "sea level" --at "6000 ft"
  diagnose work-out compression "95 psi" --at "6000 ft"
"""


@click.group(help=HELP, name="work-out")
def work_out() -> None:
    """Hold the sums together."""


for _command in (
    *(air, jet),
    *(compression, ratio, wet_test, cylinders, leak_down),
    *(coil, points, dwell, timing, spark),
    *(battery, hydrometer, load, charging),
    *(tap, water, petrol_age, premix),
    *(float_level, screw),
):
    work_out.add_command(_command)
