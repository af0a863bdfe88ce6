"""How far each policy stays above the exact optimum of small jobs (tests/planning/small_jobs.py).

    python tests/benchmarks/optimum.py [--jobs 60] [--set NAME] [--variants] [--from 0]

Prints mean and worst ratio to the optimum, how often a policy is worse than the one-step look-ahead, and the time
for all decisions of one job. --variants compares ways to rank the same steps instead: slack, and looking first.
Fails if any policy is below the optimum.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.planning.policies import POLICIES, VARIANTS
from tests.planning.small_jobs import KINDS, Policy, followed, optimum, random_job


def measure(kind: str, seeds: range, policies: dict[str, Policy]) -> tuple[np.ndarray, np.ndarray, float]:
    """Return ratios [policy, job], seconds for each policy and job, and the mean seconds for the optimum."""
    ratios, seconds = np.zeros((len(policies), len(seeds))), np.zeros((len(policies), len(seeds)))
    exact = 0.0
    for column, seed in enumerate(seeds):
        job = random_job(KINDS[kind], seed)
        begun = time.perf_counter()
        best = optimum(job)
        exact += time.perf_counter() - begun
        for row, policy in enumerate(policies.values()):
            begun = time.perf_counter()
            ratios[row, column] = followed(job, policy) / best
            seconds[row, column] = time.perf_counter() - begun
    return ratios, seconds.mean(axis=1), exact / len(seeds)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=60)
    parser.add_argument("--from", dest="first", type=int, default=0, help="the first seed")
    parser.add_argument("--set", choices=KINDS, help="only this set")
    parser.add_argument("--variants", action="store_true")
    chosen = parser.parse_args()
    policies = VARIANTS if chosen.variants else POLICIES
    for kind in [chosen.set] if chosen.set else KINDS:
        ratios, seconds, exact = measure(kind, range(chosen.first, chosen.first + chosen.jobs), policies)
        assert ratios.min() >= 1.0 - 1e-9, "a policy below the optimum: the optimum is wrong"
        print(f"{kind}: {chosen.jobs} jobs, the optimum takes {exact:.2f} s")
        one = ratios[list(policies).index("one step")]
        error = ratios.std(axis=1, ddof=1) / np.sqrt(chosen.jobs)
        for name, mine, spread, spent in zip(policies, ratios, error, seconds, strict=True):
            print(
                f"  {name:36} mean {mine.mean():.4f} +- {spread:.4f}  worst {mine.max():.3f}"
                f"  worse than one step {(mine > one + 1e-6).sum():3}  {spent:.2f} s",
                flush=True,
            )


if __name__ == "__main__":
    main()
