"""Remarks: worth a look, but nothing is missing because of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from tracer.circuit.flood import flood
from tracer.circuit.kinds import FUSE_KINDS, GATES, SUPPLY_KINDS, WIRING, LinkKind, PartKind
from tracer.circuit.states import Level
from tracer.entry.models import ConnectorFacts, FuseFacts, ModuleFacts
from tracer.standards import figures
from tracer.standards.conductors import largest_fuse_a
from tracer.trace.lists.census import pins_found
from tracer.trace.lists.rows import gaps_on
from tracer.trace.rules.registry import EXAMPLE_PLACED, EXAMPLE_RUNS, Finding, rule
from tracer.trace.tracing import Tracing


@rule(
    "R201",
    "colour or size changes without a joint",
    why="A wire keeps its colour and size through a connector. Where they change there, a cavity is often mistyped (1 for 7, 12 for 21).",
    fix="Compare with the diagram; if the change is real, leave it.",
    bad=EXAMPLE_PLACED
    + ", X3: {is: connector, at: sill}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- X3.1 -- BK 1 -- ALM.4  # R201\n",
    good=EXAMPLE_PLACED
    + ", X3: {is: connector, at: sill}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
)
def wire_changes(tracing: Tracing) -> Iterator[Finding]:
    """Wires of different colour or size on the two halves of an in-line cavity."""
    from tracer.circuit.references import difference

    circuit = tracing.circuit
    for link in circuit.links:
        if link.kind is LinkKind.MATING:
            sides = [circuit.wires_at(node) for node in (link.a, link.b)]
            if len(sides[0]) == len(sides[1]) == 1:
                first, second = (circuit.wire_of(circuit.links[side[0]]) for side in sides)
                changed = difference(first, second)
                if changed in ("colour", "size", "colour and size"):
                    name = circuit.contact_name(link.a, link.b)
                    place = circuit.run_place(circuit.links[sides[1][0]].run)
                    yield Finding(
                        place,
                        name,
                        f"{changed} change across {name}: {first.text} to {second.text}",
                        "",
                        (link.a, link.b),
                    )


@rule(
    "R202",
    "two wires in one module pin",
    why="A cavity usually holds one wire. Two in one pin are rare; a slip of a digit (4 for 14) is not.",
    fix="Compare with the diagram; if both wires really share the pin, leave it.",
    bad=EXAMPLE_PLACED
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD/BK 1 -- ALM.4  # R202\n",
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def pin_used_twice(tracing: Tracing) -> Iterator[Finding]:
    """A module pin with more than one wire."""
    circuit = tracing.circuit
    for part in circuit.modules():
        for pin, node in circuit.pins_of.get(part.name, {}).items():
            wires = circuit.wires_at(node)
            if len(wires) > 1:
                at = f"{part.name}.{pin}"
                place = circuit.run_place(sorted(circuit.links[wire].run for wire in wires)[1])
                yield Finding(place, at, f"{len(wires)} wires at {at}", "", (node,))


@rule(
    "R203",
    "supply without any fuse",
    why="Between the battery and the pin stands nothing that would open in a short circuit; usually a fuse or link is missing from the sheet.",
    fix="Look for a fuse or fusible link on the diagram's power page.",
    bad=EXAMPLE_PLACED
    + "}  # R203\nruns:\n- BAT.+ -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- F9.feed -- RD 1 -- S1\n- F9.load -- RD 1 -- S1\n",
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def supply_without_fuse(tracing: Tracing) -> Iterator[Finding]:
    """A module's supply reached by a way without fuse, link or breaker."""
    circuit = tracing.circuit
    rails = {end.node for end in circuit.sources if end.assumed}  # what lies before an assumed rail is not known
    unfused = reached_without_fuse(tracing, {end.node for end in circuit.sources} - rails)
    for part in circuit.modules():
        for pin in pins_found(tracing, part):
            if pin.kind == "supply" and pin.supply and pin.node is not None and pin.node in unfused:
                at = f"{part.name}.{pin.pin}"
                yield Finding(
                    part.place,
                    at,
                    f"{at} is supplied without any fuse",
                    "",
                    (pin.node,),
                )


