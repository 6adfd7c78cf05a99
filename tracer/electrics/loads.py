"""Networks whose loads are no resistors: constant power, constant current, filament lamps.

Two ways lead to the same answer. `settle` keeps one factor, made with the slope of every load at a state that is
nearly right already, and lets the true currents of the loads correct the voltages: quick, for one network in many
settings. `solve_with_loads` starts from nothing and says which loads stand in the way; it is for networks of any
kind, and for those where the quick way finds no rest. (A circuit in many settings at once: `many`, by the same laws.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, Protocol

import numpy as np

from tracer.electrics.network import (
    BLOCK_WIDTH,
    LEAST_OHM,
    MOST_OHM,
    BadValue,
    BoolArray,
    Factor,
    FloatArray,
    Network,
    NetworkError,
    Solution,
    checked_nodes,
    current_sums,
    factorise,
    limit_of_correction_v,
    solve,
)

__all__ = [
    "ConstantCurrent",
    "ConstantPower",
    "FilamentLamp",
    "Law",
    "Load",
    "LoadLaws",
    "LoadedSolution",
    "NoConvergence",
    "Settled",
    "settle",
    "solve_with_loads",
]

_LOAD_BASE_S = 1e-6
_SETTLED_V = 1e-10
_CORRECTIONS = 40
_NEW_SLOPES = 4


class NoConvergence(NetworkError):
    """The loads cannot be supplied, or do not settle.

    Attributes
    ----------
    loads : numbers of the loads, in the order given, that stand in the way
    iterations : Newton steps taken
    mismatch_v : largest volts still missing in the last step
    """

    def __init__(self, message: str, loads: tuple[int, ...], iterations: int, mismatch_v: float) -> None:
        super().__init__(message)
        self.loads = loads
        self.iterations = iterations
        self.mismatch_v = mismatch_v


class Load(Protocol):
    """A load between two nodes. Its current depends on the voltage from `first` to `second`.

    `least_v` is the voltage below which an electronic load has given up and behaves like a resistor; 0 for a
    load that never does.
    """

    @property
    def first(self) -> int:
        """Node on the plus side."""
        ...

    @property
    def second(self) -> int:
        """Node on the minus side."""
        ...

    @property
    def least_v(self) -> float:
        """Volts below which the load has given up; 0 for never."""
        ...

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        ...

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        ...


class Law(NamedTuple):
    """A load as two pieces: from `knee_v` up ``amount * v ** exponent`` amperes, below it a resistor of `low_s` siemens; the same backwards."""

    amount: float
    exponent: float
    knee_v: float
    low_s: float


@dataclass(frozen=True)
class ConstantPower:
    """A load that keeps its power: its current rises as the voltage falls.

    Switching converters and many modules are such loads. Below `least_v` it is the resistor that takes
    `power_w` at `least_v`. With `least_v` 0 the power must be delivered, whatever the voltage, or the solve
    reports that it cannot be.
    """

    first: int
    second: int
    power_w: float
    least_v: float = 0.0

    def __post_init__(self) -> None:
        _check_load(self.power_w, self.least_v)

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        if abs(drop_v) >= self.least_v and drop_v != 0.0:
            return self.power_w / drop_v
        return self.power_w * drop_v / self.least_v**2 if self.least_v else math.inf

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        if abs(drop_v) >= self.least_v and drop_v != 0.0:
            return -self.power_w / drop_v**2
        return self.power_w / self.least_v**2 if self.least_v else -math.inf

    @property
    def law(self) -> Law:
        """The same as numbers; for a load that gives up."""
        return Law(self.power_w, -1.0, self.least_v, self.slope_s(0.0))


@dataclass(frozen=True)
class ConstantCurrent:
    """A load that keeps its current, as a linear regulator does; below `least_v` a resistor."""

    first: int
    second: int
    draw_a: float
    least_v: float = 0.0

    def __post_init__(self) -> None:
        _check_load(self.draw_a, self.least_v)

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        if abs(drop_v) >= self.least_v:
            return math.copysign(self.draw_a, drop_v) if self.least_v else self.draw_a
        return self.draw_a * drop_v / self.least_v

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        return 0.0 if abs(drop_v) >= self.least_v else self.draw_a / self.least_v

    @property
    def law(self) -> Law:
        """The same as numbers; for a load that gives up."""
        return Law(self.draw_a, 0.0, self.least_v, self.slope_s(0.0))


@dataclass(frozen=True)
class FilamentLamp:
    """A filament lamp: cold it conducts many times better than at its rated point.

    Hot, the current follows ``rated_a * (v / rated_v) ** exponent``; near 0 V it is the cold resistance,
    `cold_share` of the hot one. Exponent 0.55 and cold share 1/10 are from memory (handbook rules for
    gas-filled lamps; common practice, no source).
    """

    first: int
    second: int
    rated_v: float
    rated_w: float
    exponent: float = 0.55
    cold_share: float = 0.1

    def __post_init__(self) -> None:
        _check_load(self.rated_w, 0.0)
        if not (math.isfinite(self.rated_v) and self.rated_v > 0.0):
            raise BadValue(f"rated_v must be positive, not {self.rated_v}")
        if not (0.0 < self.exponent < 1.0 and 0.0 < self.cold_share <= 1.0):
            raise BadValue(f"exponent and cold share must lie in 0 to 1, not {self.exponent} and {self.cold_share}")

    @property
    def least_v(self) -> float:
        """0: a lamp never gives up."""
        return 0.0

    @property
    def hot_ohm(self) -> float:
        """Resistance at the rated point."""
        return self.rated_v**2 / self.rated_w

    @property
    def _cold_below_v(self) -> float:
        # v / i equals the cold resistance where (v / rated_v) ** (1 - exponent) equals the cold share
        return float(self.rated_v * self.cold_share ** (1.0 / (1.0 - self.exponent)))

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        size = abs(drop_v)
        if size <= self._cold_below_v:
            return drop_v / (self.hot_ohm * self.cold_share)
        hot_a = self.rated_w / self.rated_v * (size / self.rated_v) ** self.exponent
        return math.copysign(hot_a, drop_v)

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        size = abs(drop_v)
        if size <= self._cold_below_v:
            return 1.0 / (self.hot_ohm * self.cold_share)
        return self.exponent * abs(self.current_a(drop_v)) / size

    @property
    def law(self) -> Law:
        """The same as numbers."""
        amount = self.rated_w / self.rated_v ** (1.0 + self.exponent)
        return Law(amount, self.exponent, self._cold_below_v, self.slope_s(0.0))


@dataclass(frozen=True, eq=False)
class LoadLaws:
    """The laws of k loads as arrays of shape (k,); see `Law`.

    Raises
    ------
    BadValue : a law without a knee, that is, an electronic load that never gives up: `solve_with_loads` is for those
    """

    amount: FloatArray
    exponent: FloatArray
    knee_v: FloatArray
    low_s: FloatArray

    def __post_init__(self) -> None:
        if not np.all(self.knee_v > 0.0):
            raise BadValue("a load that never gives up has no law of two pieces")

    @staticmethod
    def of(laws: Iterable[Law]) -> LoadLaws:
        """The laws in the order given."""
        table = np.array(list(laws), dtype=np.float64).reshape(-1, 4)
        return LoadLaws(*table.T)

    def current_a(self, drop_v: FloatArray) -> FloatArray:
        """(k,) amperes from first to second end at (k,) volts."""
        size_v = np.abs(drop_v)
        high_a = self.amount * np.maximum(size_v, self.knee_v) ** self.exponent
        current_a: FloatArray = np.where(size_v < self.knee_v, self.low_s * drop_v, np.copysign(high_a, drop_v))
        return current_a

    def slope_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens, the slope of `current_a`."""
        size_v = np.maximum(np.abs(drop_v), self.knee_v)
        high_s = self.amount * self.exponent * size_v ** (self.exponent - 1.0)
        slope_s: FloatArray = np.where(np.abs(drop_v) < self.knee_v, self.low_s, high_s)
        return slope_s

    def tangent_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens, the slope where it can be that of a resistor: it only says how to get to the state of rest."""
        tangent_s: FloatArray = np.clip(self.slope_s(drop_v), _LOAD_BASE_S, 1.0 / LEAST_OHM)
        return tangent_s

    def resistor_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens of the resistors that take the same at (k,) volts, within what a network takes."""
        with np.errstate(divide="ignore", invalid="ignore"):
            alike_s = np.where(drop_v == 0.0, self.low_s, self.current_a(drop_v) / drop_v)
        resistor_s: FloatArray = np.clip(alike_s, 1.0 / MOST_OHM, 1.0 / LEAST_OHM)
        return resistor_s


