"""`diagnose sheet`: the manual's figures of a bike, kept for the next of the kind, and handed on as a file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from collections.abc import Sequence

    from diagnose.consultation import Consultation
    from diagnose.events import Event
    from diagnose.records import KeptSheet, Store


HELP = """Keep a bike's own figures for the next of its kind.

\b
    diagnose sheet set 261126-1 points_gap 0.3 to 0.4 mm --from "manual 1974, page 41"
    diagnose sheet keep 261126-1 "pressed-frame 125"
    diagnose sheet take 261130-1 "pressed-frame 125"
    diagnose sheet export "pressed-frame 125" > sheet.yaml
"""


@click.group(help=HELP, invoke_without_command=True)
@click.pass_context
def sheet(context: click.Context) -> int:
    """List the kept sheets where no command is named."""
    return 0 if context.invoked_subcommand else _list(context.obj, as_json=False)


@sheet.command("list")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@click.pass_obj
def list_sheets(desk: Desk, as_json: bool) -> int:
    """List the sheets that are kept."""
    return _list(desk, as_json)


def _list(desk: Desk, as_json: bool) -> int:
    with desk.store() as store:
        kept = store.sheets.all()
    if as_json:
        rows = [
            {"name": one.name, "kept_at": one.kept_at, "job": one.job or None, "figures": len(one.figures)}
            for one in kept
        ]
        click.echo(json.dumps({"schema": 1, "sheets": rows}, ensure_ascii=False, indent=1))
        return 0
    if not kept:
        click.echo("No sheets yet. Keep one with: diagnose sheet keep JOB NAME", err=True)
    for one in kept:
        click.echo(f"{one.name}  {_counted(len(one.figures))}, {one.kept_at[:10]}")
    return 0


@sheet.command()
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@click.pass_obj
def show(desk: Desk, name: str, as_json: bool) -> int:
    """Show a kept sheet: every figure and where it stands in the manual."""
    with desk.store() as store:
        kept = store.sheets.get(name)
    if as_json:
        told = {"schema": 1, "name": kept.name, "kept_at": kept.kept_at, "job": kept.job or None}
        click.echo(json.dumps(told | {"figures": [dict(body) for body in kept.figures]}, ensure_ascii=False, indent=1))
        return 0
    from diagnose.terminal.page import Line

    known, page = desk.knowledge(), desk.page()
    page.show([Line(kept.name, "bold")])
    for body in kept.figures:
        item = known.quantities.get(body["item"])
        text = item.choices.get(body["text"], body["text"]) if item else body["text"]
        page.show(page.wrapped(f"{item.name if item else body['item']}: {text} ({body['source']})", "  ", rest="    "))
    return 0


@sheet.command()
@click.argument("job")
@click.argument("name")
@click.option("--replace", is_flag=True, help="In place of one that is kept under that name.")
@click.pass_obj
def keep(desk: Desk, job: str, name: str, replace: bool) -> int:
    """Keep the manual's figures of a JOB under a NAME of your own."""
    from diagnose.consultation import resume
    from diagnose.consultation.sheet import figures_of

    with desk.store() as store:
        figures = figures_of(resume(desk.knowledge(), store.events(job)).state)
        kept = store.sheets.keep(name, figures, job, replace=replace)
    click.echo(f"Kept: {kept.name}, {_counted(len(kept.figures))}.")
    return 0


@sheet.command()
@click.argument("job")
@click.argument("name")
@click.pass_obj
def take(desk: Desk, job: str, name: str) -> int:
    """Take the kept sheet NAME into a JOB. Figures that the job has stay."""
    from diagnose.consultation import resume
    from diagnose.consultation.sheet import taking

    page = desk.page()
    with desk.store() as store, store.hold(job):
        kept = store.sheets.get(name)
        now = resume(desk.knowledge(), store.events(job))
        found = taking(now.knowledge, now.state, kept.figures)
        _written(store, job, now, found.events)
    if not (found.events or found.left):
        page.show(page.wrapped(f"All of {kept.name} is on the job already."))
    else:
        page.show(page.wrapped(f"Taken from {kept.name}: {_counted(len(found.events))}."))
    for value, why in found.left:
        page.show(page.wrapped(f"Left out: {value} - {why}", "  ", rest="    "))
    return 0


