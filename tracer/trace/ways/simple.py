"""Which links and nodes lie on at least one simple way from an end to a node: exact, and in linear time.

A link lies on a simple path between two nodes exactly when it lies in a block (biconnected component) on the path between them in the
block-cut tree (Hopcroft and Tarjan, 1973, Communications of the ACM 16(6), 372-378). All ends are taken as one node, the root: an end is where a way
begins, so no way passes through another end. One depth-first search from the root gives the ways of every node.

A source that may be dead (a generator, a converter) begins ways too, but does not end them: a way runs on through its stud. It hangs on the root by a
link of its own, which is no link of the circuit.

What is found so is then held against the positions of switches and relays, see `clashes.py`: a way counts only when one setting closes all its contacts.

Parallel links are told apart by link number, never by the pair of nodes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import cached_property

from tracer.circuit.model import Link, LinkKind
from tracer.trace.ways.clashes import MOST_TOGETHER, Clash, Gate, NotTried, Variable, clash_of, groups_of, settled_along
from tracer.trace.ways.guards import Guard
from tracer.trace.ways.one_way import Arc, links_on_ways, on_every_way
from tracer.trace.ways.reached import Reached
from tracer.trace.ways.sparse import Sparse


@dataclass(frozen=True, slots=True)
class Way:
    """Everything on the ways from the ends to one node.

    `nodes` are in order from the ends to the node; `distance` counts links from the nearest end. `sole_nodes` and `sole_links` lie on every
    way. `ends` are the end nodes at which a way begins; `passing` those of them that do not end a way, each with the number of the link that stands for
    it beginning there. `clashes` are the blocks in which positions rule something out, `taken_out` the links that they rule out, each with what switches them; `doubtful` links are kept because
    a bound was passed, not because they are proven.
    """

    target: int
    nodes: tuple[int, ...]
    links: frozenset[int]
    sole_nodes: frozenset[int]
    sole_links: frozenset[int]
    ends: frozenset[int]
    distance: dict[int, int]
    passing: Mapping[int, int] = field(default_factory=dict)
    clashes: tuple[Clash | NotTried, ...] = ()
    taken_out: Mapping[int, frozenset[Variable]] = field(default_factory=dict)
    doubtful: frozenset[int] = frozenset()


class Ways:
    """The ways from a set of ends to every node that is reached.

    Parameters
    ----------
    links : all links of the circuit
    at : for each node the numbers of the links that touch it
    ends : nodes where a way begins
    permitted : whether a way may go through a link
    barred : nodes that no way may touch
    direction : 0 where a link leads both ways, 1 where a way may only go from its `a` to its `b`, -1 for the other sense (diodes, drivers)
    passing : nodes where a way begins, but may run on through as well
    guards : for each contact, by link number, the positions that close it

    Ways that would have to go against a diode are taken out block by block, see `one_way.py`. Nothing real is lost.
    """

    def __init__(
        self,
        links: Sequence[Link],
        at: Sequence[Sequence[int]],
        ends: Iterable[int],
        permitted: Callable[[Link], bool],
        barred: frozenset[int] = frozenset(),
        direction: Callable[[Link], int] = lambda link: 0,
        *,
        passing: Iterable[int] | Mapping[int, int] = (),
        guards: Mapping[int, Guard] | None = None,
    ) -> None:
        self._direction = direction
        self._ends = frozenset(ends) - barred
        self._root = len(at)
        self._guards = guards or {}
        self._links = links
        if isinstance(passing, Mapping):  # of other ways, whose links hold those that stand for passing ends already
            self._starts = dict(passing)
        else:
            through = sorted(frozenset(passing) - self._ends - barred)
            self._starts = {node: len(links) + number for number, node in enumerate(through)}
            if through:
                self._links = [*links, *(Link(self._root, node, LinkKind.MEETS) for node in through)]
        self._block_of_node: dict[int, int] = {}  # the block of the tree link that leads to the node
        self._block_links: list[list[int]] = []
        self._block_top: list[int] = []
        self._search(at, permitted, barred)
        directed = (
            number
            for number, block in enumerate(self._block_links)
            if any(direction(self._links[link]) for link in block)
        )
        self._directed_blocks = frozenset(directed)
        self._through: dict[tuple[int, int], frozenset[int]] = {}
        self._along: list[Mapping[Variable, int]] = []
        self._own_variables: dict[int, frozenset[Variable]] = {}
        self._clash_along: list[bool] = []
        if self._guards:
            self._along, self._own_variables = settled_along(self._block_links, self._entered_by, self._guards)
            self._clash_along = [not all(masks.values()) for masks in self._along]
        self._clashes: dict[tuple[Gate, ...], Clash | NotTried] = {}
        self._closable: set[Gate] = (
            set()
        )  # blocks, and nodes of them to which a way leads that clashes with nothing in the block
        self._consistent: dict[int, Way | None] = {}

    @property
    def links(self) -> Sequence[Link]:
        """The links by number, with those that stand for passing ends."""
        return self._links

    def reached(self, node: int) -> bool:
        """Whether at least one way leads to the node, diodes heeded (an end reaches itself)."""
        if self.begins_at(node):
            return True
        if node not in self._block_of_node:
            return False
        if self.is_clashing(node):
            return self._is_closable(node)
        if not self._directed_blocks:
            return True
        return node in self._in_order.nodes

    @cached_property
    def _in_order(self) -> Reached:
        """What is reached when diodes are heeded, as if every contact were closed."""
        return Reached(self._arcs(number for block in self._block_links for number in block), self._root)

    def reached_over(self, permitted: Callable[[Link], bool]) -> frozenset[int]:
        """The nodes that are reached over some of the links alone, diodes heeded, as if every contact were closed."""
        return self._in_order.over(lambda number, _: permitted(self._links[number]))

    def reached_without(self, node: int, gone: Callable[[Link], bool], known: Set[int]) -> bool:
        """Whether a way is left to a node when links are taken out, diodes heeded; for a node that is not clashing. `known` are nodes that are reached all the same."""
        return self._in_order.beside(node, lambda number: gone(self._links[number]), known)

    def _is_closable(self, node: int) -> bool:
        """Whether a way leads to a node between which and the ends positions clash. A way found leads to every node on it, so few of many nodes are searched for."""
        if node in self._always_closed:
            return True
        groups = self._groups_to(node)
        for group, unsettled in groups or ():
            if group[1:] or group[0] not in self._closable:
                clash = self._clash(group, unsettled)
                if clash.is_closable is None:
                    return self.to(node) is not None
                if not clash.is_closable:
                    return False
                if not group[1:] and isinstance(clash, Clash):
                    block = group[0][0]
                    ends = (self._links[number] for number in clash.some_way)
                    self._closable.update((block, end) for link in ends for end in (link.a, link.b))
        return self.to(node) is not None if groups is None else True

    @cached_property
    def _always_closed(self) -> frozenset[int]:
        """What is reached over links that every position of every switch and relay closes: no setting takes that away, so nothing need be searched for there."""
        return self._in_order.over(lambda number, _: number not in self._guards)

    def always_reached(self, downwards: Callable[[Link], bool]) -> frozenset[int]:
        """The nodes that are reached whatever the positions are, some of the links passed from their `a` to their `b` only.

        To such a node a way leads beside each of these that begins at it.
        """
        links, guards = self._links, self._guards
        return self._in_order.over(
            lambda n, tail: n not in guards and (not downwards(links[n]) or tail == self._end_of(links[n].a))
        )

    @property
    def has_clashes(self) -> bool:
        """Whether there is any node for which positions must be looked at."""
        return any(self._clash_along)

    def is_clashing(self, node: int) -> bool:
        """Whether the contacts between the ends and a node are never all closed together, so that positions must be looked at."""
        return bool(self._clash_along) and node in self._block_of_node and self._clash_along[self._block_of_node[node]]

    def _entered_by(self, block: int) -> int | None:
        top = self._block_top[block]
        return None if top == self._root else self._block_of_node[top]

    @property
    def starts(self) -> Mapping[int, int]:
        """For each passing end the number of the link that stands for a way beginning there."""
        return self._starts

    def begins_at(self, node: int) -> bool:
        """Whether a way begins at the node itself."""
        return node in self._ends or node in self._starts

    def leads_to(self, node: int) -> bool:
        """Whether links lead to the node, which is not itself an end; diodes are not heeded."""
        return node in self._block_of_node

    def reached_nodes(self) -> Iterable[int]:
        """Every node that is reached, ends left out."""
        return self._block_of_node.keys()

    def _search(self, at: Sequence[Sequence[int]], permitted: Callable[[Link], bool], barred: frozenset[int]) -> None:
        links, ends, root, starts = self._links, self._ends, self._root, self._starts
        order: dict[int, int] = {root: 0}
        low: dict[int, int] = {root: 0}
        open_links: list[int] = []  # links of blocks that are not closed yet
        allowed: dict[int, bool] = {}

        def neighbours(node: int) -> list[tuple[int, int]]:
            numbers: Sequence[int]
            if node == root:
                numbers = [*(number for end in sorted(ends) for number in at[end]), *starts.values()]
            else:
                numbers = [*at[node], starts[node]] if node in starts else at[node]
            found = []
            for number in numbers:
                link = links[number]
                passable = allowed.get(number)
                if passable is None:
                    passable = allowed[number] = link.a == root or permitted(link)
                if not passable or link.a == link.b:
                    continue
                a = root if link.a in ends else link.a
                b = root if link.b in ends else link.b
                other = b if a == node else a
                if other != node and other not in barred:
                    found.append((number, other))
            return found

        stack: list[tuple[int, int, int, list[tuple[int, int]]]] = [
            (root, -1, root, neighbours(root))
        ]  # node, link to it, parent, what is left
        while stack:
            node, came_by, parent, left = stack[-1]
            if left:
                number, other = left.pop()
                if number == came_by:
                    continue
                if other not in order:
                    order[other] = low[other] = len(order)
                    open_links.append(number)
                    stack.append((other, number, node, neighbours(other)))
                elif order[other] < order[node]:
                    open_links.append(number)
                    low[node] = min(low[node], order[other])
                continue
            stack.pop()
            if node == root:
                continue
            if low[node] >= order[parent]:
                self._close_block(came_by, parent, open_links)
            low[parent] = min(low[parent], low[node])

    def _close_block(self, tree_link: int, top: int, open_links: list[int]) -> None:
        number = len(self._block_links)
        block = []
        while True:
            link = open_links.pop()
            block.append(link)
            if link == tree_link:
                break
        self._block_links.append(block)
        self._block_top.append(top)
        for link in block:
            for node in (self._links[link].a, self._links[link].b):
                if node != top and node not in self._ends:
                    self._block_of_node.setdefault(node, number)

    def to(self, target: int) -> Way | None:
        """The ways to a node; None when there is none, or when the node is itself an end."""
        if target not in self._block_of_node:
            return None
        if not self.is_clashing(target):
            return self._structural(target)
        if target not in self._consistent:
            self._consistent[target] = self._under_one_setting(target)
        return self._consistent[target]

    def ruled_out(self, target: int) -> frozenset[int]:
        """The contacts whose positions rule out every way to a node; empty where there is a way, or none even with all contacts closed."""
        if not self.is_clashing(target) or self.to(target) is not None:
            return frozenset()
        clashes = self.clashes_to(target)
        if clashes is None:  # one-way links leave less
            kept = (self._links_through(*gate) for gate in self._gates_to(target))
            return self.through(frozenset[int]().union(*kept)).ruled_out(target)
        found: set[int] = set()
        for clash in clashes:
            if not clash.kept:
                names = frozenset[Variable]().union(*clash.taken_out.values())
                found.update(n for n in clash.taken_out if n in self._guards and self._guards[n].variable in names)
        return frozenset(found)

    def _under_one_setting(self, target: int) -> Way | None:
        """The ways to a node on which one setting closes every contact."""
        clashes = self.clashes_to(target)
        if clashes is None:  # one-way links leave less
            return self._structural(target, guarded=True)
        if not all(clash.kept for clash in clashes):
            return None
        taken_out = {number: names for clash in clashes for number, names in clash.taken_out.items()}
        links = {number for block in self.blocks_to(target) for number in self._block_links[block]}
        way = self.narrowed(frozenset(links - taken_out.keys()), target, guarded=False)
        if way is None:
            return None
        nodes = way.sole_nodes.union(*(clash.on_every_way[0] for clash in clashes)) - {self._root}
        sole = way.sole_links.union(*(clash.on_every_way[1] for clash in clashes)) & way.links
        doubtful = frozenset[int]().union(*(clash.doubtful for clash in clashes))
        return replace(
            way,
            sole_nodes=nodes,
            sole_links=sole,
            clashes=clashes,
            taken_out=taken_out,
            doubtful=doubtful,
        )

    def clashes_to(self, target: int) -> tuple[Clash | NotTried, ...] | None:
        """The chains of blocks between the ends and a node in which positions clash; None where one-way links already take something out of these blocks.

        There is a valid way exactly when there is one with all contacts closed and one through each of these.
        """
        groups = self._groups_to(target)
        return None if groups is None else tuple(self._clash(*group) for group in groups)

    def _groups_to(self, target: int) -> list[tuple[tuple[Gate, ...], frozenset[Variable]]] | None:
        """The gates to a node that belong together, with the variables that are not settled; None as above."""
        if not self.is_clashing(target):
            return []
        gates = self._gates_to(target)
        if any(len(self._links_through(*gate)) < len(self._block_links[gate[0]]) for gate in gates):
            return None
        along = self._along[self._block_of_node[target]]
        unsettled = frozenset(name for name, mask in along.items() if not mask)
        return [(group, unsettled) for group in groups_of(gates[::-1], self._own_variables, unsettled)]

    def _clash(self, group: tuple[Gate, ...], unsettled: frozenset[Variable]) -> Clash | NotTried:
        if group not in self._clashes:
            if sum(clash.visits for clash in self._clashes.values() if isinstance(clash, Clash)) > MOST_TOGETHER:
                links = frozenset(link for block, _ in group for link in self._block_links[block])
                names = {self._guards[link].variable for link in links if link in self._guards}
                self._clashes[group] = NotTried(links, tuple(sorted(names & unsettled)))
                return self._clashes[group]
            chain = [(self._block_links[block], self._block_top[block], leave) for block, leave in group]
            self._clashes[group] = clash_of(chain, self._links, self._end_of, self._direction, self._guards, unsettled)
        return self._clashes[group]

    def _end_of(self, node: int) -> int:
        return self._root if node in self._ends else node

    def _gates_to(self, target: int) -> list[tuple[int, int]]:
        """Each block on the way to a node with the node where it is left, nearest to the node first."""
        blocks = self.blocks_to(target)
        cuts = [target, *(top for block in blocks if (top := self._block_top[block]) != self._root)]
        return list(zip(blocks, cuts, strict=True))

    def _structural(self, target: int, *, guarded: bool = False) -> Way | None:
        """The ways to a node as if every contact were closed (`guarded`: with positions heeded once one-way links have taken out what they do)."""
        gates = self._gates_to(target)
        blocks, cuts = [block for block, _ in gates], [leave for _, leave in gates]
        links = frozenset(link for block in blocks for link in self._block_links[block])
        kept = frozenset(link for block, leave in gates for link in self._links_through(block, leave))
        if len(kept) < len(links):
            return self.narrowed(kept, target, guarded=guarded)
        sole_links = frozenset(self._block_links[block][0] for block in blocks if len(self._block_links[block]) == 1)
        sole_nodes = frozenset(cuts)
        for block, leave in gates:
            if block in self._directed_blocks:
                nodes_here, links_here = on_every_way(
                    self._arcs(self._block_links[block]), self._block_top[block], leave
                )
                sole_nodes |= nodes_here - {self._root}
                sole_links |= links_here
        passing = {node: number for node, number in self._starts.items() if number in links}
        links -= frozenset(passing.values())
        if not links:  # a node that is itself an end, and that nothing else feeds
            return None
        ends = frozenset(
            node for link in links for node in (self._links[link].a, self._links[link].b) if node in self._ends
        )
        distance = self._distances(links, ends, passing)
        rank: dict[int, int] = {}
        for position, block in enumerate(reversed(blocks)):
            for link in self._block_links[block]:
                for node in (self._links[link].a, self._links[link].b):
                    rank.setdefault(node, position)
        exits = frozenset(cuts)  # where a block is left towards the node: after everything else in it
        nodes = tuple(
            sorted(
                distance,
                key=lambda node: (rank[node] if distance[node] else -1, node in exits, distance[node], node),
            )
        )
        ends |= passing.keys()
        sole = sole_nodes | (ends if len(ends) == 1 else frozenset())
        return Way(target, nodes, links, sole, sole_links & links, ends, distance, passing)

    def blocks_to(self, target: int) -> list[int]:
        """The blocks on the path of the block-cut tree from a reached node to the root, nearest first."""
        blocks = []
        node = target
        while node != self._root:
            block = self._block_of_node[node]
            blocks.append(block)
            node = self._block_top[block]
        return blocks

    def is_bridge(self, number: int) -> bool:
        """Whether a link is a block by itself: all ways over it lead through it alone, whatever else is left out."""
        blocks = (self._block_of_node.get(node) for node in (self._links[number].a, self._links[number].b))
        return any(block is not None and self._block_links[block] == [number] for block in blocks)

    def bridges_to(self, target: int) -> Iterator[int]:
        """Links that every way to a reached node takes, as far as blocks alone tell: quick, never one too many, but what only a diode makes sole is not among them."""
        beginnings = frozenset(self._starts.values())  # no links of the circuit
        for block in self.blocks_to(target) if self.leads_to(target) else ():
            if len(self._block_links[block]) == 1 and self._block_links[block][0] not in beginnings:
                yield self._block_links[block][0]

    def blocks_with(self, wanted: Callable[[Link], bool]) -> dict[str, set[int]]:
        """For each part the blocks that hold one of its wanted links."""
        found: dict[str, set[int]] = {}
        for number, block in enumerate(self._block_links):
            for link in block:
                if wanted(self._links[link]):
                    found.setdefault(self._links[link].part, set()).add(number)
        return found

    def narrowed(self, kept: frozenset[int], target: int, *, guarded: bool = True) -> Way | None:
        """The ways to a node through the kept links alone; passing ends must be among them by the links that stand for them."""
        return self.through(kept, guarded=guarded).to(target)

    def through(self, kept: frozenset[int], *, guarded: bool = True) -> Ways:
        """The ways that use the kept links alone."""
        at: dict[int, list[int]] = {}
        beginning = frozenset(
            self._starts.values()
        )  # these stand at their nodes anyway: counted twice, they would look like links taken out
        for number in sorted(kept - beginning):
            for node in (self._links[number].a, self._links[number].b):
                at.setdefault(node, []).append(number)
        return Ways(
            self._links,
            Sparse(at, self._root),
            self._ends & at.keys(),
            lambda link: True,
            frozenset(),
            self._direction,
            passing={node: number for node, number in self._starts.items() if number in kept},
            guards=self._guards if guarded else None,
        )

    def _links_through(self, block: int, leave: int) -> frozenset[int]:
        """The links of a block on a way in the permitted sense from where it is entered to where it is left."""
        if block not in self._directed_blocks:
            return frozenset(self._block_links[block])
        found = self._through.get((block, leave))
        if found is None:
            arcs = list(self._arcs(self._block_links[block]))
            found = self._through[block, leave] = links_on_ways(arcs, self._block_top[block], leave)
        return found

    def _arcs(self, numbers: Iterable[int]) -> Iterator[Arc]:
        """The senses in which links may be passed; all ends are the root."""
        for number in sorted(numbers):
            link = self._links[number]
            a, b = (self._root if node in self._ends else node for node in (link.a, link.b))
            sense = self._direction(link)
            if sense >= 0:
                yield number, a, b
            if sense <= 0:
                yield number, b, a

    def _distances(self, links: Iterable[int], ends: Iterable[int], passing: Iterable[int]) -> dict[int, int]:
        """Links from the nearest end; a passing end through which a way from another one runs on does not count as near."""
        at: dict[int, list[int]] = {}
        for number in sorted(links):
            link = self._links[number]
            at.setdefault(link.a, []).append(link.b)
            at.setdefault(link.b, []).append(link.a)
        distance = {end: 0 for end in sorted(ends)}
        distance |= {node: 0 for node in sorted(passing) if len(at[node]) < 2}
        distance = distance or {node: 0 for node in sorted(passing)}
        queue = list(distance)
        for node in queue:
            for other in at[node]:
                if other not in distance:
                    distance[other] = distance[node] + 1
                    queue.append(other)
        return distance
