"""Voltages under every single fault, from one factorisation.

A change of one conductance by ``d`` between the nodes a and b moves the voltages by a multiple of one vector,
``w = G^-1 (e_a - e_b)`` (Sherman and Morrison 1950); two changes by a combination of two (Woodbury 1950; both
citations from memory). The formula divides by ``1 + d (w_a - w_b)``, which is zero where the opened branch is
the only link between two parts of the network: a bridge. A bridge carries no current, so its opening leaves
the side that holds the reference as it was, and the other side floats. Topology decides which branches are
bridges, never the size of the divisor.

Wiring is mostly chains: feed, fuse, wire, load, wire. Branches of which any two cut a part off lie in one ring, one
current goes through all of them, and whichever is opened, that current stops: the voltages are the same but for the
pieces of the ring between the openings, which hang on the one side or on the other and differ by the voltage across
the gap. One column serves the whole ring.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import cached_property
from itertools import pairwise
from typing import cast

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from tracer.electrics.chains import Chains, chains_of
from tracer.electrics.cuts import CutStructure, cut_structure
from tracer.electrics.meters import source_ohm
from tracer.electrics.network import (
    BLOCK_WIDTH,
    LEAST_OHM,
    MOST_OHM,
    BadNode,
    BadResistance,
    BoolArray,
    FloatArray,
    IntArray,
    Network,
    Solution,
    checked_nodes,
    solve,
)

__all__ = [
    "AddedResistance",
    "FaultKind",
    "FaultTable",
    "Method",
    "Open",
    "ShortToNode",
    "double_opens",
    "single_faults",
]

_SMALL_DIVISOR = 1e-6
_DOUBT_V = 1e-7
_RESIDUAL_A = 1e-9
_NO_NET_A = 1e-12
_EPSILON = float(np.finfo(np.float64).eps)
_REFINEMENTS = 2
_SETTLED_V = 1e-7
_METER_DOUBT_V = 1e-6
_PAIRS_AT_A_TIME = 4096
_ROWS_AT_A_TIME = 256


@dataclass(frozen=True)
class Open:
    """The branch is interrupted."""


@dataclass(frozen=True)
class AddedResistance:
    """The branch has this much more resistance, in ohms."""

    added_ohm: float

    def __post_init__(self) -> None:
        if not 0.0 < self.added_ohm <= MOST_OHM:
            raise BadResistance(f"added resistance must be within 0 and {MOST_OHM} ohm, not {self.added_ohm}")


@dataclass(frozen=True)
class ShortToNode:
    """The element, a node, touches another node (the reference, a supply) through `short_ohm`."""

    node: int
    short_ohm: float = 0.01

    def __post_init__(self) -> None:
        if not LEAST_OHM <= self.short_ohm <= MOST_OHM:
            raise BadResistance(f"short_ohm must be within {LEAST_OHM} and {MOST_OHM} ohm, not {self.short_ohm}")


FaultKind = Open | AddedResistance | ShortToNode


class Method(IntEnum):
    """How the row of a fault was found."""

    UNCHANGED = 0
    """By topology: the voltages that remain are those of the network without the fault."""
    UPDATED = 1
    """By the rank-1 (or rank-2) formula; the current sums of the changed network were checked."""
    REFINED = 2
    """The same, refined because the divisor was small or rounding could show."""
    REFACTORED = 3
    """The changed network was factorised by itself."""


@dataclass(frozen=True, eq=False)
class FaultTable:
    """One row per fault, in the order asked for.

    Attributes
    ----------
    probes : (p,) nodes, the columns
    node_v : (f, p) volts against the reference, with the meter connected if one was given; not a number where
        floating
    floating : (f, p) true where the node has no way to a node of known voltage: a meter there says nothing
    method : (f,) see `Method`
    residual_a : (f,) largest error of the current sum at any node of the changed network, branch by branch
        where refined or factorised; estimated from the error of the column where updated; 0 where unchanged;
        not a number for pairs of opens that were updated
    """

    probes: IntArray
    node_v: FloatArray
    floating: BoolArray
    method: npt.NDArray[np.int8]
    residual_a: FloatArray


def single_faults(
    base: Solution,
    elements: npt.ArrayLike,
    kind: FaultKind,
    *,
    probes: npt.ArrayLike | None = None,
    meter_ohm: float | None = None,
    cuts: CutStructure | None = None,
) -> FaultTable:
    """Voltages under each of many single faults of one kind.

    Parameters
    ----------
    base : the network without fault, solved
    elements : (f,) branches to open or to add resistance to; nodes to short for `ShortToNode`
    probes : (p,) nodes whose voltages are wanted; default all
    meter_ohm : input resistance of the meter on the probed node (one at a time); default a perfect meter
    cuts : of `cut_structure(base.network)`, if at hand

    Notes
    -----
    Injected currents of a part that is cut off stop, as they have no way to return. A branch that was open
    already stays open: no change.
    """
    network = base.network
    table = _Sheet(base, probes, meter_ohm)
    if isinstance(kind, ShortToNode):
        checked_nodes("node", [kind.node], network.node_count)
        wanted = checked_nodes("elements", elements, network.node_count)
        table.prepare(wanted.size)
        _short_all(table, wanted, kind)
    else:
        wanted = checked_nodes("elements", elements, network.branch_count)
        table.prepare(wanted.size)
        cuts = cut_structure(network) if cuts is None else _fitting(cuts, network)
        if isinstance(kind, Open) and _rings_stand_still(table):
            _open_all(table, wanted, cuts)
        else:
            _change_all(table, wanted, kind, cuts)
    return table.result()


def double_opens(
    base: Solution,
    pairs: npt.ArrayLike,
    *,
    probes: npt.ArrayLike | None = None,
    meter_ohm: float | None = None,
    cuts: CutStructure | None = None,
) -> FaultTable:
    """Voltages with two branches open, for many pairs.

    Parameters
    ----------
    pairs : (f, 2) branches; a branch named twice, or open already, counts once
    base, probes, meter_ohm, cuts : as in `single_faults`

    Notes
    -----
    If the second branch is a bridge once the first is open, it carries nothing: the row is that of the first
    alone, with the part between them cut off. Memory: 8 bytes for every branch asked for times every node
    probed or touched by such a branch.
    """
    network = base.network
    shape = np.shape(pairs)
    if len(shape) != 2 or shape[1] != 2:
        raise BadNode(f"pairs must have shape (f, 2), not {shape}")
    wanted = checked_nodes("pairs", np.asarray(pairs).reshape(-1), network.branch_count).reshape(-1, 2)
    cuts = cut_structure(network) if cuts is None else _fitting(cuts, network)
    table = _Sheet(base, probes, meter_ohm)
    table.prepare(len(wanted))
    at_once = _without_formula(table, wanted, cuts)
    _pairs_by_formula(table, wanted, np.flatnonzero(~at_once))
    return table.result()


def _without_formula(table: _Sheet, pairs: IntArray, cuts: CutStructure) -> BoolArray:
    """Fill the rows that amount to one open branch or none; (f,) true for those."""
    base, network = table.base, table.base.network
    alive = network.closed & ~base.floating[network.ends[:, 0]]
    first, second = pairs.T
    works = alive[pairs]
    works[:, 1] &= first != second
    bends = works & ~cuts.bridge[pairs]
    cut_pair = bends.all(axis=1) & (cuts.cut_class[first] == cuts.cut_class[second])
    island_of = {}
    for row in np.flatnonzero((works & ~bends).any(axis=1) | cut_pair):
        ends = [int(branch) for branch, works_here in zip(pairs[row], works[row], strict=True) if works_here]
        island_of[int(row)] = cuts.cut_off_by(*ends)
        cut_pair[row] &= bool(island_of[int(row)].any())
    at_once: BoolArray = ~bends.all(axis=1) | cut_pair
    table.start_unchanged(np.flatnonzero(at_once))
    one = np.flatnonzero(at_once & bends.any(axis=1))
    bent = np.where(bends[one, 0], first[one], second[one])
    branches, place = np.unique(bent, return_inverse=True)
    alone = _Sheet(base, table.probes, table.meter_ohm)
    alone.prepare(branches.size)
    # one by one, so that nothing here rests on two labels being equal
    _change_all(alone, branches, Open(), cuts)
    table.node_v[one] = alone.node_v[place]
    table.method[one] = alone.method[place]
    table.residual_a[one] = alone.residual_a[place]
    for place_in_table, island in island_of.items():
        if not at_once[place_in_table]:
            continue
        if abs(np.sum(network.injected_a[island])) > _NO_NET_A:
            table.set_afresh(place_in_table, network.opened(pairs[place_in_table]))
        else:
            table.cut_off(place_in_table, island)
    return at_once


def _pairs_by_formula(table: _Sheet, pairs: IntArray, rows: IntArray) -> None:
    """Woodbury's formula for two opens, at the probes only; pairs where rounding could show in full."""
    if not rows.size:
        return
    if table.base.factor.lu is None:
        # nothing but held nodes: no branch can change a voltage
        table.start_unchanged(rows)
        return
    base, network = table.base, table.base.network
    branches, place = np.unique(pairs[rows], return_inverse=True)
    place = place.reshape(-1, 2)
    ends = network.ends[branches]
    kept, kept_place = np.unique(np.concatenate([table.probes, network.ends[branches].ravel()]), return_inverse=True)
    at_probe = kept_place[: table.probes.size]
    at_first, at_second = kept_place[table.probes.size :].reshape(-1, 2).T
    moved = np.zeros((kept.size, branches.size))
    inside = base.factor.row[kept] >= 0
    size = int(np.count_nonzero(base.factor.row >= 0))
    for block in _blocks(branches.size):
        push = _pushed(base.factor.row, ends[block, 0], ends[block, 1], size)
        moved[inside, block] = _answer(base, push)[base.factor.row[kept[inside]]]
    here = np.arange(branches.size)
    own_ohm = 1.0 / network.conductance_s[branches]
    self_ohm = moved[at_first, here] - moved[at_second, here] - own_ohm
    a, b = network.ends[branches].T
    drop_v = base.potential_v[a] - base.potential_v[b] + network.source_v[branches]
    j, k = place.T
    mutual_ohm = moved[at_first[j], k] - moved[at_second[j], k]
    pair = _PairMatrix(self_ohm[j], mutual_ohm, self_ohm[k])
    # a determinant of exactly nothing gives shares without number, which are not good either
    with np.errstate(divide="ignore", invalid="ignore"):
        divisor = np.abs(pair.determinant / (own_ohm[j] * own_ohm[k]))
        seen_ohm = np.maximum(self_ohm[j] + own_ohm[j], self_ohm[k] + own_ohm[k])
        passed_a = np.maximum(*np.abs(pair.solve(drop_v[j], drop_v[k])))
        doubt_v = table.doubt_v(seen_ohm / divisor, passed_a * seen_ohm)
    small = ~((divisor >= _SMALL_DIVISOR) & (doubt_v <= _DOUBT_V))
    easy = np.flatnonzero(~small)
    for start in range(0, easy.size, _PAIRS_AT_A_TIME):
        some = easy[start : start + _PAIRS_AT_A_TIME]
        _fill_pairs(table, rows[some], pair.part(some), moved[at_probe], j[some], k[some], drop_v)
    _pairs_in_full(table, pairs, rows[small])


