"""How chances, times and amounts are said, the same on screens and in the account for the owner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from diagnose.model import Knowledge


def per_cent(share: float) -> str:
    """Return a probability as a mechanic reads it.

    >>> per_cent(0.484), per_cent(0.004), per_cent(0.998)
    ('48 %', 'under 1 %', 'over 99 %')
    """
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"


def minutes(amount: float) -> str:
    """Return a time.

    >>> minutes(0), minutes(12.4), minutes(95), minutes(120)
    ('no time', '12 min', '1 h 35', '2 h')
    """
    whole = round(amount)
    if whole < 1:
        return "no time" if amount <= 0 else "1 min"
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{whole} min"
    return f"{hours} h {rest:02d}" if rest else f"{hours} h"


def waiting(amount: float) -> str:
    """Return a time that passes by itself; long ones in days and nights.

    >>> waiting(15), waiting(600), waiting(4320)
    ('15 min', '10 h', '3 days')
    """
    return f"{amount / 1440:.0f} days" if amount >= 2880 else minutes(amount)


def money(amount: float, currency: str) -> str:
    """Return an amount in the shop's currency, which may have no name.

    >>> money(12.4, ""), money(12.4, "EUR"), money(0.2, "EUR")
    ('12', '12 EUR', '0 EUR')
    """
    return f"{amount:.0f} {currency}".strip()


MONTHS = "January February March April May June July August September October November December"


def day(iso: str, *, short: bool = False) -> str:
    """Return a date as people say it; short: without the year.

    >>> day("2026-11-05"), day("2026-11-05", short=True)
    ('5 November 2026', '5 Nov')
    """
    year, month, number = (int(part) for part in iso.split("-"))
    name = MONTHS.split()[month - 1]
    return f"{number} {name[:3]}" if short else f"{number} {name} {year}"


def told_late(repair: str) -> str:
    """Return what follows a result that was told after a repair but seen before it; nothing for no repair.

    >>> told_late("New plug")
    ' (seen before: New plug)'
    """
    return f" (seen before: {repair})" if repair else ""


def limit_said(limit: Mapping[str, float | None], currency: str = "") -> str:
    """Return what the owner says of money.

    >>> limit_said({"ceiling": 250.0, "running": 400.0})
    'The owner on money: at most 250; worth 400 when it runs'
    >>> limit_said({"ceiling": None, "running": None})
    'The owner on money: no limit'
    """
    ceiling, running = limit.get("ceiling"), limit.get("running")
    said = [f"at most {money(ceiling, currency)}"] if ceiling is not None else []
    said += [f"worth {money(running, currency)} when it runs"] if running is not None else []
    return f"The owner on money: {'; '.join(said) or 'no limit'}"


def told_apart(groups: Sequence[Sequence[str]]) -> str:
    """Return which causes a test tells apart; names of one group are not told from each other.

    >>> told_apart([["Coil dead", "CDI dead"], ["Jet blocked"]])
    'tells apart: coil dead or CDI dead - jet blocked'
    >>> told_apart([["Coil dead"]]), told_apart([])
    ('shows whether it is this: coil dead', '')
    """
    if not groups:
        return ""
    first, *rest = [" or ".join(in_a_sentence(name) for name in group) for group in groups]
    return f"tells apart: {' - '.join((first, *rest))}" if rest else f"shows whether it is this: {first}"


def in_a_sentence(name: str) -> str:
    """Return a name as it stands inside a sentence: no capital, unless it is written in capitals.

    >>> in_a_sentence("Coil dead"), in_a_sentence("CDI dead")
    ('coil dead', 'CDI dead')
    """
    return name[:1].lower() + name[1:] if name[1:2].islower() else name


def on_sheet(known: Knowledge, body: Mapping[str, Any], what: str) -> str:
    """Return what an event says of a value of the sheet; what: manual, as found or as set."""
    item = known.quantities[body["item"]]
    side = f", {body['side']}" if body.get("side") else ""
    text = item.choices.get(str(body["text"]), str(body["text"]))
    degrees = body.get("temperature_C")
    more = [str(body[key]) for key in ("source", "instrument") if body.get(key)]
    more += [] if degrees is None else [f"at {degrees:g} C"]
    beside = f" ({', '.join(more)})" if more else ""
    return f"{item.name}{side}, {what}: {text}{beside}"
