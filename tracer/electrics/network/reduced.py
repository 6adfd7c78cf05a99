"""Networks with the same branches in several settings, one a column, with the nodes taken out on which no load ends.

What is left is small, and is solved anew for each step of the loads (see `in_many_settings`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tracer.electrics.network.described import FloatArray, IntArray
from tracer.electrics.network.elimination import Reduction, RowSums, elimination_of
from tracer.electrics.network.load_laws import LoadLaws

__all__ = ["RESTING_V", "Block", "Flows", "Plan", "with_loads_at_rest"]

_STEPS = 30
RESTING_V = 1e-10
_TREMBLING_V = 1e-6


class Flows:
    """Sums the currents of branches at their nodes; `ends` (m, 2) of n nodes."""

    def __init__(self, ends: IntArray, node_count: int) -> None:
        # what goes round in one branch comes back to its node; summed, it would only leave its rounding there
        number = np.flatnonzero(ends[:, 0] != ends[:, 1])
        self._sums = RowSums.by(ends[number].T.ravel())
        place = self._sums.order
        self._branch = np.concatenate([number, number])[place]
        self._sign = np.where(place < number.size, -1.0, 1.0)[:, np.newaxis]
        self._node_count = node_count

    def surplus_a(self, branch_a: FloatArray) -> FloatArray:
        """(n, s) amperes that (m, s) branch currents bring to each node."""
        surplus_a = np.zeros((self._node_count, branch_a.shape[1]))
        self._sums.add(branch_a[self._branch] * self._sign, surplus_a)
        return surplus_a


class Plan:
    """In which order the nodes are taken out, and where branches, leaks and draws go in it.

    Attributes
    ----------
    leaks : nodes that are tied down while the island that they are in floats
    branch_sums, branches : which edge each branch, then each of `leaks`, is part of, and their rows in that order
    draw_sums, draws : the same for the draws, which all go into edges of the late stage
    draw_ends : (k, 2) rows of the late stage
    row_of : (n,) row of each node in the late stage; the row of the reference where it has none
    alone : nodes on which no branch ends
    """

    def __init__(
        self, ends: IntArray, plain: int, reference: int, node_count: int, leaks: Sequence[int], watched: IntArray
    ) -> None:
        """`ends` are those of so many `plain` branches, all closed in some state, and of the draws."""
        self.leaks = np.array(leaks, dtype=np.intp)
        draw_ends = ends[plain:]
        stays = np.zeros(node_count, dtype=np.bool_)
        stays[draw_ends] = stays[watched] = True
        late = np.flatnonzero(stays)
        self.elimination = elimination_of(node_count, ends, reference, late=late, leaks=leaks)
        edge_of = self.elimination.edge_of
        of_branches = np.concatenate([edge_of[:plain], edge_of[len(ends) :]])
        # what joins a node to itself is left out
        real = np.flatnonzero(of_branches >= 0)
        self.branch_sums = RowSums.by(of_branches[real])
        self.branches = real[self.branch_sums.order]
        of_draws = edge_of[plain : len(ends)]
        real = np.flatnonzero(of_draws >= 0)
        self.draw_sums = RowSums.by(np.searchsorted(self.elimination.late_edge, of_draws[real]))
        self.draws = real[self.draw_sums.order]
        late_node = self.elimination.late_node
        self.row_of = np.full(node_count, late_node.size, dtype=np.intp)
        self.row_of[late_node] = np.arange(late_node.size)
        # between a node and itself no voltage is seen, as between the reference and itself
        self.draw_ends = np.where((of_draws >= 0)[:, np.newaxis], self.row_of[draw_ends], late_node.size)
        self.draw_flows = Flows(self.draw_ends, late_node.size + 1)
        alone = np.ones(node_count, dtype=np.bool_)
        alone[ends] = False
        self.alone = np.flatnonzero(alone)


class Block:
    """Networks with the same plan in c columns, the early nodes taken out; `conductance_s` (m, c), `leak_s` (leaks, c) siemens."""

    def __init__(self, plan: Plan, conductance_s: FloatArray, leak_s: FloatArray) -> None:
        self.plan = plan
        own = plan.elimination
        given_s = np.concatenate([conductance_s, leak_s])
        edge_s = np.zeros((own.edge_count, given_s.shape[1]))
        plan.branch_sums.add(given_s[plan.branches], edge_s)
        self.early = own.reduce_early(edge_s)
        self.late_s = edge_s[own.late_edge]
        self.pushed_a = np.zeros((own.node_count, given_s.shape[1]))

    def with_loads(self, draw_s: FloatArray) -> Reduction:
        """The late stage with the draws as resistors of (k, c) siemens."""
        own = self.plan.elimination
        edge_s = np.zeros((own.late_edge_count, draw_s.shape[1]))
        edge_s[: len(self.late_s)] = self.late_s
        self.plan.draw_sums.add(draw_s[self.plan.draws], edge_s)
        return own.reduce_late(edge_s)

    def push(self, pushed_a: FloatArray) -> None:
        """What the sources push into each node, (n, c) amperes; from now on part of `late_v` and `whole_v`."""
        self.early.forward(pushed_a)
        self.pushed_a = pushed_a

    def late_v(self, late: Reduction, draw_a: FloatArray | None = None) -> FloatArray:
        """(b + 1, c) volts of the late nodes and the reference, if the draws take (k, c) amperes besides."""
        volts = self.pushed_a[self.plan.elimination.late_node]
        volts = np.concatenate([volts, np.zeros((1, *volts.shape[1:]))])
        if draw_a is not None:
            volts += self.plan.draw_flows.surplus_a(draw_a)
        return late.solve(volts)

    def drop_v(self, late_v: FloatArray) -> FloatArray:
        """(k, c) volts across the draws."""
        drop_v: FloatArray = late_v[self.plan.draw_ends[:, 0]] - late_v[self.plan.draw_ends[:, 1]]
        return drop_v

    def whole_v(self, late_v: FloatArray) -> FloatArray:
        """(n, c) volts of all nodes."""
        return self._whole_v(self.pushed_a.copy(), late_v)

    def answer(self, late: Reduction, injected_a: FloatArray) -> FloatArray:
        """Volts that injected currents alone would cause; (n, c) or (n, c, p), changed in place."""
        self.early.forward(injected_a)
        volts = injected_a[self.plan.elimination.late_node]
        return self._whole_v(injected_a, late.solve(np.concatenate([volts, np.zeros((1, *volts.shape[1:]))])))

    def answer_at(self, late: Reduction, nodes: IntArray, injected_a: FloatArray) -> FloatArray:
        """(w, c, p) volts at nodes of the late stage that (w, p) amperes injected there alone would cause; 0 at one on which no branch ends."""
        rows = self.plan.row_of[nodes]
        volts = np.zeros((self.plan.elimination.late_node.size + 1, self.late_s.shape[1], injected_a.shape[1]))
        volts[rows] = injected_a[:, np.newaxis]
        found: FloatArray = late.solve(volts)[rows]
        return found

    def _whole_v(self, volts: FloatArray, late_v: FloatArray) -> FloatArray:
        volts[self.plan.elimination.late_node] = late_v[:-1]
        volts[self.plan.alone] = 0.0
        volts[self.plan.elimination.reference] = 0.0
        self.early.back(volts)
        return volts


def with_loads_at_rest(block: Block, laws: LoadLaws, drop_v: FloatArray) -> tuple[Reduction, FloatArray]:
    """The late stage at rest with its loads (Newton's method), from (k, c) volts across them; where it finds none, the last that it tried."""
    moved_v = np.inf
    for _ in range(_STEPS):
        slope_s = laws.tangent_s(drop_v)
        late = block.with_loads(slope_s)
        late_v = block.late_v(late, laws.current_a(drop_v) - slope_s * drop_v)
        after_v = block.drop_v(late_v)
        before_v, moved_v = moved_v, float(np.max(np.abs(after_v - drop_v), initial=0.0))
        # what no longer works is looked at as the resistor it then is, else its tangent would throw it to and fro
        stopped = (after_v * drop_v < 0.0) & (np.abs(drop_v) >= laws.knee_v)
        drop_v = np.where(stopped, 0.0, after_v)
        # once it only trembles in the last digits, the current sums of the whole network take over
        if moved_v <= RESTING_V or (moved_v <= _TREMBLING_V and moved_v >= before_v):
            break
    return late, late_v
