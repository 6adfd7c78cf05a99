"""What an answer rests on that nobody has typed: each thing found here makes it COMPLETE IF, never COMPLETE. Of one module's list, and of the whole vehicle."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set

from tracer.circuit.model import FUSE_KINDS, LOADS, Circuit, LinkKind, Part, PartKind
from tracer.entry.models import GroundFacts, ModuleFacts, SpliceFacts
from tracer.entry.problems import natural
from tracer.trace.kinds import PARTS
from tracer.trace.lists.completeness import Assumption, Completeness
from tracer.trace.lists.results import Row
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing

_STILL = frozenset({"", "signal", "shield"})  # roles of pins that may only listen


def assumptions(
    tracing: Tracing,
    module: Part,
    rows: Iterable[Row],
    on_ways: Iterable[int],
    on_links: Iterable[int],
    pins: Iterable[int],
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
    pins : the nodes of the module's own pins that it is asked for
    needs : the nodes where side chains begin
    """
    on_ways = set(on_ways)
    found = {
        *_assumed_ends(rows),
        *_masses(tracing, on_ways),
        *_runs_and_positions(tracing, on_links),
        *_silent(tracing, module, on_ways, pins, needs),
    }
    return _in_order(found)


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


def wires_on_joint(circuit: Circuit, part: Part) -> int:
    """How many wires are typed in on a splice, stud or ground point; what is bolted on it counts as one."""
    node = circuit.node_of_point[part.name, ""]
    links = (circuit.links[number] for number in circuit.at[node])
    return sum((2 if link.a == link.b else 1) for link in links if link.kind in (LinkKind.WIRE, LinkKind.MEETS))


def whole_vehicle(tracing: Tracing) -> Completeness:
    """Whether an answer about all that is typed in is complete: whatever is loose or assumed anywhere may bring it something more."""
    return tracing.once(_all_that_is_typed)


def _all_that_is_typed(tracing: Tracing) -> Completeness:
    circuit = tracing.circuit
    every = range(len(circuit.node_names))
    attached = [
        end for ends in (circuit.sources, circuit.grounds) for end in ends if end.assumed and circuit.at[end.node]
    ]
    grounds = {end.node for end in circuit.grounds}
    found = {
        *(Assumption("ground" if end.node in grounds else "source", end.id) for end in attached),
        *_masses(tracing, every),
        *_runs_and_positions(tracing, range(len(circuit.links))),
        *_silent_in(tracing, every, frozenset()),
    }
    return Completeness(
        loose=len(loose_ends(tracing)),
        rests_on=_in_order(found),
        uncounted=uncounted_joints(circuit, every),
        about="vehicle",
    )


def of_nodes(tracing: Tracing, nodes: Set[int]) -> tuple[Assumption, ...]:
    """What is only assumed of the conductors among some nodes: runs, and positions of switches."""
    links = tracing.circuit.links
    within = {
        number for node in nodes for number in tracing.circuit.at[node] if {links[number].a, links[number].b} <= nodes
    }
    return _in_order(_runs_and_positions(tracing, within))


def _in_order(found: Iterable[Assumption]) -> tuple[Assumption, ...]:
    return tuple(sorted(set(found), key=lambda one: (one.kind, natural(one.at))))


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
                typed = (*lever.contacts, *lever.unknown)  # what is typed as unknown is a loose end
                left_out = [position for position in every if position not in typed]
                for position in left_out if every else ["a further position"] if len(typed) < 2 else []:
                    yield Assumption("position", f"{lever.name} in {position}")


def _silent(tracing: Tracing, module: Part, on_ways: set[int], pins: Iterable[int], needs: Iterable[int]) -> Iterator[Assumption]:  # fmt: skip
    """Pins called output whose output is not entered, and nets that nothing drives, where either could bring the list of a module something more."""
    circuit = tracing.circuit
    starts = [*(node for node in pins if _role(module, circuit.node_pins[node]) != "output"), *needs]
    return _silent_in(tracing, tracing.zone(starts, on_ways, module.name), on_ways, module.name)


def _silent_in(tracing: Tracing, zone: Iterable[int], on_ways: Set[int], module: str = "") -> Iterator[Assumption]:
    """Such pins and nets among some nodes; the pins of the module whose list it is are no listeners of their own."""
    circuit = tracing.circuit
    for node in zone:
        part = circuit.part_at(node)
        if part is None or _role(part, circuit.node_pins[node]) != "output" or not circuit.is_attached(node):
            continue
        kinds = {circuit.links[number].kind for number in circuit.at[node]}
        if not kinds & {LinkKind.JOINED, LinkKind.MEETS}:  # what feeds those inside the module is typed
            yield Assumption("output", circuit.node_names[node])
    # A net with nothing on it that sends: two listeners, or what is behind a contact, a diode or a fuse.
    supply, ground = tracing.supply_ways(), tracing.ground_ways()
    left = {node for node in zone if not supply.reached(node) and not ground.reached(node)}
    while left:
        net = tracing.conductors_at([next(iter(left))], module)
        if not net & on_ways and (pins := _listeners(tracing, net, module)) is not None:
            yield Assumption("net", ", ".join(sorted(pins, key=natural)))
        left -= net


def _role(part: Part, pin: str) -> str:
    """The declared role of a module's pin; empty for one whose output is entered, and for pins of other parts."""
    if not isinstance(part.facts, ModuleFacts) or pin in part.facts.outputs:
        return "" if not isinstance(part.facts, ModuleFacts) else "driven"
    declared = part.facts.pins.get(pin, "")
    return declared.split()[0] if declared else ""


def _listeners(tracing: Tracing, net: frozenset[int], module: str) -> set[str] | None:
    """The points of a net if nothing on it can send, else None. Pins of the module itself alone are no net; without a module, those of any one."""
    circuit = tracing.circuit
    points: set[str] = set()
    owners: set[str] = set()
    gated = False  # a contact, a diode or a fuse: what drives the net may come out behind it
    for node in net:
        part = circuit.part_at(node)
        if any(circuit.links[number].kind in LOADS for number in circuit.at[node]):
            return None
        if part is not None and part.kind is PartKind.MODULE:
            if _role(part, circuit.node_pins[node]) not in _STILL:
                return None
            points.add(circuit.node_names[node])
            owners.add(part.name)
        elif part is not None and circuit.is_attached(node) and PARTS[part.kind].gates:
            points.add(circuit.node_names[node])
            gated = True
        elif part is not None and part.kind in FUSE_KINDS:
            gated = gated or not module
    foreign = bool(points) and (gated or (bool(owners - {module}) if module else len(owners) > 1))
    return points if foreign and any(circuit.is_attached(node) for node in net) else None
