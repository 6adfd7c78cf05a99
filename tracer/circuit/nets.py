"""Nets: nodes that are one conductor, whatever switches do. A position without its fuse does not conduct."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from tracer.circuit.kinds import CONDUCTORS, INSIDE_MODULE
from tracer.circuit.model import Circuit


class Nets:
    """The nets of a circuit.

    `of[node]` is the number of a node's net. With `inside_modules` false, bridges inside modules do not join; where `of` is given, it is known already.
    """

    def __init__(self, circuit: Circuit, *, inside_modules: bool = True, of: list[int] | None = None) -> None:
        self.circuit = circuit
        if of is not None:
            self.of = of
            return
        parent = list(range(len(circuit.node_names)))
        kinds = CONDUCTORS if inside_modules else CONDUCTORS - INSIDE_MODULE
        for link in circuit.links:
            if link.kind in kinds and not circuit.is_left_open(link):
                a, b = link.a, link.b
                while parent[a] != a:
                    parent[a] = parent[parent[a]]
                    a = parent[a]
                while parent[b] != b:
                    parent[b] = parent[parent[b]]
                    b = parent[b]
                if a != b:
                    parent[a] = b
        for node in range(len(parent)):
            root = node
            while parent[root] != root:
                root = parent[root]
            while parent[node] != root:
                parent[node], node = root, parent[node]
        self.of = parent

    @cached_property
    def members(self) -> dict[int, list[int]]:
        """The nodes of each net."""
        members: dict[int, list[int]] = {}
        for node, net in enumerate(self.of):
            members.setdefault(net, []).append(node)
        return members

    def nodes_joined_with(self, nodes: Iterable[int]) -> frozenset[int]:
        """Every node in a net of one of `nodes`."""
        wanted = {self.of[node] for node in nodes}
        return frozenset(node for node, net in enumerate(self.of) if net in wanted)
