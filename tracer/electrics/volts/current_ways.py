"""The way along which most of the current of a pin flows: from a source to a supply pin, from a ground pin to battery negative, or to the generator that feeds."""

from __future__ import annotations

from collections.abc import Iterator, Set
from functools import cached_property

import numpy as np

from tracer.circuit.flood import shortest_way
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.described import FloatArray, IntArray

FLOWING_A = 1e-6  # below, no current is said to flow


class CurrentWays:
    """The ways of a model, by its (m,) nominal amperes; each is looked for once."""

    def __init__(self, model: Model, branch_a: FloatArray) -> None:
        self.model = model
        self.branch_a = branch_a
        self._ways: dict[tuple[int, bool], list[tuple[int, int]]] = {}

    def way(self, node: int, supply: bool) -> list[tuple[int, int]]:
        """(branch, node where it begins) from the source to the pin, or from the pin to battery negative or the minus of a generator that turns: where most current flows, else the shortest closed way."""
        if (node, supply) not in self._ways:
            self._ways[node, supply] = self._traced_way(node, supply)
        return self._ways[node, supply]

    def _traced_way(self, node: int, supply: bool) -> list[tuple[int, int]]:
        found: list[tuple[int, int]] = []
        seen = {node}
        here = node
        a_now = self.branch_a
        stops = self._sources if supply else self.model.minus_studs.keys()
        while here not in stops:
            best, most = -1, FLOWING_A
            for number in self._at(here):
                branch = self.model.branches[number]
                into = -a_now[number] if branch.a == here else a_now[number]
                amps = into if supply else -into
                other = branch.b if branch.a == here else branch.a
                if amps > most and other not in seen:
                    best, most = number, float(amps)
            if best < 0:
                break
            branch = self.model.branches[best]
            other = branch.b if branch.a == here else branch.a
            found.append((best, other if supply else here))
            seen.add(other)
            here = other
        if here not in stops:
            found = self._shortest(node, stops, supply)
        return found[::-1] if supply else found

    def _shortest(self, node: int, stops: Set[int], supply: bool) -> list[tuple[int, int]]:
        def leads(here: int) -> Iterator[tuple[int, int]]:
            for number in self._at(here):
                branch = self.model.branches[number]
                if not branch.is_diode or (branch.b if supply else branch.a) == here:
                    yield number, branch.b if branch.a == here else branch.a

        return [(number, there if supply else here) for number, here, there in shortest_way(node, stops, leads)]

    @cached_property
    def _sources(self) -> set[int]:
        """Where a way of supply begins: battery posts, generators that turn and the outputs of converters."""
        return {branch.b for branch in self.model.branches if branch.is_battery or branch.kind == "converter"}

    @cached_property
    def _leading(self) -> tuple[IntArray, list[int]]:
        """The closed branches that lead, node by node and at each by number; and where each node begins."""
        model = self.model
        passed = ("inside", "converter")
        leads = np.fromiter(
            (branch.closed and not branch.is_battery and branch.kind not in passed for branch in model.branches),
            dtype=np.bool_,
        )
        numbers = np.flatnonzero(leads & ~model.is_load)
        nodes = model.placed.ends[numbers].ravel()
        order = np.argsort(nodes, kind="stable")
        begin = np.searchsorted(nodes[order], np.arange(len(model.node_names) + 1))
        return np.repeat(numbers, 2)[order], begin.tolist()

    def _at(self, node: int) -> list[int]:
        """Closed branches that lead, at a node."""
        numbers, begin = self._leading
        found: list[int] = numbers[begin[node] : begin[node + 1]].tolist()
        return found
