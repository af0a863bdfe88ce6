"""`diagnose chart`: the policy for a kind of bike and complaint as a wall chart."""

from __future__ import annotations

import os
import sys
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose import __version__
from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from diagnose.chart import Chart
    from diagnose.consultation import Consultation
    from diagnose.model import Knowledge
    from diagnose.report.chart.sheet import Sheet

HELP = """Draw a chart for the wall: what to do, step by step.

For one kind of bike and one complaint, as far as a sheet goes; it takes a minute or two. Without --out it is printed
as text.

\b
  diagnose chart --complaint not_a_cough --bike strokes=2
    --history parked=years --out chart.html
"""

FORMS = (".html", ".svg", ".txt")


def _facts(context: click.Context, option: click.Parameter, given: Sequence[str]) -> dict[str, str]:
    """Return fact -> option from words such as strokes=2."""
    found: dict[str, str] = {}
    for word in given:
        fact, equals, value = word.partition("=")
        if not (fact and equals and value):
            raise click.BadParameter(
                f'"{word}" is no fact; write it like {option.metavar}, such as {EXAMPLES[option.name or ""]}'
            )
        if found.setdefault(fact, value) != value:
            raise click.BadParameter(f"{fact} is given twice, as {found[fact]} and as {value}; leave one out")
    return found


def _form(context: click.Context, option: click.Parameter, out: Path | None) -> Path | None:
    if out is not None and out.suffix.lower() not in FORMS:
        raise click.BadParameter(f'"{out}" does not end in {", ".join(FORMS)}; write for instance chart{FORMS[0]}')
    return out


EXAMPLES = {"bike": "strokes=2", "history": "parked=years"}


@click.command(help=HELP)
@click.option("--complaint", metavar="ID", required=True, help="What it does, such as not_a_cough.")
@click.option("--bike", metavar="FACT=OPTION", multiple=True, callback=_facts, help="strokes=2; as often as needed.")
@click.option("--history", metavar="FACT=OPTION", multiple=True, callback=_facts, help="parked=years; likewise.")
@click.option("--sheet", type=click.Choice(["a4", "a3"]), default="a3", show_default=True, help="What it has to fit.")
@click.option("--out", type=click.Path(path_type=Path), callback=_form, help="FILE.html, FILE.svg or FILE.txt.")
@click.pass_obj
def chart(
    desk: Desk, complaint: str, bike: dict[str, str], history: dict[str, str], sheet: str, out: Path | None
) -> int:
    """Draw the chart, or print it."""
    from diagnose.report.chart.order import in_order
    from diagnose.report.chart.sheet import SHEETS

    job = _job(desk.knowledge(), complaint, bike, history)
    if out is not None:
        _writable(out)
    today = date.today().isoformat()
    drawn = in_order(_unrolled(job, SHEETS[sheet], today))
    if out is None:
        from diagnose.report.chart.text import as_text

        click.echo(as_text(drawn, desk.page().width, today, __version__), nl=False)
        return 0
    _write(out, _document(drawn, SHEETS[sheet], out.suffix.lower(), today))
    click.echo(f"{len(drawn.steps)} steps drawn, in {out}", err=True)
    return 0


def _job(known: Knowledge, complaint: str, bike: Mapping[str, str], history: Mapping[str, str]) -> Consultation:
    """Return the job that begins so. Raises JobError for a fact or complaint that cannot be."""
    from diagnose.consultation import begin
    from diagnose.model import may_apply
    from diagnose.problems import JobError

    _known("complaint", complaint, known.complaints)
    for kind, facts in (("bike", bike), ("history", history)):
        for fact in facts:
            is_of = known.facts[fact].kind if fact in known.facts else kind
            if is_of == "now":
                raise JobError(
                    f"{fact} is how a bike stands at the moment; a chart is for a kind of bike, leave it out"
                )
            if is_of != kind:
                raise JobError(f"{fact} is no fact of --{kind}; write --{is_of} {fact}={facts[fact]}")
            _known("fact", fact, [one.id for one in known.facts.values() if one.kind == kind])
    job = begin(known, {"bike": {**bike, **history}, "complaint": complaint})
    if not may_apply(known.complaints[complaint].applies, job.state.facts):
        others = ", ".join(c.id for c in known.complaints.values() if may_apply(c.applies, job.state.facts))
        raise JobError(f"{complaint} is no complaint of such a bike; write one of: {others}")
    return job


def _known(kind: str, word: str, ids: Collection[str]) -> None:
    """Refuse a word that is no id and near none, telling which there are; one that is near is told of by the job."""
    from difflib import get_close_matches

    from diagnose.problems import JobError

    if word not in ids and not get_close_matches(word, ids, 1, 0.5):
        raise JobError(f"there is no {kind} {word!r} in the knowledge; write one of: {', '.join(ids)}")


def _unrolled(job: Consultation, sheet: Sheet, today: str) -> Chart:
    """Return the chart as far as the sheet goes; at a terminal say how far it is."""
    from diagnose.chart.unroll import unroll
    from diagnose.report.chart.layout import layout

    shown = sys.stderr.isatty()

    def tell(steps: int) -> None:
        if shown:
            click.echo(f"\r{steps} step{'s' * (steps != 1)} on the chart ", err=True, nl=False)

    try:
        return unroll(job, lambda grown: layout(grown, sheet, today, __version__).fits, tell)
    finally:
        if shown:
            click.echo(f"\r{' ' * 30}\r", err=True, nl=False)


def _document(drawn: Chart, sheet: Sheet, form: str, today: str) -> str:
    from diagnose.report.chart.layout import layout
    from diagnose.report.chart.svg import as_html, as_svg
    from diagnose.report.chart.text import COLUMNS, as_text

    if form == ".txt":
        return as_text(drawn, COLUMNS, today, __version__)
    laid = layout(drawn, sheet, today, __version__)
    title = f"{drawn.complaint}: wall chart"
    return as_html(laid, title) if form == ".html" else as_svg(laid, title)


def _writable(out: Path) -> None:
    """Refuse before the work what could not be written after it. Raises DiagnoseError."""
    from diagnose.problems import DiagnoseError

    if out.is_dir():
        raise DiagnoseError(f"{out} is a folder; write the name of a file in it")
    if not out.parent.is_dir():
        raise DiagnoseError(f"there is no folder {out.parent}; make it first, or write another")
    if not os.access(out if out.exists() else out.parent, os.W_OK):
        raise DiagnoseError(f"{out} cannot be written; write another name, or let it be written first")


def _write(out: Path, text: str) -> None:
    from diagnose.problems import DiagnoseError

    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise DiagnoseError(f"{out} cannot be written: {error.strerror}; write another name") from error
