"""The trunk of a bus between its two terminations, and the branches that leave it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tracer.circuit.flood import shortest_way
from tracer.circuit.model import LinkKind
from tracer.electrics.bus.ohms import BusNetwork
from tracer.electrics.bus.values import Stub


def trunk_of(network: BusNetwork) -> tuple[tuple[str, ...], float | None, tuple[Stub, ...]]:
    """The parts of the trunk along line H, its length in m (None where not known), and the branches. Empty with any other number of terminations than two."""
    return _Trunk(network).found()


class _Trunk:
    def __init__(self, network: BusNetwork) -> None:
        self.network = network
        self.lines = network.lines

    def found(self) -> tuple[tuple[str, ...], float | None, tuple[Stub, ...]]:
        """See `trunk_of`."""
        ends = [
            piece.a if self.network.node_of[piece.a] in self.lines.nets["H"] else piece.b
            for piece in self.network.pieces
            if piece.kind == "termination"
        ]
        if len(set(ends)) != 2:
            return (), None, ()
        path = self._path(ends[0], {ends[1]})
        on_path = {ends[0], *(node for _, node in path)}
        trunk = self._parts_along([ends[0], *(node for _, node in path)])
        stubs = []
        for node in self.lines.nodes:
            if "H" not in node.pins:
                continue
            start = self.network.number[node.pins["H"][0]]
            way = self._path(start, on_path)
            leaves = way[-1][1] if way else start
            stubs.append(Stub(node.module, self._parts_along([leaves])[0], self._length(piece for piece, _ in way)))
        return tuple(trunk), self._length(piece for piece, _ in path), tuple(stubs)

    def _path(self, start: int, goals: set[int]) -> list[tuple[int, int]]:
        """The shortest way along conductors: (piece, node it leads to)."""
        return [(number, node) for number, _, node in shortest_way(start, goals, self._conductors_at)]

    def _conductors_at(self, node: int) -> Iterator[tuple[int, int]]:
        for number, piece in enumerate(self.network.pieces):
            if piece.kind == "conductor" and node in (piece.a, piece.b):
                yield number, piece.b if piece.a == node else piece.a

    def _parts_along(self, nodes: Iterable[int]) -> list[str]:
        return list(
            dict.fromkeys(
                self.lines.circuit.node_parts[self.network.node_of[node]]
                or self.lines.circuit.node_names[self.network.node_of[node]]
                for node in nodes
            )
        )

    def _length(self, pieces: Iterable[int]) -> float | None:
        """Metres of wire, None where one is not known."""
        total = 0.0
        for number in pieces:
            piece = self.network.pieces[number]
            if not piece.owner.startswith("wire "):
                continue
            a, b = self.network.node_of[piece.a], self.network.node_of[piece.b]
            wires = [
                self.lines.circuit.wire_of(link)
                for n in self.lines.circuit.at[a]
                if (link := self.lines.circuit.links[n]).kind is LinkKind.WIRE and {link.a, link.b} == {a, b}
            ]
            length = wires[0].length_m if wires else None
            if length is None:
                return None
            total += length
        return total