def _fill_pairs(
    table: _Sheet,
    rows: IntArray,
    pair: _PairMatrix,
    moved: FloatArray,
    j: IntArray,
    k: IntArray,
    drop_v: FloatArray,
) -> None:
    share_j, share_k = pair.solve(drop_v[j], drop_v[k])
    moved_j, moved_k = moved[:, j], moved[:, k]
    volts = table.base.potential_v[table.probes][:, np.newaxis] - moved_j * share_j - moved_k * share_k
    ohm = None
    if table.probe_ohm is not None:
        back_j, back_k = pair.solve(moved_j, moved_k)
        ohm = (table.probe_ohm[:, np.newaxis] - moved_j * back_j - moved_k * back_k).T
    table.node_v[rows] = table.read(volts.T, ohm, table.floating[rows])
    table.method[rows] = Method.UPDATED
    table.residual_a[rows] = np.nan


def _pairs_in_full(table: _Sheet, pairs: IntArray, rows: IntArray) -> None:
    """Woodbury's formula at all nodes, refinement, and a fresh factor where that does not settle."""
    if not rows.size:
        return
    base, network = table.base, table.base.network
    sums = _CurrentSums(base)
    for block in _blocks(rows.size):
        chosen = rows[block]
        halves = [_weakening(base, pairs[chosen, side], np.zeros(chosen.size)) for side in (0, 1)]
        moved = [_refined_columns(base, sums, half) for half in halves]
        pair = _PairMatrix(
            _across(sums.row, moved[0], halves[0]) + 1.0 / halves[0].change_s,
            _across(sums.row, moved[1], halves[0]),
            _across(sums.row, moved[1], halves[1]) + 1.0 / halves[1].change_s,
        )
        volts = np.repeat(base.potential_v[sums.unknown][:, np.newaxis], chosen.size, axis=1)
        # a determinant of exactly nothing gives voltages without number, which the check below sends on
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = pair.solve(halves[0].drop_v, halves[1].drop_v)
            volts -= moved[0] * shares[0] + moved[1] * shares[1]
            for _ in range(_REFINEMENTS):
                step = _answer(base, np.nan_to_num(sums.errors(volts, *halves)))
                shares = pair.solve(_across(sums.row, step, halves[0]), _across(sums.row, step, halves[1]))
                step -= moved[0] * shares[0] + moved[1] * shares[1]
                volts += step
            worst_a = _worst(sums.errors(volts, *halves))
            ohm = None
            if table.probe_ohm is not None:
                at_probe = [_at_nodes(sums, table.probes, half).T for half in moved]
                back = pair.solve(*at_probe)
                ohm = (table.probe_ohm[:, np.newaxis] - at_probe[0] * back[0] - at_probe[1] * back[1]).T
        shown_v = _at_nodes(sums, table.probes, volts, base.potential_v[table.probes])
        table.node_v[chosen] = table.read(shown_v, ohm, table.floating[chosen])
        table.method[chosen] = Method.REFINED
        table.residual_a[chosen] = worst_a
        settled = (worst_a <= table.limit_a) & (_worst(step) <= _SETTLED_V)
        settled &= _pair_doubt_v(table, pair, halves) <= _METER_DOUBT_V
        for row in chosen[~settled]:
            table.set_afresh(int(row), network.opened(pairs[row]))


