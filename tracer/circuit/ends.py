"""Where every way ends: sources of supply and ground references."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from tracer.circuit.flood import flood, links_at
from tracer.circuit.insides import DEFAULT_MASS
from tracer.circuit.joining import Joining
from tracer.circuit.kinds import CONDUCTORS, INSIDE_MODULE, Link, LinkKind, PartKind
from tracer.circuit.model import End, Part
from tracer.entry.models import ConverterFacts, ModuleFacts


class Ends:
    """Finds them among the nodes of a circuit that is joined."""

    def __init__(self, joining: Joining) -> None:
        self.joining = joining

    @property
    def links(self) -> list[Link]:
        """The links of the circuit."""
        return self.joining.links

    @cached_property
    def at(self) -> list[list[int]]:
        """For each node the links that touch it."""
        return links_at(self.links, len(self.joining.names))

    def found(self) -> tuple[tuple[End, ...], tuple[End, ...]]:
        """The sources, and the ground references."""
        sources: list[End] = []
        grounds: list[End] = []
        for (name, pin), node in self.joining.node_at.items():
            part = self.joining.parts.get(name)
            if part is None:
                continue
            if part.kind is PartKind.BATTERY and pin.startswith("+"):
                sources.append(End(node, self.joining.names[node], False, "battery positive"))
            elif part.kind is PartKind.BATTERY and pin.startswith("-"):
                grounds.append(End(node, self.joining.names[node], False, "battery negative"))
            elif part.kind is PartKind.GENERATOR and pin == "B+":
                sources.append(End(node, self.joining.names[node], False, "generator, while it runs"))
            elif part.kind is PartKind.CONVERTER and pin == "out":
                sources.append(End(node, self.joining.names[node], False, "converter output"))
            elif isinstance(part.facts, ConverterFacts) and pin == "return" and part.facts.return_ == "isolated":
                grounds.append(End(node, self.joining.names[node], False, "0 V output of the converter"))
            elif part.kind is PartKind.MODULE:
                sources.extend(self._unsaid_outputs(part, pin, node))
        for rail, facts in self.joining.rails.items():
            if facts.from_ is not None:
                continue
            node = self.joining.node(rail, "")
            if facts.ground == "yes":
                grounds.append(End(node, rail, True, "ground rail whose way to the battery is not typed in"))
            else:
                sources.append(End(node, rail, True, "rail whose origin is not typed in"))
        if self.joining.typed.vehicle.system != "12 V":
            grounds = [end for end in grounds if end.assumed or not self._stands_on(end.node, sources)]
        grounds.extend(self._assumed_masses(grounds))
        return tuple(sources), tuple(grounds)

    def _unsaid_outputs(self, part: Part, pin: str, node: int) -> Iterator[End]:
        facts = part.facts
        assert isinstance(facts, ModuleFacts)
        output = facts.outputs.get(pin)
        if output and output.drives in ("high", "both") and not output.from_:
            yield End(node, self.joining.names[node], True, "module output; from which supply it switches is not said")

    def _assumed_masses(self, grounds: list[End]) -> Iterator[End]:
        """The body is an assumed ground where no battery negative or ground rail is joined with it."""
        mass = self.joining.node_at.get((f"mass {DEFAULT_MASS}", ""))
        if mass is None:
            return
        if flood(self, [mass], CONDUCTORS | {LinkKind.CONTACT}).keys().isdisjoint(end.node for end in grounds):
            yield End(mass, DEFAULT_MASS, True, "body; its way to a battery negative is not typed in")

    def _stands_on(self, negative: int, sources: list[End]) -> bool:
        """Whether a battery negative stands on the positive of another battery (24 V of two): it is no ground then."""
        cables = CONDUCTORS - INSIDE_MODULE - {LinkKind.MASS}
        joined = flood(self, [negative], cables)
        return any(
            end.node in joined
            and end.why == "battery positive"
            and self.joining.part_of[end.node] != self.joining.part_of[negative]
            for end in sources
        )
