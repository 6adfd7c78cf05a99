"""What several questions need from one circuit, worked out once: hard nets, the ways of supply and ground, key states, and what lies near a module."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar, cast

from tracer.circuit.flood import flood
from tracer.circuit.kinds import (
    CONDUCTORS,
    FUSE_KINDS,
    GROUND_KINDS,
    INSIDE_MODULE,
    LINKS,
    LOADS,
    ONE_WAY,
    SUPPLY_KINDS,
    Link,
    LinkKind,
    PartKind,
)
from tracer.circuit.model import Circuit, Part
from tracer.circuit.nets import Nets
from tracer.circuit.open_ends import open_ends, unknown_insides
from tracer.circuit.states import KeyStates, Level
from tracer.entry.problems import CannotAnswer
from tracer.trace.lists.second_count import SecondCount
from tracer.trace.ways.guards import Guard, guards_of
from tracer.trace.ways.simple import Ways
from tracer.trace.ways.without import WaysWithout

if TYPE_CHECKING:
    from tracer.trace.lists.census import PinFinding
    from tracer.trace.rules.registry import Finding

_Made = TypeVar("_Made")
_PLAIN = CONDUCTORS - {LinkKind.FUSE}
_ONE_WAY_SUPPLY, _ONE_WAY_GROUND = ONE_WAY & SUPPLY_KINDS, ONE_WAY & GROUND_KINDS


def supply_sense(link: Link) -> int:
    """Supply flows from A to K of a diode, and from a module's supply pin to its high-side output."""
    return 1 if link.kind in _ONE_WAY_SUPPLY else 0


def ground_sense(link: Link) -> int:
    """A way from ground goes against the current: from K to A of a diode, from a module's ground pin to its low-side output."""
    return -1 if link.kind in _ONE_WAY_GROUND else 0


class UnknownKeyState(CannotAnswer, ValueError):
    """The vehicle has no key state of that name; the message says which it has."""