def _pair_doubt_v(table: _Sheet, pair: _PairMatrix, halves: list[_Update]) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        divisor = pair.determinant * halves[0].change_s * halves[1].change_s
        seen_ohm = np.maximum(pair.upper - 1.0 / halves[0].change_s, pair.lower - 1.0 / halves[1].change_s)
        return table.meter_doubt_v(seen_ohm / np.abs(divisor), divisor)


@dataclass(frozen=True, eq=False)
class _PairMatrix:
    """Symmetric two by two matrices, one for each pair."""

    upper: FloatArray
    mutual: FloatArray
    lower: FloatArray

    @property
    def determinant(self) -> FloatArray:
        result: FloatArray = self.upper * self.lower - self.mutual**2
        return result

    def solve(self, first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray]:
        scale = 1.0 / self.determinant
        return (self.lower * first - self.mutual * second) * scale, (self.upper * second - self.mutual * first) * scale

    def part(self, some: IntArray) -> _PairMatrix:
        return _PairMatrix(self.upper[some], self.mutual[some], self.lower[some])


def _fitting(cuts: CutStructure, network: Network) -> CutStructure:
    own = cuts.network
    if own is not network and not (
        own.node_count == network.node_count
        and np.array_equal(own.ends, network.ends)
        and np.array_equal(own.closed, network.closed)
        and np.array_equal(own.held_node, network.held_node)
    ):
        raise BadNode("the cut structure was made for a network with other branches or other held nodes")
    return cuts


