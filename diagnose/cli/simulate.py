"""`diagnose simulate`: invented bikes walked by the tool and by other ways of going about it."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from diagnose.simulation.study import Plan, Summary
    from diagnose.simulation.walk import Result

SCHEMA = 1
CONTEXTS = ("lately", "year", "years")
POLICIES = ("ours", "list", "likeliest", "single", "information")
"""As in diagnose.simulation.policies, which is too heavy to load for a help text; a test compares them."""


@click.command()
@click.option("--bikes", type=click.IntRange(1), default=20, show_default=True, help="So many for each --context.")
@click.option("--context", "contexts", type=click.Choice(CONTEXTS), multiple=True, help="How long they stood [all].")
@click.option("--policy", "policies", type=click.Choice(POLICIES), multiple=True, help="How to go about it [all].")
@click.option("--complaint", "complaints", metavar="ID", multiple=True, help="Only bikes with this complaint [all].")
@click.option("--budget", type=click.FloatRange(0, min_open=True), help="Money; how many are cured for no more.")
@click.option(
    "--wrong-priors", type=click.FloatRange(0), default=0.0, metavar="SD", help="Mistake in the priors, logits."
)
@click.option("--steps", type=click.IntRange(1), default=100, show_default=True, help="After so many it is handed on.")
@click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Another seed, other bikes.")
@click.option("--workers", type=click.IntRange(1), help="Processes [as many as there are cores].")
@click.option("--json", "as_json", is_flag=True, help="All figures of every bike, for programs.")
@click.pass_obj
def simulate(
    desk: Desk,
    bikes: int,
    contexts: tuple[str, ...],
    policies: tuple[str, ...],
    complaints: tuple[str, ...],
    budget: float | None,
    wrong_priors: float,
    steps: int,
    seed: int,
    workers: int | None,
    as_json: bool,
) -> int:
    r"""Try the tool on invented bikes.

    Bikes with faults drawn from the book are walked by the tool's own proposals and by other ways:
    list (the trade's fixed list), likeliest (likeliest cause first), single (textbook planning for one fault),
    information (most information for its price). Perfect knowledge is the floor. A bike that has cost as much as
    handing it on costs is handed on.

    \b
    Example:
      diagnose simulate --bikes 50 --context years --policy ours --policy list
    """
    import os

    from diagnose.simulation.study import Plan, summaries

    plan = Plan(
        contexts=tuple(dict.fromkeys(contexts)) or CONTEXTS,
        policies=tuple(dict.fromkeys(policies)) or POLICIES,
        bikes=bikes,
        seed=seed,
        complaints=tuple(dict.fromkeys(complaints)),
        wrong_priors=wrong_priors,
        most_steps=steps,
    )
    results = list(_results(desk, plan, workers or os.cpu_count() or 1))
    order = {name: n for n, name in enumerate((*plan.contexts, "perfect", *plan.policies))}
    results.sort(key=lambda one: (order[one.context], one.bike, order[one.policy]))
    found = summaries(results, budget)
    if as_json:
        click.echo(json.dumps(document(desk, plan, budget, found, results), indent=1))
    else:
        show(desk, plan, budget, found)
    return 0


def _results(desk: Desk, plan: Plan, workers: int) -> Iterator[Result]:
    """Give the results of every bike, a bar on stderr meanwhile where that is a terminal. Raises DiagnoseError."""
    from difflib import get_close_matches

    from rich.console import Console
    from rich.progress import track

    from diagnose.problems import DiagnoseError
    from diagnose.simulation.study import walked

    known = desk.knowledge()
    for complaint in plan.complaints:
        if complaint not in known.complaints:
            near = get_close_matches(complaint, known.complaints, 1, 0.5) or list(known.complaints)[:3]
            raise DiagnoseError(f'there is no complaint "{complaint}" in the book; write {" or ".join(near)}')
    total = plan.bikes * len(plan.contexts)
    console = Console(file=sys.stderr)
    done = walked(known, plan, workers)
    for some in track(done, "Bikes", total=total, console=console, disable=not sys.stderr.isatty(), transient=True):
        yield from some


def document(
    desk: Desk, plan: Plan, budget: float | None, found: Sequence[Summary], results: Sequence[Result]
) -> dict[str, Any]:
    """Return everything as one value that JSON can hold. Money in the shop's currency; minutes of work."""
    from dataclasses import asdict

    return {
        "schema": SCHEMA,
        "knowledge": desk.knowledge().version,
        **asdict(plan),
        "budget": budget,
        "summaries": [one.as_json() for one in found],
        "results": [one.as_json() for one in results],
    }


def show(desk: Desk, plan: Plan, budget: float | None, found: Sequence[Summary]) -> None:
    """Print a table for each context, 50 columns wide, and what its columns mean."""
    from diagnose.terminal.page import Line

    page = desk.page()
    head = f"{'':11}{'money':>7}{'half':>6}{'9/10':>6}{'min':>6}{'9/10':>6}{'steps':>6}"
    for context in plan.contexts:
        mine = [one for one in found if one.context == context]
        page.show([Line(f"Stood: {context}, {mine[0].bikes} bikes", "bold"), Line(head)])
        page.show([Line(_money_row(one)) for one in mine])
        page.show([Line(f"{'':11}{'excess':>7}{'+-':>6}{'cured':>7}" + (f"{'in budget':>11}" if budget else ""))])
        page.show([Line(_share_row(one)) for one in mine])
        page.show([Line("")])
    page.show(
        page.wrapped("money, min, steps: mean, half of the bikes, nine in ten, to a bike that does what is asked.")
    )
    page.show(page.wrapped("excess: mean money above perfect knowledge on the same bikes, +- its standard error."))
    page.show(page.wrapped("A bike handed on, or one that comes back, costs a day of work on top."))


def _money_row(one: Summary) -> str:
    money, minutes = one.money, one.minutes
    return (
        f"{one.policy:11}{money.mean:7.0f}{money.half:6.0f}{money.nine_tenths:6.0f}"
        f"{minutes.mean:6.0f}{minutes.nine_tenths:6.0f}{one.steps.mean:6.1f}"
    )


def _share_row(one: Summary) -> str:
    row = f"{one.policy:11}{one.excess:7.0f}{one.error:6.0f}{one.cured:7.0%}"
    return row if one.within is None else f"{row}{one.within:11.0%}"
