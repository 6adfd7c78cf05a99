"""Which module pins are said to lie on which line of which bus."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import Circuit
from tracer.entry.bus_words import bus_of, line_called
from tracer.entry.models import ModuleFacts


def pins_by_role(circuit: Circuit) -> Iterator[tuple[str, str, str, str]]:
    """(bus, line, module, pin) of pins called `bus NAME LINE`."""
    for part in circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        for pin, words in part.facts.pins.items():
            if named := bus_of(words):
                yield named[0], line_called(named[1]), part.name, pin


def lines_typed(circuit: Circuit, bus: str) -> Iterator[tuple[str, str, str]]:
    """(line, module, pin) of the pins that vehicle.yaml lists under `lines` of a bus."""
    facts = circuit.typed.vehicle.buses.get(bus)
    for line, points in facts.lines.items() if facts is not None else ():
        for point in points:
            module, _, pin = point.partition(".")
            yield line_called(line), module, pin
