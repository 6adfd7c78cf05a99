"""Where the circuit leads on to something that is not typed in: supply or ground may come from there, so nothing behind it is known to be dead."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import Circuit, LinkKind
from tracer.entry.models import RelayFacts

_NOT_FITTED = ("empty", "option", "none")


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
            fitted = getattr(circuit.parts[link.part].facts, "state", None) not in _NOT_FITTED
            if fitted and circuit.is_attached(link.b) and not circuit.is_attached(link.a):
                found[link.a] = f"what feeds {link.part}"
    for part, pin, node in open_contacts(circuit):
        found[node] = f"what is behind {part}.{pin}"
    return found


def open_contacts(circuit: Circuit) -> Iterator[tuple[str, str, int]]:
    """Contact pins without a wire whose partner is wired and has no other wired partner: part, pin, node."""
    for part in circuit.parts.values():
        if part.kind not in ("relay", "switch") or circuit.is_not_fitted(part.name):
            continue
        pins = circuit.pins_of[part.name]
        unused = part.facts.unused if isinstance(part.facts, RelayFacts) else ()
        partners: dict[str, set[str]] = {}
        for groups in part.contacts.values():
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
        if part.kind == "relay" and not circuit.is_not_fitted(part.name):
            pins = circuit.pins_of[part.name]
            missing = [pin for coil in part.coils for pin in coil if not circuit.is_attached(pins[pin])]
            if missing and any(circuit.is_attached(node) for node in pins.values()):
                found[part.name] = missing
    return found
