"""What loses supply, ground or control when a part, a pin, a splice, a connector or a wire opens.

What has no way left is found by `reach`; what is lost in some key states only by settling every key state once more on the circuit without the opened links.
Both are taken on the vehicle as it is fitted: a position that is empty, or whose option is not fitted, feeds nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cached_property

from tracer.circuit.flood import flood
from tracer.circuit.kinds import CONDUCTORS, DRIVERS, FUSE_KINDS, INSIDE_MODULE, LINKS, Link, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.nets import Nets
from tracer.circuit.states import KeyStates, Level
from tracer.circuit.without import circuit_without
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import listed, natural
from tracer.standards.cautions import cautions_for
from tracer.trace.affects.effects import (
    FEWER,
    LOST,
    OTHER_WAY,
    SOME_STATES,
    AffectsReport,
    Effect,
    Gain,
    Relay,
    Severed,
    Terminal,
    fuse_words,
    terminals,
)
from tracer.trace.affects.still_fed import Loss, Reach
from tracer.trace.affects.targets import Target, UnknownPart, either_partners, part_named, target_of
from tracer.trace.kinds import CONSUMERS, PARTS
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.minding import minding_of
from tracer.trace.tracing import Tracing
from tracer.trace.ways.settings import is_ruled_out
from tracer.trace.ways.simple import Ways

_LINE = CONDUCTORS - INSIDE_MODULE
_WORDS = {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}


# --- one target ------------------------------------------------------------------------------------------------


class Affected:
    """Asks what opens, again and again, of one vehicle; what all answers share is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self._fitted: dict[frozenset[str], _Fitted] = {}
        self._reports: dict[tuple[str, str | None], AffectsReport] = {}

    def report(self, name: str, pin: str | None = None) -> AffectsReport:
        """Everything that opening a part (or a pin of it) affects.

        Raises
        ------
        UnknownPart : no such part or pin
        """
        if (name, pin) not in self._reports:
            self._reports[name, pin] = self.of_target(target_of(self.circuit, name, pin))
        return self._reports[name, pin]

    def of_target(self, target: Target) -> AffectsReport:
        """Everything that opening this target affects."""
        fitted = self.fitted(either_partners(self.circuit, target.parts))
        loss = fitted.reach.lost_by(target.opened)
        after = self._after(fitted, target, loss)
        own = set(target.parts) if target.kind != "pin" else set()
        effects, gains = [], []
        passed = fitted.ways_through(target.opened.links)
        for terminal in fitted.terminals:
            if terminal.part in own:
                continue
            are = _levels_at(fitted, after, terminal, loss.opened)
            found = _effect(fitted, terminal, loss, after, are, terminal.node in passed[terminal.level])
            gain = _gain(fitted, terminal, after.keys, are)
            if gain is not None:
                gains.append(gain)
            if found is not None and (gain is None or found.verdict != OTHER_WAY):
                effects.append(found)
        notes = list(target.notes)
        partners = sorted(fitted.either)
        if partners:
            notes.append(
                f"either-or position: the fuse sits in {listed(target.parts)} or in {listed(partners)}; it is taken as sitting in {listed(target.parts)}"
            )
        report = AffectsReport(
            self.circuit.name,
            target,
            fitted.states.keys,
            tuple(sorted(effects, key=_order)),
            tuple(self._relays(fitted, loss, after, own)),
            tuple(gains),
            tuple(self._severed(fitted, target)),
            tuple(notes),
            _cautions(target.kind),
            whole_vehicle(self.tracing),
        )
        return replace(report, minding=minding_of(self.tracing, report))

    def _after(self, fitted: _Fitted, target: Target, loss: Loss) -> KeyStates:
        """The key states with the target open. They know of themselves what falls without supply; a module without any ground is opened here."""
        circuit = self.circuit
        opened = target.opened.links | fitted.dead_links
        ungrounded = [
            dropped.part for dropped in loss.dropped if dropped.kind == "module" and dropped.lacks == "ground"
        ]
        while True:
            after = fitted.states_without(opened, target.opened.nodes)
            dead = {name for name in ungrounded if self._without_ground(after, name)}
            more = {number for number, link in enumerate(circuit.links) if link.part in dead and link.kind in DRIVERS}
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
            if part.kind is not PartKind.RELAY or part.name in told or part.name in fitted.reach.unfitted:
                continue
            states = tuple(
                key
                for key in after.keys
                if _energised(after, part.name, key) < _energised(fitted.states, part.name, key)
            )
            if states:
                lacks, pin = _lacking(circuit, fitted.states, after, part.coils, part.name, states)
                yield Relay(part.name, "relay", lacks, pin, states, "")

    def _severed(self, fitted: _Fitted, target: Target) -> Iterator[Severed]:
        """Lines that carry neither supply nor ground by themselves (signal, bus, sensor) and come apart."""
        circuit = self.circuit
        nets = fitted.nets
        touched = {
            nets.of[circuit.links[number].a] for number in target.opened.links if circuit.links[number].kind in _LINE
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
                yield Severed(tuple(filled))

    def _line_pin(self, node: int) -> str:
        part = self.circuit.part_at(node)
        return self.circuit.node_names[node] if part is not None and PARTS[part.kind].ends_line else ""


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
        self._way_links: dict[tuple[str, int], frozenset[int]] = {}

    @property
    def states(self) -> KeyStates:
        """Key states with nothing opened."""
        if self._states is None:
            if self.dead_links:
                self._states = KeyStates(circuit_without(self.circuit, self.dead_links))
            else:
                self._states = self.tracing.states
        return self._states

    def states_without(self, opened: frozenset[int], nodes: frozenset[int]) -> KeyStates:
        """Key states with links open."""
        links, numbers = self.circuit.links, self._numbers
        return self.states.without([numbers[id(links[n])] for n in opened - self.dead_links], nodes)

    @cached_property
    def _numbers(self) -> dict[int, int]:
        """By the identity of a link its number in the vehicle as fitted."""
        return {id(link): number for number, link in enumerate(self.states.circuit.links)}

    @property
    def nets(self) -> Nets:
        """Conductors outside modules, positions that are not fitted left out."""
        if self._nets is None:
            self._nets = Nets(circuit_without(self.circuit, self.dead_links), inside_modules=False)
        return self._nets

    @cached_property
    def levels_before(self) -> dict[Terminal, tuple[Level, ...]]:
        """The level of each terminal in each key state, with nothing opened."""
        return {terminal: _levels_at(self, self.states, terminal) for terminal in self.terminals}

    def ways(self, level: str) -> Ways:
        """Every way of one level."""
        return self.reach.ways(level)

    def _links_to(self, level: str, node: int) -> frozenset[int]:
        """The links on the ways to a node: kept, since every part that opens asks for those of the same terminals."""
        if (level, node) not in self._way_links:
            way = self.ways(level).to(node)
            self._way_links[level, node] = frozenset() if way is None else way.links
        return self._way_links[level, node]

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
                and not links.isdisjoint(self._links_to(level, node))
            )
        return found


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


