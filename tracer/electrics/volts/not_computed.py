"""What neither a figure nor a verdict is given for, because the model of it is not good enough; in words, for every output alike.

What flows into a part of which nobody knows the inside, or out of it, is in no figure either. Where one of
these bears on a reading it is better left out than wrong.
"""

from __future__ import annotations

from functools import cached_property

from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.sources import is_charged
from tracer.electrics.network.described import FloatArray
from tracer.entry.models import ConverterFacts, GeneratorFacts
from tracer.entry.problems import listed, natural
from tracer.standards import figures
from tracer.trace.lists.results import Row
from tracer.trace.tracing import Tracing


def said(reason: str) -> str:
    """The one sentence that stands in place of a figure."""
    return f"not computed, because {reason}"


def beside_unknown(tracing: Tracing, part: str, node: int, level: str) -> str:
    """What nobody knows the inside of, where it bears on what is read at a pin: on the conductors of its ways, with no fuse between; empty where nothing does."""
    unknown = {node: f"{one.name}.{pin} is joined with inside {one.name}" for one, pin, node in tracing.unknown_insides}
    if not unknown:
        return ""
    way = tracing.ways_to(node, level, part).to(node)
    near = tracing.zone([node], way.nodes if way is not None else (), part) & unknown.keys()
    found = sorted((unknown[one] for one in near), key=natural)
    return said(f"what {listed(found, joiner='and what')} is not known") if found else ""


class Withheld:
    """The rows of a model for which nothing is computed; `branch_a` are its (m,) nominal amperes."""

    def __init__(self, tracing: Tracing, model: Model, branch_a: FloatArray) -> None:
        self.tracing = tracing
        self.model = model
        self.branch_a = branch_a
        self.charged_by_unknown = self._charged_by_unknown()
        self.not_computed = ""  # for any row, by what is supposed

    def _charged_by_unknown(self) -> bool:
        """Whether the battery is being charged, and by nothing that is typed in: what comes back through the grounds is then not known."""
        turning = any(branch.kind == "generator" for branch in self.model.branches)
        return not turning and is_charged(self.model.changes.battery_v, self.model.limits)

    @cached_property
    def _left_out(self) -> dict[int, str]:
        """The outputs of converters that give something, nobody knows what: without it a pin that they feed would be expected at 0 V."""
        given = {branch.part for branch in self.model.branches if branch.kind == "converter"}
        found = {}
        for part in self.tracing.circuit.parts.values():
            facts = part.facts
            if not isinstance(facts, ConverterFacts) or part.name in given:
                continue
            if facts.volts is None:
                found[self.tracing.circuit.pins_of[part.name].get("out", -1)] = (
                    f"the output voltage of converter {part.name} is not typed in"
                )
            elif facts.return_ == "unknown":
                found[self.tracing.circuit.pins_of[part.name].get("out", -1)] = (
                    f"what the 0 V output of converter {part.name} is joined with is not known"
                )
        return found

    def _fed_by_left_out(self, row: Row) -> str:
        """What is not known of a converter that feeds a row, or for a ground a pin of the part whose current it carries."""
        if not self._left_out:
            return ""
        pins = self.tracing.circuit.pins_of[row.part]
        for node in [pins[row.pin]] if row.level == "supply" else pins.values():
            way = self.tracing.ways_to(node, "supply", row.part).to(node)
            for end in way.ends if way is not None else ():
                if end in self._left_out:
                    return said(self._left_out[end])
        return ""

    def why(self, row: Row) -> str:
        """Why no figure is given for a row; empty where one is."""
        if self.not_computed:
            return self.not_computed
        if reason := self._fed_by_left_out(row):
            return reason
        if reason := beside_unknown(self.tracing, row.part, self.model.circuit.pins_of[row.part][row.pin], row.level):
            return reason
        if self.charged_by_unknown and row.level == "ground":
            return said(
                "the battery is being charged, and no generator that turns is typed in: what feeds comes back through the grounds too"
            )
        return self.shorted or self._overloaded

    @cached_property
    def shorted(self) -> str:
        """Supply and ground that meet without a load, as typed: what flows then is a short circuit, and every volt in the vehicle hangs on it."""
        nets, of = set(self.model.settled.shorts), self.model.states.nets.of
        if not nets:
            return ""
        circuit = self.tracing.circuit
        at = sorted(
            (
                circuit.node_names[node]
                for node in range(len(circuit.node_names))
                if of[node] in nets and circuit.node_parts[node] in circuit.parts
            ),
            key=natural,
        )
        return said(
            f"supply and ground meet without a load{'' if self.model.changes.words or self.model.changes.held else ' as typed'}, at {listed(at, most=3, joiner='and')}: a short circuit"
        )

    @cached_property
    def _overloaded(self) -> str:
        """A generator that would have to give more than it can: the battery feeds too, and nothing is regulated."""
        for number, branch in enumerate(self.model.branches):
            facts = self.model.circuit.parts[branch.part].facts if branch.kind == "generator" else None
            if isinstance(facts, GeneratorFacts) and facts.amps is not None:
                amps = float(self.branch_a[number])
                if amps > facts.amps:
                    return said(
                        f"generator {branch.part} would have to give {figures.stated(round(amps), 'A')} and gives {figures.stated(facts.amps, 'A')} at most: the battery feeds too"
                    )
        return ""
