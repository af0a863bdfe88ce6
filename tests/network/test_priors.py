"""Priors: moved by odds, split by a mechanism without changing what is stated."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from diagnose.model import Fact, Option
from diagnose.network.priors import HIGHEST, by_context, odds_factors, split_by_mechanism, times_odds
from diagnose.problems import Place

chance = st.floats(1e-6, 1 - 1e-6)
ratio = st.floats(1e-3, 1e3)


def odds(p: float) -> float:
    return p / (1 - p)


@given(chance, st.floats(0, 1), ratio)
@example(0.35, 0.5, 1.0)
@example(0.35, 0.0, 4.0)
@example(0.35, 1.0, 4.0)
@example(0.999, 0.3, 1000.0)
def test_a_split_keeps_the_marginal_and_the_odds_ratio(p, m, r):
    off, on = split_by_mechanism(p, m, r)
    assert 0 < off < 1
    assert 0 < on < 1 or on == pytest.approx(1.0)
    assert m * on + (1 - m) * off == pytest.approx(p, rel=1e-6, abs=1e-12)
    assert on * (1 - off) == pytest.approx(r * off * (1 - on), rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("p", "m", "r"), [(0.2, 0.3, 3.0), (0.05, 0.6, 8.0), (0.7, 0.1, 0.5)])
def test_a_split_is_what_bisection_finds(p, m, r):
    low, high = 0.0, 1.0
    for _ in range(100):
        off = (low + high) / 2
        on = r * odds(off) / (1 + r * odds(off))
        low, high = (off, high) if m * on + (1 - m) * off < p else (low, off)
    assert split_by_mechanism(p, m, r) == pytest.approx((off, on), abs=1e-12)


@pytest.mark.parametrize(("p", "m", "r"), [(0.0, 0.5, 2), (1.0, 0.5, 2), (0.3, -0.1, 2), (0.3, 1.1, 2), (0.3, 0.5, 0)])
def test_a_split_refuses_what_is_out_of_range(p, m, r):
    with pytest.raises(ValueError, match="out of range"):
        split_by_mechanism(p, m, r)


@given(chance, ratio)
def test_odds_are_multiplied_up_to_the_highest(p, factor):
    moved = times_odds(p, factor)
    wanted = odds(p) * factor
    if wanted / (1 + wanted) <= max(HIGHEST, p):
        assert odds(moved) == pytest.approx(wanted, rel=1e-6)
    else:
        assert moved == max(HIGHEST, p)


@given(chance)
def test_no_odds_no_move(p):
    assert times_odds(p, 1.0) == pytest.approx(p, rel=1e-12)


@pytest.mark.parametrize(
    ("facts", "p"),
    [
        ({"parked": "lately"}, 0.02),
        ({"parked": "year"}, 0.1),
        ({"parked": "years"}, 0.45),
        ({}, 0.19),
        ({"parked": "?"}, 0.19),
    ],
)
def test_the_prior_goes_by_how_long_it_stood(facts, p):
    assert by_context((0.02, 0.1, 0.45), facts) == pytest.approx(p)


def fact(name: str, **options: dict[str, float]) -> Fact:
    made = {o: Option(id=o, name=o, odds=odds) for o, odds in options.items()}
    return Fact(id=name, name=name, basis=(), place=Place("test"), ask="?", kind="history", options=made)


def test_odds_of_several_facts_multiply_and_unknown_ones_do_nothing():
    known = [
        fact("stored", outdoors={"damp": 3.0, "wire_chewed": 2.0}, indoors={"damp": 0.5}),
        fact("worked_on", yes={"wire_chewed": 1.5}, no={}),
        fact("fuel_left", yes={"gum": 4.0}),
    ]
    assert odds_factors({"stored": "outdoors", "worked_on": "yes"}, known) == {"damp": 3.0, "wire_chewed": 3.0}
    assert odds_factors({"stored": "indoors", "fuel_left": "of course"}, known) == {"damp": 0.5}
    assert odds_factors({}, known) == {}
