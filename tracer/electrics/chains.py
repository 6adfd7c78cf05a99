"""A network without its chains and dead ends: what is left is a third of it, and gives the rest back exactly.

Most nodes of a vehicle's wiring lie in a chain (terminal, wire, fuse, wire, terminal) or on a dead end. A dead end
carries nothing and follows the node it hangs on. A chain is one branch with the resistance and the sources of all its
pieces, and a change of voltage at its two ends shares itself out along it by resistance.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tracer.electrics.cuts import CutStructure
from tracer.electrics.network import BoolArray, FloatArray, IntArray, Network

__all__ = ["Chains", "chains_of"]


@dataclass(frozen=True, eq=False)
class Chains:
    """The network that is left, and how the nodes taken out hang on it.

    Attributes
    ----------
    core : the c nodes that are left, joined by one branch for each of h chains, from its left to its right end
    first_branch : (h,) the branch of the whole network at the left end of each chain
    forward : (h,) true where that branch runs away from the left end
    left, right : (n,) nodes of the core between which each node lies; both the same outside of chains
    share : (n,) of a change of voltage, how much comes from the right end; the rest comes from the left
    on_chain : (n,) the chain each node lies or hangs on, -1 outside of chains
    right_ohm : (n,) resistance from there to the right end of the chain

    The arrays say nothing of nodes that float.
    """

    core: Network
    first_branch: IntArray
    forward: BoolArray
    left: IntArray
    right: IntArray
    share: FloatArray
    on_chain: IntArray
    right_ohm: FloatArray


def chains_of(network: Network, cuts: CutStructure) -> Chains:
    """Take dead ends and chains out of a network; `cuts` of the same network.

    Parts that float are left out altogether, and so are injected currents: they would end a chain.
    """
    tree = _Tree(network, cuts)
    kept = np.flatnonzero(tree.kept)
    number = np.zeros(network.node_count, dtype=np.intp)
    number[kept] = np.arange(kept.size)
    left, right = number.copy(), number.copy()
    share, right_ohm = np.zeros(network.node_count), np.zeros(network.node_count)
    on_chain = np.full(network.node_count, -1, dtype=np.intp)
    runs = _runs(network, tree)
    inside, chain = runs.node, runs.chain
    left[inside], right[inside] = number[runs.ends[chain]].T
    share[inside] = runs.passed_ohm / runs.ohm[chain]
    right_ohm[inside] = runs.ohm[chain] - runs.passed_ohm
    on_chain[inside] = chain
    dead, foot = tree.feet()
    for array in (left, right, share, right_ohm, on_chain):
        array[dead] = array[foot]
    core = Network(
        kept.size,
        number[runs.ends],
        np.ones(runs.ohm.size),
        number[network.reference],
        number[network.fixed_node],
        network.fixed_v,
        runs.source_v,
    )
    # a chain may have more ohms than one branch is allowed
    core = core.altered(conductance_s=1.0 / runs.ohm)
    forward = network.ends[runs.first, 0] == runs.ends[:, 0]
    return Chains(core, runs.first, forward, left, right, share, on_chain, right_ohm)


class _Tree:
    """The depth-first walk of a network, with what each of its nodes is: kept, inside a chain, or on a dead end."""

    def __init__(self, network: Network, cuts: CutStructure) -> None:
        n = network.node_count
        self.enter = cuts.enter
        held = np.zeros(n, dtype=np.bool_)
        held[network.held_node] = True
        along = np.flatnonzero(cuts.below >= 0)
        child = cuts.below[along]
        self.came_by = np.full(n, -1, dtype=np.intp)
        self.came_by[child] = along
        self.parent = np.full(n, -1, dtype=np.intp)
        self.parent[child] = network.ends[along].sum(axis=1) - child
        live = network.closed & (cuts.enter[network.ends[:, 0]] >= 0)
        live &= (cuts.below >= 0) | (cuts.cut_class >= 0)
        # a dead end is what no loop touches
        ends_of_loops = np.zeros(int(cuts.enter.max(initial=-1)) + 2, dtype=np.intp)
        np.add.at(ends_of_loops, cuts.enter[network.ends[live & (cuts.below < 0)]].ravel() + 1, 1)
        before = np.cumsum(ends_of_loops)
        self.dead = np.zeros(n, dtype=np.bool_)
        self.dead[child] = before[cuts.leave[child] + 1] == before[cuts.enter[child]]
        live[along] &= ~self.dead[child]
        self.live = np.flatnonzero(live)
        a, b = network.ends[self.live].T
        self.degree = np.bincount(a, minlength=n) + np.bincount(b, minlength=n)
        self.kept = held | (self.degree >= 3)
        self.inside = (self.degree == 2) & ~held
        self.sum_of_branches = (np.bincount(a, self.live, n) + np.bincount(b, self.live, n)).astype(np.intp)

    def feet(self) -> tuple[IntArray, IntArray]:
        """Nodes on dead ends, and for each the node off them that it hangs on."""
        dead = np.flatnonzero(self.dead)
        dead = dead[np.argsort(self.enter[dead], kind="stable")]
        foot: dict[int, int] = {}
        for node, parent in zip(dead.tolist(), self.parent[dead].tolist(), strict=True):
            foot[node] = foot.get(parent, parent)
        return dead, np.array(list(foot.values()), dtype=np.intp)


@dataclass(frozen=True, eq=False)
class _Runs:
    """Chains as arrays: (h, 2) ends as nodes of the whole network, (h,) first branch, ohms, source; and every node inside one."""

    ends: IntArray
    first: IntArray
    ohm: FloatArray
    source_v: FloatArray
    node: IntArray
    chain: IntArray
    passed_ohm: FloatArray


def _runs(network: Network, tree: _Tree) -> _Runs:
    """In the order of the walk, dead ends left out, the nodes inside a chain stand one after another."""
    ohm = 1.0 / network.conductance_s
    node = np.flatnonzero(tree.inside)
    node = node[np.argsort(tree.enter[node], kind="stable")]
    begins = tree.kept[tree.parent[node]]
    chain = np.cumsum(begins) - 1
    head = np.flatnonzero(begins)
    tail = np.append(head[1:], node.size)[: head.size] - 1
    came_by = tree.came_by[node]
    passed_ohm, passed_v = ohm[came_by], _pushed_v(network, came_by, tree.parent[node])
    place = np.arange(node.size) - head[chain]
    by_place = np.argsort(place, kind="stable")
    steps = np.searchsorted(place[by_place], np.arange(1, int(place.max(initial=0)) + 2))
    # piece by piece along all chains at once: running sums over all of them would lose a milliohm to a megohm
    for start, stop in pairwise(steps.tolist()):
        at = by_place[start:stop]
        passed_ohm[at] += passed_ohm[at - 1]
        passed_v[at] += passed_v[at - 1]
    last = tree.sum_of_branches[node[tail]] - came_by[tail]
    far = network.ends[last].sum(axis=1) - node[tail]
    alone = np.ones(network.branch_count, dtype=np.bool_)
    alone[came_by] = alone[last] = False
    single = tree.live[alone[tree.live]]
    return _Runs(
        np.concatenate([np.stack([tree.parent[node[head]], far], axis=1), network.ends[single]]),
        np.concatenate([came_by[head], single]),
        np.concatenate([passed_ohm[tail] + ohm[last], ohm[single]]),
        np.concatenate([passed_v[tail] + _pushed_v(network, last, node[tail]), network.source_v[single]]),
        node,
        chain,
        passed_ohm,
    )


def _pushed_v(network: Network, branches: IntArray, start: IntArray) -> FloatArray:
    """Volts that the source in each branch pushes away from the node `start`."""
    source_v = network.source_v[branches]
    pushed_v: FloatArray = np.where(network.ends[branches, 0] == start, source_v, -source_v)
    return pushed_v
