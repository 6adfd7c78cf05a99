"""A vehicle as a wire list again: one wire a row, and what such a list cannot hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.circuit.wire_ends import WireBetween, WireEnd, full_name, wires_between
from tracer.entry.facts import keys_of
from tracer.entry.problems import natural
from tracer.entry.runs import Wire, read_wire
from tracer.entry.values import Misread
from tracer.standards import figures
from tracer.standards.colours import ColourSystem

_NOT_LEFT_OUT = frozenset({"is", "positions"})  # the kind is in the list, positions are parts of their own


@dataclass(frozen=True, slots=True)
class WireRow:
    """A row of a wire list, by the names of what it says (`entry/wire_lists/columns.py`)."""

    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class WireList:
    """The rows, and what a list of wires cannot hold: the key under which it was typed, and the parts concerned."""

    vehicle: str
    rows: tuple[WireRow, ...]
    left_out: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def complete(self) -> bool:
        """Whether the list holds everything that was typed."""
        return not self.left_out


def wire_list(circuit: Circuit) -> WireList:
    """Every wire of the vehicle in the order typed, and what was typed beside wires."""
    wires = list(wires_between(circuit))
    return WireList(
        circuit.name, tuple(WireRow(_cells(one, circuit)) for one in wires), tuple(_left_out(circuit, wires))
    )


def _cells(one: WireBetween, circuit: Circuit) -> dict[str, str]:
    colour = colour_text(one.wire, circuit.typed.vehicle.colours)
    return {
        **_end_cells("from", one.a),
        **_end_cells("to", one.b),
        "colour": colour,
        "size": one.wire.size_text or "",
        "length": figures.plain(one.wire.length_m) if one.wire.length_m is not None else "",
        "number": one.wire.number or "",
        "sheet": one.sheet,
        "seen": one.run.seen,
        "note": one.run.note or "",
    }


def _end_cells(end: str, at: WireEnd) -> dict[str, str]:
    return {end: at.part, f"{end} pin": at.written_pin, f"{end} kind": at.kind}


def colour_text(wire: Wire, system: ColourSystem) -> str:
    """The colour of a wire as it was typed, without size, length and number."""
    words = wire.text.split()
    for count in range(1, len(words) + 1):
        colour = " ".join(words[:count])
        try:
            read = read_wire(colour, system)
        except Misread:
            continue  # `LT` of `LT BLU` is no colour yet
        if (read.colours, read.medium) == (wire.colours, wire.medium):
            return colour
    return "?"


def _left_out(circuit: Circuit, wires: list[WireBetween]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What was typed of parts and of the vehicle and stands in no row, by key; parts that no wire comes to, last."""
    found: dict[str, set[str]] = {}
    for part in circuit.parts.values():
        for fragment in part.fragments:
            for key, field in keys_of(type(fragment.facts)).items():
                if key not in _NOT_LEFT_OUT and field in fragment.facts.model_fields_set:
                    found.setdefault(key, set()).add(full_name(circuit, part.name))
    for key in sorted(found):
        yield key, tuple(sorted(found[key], key=natural))
    vehicle = circuit.typed.vehicle
    told = [key for key, field in keys_of(type(vehicle)).items() if field in vehicle.model_fields_set - {"vehicle"}]
    if told:
        yield "vehicle.yaml", tuple(told)
    heads = [
        sheet.id
        for sheet in circuit.typed.sheets
        if sheet.title or sheet.note or sheet.hazard or sheet.caution or sheet.page
    ]
    if heads:
        yield "heads of sheets (title, note, hazard, caution, page)", tuple(heads)
    ends = {end.part for one in wires for end in (one.a, one.b)}
    bare = {full_name(circuit, part.name) for part in circuit.parts.values()} - ends
    bare = {name for name in bare if not any(end.startswith(f"{name}/") for end in ends)}
    if bare:
        yield "parts that no wire comes to", tuple(sorted(bare, key=natural))
