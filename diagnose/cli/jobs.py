"""`diagnose jobs` and `diagnose trail`: what is on the list, and the account of one job."""

from __future__ import annotations

import json

import click

from diagnose.cli.desk import Desk


@click.group(invoke_without_command=True)
@click.pass_context
def jobs(context: click.Context) -> int:
    """List the jobs, or show one."""
    return 0 if context.invoked_subcommand else _list(context.obj, as_json=False)


@jobs.command("list")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@click.pass_obj
def list_jobs(desk: Desk, as_json: bool) -> int:
    """List all jobs, the newest first."""
    return _list(desk, as_json)


def _list(desk: Desk, as_json: bool) -> int:
    with desk.store() as store:
        lines = list(reversed(store.jobs()))
    if as_json:
        rows = [
            {
                "id": line.id,
                "title": line.title,
                "opened_at": line.opened_at,
                "closed_at": line.closed_at or None,
                "events": line.events,
            }
            for line in lines
        ]
        click.echo(json.dumps({"schema": 1, "jobs": rows}, ensure_ascii=False, indent=1))
        return 0
    if not lines:
        click.echo("No jobs yet. Begin one with: diagnose", err=True)
    for line in lines:
        state = f"finished {line.closed_at[:10]}" if line.closed_at else "open"
        click.echo(f"{line.id}  {line.opened_at[:10]}  {state:<19}  {line.title}")
    return 0


@jobs.command()
@click.argument("job")
@click.option("--json", "as_json", is_flag=True, help="For programs: the events of the job.")
@click.option("--board", "only_sheet", is_flag=True, help="Only the bike's figures, as a page to hang by it.")
@click.pass_obj
def show(desk: Desk, job: str, as_json: bool, only_sheet: bool) -> int:
    """Show where a job stands.

    With --board only the figures of the bike, to be printed: diagnose jobs show 261126-1 --board
    """
    with desk.store() as store:
        events = store.events(job)
    if as_json:
        rows = [{"kind": event.kind, "body": dict(event.body), "at": event.at} for event in events]
        click.echo(json.dumps({"schema": 1, "job": job, "events": rows}, ensure_ascii=False, indent=1))
        return 0
    from diagnose.consultation import resume
    from diagnose.terminal.cards import card, steps_of
    from diagnose.terminal.reasons import short
    from diagnose.terminal.screens import board_lines, card_lines
    from diagnose.terminal.sheet import board_page, sheet_lines
    from diagnose.terminal.views import board

    page, consultation = desk.page(), resume(desk.knowledge(), events)
    if only_sheet:
        page.show(board_page(page, job, consultation))
        if not sheet_lines(page, consultation):
            says = f"Nothing is on it yet. Begin with: diagnose sheet set {job} points_gap 0.3 to 0.4 mm --from PAGE"
            click.echo(says, err=True)
        return 0
    page.show(board_lines(page, board(consultation)))
    page.show(sheet_lines(page, consultation))
    if consultation.done:
        click.echo("Finished." if consultation.state.closed else "It does what the job asks.")
        return 0
    for step in steps_of(consultation)[0][:1]:
        page.show(card_lines(page, card(consultation, step), short(consultation, consultation.reason(step))))
    return 0


@click.command()
@click.argument("job")
@click.pass_obj
def trail(desk: Desk, job: str) -> int:
    """Print the account of a job for the owner of the bike."""
    from diagnose.consultation import resume
    from diagnose.report.text import as_text
    from diagnose.report.trail import trail as account

    with desk.store() as store:
        events = store.events(job)
    page = desk.page()
    click.echo(as_text(account(resume(desk.knowledge(), events)), page.width))
    return 0
