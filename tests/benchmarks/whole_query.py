"""The planner's whole query on the shipped book against a reference library, in the same run.

    OMP_NUM_THREADS=1 PYTHON tests/benchmarks/whole_query.py [--states 12] [--tests 6] [--every 1] [--ours]

The query: P(every cause | evidence); P(every outcome | evidence) of every open test that looks at the bike as it
stands; P(every cause | evidence, outcome) for each of those outcomes. Ours does all of it. The library (pyAgrum,
LazyPropagation) answers the first part and every n-th test, its time for the others taken in proportion to their
outcomes; all its numbers are compared with ours. Where even the narrowest of its networks has a clique too wide to
wait for, the state or test is passed over and said so: that favours the library. CPU seconds, one thread. The
library's networks are built, and the order of their chains chosen, outside its time.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from diagnose.consultation import Consultation, begin, observe
from diagnose.consultation.choices import open_tests
from diagnose.consultation.state import situation_for, situation_now
from diagnose.inference import posterior as asking
from diagnose.inference.ladder import rungs
from diagnose.inference.posterior import Candidate, Posterior, Prospect
from diagnose.reading.load import load, shipped_folder
from tests.benchmarks.steps import BIKES, COMPLAINTS, part_of
from tests.oracle.library_net import LibraryNet, gum, narrowest

WIDEST = 2**19
"""Cells of a clique beyond which the library is not waited for: some ten seconds for each set of evidence."""

SAME = 1e-9
"""The numbers of both must agree to this."""


def states(answers: int, every: int) -> Iterator[tuple[str, Consultation]]:
    """Every complaint on every kind of bike, as it comes in and after some answers to questions, at random."""
    book = load(shipped_folder())
    book = part_of(book, every) if every > 1 else book
    asks = [t for t in book.tests.values() if t.symptom and not (t.removes or t.supplies)]
    for n, complaint in enumerate(COMPLAINTS):
        for k, (kind, bike) in enumerate(BIKES.items()):
            rng = np.random.default_rng(10 * n + k)
            facts = {**bike, "parked": ("lately", "year", "years")[(n + k) % 3]}
            job = begin(book, {"bike": facts, "complaint": complaint})
            yield f"{complaint} {kind}", job
            open_now = {t.id for t in open_tests(book, job.state, job.bike, job.belief)}
            can = [t for t in asks if t.id in open_now]
            for i in rng.permutation(len(can))[:answers]:
                job = job.add(observe(can[i].id, can[i].outcomes[-1].id))
            yield f"{complaint} {kind} +{answers}", job


def candidates(job: Consultation) -> list[Candidate]:
    """Every open test that looks at the bike as it stands."""
    now = situation_now(job.knowledge, job.state)
    tests = open_tests(job.knowledge, job.state, job.bike, job.belief)
    every = [Candidate(t.id, rungs(t.outcomes), situation_for(job.knowledge, job.state, t)) for t in tests]
    return [c for c in every if c.situation == now]


@dataclass(frozen=True)
class Answer:
    """The whole query and the CPU seconds it took."""

    seconds: float
    belief: Posterior
    ahead: Mapping[str, Prospect]


def ours(job: Consultation, some: Sequence[Candidate]) -> Answer:
    """Ask ours; nothing that an earlier question worked out is taken over."""
    job.bike.families.clear()
    job.bike.products.clear()
    begun = time.process_time()
    belief = asking.posterior(job.bike, job.question)
    ahead = asking.prospects(job.bike, job.question, some)
    return Answer(time.process_time() - begun, belief, ahead)


def orders(job: Consultation) -> list[dict[str, int]]:
    """Orders for the library's chains: causes first; ours of elimination; that backwards."""
    tree, _ = asking._tree(job.bike, job.question, asking._asked_now(job.bike, job.question), asking.CELLS_NOW)
    forth = {v: n for n, v in enumerate(tree.home)}
    return [{}, forth, {v: -n for v, n in forth.items()}]


