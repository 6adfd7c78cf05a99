"""The count from the source side: plain walks down from sources, fuses and rails to the modules they name.

It shares nothing with the ways of `ways.py` but the circuit, so that a slip in one does not hide in the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tracer.circuit.model import Circuit, Link, LinkKind
from tracer.trace.survey import Survey

_BOTH_WAYS = frozenset(
    {LinkKind.WIRE, LinkKind.REFERENCE, LinkKind.MATING, LinkKind.BUSSED, LinkKind.BUSBAR, LinkKind.STRAP, LinkKind.MEETS, LinkKind.RAIL,
     LinkKind.CONTACT, LinkKind.JOINED}
)  # fmt: skip
_DOWN_ONLY = frozenset({LinkKind.FUSE, LinkKind.DIODE, LinkKind.DRIVER_HIGH})  # from `a` to `b`
_INSIDE = frozenset({LinkKind.JOINED, LinkKind.DRIVER_HIGH})


def nodes_below(survey: Survey, starts: Iterable[int], module: str = "") -> frozenset[int]:
    """Every node that supply reaches going down from `starts`; nothing inside `module` is passed, no load, and no source but the starts."""
    return _walk(survey, starts, module, down=True)


def parts_below(survey: Survey, part: str) -> frozenset[str]:
    """The parts that supply reaches from the load side of a fuse (or from the pins of another part), the part itself left out."""
    circuit = survey.circuit
    pins = circuit.pins_of.get(part, {})
    if "load" in pins:
        starts = [pins["feed"] if part in survey.reversed_fuses else pins["load"]]
    else:
        starts = list(pins.values())
    return frozenset(circuit.node_parts[node] for node in nodes_below(survey, starts)) - {part, ""}


def modules_below(survey: Survey, part: str) -> frozenset[str]:
    """The modules among the parts below."""
    return parts_below(survey, part) & {module.name for module in survey.circuit.modules()}


def fuses_above(survey: Survey, pins: Iterable[int], module: str) -> frozenset[str]:
    """The fuses below which the pins of a module are found, and which are themselves found below a source."""
    circuit = survey.circuit
    above = _walk(survey, pins, module, down=False)
    fed = nodes_below(survey, [end.node for end in circuit.sources], module)
    return frozenset(
        link.part
        for link in circuit.links
        if link.kind is LinkKind.FUSE and link.a in above and link.b in above and link.a in fed and link.b in fed
    )


def _walk(survey: Survey, starts: Iterable[int], module: str, *, down: bool) -> frozenset[int]:
    circuit = survey.circuit
    barred = survey.hard_ground - survey.hard_supply
    seen = set(starts)
    stops = {end.node for end in circuit.sources} - seen
    queue = list(seen)
    while queue:
        node = queue.pop()
        if node in stops:
            continue
        for link in _steps(circuit, node):
            if link.part == module and link.kind in _INSIDE:
                continue
            if link.kind in _DOWN_ONLY:
                upper = link.a if link.part not in survey.reversed_fuses else link.b
                if (node == upper) is not down:
                    continue
            elif link.kind not in _BOTH_WAYS:
                continue
            other = link.b if link.a == node else link.a
            if other not in seen and other not in barred:
                seen.add(other)
                queue.append(other)
    return frozenset(seen)


def _steps(circuit: Circuit, node: int) -> Iterator[Link]:
    return (circuit.links[number] for number in circuit.at[node])
