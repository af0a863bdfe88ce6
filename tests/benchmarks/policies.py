"""What a bike costs until it runs, by the tool and by other ways of going about it, on the same invented bikes.

    python tests/benchmarks/policies.py [--bikes 100] [--context years] [--wrong-priors 1] [--policy ours] [--seed 0]

Prints for each context and policy the mean money, the excess over perfect knowledge with its standard error, and the
ratio of that excess to the tool's own; with --wrong-priors all of it once more, the policies going by wrong priors.
"""

from __future__ import annotations

import argparse
import os
import time

from diagnose.model import CONTEXTS
from diagnose.reading.load import load, shipped_folder
from diagnose.simulation.policies import POLICIES
from diagnose.simulation.study import Plan, Summary, summaries, walked


def row(one: Summary, ours: float) -> str:
    share = f"{one.excess / ours:8.2f}" if ours else f"{'-':>8}"
    return (
        f"{one.context:8}{one.policy:12}{one.money.mean:8.0f}{one.money.half:7.0f}{one.money.nine_tenths:7.0f}"
        f"{one.excess:9.0f} +-{one.error:4.0f}{share}{one.steps.mean:8.1f}{one.cured:8.0%}{one.handed_on:8.0%}"
    )


def table(plan: Plan, workers: int) -> None:
    began = time.perf_counter()
    found = summaries([one for some in walked(load(shipped_folder()), plan, workers) for one in some])
    print(
        f"\npriors {'as in the book' if not plan.wrong_priors else f'wrong by {plan.wrong_priors} logits'}, seed {plan.seed}"
    )
    print(
        f"{'':20}{'money':>8}{'half':>7}{'9/10':>7}{'excess':>9}{'':7}{'/ ours':>8}{'steps':>8}{'cured':>8}{'handed':>8}"
    )
    for context in plan.contexts:
        mine = [one for one in found if one.context == context]
        ours = next((one.excess for one in mine if one.policy == "ours"), 0.0)
        for one in mine:
            print(row(one, ours), flush=True)
    took = time.perf_counter() - began
    print(f"{took:.0f} s for {plan.bikes * len(plan.contexts)} bikes on {workers} cores")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bikes", type=int, default=100)
    parser.add_argument("--context", action="append", choices=CONTEXTS)
    parser.add_argument("--policy", action="append", choices=list(POLICIES))
    parser.add_argument("--complaint", action="append", default=[])
    parser.add_argument("--wrong-priors", type=float, default=0.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    for wrong in dict.fromkeys((0.0, given.wrong_priors)):
        plan = Plan(
            contexts=tuple(given.context or CONTEXTS),
            policies=tuple(given.policy or POLICIES),
            bikes=given.bikes,
            seed=given.seed,
            complaints=tuple(given.complaint),
            wrong_priors=wrong,
        )
        table(plan, given.workers)


if __name__ == "__main__":
    main()
