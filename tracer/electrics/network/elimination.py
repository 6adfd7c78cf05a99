"""Many networks with the same branches solved at once: nodes are taken out one after another, in all networks together.

A node without a current of its own is replaced by branches between its neighbours (star to mesh); one with a current hands it on to them. Which nodes, and in
which order, hangs on the branches alone and is found once. All sums are sums of positive conductances, so nothing is lost by subtraction: a megohm beside
a milliohm keeps its digits. For a few networks of any size, `network.factorise` has the quicker library.

References
----------
Star to mesh: Rosen (1924), J. IEE 62, 916-918. Fewest neighbours first: Tinney and Walker (1967), Proc. IEEE 55(11), 1801-1809. Both citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

__all__ = ["Elimination", "Reduction", "RowSums", "WholeElimination", "elimination_of", "whole_elimination_of"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_EARLY_NEIGHBOURS = 3  # a node with more is a hub, and taking it out early would join all its neighbours
_FEW_ROWS = 3  # so many are added up one after another, which is quicker than row by row (measured)


@dataclass(frozen=True, eq=False)
class RowSums:
    """Which rows of an array are added up into which rows of another.

    `order` sorts the rows so that few calls do it: first those that are the only one of their target, then the targets of two rows, the first row of each and
    after that the second, and so on; at last those of many rows, target by target. Row i of the sums belongs to row `into[i]` of the other array.

    Attributes
    ----------
    blocks : (number of targets, rows of each) of those of few rows
    start : first row of each of the others, counted from where they begin
    """

    order: IntArray
    into: IntArray
    blocks: Sequence[tuple[int, int]]
    start: IntArray

    @staticmethod
    def by(target: IntArray) -> RowSums:
        """For (r,) target rows."""
        by_target = np.argsort(target, kind="stable")
        into, first, count = np.unique(target[by_target], return_index=True, return_counts=True)
        orders, intos, blocks = [], [], []
        for rows in range(1, _FEW_ROWS + 1):
            here = np.flatnonzero(count == rows)
            if here.size:
                orders.append((first[here] + np.arange(rows)[:, np.newaxis]).ravel())
                intos.append(here)
                blocks.append((here.size, rows))
        many = np.flatnonzero(count > _FEW_ROWS)
        orders.append(np.flatnonzero(np.repeat(count, count) > _FEW_ROWS))
        order = by_target[np.concatenate(orders)]
        return RowSums(order, into[np.concatenate([*intos, many])], blocks, np.cumsum(count[many]) - count[many])

    def of(self, values: FloatArray) -> FloatArray:
        """The sums of the rows of `values`, which are in `order`."""
        if len(self.blocks) == 1 and not self.start.size and self.blocks[0][1] == 1:
            return values
        sums = np.empty((self.into.size, *values.shape[1:]))
        begin = done = 0
        for size, rows in self.blocks:
            here = sums[done : done + size]
            here[:] = values[begin : begin + size]
            for row in range(1, rows):
                here += values[begin + row * size : begin + (row + 1) * size]
            begin, done = begin + rows * size, done + size
        if self.start.size:
            np.add.reduceat(values[begin:], self.start, axis=0, out=sums[done:])
        return sums

    def add(self, values: FloatArray, target: FloatArray) -> None:
        """Add the sums of the rows of `values`, which are in `order`, to `target`."""
        target[self.into] += self.of(values)


@dataclass(frozen=True, eq=False)
class _Round:
    """Nodes taken out together, none a neighbour of another.

    `node` (p,); `edge`, `other`, `owner` (h,): their edges, the nodes at the far end, and which of the p nodes each belongs to, in the order of `around`, which
    sums around each node. `first`, `second` (q,): pairs of these that become a branch, in the order of `meshed`; `handed` sums currents into the neighbours,
    `giver` is the node that each comes from.
    """

    node: IntArray
    edge: IntArray
    other: IntArray
    owner: IntArray
    around: RowSums
    first: IntArray
    second: IntArray
    meshed: RowSums
    handed: RowSums
    giver: IntArray


@dataclass(frozen=True, eq=False)
class Reduction:
    """Conductances after some rounds, and what is needed to go back.

    `share` (h, s) of each round: how much of a node's current goes to, and of its voltage comes from, each neighbour; `total_s` (p, s) around each node.
    """

    rounds: Sequence[_Round]
    share: Sequence[FloatArray]
    total_s: Sequence[FloatArray]

    def forward(self, injected_a: FloatArray) -> None:
        """Hand the currents of the nodes taken out on to the rest, in place; (n, s) or (n, s, k) amperes."""
        # What is fed into a node that is taken out leaves it over its edges, in proportion to their conductances: as if it were fed into the neighbours.
        for step, share in zip(self.rounds, self.share, strict=True):
            values = widened(share[step.handed.order], injected_a) * injected_a[step.giver]
            step.handed.add(values, injected_a)

    def back(self, volts: FloatArray) -> None:
        """From the volts of the rest, and the currents of the nodes taken out in their place, to all volts; in place."""
        for step, share, total_s in zip(
            reversed(self.rounds), reversed(self.share), reversed(self.total_s), strict=True
        ):
            # a node's volts: the mean of its neighbours, weighted by conductance, and what its own current lifts it above that
            from_others = step.around.of(widened(share, volts) * volts[step.other])
            volts[step.node] = volts[step.node] / widened(total_s, volts) + from_others

    def solve(self, values: FloatArray) -> FloatArray:
        """From currents into the nodes to their volts, in place, where all but the reference, the last row, are taken out."""
        self.forward(values)
        values[-1] = 0.0
        self.back(values)
        return values


def widened(values: FloatArray, like: FloatArray) -> FloatArray:
    """Values for each column, for as many right-hand sides as the others have."""
    return values if values.ndim == like.ndim else values[..., np.newaxis]


@dataclass(frozen=True, eq=False)
class Elimination:
    """In which order the nodes of a network are taken out, in two stages.

    The early stage leaves `late_node` (b,), those asked for and the hubs; its rows are the nodes and edges of the whole network. The late stage has numbers of
    its own: row i is node `late_node[i]`, edge j is edge `late_edge[j]`, and row b is the reference.

    Attributes
    ----------
    node_count, edge_count : rows of the arrays of the whole network; more edges come in than there were
    reference : the node at 0 V, never taken out
    edge_of : (m,) edge of each branch given; -1 for one from a node to itself
    late_edge_count : rows of the array of conductances of the late stage; those after `late_edge` begin at 0 S
    """

    node_count: int
    edge_count: int
    reference: int
    edge_of: IntArray
    early: Sequence[_Round]
    late: Sequence[_Round]
    late_node: IntArray
    late_edge: IntArray
    late_edge_count: int

    def reduce_early(self, edge_s: FloatArray) -> Reduction:
        """Take out the early nodes of s networks; `edge_s` (edge_count, s) siemens, changed in place."""
        return _reduced(self.early, edge_s)

    def reduce_late(self, edge_s: FloatArray) -> Reduction:
        """Take out the late ones; `edge_s` (edges of the late stage, s) siemens, changed in place."""
        return _reduced(self.late, edge_s)


@dataclass(frozen=True, eq=False)
class WholeElimination:
    """In which order all nodes of one network are taken out; the reference is the node numbered last.

    Attributes
    ----------
    size : nodes besides the reference
    edge_of : (m,) edge of each branch given
    """

    size: int
    edge_count: int
    edge_of: IntArray
    rounds: Sequence[_Round]

    def reduced(self, conductance_s: FloatArray) -> WholeReduction:
        """With every node taken out, for (m,) siemens."""
        edge_s = np.bincount(self.edge_of, conductance_s, self.edge_count).astype(np.float64)[:, np.newaxis]
        return WholeReduction(self.size, _reduced(self.rounds, edge_s))


@dataclass(frozen=True, eq=False)
class WholeReduction:
    """A network with every node taken out: good for any currents."""

    size: int
    reduction: Reduction

    def solve(self, injected_a: FloatArray) -> FloatArray:
        """Volts against the reference for (size,) or (size, k) amperes."""
        values = np.zeros((self.size + 1, 1, *injected_a.shape[1:]))
        values[: self.size, 0] = injected_a
        volts: FloatArray = self.reduction.solve(values)[: self.size, 0]
        return volts


def whole_elimination_of(size: int, ends: IntArray) -> WholeElimination:
    """The order for a network whose every node has a way to the reference, which is numbered `size`; no branch joins a node to itself."""
    edges = _Edges(size)
    edge_of = np.array([edges.between(a, b) for a, b in ends.tolist()], dtype=np.intp)
    rounds = edges.taken_out(set(), size + 2)
    return WholeElimination(size, edges.count, edge_of, rounds)


def _reduced(rounds: Sequence[_Round], edge_s: FloatArray) -> Reduction:
    # Star-mesh: a node with conductances g1, g2 ... to its neighbours and nothing fed in is the same as a branch gi * gj / sum(g) between each two of them.
    # No node of a round is a neighbour of another, so their stars share no edge: one round is a handful of array operations for all of them, in all settings.
    shares, totals = [], []
    for step in rounds:
        here_s = edge_s[step.edge]
        total_s = step.around.of(here_s)
        share = here_s / total_s[step.owner]
        step.meshed.add(here_s[step.first] * share[step.second], edge_s)
        shares.append(share)
        totals.append(total_s)
    return Reduction(rounds, shares, totals)


def elimination_of(
    node_count: int, ends: IntArray, reference: int, *, late: IntArray, leaks: Sequence[int] = ()
) -> Elimination:
    """The order for networks with these branches.

    Parameters
    ----------
    ends : (m, 2) nodes of each branch
    reference : the node at 0 V
    late : nodes that stay for the late stage
    leaks : nodes with a branch to the reference of their own, numbered after the branches in `edge_of`; every island without a way to the reference needs one
    """
    edges = _Edges(reference)
    every = [*ends.tolist(), *((node, reference) for node in leaks)]
    edge_of = np.array([edges.between(a, b) if a != b else -1 for a, b in every], dtype=np.intp)
    stay = set(late.tolist())
    early = edges.taken_out(stay, _EARLY_NEIGHBOURS)
    # The late stage is small and is solved many more times than the early one, so it gets arrays of its own: a whole row of the vehicle's would be read for each.
    left = sorted(edges.at)
    edge_count = edges.count
    late_edge = sorted({edge for node in left for edge in edges.at[node].values()})
    numbers = {node: row for row, node in enumerate(left)}
    numbers[reference] = len(left)
    later = edges.renumbered(numbers, {edge: row for row, edge in enumerate(late_edge)})
    late_rounds = later.taken_out(set(), node_count)
    return Elimination(
        node_count,
        edge_count,
        reference,
        edge_of,
        early,
        late_rounds,
        np.array(left, dtype=np.intp),
        np.array(late_edge, dtype=np.intp),
        later.count,
    )


class _Edges:
    """The nodes that are left, each with its neighbours and the number of the edge to each."""

    def __init__(self, reference: int) -> None:
        self.reference = reference
        self.count = 0
        self.at: dict[int, dict[int, int]] = {}

    def between(self, a: int, b: int) -> int:
        """The edge between two nodes, a new one if there is none."""
        if a == self.reference:
            a, b = b, a
        here = self.at.setdefault(a, {})
        found = here.get(b)
        if found is None:
            found = here[b] = self.count
            self.count += 1
            if b != self.reference:
                self.at.setdefault(b, {})[a] = found
        return found

    def renumbered(self, nodes: dict[int, int], edges: dict[int, int]) -> _Edges:
        """A copy with other numbers."""
        copy = _Edges(nodes[self.reference])
        copy.count = len(edges)
        copy.at = {
            nodes[node]: {nodes[other]: edges[edge] for other, edge in here.items()} for node, here in self.at.items()
        }
        return copy

    def taken_out(self, stay: set[int], most_neighbours: int) -> list[_Round]:
        """Round after round those with the fewest neighbours, as long as they have no more than `most_neighbours`."""
        rounds = []
        waiting = {node: here for node, here in self.at.items() if node not in stay}
        while waiting:
            # Few neighbours first, as each star of n makes n(n-1)/2 branches. At least 2, so that a chain of wires, most of a vehicle, goes at once and not
            # end by end.
            limit = max(2, min(self._neighbours(here) for here in waiting.values()))
            if limit > most_neighbours:
                break
            chosen = self._apart(waiting, limit)
            for node in chosen:
                del waiting[node]
            rounds.append(self._round(chosen))
        return rounds

    def _neighbours(self, here: dict[int, int]) -> int:
        """How many neighbours a node has, the reference not counted."""
        return len(here) - (self.reference in here)

    def _apart(self, waiting: dict[int, dict[int, int]], limit: int) -> list[int]:
        """Nodes with at most `limit` neighbours, none next to another."""
        chosen: list[int] = []
        touched: set[int] = set()
        for node, here in waiting.items():
            if node not in touched and self._neighbours(here) <= limit:
                chosen.append(node)
                touched.update(here)
        return chosen

    def _round(self, chosen: list[int]) -> _Round:
        edge: list[int] = []
        other: list[int] = []
        owner: list[int] = []
        first: list[int] = []
        second: list[int] = []
        meshed: list[int] = []
        for row, node in enumerate(chosen):
            here = self.at.pop(node)
            begin = len(edge)
            edge.extend(here.values())
            other.extend(here)
            owner.extend([row] * len(here))
            for neighbour in here:
                if neighbour != self.reference:
                    del self.at[neighbour][node]
            for (i, a), (j, b) in combinations(enumerate(here, begin), 2):
                first.append(i)
                second.append(j)
                meshed.append(self.between(a, b))
        # Sums over rows of unequal number go by blocks of equal ones (`RowSums`), which wants the edges in its own order: so everything that points to an edge
        # (`first`, `second`) or to a node (`owner`) is told where that went.
        around = RowSums.by(_numbers(owner))
        order, place, row_of = around.order, _inverse(around.order), _inverse(around.into)
        others, owners = _numbers(other)[order], row_of[_numbers(owner)[order]]
        nodes = _numbers(chosen)[around.into]
        pairs, handed = RowSums.by(_numbers(meshed)), RowSums.by(others)
        return _Round(
            nodes,
            _numbers(edge)[order],
            others,
            owners,
            around,
            place[_numbers(first)[pairs.order]],
            place[_numbers(second)[pairs.order]],
            pairs,
            handed,
            nodes[owners[handed.order]],
        )


def _numbers(values: list[int]) -> IntArray:
    return np.array(values, dtype=np.intp)


def _inverse(order: IntArray) -> IntArray:
    """Where each row went."""
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    return place
