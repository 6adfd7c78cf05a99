"""A bus as typed in: its lines, the modules on them, and where both lines can be touched."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Circuit, LinkKind
from tracer.electrics.bus.values import Access, BusNode
from tracer.entry.file_models import BusFacts
from tracer.entry.problems import natural
from tracer.trace.bus_pins import lines_typed, pins_by_role
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing


def bus_names(circuit: Circuit) -> list[str]:
    """Every bus: those of vehicle.yaml, then those that only pins name."""
    names = dict.fromkeys(circuit.typed.vehicle.buses)
    names |= dict.fromkeys(bus for bus, _, _, _ in pins_by_role(circuit))
    return list(names)


class BusLines:
    """The lines of a bus as typed in, with what was found wrong with them (`problems`) and what is worth a note.

    Attributes
    ----------
    pins : (module, pin) of each line
    nodes : the modules
    nets : all nodes of each line
    """

    def __init__(self, tracing: Tracing, name: str) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.name = name
        self.facts = self.circuit.typed.vehicle.buses.get(name) or BusFacts()
        self.problems: list[str] = []
        self.notes: list[str] = []
        self.pins = self._pins()
        self.nodes = self._nodes()
        self.nets = self._nets()

    def _pins(self) -> dict[str, list[tuple[str, str]]]:
        """Module pins by line."""
        found: dict[str, list[tuple[str, str]]] = {}
        for line, module, pin in lines_typed(self.circuit, self.name):
            found.setdefault(line, []).append((module, pin))
        for bus, line, module, pin in pins_by_role(self.circuit):
            if bus == self.name and (module, pin) not in [one for pins in found.values() for one in pins]:
                found.setdefault(line, []).append((module, pin))
        return found

    def _nodes(self) -> list[BusNode]:
        modules: dict[str, dict[str, list[int]]] = {}
        for line, pins in self.pins.items():
            for module, pin in pins:
                node = self.circuit.pins_of.get(module, {}).get(pin)
                if node is None:
                    self.problems.append(f"{module}.{pin} is not wired")
                    continue
                modules.setdefault(module, {}).setdefault(line, []).append(node)
        names = self.circuit.node_names
        return [
            BusNode(
                module,
                {line: tuple(dict.fromkeys(here)) for line, here in pins.items()},
                {line: ", ".join(names[node] for node in dict.fromkeys(here)) for line, here in pins.items()},
            )
            for module, pins in modules.items()
        ]

    @property
    def net_of(self) -> list[int]:
        """The net of each node; unlike the nets of the tracing, what a module bridges inside itself is one."""
        return self.tracing.once(_net_of)

    def _nets(self) -> dict[str, frozenset[int]]:
        """All nodes of each line."""
        of = self.net_of
        found: dict[str, frozenset[int]] = {}
        for line in self.pins:
            nets: dict[int, dict[str, None]] = {}
            for node in self.nodes:
                for pin in node.pins.get(line, ()):
                    nets.setdefault(of[pin], {})[node.module] = None
            if len(nets) > 1:
                pieces = "; ".join(", ".join(modules) for modules in nets.values())
                self.problems.append(f"line {line} is in {len(nets)} pieces that no wire joins: {pieces}")
            found[line] = frozenset(node for net in nets for node in self.tracing.once(_nodes_of_net)[net])
        return found

    def loose_ends(self) -> Iterator[str]:
        """Loose ends on the lines: beyond them more modules and terminations may hang."""
        nodes = frozenset[int]().union(*self.nets.values())
        for finding in loose_ends(self.tracing):
            if finding.module == "*":  # a page that is not read or not typed in
                yield f"loose end {finding.code}: {finding.message}; what is drawn there is in no reading"
            elif nodes & set(finding.nodes):
                yield f"loose end {finding.code} at {finding.at}: {finding.message}; what hangs there is in no reading"

    def not_declared(self) -> Iterator[str]:
        """Module pins on a line that nothing calls a pin of this bus: that module is a node, and would be missing among them."""
        declared = {pin for pins in self.pins.values() for pin in pins}
        for line, nodes in self.nets.items():
            on_line = {self.circuit.node_parts[node] for node in nodes}
            for part in (part for part in self.circuit.modules() if part.name in on_line):
                for pin, node in self.circuit.pins_of.get(part.name, {}).items():
                    if node in nodes and (part.name, pin) not in declared:
                        yield f"{part.name}.{pin} lies on line {line}, but is not declared `bus {self.name} {line}`: it is missing among the modules"

    @property
    def two(self) -> bool:
        """Whether there are two lines with a wire on each, between which a resistance can be read."""
        return bool(self.nets.get("H") and self.nets.get("L"))

    @property
    def touch(self) -> bool:
        """Whether both lines are one conductor."""
        return bool(self.nets["H"] & self.nets["L"])

    def accesses(self) -> Iterator[Access]:
        """Where both lines can be touched: at the modules first."""
        groups: dict[tuple[str, str], dict[str, list[int]]] = {}
        for line in ("H", "L"):
            for node in self.nets.get(line, ()):
                part = self.circuit.part_at(node)
                if part is None or not self.tracing.is_probe_point(node):
                    continue
                half = self.circuit.node_pins[node][-1] if part.kind is PartKind.CONNECTOR else ""
                groups.setdefault((part.name, half), {}).setdefault(line, []).append(node)
        modules = {node.module for node in self.nodes}
        order = sorted(groups, key=lambda key: (key[0] not in modules, natural(key[0]), key[1]))
        for name, half in order:
            group = groups[name, half]
            if len(group) < 2:
                continue
            part = self.circuit.parts[name]
            high, low = (sorted(group[line], key=lambda n: natural(self.circuit.node_names[n])) for line in ("H", "L"))
            if part.kind is PartKind.JOINT:
                yield Access(name, name, high[0], low[0])
            elif len(high) == len(low):
                for a, b in zip(high, low, strict=True):
                    yield Access(self._access_name(part.kind, name, a, b), name, a, b, name if name in modules else "")

    def touched(self, line: str) -> Iterator[int]:
        """Where one line can be touched, the modules first; of a joint one place."""
        modules, seen = {node.module for node in self.nodes}, set[str]()
        parts, names = self.circuit.node_parts, self.circuit.node_names
        for node in sorted(self.nets.get(line, ()), key=lambda n: (parts[n] not in modules, natural(names[n]))):
            part = self.circuit.part_at(node)
            if part is not None and self.tracing.is_probe_point(node) and part.name not in seen:
                yield node
                seen |= {part.name} if part.kind is PartKind.JOINT else set()

    def _access_name(self, kind: str, name: str, a: int, b: int) -> str:
        names = [self.circuit.node_names[node].partition(".")[2].partition(",")[0] for node in (a, b)]
        if kind == "connector":
            ways = [self.circuit.node_names[node].partition(", ")[2] for node in (a, b)]
            return f"{name}.{names[0]}/{names[1]}, " + " / ".join(dict.fromkeys(ways))
        return f"{name}.{names[0]}/{names[1]}" if all(names) else name


def _net_of(tracing: Tracing) -> list[int]:
    of = list(tracing.hard_nets.of)
    for link in tracing.circuit.links:
        if link.kind is LinkKind.JOINED and of[link.a] != of[link.b]:
            old, new = of[link.a], of[link.b]
            of = [new if net == old else net for net in of]
    return of


def _nodes_of_net(tracing: Tracing) -> dict[int, list[int]]:
    nodes: dict[int, list[int]] = {}
    for node, net in enumerate(tracing.once(_net_of)):
        nodes.setdefault(net, []).append(node)
    return nodes
