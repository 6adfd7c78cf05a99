"""The second count: from each pin every way up to a source is walked, one after the other, and what is met is held against the rows.

It shares nothing with the ways of `trace/ways/` but the circuit, not even what each kind of link is (`second_table.py`), so that a slip in one does not hide in the other. What hangs on the rest of the circuit by one link only cannot
lie between a source and anything but itself. Such leaves are taken off again and again; what is left (rings, and what joins sources) is small in a real vehicle. From a pin
there is one way up to it, and within it the ways are few enough to be walked. A walk keeps the positions in which all its contacts are closed, and turns back when there are none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tracer.circuit.kinds import Link, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.standards.terminals import meaning
from tracer.trace.lists.second_table import IN_MODULE, joined, that_are

MOST_STEPS = 50_000  # links looked at from one pin: beyond that its ways are not all walked

_ONE_WAY = {level: that_are("diode", f"output to {level}") for level in ("supply", "ground")}
_EITHER_WAY = that_are("metal", "strap", "mass", "fuse", "bridge in a module", "contact")

_Positions = Mapping[str, frozenset[str]]  # what is switched, and where it may be for all contacts so far to be closed


@dataclass(frozen=True, slots=True)
class Counted:
    """The ways from one pin to a source (or to ground): the fuses on them, None where there is no way; `all_walked` tells whether they are all of them."""

    fuses: frozenset[str] | None
    all_walked: bool = True


class SecondCount:
    """Counts what is above the pins of one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._levels: dict[str, _Level] = {}

    def above(self, pin: int, level: str, module: str) -> Counted:
        """The ways from a pin to a source, or to ground, nothing inside `module` passed."""
        if level not in self._levels:
            self._levels[level] = _Level(self._circuit, level)
        return self._levels[level].above(pin, module)