class _Sheet:
    """The rows of a table while they are being filled."""

    def __init__(self, base: Solution, probes: npt.ArrayLike | None, meter_ohm: float | None) -> None:
        if meter_ohm is not None and not meter_ohm > 0.0:
            raise BadResistance(f"meter_ohm must be positive, not {meter_ohm}")
        n = base.network.node_count
        self.base = base
        self.probes = checked_nodes("probes", np.arange(n) if probes is None else probes, n)
        self.meter_ohm = meter_ohm
        self.probe_ohm = None if meter_ohm is None else source_ohm(base.factor, self.probes)
        # the rounding of very large currents is no reason to factorise again: nothing could be won by it
        self.limit_a = max(_RESIDUAL_A, 10.0 * base.residual_a)
        self.loss = base.factor.rounding_per_ohm
        alive_v = base.node_v[~base.floating]
        # a fault may bring to light what a source inside a branch held back
        self.span_v = (float(np.ptp(alive_v)) if alive_v.size else 0.0) + float(
            np.sum(np.abs(base.network.source_v[base.network.closed]))
        )
        self.unchanged_v = self.read(base.potential_v[self.probes], self.probe_ohm, base.floating[self.probes])

    @cached_property
    def farthest_ohm(self) -> float:
        """Of the network without fault."""
        return self.base.factor.farthest_ohm()

    def prepare(self, faults: int) -> None:
        """Make room for so many rows; the caller fills every one."""
        self.node_v = np.empty((faults, self.probes.size))
        self.floating = np.zeros((faults, self.probes.size), dtype=np.bool_)
        self.floating[:, self.base.floating[self.probes]] = True
        self.method = np.full(faults, Method.UNCHANGED, dtype=np.int8)
        self.residual_a = np.zeros(faults)
        # volts across the changed branch, its source included, from first to second end
        self.gap_v = np.zeros(faults)

    def doubt_v(self, seen_ohm: FloatArray, moved_v: FloatArray) -> FloatArray:
        """Estimate of what rounding does to a row that is not refined.

        The factor may lose `loss` per ohm. A part that hangs on ohms follows what it hangs on only so well: by
        that share of the volts it is moved. `seen_ohm` is what the changed branch leaves between its ends.
        """
        weak_ohm = np.maximum(seen_ohm, self.farthest_ohm)
        doubt: FloatArray = self.loss * weak_ohm * moved_v
        if self.meter_ohm is not None:
            doubt = doubt + self.span_v * self.loss * weak_ohm**2 / self.meter_ohm
        return doubt

    def meter_doubt_v(self, seen_ohm: FloatArray, divisor: FloatArray) -> FloatArray:
        """The same for what the meter adds to a refined row.

        The divisor itself is a small difference, and the column was refined once only: what is left of the
        loss is its square.
        """
        if self.meter_ohm is None:
            return np.zeros_like(divisor)
        weak_ohm = np.maximum(seen_ohm, self.farthest_ohm)
        share = 4.0 * _EPSILON / np.abs(divisor) + (self.loss * weak_ohm) ** 2
        doubt: FloatArray = self.span_v * weak_ohm * share / self.meter_ohm
        return doubt

    def start_unchanged(self, rows: IntArray) -> None:
        """Fill these rows with the voltages of the network without fault."""
        self.node_v[rows] = self.unchanged_v

    def read(self, volts: FloatArray, ohm: FloatArray | None, floating: BoolArray) -> FloatArray:
        """What the meter shows: (..., p) volts and ohms seen by it."""
        floats = bool(floating.any())
        if self.meter_ohm is not None and ohm is not None:
            # a floating node has infinite ohms; it is taken out below
            volts = volts / (1.0 + (np.where(floating, 0.0, ohm) if floats else ohm) / self.meter_ohm)
        return np.where(floating, np.nan, volts) if floats else volts

    def set_afresh(self, row: int, network: Network, branch: int | None = None) -> None:
        """Fill one row from a factorisation of the changed network; `branch` is the one whose gap is asked for."""
        solution = _solve_cut(network)
        floating = solution.floating[self.probes]
        ohm = None if self.meter_ohm is None else source_ohm(solution.factor, self.probes)
        self.node_v[row] = self.read(solution.potential_v[self.probes], ohm, floating)
        self.floating[row] = floating
        self.method[row] = Method.REFACTORED
        self.residual_a[row] = solution.residual_a
        if branch is not None:
            a, b = network.ends[branch]
            self.gap_v[row] = solution.potential_v[a] - solution.potential_v[b] + network.source_v[branch]

    def look_through(self, row: int, nodes: BoolArray, added_ohm: float) -> None:
        """Leave the voltages of one row, but let the meter see so much more resistance at these nodes."""
        if self.probe_ohm is not None:
            ohm = self.probe_ohm + np.where(nodes[self.probes], added_ohm, 0.0)
            floating = self.base.floating[self.probes]
            self.node_v[row] = self.read(self.base.potential_v[self.probes], ohm, floating)

    def cut_off(self, row: int, nodes: BoolArray) -> None:
        """Mark the nodes as floating in one row."""
        gone = nodes[self.probes]
        self.node_v[row, gone] = np.nan
        self.floating[row, gone] = True

    def result(self) -> FaultTable:
        for array in (self.node_v, self.floating, self.method, self.residual_a):
            array.setflags(write=False)
        return FaultTable(self.probes, self.node_v, self.floating, self.method, self.residual_a)


