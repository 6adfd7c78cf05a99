"""A bus of the module as plain data, as a case keeps it: its lines with terminations and inputs as a network, who is on it, where it can be touched, what can be taken off it.

Node 0 is battery negative, node 1 what the inputs of all modules hang on (battery negative asleep, half of 5 V awake), node 2 the battery; then come the nodes of both
lines. Ohms are nominal, least and greatest.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tracer.circuit.kinds import LinkKind, PartKind
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.bus.ohms import BusNetwork, Piece
from tracer.electrics.bus.values import AWAKE, HIGH_SPEED, KINDS, Access, BusReport
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.plan.words import line_name, point_name
from tracer.standards import bus as tables
from tracer.trace.tracing import Tracing

INPUTS, SUPPLY, FIRST = 1, 2, 3  # nodes; 0 is battery negative


def kept_bus(tracing: Tracing, module: str, report: BusReport, limits: LimitsInUse) -> dict[str, Any] | None:
    """The network of a high-speed CAN of which nothing is unknown; None of any other bus."""
    if report.kind != HIGH_SPEED or report.problems or not report.cases:
        return None
    return _Kept(tracing, module, report, limits).data()


class _Kept:
    def __init__(self, tracing: Tracing, module: str, report: BusReport, limits: LimitsInUse) -> None:
        self.circuit, self.module, self.report = tracing.circuit, module, report
        self.lines = BusLines(tracing, report.name)
        self.network = BusNetwork(self.lines, report.terminations, report.accesses, limits)
        self.never = {name for name, _ in report.not_to_measure}

    def data(self) -> dict[str, Any]:
        pieces = [branch for piece in self.network.pieces for branch in self._branches(piece)]
        modules = [node.module for node in self.lines.nodes]
        ends = {piece.owner for piece in self.network.pieces if piece.kind == "termination"}
        return {
            "nodes": FIRST + len(self.network.node_of),
            "pieces": pieces,
            "modules": {name: {"at": [self._node(node.pins[line][0]) for line in ("H", "L")], "terminates": name in ends} for name, node in zip(modules, self.lines.nodes, strict=True) if {"H", "L"} <= node.pins.keys()},
            "at": {name: self._access(access) for name, access in self._accesses()},
            "outs": {name: {"pieces": found, "place": self.circuit.place_of_part(name)[0] or ""} for name in (*modules, *self._connectors(), *self._resistors()) if name not in self.never and (found := [n for n, piece in enumerate(pieces) if name in piece["of"]])},
            "awake_v": list(self._awake_v()),
        }  # fmt: skip

    def _branches(self, piece: Piece) -> Iterator[dict[str, Any]]:
        """A piece as branches; the input of a module lies half on either line."""
        a, b = piece.a + FIRST, piece.b + FIRST
        if piece.kind == "node":
            for end, line in ((a, "H"), (b, "L")):
                yield {"ends": [end, INPUTS], "ohm": [ohm / 2 for ohm in piece.ohm], "kind": "input", "what": "", "line": line, "of": [piece.owner]}  # fmt: skip
            return
        kind, of, what = piece.kind, [piece.inside or piece.owner], piece.owner
        if piece.kind == "conductor":
            link = self.circuit.links[piece.link]
            kind, of = link.kind.name.casefold(), [piece.inside]
            if link.kind is LinkKind.WIRE:
                what = f"wire {' to '.join(point_name(self.circuit.node_names[node]) for node in (link.a, link.b))}"
            if link.kind is LinkKind.MATING:
                of = [self.circuit.node_parts[link.a]]
        yield {"ends": [a, b], "ohm": list(piece.ohm), "kind": kind, "what": what if piece.breaks else "", "line": piece.line, "of": [one for one in of if one]}  # fmt: skip

    def _connectors(self) -> list[str]:
        """The connectors that part both lines, or one, when they are taken apart."""
        found = (self.circuit.node_parts[self.circuit.links[piece.link].a] for piece in self.network.pieces if piece.link >= 0 and self.circuit.links[piece.link].kind is LinkKind.MATING)  # fmt: skip
        return [name for name in dict.fromkeys(found) if name in self.circuit.parts and self.circuit.parts[name].kind == PartKind.CONNECTOR]  # fmt: skip

    def _resistors(self) -> list[str]:
        """The terminations in the harness that come out."""
        return [one.name for one in self.report.terminations if not one.module and one.name in self.circuit.parts]

    def _accesses(self) -> Iterator[tuple[str, Access]]:
        """Where both lines can be read, as a reading there is called; the module's own plug goes without a place."""
        pair, own = line_name(self.report.name, "H", "L"), False
        parts = [access.part for access in self.report.accesses]
        for access in self.report.accesses:
            if access.name in self.never or access.part in self.never:
                continue
            if access.part == self.module and not own:
                own = True
                yield pair, access
            else:
                at = access.part if parts.count(access.part) == 1 else point_name(self.circuit.node_names[access.high])
                yield f"{pair}@{at.replace(' ', '_')}", access

    def _access(self, access: Access) -> dict[str, Any]:
        place = self.circuit.place_of_part(access.part)[0] or ""
        return {"ends": [self._node(access.high), self._node(access.low)], "of": access.part if access.module else "", "words": access.name, "place": place}  # fmt: skip

    def _node(self, node: int) -> int:
        return self.network.number[node] + FIRST

    def _awake_v(self) -> Iterator[float]:
        """Between which volts either line lies while the bus is awake, at rest or with traffic."""
        rest = [one for one in self.report.on_lines if one.state == AWAKE and one.to == "ground" and one.unit == "V"]  # fmt: skip
        busy = [one for one in tables.situations(KINDS[HIGH_SPEED]) if one.situation.startswith("awake")]
        yield min(one for one in [*(row.low for row in rest), *(row.min_v for row in busy)] if one is not None)
        yield max(one for one in [*(row.high for row in rest), *(row.max_v for row in busy)] if one is not None)


__all__ = ["FIRST", "INPUTS", "SUPPLY", "kept_bus"]