class Library:
    """What the library said of one state: CPU seconds of inference, of building, and how far from ours."""

    def __init__(self, job: Consultation, answer: Answer, some: Sequence[Candidate], widest: int) -> None:
        """Begin with nothing asked."""
        self.job, self.answer, self.some, self.widest = job, answer, some, widest
        self.orders = orders(job)
        self.building = self.apart = 0.0
        self.too_wide = self.asked = 0

    def built(self, candidate: Candidate | None) -> LibraryNet | None:
        """The network of the evidence and one test; None where it is too wide."""
        begun = time.process_time()
        ladder = candidate.ladder if candidate else ()
        net, cells = narrowest(self.job.bike, self.job.question.observations, self.orders, ladder)
        self.building += time.process_time() - begun
        return net if cells <= self.widest else None

    def engine(self, net: LibraryNet, targets: Sequence[str]) -> Any:
        """An engine with what was seen and what is asked; it leaves out by itself what is barren."""
        engine = gum.LazyPropagation(net.net)
        engine.setNumberOfThreads(1)
        engine.setEvidence(net.seen)
        for target in targets:
            engine.addTarget(target)
        return engine

    def belief(self, net: LibraryNet) -> float:
        """Seconds for every cause given the evidence."""
        begun = time.process_time()
        found = self.causes(self.engine(net, list(self.job.bike.roots)))
        taken = time.process_time() - begun
        self.compare(found, list(self.answer.belief.causes.values()))
        return taken

    def causes(self, engine: Any) -> list[float]:
        """P(cause present) of every cause."""
        engine.makeInference()
        return [float(engine.posterior(r)[1]) for r in self.job.bike.roots]

    def test(self, net: LibraryNet, candidate: Candidate) -> float:
        """Seconds for every outcome of a test and every cause given each."""
        mine = self.answer.ahead[candidate.id]
        begun = time.process_time()
        engine = self.engine(net, ["test"])
        engine.makeInference()
        chances = engine.posterior("test").tolist()
        engine = self.engine(net, list(self.job.bike.roots))
        engine.addEvidence("test", 0)
        given = []
        for outcome in range(len(chances)):
            engine.chgEvidence("test", outcome)
            given.append(self.causes(engine))
        taken = time.process_time() - begun
        self.compare(chances, mine.probabilities)
        self.compare(given, mine.causes)
        return taken

    def compare(self, theirs: Any, mine: Any) -> None:
        """Keep the largest difference."""
        self.apart = max(self.apart, float(np.abs(np.array(theirs) - np.array(mine)).max()))

    def seconds(self, most: int) -> float | None:
        """Its time for the whole query, from at most so many tests; None where it is too wide for it."""
        net = self.built(None)
        if net is None:
            return None
        belief = self.belief(net)
        taken, outcomes = 0.0, 0
        step = max(1, len(self.some) // most)
        for candidate in self.some[step // 2 :: step]:
            net = self.built(candidate)
            if net is None or candidate.id not in self.answer.ahead:
                self.too_wide += 1
                continue
            taken += self.test(net, candidate)
            outcomes += len(candidate.ladder) + 1
            self.asked += 1
        whole = sum(len(c.ladder) + 1 for c in self.some)
        return belief + taken * whole / outcomes if outcomes else None


def one(name: str, job: Consultation, tests: int, widest: int) -> tuple[float, float, float] | None:
    """Measure one state and print it; return our seconds, the ratio and the largest difference."""
    some = candidates(job)
    answer = ours(job, some)
    left = len(some) - len(answer.ahead)
    head = f"  {name:<28} {len(some):3} tests {sum(len(c.ladder) + 1 for c in some):3} outcomes  ours {answer.seconds:6.2f}"
    head += f" ({left} left out)" if left else ""
    if not widest:
        print(head, flush=True)
        return answer.seconds, 0.0, 0.0
    library = Library(job, answer, some, widest)
    theirs = library.seconds(tests)
    if theirs is None:
        print(f"{head}  library: too wide", flush=True)
        return None
    ratio = theirs / answer.seconds
    print(
        f"{head}  library {theirs:8.1f} (from {library.asked} tests, {library.too_wide} too wide; built in "
        f"{library.building:.1f})  ratio {ratio:6.1f}  differ {library.apart:.0e}",
        flush=True,
    )
    return answer.seconds, ratio, library.apart


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--states", type=int, default=12, help="stop after so many that the library can do")
    parser.add_argument("--tests", type=int, default=6, help="tests a state that the library is asked about")
    parser.add_argument("--answers", type=int, default=3)
    parser.add_argument("--every", type=int, default=1, help="keep only every n-th cause and test")
    parser.add_argument("--ours", action="store_true", help="leave the library out")
    parser.add_argument("--widest", type=int, default=WIDEST, help="cells of a clique the library is waited for")
    chosen = parser.parse_args()
    asking.CELLS_AHEAD = asking.CELLS_NOW  # nothing is to be left out
    alone = chosen.ours or gum is None
    if gum is None:
        print("pyagrum is not installed: only ours is measured (pip install pyagrum)")
    done, wide = [], 0
    for name, job in states(chosen.answers, chosen.every):
        measured = one(name, job, chosen.tests, 0 if alone else chosen.widest)
        wide += measured is None
        done += [measured] if measured else []
        if len(done) == chosen.states:
            break
    seconds, ratios, apart = zip(*done, strict=True)
    print(f"ours      median {statistics.median(seconds):.2f}  slowest {max(seconds):.2f} CPU seconds")
    if not alone:
        print(
            f"ratio     median {statistics.median(ratios):.1f}  least {min(ratios):.1f}; {wide} states too wide for the library"
        )
        print(f"differ    at most {max(apart):.0e}" + ("" if max(apart) <= SAME else "  TOO MUCH"))
        if max(apart) > SAME:
            sys.exit(1)


if __name__ == "__main__":
    main()
