"""The chart is the policy: against walks step by step, and a case worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import pytest

from diagnose.chart import Ending, endings, layers
from diagnose.chart.branches import FEW
from diagnose.chart.equal import NEARLY, distance, same
from diagnose.chart.told import renumbered
from diagnose.chart.unroll import grow, telling, unroll
from diagnose.consultation import TRY_TO_START, observe, reconnect, repair, try_out
from diagnose.model import Outcome

PARKED = ("lately", "year", "years")


def after(job, step, outcome):
    if step.kind == "repair":
        return job.add(repair(step.id))
    if step.kind == "reconnect":
        return job.add(reconnect(step.id))
    return job.add(observe(step.id, outcome))


def policy(job, depth):
    """The policy as a tree, by hand: what is proposed, and for each outcome that is likely enough P(it) and what then.

    P(outcome) is the quotient of two probabilities of evidence, not what the planner says.
    """
    step = job.next_step
    if job.done:
        return "runs"
    if depth == 0 or step is None:
        return "end"
    if step.kind == "repair":
        return (step.id, {"": (1.0, policy(after(job, step, ""), depth - 1))})
    test = job.try_out if step.id == TRY_TO_START else job.knowledge.tests[step.id]
    found = {}
    for outcome in test.outcomes:
        then = after(job, step, outcome.id)
        chance = exp(then.belief.log_evidence - job.belief.log_evidence)
        if chance >= FEW:
            found[outcome.id] = (chance, policy(then, depth - 1))
    return (step.id, found)


def as_tree(chart, to, depth):
    """The same of a chart, equal states told apart again."""
    if isinstance(to, Ending):
        return "runs" if to.kind == "runs" else "end"
    if depth == 0:
        return "end"
    step = chart[to]
    return (step.id, {way.outcome: (way.chance, as_tree(chart, way.to, depth - 1)) for way in step.ways})


def alike(drawn, walked):
    """The same tree as far as the chart goes; where it ends with the interview the policy may go on."""
    if isinstance(drawn, str):
        return drawn == "end" or drawn == walked
    if isinstance(walked, str) or drawn[0] != walked[0] or drawn[1].keys() != walked[1].keys():
        return False
    pairs = [(drawn[1][outcome], walked[1][outcome]) for outcome in drawn[1]]
    return all(here == pytest.approx(there, abs=0.05) and alike(a, b) for (here, a), (there, b) in pairs)


@pytest.mark.parametrize("parked", PARKED)
def test_the_chart_is_the_policy_walked_step_by_step(charts, small, new_job, parked):
    chart = charts[parked]
    assert len(chart.steps) >= 8
    assert alike(as_tree(chart, chart.start, 5), policy(new_job(small, parked), 5))


@pytest.mark.parametrize("parked", PARKED)
def test_the_first_step_has_the_chances_of_the_evidence(charts, small, new_job, parked):
    chart, job = charts[parked], new_job(small, parked)
    for way in chart[1].ways:
        then = after(job, job.next_step, way.outcome)
        assert way.chance == pytest.approx(exp(then.belief.log_evidence - job.belief.log_evidence), abs=1e-9)


@pytest.mark.parametrize("parked", PARKED)
def test_the_ways_out_of_a_step_add_up_to_one(charts, parked):
    for step in charts[parked].steps:
        assert sum(way.chance for way in step.ways) + step.rest == pytest.approx(1.0, abs=1e-9)
        assert all(way.chance >= FEW for way in step.ways)


@pytest.mark.parametrize("parked", PARKED)
def test_the_endings_add_up_to_one(charts, parked):
    assert sum(p for p, _ in endings(charts[parked])) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("parked", PARKED)
def test_what_is_come_to_is_what_leads_there(charts, parked):
    chart = charts[parked]
    into = {step.number: 0.0 for step in chart.steps} | {1: 1.0}
    for step in chart.steps:
        for way in step.ways:
            if isinstance(way.to, int):
                into[way.to] += step.reach * way.chance
    assert {step.number: step.reach for step in chart.steps} == pytest.approx(into)


@pytest.mark.parametrize("parked", PARKED)
def test_there_is_no_circle_and_every_step_is_come_to(charts, parked):
    chart = charts[parked]
    deep = layers(chart)
    assert all(deep[to] > deep[step.number] for step in chart.steps for to in step.next)
    assert {to for step in chart.steps for to in step.next} | {1} == {step.number for step in chart.steps}


def test_the_chart_says_that_it_runs_only_after_a_try_out_that_shows_it(charts):
    """Either at once, or by a test that comes after such a try-out and nothing else."""
    for chart in charts.values():
        into = {to: [] for to in range(len(chart.steps) + 1)}
        for step in chart.steps:
            for way in step.ways:
                if isinstance(way.to, int):
                    into[way.to].append((step, way))
        ends = [(step, way) for step in chart.steps for way in step.ways if isinstance(way.to, Ending)]
        runs = [(step, way) for step, way in ends if way.to.kind == "runs"]
        shown = [(step.id, way.outcome) == (TRY_TO_START, "runs") for step, way in runs]
        before = [all((s.id, w.outcome) == (TRY_TO_START, "runs") for s, w in into[step.number]) for step, _ in runs]
        assert all(
            here or (earlier and into[step.number])
            for here, earlier, (step, _) in zip(shown, before, runs, strict=True)
        )
    assert any(caution.id == "road_ready" for chart in charts.values() for caution in chart.cautions)


def test_it_grows_only_as_far_as_it_fits(small, new_job):
    seen = []

    def fits(chart):
        seen.append(len(chart.steps))
        return len(chart.steps) <= 3

    assert len(unroll(new_job(small), fits).steps) == 3
    assert max(seen) == 4


@pytest.mark.parametrize("parked", PARKED)
def test_no_test_is_drawn_of_which_nothing_comes(charts, parked):
    for step in charts[parked].steps[1:]:
        ends = [way.to for way in step.ways]
        if step.kind == "test" and all(isinstance(end, Ending) and end.kind == "interview" for end in ends):
            assert len({frozenset(name for name, _ in end.likeliest[:2]) for end in ends}) > 1


def test_what_leads_to_a_test_of_which_nothing_comes_ends_the_chart(small, new_job):
    """Three nodes by hand: the first leads to the second and third, and nothing comes of the second."""
    known = three_ways(small)
    start = grow(new_job(known))
    grey, dull, bright = start.branches
    names = (("Tank empty", 0.5), ("Plug dead inside", 0.4))
    second = grow(dull.after)
    shows = (replace(second.branches[0], causes=names), replace(second.branches[0], causes=names[::-1]))
    second = replace(second, step=replace(second.step, kind="test"), branches=shows, to=(None, None))
    third = grow(grey.after)
    third = replace(third, step=replace(third.step, kind="repair"))
    kept = telling((replace(start, to=(2, 1, 1)), second, third))
    assert [node.step.id for node in kept] == [start.step.id, third.step.id]
    assert kept[0].to == (1, dull.ending, bright.ending)


def test_the_likeliest_outcome_is_followed_first(small, new_job):
    two = unroll(new_job(small), lambda chart: len(chart.steps) <= 2)
    followed = [way.chance for way in two[1].ways if way.to == 2]
    assert sum(followed) >= max(way.chance for way in two[1].ways) - 1e-9


def test_where_only_the_same_try_out_is_left_it_is_handed_on(small, new_job):
    only = {TRY_TO_START: small.tests[TRY_TO_START]}
    chart = unroll(new_job(replace(small, repairs={}, tests=only, version="nothing to do")), lambda _: True)
    assert [step.id for step in chart.steps] == [TRY_TO_START]
    nothing = chart[1].ways[0]
    assert isinstance(nothing.to, Ending)
    assert nothing.to.kind == "hand_on"
    # P(no fire | it was tried and did nothing) is near 1; the small book's likeliest cause of it is a film on the points
    assert nothing.to.likeliest[0][0] == small.causes["points_oxidised"].name


def test_a_job_that_is_done_has_no_steps(small, new_job):
    job = new_job(small)
    for event in (
        repair("clean_points"),
        repair("clean_pilot_jet"),
        repair("new_coil"),
        try_out("runs"),
        try_out("runs"),
    ):
        job = job.add(event)
    assert job.done
    chart = unroll(job, lambda _: True)
    assert (chart.start, chart.steps, endings(chart)) == (Ending("runs"), (), ((1.0, Ending("runs")),))


def three_ways(small):
    """The small book with a look at the points that tells bright from dull, which says nothing of any cause.

    Grey fires first. What is not grey is dull three times in ten whatever is wrong, else bright: by Bayes both leave
    the same belief, P(cause | dull) = P(cause) P(not grey | cause) 0.3 / (P(not grey) 0.3) = P(cause | bright).
    """
    look = small.tests["look_points"]
    grey, bright = look.outcomes
    dull = Outcome(id="dull", name="Dull", base=0.3)
    outcomes = (grey, dull, bright)
    tests = {**small.tests, "look_points": replace(look, outcomes=outcomes, minutes=0.5)}
    return replace(small, tests=tests, version="dull and bright")


def test_equal_states_are_one_step_with_two_ways_in(small, new_job):
    known = three_ways(small)
    job = new_job(known)
    assert job.next_step.id == "look_points"
    dull, bright = (job.add(observe("look_points", outcome)) for outcome in ("dull", "bright"))
    assert distance(dull, bright) == pytest.approx(0.0, abs=1e-9)
    chart = unroll(job, lambda chart: len(chart.steps) <= 4)
    ways = {way.outcome: way for way in chart[1].ways}
    assert ways["dull"].to == ways["bright"].to
    assert ways["grey"].to != ways["bright"].to
    # P(dull) = 0.3 P(not grey), P(bright) = 0.7 P(not grey): together they are all that is not grey
    assert ways["dull"].chance / ways["bright"].chance == pytest.approx(3 / 7)
    assert chart[ways["dull"].to].reach == pytest.approx(1 - ways["grey"].chance)


def test_states_that_differ_in_what_is_open_are_not_one(small, new_job):
    job = new_job(small)
    seen = job.add(observe("look_points", "bright"))
    other = replace(seen, events=(*seen.events[:-1], *job.events[1:], seen.events[-1]))
    assert same(seen, other)
    from diagnose.events import Event

    assert not same(seen, seen.add(Event("open", {"access": "bowl_off"})))


def test_states_that_differ_in_belief_are_not_one(small, new_job):
    job = new_job(small)
    grey, bright = (job.add(observe("look_points", outcome)) for outcome in ("grey", "bright"))
    assert distance(grey, bright) > NEARLY
    assert not same(grey, bright)


def test_numbers_can_be_given_anew(charts):
    chart = charts["lately"]
    order = [1, *range(len(chart.steps), 1, -1)]
    back = renumbered(renumbered(chart, order), order)
    assert back == chart
