"""Voltages and currents of a resistive network, from arrays alone.

Signs: a branch runs from its first to its second end; its current is positive in that direction, and its
drop is the voltage of the first end minus that of the second. A source inside a branch pushes current from
the first end to the second, so that ``current = conductance * (v_first - v_second + source_v)``; a battery
is a branch from its negative to its positive post, holding its open-circuit voltage and its internal
resistance. Injected current is positive into a node.

A node without a way over closed branches to a node of known voltage is *floating*. That is decided by
topology, never by a small number: no leak to ground is needed to keep the equations solvable, because every
floating island is solved against its own lowest node. Its currents and the voltages inside it are therefore
real, its voltage against the reference is not a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracer.electrics.network.described import BoolArray, FactorMismatch, FloatArray, Network, NoReturnPath, NotAccurate
from tracer.electrics.network.factor import Factor, factorise

_REFINED_V = 1e-10
_INACCURATE_V = 1e-6
_INACCURATE_V_PER_A = 1e-9
_REFINEMENTS = 6


@dataclass(frozen=True, eq=False)
class Solution:
    """What a network settles at.

    Attributes
    ----------
    factor : the factor used, for another solve or for faults
    network : the network solved
    node_v : (n,) volts against the reference; not a number where floating
    potential_v : (n,) as `node_v`, but in a floating island volts against the island's own lowest node
    branch_a : (m,) amperes from first to second end; 0 where interrupted
    held_a : (h,) amperes that each node of `network.held_node` sends into the network
    residual_a : largest error of the current sum at any node, summed branch by branch
    correction_v : size of the last refinement step, an estimate of the voltage error
    source_w : power that all sources give together (one that is being charged counts against)
    heat_w : power turned to heat in the resistances
    """

    factor: Factor
    network: Network
    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray
    held_a: FloatArray
    residual_a: float
    correction_v: float
    source_w: float
    heat_w: float

    @property
    def floating(self) -> BoolArray:
        """(n,) true where a node has no way to a node of known voltage."""
        return self.factor.floating

    @property
    def floating_nodes(self) -> frozenset[int]:
        """The floating nodes as a set."""
        return frozenset(int(k) for k in np.flatnonzero(self.factor.floating))

    @property
    def branch_drop_v(self) -> FloatArray:
        """(m,) volts, first end minus second end; not a number between two separate islands that float."""
        a, b = self.network.ends.T
        drop: FloatArray = self.potential_v[a] - self.potential_v[b]
        apart = (self.factor.island[a] != self.factor.island[b]) & (self.floating[a] | self.floating[b])
        drop[apart] = np.nan
        return drop


def solve(network: Network, leak_s: float = 0.0, *, factor: Factor | None = None) -> Solution:
    """Solve the network by nodal analysis, and refine until the voltages stand still.

    Parameters
    ----------
    leak_s : siemens from every unknown node to 0 V. Not needed for the numerics (see the module text); 1e-10
        S bends the voltage behind 1 Mohm by 1.2 mV at 12 V, so the default is none.
    factor : of an earlier solve of a network that differs in sources and injections at most

    Raises
    ------
    NoReturnPath : current is injected into a floating island and does not sum to zero there
    FactorMismatch : `factor` belongs to another network
    NotAccurate : the voltages do not settle to 1 microvolt (1 nanovolt per ampere above 1000 A)

    References
    ----------
    Nodal part of Ho, Ruehli, Brennan (1975), IEEE Trans. Circuits and Systems 22(6), 504-509 (citation from
    memory).
    """
    if factor is None:
        factor = factorise(network, leak_s)
    elif not factor.fits(network) or factor.leak_s != leak_s:
        raise FactorMismatch("the factor was made for other conductances, other held nodes or another leak")
    _check_return(network, factor)
    potential_v = np.zeros(network.node_count)
    potential_v[network.held_node] = network.held_v
    unknown = factor.row >= 0
    potential_v, branch_a, surplus_a, correction_v = _settled(network, factor, potential_v, unknown)
    node_v = np.where(factor.floating, np.nan, potential_v)
    held_a = -surplus_a[network.held_node]
    source_w = float(network.held_v @ held_a + network.source_v @ branch_a + network.injected_a @ potential_v)
    heat_w = float(np.sum(branch_a**2 / network.conductance_s) + factor.leak_s * np.sum(potential_v[unknown] ** 2))
    residual_a = float(np.max(np.abs(surplus_a[unknown]), initial=0.0))
    for array in (node_v, potential_v, branch_a, held_a):
        array.setflags(write=False)
    return Solution(factor, network, node_v, potential_v, branch_a, held_a, residual_a, correction_v, source_w, heat_w)


def _settled(
    network: Network, factor: Factor, potential_v: FloatArray, unknown: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """Solve in the first step; refine in every further one, with current sums taken branch by branch."""
    correction_v = math.inf
    for step in range(_REFINEMENTS + 1):
        branch_a, surplus_a = current_sums(network, potential_v, factor.leak_s)
        if step > 1 and correction_v <= _REFINED_V:
            return potential_v, branch_a, surplus_a, correction_v
        change_v = factor.respond(np.where(unknown, surplus_a, 0.0))
        potential_v = potential_v + change_v
        correction_v = float(np.max(np.abs(change_v), initial=0.0))
    branch_a, surplus_a = current_sums(network, potential_v, factor.leak_s)
    # written so that a correction that is not a number is caught too
    if not correction_v <= limit_of_correction_v(branch_a):
        raise NotAccurate(
            f"voltages still move by {correction_v:.3g} V after {_REFINEMENTS} refinements; the "
            f"conductances, {np.min(network.conductance_s):.3g} to {np.max(network.conductance_s):.3g} S, "
            f"lie too far apart"
        )
    return potential_v, branch_a, surplus_a, correction_v


def limit_of_correction_v(branch_a: FloatArray) -> FloatArray:
    """Volts by which the last refinement may still move a voltage, for (m,) branch currents or each column of (m, s).

    A short circuit of 10 kA leaves a rounding of 1e-12 A, which a megohm turns into a microvolt.
    """
    limit_v: FloatArray = np.maximum(_INACCURATE_V, _INACCURATE_V_PER_A * np.max(np.abs(branch_a), axis=0, initial=0.0))
    return limit_v


def current_sums(network: Network, potential_v: FloatArray, leak_s: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """(m,) branch currents, and (n,) for each node the injected current that the branches do not carry away."""
    first, second = network.ends.T
    branch_a = network.conductance_s * (potential_v[first] - potential_v[second] + network.source_v)
    branch_a[~network.closed] = 0.0
    n = network.node_count
    # what goes round in one branch comes back to its node; summed, it would only leave its rounding there
    passing_a = np.where(first == second, 0.0, branch_a)
    surplus_a = network.injected_a - np.bincount(first, passing_a, n) + np.bincount(second, passing_a, n)
    if leak_s:
        leaking = np.ones(n, dtype=np.bool_)
        leaking[network.held_node] = False
        surplus_a = surplus_a - leak_s * np.where(leaking, potential_v, 0.0)
    return branch_a, surplus_a


def _check_return(network: Network, factor: Factor) -> None:
    if not np.any(network.injected_a):
        return
    sums = np.bincount(factor.island, network.injected_a)
    sizes = np.bincount(factor.island, np.abs(network.injected_a))
    stuck = np.flatnonzero(factor.floating & (np.abs(sums) > 1e-12 * sizes)[factor.island])
    if stuck.size:
        k = int(stuck[0])
        raise NoReturnPath(
            f"{sums[factor.island[k]]:.6g} A flow into the floating island of node {k} and cannot leave it"
        )