def _check_load(amount: float, least_v: float) -> None:
    if not (math.isfinite(amount) and amount > 0.0):
        raise BadValue(f"a load needs a positive amount, not {amount}")
    if not (math.isfinite(least_v) and least_v >= 0.0):
        raise BadValue(f"least_v must be zero or more, not {least_v}")


@dataclass(frozen=True, eq=False)
class LoadedSolution:
    """A network settled with its loads.

    Attributes
    ----------
    solution : the network with each load as the resistor it amounts to, as extra branches after the
        network's own; faults and readings can go on from there (a load then keeps its resistance when the
        voltage changes)
    load_v, load_a, load_w : (k,) volts across, amperes through and watts into each load, in the order given
    collapsed : (k,) true where an electronic load is below its `least_v`
    iterations : Newton steps taken
    """

    solution: Solution
    load_v: FloatArray
    load_a: FloatArray
    load_w: FloatArray
    collapsed: BoolArray
    iterations: int


def solve_with_loads(
    network: Network,
    loads: Sequence[Load],
    tolerance_v: float = 1e-6,
    *,
    leak_s: float = 0.0,
    iteration_limit: int = 60,
) -> LoadedSolution:
    """Solve a network whose loads are not plain resistors.

    The network is reduced to what the loads see of it (one factorisation), and the currents are found by
    Newton's method, coming from the unloaded state so that the upper of the two operating points of a
    constant-power load is taken. If that point does not exist, loads with a `least_v` give up one after
    another, the most starved first.

    Parameters
    ----------
    loads : see `ConstantPower`, `ConstantCurrent`, `FilamentLamp`
    tolerance_v : volts; both the last step and the remaining mismatch of every load are below it
    iteration_limit : Newton steps per attempt

    Raises
    ------
    NoConvergence : the loads cannot be supplied, or switch off and on without end; never hidden
    """
    if not tolerance_v > 0.0:
        raise BadValue(f"tolerance_v must be positive, not {tolerance_v}")
    for k, load in enumerate(loads):
        checked_nodes(f"load {k}", [load.first, load.second], network.node_count)
    idle_v, seen_ohm = _as_seen_by_loads(network, loads, leak_s)
    load_v, collapsed, iterations = _operating_point(loads, idle_v, seen_ohm, tolerance_v, iteration_limit)
    return _with_equivalent_resistors(network, loads, load_v, collapsed, iterations, tolerance_v, leak_s)


