"""What was likely meant where a run leads to the wrong place: named only where the rest of the vehicle shows it, and nothing else would do.

What is found is said beside the finding, to be compared with the diagram; it decides nothing.
"""

from __future__ import annotations

from tracer.circuit.model import Part
from tracer.entry.problems import listed
from tracer.trace.lists.basis import joint_count, wires_on_joint
from tracer.trace.lists.census import PinFinding, pins_found
from tracer.trace.tracing import Tracing


def other_pin_has_two(tracing: Tracing, module: Part, missing: PinFinding) -> str:
    """Beside a declared pin without a wire: the one other pin of the module, declared as the same, that has two."""
    circuit = tracing.circuit
    found = [
        pin for pin in pins_found(tracing, module) if pin.node is not None and len(circuit.wires_at(pin.node)) == 2
    ]
    bare = [pin for pin in pins_found(tracing, module) if pin.role == missing.role and not pin.wired]
    if len(found) != 1 or found[0].role != missing.role or len(bare) != 1:
        return ""
    assert found[0].node is not None
    runs = {circuit.links[wire].run for wire in circuit.wires_at(found[0].node)}
    places = listed([str(circuit.run_place(run)) for run in sorted(runs)], joiner="and")
    return f", while {module.name}.{found[0].pin} has two wires ({places})"


def joint_of_the_pin(tracing: Tracing, module: Part, pin: PinFinding) -> tuple[str, str]:
    """Where the run of a pin that is supply instead of ground, or the other way round, leads: and the joint that lacks a wire, where it leads to one that has one too many."""
    circuit = tracing.circuit
    wires = circuit.wires_at(pin.node) if pin.node is not None else []
    if len(wires) != 1:
        return "", ""
    number = circuit.links[wires[0]].run
    run = circuit.runs[number]
    said = f"; its run is at {circuit.run_place(number)}"
    ends = {point.part for point in (run.points[0], run.points[-1])} - {module.name}
    far = circuit.parts.get(ends.pop()) if len(ends) == 1 else None
    counts = {
        part.name: wires_on_joint(circuit, part) - count
        for part in circuit.parts.values()
        if (count := joint_count(part)) is not None and count >= 0
    }
    if far is None or counts.get(far.name) != 1:
        return said, ""
    ways = tracing.ground_ways() if pin.role == "ground" else tracing.supply_ways()
    lacking = [name for name, more in counts.items() if more == -1 and ways.reached(circuit.node_of_point[name, ""])]
    if len(lacking) != 1:
        return said, ""
    surplus = f"leads to {far.name}, which has a wire more than counted, while {lacking[0]} has one fewer"
    return f"; its run ({circuit.run_place(number)}) {surplus}", lacking[0]
