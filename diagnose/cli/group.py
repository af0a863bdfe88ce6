"""The command line: `diagnose` and its commands. Nothing heavy is imported before a command runs."""

from __future__ import annotations

import os

import click

from diagnose import __version__
from diagnose.cli.chart import chart
from diagnose.cli.check import check
from diagnose.cli.desk import HOME_VARIABLE, Desk
from diagnose.cli.explain import explain
from diagnose.cli.interview import interview
from diagnose.cli.jobs import jobs, trail
from diagnose.cli.replay import demo, replay
from diagnose.cli.sheet import sheet
from diagnose.cli.simulate import simulate
from diagnose.cli.work_out import work_out

HELP = """Find out why a motorcycle will not start, in the cheapest order.

\b
    diagnose              begin, or go on with an open job
    diagnose demo         watch a whole job
    diagnose trail JOB    the account for the owner
"""


@click.group(help=HELP, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--plain", is_flag=True, help="Numbered lists and lines of input; no colour, no bars.")
@click.option("--home", metavar="FOLDER", help=f"Where jobs are kept (or set {HOME_VARIABLE}).")
@click.version_option(__version__, message="diagnose %(version)s")
@click.pass_context
def diagnose(context: click.Context, plain: bool, home: str | None) -> int:
    """Set what holds for every command; without a command begin the interview."""
    if home:
        os.environ[HOME_VARIABLE] = home
    context.obj = Desk(plain)
    return 0 if context.invoked_subcommand else interview(context.obj)


for _command in (replay, demo, jobs, trail, explain, sheet, work_out, chart, check, simulate):
    diagnose.add_command(_command)
