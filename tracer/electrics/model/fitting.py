"""Values of a model that follow from its own currents, found by solving it again until they stay.

The ohms of a contact go by the current that its wire, its fuse or its rating names (`elements.py`). What flows through it in the vehicle in order may be more: a
starter's contacts by the current of cranking, a wire of unknown size. Then it is taken to be made for that current, so that no contact in order loses more than it
may. A converter takes in what it gives out, by its efficiency. A diode loses the more the more
flows: it is its tangent at what flows in the nominal state. Where volts were measured at the battery posts while a generator turns, the generator is regulated to what gives these volts there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from tracer.electrics.model.branches import NOMINAL, Branch
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.described import BoolArray, FloatArray
from tracer.standards.allowances import contact_most_v, conversion, junctions

# Three are enough for most; a starter's current rises as its contacts lose less, and a generator on wires of some ohms that is regulated at the posts takes forty.
TURNS = 60
NOT_FITTED = "what follows from the currents themselves (contacts, converters, diodes, generators): it still moved after many turns, the figures are rough"
# a little above the most is let stand: the current changes a little with the ohms
MOST_LOST_V = 1.01 * contact_most_v().value
_SAME_V, _SAME_SHARE, _SAME_DIODE_V = 1e-6, 1e-6, 1e-4
METER_A = 1e-6  # what a meter takes; a diode on which nothing hangs is read with it


class State(NamedTuple):
    """A model at rest: (m,) amperes, (n,) volts, and (m,) whether each branch is closed."""

    branch_a: FloatArray
    node_v: FloatArray
    closed: BoolArray


@dataclass(frozen=True)
class Fit:
    """What is changed in a model as made.

    Attributes
    ----------
    shares : of their ohms, what the contacts of a link have
    generator_v : volts that generators give besides
    taken_w : watts that converters take in, low, nominal and high
    diode_a : nominal amperes through the diodes, by branch
    """

    shares: Mapping[int, float] = field(default_factory=dict)
    generator_v: float = 0.0
    taken_w: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    diode_a: Mapping[int, float] = field(default_factory=dict)

    def of(self, model: Model) -> Model:
        """The model with this; the model itself where nothing in it changes."""
        if self.generator_v or self.taken_w or any(branch.link in self.shares for branch in model.branches):
            draws = [
                replace(draw, amounts=self.taken_w[draw.converter]) if draw.converter in self.taken_w else draw
                for draw in model.draws
            ]
            branches = [self._branch(branch) for branch in model.branches]
            model = model.with_values(branches, draws)
        return _with_junctions(model, self.diode_a) if self.diode_a else model

    def _branch(self, branch: Branch) -> Branch:
        if branch.link in self.shares:
            return replace(branch, ohms=branch.ohms.with_contacts_at(self.shares[branch.link]))
        if branch.kind == "generator" and branch.volts is not None and self.generator_v:
            volts, more = branch.volts, self.generator_v
            return replace(
                branch, volts=replace(volts, low=volts.low + more, nominal=volts.nominal + more, high=volts.high + more)
            )
        return branch

    def after(self, model: Model, states: Sequence[State]) -> Fit:
        """The fit that the model with this one asks for in its `states`: the nominal one; where it `converts`, before and after it those at both ends."""
        nominal = states[len(states) // 2]
        more = shares_in_order(model, nominal.branch_a)
        return Fit(
            {link: self.shares.get(link, 1.0) * more.get(link, 1.0) for link in {**self.shares, **more}},
            self.generator_v + _missing_v(model, nominal.node_v),
            _taken_w(model, states, self.taken_w),
            {n: _junction_a(n, model, nominal, self.diode_a.get(n)) for n in model.live_diodes},
        )


def shares_in_order(model: Model, branch_a: FloatArray) -> dict[int, float]:
    """Of the links whose contacts would lose more than they may at (m,) nominal amperes, the share of their ohms that keeps them there."""
    lost_v = model.contact_ohm * np.abs(branch_a[: len(model.branches)])
    beyond = np.flatnonzero(lost_v > MOST_LOST_V)
    return {model.branches[n].link: contact_most_v().value / float(lost_v[n]) for n in beyond.tolist()}


def _missing_v(model: Model, node_v: FloatArray) -> float:
    """What is missing at the battery posts to what was measured there while a generator turns."""
    measured_v = model.changes.battery_v
    generators = [branch for branch in model.branches if branch.kind == "generator"]
    batteries = [branch for branch in model.branches if branch.kind == "battery"]
    if measured_v is None or not generators or not batteries:
        return 0.0
    missing = [
        branch.volts.nominal - float(node_v[branch.b] - node_v[branch.a]) for branch in batteries if branch.volts
    ]
    mean_v = sum(missing) / len(missing)
    return mean_v if abs(mean_v) > _SAME_V else 0.0


def _taken_w(
    model: Model, states: Sequence[State], before: Mapping[str, tuple[float, float, float]]
) -> Mapping[str, tuple[float, float, float]]:
    """What each converter takes in; as before where it stays.

    It gives out least where everything takes least at its least volts, and most where everything takes most at its most.
    """
    outputs = [(n, branch) for n, branch in enumerate(model.branches) if branch.kind == "converter"]
    share, idle = conversion("efficiency"), conversion("idle")
    found = {}
    for number, branch in outputs:
        across_v = [float(np.nan_to_num(state.node_v[branch.b] - state.node_v[branch.a])) for state in states]
        given_w = [max(0.0, float(one.branch_a[number]) * volts) for one, volts in zip(states, across_v, strict=True)]
        found[branch.part] = (
            min(given_w) / share.high + idle.low,
            given_w[1] / share.nominal + idle.nominal,
            max(given_w) / share.low + idle.high,
        )
    stays = all(np.allclose(found[name], before.get(name, 0.0), rtol=_SAME_SHARE, atol=0.0) for name in found)
    return before if stays else found


def _with_junctions(model: Model, nominal_a: Mapping[int, float]) -> Model:
    """The model with the tangents of its diodes at their nominal currents, by branch.

    All ends of a diode have the same tangent but for what they lose at that current, so that ohms and volts may be at different ends.
    """
    per_e_v = junctions()[NOMINAL].per_e_v
    ohm, volts = model._ohm.copy(), model._volts.copy()
    for number, at_a in nominal_a.items():
        slopes = model.branches[number].ohms
        ohm[number] = np.array([slopes.low, slopes.nominal, slopes.high]) + per_e_v / at_a
        volts[number] = [per_e_v - junction.volts(at_a) for junction in junctions()]
    found = model.with_values(model.branches, model.draws)
    found.__dict__.update(_ohm=ohm, _volts=volts)
    return found


def _junction_a(number: int, model: Model, state: State, was_a: float | None) -> float:
    """What flows through a diode, never less than what a meter takes; as before where its tangent there is good enough."""
    _, junction, _ = junctions()
    amps, ends = float(state.branch_a[number]), model.branches[number]
    if not state.closed[number]:
        # it blocks below the foot of its tangent, where a little flows all the same
        across_v = float(state.node_v[ends.a] - state.node_v[ends.b])
        amps = junction.amps(across_v) if across_v > 0.0 else 0.0
    amps = max(amps, METER_A)
    if was_a is None:
        return amps
    off_v = junction.per_e_v * (amps / was_a - 1.0 - math.log(amps / was_a))
    return was_a if off_v < _SAME_DIODE_V else amps
