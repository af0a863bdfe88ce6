"""What the money of a job looks like on the screen: one line at a step, more under More, and the round of repairs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from math import inf
from typing import TYPE_CHECKING, Any

from diagnose.planning.steps import Step
from diagnose.terminal.page import Line, Page
from diagnose.wording import limit_said, money, per_cent

if TYPE_CHECKING:  # the real import is heavy and waits until the first answers are being given
    from diagnose.consultation import Consultation
    from diagnose.planning.bundle import AtOnce, Bundle, Due

SAFE, LIKELIER = 0.9, 0.5
"""A limit that holds at least so surely is not spoken of; less surely than the second, it likelier breaks."""

HARDLY = 0.5
"""Money that is not seen when amounts are rounded."""

HALF, NINE_IN_TEN = 0.5, 0.9
MOST_ENDERS, LEAST_NAMED = 5, 0.01
WAYS = {"do": "Do it", "look": "Look first", "leave": "Leave it"}


def board_lines(page: Page, consultation: Consultation) -> list[Line]:
    """Return what there is to say of money at a step; nothing where the limit is safe or nobody set one."""
    if consultation.done or not consultation.watches_money:
        return []
    now, begun = consultation.worth, bool(consultation.state.seen)
    lines = []
    if now.limit.ceiling is not None and (now.kept < SAFE or not begun):
        lines += page.wrapped(f"{_spread(consultation)} {_ceiling(consultation)}", rest="  ")
    elif now.limit.running is not None and (now.spread.within(now.limit.running) < SAFE or not begun):
        lines += page.wrapped(f"{_spread(consultation)} {_running(consultation)}", rest="  ")
    elif now.best != "go_on":
        lines += page.wrapped(_spread(consultation), rest="  ")
    if now.best != "go_on":
        lines += page.wrapped(_end(consultation), "! ", "warn")
    return lines


def _money(consultation: Consultation, amount: float) -> str:
    return money(amount, consultation.state.shop.currency)


def _spread(consultation: Consultation) -> str:
    now = consultation.worth
    half, most = (_money(consultation, now.spread.at(share)) for share in (HALF, NINE_IN_TEN))
    spent = f"Spent {_money(consultation, now.spent)}."
    if half == most:
        return f"{spent} Of 100 such bikes more than 50 take {half} more and are handed on in the end."
    return f"{spent} Of 100 such bikes 50 take under {half} more, 90 under {most}."


def _ceiling(consultation: Consultation) -> str:
    now = consultation.worth
    ceiling = f"Ceiling {_money(consultation, now.limit.ceiling or 0.0)}"
    if not now.left:
        return f"{ceiling}: reached. Ask the owner before anything more."
    if now.kept >= SAFE:
        return f"{ceiling}: it should hold."
    says = "in danger" if now.kept >= LIKELIER else "it will more likely break than hold"
    return f"{ceiling}: {says} (holds: {per_cent(now.kept)})."


def _running(consultation: Consultation) -> str:
    now = consultation.worth
    value = now.limit.running or 0.0
    return (
        f"Worth {_money(consultation, value)} when it runs: it stays below with {per_cent(now.spread.within(value))}."
    )


def _end(consultation: Consultation) -> str:
    """Return the end that is cheapest, what it costs, and where it is done."""
    now = consultation.worth
    if now.best == "hand_on":
        return f"Cheapest now: hand it on{price_of_handing_on(consultation)}: m, Finish the job. Or go on below."
    if now.left is not None and now.left <= (now.limit.running if now.limit.running is not None else now.left):
        because = f"is left of the ceiling ({_money(consultation, now.left)})"
    else:
        because = f"it is worth running ({_money(consultation, now.limit.running or 0.0)})"
    return f"Cheapest now: stop here. More would likely cost more than {because}. Ask the owner; or m, Finish the job."


def price_of_handing_on(consultation: Consultation) -> str:
    """Return the price of handing on, and that it is only taken so where the shop does not state its own."""
    stated = "" if consultation.state.shop.service is not None else ", taken as a day's work"
    return f" (about {_money(consultation, consultation.worth.hand_on)}{stated})"


def first_lines(page: Page, consultation: Consultation, step: Step) -> list[Line]:
    """Return why a step goes before all others, where it is the test for a job-ender; else nothing."""
    now = consultation.worth
    if step.kind != "test" or not now.first or step.id != now.first or now.cut_off == inf:
        return []
    every = [one for one in now.enders if one.test == step.id]
    named = [one for one in every if one.chance >= LEAST_NAMED] or every[:1]
    what = " or ".join(f"{one.name} ({per_cent(one.chance)})" for one in named)
    price = _money(consultation, min(one.price for one in named))
    says = f"Before anything else is spent, is it this: {what}? To put that right alone costs {price} or more;"
    return [Line(""), *page.wrapped(f"{says} {_cut_off(consultation)}.", "", "bold", rest="  ")]


def _cut_off(consultation: Consultation) -> str:
    now = consultation.worth
    amount = _money(consultation, now.cut_off)
    return f"{amount} is left of the ceiling" if now.left is not None else f"it is worth {amount} when it runs"


def full_lines(page: Page, consultation: Consultation) -> list[Line]:
    """Return all there is to say: the spread, the limit, the ends and their prices, and what would break the limit."""
    now = consultation.worth
    limit = limit_said(asdict(now.limit), consultation.state.shop.currency)
    lines = [Line(""), *page.wrapped(f"{limit}.", "", "bold", rest="  ")]
    lines += page.wrapped(f"{_spread(consultation)} On average {_money(consultation, now.spread.mean)} more.", "  ")
    if now.limit.ceiling is not None:
        lines += page.wrapped(_ceiling(consultation), "  ")
    if now.limit.running is not None:
        lines += page.wrapped(_running(consultation), "  ")
    lines += page.wrapped(f"Handing it on to a specialist{price_of_handing_on(consultation)}.", "  ")
    if now.best != "go_on":
        lines += page.wrapped(_end(consultation), "  ! ", "warn")
    return [*lines, *_ender_lines(page, consultation)]


def _ender_lines(page: Page, consultation: Consultation) -> Iterator[Line]:
    now, known = consultation.worth, consultation.knowledge.tests
    if not now.enders:
        return
    yield from page.wrapped(
        f"What would break it by itself, and how likely it stops the bike ({_cut_off(consultation)}):", "  "
    )
    for one in now.enders[:MOST_ENDERS]:
        says = f"{one.name} ({per_cent(one.chance)}): {_money(consultation, one.price)}."
        test = f"{known[one.test].name} ({_money(consultation, one.cost)}) shows it." if one.test else ""
        yield from page.wrapped(f"{says} {test or 'No test on the list shows it by itself.'}", "  - ")


def reckoned(consultation: Consultation) -> dict[str, Any]:
    """Return what the account keeps of the reckoning when a job ends without a bike that goes."""
    spread = consultation.worth.spread
    return {"reckoned": {"half": spread.at(HALF), "nine_in_ten": spread.at(NINE_IN_TEN)}}


def round_lines(page: Page, consultation: Consultation) -> list[Line]:
    """Return the repairs of the round: done blindly, looked at first or left, by what is open; and the sums."""
    found = consultation.round_of_repairs
    if not found.due:
        return []
    lines = [Line(""), *page.wrapped("The repairs among them, by money:", "", "bold")]
    reached = consultation.state.opened | set(found.opens)
    groups = dict.fromkeys(one.access for one in found.due)
    for access in sorted(groups, key=lambda access: (not set(access) <= reached, bool(access))):
        lines += page.wrapped(_behind(consultation, found, access), "  ", rest="    ")
        for one in found.due:
            if one.access == access:
                lines += page.wrapped(_due(consultation, one), "  - ")
    return [*lines, *_sums(page, consultation, found)]


def _behind(consultation: Consultation, found: Bundle, access: tuple[str, ...]) -> str:
    """Return what a group of the round lies behind, and what it costs to open and shut that."""
    price = _money(consultation, max(one.opening for one in found.due if one.access == access))
    names = " and ".join(consultation.knowledge.access[one].name for one in access)
    if not access:
        return "With nothing off:"
    if set(access) <= consultation.state.opened:
        return f"{names} - off already:"
    if set(access) <= set(found.opens):
        return f"{names} - worth the {price} of opening, once for all:"
    return f"{names} - not worth the {price} of opening:"


def _due(consultation: Consultation, one: Due) -> str:
    name = consultation.knowledge.repairs[one.id].name
    ways = [f"doing it costs {_money(consultation, one.do)}"]
    if one.look is not None:
        ways.append(f"looking first {_money(consultation, one.look)}")
    ways.append(f"leaving it {_money(consultation, one.leave)}")
    return f"{WAYS[one.way]}: {name}. Wanted: {per_cent(one.present)}; {', '.join(ways)}."


def _sums(page: Page, consultation: Consultation, found: Bundle) -> Iterator[Line]:
    """Give what it comes to: all of it at once, only what is to be done, and going on step by step."""
    yield from page.wrapped("Until it runs, on average:", "  ")
    yield from page.wrapped(_at_once(consultation, "All of these at once", found.every), "  - ")
    if 0.0 < found.marked.money < found.every.money:
        yield from page.wrapped(_at_once(consultation, "Only what says do it", found.marked), "  - ")
    hand_on = consultation.worth.hand_on
    without = (
        "Step by step, testing first" if found.without < hand_on - HARDLY else "Step by step no less than handing on"
    )
    yield from page.wrapped(f"{without}: {_money(consultation, found.without)}.", "  - ")


def _at_once(consultation: Consultation, what: str, sum_of: AtOnce) -> str:
    parts = f"{_money(consultation, sum_of.money)} now, {_money(consultation, sum_of.after)} after"
    return f"{what}: {_money(consultation, sum_of.total)} ({parts})."
