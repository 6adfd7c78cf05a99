"""Relays that a test load, or a short to ground, pulls in: one that its module holds by a low-side output is worked from the plug, and its contact closes."""

from __future__ import annotations

from tracer.circuit.states import Level
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.standards import figures
from tracer.standards.allowances import pull_in


def by_test_loads(model: Model) -> dict[int, str]:
    """The nodes that test loads and shorts pull to ground far enough for a relay at rest to come in, and what is to be said of it.

    A relay whose coil has less than every one comes in at stays at rest; between that and what each comes in at it is taken as at rest, and that is undecided.
    """
    loads = {load.node: f"the {load.words}" for load in model.changes.loads if load.level == "supply"}
    loads |= {short.node: short.words for short in model.changes.shorts if short.to == "ground"}
    untried = {node: words for node, words in loads.items() if node not in model.changes.grounded}
    if not untried:
        return {}
    of = model.states.nets.of
    coils = [
        branch
        for branch in model.branches
        if branch.kind == "coil" and model.settled.relays.get(branch.part) is not Level.LIVE
    ]
    # the other end of the coil must be supplied by conductors and contacts, or the key states would not move its contact
    near = [
        (node, coil)
        for node in untried
        for coil in coils
        for here, there in ((coil.a, coil.b), (coil.b, coil.a))
        if of[node] == of[here] and model.settled.supply.get(of[there]) is Level.LIVE
    ]
    if not near:
        return {}
    try:
        node_v = model.solve().node_v
    except NotSettled:
        return {}  # whoever asks for the state of rest is told so
    found: dict[int, str] = {}
    for node, coil in near:
        share = abs(float(node_v[coil.a] - node_v[coil.b])) / model.limits.system_v
        said = f"{figures.volts(share * model.limits.system_v)} across the coil of {coil.part} with {untried[node]}"
        if share >= pull_in().high:
            found[node] = f"{said}: it pulls in"
        elif share >= pull_in().low:
            words = f"whether {coil.part} pulls in: {said} (taken as not)"
            model.undecided = tuple(dict.fromkeys((*model.undecided, words)))
    return found
