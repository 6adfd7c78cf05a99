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

import numpy as np
import numpy.typing as npt

from tracer.electrics.cuts import CutStructure, cut_structure
from tracer.electrics.double_opens import open_pairs
from tracer.electrics.fault_table import AddedResistance, FaultKind, FaultRows, FaultTable, Method, Open, ShortToNode
from tracer.electrics.network import BadNode, Network, Solution, checked_nodes
from tracer.electrics.ring_opens import open_all, rings_stand_still
from tracer.electrics.single_changes import change_all, short_all

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
    table = FaultRows(base, probes, meter_ohm)
    if isinstance(kind, ShortToNode):
        checked_nodes("node", [kind.node], network.node_count)
        wanted = checked_nodes("elements", elements, network.node_count)
        table.prepare(wanted.size)
        short_all(table, wanted, kind)
    else:
        wanted = checked_nodes("elements", elements, network.branch_count)
        table.prepare(wanted.size)
        cuts = cut_structure(network) if cuts is None else _fitting(cuts, network)
        if isinstance(kind, Open) and rings_stand_still(table):
            open_all(table, wanted, cuts)
        else:
            change_all(table, wanted, kind, cuts)
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
    table = FaultRows(base, probes, meter_ohm)
    table.prepare(len(wanted))
    open_pairs(table, wanted, cuts)
    return table.result()


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
