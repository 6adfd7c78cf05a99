"""What a point of a supply row is fed by: the nearest fuse or switching part on each of the ways that come together in it."""

from __future__ import annotations

from functools import cached_property

from tracer.circuit.model import SWITCHED, Circuit, LinkKind
from tracer.trace.ways.simple import Way

_SAME_V = 1e-9


class Upstream:
    """The ways of one row, asked for what lies before a point.

    Which of two neighbours lies before the other is told as the current tells it: the ways are taken as a network of equal resistances from the sources at 1 V
    to the pin at 0 V, and what is at the higher voltage lies before. Every link of a way is on a way without a loop, so that current flows in it, but for
    the middle link of a balanced bridge; from there nothing is followed.
    """

    def __init__(self, circuit: Circuit, way: Way) -> None:
        self.circuit = circuit
        self.way = way
        self.at: dict[int, list[tuple[int, int]]] = {}
        for number in sorted(way.links):
            link = circuit.links[number]
            self.at.setdefault(link.a, []).append((number, link.b))
            self.at.setdefault(link.b, []).append((number, link.a))

    @cached_property
    def _volts(self) -> dict[int, float]:
        import numpy as np

        nodes = sorted({*self.at, self.way.target, *self.way.ends})
        row = {node: number for number, node in enumerate(nodes)}
        matrix, known = np.eye(len(nodes)), np.zeros(len(nodes))
        for node, number in row.items():
            if node in self.way.ends:
                known[number] = 1.0
            elif node != self.way.target and self.at.get(node):
                matrix[number, number] = len(self.at[node])
                for _, other in self.at[node]:
                    matrix[number, row[other]] -= 1.0
        return dict(zip(nodes, np.linalg.solve(matrix, known).tolist(), strict=True))

    def feeders(self, node: int) -> tuple[str, ...]:
        """Names of fuses, switching parts, module outputs and sources, in the order in which the ways are typed."""
        own = self.circuit.node_parts[node]
        found: dict[str, None] = {}
        queue, seen = [node], {node}
        for here in queue:
            if here in self.way.ends:
                found[self.circuit.node_names[here]] = None
            for number, other in self.at.get(here, ()):
                if self._volts[other] < self._volts[here] + _SAME_V:
                    continue
                link = self.circuit.links[number]
                if link.kind is LinkKind.FUSE:
                    found[link.part] = None
                elif link.kind in SWITCHED and link.part != own:
                    found[link.part if link.kind is LinkKind.CONTACT else f"output {link.part}.{link.output}"] = None
                elif other not in seen:
                    seen.add(other)
                    queue.append(other)
        return tuple(found)
