"""Values of a model that follow from its own currents, found by solving it again until they stay.

The ohms of a contact go by the current that its wire, its fuse or its rating names (`elements.py`). What flows through it in the vehicle in order may be more: a
starter's contacts by the current of cranking, a wire of unknown size. Then it is taken to be made for that current, so that no contact in order loses more than it
may. Where volts were measured at the battery posts while a generator turns, the generator is regulated to what gives these volts there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from tracer.electrics.model.branches import Branch
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.linear import FloatArray
from tracer.standards.allowances import contact_most_v

TURNS = 8  # the current of a starter rises as its contacts lose less; three are enough for what was tried
_BEYOND = 1.01  # so much above the most is let stand: the current changes a little with the ohms
_SAME_V = 1e-6


@dataclass(frozen=True)
class Fit:
    """What is changed in a model as made: the share of their ohms that the contacts of a link have, and the volts that generators give besides."""

    shares: Mapping[int, float] = field(default_factory=dict)
    generator_v: float = 0.0

    def of(self, model: Model) -> Model:
        """The model with this; the model itself where nothing in it changes."""
        if not self.generator_v and not any(branch.link in self.shares for branch in model.branches):
            return model
        return replace(model, branches=[self._branch(branch) for branch in model.branches])

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
        return replace(self, shares=shares if more else self.shares, generator_v=self.generator_v + missing_v)


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
