"""What of a network has to be solved: not its dead ends, nor islands that nothing feeds, and branches in a row as one.

No current flows in a dead end whatever the values are: each node of it has the volts of the one at which it begins. Most of a vehicle's signal wires are such,
and most of its other nodes are joints in the middle of a way, with nothing fed in or taken out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.elimination import widened
from tracer.electrics.network.factor import islands_of

__all__ = ["Needed"]


class Needed:
    """The edges to be solved: single branches, then rows of branches, each as one; and the way back to all nodes and branches.

    Attributes
    ----------
    rows : (r,) branches that are in some edge: first so many `single` ones, each an edge of its own
    ends : (e, 2) nodes of each edge
    """

    def __init__(
        self, node_count: int, ends: IntArray, able: BoolArray, always: BoolArray, staying: IntArray | None
    ) -> None:
        """For (m, 2) nodes of branches.

        Parameters
        ----------
        able, always : (m,) whether a branch is closed in some state, and in each
        staying : nodes at which something is fed in, taken out or asked; None where that may be anywhere
        """
        self._anchor = np.arange(node_count)
        if staying is not None:
            self._anchor = _anchors(node_count, ends, able, staying)
        stays = self._anchor == np.arange(node_count)
        self._inside = np.flatnonzero((self._anchor >= 0) & ~stays)
        rows = np.flatnonzero(able & stays[ends].all(axis=1))
        chains = [] if staying is None else _chains(node_count, ends[rows], always[rows], staying)
        # all first branches of the rows, then all second ones ...: the longest first, so that those that go on are always the first
        chains.sort(key=len, reverse=True)
        longest = len(chains[0]) if chains else 0
        blocks = [[chain[at] for chain in chains if len(chain) > at] for at in range(longest)]
        in_chains = np.array([step for block in blocks for step in block], dtype=np.intp).reshape(-1, 3)
        self._sizes = [len(block) for block in blocks]
        alone = np.ones(rows.size, dtype=np.bool_)
        alone[in_chains[:, 0]] = False
        single = np.flatnonzero(alone)
        self.single = single.size
        self.rows = np.concatenate([rows[single], rows[in_chains[:, 0]]])
        self._into = in_chains[:, 2]
        self._forwards = np.where(ends[self.rows[single.size :], 0] == in_chains[:, 1], 1.0, -1.0)[:, np.newaxis]
        chain_ends = np.array([(chain[0][1], chain[-1][2]) for chain in chains], dtype=np.intp).reshape(-1, 2)
        self.ends = np.concatenate([ends[rows[single]], chain_ends])

    def edges(self, conductance_s: FloatArray) -> FloatArray:
        """(e, c) siemens of the edges for (r, c) of the rows."""
        total_ohm = np.zeros((len(self.ends) - self.single, conductance_s.shape[1]))
        for _, count, block in self._blocks():
            total_ohm[:count] += 1.0 / conductance_s[block]
        return np.concatenate([conductance_s[: self.single], 1.0 / total_ohm])

    def currents(self, edge_a: FloatArray) -> FloatArray:
        """(r, c) amperes of the rows for (e, c) of the edges."""
        chain_a = edge_a[self.single :]
        along = [chain_a[:count] for _, count, _ in self._blocks()]
        return np.concatenate([edge_a[: self.single], np.concatenate([chain_a[:0], *along]) * self._forwards])

    def spread(
        self, values: FloatArray, conductance_s: FloatArray, edge_s: FloatArray, islands: Sequence[IntArray]
    ) -> None:
        """From the volts at the ends of the edges to those of all nodes, in place.

        Parameters
        ----------
        values : (n, c) or (n, c, p) volts
        conductance_s, edge_s : (r, c) and (e, c) siemens
        islands : (n,) of each column: which nodes are joined
        """
        first, last = self.ends[self.single :].T
        chain_a = (values[first] - values[last]) * widened(edge_s[self.single :], values)
        here = values[first]
        sizes = [*self._sizes[1:], 0]
        for at, _, block in self._blocks():
            count = sizes[at]  # of those that go on
            some = slice(block.start, block.start + count)
            here = here[:count] - chain_a[:count] / widened(conductance_s[some], values)
            values[self._into[some.start - self.single : some.stop - self.single]] = here
        begins = self._anchor[self._inside]
        values[self._inside] = values[begins]
        # In a state in which the dead end has come off, it has no volts of the node at which it began.
        cut_off = {id(island): self._inside[island[self._inside] != island[begins]] for island in islands}
        for column, island in enumerate(islands):
            values[cut_off[id(island)], column] = 0.0

    def _blocks(self) -> Iterator[tuple[int, int, slice]]:
        """The first branches of all rows of them, then the second ones ...: at which place, how many, and where they are among `rows`."""
        begin = self.single
        for at, count in enumerate(self._sizes):
            yield at, count, slice(begin, begin + count)
            begin += count


def _anchors(node_count: int, ends: IntArray, able: BoolArray, staying: IntArray) -> IntArray:
    """(n,) for each node the one at which its dead end begins: the node itself where it is in none, -1 in an island without any node of `staying`."""
    edges = ends[able & (ends[:, 0] != ends[:, 1])]
    fixed = np.zeros(node_count, dtype=np.bool_)
    fixed[staying] = True
    island = islands_of(node_count, edges)
    fed = np.zeros(node_count, dtype=np.bool_)
    fed[island[staying]] = True
    anchor = np.where(fed[island], np.arange(node_count), -1)
    edges = edges[fed[island[edges[:, 0]]]]
    while True:
        # Leaf by leaf: with the ends gone, the nodes before them are ends.
        last = (np.bincount(edges.ravel(), minlength=node_count) == 1) & ~fixed
        a, b = edges.T
        ending = last[a] | last[b]
        if not ending.any():
            break
        anchor[np.where(last[a], a, b)[ending]] = np.where(last[a], b, a)[ending]
        edges = edges[~ending]
    while np.any(anchor[anchor] != anchor):
        anchor = anchor[anchor]
    return anchor


def _chains(node_count: int, ends: IntArray, always: BoolArray, staying: IntArray) -> list[list[tuple[int, int, int]]]:
    """Branches in a row, each with the node it comes from and the one it leads to; of branches that are always closed, and no other branch ends in between."""
    middle = np.bincount(ends.ravel(), minlength=node_count) == 2
    # Where something is fed in or asked, the current before and behind differs, or the volts are wanted: no row runs over it. Nor over a branch that opens in
    # some state.
    middle[staying] = False
    middle[ends[~always | (ends[:, 0] == ends[:, 1])]] = False
    rows = np.flatnonzero(middle[ends].any(axis=1)).tolist()
    pairs = dict(zip(rows, ends[rows].tolist(), strict=True))
    inside = set(np.flatnonzero(middle).tolist())
    touching: dict[int, list[int]] = {}
    for row, pair in pairs.items():
        for node in pair:
            if node in inside:
                touching.setdefault(node, []).append(row)
    found: list[list[tuple[int, int, int]]] = []
    taken: set[int] = set()
    for row, (a, b) in pairs.items():
        if row in taken or (a in inside and b in inside):
            continue
        here, there = (a, b) if b in inside else (b, a)
        chain = [(row, here, there)]
        while there in inside:
            one, other = touching[there]
            row = other if one == row else one
            a, b = pairs[row]
            here, there = there, b if a == there else a
            chain.append((row, here, there))
        taken.update(one for one, _, _ in chain)
        found.append(chain)
    return found
