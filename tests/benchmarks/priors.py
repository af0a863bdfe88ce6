"""How many faults the book expects a bike to have, by how long it stood: before and after a complaint.

Run: python tests/benchmarks/priors.py. Sums of exact chances, causes of the book and what is beyond it apart.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.consultation import begin
from diagnose.model import CONTEXTS
from diagnose.reading.load import load, shipped_folder

COMMON = {
    "cylinders": "1",
    "fuelling": "carburettor",
    "throttle": "slide",
    "cold_start": "plunger",
    "line_filter": "no",
}
BIKES = {
    "two-stroke, kick, magneto points": {
        **COMMON,
        "strokes": "2",
        "starter": "kick",
        "ignition": "points_magneto",
        "battery": "no",
        "tap": "gravity",
        "inlet": "port",
        "oiling": "premix",
    },
    "four-stroke, kick and button, battery": {
        **COMMON,
        "strokes": "4",
        "starter": "both",
        "interlocks": "no",
        "ignition": "cdi_battery",
        "voltage": "12",
        "tap": "gravity",
        "decompressor": "no",
        "drive": "hand",
    },
}
WHERE = {"lately": "indoors", "year": "indoors", "years": "outdoors"}
COMPLAINTS = (None, "not_a_cough", "hard_to_start", "wont_idle", "no_power")


def expected(chances: Mapping[str, float]) -> tuple[float, float]:
    """Return the expected number of faults that are in the book, and of those beyond it."""
    beyond = sum(p for name, p in chances.items() if name.startswith("other:"))
    return sum(chances.values()) - beyond, beyond


def main() -> None:
    """Print a line for each bike, context and complaint."""
    knowledge = load(shipped_folder())
    for kind, bike in BIKES.items():
        for parked in CONTEXTS:
            facts = {**bike, "parked": parked, "stored": WHERE[parked]}
            told = []
            for complaint in COMPLAINTS:
                job = begin(knowledge, {"bike": facts, "complaint": complaint})
                own, beyond = expected(job.belief.causes)
                told.append(f"{complaint or 'nothing said'} {own:.1f} (+{beyond:.2f})")
            print(f"{kind}, {parked}, {WHERE[parked]}: " + ", ".join(told))


if __name__ == "__main__":
    main()
