"""What can be wrong with an element, and the table of voltages under many such faults, empty and while it is being filled."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tracer.electrics.meters import source_ohm
from tracer.electrics.network import (
    LEAST_OHM,
    MOST_OHM,
    BadResistance,
    BoolArray,
    FloatArray,
    IntArray,
    Network,
    Solution,
    checked_nodes,
    solve,
)

__all__ = ["AddedResistance", "FaultKind", "FaultRows", "FaultTable", "Method", "Open", "ShortToNode"]

_RESIDUAL_A = 1e-9
_EPSILON = float(np.finfo(np.float64).eps)


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


class FaultRows:
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
