"""The conflict measure against its definition by enumeration, and a job whose answers do not fit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.consultation import begin, observe
from diagnose.inference.conflict import conflict, most_resolving
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import Question, posterior
from diagnose.network.graph import decision_graph
from tests.oracle.random_knowledge import random_bike


@pytest.mark.parametrize("seed", range(10))
def test_conf_is_what_its_definition_says(seed):
    rng = np.random.default_rng(seed)
    bike = random_bike(rng, causes=2, conditions=1, mechanisms=0, parents=2)
    prior = {r: root.marginal for r, root in bike.roots.items()}
    seen = (
        Observation("a", (), Rung(0.1, {"x0": {"present": 0.9}})),
        Observation("b", (Rung(0.2, {"x0": {"present": 0.8}}),), None),
        Observation("c", (), Rung(0.05, {"x1": {"present": 0.7}})),
    )
    x0, x1 = prior["x0"], prior["x1"]
    a = [0.1, 1 - 0.9 * 0.1]
    b = [0.8, 0.8 * 0.2]
    c = 0.05 * (1 - x1) + (1 - 0.95 * 0.3) * x1
    p = [1 - x0, x0]
    joint = sum(p[k] * a[k] * b[k] for k in (0, 1)) * c
    single = [sum(p[k] * f[k] for k in (0, 1)) for f in (a, b)]
    wanted = sum(map(math.log, [*single, c])) - math.log(joint)
    asked = Question(seen)
    log_joint = posterior(bike, asked).log_evidence
    assert conflict(bike, asked, log_joint) == pytest.approx(wanted, abs=1e-9)
    index, left = most_resolving(bike, asked)
    if wanted > 0.05:
        assert index in (0, 1), "the two that contradict each other"
        assert left < wanted


def test_answers_that_do_not_fit_are_said_not_to(shipped):
    job = begin(shipped, {"bike": {"strokes": "2", "ignition": "points_magneto", "parked": "lately"}})
    fits = job.add(observe("spark_at_gap", "none")).add(observe("spark_plug_air", "none"))
    assert fits.conflict is None
    odd = job.add(observe("spark_at_gap", "none")).add(observe("spark_plug_air", "good"))
    assert odd.conflict is not None
    assert "hardly fits together" in str(odd.conflict)
    assert odd.conflict.repeat.startswith(
        ("Spark", shipped.tests["spark_at_gap"].name, shipped.tests["spark_plug_air"].name)
    )


def test_a_bike_of_which_nothing_is_known_has_no_conflict(shipped):
    bike = decision_graph(shipped, {})
    assert conflict(bike, Question(), posterior(bike, Question()).log_evidence) == pytest.approx(0, abs=1e-9)
