"""The two halves of an in-line connector: which wires sit in the same half, and what each half is called.

A run says that its two wires sit in different halves of a cavity, not in which: from its other end it reads the other way round. Which halves of two
cavities belong together follows from where their wires go: to the same splice, the same further connector, the same module or panel. Halves `a` and `b` are told
where a run names them, where `mates` gives each its own number, or where `halves` names harnesses that another connector has too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from tracer.circuit.kinds import BESIDE, HARNESS, PARTS, Link, LinkKind, PartKind
from tracer.circuit.model import Part
from tracer.entry.models import ConnectorFacts
from tracer.entry.problems import listed, natural

_LEADS = BESIDE | {LinkKind.REFERENCE}

Key = tuple[str, str]


@dataclass
class Wiring:
    """What the joiner has found so far: nodes, links, and at which ends of which links the half was left open (`free`: link, end 0 or 1)."""

    parts: Mapping[str, Part]
    names: list[str]
    part_of: Sequence[str]
    pin_of: Sequence[str]
    node_at: Mapping[tuple[str, str], int]
    links: list[Link]
    free: Sequence[tuple[int, int]]


@dataclass
class _Unit:
    """Wires that change their half together: those at one cavity (two cavities where `mates` crosses them).

    `keys`: what they lead to in half a and in half b as they stand now. `told`: something says which half is a and which b.
    """

    connector: str
    ends: list[tuple[int, int]] = field(default_factory=list)
    keys: tuple[dict[Key, None], dict[Key, None]] = field(default_factory=lambda: ({}, {}))
    parent: _Unit | None = None
    told: bool = False
    other_way: bool = False  # against `parent`

    def root(self) -> tuple[_Unit, bool]:
        """The unit that this one goes with, and whether against it."""
        unit, against = self, False
        while unit.parent is not None:
            against ^= unit.other_way
            unit = unit.parent
        return unit, against


def settle_halves(wiring: Wiring) -> frozenset[int]:
    """Put the wires of every in-line connector into halves that belong together; returns the nodes of which it is told whether they are half a or b."""
    return _Halves(wiring).settled()


def harness_pieces(links: Sequence[Link], parts: Mapping[str, Part], part_of: Sequence[str]) -> list[list[int]]:
    """The pieces of harness: the link numbers of wires that splices, joint connectors and references join, and nothing else."""
    at: dict[int, list[int]] = {}
    for number, link in enumerate(links):
        if link.kind in HARNESS:
            at.setdefault(link.a, []).append(number)
            at.setdefault(link.b, []).append(number)
    pieces = []
    seen: set[int] = set()
    gone_through: set[int] = set()
    for first, link in enumerate(links):
        if link.kind is not LinkKind.WIRE or first in seen:
            continue
        seen.add(first)
        piece = [first]
        for number in piece:
            for node in (links[number].a, links[number].b):
                if node in gone_through:
                    continue
                gone_through.add(node)
                part = parts.get(part_of[node])
                if PARTS[part.kind].part_of_harness if part else not part_of[node]:  # not a rail, not a mass
                    new = [other for other in at[node] if other not in seen]
                    seen.update(new)
                    piece += new
        pieces.append(piece)
    return pieces


def leads_to(
    piece: Iterable[int], links: Sequence[Link], parts: Mapping[str, Part], part_of: Sequence[str]
) -> Iterator[Key]:
    """What a piece of harness leads to: splices and joint connectors in it, in-line connectors, and the parts at its ends."""
    for number in piece:
        link = links[number]
        for node in (link.a, link.b):
            part = parts.get(part_of[node])
            if part is None or PARTS[part.kind].many_harnesses:
                continue
            if PARTS[part.kind].part_of_harness:
                yield "1 harness", part.name
            elif part.kind is PartKind.CONNECTOR:
                yield "2 connector", part.name
            else:
                yield "3 part", part.name
                if part.panel:
                    yield "4 panel", part.panel


class _Halves:
    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self.frames: dict[str, _Unit] = {}  # of each connector: what is told to sit in a and in b
        self.units: dict[str, dict[frozenset[str], _Unit]] = {}
        for name, part in wiring.parts.items():
            if part.kind is PartKind.CONNECTOR:
                self.frames[name] = _Unit(name)
                self.units[name] = {}
        part_of, units = wiring.part_of, self.units
        self.at: dict[int, list[int]] = {}  # of the halves of connectors
        for number, link in enumerate(wiring.links):
            for node in (link.a, link.b):
                if part_of[node] in units:
                    self.at.setdefault(node, []).append(number)

    def settled(self) -> frozenset[int]:
        self._gather()
        for name in self.units:
            self._join_by_keys(name)
        while self._tell_by_harness():
            pass
        self._turn()
        return self._told()

    # --- what sits where ---------------------------------------------------------------------------------------

    def _gather(self) -> None:
        wiring = self.wiring
        free = set(wiring.free)
        pieces = harness_pieces(wiring.links, wiring.parts, wiring.part_of)
        piece_of = {number: index for index, piece in enumerate(pieces) for number in piece}
        keys: dict[int, dict[Key, None]] = {}  # by piece, of those that end in a connector
        for (name, pin), node in wiring.node_at.items():
            if name not in self.units:
                continue
            side = "ab".index(pin[-1])
            for number in self.at.get(node, ()):
                link = wiring.links[number]
                if link.kind is LinkKind.MATING:
                    continue
                end = 0 if link.a == node else 1
                unit = self.frames[name]
                if (number, end) in free:
                    unit = self.units[name].setdefault(self._cavities(name, pin[:-2]), _Unit(name))
                    unit.ends.append((number, end))
                index = piece_of.get(number)
                if index is not None:
                    if index not in keys:
                        keys[index] = dict.fromkeys(leads_to(pieces[index], wiring.links, wiring.parts, wiring.part_of))
                    unit.keys[side].update(keys[index])

    def _facts(self, name: str) -> ConnectorFacts:
        facts = self.wiring.parts[name].facts
        assert isinstance(facts, ConnectorFacts)
        return facts

    def _cavities(self, name: str, cavity: str) -> frozenset[str]:
        return frozenset((cavity, self.mirrored(name, cavity)))

    def mirrored(self, name: str, cavity: str) -> str:
        """The cavity of half a that a mating has when its wires change sides: another one where `mates` crosses the two."""
        mates = self._facts(name).mates
        other = mates.get(cavity, cavity)
        return other if mates.get(other) == cavity else cavity

    # --- which halves belong together --------------------------------------------------------------------------

    def _join_by_keys(self, name: str) -> None:
        """Halves whose wires lead to the same place are the same half; what lies nearest is asked first, and what leads there from both halves says nothing."""
        members = [self.frames[name], *self.units[name].values()]
        places: dict[Key, list[tuple[_Unit, int]]] = {}
        void: set[Key] = set()
        for unit in members:
            for side in (0, 1):
                for key in unit.keys[side]:
                    places.setdefault(key, []).append((unit, side))
                    if key in unit.keys[1 - side]:
                        void.add(key)
        for key in sorted(places):
            if key in void or key == ("2 connector", name):
                continue
            (first, side), *others = places[key]
            for unit, other_side in others:
                self._join(first, unit, against=side != other_side)

    @staticmethod
    def _join(one: _Unit, two: _Unit, *, against: bool) -> None:
        (root, way), (other, other_way) = one.root(), two.root()
        if root is other:
            return  # already said by something nearer
        other.parent, other.other_way = root, way ^ other_way ^ against

    # --- a and b -----------------------------------------------------------------------------------------------

    def _is_told(self, unit: _Unit) -> bool:
        return unit.root()[0] is self.frames[unit.connector].root()[0] and self._has_frame(unit.connector)

    def _has_frame(self, name: str) -> bool:
        frame = self.frames[name]
        return frame.told or bool(frame.keys[0] or frame.keys[1])

    def _tell_by_harness(self) -> bool:
        """One round: join with the frame what a harness name settles. A name stands for one harness; it settles a half where another connector has it too."""
        harness_at: dict[Key, dict[str, None]] = {}
        for name, units in self.units.items():
            halves = self._facts(name).halves
            if len(halves) == 2 and halves[0] != halves[1]:
                frame, against = self.frames[name].root()
                for unit in (self.frames[name], *units.values()):
                    root, way = unit.root()
                    if root is frame and self._has_frame(name):
                        for side in (0, 1):
                            for key in unit.keys[side]:
                                if key[0] != "2 connector":
                                    harness_at.setdefault(key, {})[halves[side ^ way ^ against]] = None
        votes: dict[int, tuple[_Unit, dict[bool, None]]] = {}
        for name, units in self.units.items():
            halves = self._facts(name).halves
            if len(halves) != 2 or halves[0] == halves[1]:
                continue
            for unit in units.values():
                if self._is_told(unit):
                    continue
                root, way = unit.root()
                for side, harness in self._said(name, unit, halves, harness_at):
                    votes.setdefault(id(root), (root, {}))[1][(halves[side] != harness) ^ way] = None
        settled = False
        for root, said in votes.values():
            if len(said) == 1:
                frame = self.frames[root.connector]
                frame.told = True
                self._join(frame, root, against=next(iter(said)))
                settled = True
        return settled

    def _said(
        self, name: str, unit: _Unit, halves: Sequence[str], harness_at: Mapping[Key, Iterable[str]]
    ) -> list[tuple[int, str]]:
        """What the nearest places with a harness name say of a unit's halves."""
        found: list[tuple[int, str]] = []
        for level in ("2 connector", "1 harness", "3 part", "4 panel"):
            for side in (0, 1):
                for key in unit.keys[side]:
                    if key[0] != level or key in unit.keys[1 - side]:
                        continue
                    if level == "2 connector":
                        known: Iterable[str] = self._facts(key[1]).halves if key[1] != name else ()
                        shared = [harness for harness in halves if harness in known]
                    else:
                        shared = list(harness_at.get(key, ()))
                        if len(shared) != 1 or shared[0] not in halves:
                            continue
                    if len(shared) == 1:
                        found.append((side, shared[0]))
            if found:
                break
        return found

    # --- the outcome -------------------------------------------------------------------------------------------

    def _turn(self) -> None:
        wiring = self.wiring
        for name, units in self.units.items():
            frame_root, frame_way = self.frames[name].root()
            for unit in units.values():
                root, way = unit.root()
                if way ^ (frame_way if root is frame_root else False):
                    for number, end in unit.ends:
                        link = wiring.links[number]
                        node = link.b if end else link.a
                        pin = wiring.pin_of[node]
                        turned = f"{self.mirrored(name, pin[:-2])}:{'ba'['ab'.index(pin[-1])]}"
                        if end:
                            link.b = wiring.node_at[name, turned]
                        else:
                            link.a = wiring.node_at[name, turned]

    def _told(self) -> frozenset[int]:
        told = set()
        for (name, pin), node in self.wiring.node_at.items():
            if name in self.units:
                unit = self.units[name].get(self._cavities(name, pin[:-2]), self.frames[name])
                if self._is_told(unit):
                    told.add(node)
        return frozenset(told)


