"""Wires, splices, cavities, loads and batteries that end nowhere, and joints with fewer wires than they are said to hold."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.kinds import BESIDE, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.entry.models import ModuleFacts
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.trace.kinds import PARTS
from tracer.trace.lists.basis import joint_count, wires_on_joint
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, rule
from tracer.trace.tracing import Tracing


@rule(
    "L105",
    "wire just ends",
    why="Where it goes is not known; it may be a supply, or another consumer that loads one.",
    fix="Follow the wire and type the point where it ends.",
    bad=EXAMPLE_PARTS + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- ?  # L105\n",
    good=EXAMPLE_PARTS + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
)
def wire_ends(tracing: Tracing) -> Iterator[Finding]:
    """A run that ends in `?`."""
    circuit = tracing.circuit
    for node, (run, place) in circuit.unknown_ends.items():
        typed = circuit.runs[run]
        at = circuit.links[circuit.wires_at(node)[0]].wire
        known = next(point.text for point in typed.points[at : at + 2] if not point.is_unknown)
        wire = f"wire {typed.wires[at].text} from {known}"
        yield Finding(
            place,
            wire,
            f"the {wire} leads to a place that is not known",
            "",
            (node,),
        )


@rule(
    "L106",
    "splice with one wire",
    why="A splice joins at least two wires: another wire leaves here that is not typed in.",
    fix="Type in the other wires of the splice.",
    bad=EXAMPLE_PARTS + "}  # L106\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- S1\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def splice_with_one_wire(tracing: Tracing) -> Iterator[Finding]:
    """A splice, or a group of a joint connector, that only one wire reaches."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if part.kind is PartKind.SPLICE:
            node = circuit.node_of_point[part.name, ""]
            if _attached_count(circuit, node) == 1:
                yield Finding(part.place, part.name, f"splice {part.name} has one wire", "", (node,))
        elif part.kind is PartKind.JOINT:
            pins = circuit.pins_of[part.name]
            for pin, node in pins.items():
                if not pin.startswith("group "):
                    if circuit.is_attached(node) and not any(
                        circuit.links[number].kind is LinkKind.BUSSED for number in circuit.at[node]
                    ):
                        message = f"cavity {pin} of joint connector {part.name} has a wire but belongs to no group"
                        yield Finding(
                            part.place,
                            f"{part.name}.{pin}",
                            message,
                            "Add the cavity to a group under `bussed`.",
                            (node,),
                        )
                    continue
                cavities = [circuit.other(circuit.links[number], node) for number in circuit.at[node]]
                used = [cavity for cavity in cavities if circuit.is_attached(cavity)]
                if len(used) == 1:
                    message = f"only one wire ({circuit.node_names[used[0]]}) reaches {circuit.node_names[node]}"
                    yield Finding(
                        part.place,
                        circuit.node_names[used[0]],
                        message,
                        "Type in the other wires of the group.",
                        (used[0],),
                    )


def _attached_count(circuit: Circuit, node: int) -> int:
    return sum(circuit.links[number].kind in BESIDE for number in circuit.at[node])


@rule(
    "L107",
    "in-line cavity with one half open",
    why="The wire goes on in the other half of the connector, and where to is not typed in.",
    fix="Type in the run from the other half; if nothing is there, the wire is dead and may be left out.",
    bad=EXAMPLE_PARTS
    + ", X3: connector}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- X3.1  # L107\n",
    good=EXAMPLE_PARTS + ", X3: connector}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
)
def half_cavity_open(tracing: Tracing) -> Iterator[Finding]:
    """An in-line cavity where only one half has a wire."""
    circuit = tracing.circuit
    for link in circuit.links:
        if link.kind is LinkKind.MATING:
            used = [circuit.is_attached(node) for node in (link.a, link.b)]
            if used[0] != used[1]:
                wired, open_node = (link.a, link.b) if used[0] else (link.b, link.a)
                run = circuit.links[circuit.wires_at(wired)[0]].run if circuit.wires_at(wired) else -1
                place = circuit.run_place(run) if run >= 0 else circuit.parts[link.part].place
                name = circuit.cavity_of(wired)
                message = f"the other half of cavity {name} is not typed in"
                if len(circuit.wires_at(wired)) > 1:
                    message = (
                        f"{len(circuit.wires_at(wired))} wires claim the half {circuit.node_names[wired]}; {message}"
                    )
                yield Finding(place, name, message, "", (open_node,))


