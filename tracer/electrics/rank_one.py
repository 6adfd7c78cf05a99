"""Voltages after one conductance has changed, by a formula of rank 1: many changes at once, each checked.

See `faults` for the formula and its sources.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import csr_array

from tracer.electrics.fault_table import FaultRows, Method
from tracer.electrics.network import BLOCK_WIDTH, BoolArray, FloatArray, IntArray, Solution

SMALL_DIVISOR = 1e-6  # below this share the formula is refined
DOUBT_V = 1e-7  # what rounding may do to a row that is not refined ...
METER_DOUBT_V = 1e-6  # ... and to what the meter adds to a refined one
REFINEMENTS = 2
SETTLED_V = 1e-7  # the last refinement moves no node by more


# --- the changes -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Update:
    """Changes of one conductance each: (f,) ends, change, volts that drive the branch.

    `branch` is the branch changed, -1 for a short (a branch that was not there); `kept` the share of its
    conductance that is left, 0 for an open one.
    """

    first: IntArray
    second: IntArray
    change_s: FloatArray
    drop_v: FloatArray
    branch: IntArray
    kept: FloatArray

    def chosen(self, rows: slice | IntArray) -> Update:
        """The changes of these rows only."""
        return Update(
            self.first[rows],
            self.second[rows],
            self.change_s[rows],
            self.drop_v[rows],
            self.branch[rows],
            self.kept[rows],
        )


def weakening(base: Solution, branches: IntArray, kept: FloatArray) -> Update:
    """Branches left with a share of their conductance."""
    network = base.network
    a, b = network.ends[branches].T
    drop_v = base.potential_v[a] - base.potential_v[b] + network.source_v[branches]
    return Update(a, b, network.conductance_s[branches] * (kept - 1.0), drop_v, branches, kept)


# --- the current sums ------------------------------------------------------------------------------------------------


class CurrentSums:
    """Errors of the current sums for many sets of voltages, taken branch by branch.

    The assembled matrix is no good for this: its diagonal has already lost the small conductances.
    """

    def __init__(self, base: Solution) -> None:
        network, factor = base.network, base.factor
        self.row = factor.row
        self.unknown = np.flatnonzero(factor.row >= 0)
        closed = np.flatnonzero(network.closed)
        self.place = np.full(network.branch_count, -1, dtype=np.intp)
        self.place[closed] = np.arange(closed.size)
        a, b = network.ends[closed].T
        here = np.arange(closed.size)
        whole = csr_array(
            (
                np.concatenate([np.ones(closed.size), -np.ones(closed.size)]),
                (np.concatenate([here, here]), np.concatenate([a, b])),
            ),
            shape=(closed.size, network.node_count),
        )
        self.drops = whole[:, self.unknown].tocsr()
        self.collect = (self.drops.multiply(network.conductance_s[closed][:, np.newaxis])).T.tocsr()
        self.held_v = np.where(factor.row >= 0, 0.0, base.potential_v)
        self.given_v = (whole @ self.held_v + network.source_v[closed])[:, np.newaxis]
        self.source_v = network.source_v
        self.injected_a = network.injected_a[self.unknown][:, np.newaxis]
        self.leak_s = factor.leak_s
        self.matrix = self.collect @ self.drops

    def errors(self, unknown_v: FloatArray, *updates: Update) -> FloatArray:
        """(u, k) amperes for (u, k) volts of the unknown nodes; column k has the k-th change of each update.

        A weakened branch is weighed down before the sum. Taking its current out afterwards would leave the
        rounding of thousands of amperes: an open wire may have the whole supply across it.
        """
        drops_v = self.drops @ unknown_v + self.given_v
        here = np.arange(unknown_v.shape[1])
        for update in updates:
            known = np.flatnonzero(update.branch >= 0)
            drops_v[self.place[update.branch[known]], here[known]] *= update.kept[known]
        error_a: FloatArray = self.injected_a - self.collect @ drops_v
        if self.leak_s:
            error_a -= self.leak_s * unknown_v
        for update in updates:
            self._take_shorts(error_a, unknown_v, update)
        return error_a

    def gap_v(self, unknown_v: FloatArray, update: Update) -> FloatArray:
        """(k,) volts across each changed branch, its source included."""
        first_v, second_v = self._ends_v(unknown_v, update, np.arange(update.first.size))
        known = update.branch >= 0
        source_v = np.where(known, self.source_v[np.maximum(update.branch, 0)], 0.0)
        gap_v: FloatArray = first_v - second_v + source_v
        return gap_v

    def _ends_v(self, unknown_v: FloatArray, update: Update, which: IntArray) -> list[FloatArray]:
        ends_v = []
        for nodes in (update.first[which], update.second[which]):
            row = self.row[nodes]
            ends_v.append(np.where(row >= 0, unknown_v[np.maximum(row, 0), which], self.held_v[nodes]))
        return ends_v

    def _take_shorts(self, error_a: FloatArray, unknown_v: FloatArray, update: Update) -> None:
        new = np.flatnonzero(update.branch < 0)
        first_v, second_v = self._ends_v(unknown_v, update, new)
        short_a = update.change_s[new] * (first_v - second_v)
        for nodes, sign in ((update.first[new], -1.0), (update.second[new], 1.0)):
            inside = self.row[nodes] >= 0
            error_a[self.row[nodes[inside]], new[inside]] += sign * short_a[inside]

    def carried(self, unknown_v: FloatArray) -> FloatArray:
        """(u, k) amperes that (u, k) volts drive out of each unknown node, all sources at rest."""
        carried_a: FloatArray = self.collect @ (self.drops @ unknown_v)
        if self.leak_s:
            carried_a += self.leak_s * unknown_v
        return carried_a

    def column_errors(self, moved: FloatArray, update: Update) -> FloatArray:
        """(k,) largest error in the current sums of solved columns, per ampere pushed through the branch.

        What the diagonal has lost is below a millionth of the limit asked for, so that the assembled matrix
        will do to *check* a column. It would not do to refine one.
        """
        error = self.matrix @ moved
        if self.leak_s:
            error += self.leak_s * moved
        here = np.arange(update.first.size)
        for nodes, sign in ((update.first, 1.0), (update.second, -1.0)):
            inside = self.row[nodes] >= 0
            error[self.row[nodes[inside]], here[inside]] -= sign
        return greatest_of_columns(error)


# --- the formula -----------------------------------------------------------------------------------------------------


def updated_rows(table: FaultRows, rows: IntArray, update: Update) -> IntArray:
    """Fill these rows by the rank-1 formula; the numbers of those that need a factor of their own."""
    base = table.base
    if not rows.size or base.factor.lu is None:
        # with nothing but held nodes no branch can change a voltage
        table.start_unchanged(rows)
        table.gap_v[rows] = update.drop_v
        return np.empty(0, dtype=np.intp)
    sums = CurrentSums(base)
    risky = [
        block.start + _update_block(table, rows[block], update.chosen(block), sums) for block in in_blocks(rows.size)
    ]
    again = np.concatenate(risky)
    poor = [
        again[block][_refine_block(table, rows[again[block]], update.chosen(again[block]), sums)]
        for block in in_blocks(again.size)
    ]
    return np.concatenate([np.empty(0, dtype=np.intp), *poor])


def _update_block(table: FaultRows, rows: IntArray, update: Update, sums: CurrentSums) -> IntArray:
    """The formula as it stands; the numbers of the rows where that is not good enough."""
    base = table.base
    moved = answer_v(base, ampere_through(sums.row, update.first, update.second, sums.unknown.size))
    own_ohm = volts_across(sums.row, moved, update)
    divisor = 1.0 + update.change_s * own_ohm
    # a divisor of exactly nothing gives voltages without number, which the check sends on
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = update.change_s / divisor
        passed_a = scale * update.drop_v
        gap_v = update.drop_v / divisor
        worst_a = base.residual_a + np.abs(passed_a) * sums.column_errors(moved, update)
        at_probe = volts_at(sums, table.probes, moved)
        ohm = None if table.probe_ohm is None else table.probe_ohm - scale[:, np.newaxis] * at_probe**2
        at_probe *= -passed_a[:, np.newaxis]
        at_probe += base.potential_v[table.probes]
        doubt_v = table.doubt_v(np.abs(own_ohm / divisor), np.abs(passed_a * own_ohm))
    table.node_v[rows] = table.read(at_probe, ohm, table.floating[rows])
    table.method[rows] = Method.UPDATED
    table.residual_a[rows] = worst_a
    table.gap_v[rows] = gap_v
    good = (np.abs(divisor) >= SMALL_DIVISOR) & (worst_a <= table.limit_a) & (doubt_v <= DOUBT_V)
    return np.flatnonzero(~good)


def _refine_block(table: FaultRows, rows: IntArray, update: Update, sums: CurrentSums) -> BoolArray:
    """The formula followed by refinement at all nodes; true for the rows that did not settle."""
    base = table.base
    moved = refined_columns(base, sums, update)
    with np.errstate(divide="ignore", invalid="ignore"):
        own_ohm = volts_across(sums.row, moved, update)
        divisor = 1.0 + update.change_s * own_ohm
        scale = update.change_s / divisor
        volts = base.potential_v[sums.unknown, np.newaxis] - moved * (scale * update.drop_v)
        for _ in range(REFINEMENTS):
            step = answer_v(base, np.nan_to_num(sums.errors(volts, update)))
            step -= moved * (scale * volts_across(sums.row, step, update))
            volts += step
        worst_a = greatest_of_columns(sums.errors(volts, update))
        ohm = None
        if table.probe_ohm is not None:
            ohm = table.probe_ohm - scale[:, np.newaxis] * volts_at(sums, table.probes, moved) ** 2
        doubt_v = table.meter_doubt_v(np.abs(own_ohm / divisor), divisor)
    at_probe = volts_at(sums, table.probes, volts, base.potential_v[table.probes])
    table.node_v[rows] = table.read(at_probe, ohm, table.floating[rows])
    table.method[rows] = Method.REFINED
    table.residual_a[rows] = worst_a
    table.gap_v[rows] = sums.gap_v(volts, update)
    settled: BoolArray = (
        (worst_a <= table.limit_a) & (greatest_of_columns(step) <= SETTLED_V) & (doubt_v <= METER_DOUBT_V)
    )
    return ~settled


# --- columns ---------------------------------------------------------------------------------------------------------


def refined_columns(base: Solution, sums: CurrentSums, update: Update) -> FloatArray:
    """(u, k) volts for an ampere through each branch, refined once with sums taken branch by branch."""
    push = ampere_through(sums.row, update.first, update.second, sums.unknown.size)
    moved = answer_v(base, push)
    return moved + answer_v(base, push - sums.carried(moved))


def greatest_of_columns(error_a: FloatArray) -> FloatArray:
    """(k,) the greatest size in each column."""
    largest: FloatArray = np.maximum(error_a.max(axis=0, initial=0.0), -error_a.min(axis=0, initial=0.0))
    return largest


def volts_at(sums: CurrentSums, nodes: IntArray, unknown_v: FloatArray, held_v: FloatArray | None = None) -> FloatArray:
    """(k, p) volts at nodes from (u, k) volts of the unknown ones; held nodes at (p,) `held_v`, default 0."""
    row = sums.row[nodes]
    volts: FloatArray = np.take(unknown_v.T, np.maximum(row, 0), axis=1)
    held = np.flatnonzero(row < 0)
    volts[:, held] = 0.0 if held_v is None else held_v[held]
    return volts


def ampere_through(row: IntArray, first: IntArray, second: IntArray, size: int) -> FloatArray:
    """(size, k) an ampere in at the first and out at the second end of each branch; `row` as in `Factor`."""
    push = np.zeros((size, first.size), order="F")
    here = np.arange(first.size)
    for nodes, sign in ((first, 1.0), (second, -1.0)):
        inside = row[nodes] >= 0
        push[row[nodes[inside]], here[inside]] += sign
    return push


def answer_v(base: Solution, push: FloatArray) -> FloatArray:
    """(u, k) volts of the unknown nodes for (u, k) amperes pushed into them, sources at rest."""
    lu = base.factor.lu
    assert lu is not None, "callers stop at a network without unknown nodes"
    volts: FloatArray = lu.solve(push)
    return volts


def volts_across(row: IntArray, volts: FloatArray, update: Update) -> FloatArray:
    """(k,) volts from first to second end, held nodes taken as 0."""
    here = np.arange(update.first.size)
    across = np.zeros(update.first.size)
    for nodes, sign in ((update.first, 1.0), (update.second, -1.0)):
        across += sign * np.where(row[nodes] >= 0, volts[np.maximum(row[nodes], 0), here], 0.0)
    return across


def in_blocks(count: int) -> Iterator[slice]:
    """Columns that are solved at once, as slices."""
    edges = [*range(0, count, BLOCK_WIDTH), count]
    for start, stop in pairwise(edges):
        yield slice(start, stop)
