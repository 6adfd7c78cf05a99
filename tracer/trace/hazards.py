"""Where something can hurt somebody: what is typed as a hazard or sounds like one, and how far along the wires it reaches.

A hazard of a part reaches from its pins to the last place that feeds nothing else. Exactly: over conductors, contacts, diodes and outputs to every node that
lies on no simple path between two ends that do not belong to it (sources, grounds, pins of other consumers). What is fed through the part alone belongs to
it. Contacts that exclude each other are not heeded. Words that sound like a restraint or high-voltage part make a hazard until `hazard: none` is typed:
too much is withheld rather than too little.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from tracer.circuit.flood import flood
from tracer.circuit.kinds import GROUND_KINDS, SUPPLY_KINDS, PartKind
from tracer.circuit.model import LOADS, Circuit, Part
from tracer.standards.hazards import HAZARDS, hazards_in_words
from tracer.trace.kinds import CONSUMERS as DRAWING
from tracer.trace.kinds import PARTS
from tracer.trace.tracing import Tracing

if TYPE_CHECKING:
    from tracer.trace.lists.results import Row


# What draws something, or may: the hazard of a page is that of these. Anything else on it is only on the way to them.
CONSUMERS = frozenset(DRAWING) | {PartKind.RESISTOR, PartKind.BOX}
_Whose = TypeVar("_Whose", bound=Hashable)
_PASSED = SUPPLY_KINDS | GROUND_KINDS


@dataclass(frozen=True, slots=True)
class Danger:
    """One hazard of a part, or of one of its pins (`pin` is empty for all of it). `word` is what gave it away where nobody typed it."""

    kind: str
    part: str
    pin: str = ""
    word: str = ""

    @property
    def of(self) -> str:
        """Whose it is: 'RCM', 'RCM.3'."""
        return f"{self.part}.{self.pin}" if self.pin else self.part

    @property
    def withheld(self) -> str:
        """What stands in place of every method and figure on its wiring; empty where they are given."""
        return HAZARDS[self.kind].withheld


class Hazards:
    """The hazards of a circuit, asked for by part and by place."""

    def __init__(self, tracing: Tracing) -> None:
        self._tracing = tracing
        self._circuit = tracing.circuit

    @cached_property
    def of_part(self) -> dict[str, tuple[Danger, ...]]:
        """Every part that has a hazard of its own."""
        return {name: found for name, part in self._circuit.parts.items() if (found := tuple(_of(self._circuit, part)))}

    @cached_property
    def guessed(self) -> tuple[Danger, ...]:
        """Hazards that nobody typed."""
        return tuple(danger for found in self.of_part.values() for danger in found if danger.word)

    @cached_property
    def nodes_of(self) -> dict[Danger, frozenset[int]]:
        """Every hazard with the nodes that it reaches."""
        found: dict[Danger, frozenset[int]] = {}
        for kind in HAZARDS:
            starts = {
                danger: self._starts(danger)
                for dangers in self.of_part.values()
                for danger in dangers
                if danger.kind == kind
            }
            found |= self.reach_of(starts)
        return found

    def reach_of(self, starts: dict[_Whose, frozenset[int]]) -> dict[_Whose, frozenset[int]]:
        """How far each of several things of one kind reaches from its pins; wiring that only they share belongs to them all."""
        if not starts:
            return {}
        own = frozenset[int]().union(*starts.values())
        ends, dependents = self._others(own)
        shared = self._shared(own, ends, dependents)
        return {whose: self._flood(first, shared, dependents)[0] for whose, first in starts.items()}

    def withheld(self, name: str) -> str:
        """What stands in place of every method and figure at a point; empty where they are given."""
        return self._withheld.get(name, "")

    def withheld_on(self, row: Row) -> str:
        """The same for a traced pin: no figure is given for it where one of its points may not be touched."""
        if not self._withheld:
            return ""
        return next(
            (words for at in (row.point, *(probe.at for probe in row.probes)) if (words := self.withheld(at))), ""
        )

    def withheld_in(self, part: str) -> str:
        """The same for a part: to unplug it, or to read across it, is a method too."""
        if not self._withheld:
            return ""
        own = (danger.withheld for danger in self.of_part.get(part, ()) if not danger.pin)
        pins = (self.withheld(self._circuit.node_names[node]) for node in self._circuit.pins_of.get(part, {}).values())
        return next((words for words in (*own, *pins) if words), "")

    @cached_property
    def _withheld(self) -> dict[str, str]:
        names = self._circuit.node_names
        return {
            names[node]: words
            for danger, nodes in self.nodes_of.items()
            if (words := danger.withheld)
            for node in nodes
        }

    # --- how far they reach --------------------------------------------------------------------------------------

    def _starts(self, danger: Danger) -> frozenset[int]:
        """The pins of a hazard; those that are typed as none are left out."""
        none = {
            pin
            for fragment in self._circuit.parts[danger.part].fragments
            for pin, words in fragment.facts.hazard.items()
            if pin and words == ("none",)
        }
        return pins_named(self._circuit, danger.part, danger.pin) - pins_of_names(self._circuit, danger.part, none)

    def _others(self, own: frozenset[int]) -> tuple[frozenset[int], dict[int, tuple[int, ...]]]:
        """Ends that belong to something else; and, by pin, all pins of a consumer that is fed through the dangerous pins alone."""
        circuit = self._circuit
        fed = self._fed_without(own)
        every = self._tracing.supply_ways()
        pins: dict[str, set[int]] = {}
        for link in circuit.links:
            if link.kind in LOADS:
                pins.setdefault(link.part, set()).update((link.a, link.b))
        for part in circuit.modules():
            pins[part.name] = set(circuit.pins_of.get(part.name, {}).values())
        ends = {end.node for end in (*circuit.sources, *circuit.grounds)} | self._tracing.masses
        dependents: dict[int, tuple[int, ...]] = {}
        for name, nodes in pins.items():
            if fed.isdisjoint(nodes) and own.isdisjoint(nodes) and any(every.reached(node) for node in nodes):
                dependents.update(dict.fromkeys(nodes, tuple(sorted(nodes))))
            elif not fed.isdisjoint(nodes) or circuit.parts[name].kind is PartKind.MODULE:
                ends |= nodes
        return frozenset(ends - own - dependents.keys()), dependents

    def _fed_without(self, own: frozenset[int]) -> set[int]:
        """Every node that supply reaches on ways that touch no dangerous pin, as if every contact were closed."""
        circuit, barred = self._circuit, own | self._tracing.hard_ground
        starts = [end.node for end in circuit.sources if end.node not in barred]
        return set(flood(circuit, starts, SUPPLY_KINDS, barred=barred))

    def _shared(
        self, own: frozenset[int], ends: frozenset[int], dependents: dict[int, tuple[int, ...]]
    ) -> frozenset[int]:
        """The ends, and every node on a simple path between two of them, as far as the dangerous pins are joined with it.

        All ends hang on one more node; what lies on a path between two of them is then in one block with it (see `ways/simple.py` for the theorem).
        """
        import networkx

        _, steps = self._flood(own, ends, dependents)
        graph = networkx.Graph((a, b) for a, b in steps if a not in own and b not in own)
        root = -1
        graph.add_edges_from((root, end) for end in ends if end in graph)
        blocks = (block for block in networkx.biconnected_components(graph) if root in block)
        return ends.union(*blocks) - own - {root}

    def _flood(
        self, starts: Collection[int], stops: frozenset[int], dependents: dict[int, tuple[int, ...]]
    ) -> tuple[frozenset[int], list[tuple[int, int]]]:
        """Every node joined with the starts without passing a stop, the stops left out; and the steps there, those onto a stop among them."""
        seen = set(starts)
        queue = list(seen)
        steps = []
        for node in queue:
            found = list(dependents.get(node, ()))
            for number in self._circuit.at[node]:
                link = self._circuit.links[number]
                if link.kind in _PASSED and link.a != link.b:
                    found.append(self._circuit.other(link, node))
                    steps.append((node, found[-1]))
            for other in found:
                if other not in seen and other not in stops:
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen), steps


def pins_named(circuit: Circuit, part: str, pin: str) -> frozenset[int]:
    """The nodes of a pin (both halves of a cavity); of the whole part where no pin is named, or where nothing is joined to one of that name."""
    positions = [
        one.name for one in circuit.parts.values() if one.panel == part
    ]  # a panel's pins are those of its positions
    everything = frozenset(node for name in (part, *positions) for node in circuit.pins_of.get(name, {}).values())
    return (pins_of_names(circuit, part, {pin}) or everything) if pin else everything


def pins_of_names(circuit: Circuit, part: str, names: Collection[str]) -> frozenset[int]:
    """The nodes of the pins of these names; the two halves of a cavity go by one."""
    pins = circuit.pins_of.get(part, {})
    return frozenset(node for pin, node in pins.items() if pin in names or pin.partition(":")[0] in names)


def _of(circuit: Circuit, part: Part) -> Iterator[Danger]:
    """The hazards of one part: that of its kind, typed on it or on its pins, typed for a whole page of consumers, or given away by a name."""
    typed: dict[str, dict[str, None]] = {}
    for fragment in part.fragments:
        for pin, words in fragment.facts.hazard.items():
            typed.setdefault(pin, {}).update(dict.fromkeys(words))
    sheets = [circuit.typed.sheets[fragment.sheet] for fragment in part.fragments]
    if "" not in typed:
        of_sheet = dict.fromkeys(kind for sheet in sheets for kind in sheet.hazard if kind != "none")
        if of_sheet and part.kind in CONSUMERS:
            typed[""] = of_sheet
        elif not all("none" in sheet.hazard for sheet in sheets) and part.kind is not PartKind.PANEL:
            for kind, word in hazards_in_words(part.name, part.facts.name, part.facts.said("serves")):
                yield Danger(kind, part.name, word=word)
    if (own := PARTS[part.kind].hazard) and "none" not in typed.get("", ()):
        typed.setdefault("", {}).setdefault(own)
    for pin, kinds in typed.items():
        yield from (Danger(kind, part.name, pin) for kind in kinds if kind != "none")


__all__ = ["CONSUMERS", "Danger", "Hazards", "pins_named", "pins_of_names"]
