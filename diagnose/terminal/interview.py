"""The interview: intake, then one step after another; each answer is on disk before the next question."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from diagnose.model import Repair, Test
from diagnose.planning.steps import Step
from diagnose.problems import DiagnoseError, ImpossibleEvidence
from diagnose.terminal import cards, reasons, screens, views, worth
from diagnose.terminal.answers import closing, more, moves, others
from diagnose.terminal.asking.asker import AskerError, Choice
from diagnose.terminal.bench import Bench, load_engine, patience
from diagnose.terminal.intake import STOP, choose_complaints, fact_sheet, intake, tools_lacking
from diagnose.terminal.page import Line
from diagnose.terminal.views import AGAIN, LEAVE

READING, DONE = "reading", "did_it"
LONG_WAIT = 10.0
"""From so many minutes of waiting on something else is offered meanwhile."""

PUT_BACK_ENTRIES = (
    Choice("put_back", "It is back on"),
    Choice("accept", "Start it so: I can stop it another way", "a"),
)
STEP_ENTRIES = (
    Choice("not_sure", "Not sure what I saw", "n"),
    Choice("cannot", "Cannot do it", "c"),
    Choice("others", "Show other steps", "s"),
    Choice("more", "More (w why, r repair, t start, u undo)", "m"),
    Choice(STOP, "Stop for today", "q"),
    *(replace(entry, hidden=True) for entry in more.AT_ONCE),
)
"""What a step can be answered with besides its outcomes; few lines, so that the step itself stays in sight."""


def run(bench: Bench) -> None:
    """Lead through a job until it is closed or the user stops. Raises Stopped on Ctrl-C and Ctrl-D."""
    loading, taken_up = load_engine(), len(bench.events) > 1
    if lacking := tools_lacking(bench.events):
        says = f"Not at hand here: {', '.join(lacking)}. More, Tools I have not got, changes it."
        bench.page.show(bench.page.wrapped(says))
    if not intake(bench):
        return
    loading.join()
    if taken_up:
        bench.page.show(fact_sheet(bench))
    chosen: Step | None = None
    while True:
        if not views.complaint_known(bench.consultation) and not _complaint_again(bench):
            return
        try:
            result = one_step(bench, chosen)
        except AskerError:
            raise
        except DiagnoseError as error:
            result = _stuck(bench, error)
        if result == LEAVE or bench.events[-1].kind == "close_job":
            return
        chosen = result if isinstance(result, Step) else None


def _complaint_again(bench: Bench) -> bool:
    """Ask for the complaint once more after it was taken back; False: stop for today."""
    chosen = choose_complaints(bench)
    if chosen:
        bench.record("complaint", chosen)
    return bool(chosen)


def _stuck(bench: Bench, error: DiagnoseError) -> str:
    """Show what cannot be worked out and ask how to go on; undoing is always possible."""
    moves.warn(bench, str(error))
    rows = (
        Choice("undo", "Undo the last step", "u"),
        Choice("finish", "Finish the job", "f"),
        Choice(STOP, "Stop for today", "q"),
    )
    answer = bench.asker.choose("stuck", "What now?", rows)
    if answer == "finish":
        return closing.close(bench, done=False)
    return moves.undo(bench) if answer == "undo" else LEAVE


def one_step(bench: Bench, chosen: Step | None) -> Step | str:
    """Show where the job stands and one step, take the answer; return the step to show next, if chosen."""
    with patience():
        board = views.board(bench.consultation)
        free, _ = cards.steps_of(bench.consultation)
    if chosen is None:
        bench.page.show([*screens.board_lines(bench.page, board), *worth.board_lines(bench.page, bench.consultation)])
    if board.done:
        bench.page.show([Line("It does what the job asks.", "bold")])
        return closing.close(bench, done=True)
    if chosen is None and views.ran_well(bench.consultation):
        result = closing.ran_well(bench)
        if result is not None:
            return result
    step = chosen or (free[0] if free else None) or _what_waits(bench)
    if step is None:
        bench.page.show([Line("There is nothing left in the book for this bike.", "bold")])
        return closing.close(bench, done=False)
    card = cards.card(bench.consultation, step)
    with patience():
        reason = bench.consultation.reason(step)
    heading = "DO NEXT"
    if board.waiting:
        heading = "WAITING" if cards.waits(bench.consultation, step) else "WHILE IT WAITS"
    first = worth.first_lines(bench.page, bench.consultation, step)
    why = reasons.short(bench.consultation, reason)
    bench.page.show([*first, *screens.card_lines(bench.page, card, why, heading)])
    bench.foresee(step, cards.work_of(bench.consultation, step))
    return ask_step(bench, card)


def _what_waits(bench: Bench) -> Step | None:
    """Return what waits as a step, where nothing else can be done meanwhile."""
    for kind, work in views.waiting(bench.consultation)[:1]:
        bench.page.show(bench.page.wrapped("There is nothing to do beside it until the waiting is over."))
        return cards.waiting_step(bench.consultation, kind, work.id)
    return None


def ask_step(bench: Bench, card: cards.Card) -> Step | str:
    """Ask what came of the step, answering side questions in between."""
    work, written = cards.work_of(bench.consultation, card.step), len(bench.events)
    while True:
        answer = bench.asker.choose(f"step.{card.step.id}", _question(card), _choices(bench, card, work))
        if answer == STOP:
            return LEAVE
        try:
            result = _answered(bench, card, work.id, answer)
        except (AskerError, ImpossibleEvidence):
            raise
        except DiagnoseError as error:
            if len(bench.events) > written:  # it is on disk: what it means is for the next screen to say
                raise
            moves.warn(bench, str(error))
            continue
        if result is not None:
            return result


def _question(card: cards.Card) -> str:
    return card.ask or ("What did you find?" if card.step.kind in ("test", "try_out") else "Done?")


def _choices(bench: Bench, card: cards.Card, work: Test | Repair) -> list[Choice]:
    """Return what can be answered: the outcomes first, then what waits, then the fixed entries."""
    waits = _waiting(bench, card, work)
    if card.step.kind == "reconnect" or not isinstance(work, Test):
        first = PUT_BACK_ENTRIES if card.step.kind == "reconnect" else (Choice(DONE, "Done"),)
        return [*first, *waits, *(one for one in STEP_ENTRIES if one.value not in ("not_sure", "cannot"))]
    rows = [Choice(f"outcome.{outcome.id}", outcome.name) for outcome in cards.outcomes_of(work)]
    if work.reading is not None:
        rows.insert(0, Choice(READING, f"Type in the reading ({views.asked_in(work.reading)})"))
    left_out = ("try",) if work.id == views.TRY_OUT else ()
    return [*rows, *waits, *(one for one in STEP_ENTRIES if one.value not in left_out)]


def _waiting(bench: Bench, card: cards.Card, work: Test | Repair) -> list[Choice]:
    """Return what can be answered about waiting: begun by now, or over for something else."""
    rows = [
        Choice(f"over.{kind}.{other.id}", f"The waiting is over: {other.name}")
        for kind, other in views.waiting(bench.consultation)
        if other.id != work.id
    ]
    if card.step.wait - card.first_wait >= LONG_WAIT:
        rows.insert(0, Choice("started", "Begun - show me what to do while it waits"))
    return rows


def _answered(bench: Bench, card: cards.Card, work_id: str, answer: str) -> Step | str | None:
    """Act on an answer; None asks the same again."""
    if answer.startswith("outcome."):
        moves.saw(bench, work_id, answer.removeprefix("outcome."))
        return AGAIN
    if answer.startswith("over."):
        _, kind, waited = answer.split(".", 2)
        return cards.waiting_step(bench.consultation, kind, waited)
    actions: dict[str, Callable[[], Step | str | None]] = {
        "started": lambda: moves.started(bench, card),
        READING: lambda: moves.measured(bench, work_id),
        DONE: lambda: moves.repaired(bench, card.step.id),
        "put_back": lambda: moves.plugged(bench, "reconnect", work_id),
        "accept": lambda: moves.plugged(bench, "accept", work_id),
        "not_sure": lambda: moves.not_sure(bench, work_id),
        "cannot": lambda: moves.cannot(bench, card),
        "others": lambda: others.other_steps(bench, card),
        "why": lambda: moves.why(bench, card),
        "repaired": lambda: moves.choose_repair(bench),
        "try": lambda: others.try_out(bench),
        "more": lambda: _more(bench, card, work_id),
        "undo": lambda: moves.undo(bench),
    }
    return actions[answer]()


def _more(bench: Bench, card: cards.Card, work_id: str) -> Step | str | None:
    """Ask which of the rarer things is wanted and do it."""
    left_out = ("try",) if work_id == views.TRY_OUT else ()
    answer = bench.asker.choose("more", "What else?", [one for one in more.ENTRIES if one.value not in left_out])
    if answer in {entry.value for entry in more.AT_ONCE}:
        return _answered(bench, card, work_id, answer)
    return more.act(bench, answer)
