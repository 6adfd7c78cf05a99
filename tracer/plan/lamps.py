"""Which test lamp loads a wire without opening its fuse, and where no lamp may ever go.

The rule: the lamp's steady current stays below half of the smallest fuse on the way (common practice, no source; a cold filament draws about 8 to 10 times
its steady current for a moment). Rated powers are those of usual vehicle bulbs. Where no rating is known the smallest lamp is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.entry.models import ModuleFacts
from tracer.trace.lists.results import Row

LAMPS_W = (3.0, 5.0, 21.0, 55.0)
SHARE_OF_FUSE = 0.5
NEVER = frozenset({"bus", "signal", "reference", "output", "shield"})


@dataclass(frozen=True, slots=True)
class Lamp:
    """A test lamp: power in W, steady current in A, and why this one. `watts` is None where no lamp may be used."""

    watts: float | None
    current_a: float
    why: str


def lamp_below(smallest_fuse_a: float | None, system_v: float) -> Lamp:
    """The largest usual lamp whose steady current is below half of the smallest fuse on the way.

    Parameters
    ----------
    smallest_fuse_a : rating in A; None where it is not known or where there is no fuse
    system_v : 12 or 24 V; at 48 V no usual lamp exists

    Examples
    --------
    >>> lamp_below(10, 12).watts, lamp_below(7.5, 12).watts, lamp_below(3, 12).watts
    (55.0, 21.0, 5.0)
    """
    if system_v not in (12, 24):
        return Lamp(None, 0.0, f"no usual lamp for {system_v:g} V; use a load that the maker names")
    smallest = LAMPS_W[0]
    if smallest_fuse_a is None:
        return Lamp(smallest, smallest / system_v, "no fuse rating known on the way, so the smallest lamp")
    fitting = [watts for watts in LAMPS_W if watts / system_v < SHARE_OF_FUSE * smallest_fuse_a]
    if not fitting:
        return Lamp(None, 0.0, f"even the smallest lamp draws half of {smallest_fuse_a:g} A or more; meter only")
    best = fitting[-1]
    return Lamp(best, best / system_v, f"below half of {smallest_fuse_a:g} A")


def lamp_for_ground(area_mm2: float | None, system_v: float) -> Lamp:
    """The lamp that loads a ground alone, from battery positive over a fused lead: 21 W on a wire of 1 mm² and more, 5 W on a thinner or unknown one.

    Common practice, no source: enough to show a bad joint, well below what the wire carries.
    """
    if system_v not in (12, 24):
        return Lamp(None, 0.0, f"no usual lamp for {system_v:g} V; use a load that the maker names")
    watts = 21.0 if area_mm2 is not None and area_mm2 >= 1.0 else 5.0
    size = f"wire of {area_mm2:g} mm²" if area_mm2 is not None else "wire of unknown size"
    return Lamp(watts, watts / system_v, f"{size}, from battery positive over a fused lead")


class LampRule:
    """Which lamp loads which row of a module's list: the same for every command, form and page."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self.system_v = float(circuit.typed.vehicle.system.split()[0])

    def of(self, row: Row) -> Lamp:
        """The lamp for any row."""
        return self.ground(row) if row.level == "ground" and row.code[0] == "G" else self.supply(row)

    def supply(self, row: Row) -> Lamp:
        """The lamp for a supply row: by its smallest fuse, or by what an electronic output says it replaces."""
        if row.no_method:
            return Lamp(None, 0.0, row.no_method)
        if row.code[0] == "V" or row.declared.split(" ")[0] in NEVER:
            return Lamp(None, 0.0, "signal, bus, reference and shield pins take no lamp")
        ratings = [fuse.amps for fuse in row.fuses]
        for output in row.switches:
            if output.startswith("output "):
                module, _, pin = output.removeprefix("output ").partition(".")
                facts = self._circuit.parts[module].facts
                assert isinstance(facts, ModuleFacts)
                ratings = [facts.outputs[pin].fuse]
        if not ratings or any(rating is None for rating in ratings):
            known = [rating for rating in ratings if rating is not None]
            lamp = lamp_below(None, self.system_v)
            fits = not known or lamp.current_a < SHARE_OF_FUSE * min(known)
            return lamp if fits else Lamp(None, 0.0, "no lamp is small enough for the known fuses")
        return lamp_below(min(rating for rating in ratings if rating is not None), self.system_v)

    def ground(self, row: Row) -> Lamp:
        """The lamp that loads a ground alone."""
        if row.no_method:
            return Lamp(None, 0.0, row.no_method)
        return lamp_for_ground(self._area_mm2(row), self.system_v)

    def _area_mm2(self, row: Row) -> float | None:
        """The thinnest wire at a pin; None where one is not known."""
        circuit = self._circuit
        wires = [circuit.wire_of(circuit.links[n]) for n in circuit.wires_at(circuit.pins_of[row.part][row.pin])]
        known = [wire.area_mm2 for wire in wires if wire.area_mm2 is not None]
        return min(known) if known and len(known) == len(wires) else None
