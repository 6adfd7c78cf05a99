"""Which test lamp loads a wire so that a bad joint shows and no fuse opens, and where no lamp may ever go.

The rule: the smallest lamp whose current lets the drop grow by 100 mV at 0.2 Ω, which is ten steps of a meter's last digit on its 20 V range; its steady
current stays below half of the smallest fuse on the way. A larger lamp shows no more joints, and warms the wire. Where an electronic output or a diode lies on
the way, 5 W: a cold filament draws about 8 to 10 times its steady current for a moment, which may latch an output off. All of it is common practice, no
source; rated powers are those of usual vehicle bulbs (from memory). Where no rating is known the smallest lamp is taken.
"""

from __future__ import annotations

from tracer.circuit.model import Circuit
from tracer.electrics.volts.values import Lamp, Why
from tracer.entry.models import ModuleFacts
from tracer.trace.lists.results import Row, SupplyReport

GENTLE_W = 5.0  # behind an electronic output or a diode, and on thin ground wires
USUAL_W = 21.0
LAMPS_W = (3.0, GENTLE_W, USUAL_W, 55.0)
SHARE_OF_FUSE = 0.5
SHOWN_OHM, CLEAR_V = 0.2, 0.1
NEVER = frozenset({"bus", "signal", "reference", "output", "shield"})


def lamp_below(smallest_fuse_a: float | None, system_v: float, *, gentle: bool = False) -> Lamp:
    """The smallest usual lamp that lets 0.2 Ω show clearly, of those whose steady current is below half of the smallest fuse on the way.

    Parameters
    ----------
    smallest_fuse_a : rating in A; None where it is not known or where there is no fuse
    system_v : 12 or 24 V; at 48 V no usual lamp exists
    gentle : whether an electronic output or a diode lies on the way

    Examples
    --------
    >>> lamp_below(10, 12).watts, lamp_below(3, 12).watts, lamp_below(30, 24).watts, lamp_below(10, 12, gentle=True).watts
    (21.0, 5.0, 21.0, 5.0)
    """
    if system_v not in (12, 24):
        return Lamp(None, 0.0, Why.SYSTEM, system_v)
    smallest = LAMPS_W[0]
    if smallest_fuse_a is None:
        return Lamp(smallest, smallest / system_v, Why.UNRATED, system_v=system_v)
    allowed = lamps_below(smallest_fuse_a, system_v)
    if not allowed:
        return Lamp(None, 0.0, Why.TOO_SMALL_A_FUSE, smallest_fuse_a)
    if gentle:
        best = max(watts for watts in allowed if watts <= GENTLE_W)
        return Lamp(best, best / system_v, Why.GENTLE, smallest_fuse_a, system_v=system_v)
    best = next((watts for watts in allowed if watts / system_v * SHOWN_OHM >= CLEAR_V), allowed[-1])
    return Lamp(best, best / system_v, Why.BELOW_FUSE, smallest_fuse_a, system_v=system_v)


def lamps_below(fuse_a: float, system_v: float) -> list[float]:
    """The usual lamps whose steady current is below half of a fuse, smallest first."""
    return [watts for watts in LAMPS_W if watts / system_v < SHARE_OF_FUSE * fuse_a]


def lamp_for_ground(area_mm2: float | None, system_v: float) -> Lamp:
    """The lamp that loads a ground alone, from battery positive over a fused lead: 21 W on a wire of 1 mm² and more, 5 W on a thinner or unknown one.

    Common practice, no source: enough to show a bad joint, well below what the wire carries.
    """
    if system_v not in (12, 24):
        return Lamp(None, 0.0, Why.SYSTEM, system_v)
    watts = USUAL_W if area_mm2 is not None and area_mm2 >= 1.0 else GENTLE_W
    return Lamp(watts, watts / system_v, Why.WIRE, area_mm2, system_v=system_v)


class LampRule:
    """Which lamp loads which row of a module's list: the same for every command, form and page."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self.system_v = float(circuit.typed.vehicle.system.split()[0])

    def of(self, row: Row) -> Lamp:
        """The lamp for any row."""
        return self.ground(row) if row.level == "ground" and row.code[0] == "G" else self.supply(row)

    def own_pins(self, report: SupplyReport, watts: float | None = None) -> dict[str, Lamp]:
        """The lamp for each pin of the module itself, by the code of its row; `watts` in place of the rule's where a lamp may hang at all.

        A pin on which nothing may be measured is left out: there is not even a reading.
        """
        own = (row for row in report.rows if row.part == report.module and not row.no_method)
        found = {row.code: self.of(row) for row in own}
        if watts is not None:
            for code, lamp in found.items():
                if lamp.watts is not None:
                    by_fuse = lamp.why is Why.BELOW_FUSE and lamp.of is not None
                    most = max((*lamps_below(lamp.of or 0.0, self.system_v), lamp.watts)) if by_fuse else lamp.watts
                    found[code] = Lamp(watts, watts / self.system_v, Why.ASKED, most, system_v=self.system_v)
        return found

    def supply(self, row: Row) -> Lamp:
        """The lamp for a supply row: by its smallest fuse, or by what an electronic output says it replaces."""
        if row.no_method:
            return Lamp(None, 0.0, Why.NO_METHOD, withheld=row.no_method)
        if row.code[0] == "V" or row.declared.split(" ")[0] in NEVER:
            return Lamp(None, 0.0, Why.NO_FEED)
        ratings = [fuse.amps for fuse in row.fuses]
        gentle = bool(row.diodes) or any(name.startswith("output ") for name in row.switches)
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
            return lamp if fits else Lamp(None, 0.0, Why.PARTLY_RATED)
        return lamp_below(min(rating for rating in ratings if rating is not None), self.system_v, gentle=gentle)

    def ground(self, row: Row) -> Lamp:
        """The lamp that loads a ground alone."""
        if row.no_method:
            return Lamp(None, 0.0, Why.NO_METHOD, withheld=row.no_method)
        return lamp_for_ground(self._area_mm2(row), self.system_v)

    def _area_mm2(self, row: Row) -> float | None:
        """The thinnest wire at a pin; None where one is not known."""
        circuit = self._circuit
        wires = [circuit.wire_of(circuit.links[n]) for n in circuit.wires_at(circuit.pins_of[row.part][row.pin])]
        known = [wire.area_mm2 for wire in wires if wire.area_mm2 is not None]
        return min(known) if known and len(known) == len(wires) else None
