"""How high the cause that was found stands in the real cases: per case, per system, and together.

Run: python tests/benchmarks/cases.py [--all] [NAME ...]. Without --all only the misses are listed.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from diagnose.model import Knowledge
from diagnose.problems import JobError
from diagnose.reading.load import load, shipped_folder
from diagnose.reading.script import read_script
from tests.cases.test_cases import CASES, HERE, LEFT_OPEN, Standing, standing


@cache
def book() -> Knowledge:
    """The shipped knowledge, read once in each process."""
    return load(shipped_folder())


def of(case: str) -> tuple[str, str, Standing | str]:
    """Return the case, the system of its main cause, and where that stands, or why it cannot be said."""
    script = read_script(HERE / f"{case}.yaml", book())
    main = script.confirmed[0].partition(".")[0]
    system = book().causes[main].system if main in book().causes else "not in the book"
    try:
        return case, system, standing(book(), script, LEFT_OPEN.get(case, ()))
    except (AssertionError, JobError) as error:
        return case, system, str(error)


def main(names: list[str], everything: bool) -> None:
    """Print the table."""
    book()
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(of, names or CASES))
    ranks: dict[str, list[int]] = defaultdict(list)
    for case, system, stood in sorted(found, key=lambda one: (one[1], one[0])):
        rank = stood.rank if isinstance(stood, Standing) else 999
        ranks[system].append(rank)
        if everything or rank > 3:
            print(f"{system:12} {case:34} {stood}")
    print()
    for system, mine in [*sorted(ranks.items()), ("together", [rank for some in ranks.values() for rank in some])]:
        shares = [
            f"first {n}: {sum(r <= n for r in mine):2} ({sum(r <= n for r in mine) / len(mine):.0%})" for n in (1, 3, 5)
        ]
        print(f"{system:16} {len(mine):3} cases  {'  '.join(shares)}")


if __name__ == "__main__":
    main([a for a in sys.argv[1:] if not a.startswith("--")], "--all" in sys.argv)