# --- names -----------------------------------------------------------------------------------------------------------


def name_halves(wiring: Wiring) -> None:
    """Name each half by its cavity and by where it leads: 'X4.5, towards ALM'; where both lead to one part, by the pins there, then by the wires."""
    part_of, parts = wiring.part_of, wiring.parts
    at: dict[int, list[int]] = {}  # of halves, and of references: what else there is, a name does not look beyond
    for number, link in enumerate(wiring.links):
        if link.kind in _LEADS:
            for node in (link.a, link.b):
                part = parts.get(part_of[node])
                if not part_of[node] or (part is not None and part.kind is PartKind.CONNECTOR):
                    at.setdefault(node, []).append(number)
    by_cavity: dict[str, list[int]] = {}
    mate: dict[int, int] = {}
    for link in wiring.links:
        if link.kind is LinkKind.MATING:
            mate[link.a], mate[link.b] = link.b, link.a
            for node in (link.a, link.b):
                by_cavity.setdefault(wiring.names[node].rpartition(":")[0], []).append(node)
    for cavity, nodes in by_cavity.items():
        words: dict[int, str] = {}
        for finer in (0, 1):
            for node in nodes:
                words[node] = _towards(wiring, at, node, mate[node], finer)
            if len(set(words.values())) == len(nodes):
                break
        taken: dict[str, int] = {}
        for node in nodes:
            count = taken[words[node]] = taken.get(words[node], 0) + 1
            wiring.names[node] = f"{cavity}, {words[node]}" + (f" ({count})" if count > 1 else "")


