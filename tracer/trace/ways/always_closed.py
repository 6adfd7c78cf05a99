"""What is reached over links that every position of every switch and relay closes: no setting takes that away, so nothing need be searched for there."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from tracer.trace.ways.one_way import Arc, reach


class AlwaysClosed:
    """Links without a guard, as the senses in which they may be passed; `root` stands for all ends."""

    def __init__(self, arcs: Iterable[Arc], root: int) -> None:
        self._root = root
        self._into: dict[int, list[tuple[int, int]]] = {}
        self._steps: dict[int, list[int]] = {}
        for number, tail, head in arcs:
            self._into.setdefault(head, []).append((number, tail))
            self._steps.setdefault(tail, []).append(head)

    @cached_property
    def reached(self) -> frozenset[int]:
        """Every node that a way leads to."""
        return frozenset(reach(self._steps, [self._root]))

    def reached_beside(self, node: int, number: int) -> bool:
        """Whether a way leads to a node without one of the links."""
        seen, queue = {node}, [node]
        for here in queue:
            for link, tail in self._into.get(here, ()):
                if tail == self._root and link != number:
                    return True
                if link != number and tail not in seen:
                    seen.add(tail)
                    queue.append(tail)
        return False


__all__ = ["AlwaysClosed"]
