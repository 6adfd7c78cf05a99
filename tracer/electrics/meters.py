"""What a voltmeter shows at a node of a solved network; how far a meter may be off."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.network.described import BadResistance, FloatArray, checked_nodes
from tracer.electrics.network.factor import BLOCK_WIDTH, Factor
from tracer.electrics.network.linear import Solution, solve

__all__ = ["Reading", "accuracy_ohm", "reading_at", "source_ohm"]

_LOSS = 1e-9


@dataclass(frozen=True)
class Reading:
    """What a voltmeter shows.

    Attributes
    ----------
    volts : displayed volts
    floating : true if a lead touches a place without connection; the display then says nothing about the
        circuit (near 0 V on a bench, anything on a vehicle), and `volts` is 0
    source_ohm : resistance the meter looks into; infinite if floating
    """

    volts: float
    floating: bool
    source_ohm: float


def reading_at(solution: Solution, node: int, meter_ohm: float = 10e6) -> Reading:
    """Reading with the red lead on a node and the black lead on the reference.

    The meter loads the probed node only: ``volts = v / (1 + source_ohm / meter_ohm)``, exact for a resistive
    network.

    Parameters
    ----------
    meter_ohm : input resistance; 10 Mohm is usual for a digital meter (common practice, no source)
    """
    checked_nodes("node", [node], solution.network.node_count)
    _check_meter(meter_ohm)
    if solution.floating[node]:
        return Reading(0.0, True, math.inf)
    ohm = float(source_ohm(solution.factor, [node])[0])
    return Reading(float(solution.node_v[node]) / (1.0 + ohm / meter_ohm), False, ohm)


def source_ohm(factor: Factor, nodes: npt.ArrayLike) -> FloatArray:
    """Ohms between each node and the reference with all sources at rest; infinite where floating."""
    wanted = checked_nodes("nodes", nodes, factor.network.node_count)
    ohm = np.empty(wanted.size)
    for start in range(0, wanted.size, BLOCK_WIDTH):
        block = wanted[start : start + BLOCK_WIDTH]
        column = np.arange(block.size)
        push = np.zeros((factor.network.node_count, block.size))
        push[block, column] = 1.0
        ohm[start : start + block.size] = factor.respond(push)[block, column]
    # the share lost is the resistance itself times the rounding per ohm; see to those where it could show
    for k in np.flatnonzero(ohm * factor.rounding_per_ohm > _LOSS).tolist():
        if not factor.floating[wanted[k]]:
            lead = np.zeros(factor.network.node_count)
            lead[wanted[k]] = 1.0
            ohm[k] = _refined_ohm(factor, lead, float(ohm[k]))
    ohm[factor.floating[wanted]] = np.inf
    return ohm


def _refined_ohm(factor: Factor, push: FloatArray, rough_ohm: float) -> float:
    """Resistance seen by a pair of leads, found with current sums taken branch by branch.

    `push` is (n,), 1 at the red lead and -1 at the black one. The current is chosen to give about a volt.
    """
    still = factor.network
    alone = replace(
        still,
        fixed_v=np.zeros(still.fixed_v.size),
        source_v=np.zeros(still.branch_count),
        injected_a=push / rough_ohm,
    )
    volts = push @ solve(alone, factor.leak_s, factor=factor).potential_v
    return float(volts) * rough_ohm


def _check_meter(meter_ohm: float) -> None:
    if not meter_ohm > 0.0:
        raise BadResistance(f"meter_ohm must be positive, not {meter_ohm}")


def accuracy_ohm(limits: LimitsInUse, ohm: float) -> float:
    """How far a meter may be off at a reading of that many ohms; 0 where it reads open."""
    if not math.isfinite(ohm):
        return 0.0
    return limits.of("meter resistance share").high * ohm + limits.of("meter resistance digits").high
