"""Each of many branches opened, by one column for each ring.

Branches of which any two cut a part off lie in one ring; see `faults`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse import csr_array

from tracer.electrics.chains import Chains, chains_of
from tracer.electrics.cuts import CutStructure
from tracer.electrics.fault_table import FaultRows
from tracer.electrics.network import FloatArray, IntArray, solve
from tracer.electrics.rank_one import in_blocks, updated_rows, weakening

_ROWS_AT_A_TIME = 256


def rings_stand_still(table: FaultRows) -> bool:
    """Whether an open ring carries nothing at all, which a meter, a leak or injected currents would spoil."""
    base = table.base
    return table.meter_ohm is None and not base.factor.leak_s and not np.any(base.network.injected_a)


def open_all(table: FaultRows, branches: IntArray, cuts: CutStructure) -> None:
    """Open each branch: by topology where it is a bridge, else by one column for each ring."""
    network = table.base.network
    reach = _Reach(table.probes, cuts)
    alive = network.closed[branches] & ~table.base.floating[network.ends[branches, 0]]
    in_ring = alive & (cuts.cut_class[branches] >= 0)
    table.start_unchanged(np.flatnonzero(~in_ring))
    bridges = np.flatnonzero(alive & cuts.bridge[branches])
    for rows, columns, _ in _cells(reach.column, bridges, *reach.below(branches[bridges]), np.zeros(bridges.size)):
        table.node_v[rows, columns] = np.nan
        table.floating[rows, columns] = True
    rows = np.flatnonzero(in_ring)
    if not rows.size:
        return
    chains = chains_of(network, cuts)
    of_ring = _greatest_of_rings(chains, cuts)
    _, first, ring = np.unique(cuts.cut_class[branches[rows]], return_index=True, return_inverse=True)
    lead = rows[first]
    opened = of_ring[cuts.cut_class[branches[lead]]]
    core = _open_in_core(chains, opened)
    _spread(table, chains, core, lead, opened)
    for row, from_row in zip(rows.tolist(), lead[ring].tolist(), strict=True):
        if row != from_row:
            table.node_v[row] = table.node_v[from_row]
    table.method[rows] = core.method[ring]
    table.residual_a[rows] = core.residual_a[ring]
    gap_v = np.where(chains.forward[opened], core.gap_v, -core.gap_v)
    _move_openings(table, reach, rows, branches[rows], chains.first_branch[opened][ring], gap_v[ring])


def _greatest_of_rings(chains: Chains, cuts: CutStructure) -> IntArray:
    """(rings,) the chain of most resistance in each.

    Its current is known best, and it leaves the formula the greatest divisor: the share of its resistance in that
    of the ring.
    """
    ring = cuts.cut_class[chains.first_branch]
    order = np.argsort(-chains.core.conductance_s, kind="stable")
    order = order[ring[order] >= 0]
    greatest = np.empty(int(ring.max()) + 1, dtype=np.intp)
    greatest[ring[order]] = order  # the last one written stays
    return greatest


def _open_in_core(chains: Chains, opened: IntArray) -> FaultRows:
    """Each of these chains open: one row each, the nodes of the core as columns."""
    sheet = FaultRows(solve(chains.core), None, None)
    sheet.prepare(opened.size)
    for k in updated_rows(sheet, np.arange(opened.size), weakening(sheet.base, opened, np.zeros(opened.size))):
        sheet.set_afresh(int(k), chains.core.opened([int(opened[k])]), int(opened[k]))
    return sheet


def _spread(table: FaultRows, chains: Chains, core: FaultRows, lead: IntArray, opened: IntArray) -> None:
    """Fill the rows `lead` from those of the core; the chain that is open hangs on its right end."""
    probes = table.probes
    left, right, share = chains.left[probes], chains.right[probes], chains.share[probes]
    known_v = core.base.potential_v
    share_out = csr_array(
        (
            np.concatenate([1.0 - share, share]),
            (np.concatenate([np.arange(probes.size)] * 2), np.concatenate([left, right])),
        ),
        shape=(probes.size, known_v.size),
    )
    for some in in_blocks(lead.size):
        shown_v = share_out @ np.ascontiguousarray((core.node_v[some] - known_v).T)
        shown_v += table.unchanged_v[:, np.newaxis]
        table.node_v[lead[some]] = shown_v.T
    chain_of = chains.on_chain[probes]
    column = np.argsort(chain_of, kind="stable")
    start = np.searchsorted(chain_of[column], opened, side="left")
    stop = np.searchsorted(chain_of[column], opened, side="right")
    here = np.arange(lead.size)
    for row, at, _ in _cells(column, here, start, stop, np.zeros(lead.size)):
        end_v = core.node_v[row, right[at]] - known_v[right[at]]
        lost_v = core.base.branch_a[opened[row]] * chains.right_ohm[probes[at]]
        table.node_v[lead[row], at] = table.unchanged_v[at] + end_v - lost_v


def _move_openings(
    table: FaultRows, reach: _Reach, rows: IntArray, branches: IntArray, opened: IntArray, gap_v: FloatArray
) -> None:
    """Turn rows computed with `opened` open into rows with another branch of the same ring open.

    In a walk from the nodes of known voltage the branches of a ring lie below one another, and at most the last
    is one the walk did not go along. With a branch of the walk open, what is below it (up to where the ring
    closes) hangs on the far end of the ring; with the last one open, everything hangs on the near end. To change
    over moves the voltage by the gap.
    """
    network, cuts = table.base.network, reach.cuts
    a, b = network.ends[opened].T
    along = cuts.below[opened] >= 0
    # a branch of the walk has its near side above, the last one below it
    near_is_first = np.where(along, cuts.below[opened] == b, cuts.enter[a] > cuts.enter[b])
    far_less_near_v = np.where(near_is_first, -gap_v, gap_v)
    new_from, new_to = reach.below(branches)
    old_from, old_to = reach.below(opened)
    grows = (new_to - new_from) >= (old_to - old_from)
    outer_from, outer_to = np.where(grows, new_from, old_from), np.where(grows, new_to, old_to)
    inner_from, inner_to = np.where(grows, old_from, new_from), np.where(grows, old_to, new_to)
    nothing = inner_from == inner_to
    inner_from, inner_to = np.where(nothing, outer_to, inner_from), np.where(nothing, outer_to, inner_to)
    step_v = np.where(grows, far_less_near_v, -far_less_near_v)
    other = np.flatnonzero(branches != opened)
    for start, stop in ((outer_from, inner_from), (inner_to, outer_to)):
        for at_row, at_column, moved_v in _cells(reach.column, rows[other], start[other], stop[other], step_v[other]):
            table.node_v[at_row, at_column] += moved_v


class _Reach:
    """Which columns of a table lie below a branch of the walk: a stretch, once they are in the order of the walk."""

    def __init__(self, probes: IntArray, cuts: CutStructure) -> None:
        self.cuts = cuts
        enter = cuts.enter[probes]
        self.column = np.argsort(enter, kind="stable")
        self.enter = enter[self.column]

    def below(self, branches: IntArray) -> tuple[IntArray, IntArray]:
        """(f,) begin and end of the stretch for each branch; both the same for one the walk did not go along."""
        cuts = self.cuts
        node = cuts.below[branches]
        along = node >= 0
        start = np.searchsorted(self.enter, cuts.enter[node], side="left")
        stop = np.searchsorted(self.enter, cuts.leave[node], side="right")
        return np.where(along, start, 0), np.where(along, stop, 0)


def _cells(
    column: IntArray, rows: IntArray, start: IntArray, stop: IntArray, value: FloatArray
) -> Iterator[tuple[IntArray, IntArray, FloatArray]]:
    """Row, column and value of every cell of these stretches of `column`, some rows at a time."""
    for at in range(0, rows.size, _ROWS_AT_A_TIME):
        some = slice(at, at + _ROWS_AT_A_TIME)
        length = np.maximum(stop[some] - start[some], 0)
        before = np.cumsum(length) - length
        place = np.arange(int(length.sum())) + np.repeat(start[some] - before, length)
        yield np.repeat(rows[some], length), column[place], np.repeat(value[some], length)
