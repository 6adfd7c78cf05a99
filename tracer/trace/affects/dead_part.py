"""What loses supply, ground or control when a part, a pin, a splice, a connector or a wire opens.

What has no way left is found by `reach`; what is lost in some key states only by settling every key state once more on the circuit without the opened links.
Both are taken on the vehicle as it is fitted: a position that is empty, or whose option is not fitted, feeds nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from tracer.circuit.model import CONDUCTORS, FUSE_KINDS, INSIDE_MODULE, Circuit, Link, LinkKind
from tracer.circuit.nets import Nets
from tracer.circuit.states import KeyStates, Level
from tracer.entry.models import ConnectorFacts, FuseFacts, ModuleFacts
from tracer.entry.problems import CannotAnswer, listed, natural, nearest
from tracer.standards import figures
from tracer.standards.cautions import cautions_for
from tracer.trace.affects.still_fed import Loss, Opened, Reach, opened_at_pin
from tracer.trace.panels.labels import position_in
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.settings import is_ruled_out
from tracer.trace.ways.simple import Ways

_WORDS = {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}
LOST, SOME_STATES, FEWER, OTHER_WAY = "lost", "some states", "less certain", "another way"


class UnknownPart(CannotAnswer, LookupError):
    """There is no such part, or it has no such pin; the message says which names are near."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is opened, in words. `parts` are the parts it stands for (a panel stands for all its positions)."""

    name: str
    kind: str
    parts: tuple[str, ...]
    opened: Opened
    words: str
    notes: tuple[str, ...] = ()


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
class Parted:
    """A signal line that comes apart: the pins of each piece."""

    pieces: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class AffectsReport:
    """Everything that opening a target affects, in the order shown."""

    vehicle: str
    target: Target
    keys: tuple[str, ...]
    effects: tuple[Effect, ...]
    relays: tuple[Relay, ...]
    gains: tuple[Gain, ...]
    parted: tuple[Parted, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    loose_ends: int  # of the vehicle: what hangs there may be affected too

    @property
    def complete(self) -> bool:
        """Whether nothing in the vehicle is loose."""
        return not self.loose_ends

    def of(self, verdict: str) -> tuple[Effect, ...]:
        """The effects of one verdict."""
        return tuple(effect for effect in self.effects if effect.verdict == verdict)


# --- names ---------------------------------------------------------------------------------------------------------


def part_named(circuit: Circuit, name: str) -> tuple[str, ...]:
    """The parts that a name means: a part, a position (`F9`, `FPC/F9`), both elements of a three-tab fuse, all positions of a panel.

    Raises
    ------
    UnknownPart : no such part, or a label that several panels have
    """
    if name in circuit.parts:
        if circuit.parts[name].kind != "panel":
            return (name,)
        return (name, *(part.name for part in circuit.parts.values() if part.panel == name))
    if name in circuit.short_names:
        return (circuit.short_names[name],)
    elements = tuple(part.name for part in circuit.parts.values() if getattr(part.facts, "body", None) == name)
    if elements:
        return elements
    several = [full for full in circuit.short_names if full.endswith(f"/{name}")]
    if several:
        raise UnknownPart(f"{name} is a position in several panels: write {listed(several)}.")
    known = [*circuit.parts, *circuit.typed.vehicle.rails]
    near = nearest(name, known, most=3)
    raise UnknownPart(f"there is no part {name}." + (f" Did you mean {listed(near)}?" if near else ""))


def target_of(circuit: Circuit, name: str, pin: str | None = None) -> Target:
    """What `name`, or a pin of it, means as something that opens.

    A fuse, relay, switch, diode, strap or load opens between its pins; a connector between its halves; at a splice, a ground point or a rail every wire comes off; a
    module, battery or generator is unplugged. A pin (`ALM`, `3`; or `ALM.3` as the name) stands for the contact there with its wires.

    Raises
    ------
    UnknownPart : no such part or pin
    """
    if pin is None and name not in circuit.parts and name not in circuit.short_names and "." in name:
        before, _, after = name.partition(".")
        if before in circuit.parts or before in circuit.short_names:
            name, pin = before, after
    if pin is not None:
        return _pin_target(circuit, name, pin)
    if name in circuit.typed.vehicle.rails and name not in circuit.parts:
        node = circuit.node_of_point[name, ""]
        return Target(name, "rail", (), _opened_node(circuit, [node]), f"rail {name} dead, everything on it apart")
    parts = part_named(circuit, name)
    kind = circuit.parts[parts[0]].kind if len(parts) == 1 else "panel" if name in circuit.parts else "fuse"
    at_nodes = {"splice", "ground", "module", "battery", "generator"}
    nodes: list[int] = []
    links: set[int] = set()
    wanted = set(parts)
    for part in parts:
        if circuit.parts[part].kind in at_nodes:
            nodes += circuit.pins_of.get(part, {}).values()
    for number, link in enumerate(circuit.links):
        if link.part in wanted and link.kind not in (LinkKind.MEETS, LinkKind.RAIL):
            links.add(number)
    at = _opened_node(circuit, nodes)
    opened = Opened(frozenset(links) | at.links, at.nodes)
    return Target(name, kind, parts, opened, _words(circuit, name, kind, parts), tuple(_target_notes(circuit, parts)))


def _pin_target(circuit: Circuit, name: str, pin: str) -> Target:
    parts = part_named(circuit, name)
    if len(parts) > 1:
        raise UnknownPart(f"{name} stands for {listed(parts, joiner='and')}: name one of them.")
    part = circuit.parts[parts[0]]
    pins = circuit.pins_of.get(part.name, {})
    if isinstance(part.facts, ConnectorFacts):
        return _cavity_target(circuit, part.name, part.facts, pin, pins)
    if pin not in pins:
        known = sorted((one for one in pins if one and not one.startswith("group ")), key=natural)
        hint = f" Wired pins: {listed(known, most=24, joiner='and')}." if known else f" Name {part.name} alone."
        raise UnknownPart(f"{part.name} has no pin {pin} that is wired.{hint}")
    opened = opened_at_pin(circuit, pins[pin])
    wires = [
        circuit.wire_of(circuit.links[n]).text for n in sorted(opened.links) if circuit.links[n].kind is LinkKind.WIRE
    ]
    words = f"{part.name}.{pin} open" + (
        f": wire {' and wire '.join(wires)}" if wires else ": what is attached there comes off"
    )
    return Target(f"{part.name}.{pin}", "pin", (part.name,), opened, words)


def _cavity_target(circuit: Circuit, name: str, facts: ConnectorFacts, pin: str, pins: Mapping[str, int]) -> Target:
    for node in pins.values():
        if circuit.node_names[node] == f"{name}.{pin}":
            words = f"{circuit.node_names[node]}: the wire there open"
            return Target(circuit.node_names[node], "pin", (name,), opened_at_pin(circuit, node), words)
    cavity, _, half = pin.partition(":")
    a_of_b = {b: a for a, b in facts.mates.items()}
    if half not in ("", "a", "b"):
        raise UnknownPart(
            f"a connector has the halves a and b: write {name} {cavity}:a, or where the half leads, as lists show it."
        )
    a, arrow, b = cavity.partition(">")
    if not arrow and not half and (facts.mates.get(a, a) != a or a_of_b.get(a, a) != a):
        choices = [f"{one}>{facts.mates[one]}" for one in dict.fromkeys((a, a_of_b.get(a, a))) if one in facts.mates]
        raise UnknownPart(f"{name}: the halves number their cavities differently; write {listed(choices)}.")
    if half == "b":
        a = a_of_b.get(cavity, cavity)
    if f"{a}:a" not in pins or (arrow and facts.mates.get(a, a) != b):
        raise UnknownPart(f"{name} has no cavity {pin} that is wired.")
    first, second = pins[f"{a}:a"], pins[f"{a}:b"]
    if half:
        if not circuit.is_told(first):
            names = [f'{name} "{circuit.node_names[node].removeprefix(f"{name}.")}"' for node in (first, second)]
            raise UnknownPart(f"nothing says which half of {name} is a: write {listed(names)}.")
        shown = circuit.node_names[first if half == "a" else second]
        return _cavity_target(circuit, name, facts, shown.removeprefix(f"{name}."), pins)
    mating = {
        n for n in circuit.at[first] if circuit.links[n].kind is LinkKind.MATING and circuit.links[n].part == name
    }
    shown = circuit.contact_name(first, second)
    return Target(shown, "cavity", (name,), Opened(frozenset(mating)), f"{shown}: contact between the two halves open")


def _opened_node(circuit: Circuit, nodes: Iterable[int]) -> Opened:
    nodes = frozenset(nodes)
    return Opened(frozenset(number for node in nodes for number in circuit.at[node]), nodes)


def _words(circuit: Circuit, name: str, kind: str, parts: tuple[str, ...]) -> str:
    if kind == "panel":
        return f"panel {name} dead: every position and busbar in it open"
    if len(parts) > 1:
        return f"{name}: both elements open ({listed(parts, joiner='and')})"
    words = {
        "fuse": "open (blown, missing or without contact)",
        "link": "open (melted or without contact)",
        "breaker": "open (tripped)",
        "relay": "pulled, or its contacts and coil open",
        "connector": "unplugged",
        "joint": "open: its cavities apart",
        "splice": "open: every wire of it apart",
        "ground": "off: every eyelet of it apart",
        "strap": "open",
        "module": "unplugged",
        "battery": "off",
        "generator": "off",
    }
    return f"{kind} {name} {words.get(kind, 'open')}"


def _target_notes(circuit: Circuit, parts: Iterable[str]) -> Iterator[str]:
    for name in parts:
        part = circuit.parts[name]
        state = getattr(part.facts, "state", None)
        if state == "empty":
            yield f"{name} must be empty: nothing is lost by opening it"
        elif state == "option":
            yield f"{name} is an option that is not fitted here: nothing is lost by opening it"
        elif state == "none":
            yield f"no fuse exists at {name}: an electronic output does its work"
        if part.kind == "ground":
            yield (
                f"taken as every eyelet of {name} apart; where only the stack of eyelets lifts from the metal, the eyelets still touch each other, "
                "and current goes back through a neighbour"
            )


# --- one target ------------------------------------------------------------------------------------------------


class Affected:
    """Asks what opens, again and again, of one vehicle; what all answers share is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self._fitted: dict[frozenset[str], _Fitted] = {}

    def report(self, name: str, pin: str | None = None) -> AffectsReport:
        """Everything that opening a part (or a pin of it) affects.

        Raises
        ------
        UnknownPart : no such part or pin
        """
        return self.of_target(target_of(self.circuit, name, pin))

    def of_target(self, target: Target) -> AffectsReport:
        """Everything that opening this target affects."""
        fitted = self.fitted(_either_partners(self.circuit, target.parts))
        loss = fitted.reach.lost_by(target.opened)
        after = self._after(fitted, target, loss)
        own = set(target.parts) if target.kind != "pin" else set()
        effects, gains = [], []
        passed = fitted.ways_through(target.opened.links)
        for terminal in fitted.terminals:
            if terminal.part in own:
                continue
            found = _effect(fitted, terminal, loss, after, terminal.node in passed[terminal.level])
            if isinstance(found, Gain):
                gains.append(found)
            elif found is not None:
                effects.append(found)
        notes = list(target.notes)
        partners = sorted(fitted.either)
        if partners:
            notes.append(
                f"either-or position: the fuse sits in {listed(target.parts)} or in {listed(partners)}; it is taken as sitting in {listed(target.parts)}"
            )
        return AffectsReport(
            self.circuit.name,
            target,
            fitted.states.keys,
            tuple(sorted(effects, key=_order)),
            tuple(self._relays(fitted, loss, after, own)),
            tuple(gains),
            tuple(self._parted(fitted, target)),
            tuple(notes),
            _cautions(target.kind),
            len(loose_ends(self.tracing)),
        )

    def _after(self, fitted: _Fitted, target: Target, loss: Loss) -> KeyStates:
        """The key states with the target open. They know of themselves what falls without supply; a module without any ground is opened here."""
        circuit = self.circuit
        opened = target.opened.links | fitted.dead_links
        ungrounded = [
            dropped.part for dropped in loss.dropped if dropped.kind == "module" and dropped.lacks == "ground"
        ]
        while True:
            after = KeyStates(circuit_without(circuit, opened, target.opened.nodes))
            dead = {name for name in ungrounded if self._without_ground(after, name)}
            more = {
                number
                for number, link in enumerate(circuit.links)
                if link.part in dead and link.kind in (LinkKind.DRIVER_HIGH, LinkKind.DRIVER_LOW)
            }
            if more <= opened:
                return after
            opened |= more

    def _without_ground(self, states: KeyStates, module: str) -> bool:
        """Whether every declared ground of a module is dead in every key state; one that hangs on something unknown may still be there."""
        facts = self.circuit.parts[module].facts
        assert isinstance(facts, ModuleFacts)
        pins = self.circuit.pins_of[module]
        grounds = [pins[pin] for pin, words in facts.pins.items() if words.split()[0] == "ground" and pin in pins]
        return all(states.ground_level(node, key) is Level.DEAD for node in grounds for key in states.keys)

    def fitted(self, either: frozenset[str] = frozenset()) -> _Fitted:
        """The vehicle as fitted, with the given alternatives of either-or positions left empty."""
        if either not in self._fitted:
            self._fitted[either] = _Fitted(self.tracing, either)
        return self._fitted[either]

    def _relays(self, fitted: _Fitted, loss: Loss, after: KeyStates, own: set[str]) -> Iterator[Relay]:
        """What drops out: outright by `reach`, or in some key states only."""
        circuit = self.circuit
        told = set(own)
        for dropped in loss.dropped:
            if dropped.part not in told:
                told.add(dropped.part)
                pin = circuit.node_pins[dropped.node]
                states = tuple(
                    key
                    for key in after.keys
                    if dropped.kind != "relay" or _energised(fitted.states, dropped.part, key) is not Level.DEAD
                )
                certain = all(
                    _level(fitted, after, dropped.node, dropped.lacks, key, loss.opened) is Level.DEAD
                    for key in after.keys
                )
                yield Relay(dropped.part, dropped.kind, dropped.lacks, pin, states, dropped.cause, certain)
        for part in circuit.parts.values():
            if part.kind != "relay" or part.name in told or part.name in fitted.reach.unfitted:
                continue
            states = tuple(
                key
                for key in after.keys
                if _energised(after, part.name, key) < _energised(fitted.states, part.name, key)
            )
            if states:
                lacks, pin = _lacking(circuit, fitted.states, after, part.coils, part.name, states)
                yield Relay(part.name, "relay", lacks, pin, states, "")

    def _parted(self, fitted: _Fitted, target: Target) -> Iterator[Parted]:
        """Lines that carry neither supply nor ground by themselves (signal, bus, sensor) and come apart."""
        circuit = self.circuit
        nets = fitted.nets
        touched = {
            nets.of[circuit.links[number].a]
            for number in target.opened.links
            if circuit.links[number].kind in CONDUCTORS - INSIDE_MODULE
        }
        for net in sorted(touched):
            members = nets.members[net]
            if any(fitted.reach.reached(node, level) for node in members for level in ("supply", "ground")):
                continue
            pieces = [
                sorted(name for node in piece if (name := self._line_pin(node)))
                for piece in _pieces(circuit, members, target.opened.links)
            ]
            filled = sorted(tuple(piece) for piece in pieces if piece)
            if len(filled) > 1:
                yield Parted(tuple(filled))

    def _line_pin(self, node: int) -> str:
        part = self.circuit.parts.get(self.circuit.node_parts[node])
        wanted = ("module", "load", "resistor", "diode", "switch", "relay", "generator")
        return self.circuit.node_names[node] if part is not None and part.kind in wanted else ""


class _Fitted:
    """The vehicle as fitted: reach, ways, key states, terminals."""

    def __init__(self, tracing: Tracing, either: frozenset[str]) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.either = either
        self.reach = Reach(tracing, unfitted=either)
        self.dead_links = frozenset(
            number for number, link in enumerate(self.circuit.links) if link.part in self.reach.unfitted
        )
        self.terminals = tuple(terminals(self.circuit, self.reach))
        self._states: KeyStates | None = None
        self._nets: Nets | None = None

    @property
    def states(self) -> KeyStates:
        """Key states with nothing opened."""
        if self._states is None:
            if self.dead_links:
                self._states = KeyStates(circuit_without(self.circuit, self.dead_links))
            else:
                self._states = self.tracing.states
        return self._states

    @property
    def nets(self) -> Nets:
        """Conductors outside modules, positions that are not fitted left out."""
        if self._nets is None:
            self._nets = Nets(circuit_without(self.circuit, self.dead_links), inside_modules=False)
        return self._nets

    def ways(self, level: str) -> Ways:
        """Every way of one level."""
        return self.reach.ways(level)

    def ways_through(self, links: frozenset[int]) -> dict[str, frozenset[int]]:
        """For each level the terminals' nodes to which a way leads over one of the links."""
        wanted = {id(self.circuit.links[number]) for number in links}
        found: dict[str, frozenset[int]] = {}
        for level in ("supply", "ground"):
            ways = self.ways(level)
            blocks = set().union(*ways.blocks_with(lambda link: id(link) in wanted).values())
            nodes = {terminal.node for terminal in self.terminals if terminal.level == level}
            found[level] = frozenset(
                node
                for node in nodes
                if ways.leads_to(node)
                and not blocks.isdisjoint(ways.blocks_to(node))
                and (way := ways.to(node)) is not None
                and not links.isdisjoint(way.links)
            )
        return found


_OUTSIDE = frozenset({LinkKind.WIRE, LinkKind.BUSBAR, LinkKind.MEETS, LinkKind.RAIL, LinkKind.MASS})


def circuit_without(circuit: Circuit, links: frozenset[int], nodes: frozenset[int] = frozenset()) -> Circuit:
    """The circuit with links open; sources and grounds at the given nodes are ends no longer.

    An opened wire stays where it is, with its two ends hanging loose on new nodes: what was typed in must not look as if it had never been. Nodes keep their numbers,
    links do not.
    """
    kept: list[Link] = []
    names = list(circuit.node_names)
    for number, link in enumerate(circuit.links):
        if number not in links:
            kept.append(link)
        elif link.kind in _OUTSIDE:
            names += ["open end", "open end"]
            kept.append(replace(link, b=len(names) - 2))
            kept.append(replace(link, a=len(names) - 1))
    blank = [""] * (len(names) - len(circuit.node_names))
    return replace(
        circuit,
        links=kept,
        node_names=names,
        node_parts=[*circuit.node_parts, *blank],
        node_pins=[*circuit.node_pins, *blank],
        sources=tuple(end for end in circuit.sources if end.node not in nodes),
        grounds=tuple(end for end in circuit.grounds if end.node not in nodes),
    )


def terminals(circuit: Circuit, reach: Reach) -> Iterator[Terminal]:
    """Every pin that draws on supply or ground, part by part in the order typed."""
    for part in circuit.parts.values():
        pins = circuit.pins_of.get(part.name, {})
        if part.name in reach.unfitted:
            continue
        if isinstance(part.facts, ModuleFacts):
            yield from _module_terminals(circuit, reach, part.name, part.facts, pins)
            continue
        if part.kind == "relay":
            drawing = [pin for coil in part.coils for pin in coil]
        elif part.kind == "converter":
            drawing = ["in", "ground"]
        elif part.kind == "load":
            drawing = list(pins)
        else:
            continue
        for pin in dict.fromkeys(drawing):
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


def affects(circuit: Circuit | Tracing, name: str, pin: str | None = None) -> AffectsReport:
    """Everything that loses supply, ground or control when a part, or what is attached at one of its pins, opens.

    Parameters
    ----------
    circuit : a joined circuit, or a `Tracing` of one
    name : a part, position, panel, rail, or `PART.PIN`
    pin : a pin of it

    Raises
    ------
    UnknownPart : no such part or pin
    """
    return Affected(circuit if isinstance(circuit, Tracing) else Tracing(circuit)).report(name, pin)


def every_fuse(tracing: Tracing, reach: Reach | None = None) -> dict[str, Loss]:
    """For each fuse, link and breaker that is fitted, what has no supply or ground left without it: one pass, key states left out.

    A loop that only holds itself (a module that holds the relay that feeds it) counts as held here; `affects` settles the key states and sees it fall.
    """
    reach = reach or Reach(tracing)
    return {
        link.part: reach.lost_by(Opened(frozenset((number,))))
        for number, link in enumerate(tracing.circuit.links)
        if link.kind is LinkKind.FUSE and link.part not in reach.unfitted
    }


# --- levels ----------------------------------------------------------------------------------------------------


def _level(
    fitted: _Fitted, states: KeyStates, node: int, level: str, key: str, opened: frozenset[int] = frozenset()
) -> Level:
    found = states.supply_level(node, key) if level == "supply" else states.ground_level(node, key)
    if found is Level.DEPENDS and is_ruled_out(states, fitted.ways(level), node, key, level, opened):
        return Level.DEAD
    return found


def _effect(fitted: _Fitted, terminal: Terminal, loss: Loss, after: KeyStates, passed: bool) -> Effect | Gain | None:
    node, level = terminal.node, terminal.level
    before = {key: _level(fitted, fitted.states, node, level, key) for key in after.keys}
    then = {key: _level(fitted, after, node, level, key, loss.opened) for key in after.keys}
    worse = tuple(key for key in after.keys if then[key] < before[key])
    gone = terminal.node in loss.at(terminal.level)
    alive_before = any(level is not Level.DEAD for level in before.values())
    shown = ({key: _WORDS[level] for key, level in before.items()}, {key: _WORDS[level] for key, level in then.items()})
    if (gone or alive_before) and all(level is Level.DEAD for level in then.values()):
        return Effect(terminal, LOST, _cause(loss, terminal), *shown, worse, {})
    if not worse and not passed and not gone:
        better = tuple(key for key in after.keys if then[key] > before[key])
        return Gain(terminal, better, *shown) if better else None
    supply = terminal.level == "supply"
    why = {
        key: tuple(reason.text for reason in after.reasons(terminal.node, key, supply=supply))
        for key in after.keys
        if then[key] is Level.DEPENDS
    }
    dead = tuple(key for key in worse if then[key] is Level.DEAD)
    remains = _remains(fitted, terminal, loss)
    if dead:
        return Effect(terminal, SOME_STATES, _cause(loss, terminal), *shown, dead, why, remains)
    narrower = tuple(key for key in after.keys if key in worse or (key in why and _fewer(fitted, terminal, key, why)))
    verdict = FEWER if narrower or gone else OTHER_WAY  # gone, and yet not dead: it hangs on something not typed in
    return Effect(terminal, verdict, "", *shown, narrower, why, remains)


def _fewer(fitted: _Fitted, terminal: Terminal, key: str, why: Mapping[str, tuple[str, ...]]) -> bool:
    """Whether an uncertain level hung on something before that it no longer hangs on: one of its ways is gone in this state."""
    before = fitted.states.reasons(terminal.node, key, supply=terminal.level == "supply")
    return bool({reason.text for reason in before} - set(why[key]))


def _cause(loss: Loss, terminal: Terminal) -> str:
    return loss.at(terminal.level).get(terminal.node, "")


def _remains(fitted: _Fitted, terminal: Terminal, loss: Loss) -> tuple[str, ...]:
    """The fuses (for ground: the ground points) nearest to a terminal over which it is still fed."""
    circuit = fitted.circuit
    way = fitted.ways(terminal.level).to(terminal.node)
    if way is None:
        return ()
    kind = LinkKind.FUSE if terminal.level == "supply" else LinkKind.MASS
    left = {number for number in way.links if number not in loss.opened}
    found: dict[str, None] = {}
    seen, queue = {terminal.node}, [terminal.node]
    for node in queue:
        for number in circuit.at[node]:
            if number not in left:
                continue
            link = circuit.links[number]
            other = circuit.other(link, node)
            if other in loss.at(terminal.level) or other in seen:
                continue
            if link.kind is kind:
                found[link.part] = None
                continue
            seen.add(other)
            queue.append(other)
    return tuple(found)


def _energised(states: KeyStates, relay: str, key: str) -> Level:
    first, second = (settled[key].relays.get(relay, Level.DEAD) for settled in (states.settled, states.settled_again))
    return first if first == second else Level.DEPENDS


def _lacking(
    circuit: Circuit, before: KeyStates, after: KeyStates, coils: tuple[tuple[str, str], ...], relay: str, states: tuple[str, ...]
) -> tuple[str, str]:  # fmt: skip
    """Which side of a coil is worse than before in the first of the states."""
    pins, key = circuit.pins_of[relay], states[0]
    for pin in (pin for coil in coils for pin in coil):
        if after.supply_level(pins[pin], key) < before.supply_level(pins[pin], key):
            return "supply", pin
        if after.ground_level(pins[pin], key) < before.ground_level(pins[pin], key):
            return "ground", pin
    return "supply", coils[0][0]


def _cautions(kind: str) -> tuple[str, ...]:
    works = ("fuses", "battery") if kind in ("battery", "link", "generator") else ("fuses",)
    return tuple(dict.fromkeys(caution.text for work in works for caution in cautions_for(work)))


def _either_partners(circuit: Circuit, parts: Iterable[str]) -> frozenset[str]:
    """The other position of an either-or pair: while a fuse sits here, that one is empty."""
    asked = set(parts)
    found = set()
    for name, part in circuit.parts.items():
        other = getattr(part.facts, "or_", None)
        if other is None:
            continue
        partner = position_in(circuit, part.panel, other)
        if partner is not None:
            found |= ({partner} if name in asked else set()) | ({name} if partner in asked else set())
    return frozenset(found - asked)


def _pieces(circuit: Circuit, members: list[int], opened: frozenset[int]) -> Iterator[list[int]]:
    left = set(members)
    kinds = CONDUCTORS - INSIDE_MODULE
    while left:
        piece = [min(left)]
        left.discard(piece[0])
        for node in piece:
            for number in circuit.at[node]:
                link = circuit.links[number]
                other = circuit.other(link, node)
                if number not in opened and link.kind in kinds and other in left:
                    left.discard(other)
                    piece.append(other)
        yield piece


def _order(effect: Effect) -> tuple[int, str, str]:
    kinds = ("module", "load", "converter", "relay")
    return kinds.index(effect.terminal.kind), effect.terminal.part, "01"[effect.terminal.level == "ground"]


def fuse_words(circuit: Circuit, name: str) -> str:
    """'F9 10 A', 'ML1 150 A', 'STE'."""
    facts = circuit.parts[name].facts if name in circuit.parts else None
    return (
        f"{name} {figures.stated(facts.amps, 'A')}" if isinstance(facts, FuseFacts) and facts.amps is not None else name
    )


__all__ = [
    "FEWER", "FUSE_KINDS", "LOST", "OTHER_WAY", "SOME_STATES", "Affected", "AffectsReport", "Effect", "Gain", "Parted", "Relay", "Target", "Terminal",
    "UnknownPart", "affects", "circuit_without", "every_fuse", "fuse_words", "part_named", "target_of", "terminals",
]  # fmt: skip
