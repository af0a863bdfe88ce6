"""What a bike costs until it runs, by the tool and by other ways of going about it, on the same invented bikes.

    python tests/benchmarks/policies.py [--bikes 100] [--context years] [--wrong-priors 1] [--policy ours] [--seed 0]
                                        [--into FILE]

Prints for each context and policy the mean money, the excess over perfect knowledge with its standard error, and the
ratio of that excess to the tool's own; with --wrong-priors the policies go by wrong priors. A bike takes some ten seconds
for each policy, one that stood for years up to a minute: --into keeps each that is done in a file, a line of JSON, and
one that is there already is not walked again. Results of other knowledge or another commit are not told from those of
this one: begin a new file.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path

from diagnose.model import CONTEXTS
from diagnose.reading.load import load, shipped_folder
from diagnose.simulation.policies import POLICIES
from diagnose.simulation.study import Plan, Summary, summaries, walked
from diagnose.simulation.walk import Result


def row(one: Summary, ours: float) -> str:
    share = f"{one.excess / ours:8.2f}" if ours else f"{'-':>8}"
    return (
        f"{one.context:8}{one.policy:12}{one.money.mean:8.0f}{one.money.half:7.0f}{one.money.nine_tenths:7.0f}"
        f"{one.excess:9.0f} +-{one.error:4.0f}{share}{one.steps.mean:8.1f}{one.cured:8.0%}{one.handed_on:8.0%}"
    )


def results(plan: Plan, workers: int, into: Path | None) -> list[Result]:
    """Return what all policies came to on every bike, those in the file not walked again."""
    kept = [Result(**one) for line in lines(into) for one in json.loads(line)]
    found = [one for one in kept if one.context in plan.contexts and one.bike < plan.bikes]
    known = {(one.context, one.bike) for one in kept}
    for some in walked(load(shipped_folder()), plan, workers, known):
        found += some
        if into:
            with into.open("a") as file:
                file.write(json.dumps([one.as_json() for one in some]) + "\n")
    return found


def lines(into: Path | None) -> list[str]:
    return into.read_text().splitlines() if into and into.exists() else []


def table(plan: Plan, workers: int, into: Path | None) -> None:
    began = time.perf_counter()
    found = summaries(results(plan, workers, into))
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
    parser.add_argument("--into", type=Path)
    given = parser.parse_args()
    plan = Plan(
        contexts=tuple(given.context or CONTEXTS),
        policies=tuple(given.policy or POLICIES),
        bikes=given.bikes,
        seed=given.seed,
        complaints=tuple(given.complaint),
        wrong_priors=given.wrong_priors,
    )
    table(plan, given.workers, given.into)


if __name__ == "__main__":
    main()
