"""Evidence reckoned in parts: exact where answers bear on single causes, near where they do not, and told as such."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.consultation import begin, repair, try_out
from diagnose.inference import agreement, parts
from diagnose.inference.ladder import Observation, Rung
from diagnose.inference.posterior import MADE_KEPT, Question, posterior, settled
from diagnose.model import PRESENT
from diagnose.network.situations import RepairDone, Situation, courses
from diagnose.problems import ImpossibleEvidence
from tests.oracle import random_knowledge as rk
from tests.oracle.built import built, condition
from tests.oracle.test_enumeration import repaired_case


def all_causes(bike, question):
    return np.array(list(posterior(bike, question).causes.values()))


@pytest.mark.parametrize("seed", range(10))
def test_answers_about_single_causes_lose_nothing(monkeypatch, seed):
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    monkeypatch.setattr(agreement, "STILL", 1e-12)
    monkeypatch.setattr(agreement, "MOST_SWEEPS", 300)
    rng = np.random.default_rng(seed)
    bike = rk.random_bike(rng, causes=6, conditions=2, mechanisms=2)
    repairs = rk.random_repairs(rng, bike, 2)
    seen = []
    for n in range(5):
        cause = str(rng.choice([r for r in bike.roots if not r.startswith("other:")]))
        rung = Rung(0.05, {cause: {PRESENT: float(rng.uniform(0.3, 0.9))}})
        fired = rng.random() < 0.5
        situation = Situation(min(n, len(repairs)))
        seen.append(Observation(str(n), () if fired else (rung,), rung if fired else None, situation))
    targets = (next(iter(bike.conditions)),)
    whole = Question(tuple(seen), repairs, Situation(len(repairs)), targets)
    cut = settled(bike, whole)
    assert len(cut.apart) == 4
    np.testing.assert_allclose(all_causes(bike, cut), all_causes(bike, whole), rtol=0, atol=1e-7)
    assert posterior(bike, cut).failing == pytest.approx(posterior(bike, whole).failing, abs=1e-7)


def test_parts_come_near_the_exact_answer(monkeypatch):
    """Far nearer than leaving the earlier answers out; the sizes of both errors are stated, so that neither is lost."""
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    errors, without = [], []
    for seed in range(120):
        case = repaired_case(seed)
        cut = settled(case.bike, case.question)
        if not cut.apart:
            continue
        right = all_causes(case.bike, case.question)
        errors.append(np.abs(all_causes(case.bike, cut) - right).mean())
        only = Question(cut.observations, cut.repairs, cut.now, cut.targets, cut.start, cut.turn, cut.shown)
        without.append(np.abs(all_causes(case.bike, only) - right).mean())
    assert len(errors) > 50
    assert np.mean(errors) < 0.02
    assert np.mean(errors) < np.mean(without) / 5


def test_what_came_again_in_the_same_way_counts_once(monkeypatch):
    """P(worn | it fails) is 0.3 x 0.321 / (0.3 x 0.321 + 0.7 x 0.03) = 0.821 however often it fails again: a link that
    acted once acts again (1 - 0.7 x 0.97 = 0.321), and what was repaired in between has no part in it. Drawn anew in
    each of three parts it would be 0.3 x 0.321^3 against 0.7 x 0.03^3, or the other way about with a leak that always acts.
    """
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    bike = built({"worn": 0.3, "loose": 0.5}, condition("fails", {"worn": 0.3}, leak=0.03))
    tightened = (RepairDone("tighten", {"loose": 1.0}), RepairDone("tighten", {"loose": 1.0}))
    seen = tuple(
        Observation("it fails", (), Rung(0.0, {"fails": {PRESENT: 1.0}}), Situation(epoch)) for epoch in range(3)
    )
    cut = settled(bike, Question(seen, tightened, Situation(2), ("fails",)))
    assert cut.apart == ("it fails", "it fails")
    assert posterior(bike, cut).causes["worn"] == pytest.approx(0.0963 / 0.1173, abs=1e-6)


def test_seen_again_it_is_less_likely_a_false_alarm(monkeypatch):
    """Nothing but `worn` (0.1) can make it fail, and a look errs with 0.2: seen three times, 0.2^3 stands against it."""
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    bike = built({"worn": 0.1, "loose": 0.5}, condition("fails", {"worn": 0.999999}))
    tightened = (RepairDone("tighten", {"loose": 1.0}), RepairDone("tighten", {"loose": 1.0}))
    seen = tuple(
        Observation("it fails", (), Rung(0.2, {"fails": {PRESENT: 1.0}}), Situation(epoch)) for epoch in range(3)
    )
    cut = settled(bike, Question(seen, tightened, Situation(2), ("fails",)))
    assert posterior(bike, cut).causes["worn"] == pytest.approx(0.1 / (0.1 + 0.9 * 0.008), abs=1e-5)


def test_that_it_fails_is_not_lost_in_parts(monkeypatch):
    """It failed, nothing was done, so it fails: P = 1. Said of each cause alone it would be 1 - 0.66^2 x 0.91 or less."""
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    bike = built({"a": 0.3, "b": 0.3, "c": 0.3}, condition("fails", {"a": 1.0, "b": 1.0, "c": 1.0}))
    failed = Observation("it fails", (), Rung(0.0, {"fails": {PRESENT: 1.0}}))
    looks = [Observation(f"{cause} looks good", (Rung(0.1, {cause: {PRESENT: 0.2}}),), None) for cause in "abc"]
    whole = Question((failed, *looks), targets=("fails",))
    cut = settled(bike, whole)
    assert [seen.label for seen in cut.observations] == ["it fails"]
    assert posterior(bike, cut).failing == pytest.approx(1.0)
    np.testing.assert_allclose(all_causes(bike, cut), all_causes(bike, whole), rtol=0, atol=1e-6)


def test_what_fits_is_asked_as_it_is(shipped):
    job = begin(shipped, {"bike": {"strokes": "4"}, "complaint": "not_a_cough"})
    assert not job.question.untied
    assert not job.question.apart


def test_causes_of_one_mechanism_come_together_though_their_ties_are_reckoned_apart():
    """Each cause is there with 0.5 where it was damp (0.2) and never where it was not; one of them was found.

    So it was damp, and the other is there with 0.5; of each by itself it would be 0.1.
    """
    bike = built({"a": 0.1, "b": 0.1}, condition("fails", {"a": 1.0, "b": 1.0}))
    roots = {name: replace(bike.roots[name], mechanism="damp", off=0.0, on=0.5) for name in "ab"}
    bike = replace(bike, mechanisms={"damp": 0.2}, roots={**bike.roots, **roots})
    seen = Observation("a is wet", (), Rung(0.0, {"a": {PRESENT: 1.0}}), Situation())
    cut = settled(bike, Question((seen,), targets=("fails",)))
    assert cut.untied
    assert not cut.apart
    assert posterior(bike, cut).causes == pytest.approx({"a": 1.0, "b": 0.5}, abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_ties_reckoned_apart_come_near_the_exact_answer(seed):
    case = repaired_case(seed)
    whole, cut = case.question, settled(case.bike, case.question)
    np.testing.assert_allclose(all_causes(case.bike, cut), all_causes(case.bike, whole), rtol=0, atol=0.04)
    assert posterior(case.bike, cut).failing == pytest.approx(posterior(case.bike, whole).failing, abs=0.04)


def test_answers_that_contradict_each_other_are_named_there_too():
    bike = built({"worn": 0.3}, condition("fails", {"worn": 0.5}))
    always = Rung(0.0, {"fails": {PRESENT: 1.0}})
    seen = (
        Observation("it is worn", (), Rung(0.0, {"worn": {PRESENT: 0.9}}), Situation()),
        Observation("it fails", (), always, Situation()),
        Observation("it never fails", (always,), None, Situation()),
    )
    with pytest.raises(ImpossibleEvidence, match="it fails; it never fails") as met:
        settled(bike, Question(seen, targets=("fails",)))
    assert met.value.answers == ("it fails", "it never fails")


def test_a_new_part_is_not_blamed_for_what_was_so_before_it(monkeypatch):
    """It failed before and after a new plug; a good plug fails nothing, so what is worn (0.05) must be the reason.

    In parts it is told once that it failed. A plug that was good (0.7) and is bad now (0.02) would leave what is worn
    at 0.05 / (0.05 + 0.95 x 0.7 x 0.02) = 0.79; weighed besides by the chance that the old plug was bad (0.3), at 0.93.
    """
    monkeypatch.setattr(parts, "PART_CELLS", 1)
    bike = built({"worn": 0.05, "plug": 0.3}, condition("fails", {"worn": 1.0, "plug": 1.0}))
    renewed = (RepairDone("new_plug", {"plug": 1.0}, {"plug": 0.02}),)
    seen = tuple(
        Observation("it fails", (), Rung(0.0, {"fails": {PRESENT: 1.0}}), Situation(epoch)) for epoch in range(2)
    )
    cut = settled(bike, Question(seen, renewed, Situation(1), ("fails",)))
    assert cut.apart == ("it fails",)
    assert posterior(bike, cut).causes["worn"] == pytest.approx(0.05 / (0.05 + 0.95 * 0.7 * 0.3 * 0.02), abs=1e-6)


@pytest.mark.slow
def test_a_long_job_is_never_too_much(shipped):
    bike = {"strokes": "4", "starter": "kick", "ignition": "cdi_self", "fuelling": "carburettor", "parked": "year"}
    job = begin(shipped, {"bike": bike, "complaint": "runs_then_starves"})
    done = ["new_line_filter", "new_fuel_hose", "new_plug", "clean_main_jet", "free_throttle_cable", "set_pilot_screw"]
    for name in done:
        job = job.add(repair(name)).add(try_out("runs_badly"))
    assert job.question.apart
    assert job.belief.failing > 0.5
    assert job.next_step is not None


@pytest.mark.slow
def test_a_bike_flooded_and_dried_again_and_again_is_not_too_much(shipped):
    """Each kick may flood it and each drying cure that: 2^12 courses of one cause, and gigabytes, were they all laid out."""
    bike = {
        "strokes": "2",
        "starter": "kick",
        "ignition": "points_magneto",
        "fuelling": "carburettor",
        "parked": "lately",
    }
    job = begin(shipped, {"bike": bike, "complaint": "not_a_cough"})
    for _ in range(12):
        job = job.add(try_out("nothing")).add(repair("dry_out_engine"))
    job = job.add(try_out("nothing"))
    assert courses("flooded_by_drill", job.state.repairs) > 2**12
    assert job.question.untied
    assert job.belief.failing > 0.9
    assert sum(done.dud.get("flooded_by_drill", 0.0) > 0 for done in job.question.repairs) in MADE_KEPT
    assert job.next_step is not None