@dataclass(frozen=True, eq=False)
class Settled:
    """A network at rest with its loads, as `settle` found it.

    Attributes
    ----------
    factor : of the network with the slope of every load; for a further `settle`
    potential_v : (n,) volts, as in `Solution`
    branch_a : (m,) amperes, those of the loads last
    drop_v : (k,) volts across the loads
    """

    factor: Factor
    potential_v: FloatArray
    branch_a: FloatArray
    drop_v: FloatArray


def settle(
    network: Network,
    laws: LoadLaws,
    drop_v: FloatArray,
    *,
    start_v: FloatArray | None = None,
    like: Factor | None = None,
) -> Settled | None:
    """Voltages at which every load draws what its law says, or None where the quick way finds no rest.

    The current sums are taken branch by branch with the true currents of the loads, so what is found is as exact
    as `solve`; the slopes only say how to get there. A constant-power load cannot come to rest at its lower
    operating point, where a step leads away.

    Parameters
    ----------
    network : its last k branches stand for the k loads, at any conductance and without source
    laws : of those k branches
    drop_v : (k,) volts across the loads that are nearly right
    start_v : (n,) volts of the nodes to start from, of an earlier `settle` with the same islands
    like : of an earlier `settle` of the same branches
    """
    plain = network.branch_count - laws.amount.size
    first, second = network.ends[plain:].T
    potential_v = np.zeros(network.node_count) if start_v is None else start_v
    factor = like
    for _ in range(_NEW_SLOPES):
        conductance_s = network.conductance_s.copy()
        conductance_s[plain:] = laws.tangent_s(drop_v)
        tangent = network.with_conductances(conductance_s)
        factor = factorise(tangent, like=factor)
        unknown = factor.row >= 0
        potential_v = np.where(unknown, potential_v, 0.0)
        potential_v[tangent.held_node] = tangent.held_v
        correction_v = math.inf
        for _ in range(_CORRECTIONS):
            drop_v = potential_v[first] - potential_v[second]
            branch_a, surplus_a = current_sums(tangent, potential_v, load_a=laws.current_a(drop_v))
            if correction_v <= _SETTLED_V:
                break
            before_v = correction_v
            change_v = factor.respond(np.where(unknown, surplus_a, 0.0))
            potential_v = potential_v + change_v
            correction_v = float(np.max(np.abs(change_v), initial=0.0))
            if not correction_v <= 0.7 * before_v:
                break
        if correction_v <= min(before_v, float(limit_of_correction_v(branch_a))):
            drop_v = potential_v[first] - potential_v[second]
            branch_a, _ = current_sums(tangent, potential_v, load_a=laws.current_a(drop_v))
            return Settled(factor, potential_v, branch_a, drop_v)
        drop_v = potential_v[first] - potential_v[second]
        if not np.all(np.isfinite(drop_v)):
            break
    return None