def _solve_cut(network: Network) -> Solution:
    """Solve with the injected currents of floating parts stopped."""
    if not np.any(network.injected_a):
        return solve(network)
    quiet = solve(network.with_injection(np.zeros(network.node_count)))
    return solve(network.with_injection(np.where(quiet.floating, 0.0, network.injected_a)), factor=quiet.factor)


# ------------------------------------------------------------------------------------------ rings


def _rings_stand_still(table: _Sheet) -> bool:
    """Whether an open ring carries nothing at all, which a meter, a leak or injected currents would spoil."""
    base = table.base
    return table.meter_ohm is None and not base.factor.leak_s and not np.any(base.network.injected_a)


def _open_all(table: _Sheet, branches: IntArray, cuts: CutStructure) -> None:
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


def _open_in_core(chains: Chains, opened: IntArray) -> _Sheet:
    """Each of these chains open: one row each, the nodes of the core as columns."""
    sheet = _Sheet(solve(chains.core), None, None)
    sheet.prepare(opened.size)
    for k in _updated_rows(sheet, np.arange(opened.size), _weakening(sheet.base, opened, np.zeros(opened.size))):
        sheet.set_afresh(int(k), chains.core.opened([int(opened[k])]), int(opened[k]))
    return sheet


def _spread(table: _Sheet, chains: Chains, core: _Sheet, lead: IntArray, opened: IntArray) -> None:
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
    for some in _blocks(lead.size):
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
    table: _Sheet, reach: _Reach, rows: IntArray, branches: IntArray, opened: IntArray, gap_v: FloatArray
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


