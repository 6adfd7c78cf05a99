"""What a module's list rests on that nobody has typed: each thing found here makes the list COMPLETE IF, never COMPLETE."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tracer.circuit.model import LOADS, Circuit, LinkKind, Part, PartKind
from tracer.entry.models import GroundFacts, ModuleFacts, SpliceFacts
from tracer.entry.problems import natural
from tracer.trace.kinds import PARTS
from tracer.trace.lists.completeness import Assumption
from tracer.trace.lists.results import Row
from tracer.trace.tracing import Tracing

_STILL = frozenset({"", "signal", "shield"})  # roles of pins that may only listen


def assumptions(
    tracing: Tracing,
    module: Part,
    rows: Iterable[Row],
    on_ways: Iterable[int],
    on_links: Iterable[int],
    needs: Iterable[int],
) -> tuple[Assumption, ...]:
    """What the list of a module rests on.

    Parameters
    ----------
    tracing : the vehicle
    module : whose list it is
    rows : all rows of the list, side chains among them
    on_ways : the nodes on their ways
    on_links : the links on their ways
    needs : the nodes where side chains begin
    """
    on_ways = set(on_ways)
    found = {
        *_assumed_ends(rows),
        *_masses(tracing, on_ways),
        *_runs_and_positions(tracing, on_links),
        *_silent(tracing, module, on_ways, needs),
    }
    return tuple(sorted(found, key=lambda one: (one.kind, natural(one.at))))


def uncounted_joints(circuit: Circuit, nodes: Iterable[int]) -> tuple[str, ...]:
    """The splices, studs and ground points among the nodes whose wires nobody has counted."""
    names = {circuit.node_parts[node] for node in nodes} & circuit.parts.keys()
    found = (circuit.parts[name] for name in names)
    return tuple(sorted((one.name for one in found if joint_count(one) == -1), key=natural))


def joint_count(part: Part) -> int | None:
    """How many wires a splice, stud or ground point holds as typed; -1 where that is not typed, None for other parts."""
    if not isinstance(part.facts, SpliceFacts | GroundFacts):
        return None
    return -1 if part.facts.wires is None else part.facts.wires


def _assumed_ends(rows: Iterable[Row]) -> Iterator[Assumption]:
    for row in rows:
        for end in row.ends:
            if end.assumed:
                yield Assumption("source" if row.level == "supply" else "ground", end.id)


def _masses(tracing: Tracing, on_ways: Iterable[int]) -> Iterator[Assumption]:
    """Ground points for which nobody says on which mass they sit, where there is more than one."""
    parts = tracing.circuit.parts
    if len(tracing.masses) < 2 and not any(part.kind is PartKind.STRAP for part in parts.values()):
        return
    for node in on_ways:
        part = parts.get(tracing.circuit.node_parts[node])
        if part is not None and isinstance(part.facts, GroundFacts) and part.facts.on is None:
            yield Assumption("mass", part.name)


def _runs_and_positions(tracing: Tracing, on_links: Iterable[int]) -> Iterator[Assumption]:
    """Runs typed as assumed, and positions of a switch that its contact table leaves out."""
    circuit = tracing.circuit
    for number in on_links:
        link = circuit.links[number]
        if link.kind is LinkKind.WIRE and circuit.runs[link.run].seen == "assumed":
            yield Assumption("assumed", f"the run at {circuit.run_place(link.run)}")
        elif link.kind is LinkKind.CONTACT:
            part = circuit.parts[link.part]
            if part.kind is PartKind.SWITCH:
                lever = part.levers[link.lever]
                every = tracing.states.keys if lever.follows == "key" else ("yes", "no") if lever.follows else ()
                left_out = [position for position in every if position not in lever.contacts]
                for position in left_out if every else ["a further position"] if len(lever.contacts) < 2 else []:
                    yield Assumption("position", f"{lever.name} in {position}")


def _silent(tracing: Tracing, module: Part, on_ways: set[int], needs: Iterable[int]) -> Iterator[Assumption]:
    """Pins called output whose output is not entered, and nets that nothing drives, where either could bring the list something more."""
    circuit = tracing.circuit
    assert isinstance(module.facts, ModuleFacts)
    own = dict(circuit.pins_of.get(module.name, {}))
    outputs = {pin for pin in own if _role(module, pin) == "output"}
    starts = [*(node for pin, node in own.items() if pin not in outputs), *needs]
    zone = tracing.zone(starts, on_ways, module.name)
    for node in zone:
        part = circuit.parts.get(circuit.node_parts[node])
        if part is None or _role(part, circuit.node_pins[node]) != "output" or not circuit.is_attached(node):
            continue
        kinds = {circuit.links[number].kind for number in circuit.at[node]}
        if not kinds & {LinkKind.JOINED, LinkKind.MEETS}:  # what feeds those inside the module is typed
            yield Assumption("output", circuit.node_names[node])
    # A net with nothing on it that sends: two listeners, or what is behind a contact, a diode or a fuse.
    supply, ground = tracing.supply_ways(), tracing.ground_ways()
    left = {node for node in zone if not supply.reached(node) and not ground.reached(node)}
    while left:
        net = tracing.conductors_at([next(iter(left))], module.name)
        if not net & on_ways and (pins := _listeners(tracing, net, own)) is not None:
            yield Assumption("net", ", ".join(sorted(pins, key=natural)))
        left -= net


def _role(part: Part, pin: str) -> str:
    """The declared role of a module's pin; empty for one whose output is entered, and for pins of other parts."""
    if not isinstance(part.facts, ModuleFacts) or pin in part.facts.outputs:
        return "" if not isinstance(part.facts, ModuleFacts) else "driven"
    declared = part.facts.pins.get(pin, "")
    return declared.split()[0] if declared else ""


def _listeners(tracing: Tracing, net: frozenset[int], own: dict[str, int]) -> set[str] | None:
    """The points of a net if nothing on it can send, else None. A lone pin of the module itself is no net."""
    circuit = tracing.circuit
    points: set[str] = set()
    own_nodes = set(own.values())
    for node in net:
        part = circuit.parts.get(circuit.node_parts[node])
        if any(circuit.links[number].kind in LOADS for number in circuit.at[node]):
            return None
        if part is not None and part.kind is PartKind.MODULE:
            if _role(part, circuit.node_pins[node]) not in _STILL:
                return None
            points.add(circuit.node_names[node])
        elif part is not None and circuit.is_attached(node) and PARTS[part.kind].gates:
            points.add(circuit.node_names[node])
    foreign = points - {circuit.node_names[node] for node in own_nodes}
    return points if foreign and any(circuit.is_attached(node) for node in net) else None
