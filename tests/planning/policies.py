"""Policies for small jobs: the planner's own, and the baselines it is measured against.

The baselines are no part of the tool. They are what textbooks for exactly one fault would do here: p/c, one
observation ahead by the cost of p/c (M3 of the literature file), and information per cost.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial
from math import inf

import numpy as np

from diagnose.planning.base_plan import SERVICE_CALL, base_plan
from diagnose.planning.look_ahead import SLACK, rank_steps
from diagnose.planning.options import Beliefs
from diagnose.planning.two_steps import DONE, Happened, deepen
from tests.planning.small_jobs import TRY_OUT, Floats, Job, Policy, State

WORTH_TELLING = 0.1
"""Bits: a test expected to tell less is left out where tests are chosen by what they tell alone."""


def base_alone(job: Job, state: State) -> str:
    """Repair as the base plan says; no test is done."""
    _, repairs = job.options_at(state)
    beliefs = job.beliefs(state)
    plan = base_plan(job.bench_at(state), repairs, beliefs.marginals, beliefs.failing)
    if plan.first == SERVICE_CALL:
        raise ValueError("handing on is no way out of these jobs")
    return plan.first


def one_step(job: Job, state: State, bit_cost: float = inf, slack: float = SLACK) -> str:
    """Do the first ranked step; never try twice without work between, as the consultation does not.

    bit_cost: money per bit, see Bench; infinite ranks by expected cost.
    """
    tests, repairs = job.options_at(state)
    bench = replace(job.bench_at(state), bit_cost=bit_cost)
    steps = rank_steps(bench, tests, repairs, job.beliefs(state), slack)
    return next(step.id for step in steps if step.kind != "try_out" or state.since)


def cheapest_within(job: Job, state: State, slack: float) -> str:
    """Of the steps expected to cost at most this share more than the best, what can be undone, then the cheaper now."""
    tests, repairs = job.options_at(state)
    steps = rank_steps(job.bench_at(state), tests, repairs, job.beliefs(state))
    steps = tuple(step for step in steps if step.kind != "try_out" or state.since)
    near = [step for step in steps if step.expected <= (1.0 + slack) * steps[0].expected]
    return min(near, key=lambda step: (("test", "try_out", "repair").index(step.kind), step.cost, step.id)).id


def two_steps(job: Job, state: State, few: int = 4) -> str:
    """Do the best of the few that were looked at two steps ahead."""
    tests, repairs = job.options_at(state)
    bench = job.bench_at(state)

    @cache
    def foresee(happened: Happened) -> Beliefs:
        return job.beliefs(job.follow(state, tuple((step, "" if way == DONE else way) for step, way in happened)))

    steps = rank_steps(bench, tests, repairs, job.beliefs(state))
    return deepen(bench, tests, repairs, steps, foresee, few)[0].id


def one_fault(marginals: Floats) -> Floats:
    """Return the chances as if exactly one fault were there."""
    return marginals / max(float(marginals.sum()), 1e-300)


def in_turn(job: Job, state: State) -> dict[str, float]:
    """Return what each open repair costs on its own: shut before, a try-out after it."""
    return {
        repair.id: job.own[repair.id] + job.opening[job.reach[repair.id]] + job.closing[job.reach[repair.id]]
        for repair in job.options_at(state)[1]
    }


def by_p_over_c(job: Job, state: State, marginals: Floats) -> tuple[list[str], float]:
    """Return the repairs by falling p/c and the textbook's expected cost of doing them one by one."""
    chances = one_fault(marginals).tolist()
    p = {repair.id: chance for repair, chance in zip(job.repairs, chances, strict=True)}
    cost = in_turn(job, state)
    order = sorted(cost, key=lambda name: (-p[name] / cost[name], name))
    left, spent = 1.0, 0.0
    for name in order:
        spent += left * cost[name]
        left -= p[name]
    return order, spent


def p_over_c(job: Job, state: State) -> str:
    """Repair the one of most chance for its money, as if one fault were there, and try out after each."""
    if state.since:
        return TRY_OUT
    marginals, _ = job.believed(state, job.weights(state))
    return by_p_over_c(job, state, marginals)[0][0]


def one_observation(job: Job, state: State) -> str:
    """Heckerman, Breese and Rommelse 1995 (from memory): the test of least cost before p/c if below p/c at once."""
    if state.since:
        return TRY_OUT
    beliefs, bench = job.beliefs(state), job.bench_at(state)
    order, now = by_p_over_c(job, state, beliefs.marginals)
    costs = {order[0]: now}
    for test in job.options_at(state)[0]:
        ahead = beliefs.after[test.id]
        own = bench.money(test.minutes + bench.tree.minutes_to_open(test.access, bench.opened))
        costs[test.id] = own + sum(
            chance * by_p_over_c(job, state, row)[1] for chance, row in zip(ahead.chances, ahead.marginals, strict=True)
        )
    return min(costs, key=lambda name: (costs[name], name))


def information(job: Job, state: State) -> str:
    """Do the test that tells most about the set of faults for its money, while any tells much; then p/c."""
    if state.since:
        return TRY_OUT
    weights = job.weights(state)
    total, now, best, chosen = weights.sum(), entropy(weights), 0.0, ""
    for move in job.moves(state, weights):
        if move.id in {test.id for test in job.tests}:
            tells = now - sum(there.sum() / total * entropy(there) for _, _, there in move.ways)
            if tells > WORTH_TELLING and tells / move.money > best:
                best, chosen = tells / move.money, move.id
    return chosen or p_over_c(job, state)


def entropy(weights: Floats) -> float:
    """Return the entropy, in bits, of weights that need not sum to 1."""
    p = weights[weights > 0.0] / weights.sum()
    return float(-(p * np.log2(p)).sum())


POLICIES: dict[str, Policy] = {
    "p/c, a try-out after each": p_over_c,
    "one observation, one fault": one_observation,
    "information per cost, then p/c": information,
    "base plan alone": base_alone,
    "one step": one_step,
    "two steps, the 4 best": two_steps,
    "two steps, the 6 best": partial(two_steps, few=6),
}
"""What tests/benchmarks/optimum.py measures."""

VARIANTS: dict[str, Policy] = {
    "one step": one_step,
    **{f"one step, {slack:.0%} as good": partial(cheapest_within, slack=slack) for slack in (0.0, 0.02, 0.05)},
    **{
        f"looking first at {bit:.0f} a bit, {slack:.0%} as good": partial(one_step, bit_cost=bit, slack=slack)
        for bit, slack in ((5.0, 0.05), (10.0, 0.0), (10.0, 0.02), (10.0, 0.05), (15.0, 0.05), (30.0, 0.05))
    },
}
"""Other ways to rank the same steps."""
