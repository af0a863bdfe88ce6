"""Access: what has to come off first, and what it costs."""

from __future__ import annotations

import pytest

from diagnose.model import Access
from diagnose.planning.access import AccessTree
from diagnose.problems import Place


def state(name: str, *needs: str, open_: float, close: float) -> Access:
    return Access(id=name, name=name, basis=(), place=Place("t"), applies={}, needs=needs, open=open_, close=close)


@pytest.fixture
def tree() -> AccessTree:
    """Seat, then tank, then airbox (which also needs the side panel); cover stands alone."""
    states = [
        state("airbox", "tank", "panel", open_=8, close=9),
        state("tank", "seat", open_=4, close=5),
        state("panel", open_=2, close=2),
        state("seat", open_=1, close=1),
        state("cover", open_=10, close=12),
    ]
    return AccessTree({one.id: one for one in states})


def test_closure_takes_every_parent(tree: AccessTree) -> None:
    assert tree.closure(["airbox"]) == {"airbox", "tank", "panel", "seat"}
    assert tree.closure([]) == frozenset()
    assert tree.closure(["cover", "seat"]) == {"cover", "seat"}


def test_opening_goes_outermost_first(tree: AccessTree) -> None:
    assert tree.to_open(["airbox"], frozenset()) == ("panel", "seat", "tank", "airbox")
    assert tree.to_open(["airbox"], frozenset({"seat", "panel"})) == ("tank", "airbox")
    for known in (tree.ids, tree.to_open(tree.states, frozenset())):
        for one in known:
            assert all(known.index(need) < known.index(one) for need in tree.states[one].needs)


def test_shared_access_is_paid_once(tree: AccessTree) -> None:
    assert tree.minutes_to_open(["airbox"], frozenset()) == 1 + 4 + 2 + 8
    assert tree.minutes_to_open(["airbox", "tank", "seat"], frozenset()) == 1 + 4 + 2 + 8
    assert tree.minutes_to_open(["airbox"], frozenset({"seat", "tank"})) == 2 + 8
    assert tree.minutes_to_close(frozenset({"seat", "tank"})) == 6


def test_unknown_ids_are_refused(tree: AccessTree) -> None:
    with pytest.raises(KeyError, match="boot"):
        tree.closure(["boot"])
    with pytest.raises(KeyError, match="boot"):
        tree.to_open(["seat"], frozenset({"boot"}))
    with pytest.raises(KeyError, match="boot"):
        tree.minutes_to_close(frozenset({"boot"}))
    with pytest.raises(KeyError, match="boot"):
        AccessTree({"lid": state("lid", "boot", open_=1, close=1)})


def test_a_circle_is_refused_by_name() -> None:
    states = {"a": state("a", "b", open_=1, close=1), "b": state("b", "a", open_=1, close=1)}
    with pytest.raises(ValueError, match="a -> b -> a"):
        AccessTree(states)


def test_the_order_of_the_file_does_not_matter(tree: AccessTree) -> None:
    turned = AccessTree(dict(reversed(list(tree.states.items()))))
    assert turned.ids == tree.ids
    assert turned.to_open(["airbox", "cover"], frozenset()) == tree.to_open(["cover", "airbox"], frozenset())
