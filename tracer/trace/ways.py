"""Which links and nodes lie on at least one simple way from an end to a node: exact, and in linear time.

A link lies on a simple path between two nodes exactly when it lies in a block (biconnected component) on the path between them in the
block-cut tree (Hopcroft and Tarjan, 1973, Communications of the ACM 16(6), 372-378). All ends are taken as one node, the root: an end is where a way
begins, so no way passes through another end. One depth-first search from the root gives the ways of every node.

Parallel links are told apart by link number, never by the pair of nodes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from tracer.circuit.model import Link
from tracer.trace.one_way import Arc, links_on_ways, on_every_way, reach


@dataclass(frozen=True, slots=True)
class Way:
    """Everything on the ways from the ends to one node.

    `nodes` are in order from the ends to the node; `distance` counts links from the nearest end. `sole_nodes` and `sole_links` lie on every
    way. `ends` are the end nodes at which a way begins.
    """

    target: int
    nodes: tuple[int, ...]
    links: frozenset[int]
    sole_nodes: frozenset[int]
    sole_links: frozenset[int]
    ends: frozenset[int]
    distance: dict[int, int]


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
    ) -> None:
        self._links = links
        self._direction = direction
        self._ends = frozenset(ends) - barred
        self._root = len(at)
        self._block_of_node: dict[int, int] = {}  # the block of the tree link that leads to the node
        self._block_links: list[list[int]] = []
        self._block_top: list[int] = []
        self._search(at, permitted, barred)
        directed = (
            number for number, block in enumerate(self._block_links) if any(direction(links[link]) for link in block)
        )
        self._directed_blocks = frozenset(directed)
        self._in_order: set[int] | None = None  # what is reached when diodes are heeded
        self._through: dict[tuple[int, int], frozenset[int]] = {}

    def reached(self, node: int) -> bool:
        """Whether at least one way leads to the node, diodes heeded (an end reaches itself)."""
        if node in self._ends:
            return True
        if node not in self._block_of_node:
            return False
        if not self._directed_blocks:
            return True
        if self._in_order is None:
            steps: dict[int, list[int]] = {}
            for _, tail, head in self._arcs(number for block in self._block_links for number in block):
                steps.setdefault(tail, []).append(head)
            self._in_order = reach(steps, [self._root])
        return node in self._in_order

    def leads_to(self, node: int) -> bool:
        """Whether links lead to the node, which is not itself an end; diodes are not heeded."""
        return node in self._block_of_node

    def reached_nodes(self) -> Iterable[int]:
        """Every node that is reached, ends left out."""
        return self._block_of_node.keys()

    def _search(self, at: Sequence[Sequence[int]], permitted: Callable[[Link], bool], barred: frozenset[int]) -> None:
        links, ends, root = self._links, self._ends, self._root
        order: dict[int, int] = {root: 0}
        low: dict[int, int] = {root: 0}
        open_links: list[int] = []  # links of blocks that are not closed yet
        allowed: dict[int, bool] = {}

        def neighbours(node: int) -> list[tuple[int, int]]:
            numbers = [number for end in sorted(ends) for number in at[end]] if node == root else at[node]
            found = []
            for number in numbers:
                link = links[number]
                passable = allowed.get(number)
                if passable is None:
                    passable = allowed[number] = permitted(link)
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
        blocks = self.blocks_to(target)
        cuts = [target, *(top for block in blocks if (top := self._block_top[block]) != self._root)]
        links = frozenset(link for block in blocks for link in self._block_links[block])
        gates = list(zip(blocks, cuts, strict=True))  # each block with the node where it is left
        kept = frozenset(link for block, leave in gates for link in self._links_through(block, leave))
        if len(kept) < len(links):
            return self.narrowed(kept, target)
        sole_links = frozenset(self._block_links[block][0] for block in blocks if len(self._block_links[block]) == 1)
        sole_nodes = frozenset(cuts)
        for block, leave in gates:
            if block in self._directed_blocks:
                nodes_here, links_here = on_every_way(
                    self._arcs(self._block_links[block]), self._block_top[block], leave
                )
                sole_nodes |= nodes_here - {self._root}
                sole_links |= links_here
        ends = frozenset(
            node for link in links for node in (self._links[link].a, self._links[link].b) if node in self._ends
        )
        distance = self._distances(links, ends)
        rank: dict[int, int] = {}
        for position, block in enumerate(reversed(blocks)):
            for link in self._block_links[block]:
                for node in (self._links[link].a, self._links[link].b):
                    rank.setdefault(node, position)
        exits = frozenset(cuts)  # where a block is left towards the node: after everything else in it
        nodes = tuple(
            sorted(
                distance,
                key=lambda node: (-1 if node in ends else rank[node], node in exits, distance[node], node),
            )
        )
        sole = sole_nodes | (ends if len(ends) == 1 else frozenset())
        return Way(target, nodes, links, sole, sole_links, ends, distance)

    def blocks_to(self, target: int) -> list[int]:
        """The blocks on the path of the block-cut tree from a reached node to the root, nearest first."""
        blocks = []
        node = target
        while node != self._root:
            block = self._block_of_node[node]
            blocks.append(block)
            node = self._block_top[block]
        return blocks

    def bridges_to(self, target: int) -> Iterator[int]:
        """Links that every way to a reached node takes, as far as blocks alone tell: quick, never one too many, but what only a diode makes sole is not among them."""
        for block in self.blocks_to(target) if self.leads_to(target) else ():
            if len(self._block_links[block]) == 1:
                yield self._block_links[block][0]

    def blocks_with(self, wanted: Callable[[Link], bool]) -> dict[str, set[int]]:
        """For each part the blocks that hold one of its wanted links."""
        found: dict[str, set[int]] = {}
        for number, block in enumerate(self._block_links):
            for link in block:
                if wanted(self._links[link]):
                    found.setdefault(self._links[link].part, set()).add(number)
        return found

    def narrowed(self, kept: frozenset[int], target: int) -> Way | None:
        """The ways to a node through the kept links alone."""
        at: dict[int, list[int]] = {}
        for number in sorted(kept):
            for node in (self._links[number].a, self._links[number].b):
                at.setdefault(node, []).append(number)
        narrowed = Ways(
            self._links,
            _Sparse(at, self._root),
            self._ends & at.keys(),
            lambda link: True,
            frozenset(),
            self._direction,
        )
        return narrowed.to(target)

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

    def _distances(self, links: Iterable[int], ends: Iterable[int]) -> dict[int, int]:
        at: dict[int, list[int]] = {}
        for number in sorted(links):
            link = self._links[number]
            at.setdefault(link.a, []).append(link.b)
            at.setdefault(link.b, []).append(link.a)
        distance = {end: 0 for end in sorted(ends)}
        queue = list(distance)
        for node in queue:
            for other in at[node]:
                if other not in distance:
                    distance[other] = distance[node] + 1
                    queue.append(other)
        return distance


class WaysWithout:
    """The same ways with the inside of one module taken out.

    Every way without these links is among the ways with them, so it is enough to search again among the links found, and only where they hold one
    of those taken out.
    """

    def __init__(
        self, ways: Ways, links: Sequence[Link], inside: Callable[[Link], bool], blocks: frozenset[int]
    ) -> None:
        self._ways = ways
        self._links = links
        self._inside = inside
        self._blocks = blocks
        self._kept: dict[int, Way | None] = {}

    def to(self, target: int) -> Way | None:
        """The ways to a node; None when there is none, or when the node is itself an end."""
        if not self._crosses(target):
            return self._ways.to(target)
        if target not in self._kept:
            way = self._ways.to(target)
            if way is not None:
                left = frozenset(number for number in way.links if not self._inside(self._links[number]))
                way = way if len(left) == len(way.links) else self._ways.narrowed(left, target)
            self._kept[target] = way
        return self._kept[target]

    def reached(self, node: int) -> bool:
        """Whether at least one way leads to the node (an end reaches itself)."""
        return self.to(node) is not None if self._crosses(node) else self._ways.reached(node)

    def bridges_to(self, target: int) -> Iterator[int]:
        """As of `Ways`: what every way takes, every one of fewer ways takes."""
        return self._ways.bridges_to(target)

    def _crosses(self, node: int) -> bool:
        return self._ways.leads_to(node) and not self._blocks.isdisjoint(self._ways.blocks_to(node))


class _Sparse(Sequence[Sequence[int]]):
    """Links at a node, for a few nodes of a large circuit."""

    def __init__(self, at: dict[int, list[int]], length: int) -> None:
        self._at = at
        self._length = length

    def __getitem__(self, node: Any) -> Any:
        return self._at.get(node, ())

    def __len__(self) -> int:
        return self._length
