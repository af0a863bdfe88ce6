"""What the owner says of money: asked once, shown with what it may still cost, and corrected."""

from __future__ import annotations

from diagnose.terminal import worth
from diagnose.terminal.asking.asker import BACK, Choice
from diagnose.terminal.bench import Bench, patience
from diagnose.terminal.views import AGAIN
from diagnose.units import QuantityError, parse_quantity

CEILING, RUNNING = "ceiling", "running"
ASK = {
    CEILING: "The most the owner will spend, in money",
    RUNNING: "What is it worth when it runs, in money",
}
UNSAID = ("none", "-")
"""What is typed to take a limit back."""


def ask_limit(bench: Bench) -> None:
    """Ask for the ceiling and, where there is one, for what the bike is worth running; Enter skips."""
    said: dict[str, float | None] = {}
    for name in (CEILING, RUNNING):
        amount = _ask_amount(bench, name, "(Enter: not said):")
        if amount is None:
            break
        said[name] = amount
    if said:
        bench.record("worth", said)


def _ask_amount(bench: Bench, name: str, hint: str) -> float | None:
    """Ask until it is an amount; None for an empty line."""
    while typed := bench.asker.text(f"worth.{name}", f"{ASK[name]} {hint}"):
        amount = read_amount(typed)
        if amount is not None:
            return amount
        says = f"{typed} is not read as an amount. Write a number such as 250, without a currency."
        bench.page.show(bench.page.wrapped(says, "! ", "warn"))
    return None


def read_amount(typed: str) -> float | None:
    """Return an amount of money; None where it is none.

    >>> read_amount("250"), read_amount("99,50"), read_amount("250 km"), read_amount("-3")
    (250.0, 99.5, None, None)
    """
    try:
        quantity = parse_quantity(typed)
    except QuantityError:
        return None
    return None if quantity.unit or quantity.value < 0 else quantity.value


def what_it_may_cost(bench: Bench) -> str | None:
    """Show what it may still cost and what could break the limit; ask whether that is to be changed."""
    with patience():
        bench.page.show(worth.full_lines(bench.page, bench.consultation))
    rows = (
        Choice(CEILING, "Change the most to be spent"),
        Choice(RUNNING, "Change what it is worth when it runs"),
        Choice(BACK, "Back", "b"),
    )
    chosen = bench.asker.choose("worth", "What now?", rows)
    return None if chosen == BACK else _change(bench, chosen)


def _change(bench: Bench, name: str) -> str | None:
    """Ask for one of the two anew; an empty line leaves it as it is."""
    while typed := bench.asker.text(f"worth.{name}", f"{ASK[name]} (none: no limit; Enter: as it is):"):
        amount = read_amount(typed)
        if amount is not None or typed.lower() in UNSAID:
            bench.record("worth", {name: amount})
            return AGAIN
        says = f"{typed} is not read as an amount. Write a number such as 250, or none."
        bench.page.show(bench.page.wrapped(says, "! ", "warn"))
    return None