@rule(
    "L123",
    "part never wired",
    why="The part is declared, but no run touches it: part of a page is not typed in yet.",
    fix="Type in its runs, or take the part out.",
    bad=EXAMPLE_PARTS + ", E7: load}  # L123\n" + EXAMPLE_RUNS,
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def part_never_wired(tracing: Tracing) -> Iterator[Finding]:
    """A part without any wire, busbar or bolted point."""
    circuit = tracing.circuit
    touched = {circuit.node_parts[node] for link in circuit.links if link.kind in BESIDE for node in (link.a, link.b)}
    for part in circuit.parts.values():
        state = part.facts.said("state")
        if part.kind is PartKind.PANEL or part.name in touched or state in NO_FUSE_BELONGS:
            continue
        if (
            part.kind is PartKind.MODULE
            and isinstance(part.facts, ModuleFacts)
            and part.facts.cavities
            and len(part.facts.unused) == len(part.facts.cavities)
        ):
            continue
        yield Finding(
            part.place,
            part.name,
            f"{part.kind} {part.name} is in no run",
            "",
            tuple(circuit.pins_of.get(part.name, {}).values()),
            (part.name,),
        )


@rule(
    "L126",
    "load with one side open",
    why="A lamp, motor or sensor has at least two wires; where the other one goes is not typed in.",
    fix="Type in the run from its other pin.",
    bad=EXAMPLE_PARTS
    + ", E1: load}  # L126\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- E1\n",
    good=EXAMPLE_PARTS
    + ", E1: load}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def load_open(tracing: Tracing) -> Iterator[Finding]:
    """A part that current passes through, wired on one pin only."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if PARTS[part.kind].passes_current and not circuit.is_not_fitted(part.name):
            pins = circuit.pins_of[part.name]
            open_pins = [pin for pin, node in pins.items() if not circuit.is_attached(node)]
            if open_pins and len(open_pins) < len(pins):
                names = ", ".join(f"{part.name}.{pin}" for pin in open_pins)
                yield Finding(
                    part.place,
                    names,
                    f"{part.name}: nothing is wired to {names}",
                    "",
                    tuple(pins[pin] for pin in open_pins),
                    (part.name,),
                )


@rule(
    "L151",
    "joint with another number of wires than counted",
    why="Somebody counted the wires of this joint. Where fewer are typed in, one of them goes to a place that nobody has looked at; it may be a supply.",
    fix="Type in the missing wires, or correct `wires` after counting again.",
    bad=EXAMPLE_PARTS.replace("S1: splice", "S1: {is: splice, wires: 3}") + "}  # L151\n" + EXAMPLE_RUNS,
    good=EXAMPLE_PARTS.replace("S1: splice", "S1: {is: splice, wires: 2}") + "}\n" + EXAMPLE_RUNS,
)
def joint_count_not_met(tracing: Tracing) -> Iterator[Finding]:
    """A splice, stud or ground point on which another number of wires is typed in than its `wires` says; what is bolted on it counts as one."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        wanted = joint_count(part)
        if wanted is None or wanted < 0:
            continue
        node = circuit.node_of_point[part.name, ""]
        typed = wires_on_joint(circuit, part)
        if typed != wanted:
            message = f"{part.name} holds {wanted} wires as counted, {typed} are typed in"
            fix = "See which run belongs elsewhere, or correct `wires` after counting again." if typed > wanted else ""
            yield Finding(part.place_of("wires"), part.name, message, fix, (node,))