class Tracing:
    """A circuit with what has been worked out about it. Ask it as often as you like; nothing in it changes."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._supply: dict[str, WaysWithout] = {}
        self._ground: dict[str, WaysWithout] = {}
        self.pins_found: dict[str, tuple[PinFinding, ...]] = {}  # filled by census.pins_found
        self._kept: dict[object, object] = {}
        self.findings: dict[str, list[Finding]] = {}  # filled by rules.loose_ends and rules.remarks

    def key_state(self, name: str | None = None) -> str:
        """A key state by its name; where none is named, run, or else the last but one.

        Raises
        ------
        UnknownKeyState : there is none of that name
        """
        keys = self.circuit.typed.vehicle.key
        if name is None:
            return "run" if "run" in keys else keys[max(0, len(keys) - 2)]
        if name not in keys:
            raise UnknownKeyState(f"{name} is no key state; this vehicle has {', '.join(keys)}.")
        return name

    @cached_property
    def states(self) -> KeyStates:
        """The key states of the circuit."""
        return KeyStates(self.circuit)

    @cached_property
    def guards(self) -> dict[int, Guard]:
        """The positions that close each contact, by link number; contacts that every position closes are left out."""
        return guards_of(self.circuit)

    def once(self, made_of_it: Callable[[Tracing], _Made]) -> _Made:
        """What is made of this tracing, made when first asked for and kept."""
        if made_of_it not in self._kept:
            self._kept[made_of_it] = made_of_it(self)
        return cast("_Made", self._kept[made_of_it])

    @cached_property
    def open_ends(self) -> dict[int, str]:
        """Each node at which something unknown may be joined, and what that is in words."""
        return open_ends(self.circuit)

    @cached_property
    def unknown_insides(self) -> tuple[tuple[Part, str, int], ...]:
        """Pins of which nobody knows what they are joined with inside their part: part, pin, node."""
        return tuple(unknown_insides(self.circuit))

    @cached_property
    def second_count(self) -> SecondCount:
        """The second count of what is above a pin."""
        return SecondCount(self.circuit)

    @cached_property
    def ending_sources(self) -> frozenset[int]:
        """The sources that end a way: those that are live in every key state for certain. A battery post does; a rail that is live always does too.

        A generator, a converter, a module's own output and a rail that is dead in some key state do not: a way runs on through them, since what lies behind feeds
        while they are dead.
        """
        circuit, states = self.circuit, self.states
        return frozenset(
            end.node
            for end in circuit.sources
            if getattr(circuit.part_at(end.node), "kind", "rail") in ("battery", "rail")
            and all(states.source_level(end.node, key) is Level.LIVE for key in states.keys)
        )

    @cached_property
    def passing_sources(self) -> frozenset[int]:
        """The sources through which a way runs on."""
        return frozenset(end.node for end in self.circuit.sources) - self.ending_sources

    @cached_property
    def hard_nets(self) -> Nets:
        """Nets of conductors outside modules."""
        return Nets(self.circuit, inside_modules=False)

    @cached_property
    def hard_ground(self) -> frozenset[int]:
        """Nodes that are ground whatever any switch does."""
        return self.hard_nets.nodes_joined_with(end.node for end in self.circuit.grounds)

    @cached_property
    def hard_supply(self) -> frozenset[int]:
        """Nodes that are one conductor with a source whatever any switch does."""
        return self.hard_nets.nodes_joined_with(end.node for end in self.circuit.sources)

    @cached_property
    def shorted(self) -> frozenset[int]:
        """Nodes that are one conductor with a source and with ground: something is typed wrong, or the vehicle burns."""
        return self.hard_ground & self.hard_supply

    @cached_property
    def typed_grounds(self) -> frozenset[int]:
        """Nodes that are one conductor with a battery negative that is typed in."""
        return self.hard_nets.nodes_joined_with(end.node for end in self.circuit.grounds if not end.assumed)

    @cached_property
    def masses(self) -> frozenset[int]:
        """The nodes of masses (body, engine ...)."""
        return frozenset(node for (part, _), node in self.circuit.node_of_point.items() if part.startswith("mass "))

    def supply_ways(self, leaving_out: str = "") -> Ways | WaysWithout:
        """The ways of supply, with the inside of one module left out so that each of its pins is proven alone."""
        return self._without(self._all_supply_ways, self._supply, self._inside_supply, leaving_out)

    def ground_ways(self, leaving_out: str = "") -> Ways | WaysWithout:
        """The ways to ground, with the inside of one module left out."""
        return self._without(self._all_ground_ways, self._ground, self._inside_ground, leaving_out)

    def ways_to(self, node: int, level: str, module: str = "") -> Ways | WaysWithout:
        """The ways in which a module's pin is traced: without its inside, or with it where its own outputs are all that feed the pin."""
        ways = self.supply_ways(module) if level == "supply" else self.ground_ways(module)
        if ways.reached(node):
            return ways
        return self.supply_ways() if level == "supply" else self.ground_ways()

    def _without(
        self, ways: Ways, made: dict[str, WaysWithout], insides: dict[str, set[int]], module: str
    ) -> Ways | WaysWithout:
        if module not in insides:
            return ways
        if module not in made:

            def inside(link: Link) -> bool:
                return link.part == module and link.kind in INSIDE_MODULE

            outside = (lambda: self._fed_outside) if made is self._supply else lambda: self._grounded_outside
            made[module] = WaysWithout(ways, self.circuit.links, inside, frozenset(insides[module]), outside)
        return made[module]

    @cached_property
    def _all_supply_ways(self) -> Ways:
        return self.all_ways("supply", _of(SUPPLY_KINDS))

    @cached_property
    def _all_ground_ways(self) -> Ways:
        return self.all_ways("ground", _of(GROUND_KINDS))

    def all_ways(self, level: str, permitted: Callable[[Link], bool]) -> Ways:
        """The ways of one level through permitted links, with nothing inside a module left out."""
        circuit = self.circuit
        if level == "supply":
            barred = self.hard_ground - self.hard_supply
            ends, passing, sense = self.ending_sources, self.passing_sources, supply_sense
        else:
            barred = self.hard_supply - self.hard_ground
            ends, passing, sense = frozenset(end.node for end in circuit.grounds), frozenset[int](), ground_sense
        return Ways(circuit.links, circuit.at, ends, permitted, barred, sense, passing=passing, guards=self.guards)

    @cached_property
    def _fed_outside(self) -> frozenset[int]:
        return self._all_supply_ways.reached_over(lambda link: link.kind not in INSIDE_MODULE)

    @cached_property
    def _grounded_outside(self) -> frozenset[int]:
        return self._all_ground_ways.reached_over(lambda link: link.kind not in INSIDE_MODULE)

    @cached_property
    def _inside_supply(self) -> dict[str, set[int]]:
        return self._all_supply_ways.blocks_with(_of(INSIDE_MODULE))

    @cached_property
    def _inside_ground(self) -> dict[str, set[int]]:
        return self._all_ground_ways.blocks_with(_of(INSIDE_MODULE))

    @cached_property
    def reversed_fuses(self) -> frozenset[str]:
        """Fuses typed the wrong way round: every way to their feed side runs through them from their load side."""
        ways = self._all_supply_ways
        beside = ways.always_reached(lambda link: link.kind is LinkKind.FUSE)
        found = set()
        for number, link in enumerate(self.circuit.links):
            if link.kind is LinkKind.FUSE and ways.leads_to(link.a) and link.a not in beside:
                way = ways.to(link.a)
                if way is not None and number in way.sole_links:
                    found.add(link.part)
        return frozenset(found)

    # --- through loads -----------------------------------------------------------------------------------------

    def loads_between(self, node: int, *, supply: bool = True) -> tuple[str, ...]:
        """The loads beside a node's conductors behind which there is supply (or ground): what a meter without load would read through."""
        ways = self.supply_ways() if supply else self.ground_ways()
        kinds = SUPPLY_KINDS if supply else GROUND_KINDS
        barred = self.hard_ground | self.masses if supply else self.hard_supply
        found = set()
        for here in flood(self.circuit, [node], kinds - INSIDE_MODULE, barred=barred):
            for number in self.circuit.at[here]:
                link = self.circuit.links[number]
                if link.kind in LOADS and ways.reached(self.circuit.other(link, here)):
                    found.add(link.part)
        return tuple(sorted(found))

    # --- what lies near --------------------------------------------------------------------------------------

    def zone(self, pins: Iterable[int], on_ways: Iterable[int], module: str) -> frozenset[int]:
        """Every node where something loose would leave the list of a module's pins open.

        That is: the conductors at each pin and at each node of the ways; and, seen from a pin, what is behind a contact, a diode, a driver or the
        load side of a fuse, as long as neither supply nor ground is known there (a second feed could still come from it). Loads, sources, masses, and
        the load side of other fuses on the way up are not crossed: what hangs there is loose elsewhere, and is counted but does not concern this module.
        """
        supply, ground, stops = self.supply_ways(), self.ground_ways(), self._stops

        def leads(number: int, link: Link, here: int, there: int) -> bool:
            if link.part == module and link.kind in INSIDE_MODULE:
                return False
            if link.kind in _PLAIN:
                return here not in stops
            downwards = link.kind is LinkKind.FUSE and link.a == here
            return not (downwards or supply.reached(there) or ground.reached(there))

        near = flood(self.circuit, pins, LINKS.keys() - LOADS, passes=leads)
        return self.conductors_at(on_ways, module).union(near)

    def conductors_at(self, starts: Iterable[int], module: str) -> frozenset[int]:
        """Nodes joined with `starts` by conductors alone (no fuse, no source or mass passed, nothing inside the module)."""

        def outside(number: int, link: Link, here: int, there: int) -> bool:
            return link.part != module or link.kind not in INSIDE_MODULE

        return frozenset(flood(self.circuit, starts, _PLAIN, stops=self._stops, passes=outside))

    @cached_property
    def _stops(self) -> frozenset[int]:
        """Where the conductors of one module end: sources that end a way, ground references, masses."""
        return self.ending_sources.union(end.node for end in self.circuit.grounds) | self.masses

    # --- words -----------------------------------------------------------------------------------------------

    def is_probe_point(self, node: int) -> bool:
        """Whether a node has a place that can be touched."""
        part = self.circuit.part_at(node)
        if part is None:
            return False
        return not (part.kind is PartKind.JOINT and self.circuit.node_pins[node].startswith("group "))

    def is_fuse(self, name: str) -> bool:
        """Whether a part is a fuse, a fusible link or a breaker."""
        part = self.circuit.parts.get(name)
        return part is not None and part.kind in FUSE_KINDS


def _of(kinds: frozenset[LinkKind]) -> Callable[[Link], bool]:
    return lambda link: link.kind in kinds
