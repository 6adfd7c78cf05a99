"""A bus of the module as plain data, as a case keeps it: its lines with what hangs on them as a network, who is on it, where it can be touched, what can be taken off it.

Node 0 is battery negative, node 1 what line H or LIN hangs on through the modules (their inputs; of a fault-tolerant CAN and LIN their resistors), node 2 the battery; then come
the nodes of the lines and, of a fault-tolerant CAN, what its line L hangs on. Ohms are least, nominal and greatest. What hangs on something that is switched, or behind a diode, is of kind `pull`:
nobody knows what an ohmmeter sees of it. A level in volts is a share of the battery and so much more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from tracer.circuit.kinds import LinkKind, PartKind
from tracer.electrics.bus.expected_on_lines import pull_ups_ohm
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.bus.ohms import BusNetwork, Piece
from tracer.electrics.bus.supply import full_v
from tracer.electrics.bus.values import ASLEEP, FAULT_TOLERANT, HIGH_SPEED, KINDS, LIN, BusReport
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.plan.words import line_name, point_name
from tracer.standards import bus as tables
from tracer.trace.hazards import Hazards
from tracer.trace.tracing import Tracing

INPUTS, SUPPLY, FIRST = 1, 2, 3  # nodes; 0 is battery negative
_NO_LIMIT_V = 0.3  # either way of a level of which only the usual value is known (from memory)
_BUSY_SHARE = 1 / 3  # of its supply, what a meter averages at least on a LIN line with traffic (from memory)


def kept_bus(tracing: Tracing, module: str, report: BusReport, limits: LimitsInUse) -> dict[str, Any] | None:
    """The network of a bus of which nothing is unknown; None of any other, and of one whose resistors or commander are not typed in."""
    lines = BusLines(tracing, report.name)
    wanted = {"LIN"} if report.kind == LIN else {"H", "L"}
    if report.kind not in KINDS or report.problems or {line for line, net in lines.nets.items() if net} != wanted:
        return None
    typed = {one.name for one in report.terminations if one.module and one.ohms and one.fitted}
    if report.kind == HIGH_SPEED and not report.cases:
        return None
    if report.kind == FAULT_TOLERANT and (lines.touch or not typed.issuperset(node.module for node in lines.nodes)):
        return None
    if report.kind == LIN and (not report.commander or report.supply_v is None):
        return None
    return _Kept(tracing, module, report, lines, limits).data()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where lines can be touched: in words, at a part, with the node of each line."""

    words: str
    part: str
    nodes: Mapping[str, int]
    module: bool


