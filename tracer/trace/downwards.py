"""The count from the source side: a walk down from sources, fuses and rails to the modules they name.

It shares nothing with the ways of `ways.py` but the circuit, so that a slip in one does not hide in the other.
"""

from __future__ import annotations

from tracer.circuit.model import Circuit, LinkKind
from tracer.trace.survey import Survey

_PASSES = frozenset(
    {LinkKind.WIRE, LinkKind.REFERENCE, LinkKind.FUSE, LinkKind.MATING, LinkKind.BUSSED, LinkKind.BUSBAR, LinkKind.STRAP, LinkKind.MEETS,
     LinkKind.RAIL, LinkKind.CONTACT, LinkKind.JOINED}
)  # fmt: skip


def pins_below(circuit: Circuit, starts: list[int], barred: frozenset[int], module: str = "") -> frozenset[int]:
    """Every node that supply reaches from `starts`; nothing inside `module` is passed, no load, no source but the starts."""
    stops = {end.node for end in circuit.sources} - set(starts)
    seen = set(starts)
    queue = list(starts)
    while queue:
        node = queue.pop()
        if node in stops:
            continue
        for number in circuit.at[node]:
            link = circuit.links[number]
            if link.part == module and link.kind in (LinkKind.JOINED, LinkKind.DRIVER_HIGH):
                continue
            if link.kind in (LinkKind.DIODE, LinkKind.DRIVER_HIGH):
                if link.a != node:
                    continue
            elif link.kind not in _PASSES:
                continue
            other = link.b if link.a == node else link.a
            if other not in seen and other not in barred:
                seen.add(other)
                queue.append(other)
    return frozenset(seen)


def modules_below(survey: Survey, part: str) -> frozenset[str]:
    """The modules that supply reaches from the load side of a fuse (or from the pins of another part)."""
    circuit = survey.circuit
    pins = circuit.pins_of.get(part, {})
    starts = [pins["load"]] if "load" in pins else list(pins.values())
    barred = survey.hard_ground | ({pins["feed"]} if "feed" in pins else set())
    names = {part.name for part in circuit.modules()}
    return frozenset(
        circuit.node_parts[node] for node in pins_below(circuit, starts, barred) if circuit.node_parts[node] in names
    )
