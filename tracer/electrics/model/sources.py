"""Where the volts of a model come from: batteries, generators, converters, sources whose wiring is not typed in; and battery negative.

While a generator turns it holds its regulated volts at its own stud, against its own minus; a battery then feeds nothing and takes a charging current.
"""

from __future__ import annotations

from dataclasses import replace

from tracer.circuit.model import LinkKind, PartKind
from tracer.circuit.states import Level
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.elements import Ohms
from tracer.electrics.model.making import Draft
from tracer.electrics.model.switching import Switching
from tracer.electrics.network.described import LEAST_OHM
from tracer.entry.models import BatteryFacts, ConverterFacts, GeneratorFacts, GroundFacts
from tracer.standards import figures
from tracer.standards.allowances import Span, charging_a, contact_ohm, conversion

_NOT_WIRED = "source whose wiring is not typed in"  # a row of the allowances


class Sources:
    """Adds the sources to a draft."""

    def __init__(self, draft: Draft, switching: Switching) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.switching = switching
        self.posts: dict[str, int] = {}
        self.turning = turning_generators(draft)

    def reference(self) -> int:
        """Battery negative; where no battery is typed in, a node of its own that the assumed grounds are joined to."""
        nets = self.draft.tracing.hard_nets.of
        live = {nets[end.node] for end in self.circuit.sources if self.circuit.kind_at(end.node) is PartKind.BATTERY}
        posts = [end.node for end in self.circuit.grounds if self.circuit.kind_at(end.node) is PartKind.BATTERY]
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

    def battery(self) -> tuple[Span, str]:
        """Volts at the battery posts, and the state of the battery in words."""
        if self.changes.battery_v is not None:
            volts = self.changes.battery_v
            return Span(volts, volts, volts, "V", "as measured at the posts", "own"), (
                "as measured, charging" if self.turning else "as measured"
            )
        state = "charging" if self.turning else "cranking" if self.draft.key == "start" else "key on"
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
            part = self.circuit.part_at(end.node)
            if part is not None and part.kind is PartKind.BATTERY:
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
                        closed=not self.turning,
                        volts=_times(battery, factor),
                        is_battery=True,
                    )
                )
                if self.turning:
                    self._charged(part.name, end.node, minus)
            elif part is not None and part.kind is PartKind.GENERATOR:
                if part.name in self.turning:
                    self._generator(part.name, end.node, reference, battery)
            elif part is not None and part.kind is PartKind.CONVERTER:
                self._converter(part.name, end.node)
            else:
                self._assumed_source(end.node, reference, battery, part.name if part is not None else "")

    def _charged(self, name: str, plus: int, minus: int) -> None:
        """A battery while a generator turns. It may have several positive posts: each takes its share."""
        span = charging_a()
        posts = [end.node for end in self.circuit.sources if self.circuit.node_parts[end.node] == name]
        share = 1.0 / len(posts)
        amounts = (span.low * share, span.nominal * share, span.high * share)
        assumed = f"current that charges {name} ({figures.stated_range(span.low, span.high, 'A')} taken)"
        self.draft.draws.append(Draw(f"charging {name}", plus, minus, "current", amounts, self.draft.system_v, assumed))

    def _generator(self, name: str, stud: int, reference: int, battery: Span) -> None:
        """A generator that turns: regulated at its stud, against its own minus or the mass that it sits on."""
        facts = self.draft.facts(name)
        assert isinstance(facts, GeneratorFacts)
        pins = self.circuit.pins_of[name]
        minus = next((pins[pin] for pin in ("B-", "-", "31", "D-") if pin in pins), None)
        if minus is None:
            minus, where = self._engine(reference)
            self.draft.undecided[f"where the minus of {name} is ({where} taken)"] = None
        factor = share_of_system(facts.volts, self.draft.system_v) if facts.volts is not None else 1.0
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "regulated at its stud")
        volts = _times(battery, factor)
        self.draft.branches.append(Branch(minus, stud, -1, "generator", name, ideal, volts=volts, is_battery=True))

    def _engine(self, reference: int) -> tuple[int, str]:
        """The mass of the engine, and what it is called; battery negative where none is typed in."""
        for link in self.circuit.links:
            facts = self.circuit.parts[link.part].facts if link.kind is LinkKind.MASS else None
            if isinstance(facts, GroundFacts) and facts.on == "engine":
                mass = next((node for node in (link.a, link.b) if not self.circuit.node_parts[node]), link.b)
                return mass, "the mass of the engine"
        return reference, "battery negative"

    def _negative_posts(self) -> dict[str, int]:
        """The negative post of each battery; several posts of one battery are one."""
        found: dict[str, int] = {}
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "one post")
        for part in self.circuit.parts.values():
            if part.kind is not PartKind.BATTERY:
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
        batteries = [part for part in self.circuit.parts.values() if part.kind is PartKind.BATTERY]
        stacked = any(post not in grounds for post in self.posts.values())
        return 1.0 / len(batteries) if stacked and minus in self.posts.values() else 1.0

    def _converter(self, name: str, out: int) -> None:
        if self.switching.settled.alive.get(name, Level.DEAD) is not Level.LIVE:
            return
        if converter_follows(self.draft, name):
            share = conversion("efficiency")
            self.draft.notes.append(
                f"converter {name}: takes in what it gives out, at an efficiency of {figures.percent(share.low)} to {figures.percent(share.high)} (from memory)"
            )
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
        ohms = Ohms.of(contact_ohm(_NOT_WIRED))
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
            contact_ohm(_NOT_WIRED),
            "assumed source",
            f"the way from the battery to {self.draft.names[node]}",
        )
        self.draft.branches.append(
            Branch(reference, node, -1, "assumed source", module, ohms, volts=battery, is_battery=True)
        )


def converter_follows(draft: Draft, name: str) -> bool:
    """Whether what a converter takes in follows what it gives out: its output is known."""
    facts = draft.facts(name)
    assert isinstance(facts, ConverterFacts)
    return facts.volts is not None and facts.return_ != "unknown"


def turning_generators(draft: Draft) -> list[str]:
    """Generators that turn: held as turning, or all that are not held otherwise where what was measured at the posts says that the battery is being charged."""
    held = draft.changes.held
    charged = is_charged(draft.changes.battery_v, draft.limits)
    return [
        part.name
        for part in draft.circuit.parts.values()
        if part.kind is PartKind.GENERATOR
        and held.get(part.name, "yes" if charged else "no") == "yes"
        and any(draft.circuit.node_parts[end.node] == part.name for end in draft.circuit.sources)
    ]


def is_charged(measured_v: float | None, limits: LimitsInUse) -> bool:
    """Whether what was measured at the battery posts says that the battery is being charged."""
    lowest_v = limits.of("battery charging").low
    assert lowest_v is not None
    return measured_v is not None and measured_v >= lowest_v


def share_of_system(volts: float, system_v: float) -> float:
    """1 for a battery of the system's class, 1/2 for 12 V in 24 V, 2 for 24 V in 12 V: the nearest whole share or multiple."""
    if volts < system_v:
        return 1.0 / max(1, round(system_v / volts))
    return float(max(1, round(volts / system_v)))


def _times(span: Span, factor: float) -> Span:
    return replace(span, low=span.low * factor, nominal=span.nominal * factor, high=span.high * factor)
