"""`diagnose check`: the mistakes in the knowledge, and what the shop's own layer changes."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.cli.desk import Desk

PARTS = (
    "facts",
    "complaints",
    "mechanisms",
    "conditions",
    "causes",
    "tests",
    "repairs",
    "access",
    "cautions",
    "quantities",
)


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.pass_obj
def check(desk: Desk, folder: Path | None) -> int:
    """Check the knowledge, or a FOLDER laid over it.

    Every mistake is shown with its file, line and column, and what to write instead.
    """
    from diagnose.reading.load import changes, load, shipped_folder

    if folder is not None and not folder.is_dir():
        raise click.BadParameter(f"{folder} is not a folder.", param_hint="FOLDER")
    shop = folder or desk.shop
    known = load(shipped_folder(), shop)
    written = {part: {entry.of or entry.id for entry in getattr(known, part).values()} for part in PARTS}
    click.echo(", ".join(f"{len(ids)} {part}" for part, ids in written.items()))
    for change in changes(shipped_folder(), shop) if shop else ():
        was = f" (was {change.old})" if change.old is not None else " (added)"
        click.echo(f"{change.place}: {change.path}: {change.new}{was}")
    click.echo("No mistakes.")
    return 0
