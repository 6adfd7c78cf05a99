"""Networks whose loads are no resistors (constant power, constant current, filament lamps), one by one and with care.

It starts from nothing, says which loads stand in the way, and takes networks of any kind. A circuit in many settings at once comes to rest by the same
laws in `in_many_settings`; what finds no rest there is looked at here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracer.electrics.network.described import (
    LEAST_OHM,
    MOST_OHM,
    BoolArray,
    FloatArray,
    Network,
    NetworkError,
    checked_nodes,
)
from tracer.electrics.network.factor import BLOCK_WIDTH
from tracer.electrics.network.linear import Solution, solve
from tracer.electrics.network.load_laws import LOAD_BASE_S, ConstantPower, Load
from tracer.standards import figures

__all__ = ["NoConvergence", "solve_with_loads"]


_SETTLED_V = 1e-6  # the last step and the remaining mismatch of every load are below it
_MOST_STEPS = 60  # of Newton's method, per attempt


class NoConvergence(NetworkError):
    """The loads cannot be supplied, or do not settle.

    Attributes
    ----------
    loads : numbers of the loads, in the order given, that stand in the way
    """

    def __init__(self, message: str, loads: tuple[int, ...]) -> None:
        super().__init__(message)
        self.loads = loads


def solve_with_loads(network: Network, loads: Sequence[Load]) -> Solution:
    """Solve a network whose loads are not plain resistors.

    The network is reduced to what the loads see of it (one factorisation), and the currents are found by
    Newton's method, coming from the unloaded state so that the upper of the two operating points of a
    constant-power load is taken. If that point does not exist, loads with a `least_v` give up one after
    another, the most starved first.

    Parameters
    ----------
    loads : see `ConstantPower`, `ConstantCurrent`, `FilamentLamp`

    Returns
    -------
    the network with each load as the resistor it amounts to, as extra branches after the network's own

    Raises
    ------
    NoConvergence : the loads cannot be supplied, or switch off and on without end; never hidden
    """
    for k, load in enumerate(loads):
        checked_nodes(f"load {k}", [load.first, load.second], network.node_count)
    idle_v, seen_ohm = _as_seen_by_loads(network, loads)
    return _with_equivalent_resistors(network, loads, _operating_point(loads, idle_v, seen_ohm))


def _as_seen_by_loads(network: Network, loads: Sequence[Load]) -> tuple[FloatArray, FloatArray]:
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
            conductance_s=np.append(network.conductance_s, np.full(k, LOAD_BASE_S)),
            source_v=np.append(network.source_v, np.zeros(k)),
            closed=np.append(network.closed, np.ones(k, dtype=np.bool_)),
        )
    solution = solve(based)
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


def _operating_point(loads: Sequence[Load], idle_v: FloatArray, seen_ohm: FloatArray) -> FloatArray:
    """(k,) volts across the loads."""
    given_up = np.zeros(len(loads), dtype=np.bool_)
    while True:
        attempt = _newton(loads, given_up, idle_v, seen_ohm)
        if attempt.settled:
            break
        able = [k for k, load in enumerate(loads) if load.least_v > 0.0 and not given_up[k]]
        if not able:
            raise _cannot_supply(loads, idle_v, seen_ohm, attempt)
        # One at a time: with the most starved one gone, the others may have enough.
        given_up[max(able, key=lambda k: loads[k].least_v - abs(attempt.drop_v[k]))] = True
    # A load that would come back once it is off has no steady state: it is told, and not settled one way or the other.
    revived = [k for k, load in enumerate(loads) if given_up[k] and abs(attempt.drop_v[k]) > load.least_v]
    if revived:
        raise NoConvergence(
            f"no steady state: load(s) {_listed(revived)} give up under their own draw and recover once they have",
            tuple(revived),
        )
    reversed_ = [k for k, load in enumerate(loads) if load.current_a(attempt.drop_v[k]) * attempt.drop_v[k] < 0.0]
    if reversed_:
        raise NoConvergence(
            f"load(s) {_listed(reversed_)} cannot be supplied: the draw would need a voltage of the wrong sign",
            tuple(reversed_),
        )
    return attempt.drop_v


@dataclass(frozen=True, eq=False)
class _Attempt:
    settled: bool
    drop_v: FloatArray


def _newton(loads: Sequence[Load], given_up: BoolArray, idle_v: FloatArray, seen_ohm: FloatArray) -> _Attempt:
    """Solve ``v - idle + seen_ohm (i(v) - base v) = 0``; steps are halved until the mismatch shrinks."""

    def mismatch(drop_v: FloatArray) -> FloatArray:
        extra = np.array([_draw(load, off, v) for load, off, v in zip(loads, given_up, drop_v, strict=True)])
        result: FloatArray = drop_v - idle_v + seen_ohm @ (extra - LOAD_BASE_S * drop_v)
        return result

    # From the unloaded side, so that of the two points of a load of constant power the upper one is found, at which it works.
    drop_v = idle_v.copy()
    missing = mismatch(drop_v)
    for _ in range(_MOST_STEPS):
        slope = np.array([_slope(load, off, v) for load, off, v in zip(loads, given_up, drop_v, strict=True)])
        jacobian = np.eye(len(loads)) + seen_ohm * (slope - LOAD_BASE_S)
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
                    or np.max(np.abs(after), initial=0.0) <= 0.01 * _SETTLED_V
                ):
                    break
            share /= 2.0
            if share < 1e-9:
                return _Attempt(False, drop_v)
        drop_v, missing = trial, after
        largest = float(np.max(np.abs(missing), initial=0.0))
        if share == 1.0 and max(largest, float(np.max(np.abs(step), initial=0.0))) < _SETTLED_V:
            return _Attempt(True, drop_v)
    return _Attempt(False, drop_v)


def _draw(load: Load, given_up: bool, drop_v: float) -> float:
    if given_up:
        return load.current_a(load.least_v) * drop_v / load.least_v
    return load.current_a(drop_v)


def _slope(load: Load, given_up: bool, drop_v: float) -> float:
    if given_up:
        return load.current_a(load.least_v) / load.least_v
    return load.slope_s(drop_v)


def _cannot_supply(loads: Sequence[Load], idle_v: FloatArray, seen_ohm: FloatArray, attempt: _Attempt) -> NoConvergence:
    """Name the loads that ask for more than their place could give even if they were alone there."""
    hopeless: list[int] = []
    reasons: list[str] = []
    for k, load in enumerate(loads):
        if isinstance(load, ConstantPower):
            most_w = float(idle_v[k] ** 2 / (4.0 * seen_ohm[k, k])) if seen_ohm[k, k] > 0.0 else math.inf
            if load.power_w > most_w:
                hopeless.append(k)
                reasons.append(
                    f"load {k} asks for {figures.stated(load.power_w, 'W')} where at most {figures.significant(most_w)} W can be had"
                )
    if not hopeless:
        worst = int(np.argmin(np.abs(attempt.drop_v) / np.maximum(np.abs(idle_v), 1e-12)))
        hopeless = [worst]
        reasons.append(
            f"load {worst} is starved most, at {figures.significant(attempt.drop_v[worst])} of {figures.significant(idle_v[worst])} V"
        )
    return NoConvergence(f"the loads cannot be supplied: {'; '.join(reasons)}", tuple(hopeless))


def _with_equivalent_resistors(network: Network, loads: Sequence[Load], load_v: FloatArray) -> Solution:
    ohm = [
        drop_v / load.current_a(drop_v) if drop_v else 1.0 / load.slope_s(0.0)
        for load, drop_v in zip(loads, load_v, strict=True)
    ]
    loaded = network.with_branches([(load.first, load.second) for load in loads], np.clip(ohm, LEAST_OHM, MOST_OHM))
    solution = solve(loaded)
    first, second = loaded.ends[network.branch_count :].T
    found_v = solution.potential_v[first] - solution.potential_v[second]
    gap_v = float(np.max(np.abs(found_v - load_v), initial=0.0))
    if not gap_v <= 100.0 * _SETTLED_V:
        worst = int(np.argmax(np.abs(found_v - load_v)))
        raise NoConvergence(
            f"the loads do not settle: load {worst} differs by {figures.significant(gap_v)} V when the whole network is solved again",
            (worst,),
        )
    return solution


def _listed(numbers: Iterable[int]) -> str:
    return ", ".join(str(k) for k in numbers)
