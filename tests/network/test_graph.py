"""The decision graph of a bike: what is in it, how it hangs together, what the facts leave out."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest

from diagnose.model import (
    BEHAVIOUR,
    Access,
    AllOf,
    Cause,
    Condition,
    Fact,
    Knowledge,
    Link,
    Mechanism,
    Option,
    Outcome,
    Repair,
    Test,
)
from diagnose.network.graph import LEAK, decision_graph
from diagnose.network.priors import split_by_mechanism
from diagnose.problems import Place

COMMON = {"name": "n", "basis": (), "place": Place("test")}
KICK, ELECTRIC = frozenset(("kick",)), frozenset(("electric",))


def cause(name, mechanism=None, applies=None, **does):
    links = tuple(Link(parent=name, child=c, table={"present": {"present": p}}) for c, p in does.items())
    return Cause(
        id=name,
        **COMMON,
        system="s",
        plain="",
        applies=applies or {},
        mechanism=mechanism,
        prior=(0.1, 0.2, 0.3),
        links=links,
    )


def state(name, leak=None, applies=None, all_of=(), system="s", **does):
    links = tuple(Link(parent=name, child=c, table={"present": {"present": p}}) for c, p in does.items())
    return Condition(
        id=name, **COMMON, system=system, levels=("absent", "present"), level_names={}, applies=applies or {},
        leak=leak or {}, leak_name=f"something else: {name}", links=links, all_of=all_of,
    )  # fmt: skip


def look(name, *drivers, symptom=False, access=(), applies=None):
    rung = Outcome(id="bad", name="bad", drivers={d: {"present": 0.9} for d in drivers})
    return Test(
        id=name, **COMMON, system="s", symptom=symptom, kind="look", why="", access=access, applies=applies or {},
        outcomes=(rung, Outcome(id="good", name="good", default=True)),
    )  # fmt: skip


def by_id(*entries):
    return {entry.id: entry for entry in entries}


@pytest.fixture
def knowledge():
    spark_and_fuel = AllOf(
        parents={"no_spark": frozenset(("present",)), "no_fuel": frozenset(("present",))}, chances={"present": 0.9}
    )
    stored = Fact(
        id="stored", **COMMON, ask="?", kind="history",
        options={"outdoors": Option(id="outdoors", name="o", odds={"damp": 3.0, "plug_dead": 2.0})},
    )  # fmt: skip
    return Knowledge(
        facts=by_id(stored),
        mechanisms=by_id(
            Mechanism(id="damp", **COMMON, prior=(0.1, 0.2, 0.4), odds_ratio=5.0),
            Mechanism(id="vermin", **COMMON, prior=(0.1, 0.2, 0.4), odds_ratio=5.0),
        ),
        conditions=by_id(
            state("no_spark", {"present": 0.02}, no_start=0.95),
            state("no_fuel", no_start=0.9),
            state("no_cranking", {"present": 0.1}, {"starter": ELECTRIC}, no_start=0.9),
            state("no_start", {"present": 0.01}, system=BEHAVIOUR),
            state("no_hope", all_of=(spark_and_fuel,)),
        ),
        causes=by_id(
            cause("plug_dead", None, None, no_spark=0.9),
            cause("coil_damp", "damp", None, no_spark=0.7),
            cause("battery_flat", "damp", {"starter": ELECTRIC}, no_cranking=0.9, no_spark=0.2),
            cause("tap_shut", None, None, no_fuel=0.99),
        ),
        tests=by_id(
            look("spark_at_gap", "no_spark", "battery_flat", access=("plug_out",)),
            look("plug_dead", "plug_dead", symptom=True),
            look("lights", "battery_flat", applies={"starter": ELECTRIC}),
        ),
        repairs=by_id(
            Repair(id="new_plug", **COMMON, system="s", cures={"plug_dead": 0.98}, access=("plug_out",)),
            Repair(id="charge", **COMMON, system="s", cures={"battery_flat": 0.9}),
        ),
        access=by_id(
            Access(id="plug_out", **COMMON, applies={}, needs=("cover_off",), open=2.0, close=3.0),
            Access(id="cover_off", **COMMON, applies={}, needs=(), open=1.0, close=1.0),
        ),
        complaints={}, cautions={}, sources={}, version="test",
    )  # fmt: skip


def kinds(graph):
    found = {}
    for node, kind in graph.nodes(data="kind"):
        found.setdefault(kind, set()).add(node)
    return found


def edges(graph, kind):
    return {(u, v) for u, v, k in graph.edges(data="kind") if k == kind}


def test_a_kick_start_bike_has_what_applies_to_it(knowledge):
    bike = decision_graph(knowledge, {"starter": "kick", "parked": "years"})
    assert nx.is_directed_acyclic_graph(bike.graph)
    assert kinds(bike.graph) == {
        "mechanism": {"damp"},
        "cause": {"plug_dead", "coil_damp", "tap_shut", "other:no_spark", "other:no_start"},
        "condition": {"no_spark", "no_fuel", "no_start", "no_hope"},
        "symptom": {"test:plug_dead"},
        "test": {"test:spark_at_gap"},
        "repair": {"repair:new_plug"},
        "access": {"access:plug_out", "access:cover_off"},
    }
    assert set(bike.roots) == kinds(bike.graph)["cause"]
    assert set(bike.mechanisms) == {"damp"}, "a mechanism from which nothing grows is no root"


def test_edges_say_what_leads_to_what(knowledge):
    graph = decision_graph(knowledge, {"starter": "kick"}).graph
    assert edges(graph, "grows_from") == {("damp", "coil_damp")}
    assert edges(graph, "leads_to") == {
        ("plug_dead", "no_spark"), ("coil_damp", "no_spark"), ("other:no_spark", "no_spark"), ("tap_shut", "no_fuel"),
        ("no_spark", "no_start"), ("no_fuel", "no_start"), ("other:no_start", "no_start"),
        ("no_spark", "no_hope"), ("no_fuel", "no_hope"),
    }  # fmt: skip
    assert edges(graph, "shows_in") == {("no_spark", "test:spark_at_gap"), ("plug_dead", "test:plug_dead")}
    assert edges(graph, "cured_by") == {("plug_dead", "repair:new_plug")}
    assert edges(graph, "reached_through") == {
        ("test:spark_at_gap", "access:plug_out"), ("repair:new_plug", "access:plug_out"), ("access:plug_out", "access:cover_off")
    }  # fmt: skip
    assert set(graph.edges) == set().union(
        *(edges(graph, k) for k in ("grows_from", "leads_to", "shows_in", "cured_by", "reached_through"))
    )


def test_a_fact_that_is_not_known_rules_nothing_out(knowledge):
    kick, electric, unknown = (decision_graph(knowledge, f) for f in ({"starter": "kick"}, {"starter": "electric"}, {}))
    assert set(unknown.graph) == set(electric.graph)
    more = {"battery_flat", "no_cranking", "other:no_cranking", "test:lights", "repair:charge"}
    assert set(unknown.graph) - set(kick.graph) == more


def test_a_leak_is_shown_as_a_cause(knowledge):
    bike = decision_graph(knowledge, {})
    leak = bike.roots[LEAK + "no_spark"]
    assert (leak.name, leak.leak_of, leak.mechanism) == ("something else: no_spark", "no_spark", None)
    assert leak.marginal == leak.off == leak.on == 0.02
    assert LEAK + "no_fuel" not in bike.roots
    (link,) = [k for k in bike.links["no_spark"] if k.parent == leak.id]
    assert link.table == {"present": {"present": 1.0}}


def test_a_leak_of_several_levels_keeps_its_shares(knowledge):
    graded = replace(
        knowledge.conditions["no_spark"], levels=("good", "weak", "none"), leak={"weak": 0.03, "none": 0.01}, links=()
    )
    bike = decision_graph(replace(knowledge, conditions={**knowledge.conditions, "no_spark": graded}), {})
    assert bike.roots[LEAK + "no_spark"].marginal == pytest.approx(0.04)
    (link,) = [k for k in bike.links["no_spark"] if k.parent == LEAK + "no_spark"]
    assert link.table["present"] == pytest.approx({"weak": 0.75, "none": 0.25})


@pytest.mark.parametrize(("parked", "prior"), [("lately", 0.1), ("year", 0.2), ("years", 0.3)])
def test_priors_go_by_context_history_and_mechanism(knowledge, parked, prior):
    damp = {"lately": 0.1, "year": 0.2, "years": 0.4}[parked]
    plain = decision_graph(knowledge, {"parked": parked})
    assert plain.roots["plug_dead"].marginal == pytest.approx(prior)
    assert plain.mechanisms["damp"] == pytest.approx(damp)
    root = plain.roots["coil_damp"]
    assert (root.off, root.on) == pytest.approx(split_by_mechanism(prior, damp, 5.0))
    assert root.mechanism == "damp"
    wet = decision_graph(knowledge, {"parked": parked, "stored": "outdoors"})

    def odds(p):
        return p / (1 - p)

    assert odds(wet.mechanisms["damp"]) == pytest.approx(3 * odds(damp))
    assert odds(wet.roots["plug_dead"].marginal) == pytest.approx(2 * odds(prior))
    assert odds(wet.roots["coil_damp"].marginal) == pytest.approx(3 * odds(prior)), (
        "what its mechanism has more of, it has"
    )
    assert wet.roots["tap_shut"].marginal == pytest.approx(prior)


def test_order_ancestors_and_behaviours(knowledge):
    bike = decision_graph(knowledge, {"starter": "kick"})
    assert set(bike.order) == set(bike.conditions)
    for condition in bike.order:
        for parent in bike.parents(condition):
            assert parent in bike.roots or bike.order.index(parent) < bike.order.index(condition)
    assert bike.ancestors["no_fuel"] == {"no_fuel", "tap_shut"}
    assert bike.ancestors["no_hope"] == bike.ancestors["no_spark"] | bike.ancestors["no_fuel"] | {"no_hope"}
    assert bike.parents("no_hope") == ["no_spark", "no_fuel"]
    assert bike.behaviours == {"no_start"}, "told by its system"


def test_the_shipped_knowledge_makes_a_graph_without_circles(shipped):
    knowledge = getattr(shipped, "knowledge", shipped)
    for facts in ({}, {"strokes": "2", "starter": "kick"}, {"strokes": "4", "starter": "electric", "parked": "years"}):
        bike = decision_graph(knowledge, facts)
        assert nx.is_directed_acyclic_graph(bike.graph)
        known = {"mechanism", "cause", "condition", "symptom", "test", "repair", "access"}
        assert set(kinds(bike.graph)) == known
        assert set(nx.get_edge_attributes(bike.graph, "kind").values()) == {
            "grows_from",
            "leads_to",
            "shows_in",
            "cured_by",
            "reached_through",
        }
        assert all(0 < root.marginal < 1 for root in bike.roots.values())
        for root in bike.roots.values():
            if root.mechanism:
                m = bike.mechanisms[root.mechanism]
                assert m * root.on + (1 - m) * root.off == pytest.approx(root.marginal, abs=1e-12)
