"""How likely each cause is before the complaint: context, history and the hidden root it grows from.

Notation: p prior of a cause, m prior of its mechanism, r odds ratio of the cause with the mechanism
on against off. p_off and p_on keep the stated marginal: m * p_on + (1 - m) * p_off = p, with
odds(p_on) = r * odds(p_off).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from math import sqrt

from diagnose.model import CONTEXTS, OR, Fact

HIGHEST = 0.97
"""No prior is raised beyond this by history."""


def by_context(prior: tuple[float, float, float], facts: Mapping[str, str], shares: Collection[float] = ()) -> float:
    """Return the prior for how long the bike stood; where that is not known, the mean of the three by their shares.

    >>> by_context((0.1, 0.2, 0.6), {"parked": "years"})
    0.6
    >>> round(by_context((0.1, 0.2, 0.6), {}), 9)
    0.3
    >>> round(by_context((0.1, 0.2, 0.6), {}, (0.5, 0.25, 0.25)), 9)
    0.25
    >>> round(by_context((0.1, 0.2, 0.6), {"parked": "year|years"}, (0.5, 0.25, 0.25)), 9)
    0.4
    """
    told = facts.get("parked", OR.join(CONTEXTS)).split(OR)
    every = shares if any(shares) else (1.0,) * len(prior)
    weights = [w if context in told else 0.0 for context, w in zip(CONTEXTS, every, strict=True)]
    weights = weights if any(weights) else list(every)
    return sum(p * w for p, w in zip(prior, weights, strict=True)) / sum(weights)


def times_odds(p: float, factor: float) -> float:
    """Return p with its odds multiplied, at most HIGHEST unless it was higher before.

    >>> round(times_odds(0.5, 3), 9)
    0.75
    """
    odds = p / (1 - p) * factor
    return min(odds / (1 + odds), max(HIGHEST, p))


def odds_factors(facts: Mapping[str, str], known: Iterable[Fact]) -> dict[str, float]:
    """Return the product of the factors that the bike's facts put on each mechanism or cause."""
    product: dict[str, float] = {}
    for fact in known:
        option = fact.options.get(facts.get(fact.id, ""))
        for target, factor in (option.odds if option else {}).items():
            product[target] = product.get(target, 1.0) * factor
    return product


def split_by_mechanism(p: float, m: float, r: float) -> tuple[float, float]:
    """Return (p_off, p_on): the cause's probability without and with its mechanism, marginal p kept.

    Args:
        p: marginal of the cause, in (0, 1).
        m: prior of the mechanism, in [0, 1].
        r: odds ratio, above 0.

    Raises:
        ValueError: a number lies outside its range.

    >>> off, on = split_by_mechanism(0.35, 0.5, 4)
    >>> round(0.5 * on + 0.5 * off, 12), round(on / (1 - on) / (off / (1 - off)), 9)
    (0.35, 4.0)
    """
    if not (0 < p < 1 and 0 <= m <= 1 and r > 0):
        raise ValueError(f"p {p}, m {m}, r {r} out of range")
    # with x = p_off: (1 - m) x + m r x / (1 + (r - 1) x) = p is a quadratic in x
    a = (1 - m) * (r - 1)
    b = 1 - m + m * r - p * (r - 1)
    off = 2 * p / (b + sqrt(b * b + 4 * a * p))  # the root that stays good where a is near 0
    return off, r * off / (1 + (r - 1) * off)
