"""Which branches, opened alone or in pairs, cut a part of a network off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import depth_first_order

from tracer.electrics.network import BoolArray, IntArray, Network

__all__ = ["CutStructure", "cut_structure"]


@dataclass(frozen=True, eq=False)
class CutStructure:
    """Which openings cut a part of the network off from every node of known voltage.

    All nodes of known voltage count as one, since the ideal sources join them. Parts that float to begin with
    are left out: nothing can be cut off there that is not cut off already.

    Attributes
    ----------
    enter, leave : (n,) first and last number of the subtree below each node in a depth-first walk from the
        nodes of known voltage; -1 where floating
    below : (m,) node on the far end of a branch the walk went along, -1 for every other branch
    bridge : (m,) true where opening the branch alone cuts something off
    cut_class : (m,) opening two branches of the same class cuts something off, though opening one does not;
        -1 for bridges, interrupted branches and floating parts
    """

    network: Network
    enter: IntArray
    leave: IntArray
    below: IntArray
    bridge: BoolArray
    cut_class: IntArray

    def subtree(self, branch: int) -> BoolArray:
        """(n,) true for the nodes below a branch of the walk; no node for any other branch."""
        node = self.below[branch]
        if node < 0:
            return np.zeros(self.enter.size, dtype=np.bool_)
        inside: BoolArray = (self.enter >= self.enter[node]) & (self.enter <= self.leave[node])
        return inside

    def cut_off_by(self, first: int, second: int | None = None) -> BoolArray:
        """(n,) true for the nodes that float once the branch, or both, are open and did not before."""
        if second is None or second == first:
            return self._cut_off_alone(first)
        if self.bridge[first] or self.bridge[second]:
            return self._cut_off_alone(first) | self._cut_off_alone(second)
        if self.cut_class[first] < 0 or self.cut_class[first] != self.cut_class[second]:
            return np.zeros(self.enter.size, dtype=np.bool_)
        island = self.subtree(first) ^ self.subtree(second)
        # the classes rest on random labels; look at the branches themselves before believing them
        a, b = self.network.ends.T
        crossing = self.network.closed & (island[a] != island[b])
        crossing[[first, second]] = False
        return np.zeros_like(island) if np.any(crossing) else island

    def _cut_off_alone(self, branch: int) -> BoolArray:
        return self.subtree(branch) if self.bridge[branch] else np.zeros(self.enter.size, dtype=np.bool_)


def cut_structure(network: Network) -> CutStructure:
    """Bridges and pairs of branches that cut, in time proportional to the number of branches.

    Parallel branches are kept apart: the walk skips the branch it came by, not the node it came from, so that
    the second of two parallel wires counts as a way back. A branch from a node to itself never counts.

    References
    ----------
    Bridges by lowest reachable number: Hopcroft and Tarjan (1973), Comm. ACM 16(6), 372-378. Pairs by random
    labels that add up to nothing around every cut: Pritchard and Thurimella (2011), ACM Trans. Algorithms
    7(4). Both citations from memory.
    """
    held = network.held_node
    node_of = np.arange(network.node_count)
    if held.size:
        node_of[held] = held[0]
    walk = _walk(network, node_of, int(held[0]) if held.size else None)
    bridge, cut_class = _cut_classes(walk)
    enter, leave = walk.enter[node_of], walk.leave[node_of]
    for array in (enter, leave, walk.below, bridge, cut_class):
        array.setflags(write=False)
    return CutStructure(network, enter, leave, walk.below, bridge, cut_class)


@dataclass(frozen=True, eq=False)
class _Walk:
    """A depth-first walk: (n,) numbers as in `CutStructure`, (m,) `below`, and the branches it did not go along.

    Each of those leads back from `lower` to a node `upper` above it, and closes one loop.
    """

    enter: IntArray
    leave: IntArray
    below: IntArray
    back: IntArray
    lower: IntArray
    upper: IntArray


def _walk(network: Network, node_of: IntArray, root: int | None) -> _Walk:
    n = network.node_count
    below = np.full(network.branch_count, -1, dtype=np.intp)
    enter, leave = np.full(n, -1, dtype=np.intp), np.full(n, -1, dtype=np.intp)
    nothing = np.empty(0, dtype=np.intp)
    if root is None:
        return _Walk(enter, leave, below, nothing, nothing, nothing)
    ends = node_of[network.ends]
    usable = np.flatnonzero(network.closed & (ends[:, 0] != ends[:, 1]))
    a, b = ends[usable].T
    both_ways = (np.concatenate([a, b]), np.concatenate([b, a]))
    graph = coo_array((np.ones(2 * usable.size), both_ways), shape=(n, n)).tocsr()
    order, came_from = depth_first_order(graph, root, directed=True)
    enter[order] = np.arange(order.size)
    leave[order] = enter[order] + _sizes(enter[came_from[order[1:]]].tolist()) - 1
    # of several parallel branches the first is the one gone along
    child = np.where(came_from[b] == a, b, np.where(came_from[a] == b, a, -1))
    gone, first = np.unique(child, return_index=True)
    along = first[gone >= 0]
    below[usable[along]] = gone[gone >= 0]
    rest = enter[a] >= 0
    rest[along] = False
    turned = enter[a] < enter[b]
    lower, upper = np.where(turned, b, a)[rest], np.where(turned, a, b)[rest]
    if np.any(enter[lower] > leave[upper]):
        raise RuntimeError("the graph library did not walk depth first: a branch leads across")
    return _Walk(enter, leave, below, usable[rest], lower, upper)


def _sizes(parents: list[int]) -> IntArray:
    """(k,) nodes in each subtree, itself included; `parents` holds the numbers of the parents of 1 to k-1."""
    size = [1] * (len(parents) + 1)
    for node in range(len(parents), 0, -1):
        size[parents[node - 1]] += size[node]
    return np.array(size, dtype=np.intp)


def _cut_classes(walk: _Walk) -> tuple[BoolArray, IntArray]:
    """Bridges, and numbers for the other branches so that two share one iff every closed loop holds both or neither.

    Each branch the walk did not go along closes one loop and gets a random label; a branch of the walk gets
    the sum (exclusive or) of the labels of all loops it lies in: of those that begin below it and end above. It is a
    bridge where there are none. Equal labels by chance are as likely as guessing 128 coin flips, and `cut_off_by`
    looks again.
    """
    size = int(walk.enter.max(initial=-1)) + 1
    own = np.random.default_rng(20).integers(1, 2**63, (walk.back.size, 2), dtype=np.int64)
    starts = np.zeros(size + 1, dtype=np.intp)
    labels = np.zeros((size + 1, 2), dtype=np.int64)
    # entry k + 1 holds what is numbered k, so that differences of running sums are those of a stretch
    for node, sign in ((walk.lower, 1), (walk.upper, -1)):
        np.add.at(starts, walk.enter[node] + 1, sign)
        np.bitwise_xor.at(labels, walk.enter[node] + 1, own)
    starts = np.cumsum(starts)
    labels = np.bitwise_xor.accumulate(labels, axis=0)
    along = np.flatnonzero(walk.below >= 0)
    begin, end = walk.enter[walk.below[along]], walk.leave[walk.below[along]] + 1
    bridge = np.zeros(walk.below.size, dtype=np.bool_)
    bridge[along] = starts[end] == starts[begin]
    cut_class = np.full(walk.below.size, -1, dtype=np.intp)
    branches = np.concatenate([along, walk.back])
    label = np.concatenate([labels[end] ^ labels[begin], own])
    inside = ~bridge[branches]
    _, cut_class[branches[inside]] = np.unique(
        np.ascontiguousarray(label[inside]).view(np.dtype([("a", np.int64), ("b", np.int64)])).ravel(),
        return_inverse=True,
    )
    return bridge, cut_class
