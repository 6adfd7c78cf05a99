"""What is reached over arcs: links in the senses in which they may be passed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Set
from functools import cached_property

from tracer.trace.ways.one_way import Arc, reach


class Reached:
    """What is reached over arcs; `root` stands for all ends."""

    def __init__(self, arcs: Iterable[Arc], root: int) -> None:
        self._root = root
        self._into: dict[int, list[tuple[int, int]]] = {}
        for number, tail, head in arcs:
            self._into.setdefault(head, []).append((number, tail))

    @cached_property
    def nodes(self) -> frozenset[int]:
        """Every node that a way leads to."""
        return self.over(lambda number, tail: True)

    def over(self, permitted: Callable[[int, int], bool]) -> frozenset[int]:
        """Every node that a way leads to over arcs that are permitted, by number and the node that they come from."""
        steps: dict[int, list[int]] = {}
        for head, into in self._into.items():
            for number, tail in into:
                if permitted(number, tail):
                    steps.setdefault(tail, []).append(head)
        return frozenset(reach(steps, [self._root]))

    def beside(self, node: int, gone: Callable[[int], bool], known: Set[int]) -> bool:
        """Whether a way leads to a node without the links that are gone. `known` are nodes to which one leads for certain: nothing is looked for behind them."""
        seen, queue = {node}, [node]
        for here in queue:
            if here in known or here == self._root:
                return True
            for number, tail in self._into.get(here, ()):
                if tail not in seen and not gone(number):
                    seen.add(tail)
                    queue.append(tail)
        return False


__all__ = ["Reached"]