# ------------------------------------------------------------------------------------------ one by one


def _change_all(table: _Sheet, branches: IntArray, kind: Open | AddedResistance, cuts: CutStructure) -> None:
    network = table.base.network
    opening = isinstance(kind, Open)
    alive = network.closed[branches] & ~table.base.floating[network.ends[branches, 0]]
    by_formula = alive & ~cuts.bridge[branches]
    table.start_unchanged(np.flatnonzero(~by_formula))
    for row in np.flatnonzero(alive & cuts.bridge[branches]):
        branch = int(branches[row])
        island = cuts.subtree(branch)
        if abs(np.sum(network.injected_a[island])) > _NO_NET_A:
            # the one way a bridge can carry current: a source of current behind it
            changed = network.opened([branch]) if opening else _with_added(network, branch, kind)
            table.set_afresh(int(row), changed)
        elif opening:
            table.cut_off(int(row), island)
        else:
            table.look_through(int(row), island, cast(AddedResistance, kind).added_ohm)
    rows = np.flatnonzero(by_formula)
    chosen = branches[rows]
    kept = np.zeros(chosen.size) if opening else _kept(network.conductance_s[chosen], kind)
    update = _weakening(table.base, chosen, kept)
    for k in _updated_rows(table, rows, update):
        branch = int(chosen[k])
        changed = network.opened([branch]) if opening else _with_added(network, branch, kind)
        table.set_afresh(int(rows[k]), changed)


def _kept(own_s: FloatArray, kind: Open | AddedResistance) -> FloatArray:
    """Share of the conductance that is left."""
    kept: FloatArray = 1.0 / (1.0 + own_s * cast(AddedResistance, kind).added_ohm)
    return kept


def _with_added(network: Network, branch: int, kind: Open | AddedResistance) -> Network:
    conductance_s = network.conductance_s.copy()
    own_s = conductance_s[branch : branch + 1]
    # held inside the range a network takes: beyond it the branch is as good as open
    conductance_s[branch] = max(float(own_s[0] * _kept(own_s, kind)[0]), 1.0 / MOST_OHM)
    return replace(network, conductance_s=conductance_s)


def _short_all(table: _Sheet, nodes: IntArray, kind: ShortToNode) -> None:
    base, network = table.base, table.base.network
    other = np.full(nodes.size, kind.node, dtype=np.intp)
    joins = base.floating[nodes] != base.floating[kind.node]
    by_formula = ~joins & ~base.floating[nodes] & (nodes != other)
    table.start_unchanged(np.flatnonzero(~by_formula))
    for row in np.flatnonzero(joins):
        # the short brings a floating part to life: the matrix gains unknowns
        table.set_afresh(int(row), network.with_branch(int(nodes[row]), kind.node, kind.short_ohm))
    rows = np.flatnonzero(by_formula)
    a, b = nodes[rows], other[rows]
    change_s = np.full(rows.size, 1.0 / kind.short_ohm)
    no_branch = np.full(rows.size, -1, dtype=np.intp)
    update = _Update(a, b, change_s, base.potential_v[a] - base.potential_v[b], no_branch, np.zeros(rows.size))
    for k in _updated_rows(table, rows, update):
        table.set_afresh(int(rows[k]), network.with_branch(int(a[k]), kind.node, kind.short_ohm))


