"""Tools the shop has not: what needs them is left out, what can be done another way is not."""

from __future__ import annotations

import pytest

from diagnose.consultation import begin, no_tool, undo
from diagnose.events import Event
from diagnose.tools import known_tools, missing, ways

BIKE = {
    "starter": "kick",
    "fuelling": "carburettor",
    "cylinders": "1",
    "strokes": "4",
    "ignition": "points_magneto",
    "parked": "lately",
}


def begun(shipped, *without):
    return begin(shipped, {"bike": BIKE, "complaint": "not_a_cough", "shop": {"without": list(without)}})


@pytest.mark.parametrize(
    ("tool", "without", "is_missing"),
    [
        ("gap tester", {"gap tester"}, True),
        ("gap tester", {"tester"}, False),
        ("vernier or float gauge", {"vernier"}, False),
        ("vernier or float gauge", {"vernier", "float gauge"}, True),
        ("borescope with mirror", {"borescope"}, True),
        ("borescope with mirror", {"mirror"}, False),
        ("borescope", {"borescope with mirror"}, False),
        ("wire brush", {"wire"}, False),
    ],
)
def test_when_a_tool_is_missing(tool, without, is_missing):
    assert missing(tool, without) is is_missing


def test_tools_are_named_one_by_one_and_without_what_says_more_of_them(shipped):
    known = known_tools(shipped)
    assert {"gap tester", "vernier", "float gauge", "borescope", "borescope with mirror"} <= known
    assert not any(" or " in tool for tool in known)


def needing(job, tool):
    """Return what needs a tool with nothing open, by the book itself."""
    works = [*job.knowledge.tests.values(), *job.knowledge.repairs.values()]
    return {work.id for work in works if tool in work.tools}


def test_what_needs_it_is_not_proposed_but_told(shipped):
    whole, job = begun(shipped), begun(shipped, "gap tester")
    needs = needing(job, "gap tester")
    assert "spark_at_points" in needs & {step.id for step in whole.steps}
    assert not needs & {step.id for step in job.steps}
    told = {one.work.id: one.tools for one in job.out_of_reach}
    assert told["spark_at_points"] == ("gap tester",)
    assert whole.out_of_reach == ()
    assert {step.id for step in whole.steps} - {step.id for step in job.steps} <= set(told)


def test_a_tool_for_what_is_still_shut_counts_and_no_longer_when_it_is_open(shipped):
    access = shipped.access["plug_out"].tools[0]
    job = begun(shipped, access)
    assert "feel_thumb" not in {step.id for step in job.steps}
    opened = job.add(Event("open", {"access": "plug_out"}))
    assert "feel_thumb" in {step.id for step in opened.steps}


def test_saying_so_at_a_step_puts_it_off_the_list_until_the_tool_is_there(shipped):
    job = begun(shipped).add(no_tool("gap tester", "spark_at_points"))
    assert job.state.off_list["spark_at_points"] == ("cannot", "no gap tester")
    assert job.state.shop.without == {"gap tester"}
    assert "spark_at_points" not in {step.id for step in job.steps}
    for back in (job.add(Event("tool", {"tool": "gap tester", "have": True})), job.add(undo())):
        assert not back.state.off_list
        assert not back.state.shop.without
        assert "spark_at_points" in {step.id for step in back.steps}


def test_repairs_without_their_tool_are_handed_on(shipped):
    job = begun(shipped, *ways("soldering iron or crimper"))
    lacking = {one.work.id for one in job.out_of_reach} & shipped.repairs.keys()
    assert lacking
    assert not lacking & {step.id for step in job.steps}
