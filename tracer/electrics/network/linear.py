"""Voltages and currents of a resistive network, from arrays alone.

Signs: a branch runs from its first to its second end; its current is positive in that direction, and its
drop is the voltage of the first end minus that of the second. A source inside a branch pushes current from
the first end to the second, so that ``current = conductance * (v_first - v_second + source_v)``; a battery
is a branch from its negative to its positive post, holding its open-circuit voltage and its internal
resistance.

A node without a way over closed branches to a node of known voltage is *floating*. That is decided by
topology, never by a small number: no leak to ground is needed to keep the equations solvable, because every
floating island is solved against its own lowest node. Its currents and the voltages inside it are therefore
real, its voltage against the reference is not a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracer.electrics.network.described import BoolArray, FloatArray, Network, NotAccurate
from tracer.electrics.network.factor import Factor, factorise
from tracer.standards import figures

_REFINED_V = 1e-10
_INACCURATE_V = 1e-6
_INACCURATE_V_PER_A = 1e-9
_REFINEMENTS = 6


@dataclass(frozen=True, eq=False)
class Solution:
    """What a network settles at.

    Attributes
    ----------
    factor : the factor used, for faults
    network : the network solved
    node_v : (n,) volts against the reference; not a number where floating
    potential_v : (n,) as `node_v`, but in a floating island volts against the island's own lowest node
    branch_a : (m,) amperes from first to second end; 0 where interrupted
    """

    factor: Factor
    network: Network
    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray

    @property
    def floating(self) -> BoolArray:
        """(n,) true where a node has no way to a node of known voltage."""
        return self.factor.floating


def solve(network: Network) -> Solution:
    """Solve the network by nodal analysis, and refine until the voltages stand still.

    Raises
    ------
    NotAccurate : the voltages do not settle to 1 microvolt (1 nanovolt per ampere above 1000 A)

    References
    ----------
    Nodal part of Ho, Ruehli, Brennan (1975), IEEE Trans. Circuits and Systems 22(6), 504-509 (citation from
    memory).
    """
    factor = factorise(network)
    potential_v = np.zeros(network.node_count)
    potential_v[network.held_node] = network.held_v
    potential_v, branch_a = _settled(network, factor, potential_v)
    node_v = np.where(factor.floating, np.nan, potential_v)
    for array in (node_v, potential_v, branch_a):
        array.setflags(write=False)
    return Solution(factor, network, node_v, potential_v, branch_a)


def _settled(network: Network, factor: Factor, potential_v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Solve in the first step; refine in every further one, with current sums taken branch by branch."""
    correction_v = math.inf
    for step in range(_REFINEMENTS + 1):
        branch_a, surplus_a = current_sums(network, potential_v)
        if step > 1 and correction_v <= _REFINED_V:
            return potential_v, branch_a
        change_v = factor.respond(np.where(factor.row >= 0, surplus_a, 0.0))
        potential_v = potential_v + change_v
        correction_v = float(np.max(np.abs(change_v), initial=0.0))
    branch_a, _ = current_sums(network, potential_v)
    # written so that a correction that is not a number is caught too
    if not correction_v <= limit_of_correction_v(branch_a):
        raise NotAccurate(
            f"voltages still move by {figures.significant(correction_v)} V after {_REFINEMENTS} refinements; the "
            f"conductances, {figures.significant(float(np.min(network.conductance_s)))} to {figures.significant(float(np.max(network.conductance_s)))} S, "
            f"lie too far apart"
        )
    return potential_v, branch_a


def limit_of_correction_v(branch_a: FloatArray) -> FloatArray:
    """Volts by which the last refinement may still move a voltage, for (m,) branch currents or each column of (m, s).

    A short circuit of 10 kA leaves a rounding of 1e-12 A, which a megohm turns into a microvolt.
    """
    limit_v: FloatArray = np.maximum(_INACCURATE_V, _INACCURATE_V_PER_A * np.max(np.abs(branch_a), axis=0, initial=0.0))
    return limit_v


def current_sums(network: Network, potential_v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(m,) branch currents, and (n,) for each node what flows into it and is not carried away."""
    first, second = network.ends.T
    branch_a = network.conductance_s * (potential_v[first] - potential_v[second] + network.source_v)
    branch_a[~network.closed] = 0.0
    n = network.node_count
    # what goes round in one branch comes back to its node; summed, it would only leave its rounding there
    passing_a = np.where(first == second, 0.0, branch_a)
    surplus_a = np.bincount(second, passing_a, n) - np.bincount(first, passing_a, n)
    return branch_a, np.asarray(surplus_a, dtype=np.float64)
