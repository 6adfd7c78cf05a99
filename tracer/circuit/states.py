"""What is energised in each key state: relays, switches, drivers and what follows from them.

For one key state the truth of the matter is a fixpoint: contacts pass supply and ground on, a coil with supply on one side and ground on the other is
energised, its contacts follow. Values are three: dead, depends (on a condition, a command, a switch worked by hand, or something not known), live.
The search begins with the relays as the previous key state left them, so that a relay that holds itself stays held. Loads do not pass anything on here.

With make contacts only, the first fixpoint from rest is the least one (Knaster and Tarski). With break contacts there may be none: a relay that opens its own
coil. Such a relay is named, never looped on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from tracer.circuit.gates import Held, leads_on
from tracer.circuit.kinds import DRIVERS, LinkKind, PartKind
from tracer.circuit.model import Circuit, Link
from tracer.circuit.moves import Levels, Turn, at_rest
from tracer.circuit.open_ends import open_coils
from tracer.circuit.opened import Opened
from tracer.circuit.spreading import Spreading
from tracer.circuit.truths import Level, Reason


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


class KeyStates:
    """All key states of a circuit. Make it once for a circuit; it settles a state when first asked.

    Examples
    --------
    >>> states.level("ALM.4", "run")                            # doctest: +SKIP
    <Level.LIVE: 2>
    """

    def __init__(self, circuit: Circuit) -> None:
        self._of(Spreading(circuit), open_coils(circuit))

    def _of(self, spreading: Spreading, coils_left_open: dict[str, list[str]]) -> None:
        self.circuit, self.nets = spreading.circuit, spreading.nets
        self._spreading, self._truth = spreading, spreading.truth
        self._coils = spreading.coils
        self._open_coils = coils_left_open
        self._levels: dict[tuple[str, bool], dict[int, Level]] = {}

    def without(self, links: Collection[int], nodes: frozenset[int] = frozenset()) -> KeyStates:
        """The key states with links open, and with sources and grounds at some nodes ends no longer: those of `circuit_without`, for little work.

        What is not typed in of a coil stays so: opened wires still hang on their points.
        """
        after = KeyStates.__new__(KeyStates)
        after._of(Opened(self._spreading, links, nodes), self._open_coils)
        return after

    # --- what is asked -----------------------------------------------------------------------------------------

    @property
    def keys(self) -> tuple[str, ...]:
        return self.circuit.typed.vehicle.key

    @cached_property
    def settled(self) -> dict[str, Settled]:
        """Each key state, in order, each begun from the relays of the one before."""
        # As after the battery was connected: no relay holds itself yet.
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
                # One key state, two levels: which of them it is hangs on whether the key came from below or from above.
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
        held = self._spreading.holding(fixed)
        names = tuple(self._coils)
        turn = Turn(key, before, self._spreading.follows_the_key(before, key, held) if before else frozenset())

        def follow(turn: Turn, levels: Levels) -> Levels:
            return tuple(self._next(turn, dict(zip(names, levels, strict=True)), held).values())

        rest = at_rest(tuple(start.get(name, Level.DEAD) for name in names), turn, follow)
        relays = dict(zip(names, rest.levels, strict=True))
        spread = self._spreading.spread(Turn(key), relays, held)
        supply, ground, alive = spread.levels[True], spread.levels[False], spread.now.alive
        shorts = tuple(sorted(net for net in supply if ground.get(net) is Level.LIVE and supply[net] is Level.LIVE))
        unstable, races = (tuple(sorted(names[n] for n in found)) for found in (rest.unstable, rest.races))
        return Settled(key, supply, ground, relays, alive, unstable, races, shorts)

    def _next(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> dict[str, Level]:
        levels = self._spreading.spread(turn, relays, held).levels
        supply, ground = levels[True], levels[False]
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
        # Either way round, and as certain as the less certain of supply and ground.
        return max(min(supply.get(a, dead), ground.get(b, dead)), min(supply.get(b, dead), ground.get(a, dead)))

    @staticmethod
    def _latched(now: Level, sets: Level, resets: Level) -> Level:
        if sets is Level.LIVE and resets is Level.DEAD:
            return Level.LIVE
        if resets is Level.LIVE and sets is Level.DEAD:
            return Level.DEAD
        # It stays where it was last put; with both coils fed, or one that may be, nobody knows where it ends.
        return now if sets is Level.DEAD and resets is Level.DEAD else Level.DEPENDS

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

    # --- reasons -----------------------------------------------------------------------------------------------

    def _why(
        self, net: int, settled: Settled, supply: bool, asked: set[_Asked], out: frozenset[int] = frozenset()
    ) -> Iterator[Reason]:
        """What the level of a net hangs on: the gates and sources on the way back that are themselves not certain; coils are asked without leaving anything out."""
        if (net, supply, bool(out)) in asked:
            return
        asked.add((net, supply, bool(out)))
        levels = settled.supply if supply else settled.ground
        spreading = self._spreading
        now = spreading.moment(Turn(settled.key), settled.relays, spreading.holding(None), settled.alive)
        yield from spreading.open_at.get(net, ())
        if supply:
            for end in self.circuit.sources:
                if self.nets.of[end.node] == net:
                    yield from self._truth.source(end.node, settled.key, {})[1]
        for gate in spreading.gates_at.get(net, ()):
            before = gate.b if gate.a == net else gate.a
            if id(gate.link) in out or levels.get(before, Level.DEAD) is Level.DEAD:
                continue
            if not leads_on(gate.link, supply, forward=before == gate.a):
                continue
            passes = spreading.passes(gate, now)
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
            yield from self._why_works(link.part, settled, asked)

    def _why_works(self, module: str, settled: Settled, asked: set[_Asked]) -> Iterator[Reason]:
        """What it hangs on whether a module works: its supplies, then its grounds."""
        spreading = self._spreading
        for supply, (level, _), declared, levels in (
            (True, spreading.powered(module, settled.supply), spreading.powered_by[module], settled.supply),
            (False, spreading.grounded(module, settled.ground), spreading.grounded_by[module], settled.ground),
        ):
            if level is not Level.DEPENDS:
                continue
            nets = declared
            if all(levels.get(net, Level.DEAD) is Level.DEAD for net in declared):
                yield Reason(
                    f"which pins of {module} are its {'supplies' if supply else 'grounds'} (not declared)", known=False
                )
                nets = spreading.perhaps_by[module]
            for net in nets:
                if levels.get(net) is Level.DEPENDS:
                    yield from self._why(net, settled, supply, asked)


def _words(level: Level) -> str:
    return {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}[level]


__all__ = ["KeyStates", "Level", "Reason", "Settled"]
