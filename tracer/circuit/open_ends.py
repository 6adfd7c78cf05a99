"""Where the circuit leads on to something that is not typed in: supply or ground may come from there, so nothing behind it is known to be dead."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.flood import flood
from tracer.circuit.kinds import CONDUCTORS, PARTS, LinkKind, PartKind
from tracer.circuit.model import Circuit, Part
from tracer.circuit.parts import joined_inside
from tracer.entry.models import BoxFacts, ConverterFacts, RelayFacts, SwitchFacts
from tracer.entry.problems import natural
from tracer.entry.scalars import NO_FUSE_BELONGS

_LIVE_WHILE_TURNING = ("D+", "61")  # beside B+, which is a source; all others may as well take as give


def open_ends(circuit: Circuit) -> dict[int, str]:
    """Each node at which something unknown may be joined, and what that is in words."""
    found: dict[int, str] = {}
    for end in circuit.references:
        if end.node not in circuit.partner:
            found[end.node] = f"what comes over {circuit.node_names[end.node]}"
    for node, (run, _) in circuit.unknown_ends.items():
        found[node] = f"where the run `{circuit.runs[run].text}` leads"
    for link in circuit.links:
        if link.kind is LinkKind.MATING:
            attached = [circuit.is_attached(node) for node in (link.a, link.b)]
            if attached[0] != attached[1]:
                node = link.b if attached[0] else link.a
                found[node] = f"what is behind {circuit.node_names[node]}"
        elif link.kind is LinkKind.FUSE:
            fitted = circuit.parts[link.part].facts.said("state") not in NO_FUSE_BELONGS
            if fitted and circuit.is_attached(link.b) and not circuit.is_attached(link.a):
                found[link.a] = f"what feeds {link.part}"
    for name, pin, node in _turning(circuit):
        found[node] = f"what {name}.{pin} gives"
    for name, pin, node in open_contacts(circuit):
        found[node] = f"what is behind {name}.{pin}"
    for one, pin, node in unknown_insides(circuit):
        found[node] = (
            f"what {one.name} is" if one.undeclared else f"what {one.name}.{pin} is joined with inside {one.name}"
        )
    return found


def _turning(circuit: Circuit) -> Iterator[tuple[str, str, int]]:
    """Terminals of generators that are live while they turn, and of which no rail says when that is: part, pin, node."""
    ends = {end.node for end in circuit.sources}
    for part in circuit.parts.values():
        for pin, node in circuit.pins_of.get(part.name, {}).items() if part.kind is PartKind.GENERATOR else ():
            if pin in _LIVE_WHILE_TURNING and ends.isdisjoint(flood(circuit, [node], CONDUCTORS)):
                yield part.name, pin, node


def unknown_insides(circuit: Circuit) -> Iterator[tuple[Part, str, int]]:
    """Pins in use of which nobody knows what they are joined with inside their part: part, pin, node.

    All pins of a box and of a relay or switch whose contacts are not given, but those of known contacts and coils; the pins of a switch that no contact
    joins, unless another part (its lamp) is typed in as sitting on them; the own 0 V output of a converter of which it is not said what it is.
    """
    for part in circuit.parts.values():
        nodes = circuit.pins_of.get(part.name, {})
        if isinstance(part.facts, ConverterFacts):
            pins = {"return"} if part.facts.return_ == "unknown" else set()
        elif isinstance(part.facts, SwitchFacts | RelayFacts | BoxFacts):
            pins = nodes.keys() - joined_inside(part)
        else:
            continue
        for pin in sorted(pins, key=natural):
            if circuit.is_attached(nodes[pin]) and (part.inside_unknown or not _has_guest(circuit, nodes[pin])):
                yield part, pin, nodes[pin]


def _has_guest(circuit: Circuit, node: int) -> bool:
    """Whether another part sits directly on a pin."""
    links = (circuit.links[number] for number in circuit.at[node])
    return any(link.kind is LinkKind.MEETS and link.part != circuit.node_parts[node] for link in links)


def open_contacts(circuit: Circuit) -> Iterator[tuple[str, str, int]]:
    """Contact pins without a wire whose partner is wired and has no other wired partner: part, pin, node."""
    for part in circuit.parts.values():
        if not PARTS[part.kind].moves or circuit.is_not_fitted(part.name):
            continue
        pins = circuit.pins_of.get(part.name, {})
        unused = part.facts.unused if isinstance(part.facts, RelayFacts) else ()
        partners: dict[str, set[str]] = {}
        for groups in (groups for lever in part.levers.values() for groups in lever.contacts.values()):
            for group in groups:
                for pin in group:
                    partners.setdefault(pin, set()).update(other for other in group if other != pin)
        wired = {pin for pin in partners if circuit.is_attached(pins[pin])}
        for pin in wired:
            if not partners[pin] & wired:
                for other in partners[pin]:
                    if other not in unused:
                        yield part.name, other, pins[other]


def open_coils(circuit: Circuit) -> dict[str, list[str]]:
    """Relays that are in use but whose coil is not wired on both sides, with the coil pins that are missing."""
    found: dict[str, list[str]] = {}
    for part in circuit.parts.values():
        if part.kind is PartKind.RELAY and part.coils and not circuit.is_not_fitted(part.name):
            pins = circuit.pins_of[part.name]
            missing = [pin for coil in part.coils for pin in coil if not circuit.is_attached(pins[pin])]
            if missing and any(circuit.is_attached(node) for node in pins.values()):
                found[part.name] = missing
    return found
