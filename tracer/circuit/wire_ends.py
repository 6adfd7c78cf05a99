"""The wires of a circuit with their two ends as a person writes them, whichever run they were typed in and from whichever end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracer.circuit.kinds import LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.entry.models import ConnectorFacts
from tracer.entry.problems import Place, natural
from tracer.entry.runs import Run, Wire


@dataclass(frozen=True, slots=True)
class WireEnd:
    """One end: the part by its full name, its pin (the cavity of the half it sits in), the half, and the cavity of the other half where its number differs.

    A rail is a part without pin and of kind `rail`; a reference and an end that is not known are `part` alone, without kind. `told`: the half is known.
    """

    node: int
    part: str
    pin: str = ""
    kind: str = ""
    half: str = ""
    mate: str = ""
    told: bool = True

    @property
    def point(self) -> str:
        """The point without its half: `X4.5`."""
        return f"{self.part}.{self.pin}" if self.pin else self.part

    @property
    def written_pin(self) -> str:
        """The pin as a run writes it at the end of a run: with its half where that is known, or where the numbers of the halves differ."""
        mate = f">{self.mate}" if self.mate else ""
        return f"{self.pin}{mate}:{self.half}" if self.half and (self.told or mate) else self.pin


@dataclass(frozen=True, slots=True)
class WireBetween:
    """One wire between its two ends, in the order of their names; `link` is its number in the circuit."""

    link: int
    a: WireEnd
    b: WireEnd
    wire: Wire
    run: Run
    sheet: str
    place: Place


def wires_between(circuit: Circuit, *, sheet: int | None = None) -> Iterator[WireBetween]:
    """Every wire, in the order typed; of one sheet only where it is given by its number."""
    order = sorted(
        (link.run, link.wire, number) for number, link in enumerate(circuit.links) if link.kind is LinkKind.WIRE
    )
    for run, _, number in order:
        link = circuit.links[number]
        if sheet is not None and circuit.runs[run].sheet != sheet:
            continue
        a, b = sorted(
            (_end(circuit, link.a), _end(circuit, link.b)), key=lambda end: natural(f"{end.point}:{end.half}")
        )
        found = circuit.runs[run]
        yield WireBetween(number, a, b, circuit.wire_of(link), found, circuit.sheet_of_run(run), circuit.run_place(run))


def full_name(circuit: Circuit, part: str) -> str:
    """A part with its panel in front, where it sits in a position: names alone need not be the same in two vehicles."""
    found = circuit.parts.get(part)
    return f"{found.panel}/{found.label}" if found is not None and found.panel and found.label else part


def _end(circuit: Circuit, node: int) -> WireEnd:
    if node in circuit.unknown_ends:
        return WireEnd(node, "?")
    if node in circuit.reference_of:
        end = circuit.reference_of[node]
        return WireEnd(node, f"ref {end.here}" if end.here == end.there else f"ref {end.here}>{end.there}")
    name, pin = circuit.node_parts[node], circuit.node_pins[node]
    part = circuit.parts.get(name)
    if part is None:
        return WireEnd(node, name, kind="rail")
    if part.kind is not PartKind.CONNECTOR:
        return WireEnd(node, full_name(circuit, name), pin, part.kind)
    assert isinstance(part.facts, ConnectorFacts)
    a_cavity, _, half = pin.rpartition(":")
    b_cavity = part.facts.mates.get(a_cavity, a_cavity)
    own, other = (a_cavity, b_cavity) if half == "a" else (b_cavity, a_cavity)
    mate = other if own != other else ""
    return WireEnd(node, full_name(circuit, name), own, part.kind, half, mate, circuit.is_told(node))