def _as_seen_by_loads(network: Network, loads: Sequence[Load], leak_s: float) -> tuple[FloatArray, FloatArray]:
    """Volts each load would find unloaded, and the (k, k) resistance that couples the loads.

    Each load is given 1 Mohm, which its own current is later corrected for: a load whose return is
    interrupted then still belongs to the circuit and pulls its ground pin up, as it does on the vehicle.
    """
    k = len(loads)
    based = network
    if k:
        based = replace(
            network,
            ends=np.vstack([network.ends, np.array([[load.first, load.second] for load in loads], dtype=np.intp)]),
            conductance_s=np.append(network.conductance_s, np.full(k, _LOAD_BASE_S)),
            source_v=np.append(network.source_v, np.zeros(k)),
            closed=np.append(network.closed, np.ones(k, dtype=np.bool_)),
        )
    solution = solve(based, leak_s)
    first, second = based.ends[network.branch_count :].T
    idle_v = solution.potential_v[first] - solution.potential_v[second]
    seen_ohm = np.empty((k, k))
    for start in range(0, k, BLOCK_WIDTH):
        block = np.arange(start, min(start + BLOCK_WIDTH, k))
        push = np.zeros((network.node_count, block.size))
        np.add.at(push, (first[block], block - start), 1.0)
        np.add.at(push, (second[block], block - start), -1.0)
        answer = solution.factor.respond(push)
        seen_ohm[:, block] = answer[first] - answer[second]
    return idle_v, seen_ohm


def _operating_point(
    loads: Sequence[Load], idle_v: FloatArray, seen_ohm: FloatArray, tolerance_v: float, iteration_limit: int
) -> tuple[FloatArray, BoolArray, int]:
    given_up = np.zeros(len(loads), dtype=np.bool_)
    iterations = 0
    while True:
        attempt = _newton(loads, given_up, idle_v, seen_ohm, tolerance_v, iteration_limit)
        iterations += attempt.iterations
        if attempt.settled:
            break
        able = [k for k, load in enumerate(loads) if load.least_v > 0.0 and not given_up[k]]
        if not able:
            raise _cannot_supply(loads, idle_v, seen_ohm, attempt, iterations)
        given_up[max(able, key=lambda k: loads[k].least_v - abs(attempt.drop_v[k]))] = True
    revived = [k for k, load in enumerate(loads) if given_up[k] and abs(attempt.drop_v[k]) > load.least_v]
    if revived:
        raise NoConvergence(
            f"no steady state: load(s) {_listed(revived)} give up under their own draw and recover once they have",
            tuple(revived),
            iterations,
            attempt.mismatch_v,
        )
    reversed_ = [k for k, load in enumerate(loads) if load.current_a(attempt.drop_v[k]) * attempt.drop_v[k] < 0.0]
    if reversed_:
        raise NoConvergence(
            f"load(s) {_listed(reversed_)} cannot be supplied: the draw would need a voltage of the wrong sign",
            tuple(reversed_),
            iterations,
            attempt.mismatch_v,
        )
    collapsed = np.array([abs(attempt.drop_v[k]) < load.least_v for k, load in enumerate(loads)], dtype=np.bool_)
    return attempt.drop_v, collapsed, iterations


@dataclass(frozen=True, eq=False)
class _Attempt:
    settled: bool
    drop_v: FloatArray
    mismatch_v: float
    iterations: int


