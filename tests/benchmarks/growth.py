"""How the time grows: with the size of the book, and with the steps a job has had.

    OMP_NUM_THREADS=1 PYTHON tests/benchmarks/growth.py [--copies 1 2 4 8] [--answers 5 10 20 30] [--repeats 3]

A book of n copies has every mechanism, cause, condition, test and repair n times over, each copy for itself, all on
one bike; the complaint and the one answer are about the first copy. The whole query has (outcomes x causes) numbers
in it, so its exponent cannot fall much below 2 once they are most of the work. The exponent is the slope of log time against log
size (least squares). CPU seconds, the median of so many repeats, each begun with nothing worked out before.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from diagnose.consultation import TRY_TO_START, Consultation, begin, observe, repair
from diagnose.model import AllOf, Condition, Knowledge, Link, Repair, Test
from diagnose.reading.load import load, shipped_folder
from tests.benchmarks.steps import FOUR
from tests.benchmarks.whole_query import candidates, ours

BIKE = {**FOUR, "parked": "years"}
INTAKE = {"bike": BIKE, "complaint": "not_a_cough"}


def copies(book: Knowledge, count: int) -> Knowledge:
    """Return a book with everything that belief is about so many times over; access, facts and cautions are shared."""
    found = book
    for n in range(1, count):
        one = _Copy(book, f"copy{n}:")
        found = replace(
            found,
            mechanisms={**found.mechanisms, **{one(m.id): replace(m, id=one(m.id)) for m in book.mechanisms.values()}},
            causes={**found.causes, **{one(c.id): one.cause(c.id) for c in book.causes.values()}},
            conditions={**found.conditions, **{one(c.id): one.condition(c) for c in book.conditions.values()}},
            tests={**found.tests, **{one(t.id): one.test(t) for t in book.tests.values() if t.id != TRY_TO_START}},
            repairs={**found.repairs, **{one(r.id): one.repair(r) for r in book.repairs.values()}},
            facts={f: replace(fact, options=one.odds(found, f)) for f, fact in found.facts.items()},
        )
    return replace(found, version=f"{book.version}x{count}")


class _Copy:
    """The entries of a book under other names; only what belief is about is renamed."""

    def __init__(self, book: Knowledge, prefix: str) -> None:
        """Name what is renamed."""
        self.book, self.prefix = book, prefix
        self.mine = {*book.mechanisms, *book.causes, *book.conditions, *book.tests, *book.repairs} - {TRY_TO_START}

    def __call__(self, name: str) -> str:
        return self.prefix + name if name in self.mine else name

    def keys(self, some: Mapping[str, object]) -> dict[str, object]:
        return {self(name): what for name, what in some.items()}

    def links(self, some: Sequence[Link]) -> tuple[Link, ...]:
        return tuple(replace(link, parent=self(link.parent), child=self(link.child)) for link in some)

    def cause(self, name: str) -> object:
        c = self.book.causes[name]
        return replace(
            c, id=self(name), mechanism=self(c.mechanism) if c.mechanism else None, links=self.links(c.links)
        )

    def condition(self, c: Condition) -> Condition:
        both = tuple(AllOf(parents=self.keys(b.parents), chances=b.chances) for b in c.all_of)  # type: ignore[arg-type]
        return replace(
            c, id=self(c.id), links=self.links(c.links), all_of=both, one_of=self(c.one_of) if c.one_of else ""
        )

    def test(self, t: Test) -> Test:
        outcomes = tuple(replace(o, drivers=self.keys(o.drivers)) for o in t.outcomes)  # type: ignore[arg-type]
        return replace(
            t,
            id=self(t.id),
            outcomes=outcomes,
            removes=tuple(map(self, t.removes)),
            supplies=tuple(map(self, t.supplies)),
        )

    def repair(self, r: Repair) -> Repair:
        return replace(r, id=self(r.id), cures=self.keys(r.cures), dud=self.keys(r.dud))  # type: ignore[arg-type]

    def odds(self, so_far: Knowledge, fact: str) -> dict[str, object]:
        first = self.book.facts[fact].options
        options = so_far.facts[fact].options
        return {o: replace(option, odds={**option.odds, **self.keys(first[o].odds)}) for o, option in options.items()}


def seconds(what: Callable[[], object], repeats: int) -> float:
    """The median of CPU seconds."""
    taken = []
    for _ in range(repeats):
        begun = time.process_time()
        what()
        taken.append(time.process_time() - begun)
    return statistics.median(taken)


def believed(job: Consultation) -> Consultation:
    """A job whose belief has just been worked out, nothing taken over from an earlier question."""
    job.bike.families.clear()
    job.bike.products.clear()
    fresh = Consultation(job.knowledge, job.events)
    fresh.belief  # noqa: B018
    return fresh


def timed(job: Consultation, repeats: int) -> tuple[float, float]:
    """Seconds of the belief, and of the next step where the belief is known."""
    belief = seconds(lambda: believed(job), repeats)
    ready = iter([believed(job) for _ in range(repeats)])
    return belief, seconds(lambda: next(ready).next_step, repeats)


def exponent(sizes: Sequence[float], times: Sequence[float]) -> float:
    """The slope of log time against log size.

    >>> round(exponent([1, 2, 4], [3, 12, 48]), 6)
    2.0
    """
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


def with_size(counts: Sequence[int], repeats: int) -> None:
    """Print times for books of so many copies."""
    book = load(shipped_folder())
    first = next(s.id for s in begin(book, INTAKE).steps if s.kind == "test" and not s.forbidden)
    answer = observe(first, book.tests[first].outcomes[-1].id)
    found = []
    for count in counts:
        job = begin(copies(book, count), INTAKE).add(answer)
        some = candidates(job)
        belief, step = timed(job, repeats)
        whole = seconds(lambda job=job, some=some: ours(job, some), repeats)  # type: ignore[misc]
        found.append((belief, whole, step))
        print(
            f"  x{count}: {len(job.bike.roots):5} causes {len(some):5} tests   belief {belief:6.3f}  whole query "
            f"{whole:7.3f}  next step {step:6.3f}",
            flush=True,
        )
    names = ("belief", "whole query", "next step")
    slopes = [f"{n} {exponent(counts, t):.2f}" for n, t in zip(names, zip(*found, strict=True), strict=True)]
    print(f"exponents with size: {', '.join(slopes)}")


def with_steps(answers: Sequence[int], repeats: int, seed: int) -> None:
    """Print times after so many steps of one job, each step the best that is no try-out, answered at random."""
    book, rng = load(shipped_folder()), np.random.default_rng(seed)
    job = begin(book, INTAKE)
    found = []
    for n in range(1, max(answers) + 1):
        step = next(s for s in job.steps if s.kind in ("test", "repair") and s.id != TRY_TO_START and not s.forbidden)
        if step.kind == "repair":
            job = job.add(repair(step.id))
        else:
            names = [o.id for o in book.tests[step.id].outcomes]
            p = np.array([dict(step.outcomes).get(o, 1e-9) for o in names])
            job = job.add(observe(step.id, str(rng.choice(names, p=p / p.sum()))))
        if n in answers:
            found.append(timed(job, repeats))
            print(
                f"  {n:2} steps, {len(job.state.repairs)} repairs: belief {found[-1][0]:6.3f}  next step "
                f"{found[-1][1]:6.3f}  width {job.belief.width}"
                + (f"  {len(job.question.apart)} answers reckoned apart" if job.question.apart else ""),
                flush=True,
            )
    slopes = [
        f"{n} {exponent(answers, t):.2f}"
        for n, t in zip(("belief", "next step"), zip(*found, strict=True), strict=True)
    ]
    print(f"exponents with steps: {', '.join(slopes)}")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--copies", type=int, nargs="*", default=[1, 2, 4, 8])
    parser.add_argument("--answers", type=int, nargs="*", default=[5, 10, 20, 30])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    if chosen.copies:
        with_size(chosen.copies, chosen.repeats)
    if chosen.answers:
        with_steps(chosen.answers, chosen.repeats, chosen.seed)


if __name__ == "__main__":
    main()
