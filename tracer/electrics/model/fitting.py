"""Values of a model that follow from its own currents, found by solving it again until they stay.

The ohms of a contact go by the current that its wire, its fuse or its rating names (`elements.py`). What flows through it in the vehicle in order may be more: a
starter's contacts by the current of cranking, a wire of unknown size. Then it is taken to be made for that current, so that no contact in order loses more than it
may. A converter takes in what it gives out, by its efficiency. Where volts were measured at the battery posts while a generator turns, the generator is regulated to what gives these volts there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tracer.electrics.model.branches import HIGH, LOW, Branch
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.linear import FloatArray
from tracer.standards.allowances import contact_most_v, conversion

TURNS = 8  # the current of a starter rises as its contacts lose less; three are enough for what was tried
_BEYOND = 1.01  # so much above the most is let stand: the current changes a little with the ohms
_SAME_V, _SAME_SHARE = 1e-6, 1e-6


@dataclass(frozen=True)
class Fit:
    """What is changed in a model as made.

    Attributes
    ----------
    shares : of their ohms, what the contacts of a link have
    generator_v : volts that generators give besides
    taken_w : watts that converters take in, low, nominal and high
    """

    shares: Mapping[int, float] = field(default_factory=dict)
    generator_v: float = 0.0
    taken_w: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)

    def of(self, model: Model) -> Model:
        """The model with this; the model itself where nothing in it changes."""
        if self == Fit() or not (
            self.generator_v or self.taken_w or any(branch.link in self.shares for branch in model.branches)
        ):
            return model
        draws = [
            replace(draw, amounts=self.taken_w[draw.converter]) if draw.converter in self.taken_w else draw
            for draw in model.draws
        ]
        return replace(model, branches=[self._branch(branch) for branch in model.branches], draws=draws)

    def _branch(self, branch: Branch) -> Branch:
        if branch.link in self.shares:
            return replace(branch, ohms=branch.ohms.with_contacts_at(self.shares[branch.link]))
        if branch.kind == "generator" and branch.volts is not None and self.generator_v:
            volts, more = branch.volts, self.generator_v
            return replace(
                branch, volts=replace(volts, low=volts.low + more, nominal=volts.nominal + more, high=volts.high + more)
            )
        return branch

    def after(self, model: Model, branch_a: FloatArray, node_v: FloatArray) -> Fit:
        """The fit that (m,) nominal amperes and (n,) volts of the model with this one ask for."""
        more = shares_in_order(model, branch_a)
        shares = {link: self.shares.get(link, 1.0) * more.get(link, 1.0) for link in {**self.shares, **more}}
        missing_v = _missing_v(model, node_v)
        return Fit(
            shares if more else self.shares,
            self.generator_v + missing_v,
            _taken_w(model, branch_a, node_v, self.taken_w),
        )


def shares_in_order(model: Model, branch_a: FloatArray) -> dict[int, float]:
    """Of the links whose contacts would lose more than they may at (m,) nominal amperes, the share of their ohms that keeps them there."""
    lost_v = model.contact_ohm * np.abs(branch_a[: len(model.branches)])
    beyond = np.flatnonzero(lost_v > _BEYOND * contact_most_v().value)
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
    model: Model, branch_a: FloatArray, node_v: FloatArray, before: Mapping[str, tuple[float, float, float]]
) -> Mapping[str, tuple[float, float, float]]:
    """What each converter takes in; as before where it stays.

    It gives out least where everything takes least at its least volts, and most where everything takes most at its most.
    """
    outputs = [(n, branch) for n, branch in enumerate(model.branches) if branch.kind == "converter"]
    if not outputs:
        return before
    states = [model.solve(model.setting(LOW, LOW)), None, model.solve(model.setting(HIGH, HIGH))]
    share, idle = conversion("efficiency"), conversion("idle")
    found = {}
    for number, branch in outputs:
        given_w = []
        for state in states:
            volts, amps = (node_v, branch_a) if state is None else (state.node_v, state.branch_a)
            given_w.append(max(0.0, float(amps[number] * np.nan_to_num(volts[branch.b] - volts[branch.a]))))
        found[branch.part] = (
            min(given_w) / share.high + idle.low,
            given_w[1] / share.nominal + idle.nominal,
            max(given_w) / share.low + idle.high,
        )
    stays = all(np.allclose(found[name], before.get(name, 0.0), rtol=_SAME_SHARE, atol=0.0) for name in found)
    return before if stays else found


def fitted(model: Model) -> Model:
    """The model with what follows from its own nominal currents.

    Raises
    ------
    NotSettled : it has no state of rest
    """
    fit, found = Fit(), model
    for _ in range(TURNS):
        solved = found.solve()
        after = fit.after(found, solved.branch_a, solved.node_v)
        if after == fit:
            break
        fit, found = after, after.of(model)
    return found