@sheet.command("set", context_settings={"ignore_unknown_options": True})
@click.argument("job")
@click.argument("item")
@click.argument("figure", nargs=-1, required=True)
@click.option("--from", "source", required=True, metavar="WHERE", help='Manual, year and page: "manual 1974, page 41".')
@click.pass_obj
def set_figure(desk: Desk, job: str, item: str, figure: tuple[str, ...], source: str) -> int:
    """Write down what the manual of a JOB's bike gives.

    ITEM is a value such as points_gap; FIGURE is what the manual says: 0.3 to 0.4 mm, 0.35 mm +/- 0.05,
    "at least 120 psi", "max 0.3 mm". See which there are with: diagnose sheet items
    """
    from diagnose.consultation import resume
    from diagnose.consultation.sheet import from_manual
    from diagnose.consultation.state import entry_of

    known, page = desk.knowledge(), desk.page()
    event = from_manual(entry_of("value of the sheet", known.quantities, item), " ".join(figure), source)
    with desk.store() as store, store.hold(job):
        _written(store, job, resume(known, store.events(job)), [event])
    page.show(page.wrapped(f"{known.quantities[item].name}: {event.body['text']} ({source})"))
    return 0


@sheet.command()
@click.argument("word", required=False, default="")
@click.pass_obj
def items(desk: Desk, word: str) -> int:
    """List the values a sheet can have, or those with a WORD in them."""
    known, page = desk.knowledge(), desk.page()
    group = ""
    for item in known.quantities.values():
        if word.casefold() not in f"{item.id} {item.name}".casefold():
            continue
        if item.group != group:
            group = item.group
            page.show(page.wrapped(group.capitalize(), "", "bold"))
        page.show(page.wrapped(f"{item.id}: {item.name}{f', {item.unit}' if item.unit else ''}", "  ", rest="    "))
    if not group:
        click.echo(f'No value has "{word}" in it. List all with: diagnose sheet items', err=True)
    return 0


@sheet.command()
@click.argument("name")
@click.pass_obj
def export(desk: Desk, name: str) -> int:
    """Print the kept sheet NAME as a YAML file, to be handed on."""
    from diagnose.reading.sheets import sheet_yaml

    with desk.store() as store:
        kept: KeptSheet = store.sheets.get(name)
    click.echo(sheet_yaml(kept.name, kept.figures), nl=False)
    return 0


@sheet.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--as", "name", metavar="NAME", default="", help="Another name than the file gives.")
@click.option("--replace", is_flag=True, help="In place of one that is kept under that name.")
@click.pass_obj
def import_sheet(desk: Desk, file: Path, name: str, replace: bool) -> int:
    """Keep the sheet of a YAML FILE as `export` prints it."""
    from diagnose.reading.sheets import read_sheet

    read = read_sheet(file, desk.knowledge())
    with desk.store() as store:
        kept = store.sheets.keep(name or read.name, read.figures, replace=replace)
    click.echo(f"Kept: {kept.name}, {_counted(len(kept.figures))}.")
    return 0


def _written(store: Store, job: str, now: Consultation, events: Sequence[Event]) -> None:
    """Write events at the end of a job, all checked before the first is written. Raises JobError."""
    before = len(now.events)
    for event in events:
        now = now.add(event)
    for number, event in enumerate(events, start=before + 1):
        store.append(job, event, number)


def _counted(figures: int) -> str:
    """Return how many figures, in words."""
    return f"{figures} figure{'' if figures == 1 else 's'}"