def reached_without_fuse(tracing: Tracing, starts: Iterable[int], *, contacts: bool = True) -> set[int]:
    """Every node that supply reaches from `starts` without a fuse or a load between; `contacts` says whether through contacts and diodes too."""
    kinds = SUPPLY_KINDS - {LinkKind.FUSE, LinkKind.DRIVER_HIGH}  # an electronic output protects its own wire
    if not contacts:
        kinds -= GATES
    return set(flood(tracing.circuit, starts, kinds, barred=tracing.hard_ground))


@rule(
    "R204",
    "fuse larger than its smallest wire should have",
    why="The wire then burns before the fuse opens. Often the rating or the size is mistyped.",
    fix="Check the rating against the lid and the size against the diagram. The maker's figure decides.",
    bad="parts: {ALM: {is: module, at: floor, cavities: [4], pins: {4: supply}}, BAT: {is: battery, at: bay}, F9: {is: fuse, amps: 40, at: bay}, S1: {is: splice, at: floor}}  # R204\n"
    "runs:\n- BAT.+ -- RD 6 -- F9 -- RD 0.5 -- S1\n- S1 -- RD 6 -- ALM.4\n",
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def fuse_too_large(tracing: Tracing) -> Iterator[Finding]:
    """A fuse above what the thinnest wire that it alone protects may have."""
    circuit = tracing.circuit
    stops = {end.node for end in (*circuit.sources, *circuit.grounds)}
    for part in circuit.parts.values():
        facts = part.facts
        if not isinstance(facts, FuseFacts) or facts.amps is None:
            continue
        smallest = _smallest_wire_below(tracing, part.name, stops)
        if smallest is None:
            continue
        area_mm2, text, node = smallest
        allowed = largest_fuse_a(area_mm2)
        if allowed is not None and facts.amps > allowed.value:
            message = f"{part.name} is {figures.stated(facts.amps, 'A')}, but the wire {text} behind it takes {figures.stated(allowed.value, 'A')} at most ({allowed.source})"
            fix = ""
            if facts.amps / 10 <= allowed.value < facts.amps / 4:
                message += f"; {figures.stated(facts.amps / 10, 'A')} would fit"
                fix = "Look at the lid again: a digit too many blows no fuse, and the wire burns. The maker's figure decides."
            yield Finding(part.place, part.name, message, fix, (circuit.pins_of[part.name]["load"], node), (part.name,))


def _smallest_wire_below(tracing: Tracing, fuse: str, stops: Collection[int]) -> tuple[float, str, int] | None:
    """The thinnest wire between a fuse's load side and the next fuses, loads and modules."""
    circuit = tracing.circuit
    smallest: tuple[float, str, int] | None = None
    below = flood(
        circuit, [circuit.pins_of[fuse]["load"]], WIRING | {LinkKind.CONTACT}, stops=stops, barred=tracing.hard_ground
    )
    for node in below:
        for number in circuit.wires_at(node) if node not in stops else ():
            wire = circuit.wire_of(circuit.links[number])
            if wire.area_mm2 is not None and (smallest is None or wire.area_mm2 < smallest[0]):
                smallest = (wire.area_mm2, wire.text, node)
    return smallest


@rule(
    "R205",
    "cavity number changes across the connector",
    why="The two halves number their cavities differently. Who probes by number alone probes the wrong wire on one side.",
    fix="Nothing to do if the diagram shows it; go by wire colour at the vehicle as well.",
    bad=EXAMPLE_PLACED
    + ", X3: {is: connector, at: sill, mates: {1: 7}}}  # R205\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- X3.1>7 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PLACED
    + ", X3: {is: connector, at: sill}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
)
def cavity_changes(tracing: Tracing) -> Iterator[Finding]:
    """Connectors whose `mates` pair different numbers that are in use."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if isinstance(part.facts, ConnectorFacts):
            pins = circuit.pins_of.get(part.name, {})
            crossed = [(a, b) for a, b in part.facts.mates.items() if a != b and f"{a}:a" in pins]
            if crossed:
                words = ", ".join(f"{a} of half a meets {b} of half b" for a, b in crossed)
                at = ", ".join(f"{part.name}.{a}>{b}" for a, b in crossed)
                nodes = tuple(pins[f"{a}:{half}"] for a, _ in crossed for half in "ab")
                yield Finding(part.place_of("mates", key=True), at, f"cavities of {part.name}: {words}", "", nodes)


@rule(
    "R206",
    "place missing",
    why="A probe point without a place costs time at the vehicle, or is skipped.",
    fix="Add `at: ...` (and `access: ...`) to the part or its panel.",
    bad="parts: {ALM: {is: module, at: floor, cavities: [4], pins: {4: supply}}, BAT: {is: battery, at: bay}, F9: {is: fuse, amps: 10, at: bay}, S1: splice}  # R206\n"
    + EXAMPLE_RUNS,
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def place_missing(tracing: Tracing) -> Iterator[Finding]:
    """A wired part with a place of its own, but none typed."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if part.kind is PartKind.PANEL or tracing.circuit.place_of_part(part.name)[0]:
            continue
        pins = circuit.pins_of.get(part.name, {})
        nodes = tuple(node for node in pins.values() if circuit.is_attached(node))
        if nodes:
            yield Finding(part.place, part.name, f"where {part.name} sits is not typed in", "", nodes)


@rule(
    "R207",
    "rail is only an assumed source",
    why="The rail's way to the battery is not typed in, so its fuse, link or switch is on no list.",
    fix="Give the rail its origin in vehicle.yaml: `from: IGN.15`, `from: BAT.+`.",
    bad='rails: {"30": always}  # R207\n---\n'
    + EXAMPLE_PLACED
    + '}\nruns:\n- "30 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n- BAT.+ -- RD 1 -- S1\n',
    good='rails: {"30": {live: always, from: BAT.+}}\n---\n'
    + EXAMPLE_PLACED
    + '}\nruns:\n- "30 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n',
)
def rail_assumed(tracing: Tracing) -> Iterator[Finding]:
    """A rail in use without `from`."""
    circuit = tracing.circuit
    file = circuit.typed.vehicle_file
    for end in (*circuit.sources, *circuit.grounds):
        if end.assumed and end.id in circuit.typed.vehicle.rails and circuit.at[end.node]:
            yield Finding(
                file.place_of(("rails", end.id), key=True),
                end.id,
                f"rail {end.id} is an assumed {'ground' if end in circuit.grounds else 'source'}",
                "",
                (end.node,),
            )


@rule(
    "R208",
    "fuse typed the wrong way round",
    why="Its feed side is away from the source. Electrically nothing changes, but feed and load side are named wrongly on the probe list.",
    fix="Turn the run round, or write `F9.feed` and `F9.load`.",
    bad=EXAMPLE_PLACED + "}  # R208\nruns:\n- S1 -- RD 1 -- F9 -- RD 1 -- BAT.+\n- S1 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def fuse_reversed(tracing: Tracing) -> Iterator[Finding]:
    """A fuse on the only way of its own feed side."""
    circuit = tracing.circuit
    for name in sorted(tracing.reversed_fuses):
        pins = circuit.pins_of[name]
        message = f"{name} is typed load side first"
        yield Finding(circuit.parts[name].place, name, message, "", (pins["feed"], pins["load"]), (name,))


@rule(
    "R209",
    "fact only assumed",
    why="The fact is neither from the diagram nor seen on the vehicle.",
    fix="Look at the vehicle, then set `seen: vehicle`.",
    bad=EXAMPLE_PLACED
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- {run: S1 -- RD 1 -- ALM.4, seen: assumed}  # R209\n",
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def only_assumed(tracing: Tracing) -> Iterator[Finding]:
    """Runs and parts marked `seen: assumed`."""
    circuit = tracing.circuit
    of_run: dict[int, list[int]] = {}
    for link in circuit.links:
        if link.run >= 0 and circuit.runs[link.run].seen == "assumed":
            of_run.setdefault(link.run, []).extend((link.a, link.b))
    for run, nodes in sorted(of_run.items()):
        yield Finding(circuit.run_place(run), circuit.runs[run].text, "the run is only assumed", "", tuple(nodes))
    for part in circuit.parts.values():
        if part.seen == "assumed" and any(fragment.facts.seen == "assumed" for fragment in part.fragments):
            yield Finding(part.place, part.name, f"{part.name} is only assumed", "", parts=(part.name,))


@rule(
    "R210",
    "position without a rating",
    why="Without the rating nobody can see whether the right fuse is fitted, nor choose a test lamp.",
    fix="Add `amps`.",
    bad="parts: {ALM: {is: module, at: floor, cavities: [4], pins: {4: supply}}, BAT: {is: battery, at: bay}, F9: {is: fuse, at: bay}, S1: {is: splice, at: floor}}  # R210\n"
    + EXAMPLE_RUNS,
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def fuse_without_rating(tracing: Tracing) -> Iterator[Finding]:
    """A fuse outside a panel without rating (inside a panel it is a loose end)."""
    two_ratings = {conflict.part for conflict in tracing.circuit.conflicts if conflict.fact == "amps"}  # L121
    for part in tracing.circuit.parts.values():
        facts = part.facts
        if part.name in two_ratings:
            continue
        if part.kind in FUSE_KINDS and isinstance(facts, FuseFacts) and facts.amps is None and not part.panel:
            yield Finding(part.place, part.name, f"the rating of {part.name} is not typed in", "", parts=(part.name,))


@rule(
    "R211",
    "pin reaches supply or ground, but is not declared",
    why="The tracing found it; the sheet says nothing. The declaration is the cross-check against a slip in the runs.",
    fix="Add the pin under `pins` with what the diagram calls it.",
    bad="parts: {ALM: {is: module, at: floor, cavities: [4]}, BAT: {is: battery, at: bay}, F9: {is: fuse, amps: 10, at: bay}, S1: {is: splice, at: floor}}  # R211\n"
    + EXAMPLE_RUNS,
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def pin_not_declared(tracing: Tracing) -> Iterator[Finding]:
    """An undeclared pin with a supply or ground row."""
    for part in tracing.circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        for pin in pins_found(tracing, part):
            if not pin.declared and pin.kind in ("supply", "ground"):
                at = f"{part.name}.{pin.pin}"
                yield Finding(
                    part.place,
                    at,
                    f"{at} reaches {'a source' if pin.supply else 'ground'}, but is not declared",
                    f"Add `{pin.pin}: {pin.kind}` under `pins` of {part.name}; `{pin.pin}: signal` where it only listens there.",
                    module=part.name,
                )


@rule(
    "R212",
    "supply over a position that is not fitted",
    why="The only way to a declared supply leads over a position typed in as empty or as an option, so it is dead in every key state. Where the vehicle has the option, its fuse is missing.",
    fix="See whether this vehicle has the equipment: if so, its fuse is missing, and it is to be typed as `state: fitted`.",
    bad=EXAMPLE_PLACED.replace("amps: 10", "amps: 10, state: option") + "}  # R212\n" + EXAMPLE_RUNS,
    good=EXAMPLE_PLACED + "}\n" + EXAMPLE_RUNS,
)
def supply_over_a_gap(tracing: Tracing) -> Iterator[Finding]:
    """A declared supply that is never live because a position on its only way is not fitted."""
    circuit, states = tracing.circuit, tracing.states
    for part in circuit.modules():
        for pin in pins_found(tracing, part):
            if pin.role != "supply" or not pin.supply or pin.node is None:
                continue
            if any(states.supply_level(pin.node, key) is not Level.DEAD for key in states.keys):
                continue
            if names := gaps_on(circuit, tracing.supply_ways(part.name).to(pin.node)):
                at = f"{part.name}.{pin.pin}"
                message = (
                    f"{at} is declared a supply, but its only way leads over {', '.join(names)}, which is typed in as not fitted: "
                    "dead in every key state"
                )
                yield Finding(part.place_of("pins", pin.pin, key=True), at, message, "", module=part.name)
