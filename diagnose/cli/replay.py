"""`diagnose replay` and `diagnose demo`: a scripted job walked through without questions."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from diagnose.consultation import Consultation, Reason
    from diagnose.events import Event
    from diagnose.planning.steps import Step
    from diagnose.reading.script import Script
    from diagnose.terminal.page import Page

SCHEMA = 1
DEMO_CAUSES = 3
AS_GOOD = 0.8
"""A step that brings at least this share of what the best brings for the same money is called about as good."""

HOW_TO_START = (
    "That was an invented bike. To begin with your own, type:  diagnose",
    "Stop whenever you like; the same word goes on where you were.",
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="All figures after every step, for programs.")
@click.pass_obj
def replay(desk: Desk, file: Path, as_json: bool) -> int:
    """Walk through a scripted job and print its account."""
    script, walked = walk(desk, file)
    if as_json:
        click.echo(json.dumps(document(file, script, walked), ensure_ascii=False, indent=1))
        return 0
    _print_account(desk, walked[-1][1])
    _print_confirmed(desk, script, walked[-1][1])
    return 0


@click.command()
@click.pass_obj
def demo(desk: Desk) -> int:
    """Watch a whole job of an invented bike."""
    from diagnose.reading.files import shipped_folder

    script, walked = walk(desk, shipped_folder() / "demo" / "first_job.yaml")
    page = desk.page()
    for (_, before), (event, after) in pairwise(walked):
        show_step(page, before, event, after)
    closed = _closed(walked[-1][1], script.confirmed)
    click.echo()
    page.show(page.wrapped("The job is finished. What its owner is given to read:", "", "bold"))
    click.echo()
    _print_account(desk, closed)
    click.echo()
    for line in HOW_TO_START:
        page.show(page.wrapped(line))
    return 0


def _closed(job: Consultation, confirmed: Sequence[str]) -> Consultation:
    """Return the job closed with what it turned out to be; what was seen to be bad is said to be seen."""
    from diagnose.consultation import close_job

    seen = {cause for done in job.state.repairs for cause, looked in done.found.items() if looked == "broken"}
    return job.add(close_job({cause: "seen" if cause in seen else "replaced_with_others" for cause in confirmed}))


def _print_account(desk: Desk, consultation: Consultation) -> None:
    from diagnose.report.text import as_text
    from diagnose.report.trail import trail

    click.echo(as_text(trail(consultation), desk.page().width))


def _print_confirmed(desk: Desk, script: Script, consultation: Consultation) -> None:
    """Print what the script says it turned out to be."""
    page, causes = desk.page(), consultation.knowledge.causes
    names = [causes[cause].name if cause in causes else "something else" for cause in script.confirmed]
    if names:
        page.show(page.wrapped(f"It turned out to be: {'; '.join(names)}."))


def walk(desk: Desk, file: Path) -> tuple[Script, list[tuple[Event, Consultation]]]:
    """Return a scripted job and how it stands after each of its events.

    Raises:
        KnowledgeError: the file holds mistakes.
        JobError: a step cannot be taken; the message names its place.
    """
    from diagnose.consultation import played
    from diagnose.problems import DiagnoseError, JobError
    from diagnose.reading.script import read_script

    known = desk.knowledge()
    script = read_script(file, known)
    walked: list[tuple[Event, Consultation]] = []
    steps = played(known, script.events)
    for place in script.places:
        try:
            walked.append(next(steps))
        except DiagnoseError as error:
            raise JobError(f"{place}: {error}") from error
    return script, walked


def document(file: Path, script: Script, walked: list[tuple[Event, Consultation]]) -> dict[str, Any]:
    """Return everything after every step as one value that JSON can hold. Money in the shop's currency."""
    return {
        "schema": SCHEMA,
        "file": str(file),
        "title": script.title,
        "knowledge": walked[0][1].knowledge.version,
        "confirmed": list(script.confirmed),
        "steps": [
            {"number": number, "event": event.kind, "body": dict(event.body), **figures(after)}
            for number, (event, after) in enumerate(walked)
        ],
    }


