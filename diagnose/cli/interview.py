"""`diagnose` alone: take up an open job, or begin one."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from diagnose.cli.desk import Desk

if TYPE_CHECKING:
    from diagnose.records import Store
    from diagnose.terminal.asking.asker import Asker

NEW = "new"


def interview(desk: Desk) -> int:
    """Lead the interview; 0 when finished or stopped for today, 130 when broken off. All answers are kept."""
    from diagnose.terminal.asking.asker import Stopped
    from diagnose.terminal.bench import Bench
    from diagnose.terminal.interview import run

    knowledge, asker = desk.knowledge(), desk.asker()
    job = ""
    with desk.store() as store:
        try:
            job = choose_job(store, asker, knowledge.version)
            with store.hold(job):
                run(Bench(knowledge, store, job, asker, desk.page(), store.events(job)))
        except (Stopped, KeyboardInterrupt):
            hint = f"Job {job} is saved; go on with: diagnose" if job else "Nothing was begun."
            print(f"\nStopped. {hint}", file=sys.stderr)
            return 130
        if any(line.id == job for line in store.open_jobs()):
            print(f"Job {job} is saved; go on with: diagnose", file=sys.stderr)
    return 0


def choose_job(store: Store, asker: Asker, knowledge_version: str) -> str:
    """Ask which open job to go on with, where there is one; else begin a new one. Return its id."""
    from diagnose.terminal.asking.asker import Choice

    lines = list(reversed(store.open_jobs()))
    chosen = NEW
    if lines:
        rows = [Choice(line.id, f"{line.title} ({line.id}, {line.opened_at[:10]})") for line in lines]
        rows.append(Choice(NEW, "Another bike", "n"))
        chosen = asker.choose("job", "Go on with which bike?", rows, lines[0].id, search=len(lines) > 8)
    return begin(store, asker, knowledge_version) if chosen == NEW else chosen


def _of_last_job(store: Store) -> dict[str, Any]:
    """Return what the last job tells of the shop; nothing if it is unreadable."""
    from diagnose.problems import JobError
    from diagnose.terminal.intake import shop_told

    lines = store.jobs()
    try:
        events = store.events(lines[-1].id) if lines else ()
    except JobError:
        return {}
    return shop_told(events)


def begin(store: Store, asker: Asker, knowledge_version: str) -> str:
    """Ask for a name, create the job with it, and return its id."""
    from datetime import datetime

    from diagnose.terminal.intake import ask_title, new_intake

    now = datetime.now()
    event = new_intake(ask_title(asker, now), now, _of_last_job(store))
    job = store.create(event.body["title"], knowledge_version)
    store.append(job, event, 1)
    return job
