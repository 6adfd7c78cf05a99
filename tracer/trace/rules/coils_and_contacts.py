"""Coils and contacts: open ends, supply on both ends, no ground, shorts between rails, relays that never settle."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import SWITCHED, Part
from tracer.circuit.open_ends import open_coils, open_contacts
from tracer.circuit.states import Level
from tracer.entry.problems import natural
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, rule
from tracer.trace.tracing import Tracing


@rule(
    "L110",
    "contact with one side unknown",
    why="A switch or relay lies on the way, and what is on its other side is not typed in. A supply may come from there.",
    fix="Type in the run to the open pin; for a pin that really is not used, list it under `unused` of the relay.",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}  # L110\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
    good=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def contact_open(tracing: Tracing) -> Iterator[Finding]:
    """A pin of a contact that nothing is wired to, while its partner is wired and has no other wired partner."""
    circuit = tracing.circuit
    for name, pin, node in sorted(open_contacts(circuit), key=lambda found: (found[0], natural(found[1]))):
        part = circuit.parts[name]
        message = f"{name}.{pin} is one side of a contact whose other side is wired; what is behind it is not typed in"
        yield Finding(part.place, f"{name}.{pin}", message, "", (node,), (name,))


@rule(
    "L111",
    "relay coil not typed in",
    why="A relay's contact is used, but what pulls it in is not known: coil supply, coil ground and its driver must be proven too.",
    fix="Type in the runs to both coil pins.",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}  # L111\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n",
    good=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_open(tracing: Tracing) -> Iterator[Finding]:
    """A coil pin without a wire."""
    circuit = tracing.circuit
    for name, missing in open_coils(circuit).items():
        pins = circuit.pins_of[name]
        names = " and ".join(f"{name}.{pin}" for pin in missing)
        message = f"the coil of {name} is not typed in: nothing is wired to {names}"
        yield Finding(circuit.parts[name].place, names, message, "", tuple(pins[pin] for pin in missing), (name,))


@rule(
    "L127",
    "coil with supply on both ends",
    why="A coil with supply on both ends and ground on neither never pulls in: one of its wires is typed wrong, or a ground switch is missing.",
    fix="Check the runs to both coil pins, and the driver that should pull one of them to ground.",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}  # L127\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.+ -- RD 1 -- K1.85\n",
    good=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_supplied_twice(tracing: Tracing) -> Iterator[Finding]:
    """Both coil pins reach a source and neither reaches ground."""
    for part, (a, b), nodes in _coils(tracing):
        supply, ground = tracing.supply_ways(), tracing.ground_ways()
        if all(supply.reached(node) for node in nodes) and not any(ground.reached(node) for node in nodes):
            yield Finding(
                part.place,
                f"{part.name}.{a}, {part.name}.{b}",
                f"both ends of the coil of {part.name} reach a source, neither reaches ground",
                "",
                nodes,
                (part.name,),
            )


@rule(
    "L128",
    "coil without supply or ground",
    why="The coil is wired, but one of its wires reaches neither supply nor ground: what must pull the relay in is not known.",
    fix="Follow the wires of both coil pins further; say what the module's output that switches it does (`outputs`).",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}, S2: splice}  # L128\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- S1 -- BN 1 -- K1.85\n- S1 -- BN 1 -- S2\n- S1 -- BN 2 -- S2\n",
    good=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_reaches_nothing(tracing: Tracing) -> Iterator[Finding]:
    """A fully wired coil that misses supply or ground."""
    circuit = tracing.circuit
    supply, ground = tracing.supply_ways(), tracing.ground_ways()
    for part, (a, b), nodes in _coils(tracing):
        if not all(circuit.is_attached(node) for node in nodes):
            continue
        has_supply, has_ground = (
            any(supply.reached(node) for node in nodes),
            any(ground.reached(node) for node in nodes),
        )
        if (has_supply and has_ground) or all(supply.reached(node) for node in nodes):
            continue
        missing = (
            "neither supply nor ground reaches it"
            if not has_supply and not has_ground
            else "no supply reaches it"
            if not has_supply
            else "no ground reaches it"
        )
        yield Finding(
            part.place,
            f"{part.name}.{a}, {part.name}.{b}",
            f"the coil of {part.name}: {missing}",
            "",
            nodes,
            (part.name,),
        )


def _coils(tracing: Tracing) -> Iterator[tuple[Part, tuple[str, str], tuple[int, int]]]:
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if circuit.is_not_fitted(part.name):
            continue
        for a, b in part.coils:
            pins = circuit.pins_of[part.name]
            yield part, (a, b), (pins[a], pins[b])


@rule(
    "L130",
    "circuit without a stable state",
    why="A relay that opens its own coil circuit chatters. On a vehicle that is a buzzer or a fault; on paper it is usually a slip.",
    fix="Check which contact (make or break) feeds the coil.",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally closed}}  # L130\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- K1.30\n- K1.87a -- RD 1 -- K1.86\n- K1.85 -- BN 1 -- BAT.-\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def no_stable_state(tracing: Tracing) -> Iterator[Finding]:
    """Relays for which no key state settles."""
    circuit = tracing.circuit
    found: dict[str, list[str]] = {}
    for key, settled in tracing.states.settled.items():
        for name in settled.unstable:
            found.setdefault(name, []).append(key)
    for name, keys in found.items():
        part = circuit.parts[name]
        message = f"relay {name} has no stable state in {', '.join(keys)}: it opens its own coil circuit"
        yield Finding(part.place, name, message, "", tuple(circuit.pins_of[name].values()), (name,))


@rule(
    "L135",
    "contacts join supply and ground in a key state",
    why="When these contacts close, a source and ground meet without a load: a fuse blows, or a run or a contact table is typed wrong. Levels in that state prove nothing.",
    fix="Check the contact tables and the runs at these contacts.",
    bad=EXAMPLE_PARTS
    + ", SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}  # L135\nruns:\n"
    + "- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- SX.1\n- SX.2 -- BN 1 -- BAT.-\n",
    good=EXAMPLE_PARTS
    + ", E1: load, SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}\nruns:\n"
    + "- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def contacts_short(tracing: Tracing) -> Iterator[Finding]:
    """Closed contacts and outputs between nets that have both supply and ground for certain (conductors alone: L118)."""
    if tracing.shorted:
        return
    circuit, states = tracing.circuit, tracing.states
    found: dict[tuple[str, ...], list[str]] = {}
    nodes: dict[str, set[int]] = {}
    for key, settled in states.settled.items():
        nets = set(settled.shorts)
        closed = set()
        for link in circuit.links if nets else ():
            if link.kind not in SWITCHED or not {states.nets.of[link.a], states.nets.of[link.b]} <= nets:
                continue
            if states.conducts(link, settled) is Level.LIVE:
                closed.add(link.part)
                nodes.setdefault(link.part, set()).update((link.a, link.b))
        if closed:
            found.setdefault(tuple(sorted(closed, key=natural)), []).append(key)
    for names, keys in found.items():
        verb = "joins" if len(names) == 1 else "join"
        message = f"{' and '.join(names)} {verb} supply and ground without a load in {', '.join(keys)}"
        at = tuple(sorted(node for name in names for node in nodes[name]))
        yield Finding(circuit.parts[names[0]].place, ", ".join(names), message, "", at, names)
