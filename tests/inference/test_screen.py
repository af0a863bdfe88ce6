"""The quick view agrees with brute force where nothing but "something stops it" ties the causes together."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from diagnose.inference.ladder import Rung
from diagnose.inference.posterior import Candidate
from diagnose.inference.screen import glance, only_cause_present, response
from diagnose.network.graph import decision_graph
from diagnose.network.situations import ARRIVAL, Situation
from tests.oracle.random_knowledge import random_bike


def direct(causes, rng):
    """A ladder of two rungs that look at causes alone."""
    pick = [str(c) for c in rng.choice(causes, 3, replace=False)]
    return (
        Rung(0.05, {pick[0]: {"present": 0.9}, pick[1]: {"present": 0.4}}),
        Rung(0.1, {pick[2]: {"present": 0.8}}),
    )


@pytest.mark.parametrize("seed", range(20))
def test_a_glance_at_causes_is_exact(seed):
    rng = np.random.default_rng(seed)
    bike = random_bike(rng, causes=5, conditions=1, mechanisms=0)
    names = [r for r in bike.roots if not r.startswith("other:")]
    ladder = direct(names, rng)
    q = np.array([rng.uniform(0.05, 0.6) if r in names else 0.0 for r in bike.roots])
    seen = glance(bike, q, Candidate("t", ladder, ARRIVAL))
    index = {r: n for n, r in enumerate(bike.roots)}
    fails, works, stops = np.zeros(3), np.zeros(3), np.zeros((3, len(q)))
    for states in itertools.product((0, 1), repeat=len(names)):
        weight = np.prod([q[index[n]] if s else 1 - q[index[n]] for n, s in zip(names, states, strict=True)])
        on = dict(zip(names, states, strict=True))
        quiet = [(1 - r.base) * np.prod([1 - p["present"] * on[d] for d, p in r.drivers.items()]) for r in ladder]
        chances = np.array([1 - quiet[0], quiet[0] * (1 - quiet[1]), quiet[0] * quiet[1]])
        if any(states):
            fails += weight * chances
            for n, s in on.items():
                stops[:, index[n]] += weight * chances * s
        else:
            works += weight * chances
    assert seen.failing == pytest.approx(fails / fails.sum(), abs=1e-9)
    assert seen.working == pytest.approx(works / works.sum(), abs=1e-9)
    assert seen.stops == pytest.approx(stops / fails[:, None], abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_the_response_to_a_cause_alone_is_what_the_network_says_of_it(seed):
    """One condition, so no way is shared and the walk is exact: noisy-OR of the one link."""
    rng = np.random.default_rng(seed)
    bike = random_bike(rng, causes=3, conditions=1, mechanisms=0)
    (link_of,) = bike.links.values()
    chance = {link.parent: sum(link.table["present"].values()) for link in link_of}
    alone = only_cause_present(bike, ["c0"])
    for root in bike.roots:
        assert alone[root] == pytest.approx(chance.get(root, 0.0))
    level = bike.conditions["c0"].levels[-1]
    answer = response(bike, Candidate("t", (Rung(0.0, {"c0": {level: 1.0}}),), ARRIVAL))
    worst = {link.parent: link.table["present"].get(level, 0.0) for link in link_of}
    assert answer.fires[0] == pytest.approx([worst.get(r, 0.0) for r in bike.roots])


def test_what_is_cut_or_held_does_not_answer(shipped):
    bike = decision_graph(shipped, {"strokes": "2", "ignition": "points_magneto", "cylinders": "1"})
    ladder = (Rung(0.0, {"spark": {"none": 1.0, "weak": 1.0}}),)
    number = list(bike.roots).index("points_oxidised")
    free = response(bike, Candidate("free", ladder, ARRIVAL)).fires[0, number]
    cut = response(bike, Candidate("cut", ladder, Situation(0, frozenset({"points_oxidised"})))).fires[0, number]
    held = response(bike, Candidate("held", ladder, Situation(0, frozenset(), frozenset({"coil_switched"})))).fires[
        0, number
    ]
    assert free > 0.5
    assert cut == held == 0.0