def _newton(
    loads: Sequence[Load],
    given_up: BoolArray,
    idle_v: FloatArray,
    seen_ohm: FloatArray,
    tolerance_v: float,
    iteration_limit: int,
) -> _Attempt:
    """Solve ``v - idle + seen_ohm (i(v) - base v) = 0``; steps are halved until the mismatch shrinks."""

    def mismatch(drop_v: FloatArray) -> FloatArray:
        extra = np.array([_draw(load, off, v) for load, off, v in zip(loads, given_up, drop_v, strict=True)])
        result: FloatArray = drop_v - idle_v + seen_ohm @ (extra - _LOAD_BASE_S * drop_v)
        return result

    drop_v = idle_v.copy()
    missing = mismatch(drop_v)
    for iteration in range(1, iteration_limit + 1):
        slope = np.array([_slope(load, off, v) for load, off, v in zip(loads, given_up, drop_v, strict=True)])
        jacobian = np.eye(len(loads)) + seen_ohm * (slope - _LOAD_BASE_S)
        if not (np.all(np.isfinite(jacobian)) and np.all(np.isfinite(missing))):
            break
        try:
            step = np.linalg.solve(jacobian, -missing)
        except np.linalg.LinAlgError:
            break
        share = 1.0
        while True:
            trial = drop_v + share * step
            # a strict constant-power load has its second, unphysical branch beyond 0 V: never step across
            crossed = any(
                isinstance(load, ConstantPower) and load.least_v == 0.0 and trial[k] * drop_v[k] <= 0.0
                for k, load in enumerate(loads)
            )
            if not crossed:
                after = mismatch(trial)
                if np.all(np.isfinite(after)) and (
                    np.linalg.norm(after) < np.linalg.norm(missing)
                    or np.max(np.abs(after), initial=0.0) <= 0.01 * tolerance_v
                ):
                    break
            share /= 2.0
            if share < 1e-9:
                return _Attempt(False, drop_v, float(np.max(np.abs(missing), initial=0.0)), iteration)
        drop_v, missing = trial, after
        largest = float(np.max(np.abs(missing), initial=0.0))
        if share == 1.0 and max(largest, float(np.max(np.abs(step), initial=0.0))) < tolerance_v:
            return _Attempt(True, drop_v, largest, iteration)
    return _Attempt(False, drop_v, float(np.max(np.abs(missing), initial=0.0)), iteration_limit)


def _draw(load: Load, given_up: bool, drop_v: float) -> float:
    if given_up:
        return load.current_a(load.least_v) * drop_v / load.least_v
    return load.current_a(drop_v)


def _slope(load: Load, given_up: bool, drop_v: float) -> float:
    if given_up:
        return load.current_a(load.least_v) / load.least_v
    return load.slope_s(drop_v)


def _cannot_supply(
    loads: Sequence[Load], idle_v: FloatArray, seen_ohm: FloatArray, attempt: _Attempt, iterations: int
) -> NoConvergence:
    """Name the loads that ask for more than their place could give even if they were alone there."""
    hopeless: list[int] = []
    reasons: list[str] = []
    for k, load in enumerate(loads):
        if isinstance(load, ConstantPower):
            most_w = float(idle_v[k] ** 2 / (4.0 * seen_ohm[k, k])) if seen_ohm[k, k] > 0.0 else math.inf
            if load.power_w > most_w:
                hopeless.append(k)
                reasons.append(f"load {k} asks for {load.power_w:g} W where at most {most_w:.3g} W can be had")
    if not hopeless:
        worst = int(np.argmin(np.abs(attempt.drop_v) / np.maximum(np.abs(idle_v), 1e-12)))
        hopeless = [worst]
        reasons.append(f"load {worst} is starved most, at {attempt.drop_v[worst]:.3g} of {idle_v[worst]:.3g} V")
    return NoConvergence(
        f"the loads cannot be supplied: {'; '.join(reasons)}", tuple(hopeless), iterations, attempt.mismatch_v
    )


def _with_equivalent_resistors(
    network: Network,
    loads: Sequence[Load],
    load_v: FloatArray,
    collapsed: BoolArray,
    iterations: int,
    tolerance_v: float,
    leak_s: float,
) -> LoadedSolution:
    ohm = [
        drop_v / load.current_a(drop_v) if drop_v else 1.0 / load.slope_s(0.0)
        for load, drop_v in zip(loads, load_v, strict=True)
    ]
    loaded = network.with_branches([(load.first, load.second) for load in loads], np.clip(ohm, LEAST_OHM, MOST_OHM))
    solution = solve(loaded, leak_s)
    found_v = solution.branch_drop_v[network.branch_count :]
    gap_v = float(np.max(np.abs(found_v - load_v), initial=0.0))
    if not gap_v <= 100.0 * tolerance_v:
        worst = int(np.argmax(np.abs(found_v - load_v)))
        raise NoConvergence(
            f"the loads do not settle: load {worst} differs by {gap_v:.3g} V when the whole network is solved again",
            (worst,),
            iterations,
            gap_v,
        )
    load_a = solution.branch_a[network.branch_count :].copy()
    return LoadedSolution(solution, found_v, load_a, found_v * load_a, collapsed, iterations)


def _listed(numbers: Iterable[int]) -> str:
    return ", ".join(str(k) for k in numbers)
