"""Many bikes: the same whoever does it, and means, quantiles and shares by hand."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest

from diagnose.problems import DiagnoseError
from diagnose.simulation.bikes import invented
from diagnose.simulation.study import Plan, mistaken, spread, summaries, walked
from diagnose.simulation.walk import PERFECT, Result

ONE = Result(
    bike=0,
    context="lately",
    complaint="not_a_cough",
    policy=PERFECT,
    steps=2,
    minutes=10.0,
    waited=0.0,
    money=10.0,
    cured=True,
    handed_on=False,
)


def results(policy, money, cured=True):
    return [replace(ONE, policy=policy, bike=n, money=m, cured=cured) for n, m in enumerate(money)]


def test_the_same_with_one_worker_and_with_two(small):
    plan = Plan(("lately", "years"), ("list", "single"), 3, seed=4)
    alone, together = (sorted(walked(small, plan, n), key=lambda some: (some[0].context, some[0].bike)) for n in (1, 2))
    assert alone == together
    assert len(alone) == 6
    assert [one.policy for one in alone[0]] == [PERFECT, "list", "single"]


def test_another_seed_is_other_bikes(small):
    one, other = (list(walked(small, Plan(("years",), ("list",), 8, seed=n), 1)) for n in (0, 1))
    assert one != other


def test_all_policies_meet_the_same_bike(small):
    bikes = [invented(small, 0, 3, "years") for _ in range(2)]
    assert bikes[0].facts == bikes[1].facts
    assert bikes[0].world.causes == bikes[1].world.causes
    assert bikes[0].world.links == bikes[1].world.links


def test_figures_by_hand():
    some = [*results(PERFECT, [10.0, 20.0]), *results("list", [30.0, 60.0])]
    floor, policy = summaries(some, budget=40.0)
    assert (policy.money.mean, policy.excess) == (45.0, 30.0)
    assert policy.error == pytest.approx(10.0)  # above: 20 and 40; deviation sqrt(200), by sqrt(2)
    assert (floor.excess, floor.within, policy.within) == (0.0, 1.0, 0.5)


def test_what_is_not_cured_is_not_within_a_budget():
    some = [*results(PERFECT, [10.0]), *results("list", [30.0], cured=False)]
    assert summaries(some, budget=40.0)[1].within == 0.0
    assert summaries(some)[1].within is None


def test_quantiles_by_hand():
    assert spread([float(n) for n in range(1, 11)]).nine_tenths == 9.0
    assert spread([5.0]).half == 5.0
    assert spread([4.0, 1.0]).half == 1.0


def test_wrong_priors_are_off_by_so_many_logits(shipped):
    wrong = mistaken(shipped, 1.0, 5)
    shifts = []
    for name, cause in shipped.causes.items():
        logits = [[log(p / (1 - p)) for p in one.prior] for one in (cause, wrong.causes[name])]
        moved = [b - a for a, b in zip(*logits, strict=True)]
        assert moved == pytest.approx([moved[0]] * 3)
        shifts.append(moved[0])
    mean = sum(shifts) / len(shifts)
    assert abs(mean) < 4.5 / len(shifts) ** 0.5
    assert sum(x * x for x in shifts) / len(shifts) == pytest.approx(1.0, abs=4.5 * (2 / len(shifts)) ** 0.5)
    assert wrong.version != shipped.version
    assert mistaken(shipped, 0.0, 5) is shipped


def test_bikes_are_drawn_from_the_right_priors(small):
    right = list(walked(small, Plan(("years",), (), 6), 1))
    assert right == list(walked(small, Plan(("years",), (), 6, wrong_priors=2.0), 1))


def test_a_complaint_that_no_bike_has_is_refused(shipped):
    with pytest.raises(DiagnoseError, match="write other complaints"):
        invented(shipped, 0, 0, "lately", ("runs_on_one",))  # only of a twin, and bikes are drawn with one cylinder
