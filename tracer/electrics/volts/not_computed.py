"""What neither a figure nor a verdict is given for, because the model of it is not good enough; in words, for every output alike.

A generator is no source of the model yet, what a converter takes in does not follow what it gives out, and the levels of LIN are known for 12 V only. What flows into a part of which nobody knows the inside, or out of it, is in no figure either. Where one of
these bears on a reading it is better left out than wrong.
"""

from __future__ import annotations

from collections.abc import Sequence

from tracer.circuit.open_ends import unknown_insides
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.sources import turning_generators
from tracer.electrics.volts.current_ways import CurrentWays
from tracer.entry.problems import listed, natural
from tracer.trace.lists.results import Row
from tracer.trace.tracing import Tracing

LIN_SYSTEM_V = 12


def said(reason: str) -> str:
    """The one sentence that stands in place of a figure."""
    return f"not computed, because {reason}"


def engine_runs(model: Model) -> bool:
    """Whether the battery is being charged: a generator is held as turning, or what was measured at the posts says so."""
    measured_v = model.changes.battery_v
    lowest_v = model.limits.of("battery charging").low
    assert lowest_v is not None
    return bool(turning_generators(model.circuit, model.changes)) or (measured_v is not None and measured_v >= lowest_v)


def beside_unknown(tracing: Tracing, part: str, node: int, level: str) -> str:
    """What nobody knows the inside of, where it bears on what is read at a pin: on the conductors of its ways, with no fuse between; empty where nothing does."""
    unknown = {
        node: f"{one.name}.{pin} is joined with inside {one.name}"
        for one, pin, node in unknown_insides(tracing.circuit)
    }
    if not unknown:
        return ""
    way = tracing.ways_to(node, level, part).to(node)
    near = tracing.zone([node], way.nodes if way is not None else (), part) & unknown.keys()
    found = sorted((unknown[one] for one in near), key=natural)
    return said(f"what {listed(found, joiner='and what')} is not known") if found else ""


class Withheld:
    """The rows of a model for which nothing is computed."""

    def __init__(self, tracing: Tracing, model: Model, ways: CurrentWays) -> None:
        self.tracing = tracing
        self.model = model
        self.engine_runs = engine_runs(model)
        self._charging = self._charging_cable(ways) if self.engine_runs else frozenset()

    def _charging_cable(self, ways: CurrentWays) -> frozenset[int]:
        """Branches between a generator and the battery: with the engine running their current is not the one of the model."""
        circuit = self.model.circuit
        kinds = {part.name: part.kind for part in circuit.parts.values()}
        studs = [end.node for end in circuit.sources if kinds.get(circuit.node_parts[end.node]) == "generator"]
        return frozenset(number for stud in studs for number, _ in ways.way(stud, supply=True))

    def why(self, row: Row, way: Sequence[tuple[int, int]]) -> str:
        """Why no figure is given for a row whose current takes a way of (branch, node); empty where one is."""
        if reason := beside_unknown(self.tracing, row.part, self.model.circuit.pins_of[row.part][row.pin], row.level):
            return reason
        part = self.model.circuit.parts.get(row.part)
        if part is not None and part.kind == "converter":
            return said(f"what converter {row.part} takes in does not follow yet what it gives out")
        if self.engine_runs and row.level == "ground":
            return said("the battery is being charged: the generator's current comes back through the grounds too")
        if self._charging.intersection(number for number, _ in way):
            return said("the battery is being charged: the generator's current runs through the same cable")
        return ""


def why_no_lin_levels(system_v: int) -> str:
    """Why no levels of a LIN bus are given; empty where they are."""
    if system_v == LIN_SYSTEM_V:
        return ""
    return said(f"the supply of these nodes is not the {system_v} V of the vehicle, and its volts are not known")