class _Kept:
    def __init__(self, tracing: Tracing, module: str, report: BusReport, lines: BusLines, limits: LimitsInUse) -> None:
        self.tracing, self.circuit, self.module, self.report, self.lines = tracing, tracing.circuit, module, report, lines  # fmt: skip
        self.network = BusNetwork(self.lines, report.terminations, report.accesses, limits)
        self.never = {name for name, _ in report.not_to_measure}
        self.names = ("LIN",) if report.kind == LIN else ("H", "L")
        self.low_pull = FIRST + len(self.network.node_of)  # of line L of a fault-tolerant CAN
        self.share = 1.0 if report.supply_v is None else report.supply_v / full_v(limits.system_v)

    def data(self) -> dict[str, Any]:
        pieces = [branch for piece in self.network.pieces for branch in self._branches(piece)] + list(self._pulls())
        modules = [node.module for node in self.lines.nodes]
        ends = {piece.owner for piece in self.network.pieces if piece.kind == "termination" and self.report.kind == HIGH_SPEED}  # fmt: skip
        return {
            "kind": self.report.kind,
            "lines": list(self.names),
            "nodes": FIRST + len(self.network.node_of) + (self.report.kind == FAULT_TOLERANT),
            "pieces": pieces,
            "modules": {name: {"at": [self._node(node.pins[line][0]) for line in self.names], "terminates": name in ends} for name, node in zip(modules, self.lines.nodes, strict=True) if {*self.names} <= node.pins.keys()},
            "at": dict(self._at()),
            "outs": {name: {"pieces": found, "place": self.circuit.place_of_part(name)[0] or ""} for name in (*modules, *self._connectors(), *self._resistors()) if name not in self.never and (found := [n for n, piece in enumerate(pieces) if name in piece["of"]])},
            "pulled_to": [[node, *map(list, self._pulled_to(line))] for node, line in self._pulled()],
            "levels": {line: {"awake": list(self._awake(line)), "asleep": list(self._asleep(line))} for line in self.names},
            "commander": self.report.commander,
            "least_ohm": self._least_ohm(),
        }  # fmt: skip

    # --- what it is made of ------------------------------------------------------------------------------------------

    def _branches(self, piece: Piece) -> Iterator[dict[str, Any]]:
        """A piece as branches; the input of a module lies half on either line. Resistors of a fault-tolerant CAN lie elsewhere."""
        a, b = piece.a + FIRST, piece.b + FIRST
        if piece.kind != "conductor" and self.report.kind != HIGH_SPEED:
            return
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

    def _pulls(self) -> Iterator[dict[str, Any]]:
        """The resistors inside the modules: of a fault-tolerant CAN one on each line, of LIN one to the supply, behind a diode."""
        if self.report.kind == HIGH_SPEED:
            return
        least, most = tables.trade_range("termination resistor, share of its value")
        typed = {one.name: one.ohms for one in self.report.terminations if one.module and one.ohms and one.fitted}
        for node in self.lines.nodes:
            for line, pins in node.pins.items():
                if self.report.kind == LIN:
                    ohm = pull_ups_ohm(node.module == self.report.commander, typed.get(node.module))
                else:
                    ohm = (typed[node.module] * least, typed[node.module], typed[node.module] * most)
                to = self.low_pull if line == "L" else INPUTS
                yield {"ends": [self._node(pins[0]), to], "ohm": list(ohm), "kind": "pull", "what": "", "line": line, "of": [node.module]}  # fmt: skip

    def _least_ohm(self) -> float | None:
        """Of a fault-tolerant CAN, what lies between its lines at least, with the module unplugged: the resistors of all others; None of any other bus."""
        if self.report.kind != FAULT_TOLERANT:
            return None
        by_line = {line: [1.0 / one["ohm"][0] for one in self._pulls() if one["line"] == line and one["of"] != [self.module]] for line in self.names}  # fmt: skip
        return float(sum(1.0 / sum(siemens) for siemens in by_line.values() if siemens))

    def _connectors(self) -> list[str]:
        """The connectors that part both lines, or one, when they are taken apart."""
        found = (self.circuit.node_parts[self.circuit.links[piece.link].a] for piece in self.network.pieces if piece.link >= 0 and self.circuit.links[piece.link].kind is LinkKind.MATING)  # fmt: skip
        return [name for name in dict.fromkeys(found) if name in self.circuit.parts and self.circuit.parts[name].kind == PartKind.CONNECTOR]  # fmt: skip

    def _resistors(self) -> list[str]:
        """The terminations in the harness that come out."""
        return [one.name for one in self.report.terminations if not one.module and one.name in self.circuit.parts]

    # --- where it is touched -----------------------------------------------------------------------------------------

    def _places(self) -> Iterator[_Place]:
        if self.report.kind != LIN:
            yield from (_Place(one.name, one.part, {"H": one.high, "L": one.low}, bool(one.module)) for one in self.report.accesses if one.name not in self.never)  # fmt: skip
            return
        withheld, modules = self.tracing.once(Hazards).withheld, {node.module for node in self.lines.nodes}
        for node in self.lines.touched("LIN"):
            name, part = self.circuit.node_names[node], self.circuit.node_parts[node]
            if not withheld(name):
                yield _Place(name, part, {"LIN": node}, part in modules)

    def _at(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """Where the lines can be read, as a reading there is called; the module's own plug goes without a place. From the own plug to any other place a line is read in ohms along itself."""
        places = [one for one in self._places() if one.part not in self.never]
        parts, bus, names = [one.part for one in places], self.report.name, self.circuit.node_names
        own = next((one for one in places if one.part == self.module), None)
        for one in places:
            at = {line: "" if one is own else f"@{one.part if parts.count(one.part) == 1 else point_name(names[node])}" for line, node in one.nodes.items()}  # fmt: skip
            if len(self.names) == 2:
                yield self._called(line_name(bus, "H", "L"), at["H"], one, self.names, [one.nodes[line] for line in self.names])  # fmt: skip
            if self.report.kind != HIGH_SPEED and (one is not own or len(self.names) == 1):
                yield from (self._called(line_name(bus, line), at[line], one, (line,), [node]) for line, node in one.nodes.items())  # fmt: skip
            if own is not None and one.part != self.module:
                yield from (self._called(line_name(bus, line, line), at[line], one, (line, line), [own.nodes[line], node]) for line, node in one.nodes.items())  # fmt: skip

    def _called(self, name: str, at: str, place: _Place, lines: tuple[str, ...], nodes: list[int]) -> tuple[str, dict[str, Any]]:  # fmt: skip
        where = self.circuit.place_of_part(place.part)[0] or ""
        return f"{name}{at.replace(' ', '_')}", {"lines": list(lines), "ends": [self._node(node) for node in nodes], "of": place.part if place.module else "", "words": place.words, "place": where}  # fmt: skip

    def _node(self, node: int) -> int:
        return self.network.number[node] + FIRST

    # --- volts -------------------------------------------------------------------------------------------------------

    def _pulled(self) -> Iterator[tuple[int, str]]:
        yield INPUTS, self.names[0]
        if self.report.kind == FAULT_TOLERANT:
            yield self.low_pull, "L"

    def _pulled_to(self, line: str) -> Iterator[tuple[float, float]]:
        """What a line hangs on, awake and asleep."""
        if self.report.kind == LIN:
            least, most = (tables.lin_quantity(f"diode before the transceiver, {end}").value for end in ("least", "most"))  # fmt: skip
            yield from [(self.share, -(least + most) / 2)] * 2
            return
        yield 0.0, self._rest(line).nominal_v or 0.0
        yield (1.0, 0.0) if self.report.kind == FAULT_TOLERANT and line == "L" else (0.0, 0.0)

    def _rest(self, line: str) -> tables.Level:
        """A line at rest, awake."""
        return next(one for one in tables.levels(KINDS[self.report.kind]) if (one.state, one.line) == ("recessive", f"CAN_{line}"))  # fmt: skip

    def _awake(self, line: str) -> Iterator[tuple[float, float]]:
        """Between which volts a line lies while the bus is awake, at rest or with traffic, as a meter averages it."""
        if self.report.kind == LIN:
            yield from ((self.share * _BUSY_SHARE, 0.0), (self.share, 0.0))
            return
        kind, called = KINDS[self.report.kind], f"CAN_{line}"
        rows = [one for one in tables.levels(kind) if one.line == called and (self.report.kind == FAULT_TOLERANT or one.state == "recessive")]  # fmt: skip
        busy = [one for one in tables.situations(kind) if one.situation.startswith("awake") and one.line == called]
        low = [one.nominal_v - _NO_LIMIT_V if one.min_v is None else one.min_v for one in rows]
        high = [one.nominal_v + _NO_LIMIT_V if one.max_v is None else one.max_v for one in rows]
        low += [one.min_v for one in busy if one.min_v is not None]
        high += [one.max_v for one in busy if one.max_v is not None]
        yield from ((0.0, min(low)), (0.0, max(high)))

    def _asleep(self, line: str) -> Iterator[tuple[float, float]]:
        """The same while it sleeps; LIN as at rest."""
        one = self.report.expected_on_line(ASLEEP, line if self.report.kind == LIN else f"CAN_{line}")
        if one is None or one.low is None or one.high is None:  # near the supply
            least = tables.lin_quantity("diode before the transceiver, most").value
            yield from ((1.0, -least), (1.0, _NO_LIMIT_V))
        elif self.report.kind == LIN:
            assert self.report.supply_v is not None
            yield from ((self.share * one.low / self.report.supply_v, 0.0), (self.share, 0.0))
        else:
            yield from ((0.0, one.low), (0.0, one.high))


__all__ = ["FIRST", "INPUTS", "SUPPLY", "kept_bus"]
