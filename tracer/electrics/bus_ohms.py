"""The resistance between the lines of a bus at each access point: in order, and with each single thing changed; and what a test can tell."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tracer.circuit.model import CONDUCTORS, Link, LinkKind
from tracer.electrics.bus_lines import BusLines
from tracer.electrics.bus_report import INPUTS_OHM, Access, BusTermination, Case, Ohm, Test, ohm_words
from tracer.electrics.elements import ohms_of
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.meters import accuracy_ohm
from tracer.electrics.network import LEAST_OHM, MOST_OHM, Network, factorise, network_of_resistances
from tracer.standards import bus as tables

SHORT_OHM = 0.05  # of lines that touch, nominal


@dataclass(frozen=True, slots=True)
class Piece:
    """A branch of the bus network: between two nodes, its least, nominal and greatest Ω, and what it belongs to."""

    a: int
    b: int
    ohm: tuple[float, float, float]
    kind: str  # conductor | termination | node
    owner: str  # part, module, or what the conductor is in words
    line: str = ""
    inside: str = ""  # the module inside which a conductor lies
    breaks: bool = True  # whether it is a place where a line can be open


@dataclass(frozen=True, slots=True)
class _Setting:
    """Which value (0 low, 1 nominal, 2 high) each kind of piece has, and another one for what `owner` brings."""

    conductor: int
    termination: int
    node: int
    owner: str = ""
    own: int = 1


_ENDS = (_Setting(1, 1, 1), _Setting(0, 0, 0), _Setting(2, 2, 2))


class BusNetwork:
    """Both lines with terminations and node inputs as a network; asked again and again with one thing changed."""

    def __init__(
        self,
        lines: BusLines,
        terminations: Sequence[BusTermination],
        accesses: Sequence[Access],
        limits: LimitsInUse,
    ) -> None:
        self.lines = lines
        self.circuit = lines.circuit
        self.limits = limits
        self.accesses = accesses
        self.terminations = terminations
        nodes = sorted(lines.nets["H"] | lines.nets["L"])
        self.number = {node: number for number, node in enumerate(nodes)}
        self.node_of = nodes
        self.pieces = [*self._conductors(), *self._terminations(), *self._inputs()]

    def _conductors(self) -> Iterator[Piece]:
        for link in self.circuit.links:
            if (
                link.kind not in CONDUCTORS
                or link.a not in self.number
                or link.b not in self.number
                or link.a == link.b
            ):
                continue
            ohms = ohms_of(self.circuit, link, 12.0)
            if ohms is None:
                continue
            line = "H" if link.a in self.lines.nets["H"] else "L"
            values = (max(ohms.low, LEAST_OHM), max(ohms.nominal, LEAST_OHM), max(ohms.high, LEAST_OHM))
            yield Piece(
                self.number[link.a],
                self.number[link.b],
                values,
                "conductor",
                self._conductor_words(link),
                line,
                link.part if link.kind is LinkKind.JOINED else "",
                link.kind is not LinkKind.REFERENCE,  # one wire drawn on two sheets
            )

    def _conductor_words(self, link: Link) -> str:
        names = [self.circuit.cavity_of(node) for node in (link.a, link.b)]  # the wire says which half
        ends = " to ".join(names)
        if link.kind is LinkKind.WIRE:
            return f"wire {self.circuit.wire_of(link).text}, {ends}"
        if link.kind is LinkKind.JOINED:
            return f"bridge inside {link.part}, {ends}"
        if link.kind is LinkKind.MATING:
            return f"contact {self.circuit.contact_name(link.a, link.b)}"
        if link.kind is LinkKind.BUSSED:  # between a cavity and the bar of its group
            pins = [name for name in names if " group " not in name]
            return f"contact {pins[0] if len(pins) == 1 else ends}"
        return f"joint {ends}"

    def _terminations(self) -> Iterator[Piece]:
        low, high = tables.trade_range("termination resistor, share of its value")
        for one in self.terminations:
            if not one.fitted or one.ohms is None:
                continue
            if one.ends is not None:
                values = (one.ohms * low, one.ohms, one.ohms * high)
                yield Piece(self.number[one.ends[0]], self.number[one.ends[1]], values, "termination", one.name)

    def _inputs(self) -> Iterator[Piece]:
        rows = [row for row in tables.node_inputs() if row.between == "the two lines"]
        standard = next(row for row in rows if row.parts == "limits of the standard")
        typical = next(row.typical_kohm for row in rows if row.typical_kohm is not None)
        values = (standard.min_kohm * 1000, typical * 1000, standard.max_kohm * 1000)
        for node in self.lines.nodes:
            if "H" in node.pins and "L" in node.pins:
                high, low = node.pins["H"][0], node.pins["L"][0]
                yield Piece(self.number[high], self.number[low], values, "node", node.module)

    # --- one state ---------------------------------------------------------------------------------------------

    def _network(
        self, setting: _Setting, closed: np.ndarray[tuple[int], np.dtype[np.bool_]], extra: Sequence[Piece]
    ) -> Network:
        choice = {"conductor": setting.conductor, "termination": setting.termination, "node": setting.node}
        pieces = [*self.pieces, *extra]
        ends = np.array([(piece.a, piece.b) for piece in pieces], dtype=np.intp).reshape(-1, 2)
        chosen = [
            setting.own if piece.owner and piece.owner == setting.owner else choice[piece.kind] for piece in pieces
        ]
        ohm = [min(max(piece.ohm[c], LEAST_OHM), MOST_OHM) for piece, c in zip(pieces, chosen, strict=True)]
        return network_of_resistances(
            len(self.node_of),
            ends,
            ohm,
            reference=[0],
            closed=np.append(closed, np.ones(len(extra), dtype=np.bool_)),
        )

    def readings(
        self, settings: Sequence[_Setting], opened: Iterable[int] = (), extra: Sequence[Piece] = ()
    ) -> list[np.ndarray[tuple[int], np.dtype[np.float64]]]:
        """Ω at each access point in each setting; infinite where open.

        A resistance between two points never falls when a resistor grows, so everything low and everything high are the ends of a reading.
        """
        closed = np.ones(len(self.pieces), dtype=np.bool_)
        closed[list(opened)] = False
        found = []
        for setting in settings:
            network = self._network(setting, closed, extra)
            factor = factorise(network)
            values = np.full(len(self.accesses), math.inf)
            push = np.zeros((len(self.node_of), len(self.accesses)))
            for column, access in enumerate(self.accesses):
                push[self.number[access.high], column] += 1.0
                push[self.number[access.low], column] -= 1.0
            answer = factor.respond(push)
            for column, access in enumerate(self.accesses):
                a, b = self.number[access.high], self.number[access.low]
                if factor.island[a] == factor.island[b]:
                    values[column] = answer[a, column] - answer[b, column]
            found.append(values)
        return found

    # --- cases -------------------------------------------------------------------------------------------------

    @cached_property
    def _base(self) -> list[np.ndarray[tuple[int], np.dtype[np.float64]]]:
        return self.readings(_ENDS)

    def cases(self) -> Iterator[Case]:
        """The bus in order, then with each single thing changed."""
        yield self._case("in order", "everything plugged and in order", (), ())
        for node in self.lines.nodes:
            own = [
                n
                for n, piece in enumerate(self.pieces)
                if (piece.owner == node.module and piece.kind != "conductor") or piece.inside == node.module
            ]
            held = any(self.pieces[n].kind == "termination" for n in own)
            words = f"{node.module} unplugged"
            if any(self.pieces[n].inside for n in own):
                words += " (the lines it passes on part there)"
            if held:
                words += " (its termination goes with it)"
            yield self._case("unplugged", words, (node.module,), own)
        for n, piece in enumerate(self.pieces):
            if piece.kind == "termination":
                yield self._case("termination", f"termination {piece.owner} lost", (piece.owner,), [n])
        yield from self._extra_cases()
        for n, piece in enumerate(self.pieces):
            if piece.kind == "conductor" and piece.breaks:
                yield self._case("open", f"line {piece.line} open: {piece.owner}", (piece.owner,), [n])

    def _extra_cases(self) -> Iterator[Case]:
        ends = [piece for piece in self.pieces if piece.kind == "termination"] or [
            p for p in self.pieces if p.kind == "node"
        ]
        if ends:
            third = Piece(ends[0].a, ends[0].b, (118.0, 120.0, 122.0), "termination", "")
            yield self._case("added", "one more termination of 120 Ω", (), (), [third])
        for access in self.accesses:
            touch = Piece(
                self.number[access.high], self.number[access.low], (LEAST_OHM, SHORT_OHM, 1.0), "conductor", ""
            )
            yield self._case("short", f"the lines touch at {access.name}", (access.part,), (), [touch])

    def _case(
        self, kind: str, words: str, parts: tuple[str, ...], opened: Iterable[int], extra: Sequence[Piece] = ()
    ) -> Case:
        values = self.readings(_ENDS, opened, extra) if kind != "in order" else self._base
        readings = []
        for column in range(len(self.accesses)):
            here = [float(one[column]) for one in values]
            readings.append(Ohm(min(here), here[0], max(here)))
        change = self._change(parts[0], opened) if kind == "unplugged" else ()
        return Case(kind, words, parts, tuple(readings), tuple(change))

    def _change(self, module: str, opened: Iterable[int]) -> Iterator[tuple[float, float]]:
        """By how much unplugging a module moves each reading: least where it takes little beside others that take much, greatest the other way."""
        settings = [_Setting(0, 0, 0, module, 2), _Setting(2, 2, 2, module, 0)]
        before, after = self.readings(settings), self.readings(settings, opened)
        for column in range(len(self.accesses)):
            pairs = [(float(b[column]), float(a[column])) for b, a in zip(before, after, strict=True)]
            # infinity less infinity is no change
            moved = [0.0 if a == b else a - b for b, a in pairs]
            yield min(moved), max(moved)

    # --- what a test tells -------------------------------------------------------------------------------------

    def tests(self, cases: Sequence[Case]) -> Iterator[Test]:
        """For each module whether unplugging it moves the reading anywhere else by more than the meter can tell."""
        base = cases[0]
        for case in cases:
            if case.kind != "unplugged":
                continue
            module = case.parts[0]
            others = [n for n, access in enumerate(self.accesses) if access.part != module]
            if not others:
                continue
            best = max(others, key=lambda n: self._least_change(case, n))
            before, after = base.readings[best], case.readings[best]
            assert before is not None and after is not None
            low, high = case.change[best]
            accuracy = accuracy_ohm(self.limits, before.nominal)
            # from the inputs of the nodes alone some meters show kΩ and some open: that tells nothing
            tells = self._least_change(case, best) > accuracy and before.nominal < INPUTS_OHM
            yield from self._at_its_own_plug(case, module)
            yield Test(
                f"unplug {module}, read elsewhere",
                module,
                False,
                self.accesses[best].name,
                before,
                after,
                low,
                high,
                accuracy,
                tells,
                _test_verdict(module, before, after, low, high, accuracy, tells=tells),
            )

    def _at_its_own_plug(self, case: Case, module: str) -> Iterator[Test]:
        """With the module unplugged, both wires of its branch are proven at its own harness pins: an open one reads open there."""
        for n, access in enumerate(self.accesses):
            if access.module != module:
                continue
            reading = case.readings[n]
            assert reading is not None
            open_ = Ohm(math.inf, math.inf, math.inf)
            tells = reading.nominal < INPUTS_OHM
            verdict = (
                f"{ohm_words(reading.nominal)} proves that both wires of this branch lead to the rest; open means one does not. One strand reads as good as all"
                if tells
                else "no termination is left in reach, so the reading says nothing about the branch"
            )
            yield Test(
                f"unplug {module}, read at its own harness pins",
                module,
                True,
                access.name,
                reading,
                open_,
                0.0,
                math.inf,
                accuracy_ohm(self.limits, reading.nominal),
                tells,
                verdict,
            )

    @staticmethod
    def _least_change(case: Case, column: int) -> float:
        low, high = case.change[column]
        if low <= 0.0 <= high:
            return 0.0
        return min(abs(low), abs(high))


def _test_verdict(
    module: str, before: Ohm, after: Ohm, low: float, high: float, accuracy: float, *, tells: bool
) -> str:
    if tells:
        return f"moves the reading from {ohm_words(before.nominal)} to {ohm_words(after.nominal)}: this tells"
    if before.nominal >= INPUTS_OHM:
        return f"no termination is in reach, so the reading says nothing about {module}"
    most = max(abs(low), abs(high))
    return (
        f"moves the reading by {min(abs(low), abs(high)):.2f} to {most:.2f} Ω of {before.nominal:.0f}: below the meter's accuracy ({accuracy:.1f} Ω), "
        f"so this test says nothing about {module} or its branch"
    )
