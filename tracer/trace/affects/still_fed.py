"""What loses supply or ground when links open, without a fresh trace.

One breadth-first tree from the sources and one from the ground references are made once. When links open, only what hung below them in the
tree is looked at again: each such node either finds another reached neighbour or is lost. The work is therefore in proportion to what the opened links
carried, not to the vehicle, and every fuse of a vehicle can be opened in one pass. (For one tree this is the repair step of decremental
reachability; what is lost is what every way to it leads through: a dominator in the sense of Lengauer and Tarjan, 1979, ACM TOPLAS 1(1), 121-141.)

What is lost may take more along: a relay whose coil loses supply or ground lets its make contacts open; a module that has lost every supply, or every ground, switches
no output; a converter without input gives nothing. Each is opened in turn, and what is then lost is put down to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

from tracer.circuit.kinds import DRIVERS, GROUND_KINDS, INSIDE, SUPPLY_KINDS, Link, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.entry.models import ModuleFacts
from tracer.trace.tracing import Tracing, ground_sense, supply_sense
from tracer.trace.ways.clashes import Clash, NotTried
from tracer.trace.ways.simple import Ways

_END, _NOT_REACHED = -1, -2
_STEADY = "steady"  # supply from sources that are live in every key state alone


@dataclass(frozen=True, slots=True)
class Opened:
    """What is opened: link numbers, and nodes at which everything comes apart (their links must be among `links`)."""

    links: frozenset[int]
    nodes: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Dropped:
    """A relay, module or converter that no longer works: `lacks` is supply or ground, at `node`."""

    part: str
    kind: str
    lacks: str
    node: int
    cause: str


@dataclass(slots=True)
class Loss:
    """What is lost. Nodes that had supply (ground) before, each with the part that took it along ('' where the opened links themselves did)."""

    supply: dict[int, str] = field(default_factory=dict)
    ground: dict[int, str] = field(default_factory=dict)
    dropped: list[Dropped] = field(default_factory=list)
    opened: frozenset[int] = frozenset()  # every link that is open in the end, what was taken along included

    def at(self, level: str) -> dict[int, str]:
        """The lost nodes of one level."""
        return self.supply if level == "supply" else self.ground


class _Tree:
    """A breadth-first tree from the ends over the links that a way may use."""

    def __init__(
        self,
        circuit: Circuit,
        permitted: Callable[[Link], bool],
        sense: Callable[[Link], int],
        ends: Iterable[int],
        barred: frozenset[int],
    ) -> None:
        self.circuit = circuit
        self.barred = barred
        # 0 both ways, 1 from a to b, -1 from b to a, 2 not at all
        self.sense = [sense(link) if permitted(link) and link.a != link.b else 2 for link in circuit.links]
        self.by = [_NOT_REACHED] * len(circuit.node_names)
        self.children: dict[int, list[int]] = {}
        queue = sorted(set(ends) - self.barred)
        for end in queue:
            self.by[end] = _END
        for node in queue:
            for number, other in self.steps(node):
                if self.by[other] == _NOT_REACHED and other not in self.barred:
                    self.by[other] = number
                    self.children.setdefault(node, []).append(other)
                    queue.append(other)

    def steps(self, node: int) -> Iterator[tuple[int, int]]:
        """Links over which a way may leave a node, with the node it comes to."""
        links, sense = self.circuit.links, self.sense
        for number in self.circuit.at[node]:
            link, way = links[number], sense[number]
            if link.a == node and way in (0, 1):
                yield number, link.b
            elif link.b == node and way in (0, -1):
                yield number, link.a

    def steps_to(self, node: int) -> Iterator[tuple[int, int]]:
        """Links over which a way may come to a node, with the node it comes from."""
        links, sense = self.circuit.links, self.sense
        for number in self.circuit.at[node]:
            link, way = links[number], sense[number]
            if link.b == node and way in (0, 1):
                yield number, link.a
            elif link.a == node and way in (0, -1):
                yield number, link.b

    def reached(self, node: int) -> bool:
        return self.by[node] != _NOT_REACHED


class _Repair:
    """One tree while links are opened; the tree itself is not changed, what differs is kept here."""

    def __init__(self, tree: _Tree) -> None:
        self.tree = tree
        self.by: dict[int, int] = {}
        self.more_children: dict[int, list[int]] = {}
        self.lost: set[int] = set()
        self.open: set[int] = set()
        self.ends_gone: set[int] = set()
        self.ruled_out: set[int] = set()  # still reached, but over contacts that are never closed together

    def link_to(self, node: int) -> int:
        return self.by.get(node, self.tree.by[node])

    def reached(self, node: int) -> bool:
        return node not in self.lost and self.tree.reached(node)

    def fed(self, node: int) -> bool:
        """Whether a node is reached over contacts that one setting closes."""
        return node not in self.ruled_out and self.reached(node)

    def _children(self, node: int) -> Iterator[int]:
        for child in self.tree.children.get(node, ()):
            if child not in self.by:
                yield child
        for child in self.more_children.get(node, ()):
            number = self.by.get(child)
            if number is not None and number >= 0 and self._other(number, child) == node:
                yield child

    def _other(self, number: int, node: int) -> int:
        return self.tree.circuit.other(self.tree.circuit.links[number], node)

    def open_links(self, links: Iterable[int], ends: Iterable[int] = ()) -> set[int]:
        """Open links, and let some ends be ends no longer; the nodes that are lost by it."""
        ends = tuple(ends)
        links = set(links)
        self.open |= links
        self.ends_gone.update(ends)
        starts = [
            node
            for number in links
            for node in (self.tree.circuit.links[number].a, self.tree.circuit.links[number].b)
            if self.reached(node) and self.link_to(node) == number
        ]
        starts += [end for end in ends if self.reached(end) and self.link_to(end) == _END]
        if not starts:
            return set()
        broken = set(starts)
        queue = list(broken)
        for node in queue:
            for child in self._children(node):
                if child not in broken and child not in self.lost:
                    broken.add(child)
                    queue.append(child)
        return self._join_again(broken)

    def _join_again(self, broken: set[int]) -> set[int]:
        tree = self.tree
        joined: list[int] = []
        waiting = set(broken)
        for node in sorted(broken):
            for number, other in tree.steps_to(node):
                if number not in self.open and other not in broken and self.reached(other):
                    self._hang(node, number, other)
                    waiting.discard(node)
                    joined.append(node)
                    break
        for node in joined:
            for number, other in tree.steps(node):
                if other in waiting and number not in self.open:
                    self._hang(other, number, node)
                    waiting.discard(other)
                    joined.append(other)
        self.lost |= waiting
        return waiting

    def _hang(self, node: int, number: int, below: int) -> None:
        self.by[node] = number
        self.more_children.setdefault(below, []).append(node)


@dataclass(frozen=True, slots=True)
class _Clashing:
    """Nodes with the same clashes on their ways; `links` are those of the clashes, `dead` stand for ends that do not count for these nodes."""

    nodes: frozenset[int]
    clashes: tuple[Clash | NotTried, ...]
    links: frozenset[int]
    dead: frozenset[int]


@dataclass(frozen=True, slots=True)
class _Worker:
    """Something that needs supply and ground to do its work, and what it opens when it no longer does.

    Its pairs are one or more (supply node, ground node); None stands for a side that it does not need. A module has one pair for each supply and one for each ground.
    """

    part: str
    kind: str
    supply: tuple[int, ...]
    ground: tuple[int, ...]
    opens: tuple[int, ...]
    ends: tuple[int, ...] = ()
    works: bool = True  # while nothing is open


class Reach:
    """Supply and ground of a circuit as it is fitted, and what is lost when something opens.

    Positions whose `state` is `empty` or `option` do not conduct here: nothing is plugged in there. `unfitted` names further parts that are not in place.
    With `steady`, what a source feeds that is live in every key state counts as lost when only a generator, a converter or a rail that may be dead still feeds it:
    a third tree, of the first kind of sources alone, says what they feed.
    """

    def __init__(self, tracing: Tracing, *, unfitted: Iterable[str] = (), steady: bool = False) -> None:
        self.tracing = tracing
        self.circuit = circuit = tracing.circuit
        missing = {name for name in circuit.parts if circuit.is_not_fitted(name)}
        self.unfitted = frozenset(missing.union(unfitted))
        self.barred = {
            "supply": tracing.hard_ground - tracing.hard_supply,
            "ground": tracing.hard_supply - tracing.hard_ground,
        }
        self._trees = {
            "supply": _Tree(
                circuit,
                self.permitted(SUPPLY_KINDS),
                supply_sense,
                (end.node for end in circuit.sources),
                self.barred["supply"],
            ),
            "ground": _Tree(
                circuit,
                self.permitted(GROUND_KINDS),
                ground_sense,
                (end.node for end in circuit.grounds),
                self.barred["ground"],
            ),
        }
        if steady:
            self._trees[_STEADY] = _Tree(
                circuit, self.permitted(SUPPLY_KINDS), supply_sense, tracing.ending_sources, self.barred["supply"]
            )
        self._ways: dict[str, Ways] = {}
        self._clashing: dict[str, list[_Clashing]] = {}
        self._clashing_of_link: dict[tuple[str, int], tuple[int, ...]] = {}
        self._never: dict[str, set[int]] = {}
        for level in self._trees:
            self._clashing[level], self._never[level] = self._find_clashing(level)
        healthy, nothing = self._whole(), Loss()
        self._workers = [replace(worker, works=self._works(worker, healthy, nothing)) for worker in self._all_workers()]
        self._at_node: dict[tuple[str, int], list[int]] = {}
        for number, worker in enumerate(self._workers):
            for level, nodes in (("supply", worker.supply), ("ground", worker.ground)):
                for node in nodes:
                    self._at_node.setdefault((level, node), []).append(number)

    def permitted(self, kinds: frozenset[LinkKind]) -> Callable[[Link], bool]:
        """Whether a way may use a link: of the right kind, and not inside a part that is not fitted."""
        unfitted = self.unfitted
        return lambda link: link.kind in kinds and link.part not in unfitted

    def reached(self, node: int, level: str) -> bool:
        """Whether supply (ground) reaches a node while nothing is open."""
        return self._trees[level].reached(node) and node not in self._never[level]

    def ways(self, level: str) -> Ways:
        """Every way of one level."""
        if level not in self._ways:
            kinds = GROUND_KINDS if level == "ground" else SUPPLY_KINDS
            self._ways[level] = (
                self.ways("supply") if level == _STEADY else self.tracing.all_ways(level, self.permitted(kinds))
            )
        return self._ways[level]

    def _whole(self) -> dict[str, _Repair]:
        """The trees while nothing is open."""
        repairs = {level: _Repair(tree) for level, tree in self._trees.items()}
        for level, repair in repairs.items():
            repair.ruled_out |= self._never[level]
        return repairs

    def _find_clashing(self, level: str) -> tuple[list[_Clashing], set[int]]:
        """The nodes whose ways clash in their positions, which the tree does not know of: those that the same clashes concern together, and those without a valid way."""
        ways, tree = self.ways(level), self._trees[level]
        passing = self.tracing.passing_sources if level == _STEADY else frozenset[int]()
        dead = frozenset(ways.starts[node] for node in passing if node in ways.starts)
        grouped: dict[tuple[Clash | NotTried, ...], set[int]] = {}
        never: set[int] = set()
        for node in ways.reached_nodes() if ways.has_clashes else ():
            if not ways.is_clashing(node) or not tree.reached(node) or (ways.begins_at(node) and node not in passing):
                continue
            clashes = ways.clashes_to(node)
            if clashes is None:
                way = ways.to(node)
                clashes = way.clashes if way is not None else None
            if clashes is None or not ways.reached(node):
                never.add(node)
            else:
                grouped.setdefault(clashes, set()).add(node)
        found = []
        for clashes, nodes in grouped.items():
            if any(clash.way_without(dead) is False for clash in clashes):
                never |= nodes  # only what may be dead feeds it, in any setting
                continue
            links = frozenset[int]().union(*(clash.numbers for clash in clashes))
            found.append(_Clashing(frozenset(nodes), clashes, links, dead))
        return found, never

    def _open(self, level: str, repair: _Repair, links: frozenset[int], ends: frozenset[int]) -> set[int]:
        """Open links in one tree; the nodes that lose their level by it."""
        starts = self.ways(level).starts
        opened = links.union(starts[end] for end in ends if end in starts)
        touched = {one: None for link in opened for one in self._clashing_at(level, link)}
        before = set(repair.ruled_out)
        return (repair.open_links(links, ends) - before) | self._rule_out(level, repair, touched)

    def _clashing_at(self, level: str, link: int) -> tuple[int, ...]:
        """Which of the clashing nodes have a link in their clashes, by number."""
        if (level, link) not in self._clashing_of_link:
            found = (number for number, one in enumerate(self._clashing[level]) if link in one.links)
            self._clashing_of_link[level, link] = tuple(found)
        return self._clashing_of_link[level, link]

    def _rule_out(self, level: str, repair: _Repair, touched: Iterable[int]) -> set[int]:
        """The nodes that are still reached, but no longer under any one setting of the switches."""
        found: set[int] = set()
        starts = self.ways(level).starts
        gone = repair.open.union(starts[end] for end in repair.ends_gone if end in starts)
        for number in touched:
            one = self._clashing[level][number]
            left = {node for node in one.nodes if repair.fed(node)}
            if left and any(clash.way_without(one.dead | gone) is False for clash in one.clashes):
                found |= left
        repair.ruled_out |= found
        return found

    def lost_by(self, opened: Opened) -> Loss:
        """Everything that loses supply or ground when something opens, what is taken along included."""
        repair = self._whole()
        loss = Loss()
        fallen: set[int] = set()
        queue: list[tuple[str, frozenset[int], frozenset[int]]] = [("", opened.links, opened.nodes)]
        for cause, links, ends in queue:
            newly = {level: self._open(level, one, links, ends) for level, one in repair.items()}
            newly["supply"] = (newly["supply"] | newly.pop(_STEADY, set())) - loss.supply.keys()
            for level, nodes in newly.items():
                loss.at(level).update(dict.fromkeys(nodes, cause))
            asked = {
                number
                for level, nodes in newly.items()
                for node in nodes
                for number in self._at_node.get((level, node), ())
            }
            for number in sorted(asked - fallen):
                worker = self._workers[number]
                if worker.works and not self._works(worker, repair, loss):
                    fallen.add(number)
                    loss.dropped.append(self._dropped(worker, repair, loss))
                    queue.append((worker.part, frozenset(worker.opens), frozenset(worker.ends)))
        loss.opened = frozenset().union(*(links for _, links, _ in queue))
        return loss

    # --- what works --------------------------------------------------------------------------------------------

    @staticmethod
    def _works(worker: _Worker, repair: dict[str, _Repair], loss: Loss) -> bool:
        def supply(node: int) -> bool:
            return node not in loss.supply and repair["supply"].fed(node)

        ground = repair["ground"].fed
        if worker.kind == "relay":
            coils = zip(worker.supply[::2], worker.supply[1::2], strict=True)
            return any((supply(a) and ground(b)) or (supply(b) and ground(a)) for a, b in coils)
        has_supply = not worker.supply or any(supply(node) for node in worker.supply)
        return has_supply and (not worker.ground or any(ground(node) for node in worker.ground))

    def _dropped(self, worker: _Worker, repair: dict[str, _Repair], loss: Loss) -> Dropped:
        level, node = next(
            (level, node)
            for level, nodes in (("supply", worker.supply), ("ground", worker.ground))
            for node in nodes
            if node in loss.at(level)
        )
        return Dropped(worker.part, worker.kind, level, node, loss.at(level)[node])

    def _all_workers(self) -> Iterator[_Worker]:
        circuit = self.circuit
        inside: dict[str, list[int]] = {}
        for number, link in enumerate(circuit.links):
            if link.kind in DRIVERS or (link.kind is LinkKind.CONTACT and link.closed == ("energised",)):
                inside.setdefault(link.part, []).append(number)
        ends: dict[str, list[int]] = {}
        for end in circuit.sources:
            part = circuit.part_at(end.node)
            if part is not None and part.kind in (PartKind.MODULE, PartKind.CONVERTER):
                ends.setdefault(part.name, []).append(end.node)
        for part in circuit.parts.values():
            pins = circuit.pins_of.get(part.name, {})
            opens, own_ends = tuple(inside.get(part.name, ())), tuple(ends.get(part.name, ()))
            if part.kind is PartKind.RELAY and len(part.coils) == 1:  # a latching relay stays where it was put
                nodes = tuple(pins[pin] for pin in part.coils[0])
                yield _Worker(part.name, "relay", nodes, nodes, opens)
            elif isinstance(part.facts, ModuleFacts):
                yield _Worker(
                    part.name,
                    "module",
                    _declared(part.facts, pins, "supply"),
                    self._of_level(_declared(part.facts, pins, "ground"), "ground"),
                    opens,
                    own_ends,
                )
            elif part.kind is PartKind.CONVERTER:
                yield _Worker(part.name, "converter", (pins["in"],), (pins["ground"],), (), own_ends)

    def _of_level(self, nodes: tuple[int, ...], level: str) -> tuple[int, ...]:
        """Nodes that are reached at all: a module none of whose grounds is typed in counts as grounded until they are."""
        return tuple(node for node in nodes if self.reached(node, level))


def _declared(facts: ModuleFacts, pins: dict[str, int], role: str) -> tuple[int, ...]:
    return tuple(pins[pin] for pin, words in facts.pins.items() if words.split()[0] == role and pin in pins)


def opened_at_pin(circuit: Circuit, node: int) -> Opened:
    """The contact at a pin open: whatever is attached from outside comes off, what is joined inside the part stays."""
    part = circuit.node_parts[node]
    return Opened(
        frozenset(
            number
            for number in circuit.at[node]
            if not (circuit.links[number].kind in INSIDE and circuit.links[number].part == part)
        )
    )


__all__ = ["Dropped", "Loss", "Opened", "Reach", "opened_at_pin"]