# ------------------------------------------------------------------------------------------ the formula


@dataclass(frozen=True, eq=False)
class _Update:
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

    def chosen(self, rows: slice | IntArray) -> _Update:
        """The changes of these rows only."""
        return _Update(
            self.first[rows],
            self.second[rows],
            self.change_s[rows],
            self.drop_v[rows],
            self.branch[rows],
            self.kept[rows],
        )


def _weakening(base: Solution, branches: IntArray, kept: FloatArray) -> _Update:
    """Branches left with a share of their conductance."""
    network = base.network
    a, b = network.ends[branches].T
    drop_v = base.potential_v[a] - base.potential_v[b] + network.source_v[branches]
    return _Update(a, b, network.conductance_s[branches] * (kept - 1.0), drop_v, branches, kept)


class _CurrentSums:
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

    def errors(self, unknown_v: FloatArray, *updates: _Update) -> FloatArray:
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

    def gap_v(self, unknown_v: FloatArray, update: _Update) -> FloatArray:
        """(k,) volts across each changed branch, its source included."""
        first_v, second_v = self._ends_v(unknown_v, update, np.arange(update.first.size))
        known = update.branch >= 0
        source_v = np.where(known, self.source_v[np.maximum(update.branch, 0)], 0.0)
        gap_v: FloatArray = first_v - second_v + source_v
        return gap_v

    def _ends_v(self, unknown_v: FloatArray, update: _Update, which: IntArray) -> list[FloatArray]:
        ends_v = []
        for nodes in (update.first[which], update.second[which]):
            row = self.row[nodes]
            ends_v.append(np.where(row >= 0, unknown_v[np.maximum(row, 0), which], self.held_v[nodes]))
        return ends_v

    def _take_shorts(self, error_a: FloatArray, unknown_v: FloatArray, update: _Update) -> None:
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

    def column_errors(self, moved: FloatArray, update: _Update) -> FloatArray:
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
        return _worst(error)


def _blocks(count: int) -> Iterator[slice]:
    edges = [*range(0, count, BLOCK_WIDTH), count]
    for start, stop in pairwise(edges):
        yield slice(start, stop)


def _updated_rows(table: _Sheet, rows: IntArray, update: _Update) -> IntArray:
    """Fill these rows by the rank-1 formula; the numbers of those that need a factor of their own."""
    base = table.base
    if not rows.size or base.factor.lu is None:
        # with nothing but held nodes no branch can change a voltage
        table.start_unchanged(rows)
        table.gap_v[rows] = update.drop_v
        return np.empty(0, dtype=np.intp)
    sums = _CurrentSums(base)
    risky = [
        block.start + _update_block(table, rows[block], update.chosen(block), sums) for block in _blocks(rows.size)
    ]
    again = np.concatenate(risky)
    poor = [
        again[block][_refine_block(table, rows[again[block]], update.chosen(again[block]), sums)]
        for block in _blocks(again.size)
    ]
    return np.concatenate([np.empty(0, dtype=np.intp), *poor])


def _update_block(table: _Sheet, rows: IntArray, update: _Update, sums: _CurrentSums) -> IntArray:
    """The formula as it stands; the numbers of the rows where that is not good enough."""
    base = table.base
    moved = _answer(base, _pushed(sums.row, update.first, update.second, sums.unknown.size))
    own_ohm = _across(sums.row, moved, update)
    divisor = 1.0 + update.change_s * own_ohm
    # a divisor of exactly nothing gives voltages without number, which the check sends on
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = update.change_s / divisor
        passed_a = scale * update.drop_v
        gap_v = update.drop_v / divisor
        worst_a = base.residual_a + np.abs(passed_a) * sums.column_errors(moved, update)
        at_probe = _at_nodes(sums, table.probes, moved)
        ohm = None if table.probe_ohm is None else table.probe_ohm - scale[:, np.newaxis] * at_probe**2
        at_probe *= -passed_a[:, np.newaxis]
        at_probe += base.potential_v[table.probes]
        doubt_v = table.doubt_v(np.abs(own_ohm / divisor), np.abs(passed_a * own_ohm))
    table.node_v[rows] = table.read(at_probe, ohm, table.floating[rows])
    table.method[rows] = Method.UPDATED
    table.residual_a[rows] = worst_a
    table.gap_v[rows] = gap_v
    good = (np.abs(divisor) >= _SMALL_DIVISOR) & (worst_a <= table.limit_a) & (doubt_v <= _DOUBT_V)
    return np.flatnonzero(~good)


