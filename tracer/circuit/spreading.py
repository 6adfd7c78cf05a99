"""Supply and ground spread through what is closed, with the relays as they stand: the inner step of settling a key state (`states.py`)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from tracer.circuit.gates import Gate, Held, Moment, leads_on
from tracer.circuit.kinds import DRIVERS, GATES, LinkKind, PartKind
from tracer.circuit.model import Circuit, Link
from tracer.circuit.moves import Turn
from tracer.circuit.nets import Nets
from tracer.circuit.open_ends import open_ends
from tracer.circuit.truths import Level, Reason, Truths
from tracer.entry.models import ModuleFacts

MOST_HELD_KEPT = 16
MOST_SPREADS_KEPT = 64  # on the way back down most key states come to rest where they did on the way up

Origin = (
    int | str | None
)  # over which gate (the identity of its link); out of which module or converter; of the net's own
Start = tuple[int, Level, Origin]  # a net, the most that it is given, and what gives it
Starts = dict[bool, list[Start]]  # from where supply (True) and ground spread


@dataclass(slots=True)
class Spread:
    """How supply (True) and ground (False) spread.

    Attributes
    ----------
    now : relays, modules and converters as they stand then
    levels : of each net that is not dead
    came : where the level of each net came from last: rows of origins lead back to sources, grounds and open ends, and never round
    works_by : of each module that works the nets of supply and of ground by which it does; -1 of a converter, and where no single one says it
    """

    now: Moment
    levels: dict[bool, dict[int, Level]]
    came: dict[bool, dict[int, Origin]]
    works_by: dict[str, tuple[int, int]]

    def copy(self, now: Moment) -> Spread:
        """The same, to be gone on from."""
        levels = {supply: dict(known) for supply, known in self.levels.items()}
        return Spread(now, levels, {supply: dict(known) for supply, known in self.came.items()}, dict(self.works_by))


@dataclass(frozen=True, slots=True)
class Source:
    """A source, and the module or converter without which it gives nothing."""

    node: int
    whose: str
    converts: bool


def _best(nets: Iterable[int], levels: Mapping[int, Level]) -> tuple[Level, int]:
    """The highest level of some nets, and the first that has it."""
    return max(((levels.get(net, Level.DEAD), net) for net in nets), key=lambda one: one[0])


class Spreading:
    """What supply and ground spread through in a circuit: nets, and the gates between them.

    Attributes
    ----------
    nets, truth : the nets of the circuit, and what is typed in of its sources, contacts and outputs
    gates : by the identity of its link, in the order of the links; those that join a net with itself as well
    gates_at : of each net the gates to another one
    coils : of each relay the nets of its coils
    open_at : of each net at which something unknown may be joined, what that is
    powered_by, grounded_by : of each module the nets of its supply and of its ground pins
    perhaps_by : of each module that switches something the nets of pins that are not declared and may be either
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.nets = Nets(circuit)
        self.truth = Truths(circuit)
        self.held: dict[frozenset[tuple[str, bool]], Held] = {}
        of = self.nets.of
        self.gates: dict[int, Gate] = {}
        self.coil_links: dict[str, list[Link]] = {}
        for link in circuit.links:
            if link.kind in GATES and not circuit.is_left_open(link):
                is_contact = link.kind is LinkKind.CONTACT
                of_relay = circuit.parts[link.part].kind is PartKind.RELAY
                self.gates[id(link)] = Gate(of[link.a], of[link.b], link, self._mover(link), is_contact, of_relay)
            elif link.kind is LinkKind.COIL and not circuit.is_left_open(link):
                self.coil_links.setdefault(link.part, []).append(link)
        self.gates_at: dict[int, list[Gate]] = {}
        for gate in self.gates.values():
            if gate.a != gate.b:
                self.gates_at.setdefault(gate.a, []).append(gate)
                self.gates_at.setdefault(gate.b, []).append(gate)
        self.onward: dict[bool, dict[int, list[tuple[int, Gate]]]] = {True: {}, False: {}}
        self.lead_on(self.gates_at)
        self.take_movers()
        self.drivers: dict[bool, dict[str, list[tuple[int, int, Gate]]]] = {True: {}, False: {}}
        self.take_drivers(gate for gate in self.gates.values() if gate.link.kind in DRIVERS)
        self.open_nodes = open_ends(circuit)
        self.power_nodes = {part.name: self._declared(part.name, "supply") for part in circuit.modules()}
        self.converter_nodes: dict[str, tuple[int, int]] = {}
        for part in circuit.parts.values():
            if part.kind is PartKind.CONVERTER:
                pins = circuit.pins_of[part.name]
                self.converter_nodes[part.name] = pins["in"], pins["ground"]
        self.sources = [self._source(end.node) for end in circuit.sources]
        self.return_nodes = {part.name: self._declared(part.name, "ground") for part in circuit.modules()}
        self.perhaps_nodes = {part.name: self._perhaps_nodes(part.name) for part in circuit.modules()}
        self.number_nets()

    def number_nets(self) -> None:
        """What is known by node, by the numbers of nets."""
        of = self.nets.of
        self.coils = {relay: [(of[link.a], of[link.b]) for link in links] for relay, links in self.coil_links.items()}
        self.open_at: dict[int, tuple[Reason, ...]] = {}
        for node, words in self.open_nodes.items():
            self.open_at[of[node]] = (*self.open_at.get(of[node], ()), Reason(words, known=False))
        self.powered_by = {name: tuple(of[node] for node in nodes) for name, nodes in self.power_nodes.items()}
        self.grounded_by = {name: tuple(of[node] for node in nodes) for name, nodes in self.return_nodes.items()}
        self.perhaps_by = {name: tuple(of[node] for node in nodes) for name, nodes in self.perhaps_nodes.items()}
        self.converters = {name: (of[into], of[ground]) for name, (into, ground) in self.converter_nodes.items()}
        self.sources_of: dict[str, list[Source]] = {}
        self.sources_at: dict[int, list[Source]] = {}
        for source in self.sources:
            self.sources_of.setdefault(source.whose, []).append(source)
            self.sources_at.setdefault(of[source.node], []).append(source)
        self.works_with: dict[tuple[bool, int], list[str]] = {}  # whether by supply, a net: what needs it
        for supply, by in ((True, self.powered_by), (False, self.grounded_by)):
            for name, nets in by.items():
                for net in dict.fromkeys((*nets, *self.perhaps_by[name])) if nets or supply else ():
                    self.works_with.setdefault((supply, net), []).append(name)
        for name, (into, ground) in self.converters.items():
            self.works_with.setdefault((True, into), []).append(name)
            self.works_with.setdefault((False, ground), []).append(name)
        self.ground_nets = frozenset(of[end.node] for end in self.circuit.grounds)
        self._kept: dict[object, Spread] = {}
        self._last: dict[Held, Spread] = {}
        self._following: dict[tuple[str, str, Held], frozenset[str]] = {}

    def lead_on(self, nets: Iterable[int]) -> None:
        """Where supply and ground lead on from each of some nets."""
        for supply, onward in self.onward.items():
            for net in nets:
                onward[net] = [
                    (gate.b if gate.a == net else gate.a, gate)
                    for gate in self.gates_at.get(net, ())
                    if leads_on(gate.link, supply, forward=gate.a == net)
                ]

    def take_movers(self) -> None:
        """What each relay, lever and command moves."""
        self.moved_by: dict[str, list[Gate]] = {}
        for gate in self.gates.values():
            if gate.a != gate.b:
                self.moved_by.setdefault(gate.link.part if gate.of_relay else gate.mover, []).append(gate)

    def take_drivers(self, gates: Iterable[Gate]) -> None:
        """The outputs of modules: from which net they pass supply (or ground) on, to which."""
        for gate in gates:
            for supply, drivers in self.drivers.items():
                for net, other in ((gate.a, gate.b), (gate.b, gate.a)):
                    if gate.a != gate.b and leads_on(gate.link, supply, forward=net == gate.a):
                        drivers.setdefault(gate.link.part, []).append((net, other, gate))

    def _mover(self, link: Link) -> str:
        """What opens and closes a gate, by a name of its own."""
        if link.kind is LinkKind.CONTACT:
            return self.circuit.parts[link.part].levers[link.lever].name
        return "" if link.kind is LinkKind.DIODE else f"{link.part}.{link.output}"

    def _declared(self, module: str, role: str) -> tuple[int, ...]:
        """The pins in use of a module that are declared as its supplies (or grounds)."""
        facts = self.circuit.parts[module].facts
        assert isinstance(facts, ModuleFacts)
        pins = self.circuit.pins_of.get(module, {}) if role not in facts.gets else {}
        return tuple(pins[pin] for pin, words in facts.pins.items() if words.split()[0] == role and pin in pins)

    def _perhaps_nodes(self, module: str) -> tuple[int, ...]:
        """Pins in use of a module that switches something of which nobody has said anything: it may be supplied, or grounded, by each."""
        facts = self.circuit.parts[module].facts
        assert isinstance(facts, ModuleFacts)
        said = {*facts.pins, *facts.outputs, *(pin for output in facts.outputs.values() for pin in output.through)}
        pins = self.circuit.pins_of.get(module, {}) if facts.outputs and not facts.gets else {}
        return tuple(node for pin, node in pins.items() if pin not in said and self.circuit.is_attached(node))

    def _source(self, node: int) -> Source:
        part = self.circuit.part_at(node)
        needs = part is not None and part.kind in (PartKind.CONVERTER, PartKind.MODULE)
        return Source(node, part.name if part is not None and needs else "", part is not None and part.kind is PartKind.CONVERTER)  # fmt: skip

    # --- what is given -----------------------------------------------------------------------------------------

    def holding(self, fixed: Mapping[str, bool] | None) -> Held:
        """Truths that are given, with what was found to follow from them."""
        given = frozenset(fixed.items()) if fixed else frozenset[tuple[str, bool]]()
        if given not in self.held:
            if len(self.held) == MOST_HELD_KEPT:
                self.held.clear()
            self.held[given] = Held(dict(given))
        return self.held[given]

    def follows_the_key(self, before: str, key: str, held: Held) -> frozenset[str]:
        """What passes something else in one key state than in another: levers, rails, outputs that are commanded."""
        asked = before, key, held
        if asked not in self._following:
            self._following[asked] = self.following(self.gates.values(), self.sources, *asked)
        return self._following[asked]

    def following(self, gates: Iterable[Gate], sources: Iterable[Source], before: str, key: str, held: Held) -> frozenset[str]:  # fmt: skip
        """The movers of those gates and sources that pass something else in one key state than in another."""
        found = {
            gate.mover
            for gate in gates
            if gate.mover
            and not gate.of_relay
            and self._in_key(gate.link, before, held=held) is not self._in_key(gate.link, key, held=held)
        }
        for source in sources:
            one, other = (self._source_in(source.node, at, held=held) for at in (before, key))
            if one is not other:
                found.add(self.circuit.node_names[source.node])
        return frozenset(found)

    def _in_key(self, link: Link, key: str, *, held: Held) -> Level:
        """What a contact that no relay moves, or a command, is in a key state."""
        known = held.known.get((key, id(link)))
        if known is None:
            known = (
                self.truth.contact(link, key, {}, held.fixed)
                if link.kind is LinkKind.CONTACT
                else self.truth.command(link.part, link.output, key, held.fixed)
            )[0]
            held.known[key, id(link)] = known
        return known

    def source_level(self, source: Source, turn: Turn, held: Held) -> Level:
        """The most that a source gives, whether or not the module that it hangs on works."""
        if source.converts:
            return Level.LIVE
        known = held.of_sources.setdefault(turn, {})
        if source.node not in known:
            ask = partial(self._source_in, source.node, held=held)
            known[source.node] = turn.level(self.circuit.node_names[source.node], ask)
        return known[source.node]

    def _source_in(self, node: int, key: str, *, held: Held) -> Level:
        return self.truth.source(node, key, held.fixed)[0]

    # --- spreading ---------------------------------------------------------------------------------------------

    def spread(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> Spread:
        """How supply and ground spread; not to be changed.

        A module without supply or ground commands nothing, and a converter without supply and ground gives nothing: both begin as dead and come alive as
        the spreading reaches them, so that nothing lives by its own bootstraps.
        """
        asked = (turn, tuple(relays.items()), held)
        if asked not in self._kept:
            if len(self._kept) == MOST_SPREADS_KEPT:
                self._kept.clear()
            self._kept[asked] = self._last[held] = self._settle(*self.begin(turn, relays, held))
        return self._kept[asked]

    def begin(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> tuple[Spread, Starts]:
        """From where supply and ground spread: from the start, or from how they spread last, with the key or the relays otherwise."""
        if held in self._last:
            return self._turned(self._last[held], turn, relays)
        alive = dict.fromkeys((*self.powered_by, *self.converters), Level.DEAD)
        begun = Spread(self.moment(turn, relays, held, alive), {True: {}, False: {}}, {True: {}, False: {}}, {})
        opened = [(net, Level.DEPENDS, None) for net in self.open_at]
        grounded = [(net, Level.LIVE, None) for net in self.ground_nets]
        return begun, {True: [*self._fed_by("", begun.now), *opened], False: [*grounded, *opened]}

    def moment(self, turn: Turn, relays: Mapping[str, Level], held: Held, alive: dict[str, Level]) -> Moment:
        """Relays and modules as they stand."""
        return Moment(turn, relays, held, alive, held.at_turn.setdefault(turn, {}))

    def _settle(self, begun: Spread, starts: Starts) -> Spread:
        """Go on until nothing rises any more."""
        now, levels = begun.now, begun.levels
        while True:
            for supply in (False, True):
                self._flood(begun, starts[supply], supply=supply)
            risen = self._risen(begun)
            if not risen:
                return begun
            # levels only rise with it, so what was found stands, and is gone on from
            starts = {supply: list(self._driven(risen, levels[supply], now, supply=supply)) for supply in levels}
            starts[True] += (start for name in risen for start in self._fed_by(name, now))

    def _fed_by(self, whose: str, now: Moment) -> Iterator[Start]:
        """What the sources give that hang on a module or a converter, or (``""``) on none."""
        for source in self.sources_of.get(whose, ()):
            yield from self._from(source, now)

    def _from(self, source: Source, now: Moment) -> Iterator[Start]:
        works = now.alive[source.whose] if source.whose else Level.LIVE
        yield self.nets.of[source.node], min(works, self.source_level(source, now.turn, now.held)), source.whose or None

    def _driven(self, modules: Iterable[str], levels: Mapping[int, Level], now: Moment, *, supply: bool) -> Iterator[Start]:  # fmt: skip
        """What the drivers of modules pass on of the levels at their supply or ground pins."""
        for module in modules:
            for net, other, gate in self.drivers[supply].get(module, ()):
                if net in levels and not (supply and net in self.ground_nets):
                    yield other, min(levels[net], self.passes(gate, now)), id(gate.link)

    def _risen(self, begun: Spread) -> list[str]:
        """What works better than it did, from now on: a module by any supply and any ground that it has, a converter by its own."""
        dead, risen, alive = Level.DEAD, [], begun.now.alive
        supply, ground = begun.levels[True], begun.levels[False]
        for name, was in alive.items():
            if was is Level.LIVE:
                continue
            if name in self.converters:
                into, out_of = self.converters[name]
                level, by = min(supply.get(into, dead), ground.get(out_of, dead)), (-1, -1)
            else:
                (fed, into), (grounded, out_of) = self.powered(name, supply), self.grounded(name, ground)
                level, by = min(fed, grounded), (into, out_of)
            if level > was:
                risen.append(name)
                alive[name] = level
                begun.works_by[name] = by
        return risen

    def powered(self, module: str, supply: Mapping[int, Level]) -> tuple[Level, int]:
        """How far a module has supply, and by which net (-1 where no single one says it).

        Of a pin in use that is not declared nobody knows whether the module works by it: one that is live keeps the module from being dead, and where no
        supply is declared at all, none that is dead makes it so.
        """
        if not self.powered_by[module] and self.perhaps_by[module]:
            level, by = _best(self.perhaps_by[module], supply)
            return (level, by) if level is not Level.DEAD else (Level.DEPENDS, -1)
        return self._by_declared(self.powered_by[module], self.perhaps_by[module], supply)

    def grounded(self, module: str, ground: Mapping[int, Level]) -> tuple[Level, int]:
        """How far a module has ground, and by which net; one of which no ground is declared and in use counts as grounded."""
        return self._by_declared(self.grounded_by[module], self.perhaps_by[module], ground)

    @staticmethod
    def _by_declared(declared: tuple[int, ...], perhaps: tuple[int, ...], levels: Mapping[int, Level]) -> tuple[Level, int]:  # fmt: skip
        if not declared:
            return Level.LIVE, -1
        level, by = _best(declared, levels)
        if level is Level.DEAD and any(net in levels for net in perhaps):
            return Level.DEPENDS, -1
        return level, by

    def _flood(self, begun: Spread, starts: Iterable[Start], *, supply: bool) -> None:
        """Raise the levels to what comes from the starts."""
        dead, now, levels, came = Level.DEAD, begun.now, begun.levels[supply], begun.came[supply]
        barred = self.ground_nets if supply else frozenset[int]()  # supply goes no further
        queue: list[int] = []
        for net, level, by in starts:
            if level > levels.get(net, dead):
                levels[net] = level
                came[net] = by
                queue.append(net)
        onward = self.onward[supply]
        while queue:
            net = queue.pop()
            if net not in onward or net in barred:
                continue
            here = levels[net]
            for other, gate in onward[net]:
                before = levels.get(other, dead)
                if here > before:  # else nothing can be gained there
                    level = min(here, self.passes(gate, now))
                    if level > before:
                        levels[other] = level
                        came[other] = id(gate.link)
                        queue.append(other)

    def passes(self, gate: Gate, now: Moment) -> Level:
        """Whether a gate passes a level on in the sense in which it leads on."""
        if not gate.mover:
            return Level.LIVE
        link = gate.link
        known = now.of_relays if gate.of_relay else now.others
        level = known.get(id(link))
        if level is None:
            if gate.of_relay:  # whatever the key is
                level = self.truth.contact(link, now.turn.key, now.relays, now.held.fixed)[0]
            else:
                level = now.turn.level(gate.mover, partial(self._in_key, link, held=now.held))
            known[id(link)] = level
        return level if gate.is_contact else min(now.alive.get(link.part, Level.LIVE), level)

    # --- taking out --------------------------------------------------------------------------------------------

    def _turned(self, known: Spread, turn: Turn, relays: Mapping[str, Level]) -> tuple[Spread, Starts]:
        """How supply and ground begin to spread with a key and relays that stand otherwise than where it is known."""
        was = known.now
        begun = known.copy(self.moment(turn, relays, was.held, dict(was.alive)))
        fewer: list[tuple[bool, int]] = []
        more: list[Gate] = []
        movers = self._moved_between(was.turn, turn, was.held)
        turned = [relay for relay, level in relays.items() if was.relays.get(relay, Level.DEAD) is not level]
        for gate in (gate for names in (movers, turned) for name in names for gate in self.moved_by.get(name, ())):
            passed, passes = self.passes(gate, was), self.passes(gate, begun.now)
            if passes < passed:
                ends = (gate.a, gate.b)
                fewer += ((supply, net) for supply, came in begun.came.items() for net in ends if came.get(net) == id(gate.link))  # fmt: skip
            elif passes > passed:
                more.append(gate)
        sources = (
            [source for source in self.sources if self.circuit.node_names[source.node] in movers] if movers else []
        )
        for source in sources:
            net, by = self.nets.of[source.node], source.whose or None
            if (
                by == begun.came[True].get(net, -1)
                and self.source_level(source, turn, was.held) < begun.levels[True][net]
            ):
                fewer.append((True, net))
        starts = self.taken_out(begun, fewer)
        for gate in more:
            for supply, levels in begun.levels.items():
                for net, other in ((gate.a, gate.b), (gate.b, gate.a)):
                    starts[supply] += self.over(gate, net, other, levels, begun.now, supply=supply)
        for source in sources:
            starts[True] += self._from(source, begun.now)
        return begun, starts

    def _moved_between(self, one: Turn, other: Turn, held: Held) -> frozenset[str]:
        """What may pass something else in one turn of the key than in another."""
        first, *keys = dict.fromkeys(key for turn in (one, other) for key in (turn.key, turn.before) if key)
        return (
            frozenset[str]().union(*(self.follows_the_key(first, key, held) for key in keys))
            if one != other
            else frozenset()
        )

    def over(self, gate: Gate, net: int, other: int, levels: Mapping[int, Level], now: Moment, *, supply: bool) -> Iterator[Start]:  # fmt: skip
        """What comes over a gate from one net to another."""
        if net != other and net in levels and not (supply and net in self.ground_nets) and leads_on(gate.link, supply, forward=net == gate.a):  # fmt: skip
            yield other, min(levels[net], self.passes(gate, now)), id(gate.link)

    def taken_out(self, begun: Spread, nets: Iterable[tuple[bool, int]]) -> Starts:
        """Take out the levels of nets with all that came from them, and what works by them; what leads back into the gap."""
        lost: dict[bool, set[int]] = {True: set(), False: set()}
        idle: set[str] = set()
        queue: list[tuple[bool, int]] = []

        def lose(supply: bool, net: int) -> None:
            if net not in lost[supply]:
                lost[supply].add(net)
                queue.append((supply, net))

        for supply, net in nets:
            lose(supply, net)
        while queue:
            supply, net = queue.pop()
            came = begun.came[supply]
            for other, gate in self.onward[supply].get(net, ()):
                if came.get(other) == id(gate.link):
                    lose(supply, other)
            for name in self.works_with.get((supply, net), ()):
                if name in idle or begun.works_by.get(name, (net, net))[not supply] not in (net, -1):
                    continue
                idle.add(name)
                for sense, drivers in self.drivers.items():
                    for _, other, gate in drivers.get(name, ()):
                        if begun.came[sense].get(other) == id(gate.link):
                            lose(sense, other)
                for source in self.sources_of.get(name, ()):
                    if begun.came[True].get(self.nets.of[source.node]) == name:
                        lose(True, self.nets.of[source.node])
        for sense, gone in lost.items():
            for net in gone:
                del begun.levels[sense][net], begun.came[sense][net]
        begun.now.alive.update(dict.fromkeys(idle, Level.DEAD))
        return {sense: [start for net in gone for start in self.into(net, begun, supply=sense)] for sense, gone in lost.items()}  # fmt: skip

    def into(self, net: int, begun: Spread, *, supply: bool) -> Iterator[Start]:
        """What gives a net a level: sources, grounds, open ends, and gates from other nets."""
        now, levels = begun.now, begun.levels[supply]
        if net in self.open_at:
            yield net, Level.DEPENDS, None
        if not supply and net in self.ground_nets:
            yield net, Level.LIVE, None
        for source in self.sources_at.get(net, ()) if supply else ():
            yield from self._from(source, now)
        for gate in self.gates_at.get(net, ()):
            yield from self.over(gate, gate.b if gate.a == net else gate.a, net, levels, now, supply=supply)


__all__ = ["Source", "Spread", "Spreading", "Starts"]