def figures(consultation: Consultation) -> dict[str, Any]:
    """Return the figures of a job as it stands."""
    from diagnose.terminal.cards import steps_of
    from diagnose.terminal.views import board, standing_so

    now = board(consultation)
    free, locked = steps_of(consultation)
    return {
        "causes": [
            {"id": one.id, "name": one.name, "probability": one.now, "not_in_the_book": one.beyond}
            for one in now.likely
        ],
        "next": _step(free[0]) | {"why": _why(consultation.reason(free[0]))} if free else None,
        "locked": [{"kind": step.kind, "id": step.id, "because": list(step.forbidden)} for step in locked],
        "cost_left": now.cost_left,
        "minutes_left": now.minutes_left,
        "worth": _worth(consultation),
        "conflict": now.doubt or None,
        "out_of_date": sorted(consultation.out_of_date),
        "waiting": [{"kind": kind, "id": work} for kind, work in consultation.state.waiting],
        "out_of_reach": [{"id": one.work.id, "tools": list(one.tools)} for one in consultation.out_of_reach],
        "bike_now": standing_so(consultation),
        "reckoned_apart": list(now.apart),
        "done": now.done,
    }


def _worth(consultation: Consultation) -> dict[str, Any] | None:
    """Return what it may still cost and what could break the owner's limit; None once it is done."""
    if consultation.done:
        return None
    now = consultation.worth
    return {
        "running": now.limit.running,
        "ceiling": now.limit.ceiling,
        "spent": now.spent,
        "half": now.spread.at(0.5),
        "nine_in_ten": now.spread.at(0.9),
        "mean": now.spread.mean,
        "ceiling_holds": now.kept if now.limit.ceiling is not None else None,
        "hand_on": now.hand_on,
        "best": now.best,
        "first": now.first or None,
        "job_enders": [
            {"id": one.cause, "probability": one.chance, "price": one.price, "test": one.test or None}
            for one in now.enders
        ],
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "kind": step.kind,
        "id": step.id,
        "minutes": step.minutes,
        "wait": step.wait,
        "cost": step.cost,
        "expected": step.expected,
        "saves": step.saves,
        "merit": step.merit,
        "outcomes": dict(step.outcomes),
        "curing": step.curing if step.kind == "repair" else None,
    }


def _why(reason: Reason) -> dict[str, Any]:
    """Return why a step, in figures; money in the shop's currency."""
    other = reason.runner_up
    return {
        "tells_apart": [list(group) for group in reason.tells],
        "outcomes": [
            {
                "id": then.outcome,
                "chance": then.chance,
                "likeliest": {"id": then.cause, "probability": then.probability},
                "moves": {"id": then.moved, "before": then.before, "after": then.after},
            }
            for then in reason.then
        ],
        "cures": [{"id": cause, "probability": p} for cause, p in reason.cures],
        "look_first": reason.look.id if reason.look else None,
        "open_already": list(reason.at_hand),
        "unlocks": {"kind": reason.unlocks.kind, "id": reason.unlocks.id} if reason.unlocks else None,
        "runner_up": None
        if other is None
        else {"kind": other.step.kind, "id": other.step.id, "dearer": other.dearer, "saves_less": other.saves_less},
    }


def show_step(page: Page, before: Consultation, event: Event, after: Consultation) -> None:
    """Print a step as the mechanic sees it, shortened: what is likely, the proposal, what came of it."""
    from diagnose.consultation import OFF_LIST
    from diagnose.terminal.cards import card, steps_of
    from diagnose.terminal.screens import board_lines, changed_lines
    from diagnose.terminal.views import board, likely, said

    told = page.wrapped(said(before.knowledge, event), "> ", "bold", rest="  ")
    if event.kind not in ("observe", "repair", "reconnect", *OFF_LIST):
        page.show(told)
        return
    page.show(board_lines(page, board(before), DEMO_CAUSES))
    free, _ = steps_of(before)
    if free:
        page.show(page.wrapped(f"DO NEXT: {card(before, free[0]).name}", "", "bold", rest="  "))
        if instead := _instead(free, event):
            page.show(page.wrapped(instead))
    page.show(told)
    page.show(changed_lines(page, likely(before), likely(after)))


def _instead(free: Sequence[Step], event: Event) -> str:
    """Return what is said of a step that was not the proposed one; empty where it was."""
    did = event.body.get("test") or event.body.get("repair")
    if free[0].id == did:
        return ""
    chosen = next((step for step in free if step.id == did), None)
    near = chosen is not None and chosen.merit >= free[0].merit * AS_GOOD
    return "He did another that is about as good instead:" if near else "He did something else instead:"