class _Level:
    """Supply or ground: its ends, what none of its ways touches, and the ways once they were walked."""

    def __init__(self, circuit: Circuit, level: str) -> None:
        self.circuit, self.level = circuit, level
        sources = frozenset(end.node for end in circuit.sources)
        grounds = frozenset(end.node for end in circuit.grounds)
        if level == "supply":
            self.ends = sources
            self.stops = frozenset(node for node in sources if self._always_live(node))
            self.barred = joined(circuit, grounds) - joined(circuit, sources)
        else:
            self.ends = self.stops = grounds
            self.barred = joined(circuit, sources) - joined(circuit, grounds)
        self._carries = _EITHER_WAY | _ONE_WAY[level]
        self._kept, self._way_up = self._without_leaves()
        # A way that comes to an end looks at no link that leads out of what is kept, and only a module with links inside of it matters to a walk.
        self._at: dict[int, list[int]] = {}
        self._insides = set[str]()
        for number, link in enumerate(circuit.links):
            if link.kind in self._carries and link.a != link.b and self._kept[link.a] and self._kept[link.b]:
                self._at.setdefault(link.a, []).append(number)
                self._at.setdefault(link.b, []).append(number)
                if link.kind in IN_MODULE:
                    self._insides.add(link.part)
        self._counted: dict[tuple[int, str, tuple[tuple[str, frozenset[str]], ...]], Counted] = {}

    def above(self, pin: int, module: str) -> Counted:
        """The ways up from a pin: first over what hangs by one link, then within what is kept."""
        node, positions, fuses = pin, dict[str, frozenset[str]](), set[str]()
        if node in self.barred:
            return Counted(None)
        while not self._kept[node]:
            number = self._way_up[node]
            if number < 0:
                return Counted(None)
            link = self.circuit.links[number]
            left = self._step(link, node, module, positions)
            if left is None:
                return Counted(None)
            positions |= left
            if link.kind is LinkKind.FUSE:
                fuses.add(link.part)
            node = self.circuit.other(link, node)
        module = module if module in self._insides else ""
        key = (node, module, tuple(sorted(positions.items())))
        if key not in self._counted:
            self._counted[key] = self._walk(node, module, positions)
        found = self._counted[key]
        return Counted(None if found.fuses is None else found.fuses | fuses, found.all_walked)

    def _walk(self, start: int, module: str, positions: _Positions) -> Counted:
        """Every way from a node to a source within what is kept, no node met twice."""
        circuit = self.circuit
        found: set[str] | None = None
        passed = {start}
        path: list[Link] = []
        held: list[_Positions] = [positions]
        stack: list[tuple[int, Iterator[int]]] = []
        steps = 0
        node = start
        while True:
            if not stack or stack[-1][0] != node:  # a node come upon
                if node in self.ends:
                    found = (found or set()) | {link.part for link in path if link.kind is LinkKind.FUSE}
                stack.append((node, iter(() if node in self.stops else self._at.get(node, ()))))
            number = next(stack[-1][1], None)
            if number is None:
                stack.pop()
                passed.discard(node)
                held.pop()
                if not stack:
                    return Counted(None if found is None else frozenset(found))
                path.pop()
                node = stack[-1][0]
                continue
            steps += 1
            if steps > MOST_STEPS:
                return Counted(None if found is None else frozenset(found), all_walked=False)
            link = circuit.links[number]
            other = circuit.other(link, node)
            if other in passed or other in self.barred:
                continue
            left = self._step(link, node, module, held[-1])
            if left is None:
                continue
            passed.add(other)
            path.append(link)
            held.append({**held[-1], **left})
            node = other

    def _step(self, link: Link, node: int, module: str, positions: _Positions) -> _Positions | None:
        """What going up over a link from a node leaves of the positions; None where there is no going up."""
        if link.kind not in self._carries:
            return None
        if link.kind in _ONE_WAY[self.level] and node != (link.b if self.level == "supply" else link.a):
            return None
        if link.part == module and link.kind in IN_MODULE:
            return None
        if link.kind is not LinkKind.CONTACT:
            return {}
        mover, closed = self._closed(link)
        left = closed & positions.get(mover, closed)
        return {mover: left} if left else None

    def _closed(self, link: Link) -> tuple[str, frozenset[str]]:
        """What moves a contact, and the positions in which it is closed or may be."""
        part = self.circuit.parts[link.part]
        lever = part.levers[link.lever]
        if part.kind is PartKind.RELAY or lever.follows is None:
            return f"part {lever.name}", frozenset(link.closed).union(lever.unknown)
        if lever.follows != "key":
            return f"condition {lever.follows}", frozenset(link.closed).union(lever.unknown)
        keys = self.circuit.typed.vehicle.key
        return "the key", frozenset(key for key in keys if key in link.closed or key not in lever.contacts)

    # --- worked out once ---------------------------------------------------------------------------------------

    def _always_live(self, node: int) -> bool:
        """Whether a source ends every way: a battery post, or a rail that is live in every key state, as typed or by the standard's list."""
        part = self.circuit.part_at(node)
        if part is not None:
            return part.kind is PartKind.BATTERY
        name, keys = self.circuit.node_names[node], set(self.circuit.typed.vehicle.key)
        live = self.circuit.typed.vehicle.rails[name].live
        if live is not None:
            plain = {clause[0][0] for clause in live.clauses or () if len(clause) == 1 and clause[0][1]}
            return () in (live.clauses or ()) or keys <= plain
        terminal = meaning(name)
        if terminal is None or terminal.live is None:
            return False
        return keys <= set(terminal.live) - (set() if terminal.start_certain else {"start"})

    def _without_leaves(self) -> tuple[bytearray, list[int]]:
        """Which nodes are left when leaves that are no source are taken off, and for each of these the link by which it hung (-1: none)."""
        circuit, barred = self.circuit, self.barred
        usable = [
            link.kind in self._carries and link.a != link.b and link.a not in barred and link.b not in barred
            for link in circuit.links
        ]
        count = [0] * len(circuit.node_names)
        for link, use in zip(circuit.links, usable, strict=True):
            if use:
                count[link.a] += 1
                count[link.b] += 1
        kept = bytearray(b"\x01" * len(count))
        way_up = [-1] * len(count)
        leaves = [node for node, links in enumerate(count) if links < 2 and node not in self.ends]
        for node in leaves:
            kept[node] = 0
            for number in circuit.at[node]:
                other = circuit.other(circuit.links[number], node)
                if usable[number] and kept[other]:
                    way_up[node] = number
                    count[other] -= 1
                    if count[other] < 2 and other not in self.ends and kept[other]:
                        leaves.append(other)
        return kept, way_up


__all__ = ["MOST_STEPS", "Counted", "SecondCount"]
