"""What each position of a panel supplies, and where it is fed itself."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.kinds import IN_A_POSITION, SUPPLY_KINDS
from tracer.circuit.model import FUSE_KINDS, Circuit, LinkKind, Part, PartKind
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import natural
from tracer.trace.kinds import CONSUMERS, PARTS, Draws
from tracer.trace.panels.labels import position_in
from tracer.trace.panels.positions import Served
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way

ON_THE_WAY = (SUPPLY_KINDS & IN_A_POSITION) | {
    LinkKind.DRIVER_HIGH
}  # what of a way sits in a panel, or does the work of a fuse


def _either_pairs(circuit: Circuit) -> dict[str, str]:
    """For each position of an either-or pair the label of the other, whichever of the two says so."""
    pairs: dict[str, str] = {}
    for part in circuit.parts.values():
        named = part.facts.said("or_")
        if named is not None:
            pairs[part.name] = named
            partner = position_in(circuit, part.panel, named)
            if partner is not None:
                pairs.setdefault(partner, part.label or part.name)
    return pairs


def feed_node(tracing: Tracing, part: Part) -> int | None:
    """Where a position is fed: the feed side of a fuse, the anode of a diode; else the pin that supply reaches first, of those which a supply may come in and go on at."""
    circuit = tracing.circuit
    pins = circuit.pins_of.get(part.name, {})
    if part.kind in FUSE_KINDS:
        return pins.get("feed")
    if part.kind is PartKind.DIODE:
        return pins.get("A")
    ways = tracing.supply_ways()
    inside = {
        number
        for node in pins.values()
        for number in circuit.at[node]
        if circuit.links[number].kind in SUPPLY_KINDS and circuit.links[number].part == part.name
    }
    for number in sorted(inside):
        link = circuit.links[number]
        for near, far in ((link.a, link.b), (link.b, link.a)):
            way = ways.to(far)
            if way is not None and number in way.links and way.distance.get(near, 1 << 30) < way.distance[far]:
                return near
        for node in (link.a, link.b):
            if ways.to(node) is not None:
                return node
    return None


def fuses_above(circuit: Circuit, way: Way | None) -> list[str]:
    """The fuses on a way, from the source down."""
    if way is None:
        return []
    found = {
        circuit.links[number].part: max(way.distance[circuit.links[number].a], way.distance[circuit.links[number].b])
        for number in way.links
        if circuit.links[number].kind is LinkKind.FUSE
    }
    return sorted(found, key=lambda name: (found[name], name))


class Below:
    """For every fuse and relay what it supplies: each consumer is traced to its source once, and put down to every fuse and contact on its ways."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self.circuit = circuit = tracing.circuit
        serves: dict[str, dict[Served, None]] = {}
        self.covered: dict[str, dict[str, set[str]]] = {}  # fuse -> consumer -> parts between them
        ways = tracing.supply_ways()
        for part, pin, node, declared in self._consumers():
            way = ways.to(node)
            if way is None:
                continue
            drivers = [
                (max(way.distance[link.a], way.distance[link.b]), f"{link.part}.{link.output}")
                for link in (circuit.links[number] for number in way.links)
                if link.kind is LinkKind.DRIVER_HIGH
            ]
            passed = {
                circuit.links[number].part: _depth(circuit, way, number)
                for number in way.links
                if circuit.links[number].part
            }
            for number in way.links:
                link = circuit.links[number]
                if link.kind in ON_THE_WAY:
                    name = f"{link.part}.{link.output}" if link.output else link.part
                    depth = _depth(circuit, way, number)
                    through = tuple(sorted({driver for at, driver in drivers if at > depth}))
                    one = Served(part.name, part.kind, part.facts.name, pin, declared, through)
                    serves.setdefault(name, {})[one] = None
                    between = self.covered.setdefault(name, {}).setdefault(part.name, set())
                    between.update(name for name, at in passed.items() if at > depth)
        self.loose = self._loose()
        self.either = _either_pairs(circuit)
        self.in_panel: dict[str, dict[str, Part]] = {}
        for part in circuit.parts.values():
            if part.panel and part.label:
                self.in_panel.setdefault(part.panel, {})[part.label] = part
        self.serves = {name: tuple(sorted(found, key=_served_order)) for name, found in serves.items()}
        self.next = self._next_positions()

    def _loose(self) -> dict[str, tuple[Finding, ...]]:
        """For each part of a way the loose ends that lie below it: what hangs there is served too, and nobody knows what it is."""
        ways = self.tracing.supply_ways()
        below: dict[str, dict[Finding, None]] = {}
        for finding in loose_ends(self.tracing):
            for node in finding.nodes:
                way = ways.to(node)
                for number in way.links if way is not None else ():
                    link = self.circuit.links[number]
                    if link.kind in ON_THE_WAY:
                        name = f"{link.part}.{link.output}" if link.output else link.part
                        below.setdefault(name, {})[finding] = None
        return {name: tuple(found) for name, found in below.items()}

    def _consumers(self) -> Iterator[tuple[Part, str, int, str]]:
        for part in self.circuit.parts.values():
            draws = PARTS[part.kind].draws
            pins = self.circuit.pins_of.get(part.name, {})
            for pin, node in pins.items() if draws else ():
                if draws is Draws.AS_DECLARED:
                    assert isinstance(part.facts, ModuleFacts)
                    declared = part.facts.pins.get(pin, "")
                    if declared.split(" ")[0] == "output" or not self.circuit.is_attached(node):
                        continue
                    yield part, pin, node, declared
                elif (
                    draws is Draws.AT_EVERY_PIN
                    or (draws is Draws.AT_ITS_COILS and any(pin in coil for coil in part.coils))
                    or (draws is Draws.AT_ITS_INPUT and pin == "in")
                ):
                    yield part, pin, node, ""

    def _next_positions(self) -> dict[str, tuple[str, ...]]:
        """For each fuse the fuses and relay contacts that come next below it."""
        circuit, ways = self.circuit, self.tracing.supply_ways()
        following: dict[str, dict[str, None]] = {}
        for part in circuit.parts.values():
            if part.kind in FUSE_KINDS or (part.kind is PartKind.RELAY and part.panel):
                feed = feed_node(self.tracing, part)
                above = fuses_above(circuit, ways.to(feed)) if feed is not None else []
                above = [name for name in above if name != part.name]
                if above:
                    following.setdefault(above[-1], {})[part.name] = None
        return {name: tuple(sorted(found, key=natural)) for name, found in following.items()}


def _depth(circuit: Circuit, way: Way, number: int) -> int:
    return max(way.distance[circuit.links[number].a], way.distance[circuit.links[number].b])


def _served_order(served: Served) -> tuple[int, list[tuple[int, int, str]], list[tuple[int, int, str]]]:
    return (
        CONSUMERS.index(PartKind(served.kind)) + (10 if served.through else 0),
        natural(served.part),
        natural(served.pin),
    )
