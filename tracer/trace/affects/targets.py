"""What a name means as something that opens: a part, a position, a panel, a rail, a pin with its wires, a cavity."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from tracer.circuit.model import Circuit, LinkKind, PartKind
from tracer.entry.models import ConnectorFacts
from tracer.entry.problems import CannotAnswer, listed, natural, nearest
from tracer.trace.affects.still_fed import Opened, opened_at_pin
from tracer.trace.kinds import PARTS, no_fuse
from tracer.trace.panels.labels import position_in


class UnknownPart(CannotAnswer, LookupError):
    """There is no such part, or it has no such pin; the message says which names are near."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is opened, in words. `parts` are the parts it stands for (a panel stands for all its positions)."""

    name: str
    kind: str
    parts: tuple[str, ...]
    opened: Opened
    words: str
    notes: tuple[str, ...] = ()


def part_named(circuit: Circuit, name: str) -> tuple[str, ...]:
    """The parts that a name means: a part, a position (`F9`, `FPC/F9`), both elements of a three-tab fuse, all positions of a panel.

    Raises
    ------
    UnknownPart : no such part, or a label that several panels have
    """
    if name in circuit.parts:
        if circuit.parts[name].kind is not PartKind.PANEL:
            return (name,)
        return (name, *(part.name for part in circuit.parts.values() if part.panel == name))
    if name in circuit.short_names:
        return (circuit.short_names[name],)
    elements = tuple(part.name for part in circuit.parts.values() if part.facts.said("body") == name)
    if elements:
        return elements
    several = [full for full in circuit.short_names if full.endswith(f"/{name}")]
    if several:
        raise UnknownPart(f"{name} is a position in several panels: write {listed(several)}.")
    known = [*circuit.parts, *circuit.typed.vehicle.rails]
    near = nearest(name, known, most=3)
    raise UnknownPart(f"there is no part {name}." + (f" Did you mean {listed(near)}?" if near else ""))


def target_of(circuit: Circuit, name: str, pin: str | None = None) -> Target:
    """What `name`, or a pin of it, means as something that opens.

    A fuse, relay, switch, diode, strap or load opens between its pins; a connector between its halves; at a splice, a ground point or a rail every wire comes off; a
    module, box, converter, battery or generator is unplugged. A pin (`ALM`, `3`; or `ALM.3` as the name) stands for the contact there with its wires.

    Raises
    ------
    UnknownPart : no such part or pin
    """
    if pin is None and name not in circuit.parts and name not in circuit.short_names and "." in name:
        before, _, after = name.partition(".")
        if before in circuit.parts or before in circuit.short_names:
            name, pin = before, after
    if pin is not None:
        return _pin_target(circuit, name, pin)
    if name in circuit.typed.vehicle.rails and name not in circuit.parts:
        node = circuit.node_of_point[name, ""]
        return Target(name, "rail", (), _opened_node(circuit, [node]), f"rail {name} dead, everything on it apart")
    parts = part_named(circuit, name)
    kind = circuit.parts[parts[0]].kind if len(parts) == 1 else "panel" if name in circuit.parts else "fuse"
    nodes: list[int] = []
    links: set[int] = set()
    wanted = set(parts)
    for part in parts:
        if PARTS[circuit.parts[part].kind].comes_off:
            nodes += circuit.pins_of.get(part, {}).values()
    for number, link in enumerate(circuit.links):
        if link.part in wanted and link.kind not in (LinkKind.MEETS, LinkKind.RAIL):
            links.add(number)
    at = _opened_node(circuit, nodes)
    opened = Opened(frozenset(links) | at.links, at.nodes)
    return Target(name, kind, parts, opened, _words(circuit, name, kind, parts), tuple(_target_notes(circuit, parts)))


def _pin_target(circuit: Circuit, name: str, pin: str) -> Target:
    parts = part_named(circuit, name)
    if len(parts) > 1:
        raise UnknownPart(f"{name} stands for {listed(parts, joiner='and')}: name one of them.")
    part = circuit.parts[parts[0]]
    pins = circuit.pins_of.get(part.name, {})
    if isinstance(part.facts, ConnectorFacts):
        return _cavity_target(circuit, part.name, part.facts, pin, pins)
    if pin not in pins:
        known = sorted((one for one in pins if one and not one.startswith("group ")), key=natural)
        hint = f" Wired pins: {listed(known, most=24, joiner='and')}." if known else f" Name {part.name} alone."
        raise UnknownPart(f"{part.name} has no pin {pin} that is wired.{hint}")
    opened = opened_at_pin(circuit, pins[pin])
    wires = [
        circuit.wire_of(circuit.links[n]).text for n in sorted(opened.links) if circuit.links[n].kind is LinkKind.WIRE
    ]
    words = f"{part.name}.{pin} open" + (
        f": wire {' and wire '.join(wires)}" if wires else ": what is attached there comes off"
    )
    return Target(f"{part.name}.{pin}", "pin", (part.name,), opened, words)


