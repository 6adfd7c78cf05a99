"""What is energised in each key state: relays, switches, drivers and what follows from them.

For one key state the truth of the matter is a fixpoint: contacts pass supply and ground on, a coil with supply on one side and ground on the other is
energised, its contacts follow. Values are three: dead, depends (on a condition, a command, a switch worked by hand, or something not known), live.
The search begins with the relays as the previous key state left them, so that a relay that holds itself stays held. Loads do not pass anything on here.

With make contacts only, the first fixpoint from rest is the least one (Knaster and Tarski). With break contacts there may be none: a relay that opens its own
coil. Such a relay is named, never looped on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial

from tracer.circuit.gates import Gate, Held, Moment, leads_on
from tracer.circuit.kinds import DRIVERS, GATES, LinkKind, PartKind
from tracer.circuit.model import Circuit, Link
from tracer.circuit.moves import Levels, Turn, at_rest
from tracer.circuit.nets import Nets
from tracer.circuit.open_ends import open_coils, open_ends
from tracer.circuit.truths import Level, Reason, Truths
from tracer.entry.models import ModuleFacts

MOST_SPREADS_KEPT = 64  # on the way back down most key states come to rest where they did on the way up


@dataclass
class Settled:
    """One key state, settled. `supply` and `ground` map nets that are not dead to their level."""

    key: str
    supply: dict[int, Level]
    ground: dict[int, Level]
    relays: dict[str, Level]
    alive: dict[str, Level]
    unstable: tuple[str, ...] = ()
    races: tuple[str, ...] = ()
    shorts: tuple[int, ...] = ()


_Asked = tuple[int, bool, bool]  # a net, whether its supply is asked for, whether something is left out


@dataclass
class KeyStates:
    """All key states of a circuit. Make it once for a circuit; it settles a state when first asked.

    Examples
    --------
    >>> states.level("ALM.4", "run")                            # doctest: +SKIP
    <Level.LIVE: 2>
    """

    circuit: Circuit
    nets: Nets = field(init=False)

    def __post_init__(self) -> None:
        self.nets = Nets(self.circuit)
        self._truth = Truths(self.circuit)
        self._nothing_held = Held()
        of = self.nets.of
        self._coils: dict[str, list[tuple[int, int]]] = {}
        self._gates: list[Gate] = []  # all, those that join a net with itself as well
        self._gates_at: dict[int, list[Gate]] = {}
        self._onward: dict[bool, dict[int, list[tuple[int, Gate]]]] = {True: {}, False: {}}
        # Of each module: from which net, to which.
        self._drivers: dict[bool, dict[str, list[tuple[int, int, Gate]]]] = {True: {}, False: {}}
        for link in self.circuit.links:
            if link.kind in GATES and not self.circuit.is_left_open(link):
                is_contact = link.kind is LinkKind.CONTACT
                of_relay = self.circuit.parts[link.part].kind is PartKind.RELAY
                self._add_gate(Gate(of[link.a], of[link.b], link, self._mover(link), is_contact, of_relay))
            elif link.kind is LinkKind.COIL and not self.circuit.is_left_open(link):
                self._coils.setdefault(link.part, []).append((of[link.a], of[link.b]))
        self._open: dict[int, tuple[Reason, ...]] = {}
        for node, words in open_ends(self.circuit).items():
            self._open[of[node]] = (*self._open.get(of[node], ()), Reason(words, known=False))
        self._open_coils = open_coils(self.circuit)
        self._powered_by = {part.name: self._supply_nets(part.name) for part in self.circuit.modules()}
        self._converters: dict[str, tuple[int, int]] = {}
        for part in self.circuit.parts.values():
            if part.kind is PartKind.CONVERTER:
                pins = self.circuit.pins_of[part.name]
                self._converters[part.name] = (of[pins["in"]], of[pins["ground"]])
        self._spread_kept: dict[object, tuple[dict[int, Level], dict[int, Level], dict[str, Level]]] = {}
        self._levels: dict[tuple[str, bool], dict[int, Level]] = {}
        self._ground_nets = frozenset(of[end.node] for end in self.circuit.grounds)

    def _add_gate(self, gate: Gate) -> None:
        self._gates.append(gate)
        if gate.a == gate.b:
            return
        self._gates_at.setdefault(gate.a, []).append(gate)
        self._gates_at.setdefault(gate.b, []).append(gate)
        for supply, onward in self._onward.items():
            for net, other in ((gate.a, gate.b), (gate.b, gate.a)):
                if leads_on(gate.link, supply, forward=net == gate.a):
                    onward.setdefault(net, []).append((other, gate))
                    if gate.link.kind in DRIVERS:
                        self._drivers[supply].setdefault(gate.link.part, []).append((net, other, gate))

    # --- what is asked -----------------------------------------------------------------------------------------

    @property
    def keys(self) -> tuple[str, ...]:
        return self.circuit.typed.vehicle.key

    @cached_property
    def settled(self) -> dict[str, Settled]:
        """Each key state, in order, each begun from the relays of the one before."""
        relays: dict[str, Level] = {name: Level.DEAD for name in self._coils}
        result: dict[str, Settled] = {}
        for before, key in zip(("", *self.keys), self.keys, strict=False):
            result[key] = self.settle(key, relays, before=before)
            relays = result[key].relays
        return result

    @cached_property
    def settled_again(self) -> dict[str, Settled]:
        """Each key state once more, coming back down from the last one: what a holding relay keeps."""
        relays = self.settled[self.keys[-1]].relays
        result: dict[str, Settled] = {}
        down = self.keys[::-1]
        for before, key in zip(("", *down), down, strict=False):
            result[key] = self.settle(key, relays, before=before)
            relays = result[key].relays
        return result

    def supply_level(self, node: int, key: str) -> Level:
        """Whether supply is at a node in a key state; DEPENDS also when it hangs on the key states before."""
        return self._level(node, key, supply=True)

    def ground_level(self, node: int, key: str) -> Level:
        """Whether ground is at a node in a key state."""
        return self._level(node, key, supply=False)

    def _level(self, node: int, key: str, *, supply: bool) -> Level:
        return self.levels(key, supply=supply).get(self.nets.of[node], Level.DEAD)

    def levels(self, key: str, *, supply: bool) -> Mapping[int, Level]:
        """The level of each net in a key state; what is not in it is dead."""
        if (key, supply) not in self._levels:
            up, down = self.settled[key], self.settled_again[key]
            first, second = (up.supply, down.supply) if supply else (up.ground, down.ground)
            found = dict(first)
            if first != second:
                found |= {net: Level.DEPENDS for net in {*first, *second} if first.get(net, Level.DEAD) is not second.get(net, Level.DEAD)}  # fmt: skip
            self._levels[key, supply] = found
        return self._levels[key, supply]

    def reasons(
        self, node: int, key: str, *, supply: bool = True, leaving_out: Collection[int] = ()
    ) -> tuple[Reason, ...]:
        """What a level that DEPENDS hangs on, in a stable order; without what only the contacts and drivers left out (link numbers) would bring to the node."""
        out = frozenset(id(self.circuit.links[number]) for number in leaving_out if number < len(self.circuit.links))
        net = self.nets.of[node]
        up, down = self.settled[key], self.settled_again[key]
        first = (up.supply if supply else up.ground).get(net, Level.DEAD)
        second = (down.supply if supply else down.ground).get(net, Level.DEAD)
        found: dict[Reason, None] = {}
        if first != second:
            found[
                Reason(
                    f"on what came before: {_words(first)} on the way up to {self.keys[-1]}, {_words(second)} on the way back"
                )
            ] = None
        for settled in (up, down):
            level = (settled.supply if supply else settled.ground).get(net, Level.DEAD)
            if level is Level.DEPENDS:
                for reason in self._why(net, settled, supply, set(), out):
                    found[reason] = None
        if not found and Level.DEPENDS in (first, second):  # every chain of reasons came back to where it began
            relays = sorted(
                {name for one in (up, down) for name, level in one.relays.items() if level is Level.DEPENDS}
            )
            found[Reason(f"how the relays {', '.join(relays)} settle with one another")] = None
        return tuple(found)

    # --- one key state -----------------------------------------------------------------------------------------

    def settle(
        self, key: str, start: Mapping[str, Level], fixed: Mapping[str, bool] | None = None, *, before: str = ""
    ) -> Settled:
        """Settle one key state from given relays.

        `fixed` gives conditions, commands (`MODULE.PIN` or the command's name) and switches worked by hand (`SWITCH=POSITION`) a truth;
        whatever is not in it stays free. `before` is the key state that the key came from: what follows the key may then be slower than a relay.
        """
        held = Held(fixed) if fixed else self._nothing_held
        names = tuple(self._coils)
        turn = Turn(key, before, self._follows_the_key(before, key, held) if before else frozenset())

        def follow(turn: Turn, levels: Levels) -> Levels:
            return tuple(self._next(turn, dict(zip(names, levels, strict=True)), held).values())

        rest = at_rest(tuple(start.get(name, Level.DEAD) for name in names), turn, follow)
        relays = dict(zip(names, rest.levels, strict=True))
        supply, ground, alive = self._spread(Turn(key), relays, held)
        shorts = tuple(sorted(net for net in supply if ground.get(net) is Level.LIVE and supply[net] is Level.LIVE))
        unstable, races = (tuple(sorted(names[n] for n in found)) for found in (rest.unstable, rest.races))
        return Settled(key, supply, ground, relays, alive, unstable, races, shorts)

    def _follows_the_key(self, before: str, key: str, held: Held) -> frozenset[str]:
        """What passes something else in one key state than in another: levers, rails, outputs that are commanded."""
        follows = {
            gate.mover
            for gate in self._gates
            if gate.mover
            and not gate.of_relay
            and self._gate(gate.link, before, held=held) is not self._gate(gate.link, key, held=held)
        }
        for end in self.circuit.sources:
            if self.source_level(end.node, before, held.fixed) is not self.source_level(end.node, key, held.fixed):
                follows.add(self._source_mover(end.node))
        return frozenset(follows)

    def _mover(self, link: Link) -> str:
        """What opens and closes a gate, by a name of its own."""
        if link.kind is LinkKind.CONTACT:
            return self.circuit.parts[link.part].levers[link.lever].name
        return "" if link.kind is LinkKind.DIODE else f"{link.part}.{link.output}"

    def _source_mover(self, node: int) -> str:
        return self.circuit.node_names[node]

    def _gate(self, link: Link, key: str, *, held: Held) -> Level:
        """What a contact that no relay moves, or a command, is in a key state."""
        known = held.known.get((key, id(link)))
        if known is None:
            known = (
                self._truth.contact(link, key, {}, held.fixed)
                if link.kind is LinkKind.CONTACT
                else self._truth.command(link.part, link.output, key, held.fixed)
            )[0]
            held.known[key, id(link)] = known
        return known

    def _next(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> dict[str, Level]:
        supply, ground, _ = self._spread(turn, relays, held)
        after = {}
        for name, coils in self._coils.items():
            if name in self._open_coils:
                after[name] = Level.DEPENDS
                continue
            energised = [self._coil_level(coil, supply, ground) for coil in coils]
            if len(coils) == 2:
                after[name] = self._latched(relays[name], energised[0], energised[1])
            else:
                after[name] = energised[0]
        return after

    @staticmethod
    def _coil_level(coil: tuple[int, int], supply: Mapping[int, Level], ground: Mapping[int, Level]) -> Level:
        a, b = coil
        dead = Level.DEAD
        return max(min(supply.get(a, dead), ground.get(b, dead)), min(supply.get(b, dead), ground.get(a, dead)))

    @staticmethod
    def _latched(now: Level, sets: Level, resets: Level) -> Level:
        if sets is Level.LIVE and resets is Level.DEAD:
            return Level.LIVE
        if resets is Level.LIVE and sets is Level.DEAD:
            return Level.DEAD
        return now if sets is Level.DEAD and resets is Level.DEAD else Level.DEPENDS

    # --- supply and ground spread through what is closed -------------------------------------------------------

    def _spread(
        self, turn: Turn, relays: Mapping[str, Level], held: Held
    ) -> tuple[dict[int, Level], dict[int, Level], dict[str, Level]]:
        """Levels of supply and ground on every net.

        A module without supply commands nothing, and a converter without supply and ground gives nothing: both begin as dead and come alive as
        the spreading reaches them, so that nothing lives by its own bootstraps.
        """
        asked = (turn, tuple(relays.items()), held)
        if asked not in self._spread_kept:
            if len(self._spread_kept) == MOST_SPREADS_KEPT:
                self._spread_kept.clear()
            self._spread_kept[asked] = self._spread_out(turn, relays, held)
        return self._spread_kept[asked]

    def _spread_out(
        self, turn: Turn, relays: Mapping[str, Level], held: Held
    ) -> tuple[dict[int, Level], dict[int, Level], dict[str, Level]]:
        others = held.at_turn.setdefault(turn, {})
        now = Moment(turn, relays, held, dict.fromkeys((*self._powered_by, *self._converters), Level.DEAD), others)
        supply: dict[int, Level] = {}
        ground: dict[int, Level] = {}
        sources = list(self._sources(turn, held))
        opened = [(net, Level.DEPENDS) for net in self._open]
        fed = [*((net, level) for net, level, whose in sources if not whose), *opened]
        grounded = [*((net, Level.LIVE) for net in self._ground_nets), *opened]
        while True:
            self._flood(ground, grounded, now, supply=False)
            self._flood(supply, fed, now, supply=True)
            alive = now.alive
            risen = self._risen(alive, supply, ground)
            if not risen:
                return supply, ground, alive
            alive |= risen  # levels only rise with it, so what was found stands, and is gone on from
            fed = [(net, min(level, alive[whose])) for net, level, whose in sources if whose in risen]
            fed += self._driven(risen, supply, now, supply=True)
            grounded = list(self._driven(risen, ground, now, supply=False))

    def _driven(
        self, modules: Iterable[str], levels: Mapping[int, Level], now: Moment, *, supply: bool
    ) -> Iterator[tuple[int, Level]]:
        """What the drivers of modules pass on of the levels at their supply or ground pins: net and level."""
        for module in modules:
            for net, other, gate in self._drivers[supply].get(module, ()):
                if net in levels and not (supply and net in self._ground_nets):
                    yield other, min(levels[net], self._passes(gate, now))

    def _risen(
        self, alive: Mapping[str, Level], supply: Mapping[int, Level], ground: Mapping[int, Level]
    ) -> dict[str, Level]:
        """What works better than it did: a module by any supply that it has, a converter by supply and ground."""
        dead, risen = Level.DEAD, {}
        for name, was in alive.items():
            if was is Level.LIVE:
                continue
            if name in self._converters:
                into, out_of = self._converters[name]
                level = min(supply.get(into, dead), ground.get(out_of, dead))
            else:
                nets = self._powered_by[name]
                level = max([supply[net] for net in nets if net in supply], default=dead) if nets else Level.LIVE
            if level > was:
                risen[name] = level
        return risen

    def _sources(self, turn: Turn, held: Held) -> Iterator[tuple[int, Level, str]]:
        """Each source: its net, the most it gives, and the module or converter without which it gives nothing."""
        for end in self.circuit.sources:
            part = self.circuit.part_at(end.node)
            if part is not None and part.kind is PartKind.CONVERTER:
                yield self.nets.of[end.node], Level.LIVE, part.name
            else:
                level = turn.level(self._source_mover(end.node), partial(self.source_level, end.node, fixed=held.fixed))
                of_module = part is not None and part.kind is PartKind.MODULE
                yield self.nets.of[end.node], level, part.name if part is not None and of_module else ""

    def conducts(self, link: Link, settled: Settled, fixed: Mapping[str, bool] | None = None) -> Level:
        """Whether a contact or a driver conducts in a settled key state. A driver needs its module to be supplied."""
        if self.circuit.is_left_open(link):
            return Level.DEAD
        if link.kind is LinkKind.CONTACT:
            return self._truth.contact(link, settled.key, settled.relays, fixed or {})[0]
        if link.kind in DRIVERS:
            commanded = self._truth.command(link.part, link.output, settled.key, fixed or {})[0]
            return min(settled.alive.get(link.part, Level.LIVE), commanded)
        raise ValueError(f"{link.kind.name} neither opens nor closes")

    def source_level(self, node: int, key: str, fixed: Mapping[str, bool] | None = None) -> Level:
        """Whether a source is live in a key state, as the vehicle says."""
        return self._truth.source(node, key, fixed or {})[0]

    def source_reasons(self, node: int, key: str) -> tuple[Reason, ...]:
        """What the level of a source depends on."""
        return self._truth.source(node, key, {})[1]

    def _flood(
        self, levels: dict[int, Level], starts: Iterable[tuple[int, Level]], now: Moment, *, supply: bool
    ) -> None:
        """Raise the levels to what comes from the starts."""
        dead = Level.DEAD
        barred = self._ground_nets if supply else frozenset[int]()
        queue: list[int] = []
        for net, level in starts:
            if level > levels.get(net, dead):
                levels[net] = level
                queue.append(net)
        onward = self._onward[supply]
        while queue:
            net = queue.pop()
            if net not in onward or net in barred:
                continue
            here = levels[net]
            for other, gate in onward[net]:
                before = levels.get(other, dead)
                if here > before:  # else nothing can be gained there
                    level = min(here, self._passes(gate, now))
                    if level > before:
                        levels[other] = level
                        queue.append(other)

    def _passes(self, gate: Gate, now: Moment) -> Level:
        """Whether a gate passes a level on in the sense in which it leads on."""
        if not gate.mover:
            return Level.LIVE
        link = gate.link
        known = now.of_relays if gate.of_relay else now.others
        level = known.get(id(link))
        if level is None:
            if gate.of_relay:  # whatever the key is
                level = self._truth.contact(link, now.turn.key, now.relays, now.held.fixed)[0]
            else:
                level = now.turn.level(gate.mover, partial(self._gate, link, held=now.held))
            known[id(link)] = level
        return level if gate.is_contact else min(now.alive.get(link.part, Level.LIVE), level)

    # --- reasons -----------------------------------------------------------------------------------------------

    def _why(
        self, net: int, settled: Settled, supply: bool, asked: set[_Asked], out: frozenset[int] = frozenset()
    ) -> Iterator[Reason]:
        """What the level of a net hangs on: the gates and sources on the way back that are themselves not certain; coils are asked without leaving anything out."""
        if (net, supply, bool(out)) in asked:
            return
        asked.add((net, supply, bool(out)))
        levels = settled.supply if supply else settled.ground
        yield from self._open.get(net, ())
        if supply:
            for end in self.circuit.sources:
                if self.nets.of[end.node] == net:
                    yield from self._truth.source(end.node, settled.key, {})[1]
        for gate in self._gates_at.get(net, ()):
            before = gate.b if gate.a == net else gate.a
            if id(gate.link) in out or levels.get(before, Level.DEAD) is Level.DEAD:
                continue
            if not leads_on(gate.link, supply, forward=before == gate.a):
                continue
            passes = self._passes(gate, Moment(Turn(settled.key), settled.relays, self._nothing_held, settled.alive))
            if passes is Level.DEAD:
                continue
            if passes is Level.DEPENDS:
                yield from self._why_gate(gate.link, settled, asked)
            if levels[before] is Level.DEPENDS:
                yield from self._why(before, settled, supply, asked, out)

    def _why_gate(self, link: Link, settled: Settled, asked: set[_Asked]) -> Iterator[Reason]:
        if link.kind is LinkKind.CONTACT:
            part = self.circuit.parts[link.part]
            if part.kind is not PartKind.RELAY:
                yield from self._truth.contact(link, settled.key, settled.relays, {})[1]
                return
            if link.part in self._open_coils:
                yield Reason(f"whether relay {link.part} pulls in (its coil is not typed in)", known=False)
                return
            if link.part in settled.unstable:
                yield Reason(f"relay {link.part}, which has no stable state")
                return
            if link.part in settled.races:
                yield Reason(f"what moves first as the key reaches {settled.key} ({', '.join(settled.races)})")
                return
            if len(self._coils.get(link.part, ())) > 1:
                yield Reason(f"how relay {link.part} was last put")
            for a, b in self._coils.get(link.part, ()):
                for plus, minus in ((a, b), (b, a)):
                    if settled.supply.get(plus) and settled.ground.get(minus):
                        if settled.supply[plus] is Level.DEPENDS:
                            yield from self._why(plus, settled, True, asked)
                        if settled.ground[minus] is Level.DEPENDS:
                            yield from self._why(minus, settled, False, asked)
            return
        yield from self._truth.command(link.part, link.output, settled.key, {})[1]
        if settled.alive.get(link.part) is Level.DEPENDS:
            for net in self._powered_by[link.part]:
                if settled.supply.get(net) is Level.DEPENDS:
                    yield from self._why(net, settled, True, asked)

    def _supply_nets(self, module: str) -> tuple[int, ...]:
        """The nets of a module's declared supply pins; a module without any counts as supplied."""
        facts = self.circuit.parts[module].facts
        assert isinstance(facts, ModuleFacts)
        pins = self.circuit.pins_of.get(module, {})
        return tuple(
            self.nets.of[pins[pin]] for pin, words in facts.pins.items() if words.split()[0] == "supply" and pin in pins
        )


def _words(level: Level) -> str:
    return {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}[level]


__all__ = ["KeyStates", "Level", "Reason", "Settled"]
