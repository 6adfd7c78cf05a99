"""What `affects` answers with: the pins that draw on supply or ground, and what becomes of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.entry.models import FuseFacts, ModuleFacts
from tracer.entry.problems import natural
from tracer.standards import figures
from tracer.trace.affects.still_fed import Reach
from tracer.trace.affects.targets import Target
from tracer.trace.kinds import PARTS, Draws
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding

LOST, SOME_STATES, FEWER, OTHER_WAY = "lost", "some states", "less certain", "another way"


@dataclass(frozen=True, slots=True)
class Terminal:
    """A pin that draws on supply or ground: of a module, load, relay coil or converter. `level` is supply or ground."""

    part: str
    kind: str
    pin: str
    node: int
    level: str
    role: str  # supply | ground | signal, for modules; otherwise the level
    declared: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What becomes of one terminal.

    `verdict` is lost (no way left, or dead in every key state), some states (dead in some that it was live in), less certain (depends on more than before) or
    another way (what was opened lies on a way to it, and nothing is lost). `before` and `after` map key states to live, dead, depends. `by` names the relay, module
    or converter whose failure takes it along; `states` the key states that changed; `why` what an uncertain state hangs on afterwards; `remains` the fuses
    (for ground: ground points) through which it is still fed.
    """

    terminal: Terminal
    verdict: str
    by: str
    before: dict[str, str]
    after: dict[str, str]
    states: tuple[str, ...]
    why: dict[str, tuple[str, ...]]
    remains: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Gain:
    """A terminal that becomes live (or grounded) in key states in which it was not: a rest contact that stays closed, for example."""

    terminal: Terminal
    states: tuple[str, ...]
    before: dict[str, str]
    after: dict[str, str]


@dataclass(frozen=True, slots=True)
class Relay:
    """A relay, module or converter that drops out, what it lacks and at which pin; `by` is what took it along before.

    `certain` is false where something that is not typed in may still feed it.
    """

    part: str
    kind: str
    lacks: str
    pin: str
    states: tuple[str, ...]
    by: str
    certain: bool = True


@dataclass(frozen=True, slots=True)
class Severed:
    """A signal line that comes apart: the pins of each piece."""

    pieces: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class AffectsReport(Answer):
    """Everything that opening a target affects, in the order shown."""

    vehicle: str
    target: Target
    keys: tuple[str, ...]
    effects: tuple[Effect, ...]
    relays: tuple[Relay, ...]
    gains: tuple[Gain, ...]
    severed: tuple[Severed, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    completeness: Completeness  # of the vehicle: what hangs on something loose may be affected too
    minding: Minding = NOTHING

    def of(self, verdict: str) -> tuple[Effect, ...]:
        """The effects of one verdict."""
        return tuple(effect for effect in self.effects if effect.verdict == verdict)


def terminals(circuit: Circuit, reach: Reach) -> Iterator[Terminal]:
    """Every pin that draws on supply or ground, part by part in the order typed."""
    for part in circuit.parts.values():
        pins = circuit.pins_of.get(part.name, {})
        if part.name in reach.unfitted:
            continue
        if isinstance(part.facts, ModuleFacts):
            yield from _module_terminals(circuit, reach, part.name, part.facts, pins)
            continue
        draws = PARTS[part.kind].draws
        if draws is Draws.AT_ITS_COILS:
            pins_that_draw = [pin for coil in part.coils for pin in coil]
        elif draws is Draws.AT_ITS_INPUT:
            pins_that_draw = ["in", "ground"]
        elif draws is Draws.AT_EVERY_PIN:
            pins_that_draw = list(pins)
        else:
            continue
        for pin in dict.fromkeys(pins_that_draw):
            for level in ("supply", "ground"):
                if pin in pins and reach.reached(pins[pin], level):
                    yield Terminal(part.name, part.kind, pin, pins[pin], level, level, part.facts.name or "")


def _module_terminals(
    circuit: Circuit, reach: Reach, name: str, facts: ModuleFacts, pins: Mapping[str, int]
) -> Iterator[Terminal]:

    for pin in sorted(pins, key=natural):
        node = pins[pin]
        declared = facts.pins.get(pin, "")
        role = declared.split()[0] if declared else ""
        if role == "output" or not circuit.is_attached(node):
            continue
        for level in ("supply", "ground"):
            if role in ("supply", "ground") and role != level:
                continue
            if reach.reached(node, level):
                yield Terminal(name, "module", pin, node, level, level if role in ("", level) else "signal", declared)


def fuse_words(circuit: Circuit, name: str) -> str:
    """'F9 10 A', 'ML1 150 A', 'STE'."""
    facts = circuit.parts[name].facts if name in circuit.parts else None
    return (
        f"{name} {figures.stated(facts.amps, 'A')}" if isinstance(facts, FuseFacts) and facts.amps is not None else name
    )
