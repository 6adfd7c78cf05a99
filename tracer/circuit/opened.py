"""What still spreads where links open in a circuit whose levels are known.

Nothing is spread from the start: what the opened links may have carried is taken out of the levels of the whole circuit, and comes back from what stands around it. Most of
what opens carries little, and the key states of one vehicle are asked for once for each part that may be open. (It is for levels what the repair of a tree is for ways, see
`trace/affects/still_fed.py`.)

A level goes where what gave it last goes. The rows of what gave what lead back to sources, grounds and open ends and never round, so nothing is left standing that only holds itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from tracer.circuit.gates import Held
from tracer.circuit.kinds import CONDUCTORS, DRIVERS, GATES, LinkKind
from tracer.circuit.model import Link
from tracer.circuit.moves import Turn
from tracer.circuit.nets import Nets
from tracer.circuit.open_ends import open_ends
from tracer.circuit.spreading import Spread, Spreading, Starts
from tracer.circuit.truths import Level
from tracer.circuit.without import circuit_without, pieces_of_net


class Opened(Spreading):
    """What supply and ground spread through once links are open, and sources and grounds at some nodes are ends no longer."""

    def __init__(self, whole: Spreading, links: Collection[int], nodes: frozenset[int] = frozenset()) -> None:
        self.__dict__.update(whole.__dict__)
        self.whole = whole
        before = whole.circuit
        self.circuit = circuit_without(before, links, nodes)
        numbers = frozenset(number for number in links if not before.is_left_open(before.links[number]))
        opened = [before.links[number] for number in sorted(numbers)]
        moved = self._severed(opened, numbers)
        self._came_from = {net: whole.nets.of[node] for node, net in moved.items()}
        self.nets = Nets(self.circuit, of=self._numbered(moved))
        gone = {id(link) for link in opened if link.kind in GATES}
        touched = self._take_gates(moved, gone)
        out = {id(link) for link in opened if link.kind is LinkKind.COIL}
        if out:
            left = {relay: [link for link in coils if id(link) not in out] for relay, coils in self.coil_links.items()}
            self.coil_links = {relay: coils for relay, coils in left.items() if coils}
        both = (node for number in links for node in (before.links[number].a, before.links[number].b))
        may_lead_on = {node for node in both if node in self.open_nodes}
        if may_lead_on:
            self.open_nodes = open_ends(self.circuit)
        self.sources = [source for source in whole.sources if source.node not in nodes]
        self._movers_gone = {gate.mover for one, gate in whole.gates.items() if one in gone}
        self._movers_gone |= {before.node_names[source.node] for source in whole.sources if source.node in nodes}
        self.number_nets()
        self._fallen_apart = frozenset(self._came_from.values())
        ends = {self.nets.of[node] for node in may_lead_on | nodes}
        self._torn = {*touched, *self._came_from, *self._fallen_apart, *ends}
        self._lets_on = {
            net for net in self._torn if net not in self.ground_nets and self._came_from.get(net, net) in whole.ground_nets
        }  # fmt: skip

    # --- what there is now -------------------------------------------------------------------------------------

    def _severed(self, opened: list[Link], numbers: frozenset[int]) -> dict[int, int]:
        """Each node that is severed from its net, with the number of the net that it is in now."""
        circuit, of = self.whole.circuit, self.whole.nets.of
        ends: dict[int, list[int]] = {}
        for link in opened:
            if link.kind in CONDUCTORS:
                ends.setdefault(of[link.a], []).extend((link.a, link.b))

        def leads(node: int) -> Iterator[int]:
            for number in circuit.at[node]:
                link = circuit.links[number]
                if number not in numbers and link.kind in CONDUCTORS and not circuit.is_left_open(link):
                    yield link.b if link.a == node else link.a

        fresh = max(len(self.circuit.node_names), max(of, default=0) + 1)
        pieces = [piece for nodes in ends.values() for piece in pieces_of_net(nodes, leads)]
        return {node: fresh + number for number, piece in enumerate(pieces) for node in piece}

    def _numbered(self, moved: Mapping[int, int]) -> list[int]:
        """The net of each node; the loose ends that came with the opened wires are in the nets of what they hang on."""
        of = [*self.whole.nets.of, *[-1] * (len(self.circuit.node_names) - len(self.whole.nets.of))]
        for node, net in moved.items():
            of[node] = net
        loose = range(len(self.whole.nets.of), len(of))
        for link in self.circuit.links if loose else ():
            for end, other in ((link.a, link.b), (link.b, link.a)):
                if end in loose:
                    of[end] = of[other]
        return of

    def _take_gates(self, moved: Mapping[int, int], gone: set[int]) -> set[int]:
        """Take out the gates that are gone, and move those at nodes that were severed from their nets; the nets concerned."""
        of, whole = self.nets.of, self.whole
        changed = {
            one for one, gate in whole.gates.items() if one in gone or gate.link.a in moved or gate.link.b in moved
        }
        if not changed:
            return set()
        self.gates = {
            one: replace(gate, a=of[gate.link.a], b=of[gate.link.b]) if one in changed else gate
            for one, gate in whole.gates.items()
            if one not in gone
        }
        both = [known[one] for known in (whole.gates, self.gates) for one in changed if one in known]
        touched = {net for gate in both for net in (gate.a, gate.b)}
        order = {one: place for place, one in enumerate(self.gates)}
        self.gates_at = dict(whole.gates_at)
        for net in touched:
            here = [id(gate.link) for gate in whole.gates_at.get(net, ()) if id(gate.link) not in changed]
            here += [one for one in changed if one in self.gates and net in (self.gates[one].a, self.gates[one].b)]
            found = [self.gates[one] for one in sorted(here, key=order.__getitem__)]
            self.gates_at[net] = [gate for gate in found if gate.a != gate.b]
        self.onward = {supply: dict(onward) for supply, onward in whole.onward.items()}
        self.lead_on(touched)
        self.take_movers()
        modules = {gate.link.part for gate in both if gate.link.kind in DRIVERS}
        if modules:
            self.drivers = {supply: {name: those for name, those in drivers.items() if name not in modules} for supply, drivers in whole.drivers.items()}  # fmt: skip
            self.take_drivers(gate for gate in self.gates.values() if gate.link.kind in DRIVERS and gate.link.part in modules)  # fmt: skip
        return touched

    def follows_the_key(self, before: str, key: str, held: Held) -> frozenset[str]:
        """What passes something else in one key state than in another: of the whole circuit, less what only something opened had followed by."""
        whole = self.whole.follows_the_key(before, key, held)
        if whole.isdisjoint(self._movers_gone):
            return whole
        gates = (gate for gate in self.gates.values() if gate.mover in self._movers_gone)
        sources = (source for source in self.sources if self.circuit.node_names[source.node] in self._movers_gone)
        return whole - self._movers_gone | self.following(gates, sources, before, key, held)

    # --- what stands -------------------------------------------------------------------------------------------

    def begin(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> tuple[Spread, Starts]:
        """From how supply and ground spread in the whole circuit, less all that came over what is open."""
        were = {name: relays.get(name, Level.DEAD) for name in self.whole.coils}
        whole = self.whole.spread(turn, were, held)
        begun = whole.copy(self.moment(turn, relays, held, dict(whole.now.alive)))
        for net, came_from in self._came_from.items():
            for supply, levels in begun.levels.items():
                if came_from in levels:
                    levels[net] = levels[came_from]
                    begun.came[supply][net] = begun.came[supply][came_from]
        fewer = [(supply, net) for supply, levels in begun.levels.items() for net in self._torn if net in levels and not self._stands(begun, net, supply=supply)]  # fmt: skip
        for name, (fed, grounded) in whole.works_by.items():
            if name in self.powered_by:  # by which part of a net that fell apart?
                perhaps = self.perhaps_by[name]
                begun.works_by[name] = (
                    self._part_of(fed, (*self.powered_by[name], *perhaps), fewer, supply=True),
                    self._part_of(grounded, (*self.grounded_by[name], *perhaps), fewer, supply=False),
                )
        starts = self.taken_out(begun, fewer)
        for net in self._lets_on:
            for other, gate in self.onward[True].get(net, ()):
                starts[True] += self.over(gate, net, other, begun.levels[True], begun.now, supply=True)
        return begun, starts

    def _part_of(self, by: int, nets: Iterable[int], fewer: Collection[tuple[bool, int]], *, supply: bool) -> int:
        """The net by which a module works: a part of what it worked by that still has its level, if there is one."""
        if by not in self._fallen_apart:
            return by
        parts = [net for net in nets if self._came_from.get(net, net) == by]
        return next((net for net in parts if (supply, net) not in fewer), parts[0])

    def _stands(self, begun: Spread, net: int, *, supply: bool) -> bool:
        """Whether what gave a net its level, or the net that it is part of now, still leads to this part of it."""
        level, by, now = begun.levels[supply][net], begun.came[supply][net], begun.now
        if isinstance(by, int):
            gate = self.gates.get(by)
            return gate is not None and net in (gate.a, gate.b)
        if by is None and level is Level.DEPENDS and net in self.open_at:
            return True
        if not supply:
            return net in self.ground_nets
        return any(
            (source.whose or None) == by and self.source_level(source, now.turn, now.held) >= level
            for source in self.sources_at.get(net, ())
        )


__all__ = ["Opened"]