# --- levels ----------------------------------------------------------------------------------------------------


def _level(
    fitted: _Fitted, states: KeyStates, node: int, level: str, key: str, opened: frozenset[int] = frozenset()
) -> Level:
    found = states.supply_level(node, key) if level == "supply" else states.ground_level(node, key)
    if found is Level.DEPENDS and is_ruled_out(states, fitted.ways(level), node, key, level, opened):
        return Level.DEAD
    return found


def _levels_at(fitted: _Fitted, states: KeyStates, terminal: Terminal, opened: frozenset[int] = frozenset()) -> tuple[Level, ...]:  # fmt: skip
    """The level of a terminal in each key state."""
    net, supply = states.nets.of[terminal.node], terminal.level == "supply"
    found = tuple(states.levels(key, supply=supply).get(net, Level.DEAD) for key in states.keys)
    if Level.DEPENDS not in found:
        return found
    return tuple(_level(fitted, states, terminal.node, terminal.level, key, opened) for key in states.keys)


def _effect(
    fitted: _Fitted, terminal: Terminal, loss: Loss, after: KeyStates, are: tuple[Level, ...], passed: bool
) -> Effect | None:
    gone = terminal.node in loss.at(terminal.level)
    were = fitted.levels_before[terminal]
    if were == are and not passed and not gone:
        return None
    before, then = (dict(zip(after.keys, levels, strict=True)) for levels in (were, are))
    worse = tuple(key for key in after.keys if then[key] < before[key])
    alive_before = any(level is not Level.DEAD for level in before.values())
    shown = ({key: _WORDS[level] for key, level in before.items()}, {key: _WORDS[level] for key, level in then.items()})
    if (gone or alive_before) and all(level is Level.DEAD for level in then.values()):
        return Effect(terminal, LOST, _cause(loss, terminal), *shown, worse, {})
    if not worse and not passed and not gone:
        return None
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


def _gain(fitted: _Fitted, terminal: Terminal, keys: tuple[str, ...], are: tuple[Level, ...]) -> Gain | None:
    """Where a terminal is live, or may be, that was not: also one that what opened lay on a way to, or that is lost in other key states."""
    were = fitted.levels_before[terminal]
    better = tuple(key for key, was, now in zip(keys, were, are, strict=True) if now > was)
    words = (dict(zip(keys, map(_WORDS.__getitem__, levels), strict=True)) for levels in (were, are))
    return Gain(terminal, better, *words) if better else None


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
    found: dict[str, None] = {}
    dead = loss.at(terminal.level)

    def leads(number: int, link: Link, here: int, there: int) -> bool:
        if number not in way.links or number in loss.opened or there in dead:
            return False
        if link.kind is kind:
            found[link.part] = None
        return link.kind is not kind

    flood(circuit, [terminal.node], LINKS, passes=leads)
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


def _pieces(circuit: Circuit, members: list[int], opened: frozenset[int]) -> Iterator[set[int]]:
    """The pieces into which a net falls when links of it open."""
    import networkx

    numbers = {number for node in members for number in circuit.at[node]} - opened
    line = networkx.Graph((link.a, link.b) for number in numbers if (link := circuit.links[number]).kind in _LINE)
    line.add_nodes_from(members)
    found: Iterator[set[int]] = networkx.connected_components(line)
    return found


def _order(effect: Effect) -> tuple[int, list[tuple[int, int, str]], str]:
    return (
        CONSUMERS.index(PartKind(effect.terminal.kind)),
        natural(effect.terminal.part),
        "01"[effect.terminal.level == "ground"],
    )


__all__ = [
    "FEWER",
    "FUSE_KINDS",
    "LOST",
    "OTHER_WAY",
    "SOME_STATES",
    "Affected",
    "AffectsReport",
    "Effect",
    "Gain",
    "Relay",
    "Severed",
    "Target",
    "Terminal",
    "UnknownPart",
    "affects",
    "circuit_without",
    "fuse_words",
    "part_named",
    "target_of",
    "terminals",
]  # fmt: skip
