"""Two branches opened, for many pairs: by topology where that amounts to one open branch or none, else by Woodbury's formula."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracer.electrics.cuts import CutStructure
from tracer.electrics.fault_table import FaultRows, Method, Open
from tracer.electrics.network import BoolArray, FloatArray, IntArray
from tracer.electrics.rank_one import (
    DOUBT_V,
    METER_DOUBT_V,
    REFINEMENTS,
    SETTLED_V,
    SMALL_DIVISOR,
    CurrentSums,
    Update,
    ampere_through,
    answer_v,
    greatest_of_columns,
    in_blocks,
    refined_columns,
    volts_across,
    volts_at,
    weakening,
)
from tracer.electrics.single_changes import NO_NET_A, change_all

_PAIRS_AT_A_TIME = 4096


def open_pairs(table: FaultRows, pairs: IntArray, cuts: CutStructure) -> None:
    """Fill the rows of a table, one for each of the (f, 2) pairs."""
    at_once = _without_formula(table, pairs, cuts)
    _pairs_by_formula(table, pairs, np.flatnonzero(~at_once))


def _without_formula(table: FaultRows, pairs: IntArray, cuts: CutStructure) -> BoolArray:
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
    alone = FaultRows(base, table.probes, table.meter_ohm)
    alone.prepare(branches.size)
    # one by one, so that nothing here rests on two labels being equal
    change_all(alone, branches, Open(), cuts)
    table.node_v[one] = alone.node_v[place]
    table.method[one] = alone.method[place]
    table.residual_a[one] = alone.residual_a[place]
    for place_in_table, island in island_of.items():
        if not at_once[place_in_table]:
            continue
        if abs(np.sum(network.injected_a[island])) > NO_NET_A:
            table.set_afresh(place_in_table, network.opened(pairs[place_in_table]))
        else:
            table.cut_off(place_in_table, island)
    return at_once


def _pairs_by_formula(table: FaultRows, pairs: IntArray, rows: IntArray) -> None:
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
    for block in in_blocks(branches.size):
        push = ampere_through(base.factor.row, ends[block, 0], ends[block, 1], size)
        moved[inside, block] = answer_v(base, push)[base.factor.row[kept[inside]]]
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
    small = ~((divisor >= SMALL_DIVISOR) & (doubt_v <= DOUBT_V))
    easy = np.flatnonzero(~small)
    for start in range(0, easy.size, _PAIRS_AT_A_TIME):
        some = easy[start : start + _PAIRS_AT_A_TIME]
        _fill_pairs(table, rows[some], pair.part(some), moved[at_probe], j[some], k[some], drop_v)
    _pairs_in_full(table, pairs, rows[small])


def _fill_pairs(
    table: FaultRows,
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


def _pairs_in_full(table: FaultRows, pairs: IntArray, rows: IntArray) -> None:
    """Woodbury's formula at all nodes, refinement, and a fresh factor where that does not settle."""
    if not rows.size:
        return
    base, network = table.base, table.base.network
    sums = CurrentSums(base)
    for block in in_blocks(rows.size):
        chosen = rows[block]
        halves = [weakening(base, pairs[chosen, side], np.zeros(chosen.size)) for side in (0, 1)]
        moved = [refined_columns(base, sums, half) for half in halves]
        pair = _PairMatrix(
            volts_across(sums.row, moved[0], halves[0]) + 1.0 / halves[0].change_s,
            volts_across(sums.row, moved[1], halves[0]),
            volts_across(sums.row, moved[1], halves[1]) + 1.0 / halves[1].change_s,
        )
        volts = np.repeat(base.potential_v[sums.unknown][:, np.newaxis], chosen.size, axis=1)
        # a determinant of exactly nothing gives voltages without number, which the check below sends on
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = pair.solve(halves[0].drop_v, halves[1].drop_v)
            volts -= moved[0] * shares[0] + moved[1] * shares[1]
            for _ in range(REFINEMENTS):
                step = answer_v(base, np.nan_to_num(sums.errors(volts, *halves)))
                shares = pair.solve(volts_across(sums.row, step, halves[0]), volts_across(sums.row, step, halves[1]))
                step -= moved[0] * shares[0] + moved[1] * shares[1]
                volts += step
            worst_a = greatest_of_columns(sums.errors(volts, *halves))
            ohm = None
            if table.probe_ohm is not None:
                at_probe = [volts_at(sums, table.probes, half).T for half in moved]
                back = pair.solve(*at_probe)
                ohm = (table.probe_ohm[:, np.newaxis] - at_probe[0] * back[0] - at_probe[1] * back[1]).T
        shown_v = volts_at(sums, table.probes, volts, base.potential_v[table.probes])
        table.node_v[chosen] = table.read(shown_v, ohm, table.floating[chosen])
        table.method[chosen] = Method.REFINED
        table.residual_a[chosen] = worst_a
        settled = (worst_a <= table.limit_a) & (greatest_of_columns(step) <= SETTLED_V)
        settled &= _pair_doubt_v(table, pair, halves) <= METER_DOUBT_V
        for row in chosen[~settled]:
            table.set_afresh(int(row), network.opened(pairs[row]))


def _pair_doubt_v(table: FaultRows, pair: _PairMatrix, halves: list[Update]) -> FloatArray:
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
