"""What a contact in order loses at most: one that would lose more by its wire is made for more than its wire says.

The ohms of a contact go by the current that its wire, its fuse or its rating names (`elements.py`). What flows through it in the vehicle in order may be more: a
starter's contacts by the current of cranking, a wire of unknown size. Then it is taken to be made for that current.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.linear import FloatArray
from tracer.standards.allowances import contact_most_v

CONTACT_TURNS = 6  # the current of a starter rises as its contacts lose less; three are enough for what was tried
_BEYOND = 1.01  # so much above the most is let stand: the current changes a little with the ohms


def shares_in_order(model: Model, branch_a: FloatArray) -> dict[int, float]:
    """Of the links whose contacts would lose more than they may at (m,) nominal amperes, the share of their ohms that keeps them there."""
    lost_v = model.contact_ohm * np.abs(branch_a[: len(model.branches)])
    beyond = np.flatnonzero(lost_v > _BEYOND * contact_most_v().value)
    return {model.branches[n].link: contact_most_v().value / float(lost_v[n]) for n in beyond.tolist()}


def with_shares(model: Model, shares: Mapping[int, float]) -> Model:
    """The model with that share of the ohms of the contacts of each link named; the model itself where it has none of them."""
    if not any(branch.link in shares for branch in model.branches):
        return model
    branches = [
        replace(branch, ohms=branch.ohms.with_contacts_at(shares[branch.link])) if branch.link in shares else branch
        for branch in model.branches
    ]
    return replace(model, branches=branches)


def in_order(model: Model) -> Model:
    """The model with its contacts in order at its own nominal currents.

    Raises
    ------
    NotSettled : it has no state of rest
    """
    shares: dict[int, float] = {}
    found = model
    for _ in range(CONTACT_TURNS):
        own = shares_in_order(found, found.solve().branch_a)
        if not own:
            break
        shares = {link: shares.get(link, 1.0) * own.get(link, 1.0) for link in shares | own}
        found = with_shares(model, shares)
    return found
