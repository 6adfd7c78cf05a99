"""Each of many branches opened or weakened, each of many nodes shorted: by topology where it carries nothing, else by the formula of rank 1."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np

from tracer.electrics.cuts import CutStructure
from tracer.electrics.fault_table import AddedResistance, FaultRows, Open, ShortToNode
from tracer.electrics.network import MOST_OHM, FloatArray, IntArray, Network
from tracer.electrics.rank_one import Update, updated_rows, weakening

NO_NET_A = 1e-12  # currents injected into a part that is cut off: below this they add up to nothing


def change_all(table: FaultRows, branches: IntArray, kind: Open | AddedResistance, cuts: CutStructure) -> None:
    """Fill the table: each of these branches open, or with an added resistance."""
    network = table.base.network
    opening = isinstance(kind, Open)
    alive = network.closed[branches] & ~table.base.floating[network.ends[branches, 0]]
    by_formula = alive & ~cuts.bridge[branches]
    table.start_unchanged(np.flatnonzero(~by_formula))
    for row in np.flatnonzero(alive & cuts.bridge[branches]):
        branch = int(branches[row])
        island = cuts.subtree(branch)
        if abs(np.sum(network.injected_a[island])) > NO_NET_A:
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
    update = weakening(table.base, chosen, kept)
    for k in updated_rows(table, rows, update):
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


def short_all(table: FaultRows, nodes: IntArray, kind: ShortToNode) -> None:
    """Fill the table: each of these nodes shorted to the one of `kind`."""
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
    update = Update(a, b, change_s, base.potential_v[a] - base.potential_v[b], no_branch, np.zeros(rows.size))
    for k in updated_rows(table, rows, update):
        table.set_afresh(int(rows[k]), network.with_branch(int(a[k]), kind.node, kind.short_ohm))
