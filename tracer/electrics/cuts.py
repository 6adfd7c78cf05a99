"""Which branches, opened alone or in pairs, cut a part of a network off."""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np

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
    n, m = network.node_count, network.branch_count
    held = network.held_node
    node_of = np.arange(n)
    if held.size:
        node_of[held] = held[0]
    ends = node_of[network.ends]
    usable = np.flatnonzero(network.closed & (ends[:, 0] != ends[:, 1]))
    walk = _walk(n, ends.tolist(), usable.tolist(), int(held[0]) if held.size else None)
    bridge = np.zeros(m, dtype=np.bool_)
    below = np.full(m, -1, dtype=np.intp)
    for node in walk.order[1:]:
        below[walk.came_by[node]] = node
        bridge[walk.came_by[node]] = walk.low[node] == walk.enter[node]
    cut_class = _cut_classes(m, ends.tolist(), usable.tolist(), walk, bridge)
    enter = np.array(walk.enter, dtype=np.intp)[node_of]
    leave = np.array(walk.leave, dtype=np.intp)[node_of]
    for array in (enter, leave, below, bridge, cut_class):
        array.setflags(write=False)
    return CutStructure(network, enter, leave, below, bridge, cut_class)


@dataclass(frozen=True, eq=False)
class _Walk:
    order: list[int]
    enter: list[int]
    leave: list[int]
    low: list[int]
    came_by: list[int]


def _walk(n: int, ends: list[list[int]], usable: list[int], root: int | None) -> _Walk:
    walk = _Walk([], [-1] * n, [-1] * n, [-1] * n, [-1] * n)
    if root is None:
        return walk
    around: list[list[tuple[int, int]]] = [[] for _ in range(n)]
    for branch in usable:
        a, b = ends[branch]
        around[a].append((b, branch))
        around[b].append((a, branch))
    enter, leave, low, came_by = walk.enter, walk.leave, walk.low, walk.came_by
    enter[root] = low[root] = 0
    walk.order.append(root)
    path = [(root, iter(around[root]))]
    while path:
        node, steps = path[-1]
        for other, branch in steps:
            if branch == came_by[node]:
                continue
            if enter[other] < 0:
                enter[other] = low[other] = len(walk.order)
                came_by[other] = branch
                walk.order.append(other)
                path.append((other, iter(around[other])))
                break
            low[node] = min(low[node], enter[other])
        else:
            path.pop()
            leave[node] = len(walk.order) - 1
            if path:
                parent = path[-1][0]
                low[parent] = min(low[parent], low[node])
    return walk


def _cut_classes(m: int, ends: list[list[int]], usable: list[int], walk: _Walk, bridge: BoolArray) -> IntArray:
    """Number the branches so that two share a number iff every closed loop holds both or neither.

    Each branch the walk did not go along closes one loop and gets a random label; a branch of the walk gets
    the sum (exclusive or) of the labels of all loops it lies in. Equal labels by chance are as likely as
    guessing 128 coin flips, and `cut_off_by` looks again.
    """
    draw = random.Random(20)
    label = [0] * m
    loops_at = [0] * len(walk.enter)
    of_walk = {walk.came_by[node] for node in walk.order[1:]}
    for branch in usable:
        a, b = ends[branch]
        if branch in of_walk or walk.enter[a] < 0:
            continue
        label[branch] = draw.getrandbits(128)
        loops_at[a] ^= label[branch]
        loops_at[b] ^= label[branch]
    for node in reversed(walk.order[1:]):
        branch = walk.came_by[node]
        label[branch] = loops_at[node]
        a, b = ends[branch]
        loops_at[b if a == node else a] ^= loops_at[node]
    numbers: dict[int, int] = {}
    cut_class = np.full(m, -1, dtype=np.intp)
    for branch in usable:
        if label[branch] and not bridge[branch]:
            cut_class[branch] = numbers.setdefault(label[branch], len(numbers))
    return cut_class
