"""Where the volts of a model come from: batteries, converters, sources whose wiring is not typed in; and battery negative."""

from __future__ import annotations

from dataclasses import replace

from tracer.circuit.model import Circuit
from tracer.circuit.states import Level
from tracer.electrics.model.branches import Branch
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.elements import Ohms
from tracer.electrics.model.making import Draft
from tracer.electrics.model.switching import Switching
from tracer.electrics.network.linear import LEAST_OHM
from tracer.entry.models import BatteryFacts, ConverterFacts
from tracer.standards.allowances import Span, contact_ohm


class Sources:
    """Adds the sources to a draft. The voltage of a generator is at the battery posts: the state of the battery says whether it turns."""

    def __init__(self, draft: Draft, switching: Switching) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.switching = switching
        self.posts: dict[str, int] = {}

    def reference(self) -> int:
        """Battery negative; where no battery is typed in, a node of its own that the assumed grounds are joined to."""
        nets = self.draft.tracing.hard_nets.of
        live = {nets[end.node] for end in self.circuit.sources if self._kind_at(end.node) == "battery"}
        posts = [end.node for end in self.circuit.grounds if self._kind_at(end.node) == "battery"]
        # the upper battery of a stack stands on the positive post of the lower one
        posts.sort(key=lambda node: nets[node] in live)
        if posts:
            return posts[0]
        node = self.draft.node("battery negative (not typed in)")
        span = contact_ohm("ground whose wiring is not typed in")
        for end in self.circuit.grounds:
            if end.node not in self.switching.open_nodes:
                self.draft.branches.append(
                    Branch(node, end.node, -1, "assumed ground", "", Ohms.of(span, "assumed ground"))
                )
        return node

    def _kind_at(self, node: int) -> str:
        part = self.circuit.parts.get(self.circuit.node_parts[node])
        return part.kind if part is not None else ""

    def battery(self) -> tuple[Span, str]:
        """Volts at the battery posts, and the state of the battery in words."""
        if self.changes.battery_v is not None:
            volts = self.changes.battery_v
            return Span(volts, volts, volts, "V", "as measured at the posts", "own"), "as measured"
        state = (
            "charging"
            if turning_generators(self.circuit, self.changes)
            else "cranking"
            if self.draft.key == "start"
            else "key on"
        )
        if state == "key on" and self.draft.key == self.circuit.typed.vehicle.key[0]:
            state = "at rest"
        limit = self.draft.limits.of(f"battery {state}")
        assert limit.low is not None and limit.nominal is not None
        return Span(limit.low, limit.nominal, limit.high, "V", limit.said, "own"), state

    def make(self, reference: int, battery: Span) -> None:
        """Add every source: batteries, converters, and those whose wiring is not typed in."""
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "held at its posts")
        self.posts = self._negative_posts()
        for end in self.circuit.sources:
            if end.node in self.switching.open_nodes:
                continue
            part = self.circuit.parts.get(self.circuit.node_parts[end.node])
            if part is not None and part.kind == "battery":
                minus = self.posts.get(part.name, reference)
                factor = self._share_of_system(part.name, minus)
                self.draft.branches.append(
                    Branch(
                        minus,
                        end.node,
                        -1,
                        "battery",
                        part.name,
                        ideal,
                        volts=_times(battery, factor),
                        is_battery=True,
                    )
                )
            elif part is not None and part.kind == "generator":
                continue  # its voltage is at the battery posts: the state of the battery says whether it turns
            elif part is not None and part.kind == "converter":
                self._converter(part.name, end.node)
            else:
                self._assumed_source(end.node, reference, battery, part.name if part is not None else "")

    def _negative_posts(self) -> dict[str, int]:
        """The negative post of each battery; several posts of one battery are one."""
        found: dict[str, int] = {}
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "one post")
        for part in self.circuit.parts.values():
            if part.kind != "battery":
                continue
            posts = [node for pin, node in self.circuit.pins_of.get(part.name, {}).items() if pin.startswith("-")]
            for node in posts[1:]:
                self.draft.branches.append(Branch(posts[0], node, -1, "post of", part.name, ideal))
            if posts:
                found[part.name] = posts[0]
        return found

    def _share_of_system(self, name: str, minus: int) -> float:
        """What part of the system's voltage a battery has: by the class that is typed in, or its share of a stack.

        Typed volts say only whether it is the whole of the system, half of it or twice as much: 12.6 V is a 12 V battery. How full it is says its state,
        or a reading at its posts.
        """
        facts = self.draft.facts(name)
        assert isinstance(facts, BatteryFacts)
        if facts.volts is not None:
            return share_of_system(facts.volts, self.draft.system_v)
        grounds = {end.node for end in self.circuit.grounds}
        batteries = [part for part in self.circuit.parts.values() if part.kind == "battery"]
        stacked = any(post not in grounds for post in self.posts.values())
        return 1.0 / len(batteries) if stacked and minus in self.posts.values() else 1.0

    def _converter(self, name: str, out: int) -> None:
        if self.switching.settled.alive.get(name, Level.DEAD) is not Level.LIVE:
            return
        facts = self.draft.facts(name)
        assert isinstance(facts, ConverterFacts)
        if facts.volts is None:
            self.draft.notes.append(f"converter {name}: its output voltage is not typed in, so it is left out")
            return
        if facts.return_ == "unknown":
            self.draft.notes.append(
                f"converter {name}: what its 0 V output is joined with is not known, so it is left out"
            )
            return
        volts = Span(facts.volts * 0.97, facts.volts, facts.volts * 1.03, "V", "as typed, 3 % either way", "own")
        ohms = Ohms.of(contact_ohm("source whose wiring is not typed in"))
        self.draft.branches.append(
            Branch(
                self.circuit.pins_of[name]["return" if facts.return_ else "ground"],
                out,
                -1,
                "converter",
                name,
                ohms,
                volts=volts,
            )
        )

    def _assumed_source(self, node: int, reference: int, battery: Span, module: str) -> None:
        level = self.switching.states.source_level(node, self.draft.key, self.switching.held)
        if module:
            level = min(level, self.switching.settled.alive.get(module, Level.LIVE))
        if level is Level.DEPENDS:
            self.draft.undecided[f"whether {self.draft.names[node]} is live (taken as dead)"] = None
        if level is not Level.LIVE:
            return
        ohms = Ohms.of(
            contact_ohm("source whose wiring is not typed in"),
            "assumed source",
            f"the way from the battery to {self.draft.names[node]}",
        )
        self.draft.branches.append(
            Branch(reference, node, -1, "assumed source", module, ohms, volts=battery, is_battery=True)
        )


def turning_generators(circuit: Circuit, changes: Changes) -> list[str]:
    """Generators that are held as turning."""
    return [
        part.name
        for part in circuit.parts.values()
        if part.kind == "generator" and changes.held.get(part.name) == "yes"
    ]


def share_of_system(volts: float, system_v: float) -> float:
    """1 for a battery of the system's class, 1/2 for 12 V in 24 V, 2 for 24 V in 12 V: the nearest whole share or multiple."""
    if volts < system_v:
        return 1.0 / max(1, round(system_v / volts))
    return float(max(1, round(volts / system_v)))


def _times(span: Span, factor: float) -> Span:
    return replace(span, low=span.low * factor, nominal=span.nominal * factor, high=span.high * factor)
