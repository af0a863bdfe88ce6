"""Is it worth it: what the job may still cost, what could break the owner's limit, and whether to end it sooner."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Literal

import numpy as np

from diagnose.consultation.evidence import bike_graph
from diagnose.consultation.outlook import Outlooked
from diagnose.consultation.state import Limit, State
from diagnose.inference.posterior import Posterior
from diagnose.model import Knowledge, may_apply
from diagnose.planning.bundle import Bundle, bundle
from diagnose.planning.steps import Step
from diagnose.planning.worth import Spread, enders, goes_first, spread

Way = Literal["go_on", "hand_on", "stop"]

EQUAL = 1e-6
"""Money: a difference that is rounding only."""

CLEARLY = 0.9
"""Stopping is called the cheapest if it loses at most this share of going on: the figures are no better than that."""

NEARLY = 0.9
"""Handing on is called the cheapest if going on costs at least this share of it, for of a long search too little is
expected: where 270 were, 350 came, where 330 were, 410 (24 bikes). On 70 bikes shares of 0.85, 0.9, 0.95 and 1 came to
134, 130, 133 and 144 of excess."""

A_LOOK = 0.03
"""Nothing is given up as long as a look pays that costs at most this share of an end (a choice: 73 bikes came to the
same with it and without, but nobody hands on a bike at the door that one question may clear)."""

LEAST_ENDER = 0.005
"""A job-ender less likely than this is not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobEnder:
    """A cause whose cheapest repair alone costs more than the limit. test: what shows or clears it, or empty."""

    cause: str
    name: str
    chance: float
    price: float
    test: str
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Money now.

    spent: so far. spread: of what is still to come. left: of the ceiling, None without one. cut_off: what a single
    repair must not cost: what is left of the ceiling, without one what the bike is worth when it runs; infinite
    where the owner said neither. hand_on: money to close up and hand it on. stop: what stopping loses, the least
    of what is left of the ceiling and what it is worth running; infinite where the owner said neither. enders:
    likeliest first. first: the test that goes before all others, or empty. best: going on, unless handing on is about
    as cheap (NEARLY), or stopping is clearly cheaper (CLEARLY), or cheaper at all where no step pays any more; it is
    weighed against going on until that has cost as much (Spread.until). As long as a small look pays: going on.
    """

    limit: Limit
    spent: float
    spread: Spread
    left: float | None
    cut_off: float
    hand_on: float
    stop: float
    enders: tuple[JobEnder, ...]
    first: str
    best: Way

    @property
    def kept(self) -> float:
        """Return P(what is left of the ceiling is enough); 1 without a ceiling."""
        return 1.0 if self.left is None else self.spread.within(self.left)


def worth_of(knowledge: Knowledge, state: State, ahead: Outlooked) -> Worth:
    """Return what the job may still cost and whether that is worth it."""
    given, limit = ahead.given, state.limit
    spent = state.minutes / 60 * state.shop.labour + state.parts
    left = None if limit.ceiling is None else max(limit.ceiling - spent, 0.0)
    cut_off = left if left is not None else inf if limit.running is None else limit.running
    found = enders(given.bench, given.repairs, list(given.tests.values()), given.beliefs, cut_off)
    money = spread(given.bench, given.repairs, given.beliefs.marginals, given.beliefs.failing)
    shut = given.bench.money(given.bench.tree.minutes_to_close(given.bench.opened))
    stop = shut + min(inf if left is None else left, inf if limit.running is None else limit.running)
    roots = list(bike_graph(knowledge, state.facts).roots.values())
    return Worth(
        limit=limit,
        spent=spent,
        spread=money,
        left=left,
        cut_off=cut_off,
        hand_on=given.bench.handing_on,
        stop=stop,
        enders=tuple(
            JobEnder(
                cause=roots[one.cause].id,
                name=roots[one.cause].name,
                chance=one.chance,
                price=one.price,
                test=one.test,
                cost=one.cost,
            )
            for one in found
            if one.chance >= LEAST_ENDER
        ),
        first=goes_first(found, min(money.mean, cut_off)),
        best=_best(money, given.bench.handing_on, stop, ahead),
    )


def _best(money: Spread, handing: float, stop: float, ahead: Outlooked) -> Way:
    """Return the cheapest, going on unless an end is cheaper, see Worth.best; of equals the one that gets it running.

    There is no going on where none helps, a rebore for one chance in twenty because nothing else is left, nor where the
    next is a repair that alone costs more than an end; and no end as long as a small look pays (A_LOOK).
    """
    end = min(handing, stop)
    following = next((step for step in ahead.steps if not step.forbidden), None)
    dear = following is not None and following.kind == "repair" and following.cost > end
    looks = ahead.pays and following is not None and _pays_small(following, A_LOOK * end)
    stops = stop <= (CLEARLY if ahead.pays else 1.0) * min(money.mean, money.until(stop))
    if ahead.helps and not dear and (looks or not (stops or money.mean >= NEARLY * handing)):
        return "go_on"
    return "hand_on" if handing <= stop + EQUAL else "stop"


def _pays_small(step: Step, most: float) -> bool:
    """Return whether a step is a test that takes off at least its own money, which is no more than most."""
    return step.kind == "test" and step.merit >= 1.0 and step.cost <= most


def round_of_repairs(knowledge: Knowledge, state: State, belief: Posterior, ahead: Outlooked) -> Bundle:
    """Return what to do of the repairs that are due on a bike that has stood and are not done, in their order."""
    due = [one for one in knowledge.repairs.values() if one.routine and may_apply(one.applies, state.facts)]
    names = [one.id for one in sorted(due, key=lambda one: one.routine)]
    present = np.array(list(belief.causes.values()))
    given = ahead.given
    return bundle(given.bench, names, given.repairs, present, given.beliefs)
