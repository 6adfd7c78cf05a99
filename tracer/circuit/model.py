"""The joined circuit: parts, nodes and the links between them.

A node is a place that can be touched (a pin, a splice, a stud, one half of a connector cavity) or a net without a place of its own (a rail, a
mass, an end of a reference). A link joins two nodes: a wire, a fuse element, the mating of a connector, a contact, a coil, a load.
Nodes and links are numbered; the lists of a `Circuit` are parallel to these numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from tracer.circuit.flood import links_at
from tracer.circuit.kinds import (
    CONDUCTORS,
    FUSE_KINDS,
    IN_A_POSITION,
    INSIDE_MODULE,
    LOADS,
    OUTSIDE,
    SWITCHED,
    Link,
    LinkKind,
    PartKind,
)
from tracer.entry.load import Fragment, Typed
from tracer.entry.models import PartFacts
from tracer.entry.problems import NOWHERE, Place
from tracer.entry.runs import Run, Wire
from tracer.entry.scalars import NOT_FITTED

if TYPE_CHECKING:
    import networkx


@dataclass(frozen=True, slots=True)
class Lever:
    """What moves contacts together: a switch, one of its levers, or a relay. `name` is how it is called: `S7`, or `S7/wiper` for a lever.

    `contacts` are the positions of which it is known what they close, `unknown` those that are typed as unknown: there any of its contacts may be closed.
    """

    name: str
    contacts: Mapping[str, tuple[tuple[str, ...], ...]]
    follows: str | None = None
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """One part with its facts from all sheets."""

    name: str
    kind: PartKind
    facts: PartFacts
    fragments: tuple[Fragment, ...]
    coils: tuple[tuple[str, str], ...] = ()
    contacts: Mapping[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    follows: str | None = None
    lag: str | None = None
    levers: Mapping[str, Lever] = field(default_factory=dict)  # by `Link.lever`; "" is the part as a whole
    panel: str | None = None  # of a position: where it sits, and what it is called there
    label: str | None = None
    inside_unknown: bool = False  # a box, or contacts (or one position of them) that are not given: what joins its pins is not wholly known

    @property
    def place(self) -> Place:
        """Where it is first declared."""
        return self.fragments[0].place

    @property
    def undeclared(self) -> bool:
        """Whether it is named somewhere, but no sheet declares it: what it is and what joins its pins is a guess at best."""
        return bool(self.fragments[0].used)

    @property
    def seen(self) -> str:
        """The least certain word about where its facts are from."""
        order = ("assumed", "diagram", "vehicle")
        return min((fragment.seen for fragment in self.fragments), key=order.index)

    def place_of(self, *path: str | int, key: bool = False) -> Place:
        """Where one fact of it was typed."""
        for fragment in self.fragments:
            if fragment.has(path):
                return fragment.place_of(path, key=key)
        return self.place


@dataclass(frozen=True, slots=True)
class End:
    """An end of every way: a source of supply, or a ground reference."""

    node: int
    id: str
    assumed: bool
    why: str


@dataclass(frozen=True, slots=True)
class ReferenceEnd:
    """One end of a reference as typed."""

    node: int
    here: str
    there: str
    run: int
    wire: int
    place: Place


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two sheets that say different things about one fact of a part."""

    part: str
    fact: str
    first: str
    first_place: Place
    second: str
    second_place: Place