def _refine_block(table: _Sheet, rows: IntArray, update: _Update, sums: _CurrentSums) -> BoolArray:
    """The formula followed by refinement at all nodes; true for the rows that did not settle."""
    base = table.base
    moved = _refined_columns(base, sums, update)
    with np.errstate(divide="ignore", invalid="ignore"):
        own_ohm = _across(sums.row, moved, update)
        divisor = 1.0 + update.change_s * own_ohm
        scale = update.change_s / divisor
        volts = base.potential_v[sums.unknown, np.newaxis] - moved * (scale * update.drop_v)
        for _ in range(_REFINEMENTS):
            step = _answer(base, np.nan_to_num(sums.errors(volts, update)))
            step -= moved * (scale * _across(sums.row, step, update))
            volts += step
        worst_a = _worst(sums.errors(volts, update))
        ohm = None
        if table.probe_ohm is not None:
            ohm = table.probe_ohm - scale[:, np.newaxis] * _at_nodes(sums, table.probes, moved) ** 2
        doubt_v = table.meter_doubt_v(np.abs(own_ohm / divisor), divisor)
    at_probe = _at_nodes(sums, table.probes, volts, base.potential_v[table.probes])
    table.node_v[rows] = table.read(at_probe, ohm, table.floating[rows])
    table.method[rows] = Method.REFINED
    table.residual_a[rows] = worst_a
    table.gap_v[rows] = sums.gap_v(volts, update)
    settled: BoolArray = (worst_a <= table.limit_a) & (_worst(step) <= _SETTLED_V) & (doubt_v <= _METER_DOUBT_V)
    return ~settled


def _refined_columns(base: Solution, sums: _CurrentSums, update: _Update) -> FloatArray:
    """(u, k) volts for an ampere through each branch, refined once with sums taken branch by branch."""
    push = _pushed(sums.row, update.first, update.second, sums.unknown.size)
    moved = _answer(base, push)
    return moved + _answer(base, push - sums.carried(moved))


def _worst(error_a: FloatArray) -> FloatArray:
    largest: FloatArray = np.maximum(error_a.max(axis=0, initial=0.0), -error_a.min(axis=0, initial=0.0))
    return largest


def _at_nodes(
    sums: _CurrentSums, nodes: IntArray, unknown_v: FloatArray, held_v: FloatArray | None = None
) -> FloatArray:
    """(k, p) volts at nodes from (u, k) volts of the unknown ones; held nodes at (p,) `held_v`, default 0."""
    row = sums.row[nodes]
    volts: FloatArray = np.take(unknown_v.T, np.maximum(row, 0), axis=1)
    held = np.flatnonzero(row < 0)
    volts[:, held] = 0.0 if held_v is None else held_v[held]
    return volts


def _pushed(row: IntArray, first: IntArray, second: IntArray, size: int) -> FloatArray:
    push = np.zeros((size, first.size), order="F")
    here = np.arange(first.size)
    for nodes, sign in ((first, 1.0), (second, -1.0)):
        inside = row[nodes] >= 0
        push[row[nodes[inside]], here[inside]] += sign
    return push


def _answer(base: Solution, push: FloatArray) -> FloatArray:
    lu = base.factor.lu
    assert lu is not None, "callers stop at a network without unknown nodes"
    volts: FloatArray = lu.solve(push)
    return volts


def _across(row: IntArray, volts: FloatArray, update: _Update) -> FloatArray:
    """(k,) volts from first to second end, held nodes taken as 0."""
    here = np.arange(update.first.size)
    across = np.zeros(update.first.size)
    for nodes, sign in ((update.first, 1.0), (update.second, -1.0)):
        across += sign * np.where(row[nodes] >= 0, volts[np.maximum(row[nodes], 0), here], 0.0)
    return across