def _towards(wiring: Wiring, at: Mapping[int, list[int]], node: int, mate: int, finer: int) -> str:
    leads = _far_names(wiring, at, node, finer)
    if leads:
        return f"towards {listed(leads, most=len(leads), joiner='and')}"
    leads = _far_names(wiring, at, mate, finer)
    return f"away from {listed(leads, most=len(leads), joiner='and')}" if leads else "no wire"


def _far_names(wiring: Wiring, at: Mapping[int, list[int]], node: int, finer: int) -> list[str]:
    """The parts at the other ends of what is attached at a half; finer: their pins."""
    found: dict[str, None] = {}
    seen, queue = {node}, [node]
    for here in queue:
        for number in at.get(here, ()):
            link = wiring.links[number]
            far = link.b if link.a == here else link.a
            if far in seen:
                continue
            seen.add(far)
            name = wiring.part_of[far]
            if not name and len(at.get(far, ())) > 1:
                queue.append(far)  # a reference: its wire goes on
            elif name in wiring.parts:
                found[_pin_name(wiring, name, far) if finer else name] = None
            else:
                end = wiring.names[far]
                found[f"rail {name}" if name else "an unknown place" if end == "?" else end] = None
    return sorted(found, key=natural)


def _pin_name(wiring: Wiring, part: str, node: int) -> str:
    pin = wiring.pin_of[node]
    if wiring.parts[part].kind is PartKind.CONNECTOR:
        pin = pin[:-2]
    return f"{part}.{pin}" if pin else part