@dataclass
class Circuit:
    """A vehicle as one circuit. Made by `tracer.circuit.join`; not changed afterwards."""

    typed: Typed
    parts: dict[str, Part]
    short_names: dict[str, str]
    node_names: list[str]
    node_parts: list[str]
    node_pins: list[str]
    links: list[Link]
    node_of_point: dict[tuple[str, str], int]
    sources: tuple[End, ...]
    grounds: tuple[End, ...]
    references: tuple[ReferenceEnd, ...]
    reference_of: dict[int, ReferenceEnd]
    partner: dict[int, int]
    unknown_ends: dict[int, tuple[int, Place]]
    conflicts: tuple[Conflict, ...]
    told_halves: frozenset[int] = frozenset()  # of in-line connectors: known to be a or b

    @property
    def runs(self) -> tuple[Run, ...]:
        return self.typed.runs

    @property
    def name(self) -> str:
        return self.typed.vehicle.vehicle

    @cached_property
    def at(self) -> list[list[int]]:
        """For each node the links that touch it."""
        return links_at(self.links, len(self.node_names))

    @cached_property
    def pins_of(self) -> dict[str, dict[str, int]]:
        """For each part its pins that are nodes (wired, bussed or joined to something)."""
        pins: dict[str, dict[str, int]] = {}
        for (part, pin), node in self.node_of_point.items():
            pins.setdefault(part, {})[pin] = node
        return pins

    def wire_of(self, link: Link) -> Wire:
        """The wire of a WIRE link."""
        return self.runs[link.run].wires[link.wire]

    def part_at(self, node: int) -> Part | None:
        """The part that a node is a pin of; none where a rail begins, or at a mass."""
        return self.parts.get(self.node_parts[node])

    def kind_at(self, node: int) -> PartKind | None:
        """What kind of part a node is a pin of."""
        part = self.part_at(node)
        return part.kind if part is not None else None

    def cavity_of(self, node: int) -> str:
        """The cavity of an in-line connector by its number alone, without where its half leads: 'X4.5'; other points by their name."""
        name = self.node_names[node]
        return name.partition(",")[0] if self.kind_at(node) is PartKind.CONNECTOR else name

    def is_told(self, node: int) -> bool:
        """Whether what the node is called among the pins of its part is known: not so for `a` and `b` of a connector where nothing says which half is which."""
        return self.kind_at(node) is not PartKind.CONNECTOR or node in self.told_halves

    def contact_name(self, a: int, b: int) -> str:
        """The contact between two halves: 'X4.1', 'X4.5>12' where they number their cavities differently (half a first)."""
        one, two = self.cavity_of(a), self.cavity_of(b)
        return one if one == two else f"{one}>{two.removeprefix(f'{self.node_parts[b]}.')}"

    def run_place(self, run: int) -> Place:
        """Where a run was typed."""
        found = self.runs[run]
        return self.typed.place_in_run(found)

    def sheet_of_run(self, run: int) -> str:
        """The sheet a run stands on, as that page calls itself."""
        return self.typed.sheets[self.runs[run].sheet].id

    def other(self, link: Link, node: int) -> int:
        """The node at the other end of a link."""
        return link.b if link.a == node else link.a

    def wires_at(self, node: int) -> list[int]:
        """The WIRE links at a node."""
        return [number for number in self.at[node] if self.links[number].kind is LinkKind.WIRE]

    @cached_property
    def thickest_mm2(self) -> list[float]:
        """For each node the thickest wire there, mm²; 0 where none is of known size."""
        found = [0.0] * len(self.node_names)
        for link in self.links:
            if link.kind is LinkKind.WIRE:
                area_mm2 = self.wire_of(link).area_mm2 or 0.0
                found[link.a] = max(found[link.a], area_mm2)
                found[link.b] = max(found[link.b], area_mm2)
        return found

    @cached_property
    def _attached(self) -> bytearray:
        attached = bytearray(len(self.node_names))
        for link in self.links:
            if link.kind in OUTSIDE:
                attached[link.a] = attached[link.b] = 1
        return attached

    def is_attached(self, node: int) -> bool:
        """Whether anything outside its own part reaches the node: a wire, a busbar, a bolted point."""
        return bool(self._attached[node])

    def is_left_open(self, link: Link) -> bool:
        """Whether a link is inside a position that must be empty, or whose fuse, relay or diode is not fitted in this vehicle's equipment."""
        return link.kind in IN_A_POSITION and link.part in self._not_fitted

    def is_not_fitted(self, part: str) -> bool:
        """Whether a position must be empty, or holds an option that this vehicle does not have."""
        return part in self._not_fitted

    @cached_property
    def _not_fitted(self) -> frozenset[str]:
        return frozenset(name for name, part in self.parts.items() if part.facts.said("state") in NOT_FITTED)

    def spelt(self, name: str) -> str:
        """The name of a part, position or rail that was asked for in other letters (`alm` for ALM, `f30` for F30); as it stands where none or several fit."""
        known = [*self.parts, *self.short_names, *self.typed.vehicle.rails]
        if name in known:
            return name
        found = {one for one in known if one.casefold() == name.casefold()}
        return found.pop() if len(found) == 1 else name

    def place_of_part(self, name: str) -> tuple[str | None, str | None]:
        """Where a part sits and how to get there; a position answers with its panel."""
        part = self.parts[name]
        place, access = part.facts.at, part.facts.access
        if part.panel is not None:
            panel = self.parts[part.panel]
            place = place or panel.facts.at
            access = access or panel.facts.access
        return place, access

    def title(self, name: str) -> str:
        """'ALM (Air levelling module)'."""
        part = self.parts[name]
        return f"{name} ({part.facts.name})" if part.facts.name else name

    def modules(self) -> tuple[Part, ...]:
        """All modules, by name."""
        return self._modules

    @cached_property
    def _modules(self) -> tuple[Part, ...]:
        return tuple(part for part in self.parts.values() if part.kind is PartKind.MODULE)

    @cached_property
    def graph(self) -> networkx.MultiGraph:
        """The circuit as a networkx multigraph of node names, with the numbers of links as edge keys, see `graph.py`."""
        from tracer.circuit.graph import graph_of

        return graph_of(self)


__all__ = [
    "CONDUCTORS", "FUSE_KINDS", "INSIDE_MODULE", "LOADS", "NOWHERE", "SWITCHED", "Circuit", "Conflict", "End", "Lever", "Link", "LinkKind", "Part", "PartKind", "ReferenceEnd",
]  # fmt: skip