def _cavity_target(circuit: Circuit, name: str, facts: ConnectorFacts, pin: str, pins: Mapping[str, int]) -> Target:
    for node in pins.values():
        if circuit.node_names[node] == f"{name}.{pin}":
            words = f"{circuit.node_names[node]}: the wire there open"
            return Target(circuit.node_names[node], "pin", (name,), opened_at_pin(circuit, node), words)
    cavity, _, half = pin.partition(":")
    a_of_b = {b: a for a, b in facts.mates.items()}
    if half not in ("", "a", "b"):
        raise UnknownPart(
            f"a connector has the halves a and b: write {name} {cavity}:a, or where the half leads, as lists show it."
        )
    a, arrow, b = cavity.partition(">")
    if not arrow and not half and (facts.mates.get(a, a) != a or a_of_b.get(a, a) != a):
        choices = [f"{one}>{facts.mates[one]}" for one in dict.fromkeys((a, a_of_b.get(a, a))) if one in facts.mates]
        raise UnknownPart(f"{name}: the halves number their cavities differently; write {listed(choices)}.")
    if half == "b":
        a = a_of_b.get(cavity, cavity)
    if f"{a}:a" not in pins or (arrow and facts.mates.get(a, a) != b):
        raise UnknownPart(f"{name} has no cavity {pin} that is wired.")
    first, second = pins[f"{a}:a"], pins[f"{a}:b"]
    if half:
        if not circuit.is_told(first):
            names = [f'{name} "{circuit.node_names[node].removeprefix(f"{name}.")}"' for node in (first, second)]
            raise UnknownPart(f"nothing says which half of {name} is a: write {listed(names)}.")
        shown = circuit.node_names[first if half == "a" else second]
        return _cavity_target(circuit, name, facts, shown.removeprefix(f"{name}."), pins)
    mating = {
        n for n in circuit.at[first] if circuit.links[n].kind is LinkKind.MATING and circuit.links[n].part == name
    }
    shown = circuit.contact_name(first, second)
    return Target(shown, "cavity", (name,), Opened(frozenset(mating)), f"{shown}: contact between the two halves open")


def _opened_node(circuit: Circuit, nodes: Iterable[int]) -> Opened:
    nodes = frozenset(nodes)
    return Opened(frozenset(number for node in nodes for number in circuit.at[node]), nodes)


def _words(circuit: Circuit, name: str, kind: str, parts: tuple[str, ...]) -> str:
    if kind == "panel":
        return f"panel {name} dead: every position and busbar in it open"
    if len(parts) > 1:
        return f"{name}: both elements open ({listed(parts, joiner='and')})"
    words = {
        "fuse": "open (blown, missing or without contact)",
        "link": "open (melted or without contact)",
        "breaker": "open (tripped)",
        "relay": "pulled, or its contacts and coil open",
        "connector": "unplugged",
        "joint": "open: its cavities apart",
        "splice": "open: every wire of it apart",
        "ground": "off: every eyelet of it apart",
        "strap": "open",
        "module": "unplugged",
        "box": "unplugged",
        "converter": "unplugged",
        "battery": "off",
        "generator": "off",
    }
    return f"{kind} {name} {words.get(kind, 'open')}"


def _target_notes(circuit: Circuit, parts: Iterable[str]) -> Iterator[str]:
    for name in parts:
        part = circuit.parts[name]
        state = part.facts.said("state")
        if state == "empty":
            yield f"{name} must be empty: nothing is lost by opening it"
        elif state == "option":
            yield f"{name} is an option that is not fitted here: nothing is lost by opening it"
        elif state == "none":
            yield no_fuse([name])
        if part.kind is PartKind.GROUND:
            yield (
                f"taken as every eyelet of {name} apart; where only the stack of eyelets lifts from the metal, the eyelets still touch each other, "
                "and current goes back through a neighbour"
            )


def either_partners(circuit: Circuit, parts: Iterable[str]) -> frozenset[str]:
    """The other position of an either-or pair: while a fuse sits here, that one is empty."""
    asked = set(parts)
    found = set()
    for name, part in circuit.parts.items():
        other = part.facts.said("or_")
        if other is None:
            continue
        partner = position_in(circuit, part.panel, other)
        if partner is not None:
            found |= ({partner} if name in asked else set()) | ({name} if partner in asked else set())
    return frozenset(found - asked)
