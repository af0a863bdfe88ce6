"""How long the mechanic waits: help, the first question, the next step after an answer; widths of the network.

    python tests/benchmarks/steps.py [--jobs 6] [--answers 4] [--every 2]

Prints medians and the slowest, in seconds, and the ratio of the look-ahead to the bare belief within this run.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from diagnose.consultation import TRY_TO_START, Consultation, begin, observe, repair
from diagnose.events import Event
from diagnose.model import Knowledge
from diagnose.reading.cache import load_cached
from diagnose.reading.load import load, shipped_folder

KICK = {"starter": "kick", "fuelling": "carburettor", "cylinders": "1", "tap": "gravity", "throttle": "slide"}
TWO = {**KICK, "strokes": "2", "ignition": "points_magneto", "inlet": "port", "oiling": "premix"}
FOUR = {**KICK, "strokes": "4", "ignition": "cdi_self"}
BUTTON = {**FOUR, "starter": "both", "ignition": "cdi_battery", "battery": "yes", "interlocks": "yes"}
SCOOTER = {
    **TWO,
    "starter": "both",
    "ignition": "cdi_self",
    "battery": "yes",
    "tap": "vacuum",
    "cold_start": "auto",
    "inlet": "reed",
    "oiling": "pump",
    "drive": "belt",
}
INJECTED = {"strokes": "4", "starter": "electric", "fuelling": "injection", "ignition": "transistor", "cylinders": "1"}
TWIN = {
    **FOUR,
    "cylinders": "2",
    "carburettors": "two",
    "starter": "both",
    "ignition": "points_battery",
    "throttle": "cv",
}
BIKES = {"2T": TWO, "4T": FOUR, "button": BUTTON, "scooter": SCOOTER, "injected": INJECTED}
COMPLAINTS = ("not_a_cough", "starts_then_dies", "hard_to_start", "floods", "wont_idle", "no_power")


def part_of(knowledge: Knowledge, every: int) -> Knowledge:
    """Keep every n-th cause and test (and the try-out): a smaller book of the same shape."""
    causes = dict(list(knowledge.causes.items())[::every])
    tests = dict(list(knowledge.tests.items())[::every]) | {TRY_TO_START: knowledge.tests[TRY_TO_START]}
    return replace(knowledge, causes=causes, tests=tests, version=f"{knowledge.version}/{every}")


def jobs(count: int, answers: int, every: int = 1, twins: bool = False) -> Iterator[tuple[str, Consultation]]:
    """Jobs answered at random from what the tool expects; each is given once for every answer it has had."""
    knowledge = load(shipped_folder())
    if every > 1:
        knowledge = part_of(knowledge, every)
    for n in range(count):
        rng = np.random.default_rng(n)
        kind = "twin" if twins else list(BIKES)[n % len(BIKES)]
        bike = {**(TWIN if twins else BIKES[kind]), "parked": ("lately", "year", "years")[n % 3]}
        complaint = COMPLAINTS[n % len(COMPLAINTS)]
        job = begin(knowledge, {"bike": bike, "complaint": complaint})
        for k in range(answers):
            yield f"{complaint} {kind} {bike['parked']} answer {k}", job
            step = job.next_step
            if step is None or job.done:
                break
            if step.kind == "repair":
                job = job.add(repair(step.id))
            else:
                names = [o.id for o in knowledge.tests[step.id].outcomes]
                chances = dict(step.outcomes) if step.id != TRY_TO_START else {}
                p = np.array([chances.get(o, 1.0) for o in names])
                job = job.add(observe(step.id, str(rng.choice(names, p=p / p.sum()))))


LONG_JOB: tuple[Event, ...] = (
    observe("spark_at_gap", "none"),
    observe("spark_kill_isolated", "still_none"),
    repair("new_box"),
    observe("spark_at_gap", "none"),
    observe("swap_coil", "good"),
    Event("isolate", {"test": "swap_coil"}),
    repair("new_plug"),
    repair("mend_stop_wire"),
)
"""Eight steps, three repairs and two things left changed: stop wire off, another coil hung on."""


def long_job() -> None:
    """Print time and width after each of the steps of the long job."""
    job = begin(load(shipped_folder()), {"bike": {**FOUR, "parked": "lately"}, "complaint": "not_a_cough"})
    taken = []
    for event in LONG_JOB:
        job = job.add(event)
        begun = time.perf_counter()
        step = job.next_step
        taken.append(time.perf_counter() - begun)
        did = event.body.get("test") or event.body.get("repair")
        print(
            f"  {event.kind:8} {did:22} next step {taken[-1]:.3f}  width {job.belief.width:2}  {step.id if step else '-'}"
        )
    print(f"long job   median {statistics.median(taken):.3f}  slowest {max(taken):.3f}")


def timed(argv: list[str], repeats: int) -> float:
    """Median wall time of a command."""
    taken = []
    with tempfile.TemporaryDirectory() as home:
        for _ in range(repeats):
            begun = time.perf_counter()
            subprocess.run(argv, capture_output=True, env={**os.environ, "DIAGNOSE_HOME": home}, check=False)
            taken.append(time.perf_counter() - begun)
    return statistics.median(taken)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10)
    parser.add_argument("--answers", type=int, default=4)
    parser.add_argument("--twins", action="store_true", help="twins only, with a carburettor each")
    parser.add_argument("--every", type=int, default=1, help="keep only every n-th cause and test")
    chosen = parser.parse_args()
    python = sys.executable
    print(f"bare interpreter      {timed([python, '-c', ''], 9):.3f} s")
    print(f"diagnose --help       {timed([python, '-m', 'diagnose', '--help'], 9):.3f} s")
    with tempfile.TemporaryDirectory() as cache:
        for name in ("read and checked", "from the cache"):
            begun = time.perf_counter()
            knowledge = load_cached(shipped_folder(), None, Path(cache))
            print(f"knowledge {name:<18}{time.perf_counter() - begun:.3f} s")
    print(
        f"{len(knowledge.causes)} causes, {len(knowledge.conditions)} conditions, {len(knowledge.tests)} tests and "
        f"symptoms, {len(knowledge.repairs)} repairs"
    )
    beliefs, steps, widths = [], [], []
    for name, job in jobs(chosen.jobs, chosen.answers, chosen.every, chosen.twins):
        fresh = Consultation(job.knowledge, job.events)
        begun = time.perf_counter()
        width = fresh.belief.width
        believed = time.perf_counter()
        first = fresh.next_step
        done = time.perf_counter()
        widths.append(width)
        beliefs.append(believed - begun)
        steps.append(done - begun)
        print(
            f"  {name:<40} belief {beliefs[-1]:.3f}  next step {steps[-1]:.3f}  width {width:2}  {first.id if first else '-'}"
        )
    print(f"belief     median {statistics.median(beliefs):.3f}  slowest {max(beliefs):.3f}")
    print(f"next step  median {statistics.median(steps):.3f}  slowest {max(steps):.3f}")
    print(f"width      median {statistics.median(widths):.0f}  widest {max(widths)}")
    if chosen.every == 1 and not chosen.twins:
        long_job()
    print(f"ratio      {statistics.median(steps) / statistics.median(beliefs):.1f}")


if __name__ == "__main__":
    main()
