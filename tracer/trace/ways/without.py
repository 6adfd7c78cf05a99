"""The ways of a circuit with some links left out, such as the inside of a module; and whether a node is fed without some links."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence, Set
from dataclasses import replace

from tracer.circuit.model import Link
from tracer.trace.ways.one_way import reach
from tracer.trace.ways.simple import Way, Ways


def fed_without(
    way: Way, links: Sequence[Link], direction: Callable[[Link], int], gone: Iterable[int] = (), *, ends: Iterable[int] | None = None
) -> bool | None:  # fmt: skip
    """Whether a way is left when links are taken out and only some of the ends are live; None when the bounds on positions leave it open.

    `ends` are those that are live, all of the way's if left out.
    """
    live = way.ends if ends is None else way.ends & frozenset(ends)
    out = set(gone)
    out.update(number for end, number in way.passing.items() if end not in live)
    steps: dict[int, list[int]] = {}
    for number in way.links - out:
        link = links[number]
        sense = direction(link)
        if sense >= 0:
            steps.setdefault(link.a, []).append(link.b)
        if sense <= 0:
            steps.setdefault(link.b, []).append(link.a)
    if way.target not in reach(steps, live):
        return False
    found = [clash.way_without(frozenset(out)) for clash in way.clashes]
    return False if False in found else None if None in found else True


class WaysWithout:
    """The same ways with the inside of one module taken out.

    Every way without these links is among the ways with them, so it is enough to search again among the links found, and only where they hold one
    of those taken out. `outside` gives the nodes that are reached without the inside of any module, as if every contact were closed.
    """

    def __init__(
        self,
        ways: Ways,
        links: Sequence[Link],
        inside: Callable[[Link], bool],
        blocks: frozenset[int],
        outside: Callable[[], Set[int]] = frozenset,
    ) -> None:
        self._ways = ways
        self._outside = outside
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
                left = self._left(way)
                if len(left) < len(way.links) + len(way.passing):
                    taken_out = way.taken_out
                    way = self._ways.narrowed(left, target)
                    way = way and replace(way, taken_out={**taken_out, **way.taken_out})
            self._kept[target] = way
        return self._kept[target]

    def reached(self, node: int) -> bool:
        """Whether at least one way leads to the node (an end reaches itself)."""
        if not self._crosses(node):
            return self._ways.reached(node)
        if self._ways.begins_at(node):
            return True
        if self._ways.is_clashing(node):
            return self.to(node) is not None
        return self._ways.reached_without(node, self._inside, self._outside())

    @property
    def links(self) -> Sequence[Link]:
        """The links by number, with those that stand for passing ends."""
        return self._ways.links

    def is_clashing(self, node: int) -> bool:
        """Whether positions must be looked at for a node."""
        return self._ways.is_clashing(node)

    def begins_at(self, node: int) -> bool:
        """Whether a way begins at the node itself."""
        return self._ways.begins_at(node)

    def ruled_out(self, target: int) -> frozenset[int]:
        """The contacts whose positions rule out every way to a node; empty where there is a way, or none even with all contacts closed."""
        way = self._ways.to(target)
        if way is None or not self._crosses(target):
            return self._ways.ruled_out(target)
        return self._ways.through(self._left(way)).ruled_out(target)

    def _left(self, way: Way) -> frozenset[int]:
        """The links of a way without the inside of the module; those that stand for passing ends are among them."""
        left = (number for number in way.links if not self._inside(self._links[number]))
        return frozenset((*left, *way.passing.values()))

    def bridges_to(self, target: int) -> Iterator[int]:
        """As of `Ways`: what every way takes, every one of fewer ways takes."""
        return self._ways.bridges_to(target)

    def _crosses(self, node: int) -> bool:
        return self._ways.leads_to(node) and not self._blocks.isdisjoint(self._ways.blocks_to(node))
