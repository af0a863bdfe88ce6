"""Evidence too much for one tree, reckoned in parts that agree on every cause: expectation propagation.

After many repairs and try-outs the earlier answers and the later ones look at the same conditions in several
situations, and one exact network no longer fits. The answers are then cut, in the order of time, into parts
that each fit. A part is exact in itself; of the others it knows what they say of each cause and mechanism
alone. Notation: p, what is believed of causes without any answer; t_i, what part i says of them; m_i(x), a
weight on every cause and mechanism x that stands for t_i. m_i is chosen so that the marginals of
p prod_j m_j are those of t_i p prod_{j != i} m_j, over and over until no marginal moves.
Exact where a part's answers bear on single causes; else the parts' say on how causes hang together is lost.
Source: Minka 2001, "Expectation propagation for approximate Bayesian inference" (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress

import numpy as np

from diagnose.inference.compile import Wanted, compile_network
from diagnose.inference.factor import Table
from diagnose.inference.junction_tree import MOST_CELLS, JunctionTree, Propagation
from diagnose.inference.ladder import Observation
from diagnose.inference.triangulation import NetworkTooWide
from diagnose.network.graph import BikeGraph
from diagnose.network.situations import RepairDone

PART_CELLS = 2**18
"""Cells of a part's widest clique at most, for it is asked many times; a single answer may have MOST_CELLS."""

MOST_SWEEPS = 12
"""So often every part is heard at most."""

STILL = 2e-3
"""The parts agree once no marginal moves by more: what is lost by cutting is larger."""

LEAST = 1e-12
"""No state is ruled out altogether by a part that is carried."""

Carried = dict[str, Table]
"""Cause or mechanism -> a weight for each of its states."""


def in_parts(
    bike: BikeGraph,
    observations: Sequence[Observation],
    repairs: tuple[RepairDone, ...],
    wanted: Wanted,
    most_cells: int,
) -> tuple[tuple[Observation, ...], Carried]:
    """Return the latest answers that fit together with what is asked, and what all the others say of each cause.

    Raises NetworkTooWide where a single answer, or what is asked by itself, does not fit.
    """
    parts = [_latest_that_fit(bike, tuple(observations), repairs, wanted, most_cells)]
    while rest := tuple(observations)[: len(observations) - sum(map(len, parts))]:
        parts.insert(0, _latest_that_fit(bike, rest, repairs, {}, MOST_CELLS))
    if len(parts) == 1:
        return parts[0], {}
    return parts[-1], _agreed(bike, parts, repairs)


def _latest_that_fit(
    bike: BikeGraph, observations: tuple[Observation, ...], repairs: tuple[RepairDone, ...], wanted: Wanted, most: int
) -> tuple[Observation, ...]:
    """The longest end of the answers that fits, cut between two repairs if it can be; maybe none of them."""
    new = [n for n, o in enumerate(observations) if n and o.situation.epoch != observations[n - 1].situation.epoch]
    starts = [0, *new, *(n for n in range(1, len(observations)) if n not in new)]
    for start in starts:
        with suppress(NetworkTooWide):
            return _fitting(bike, observations[start:], repairs, wanted, most)
    return _fitting(bike, () if wanted else observations[-1:], repairs, wanted, most)


def _fitting(
    bike: BikeGraph, end: tuple[Observation, ...], repairs: tuple[RepairDone, ...], wanted: Wanted, most: int
) -> tuple[Observation, ...]:
    """Return the answers as they are. Raises NetworkTooWide if they, or what is asked with them, do not fit."""
    JunctionTree(compile_network(bike, end, repairs).factors, PART_CELLS if len(end) > 1 else MOST_CELLS)
    if wanted:
        JunctionTree(compile_network(bike, end, repairs, wanted).factors, most)
    return end


def _agreed(bike: BikeGraph, parts: Sequence[Sequence[Observation]], repairs: tuple[RepairDone, ...]) -> Carried:
    """What all parts but the last say, once they agree."""
    about = bike.above(driver for part in parts for seen in part for driver in seen.drivers)
    alone = _Part(bike, (), repairs, about)
    heard = [_Part(bike, part, repairs, about) for part in parts]
    says: list[Carried] = [{} for _ in parts]
    for _ in range(MOST_SWEEPS):
        moved = 0.0
        for n, part in enumerate(heard):
            others = _together([m for k, m in enumerate(says) if k != n])
            said = part.marginals(others)
            before = alone.marginals(_together(says))
            says[n] = _together([says[n], {x: _ratio(said[x], before[x]) for x in said}])
            moved = max(moved, *(float(np.abs(said[x] - before[x]).max()) for x in said))
        if moved < STILL:
            break
    return _together(says[:-1])


def _together(some: Sequence[Carried]) -> Carried:
    """The product of what parts say, each state's weight beside the likeliest's."""
    found: Carried = {}
    for one in some:
        for x, w in one.items():
            found[x] = found[x] * w if x in found else w
    return {x: np.maximum(w / w.max(), LEAST) for x, w in found.items()}


def _ratio(said: Table, before: Table) -> Table:
    result: Table = np.maximum(said, LEAST) / np.maximum(before, LEAST)
    return result


class _Part:
    """One part as a tree, asked again and again with other weights on the causes.

    about: what some answer of some part bears on; of other causes no part says anything but by their mechanism.
    """

    def __init__(
        self,
        bike: BikeGraph,
        observations: Sequence[Observation],
        repairs: tuple[RepairDone, ...],
        about: frozenset[str],
    ) -> None:
        self._bike, self._about = bike, about
        self._network = compile_network(bike, observations, repairs)
        self._tree = JunctionTree(self._network.factors)

    def marginals(self, carried: Mapping[str, Table]) -> Carried:
        """P(state) of every mechanism and every cause that is asked about, with these weights on them besides."""
        folded = self._network.folded
        weights = []
        for x, w in carried.items():
            cause = folded.get(x)
            weights.append((cause.scope, cause.share(w)) if cause else ((x,), w))
        done = self._tree.propagate([(scope, table[..., None]) for scope, table in weights])
        found = {m: done.marginal(m)[:, 0] for m in self._bike.mechanisms}
        return found | {cause: self._of_cause(cause, done, carried) for cause in folded if cause in self._about}

    def _of_cause(self, cause: str, done: Propagation, carried: Mapping[str, Table]) -> Table:
        folded = self._network.folded[cause]
        joint = done.joint(folded.scope)[..., 0]
        table = folded.table
        if cause in carried and folded.scope != (cause,):
            table = table * carried[cause].reshape(-1, *(1 for _ in folded.scope))
        total = table.sum(axis=0)
        share = np.divide(joint, total, out=np.zeros_like(joint), where=total != 0)
        found = np.clip((table * share).reshape(len(table), -1).sum(axis=1), 0.0, 1.0)
        result: Table = found / found.sum()
        return result
