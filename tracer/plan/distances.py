"""How far apart the points of a way are, by the lengths of wires as typed: what is needed to add them up from whatever point is asked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracer.circuit.model import LinkKind
from tracer.trace.lists.results import Row
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class Stretch:
    """Between two nodes of a way: a wire with its metres (None: not typed), or something inside a part or joint, that has no length."""

    a: int
    b: int
    is_wire: bool
    length_m: float | None = 0.0


def stretches_of(tracing: Tracing, row: Row) -> Iterator[Stretch]:
    """What the way of a row is made of, but for the body, along which nothing is measured in metres."""
    circuit = tracing.circuit
    node = circuit.pins_of.get(row.part, {}).get(row.pin)
    way = None if node is None else tracing.ways_to(node, row.level, row.part).to(node)
    for number in sorted(way.links) if way is not None else ():
        if number >= len(circuit.links) or (link := circuit.links[number]).kind is LinkKind.MASS:
            continue
        if link.kind is LinkKind.WIRE:
            yield Stretch(link.a, link.b, True, circuit.wire_of(link).length_m)
        else:
            yield Stretch(link.a, link.b, False)


__all__ = ["Stretch", "stretches_of"]
