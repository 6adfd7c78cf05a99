"""The resistance between the lines of a bus at each access point: in order, and with each single thing changed; and what a test can tell."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tracer.circuit.model import CONDUCTORS, Link, LinkKind
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.bus.values import INPUTS_OHM, Access, BusTermination, Case, Ohm, Test, ohm_words
from tracer.electrics.limits_in_use import LimitsInUse, accuracy_ohm
from tracer.electrics.model.elements import ohms_of
from tracer.electrics.network.described import LEAST_OHM, MOST_OHM, BoolArray, FloatArray, IntArray
from tracer.electrics.network.factor import islands_of
from tracer.standards import bus as tables
from tracer.standards import figures

NOMINAL, LOW, HIGH = 1, 0, 2  # places in the values of a piece
TOUCH_OHM = (0.05, LEAST_OHM, 1.0)  # of lines that touch: nominal, low, high
THIRD_OHM = (120.0, 118.0, 122.0)  # of one termination too many


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
    link: int = -1  # of a conductor


ONE_MORE = "one more termination of 120 Ω"


def lost_words(owner: str) -> str:
    """A termination that is not there."""
    return f"termination {owner} lost"


def touch_words(at: str) -> str:
    """Lines that touch."""
    return f"the lines touch at {at}"


class _Whole:
    """The bus in order with every piece nominal, low or high: solved once, and every change of it worked out from that.

    What is changed between two places moves the resistance between two others by a term of low rank (Sherman, Morrison, Woodbury; from memory). `seen_ohm` is,
    for a current pushed in at one place and taken out there, the volts at each other place; on it all of this stands. What parts the lines, or joins
    what was apart, is solved anew.
    """

    def __init__(self, bus: BusNetwork, choice: int) -> None:
        self.bus = bus
        self.choice = choice
        self.count = len(bus.pieces)
        self.ohm = np.array([_within(piece.ohm[choice]) for piece in bus.pieces])
        self.island = islands_of(len(bus.node_of), bus.ends[: self.count])
        self.seen_ohm = _seen_ohm(len(bus.node_of), bus.ends, self.ohm, self.island)

    def expected(self) -> FloatArray:
        """Ω at each access point; infinite where open."""
        return self._read(self.seen_ohm.diagonal()[self.count :], self.island)

    def opened(self, pieces: Sequence[int]) -> FloatArray:
        """The same with some pieces taken out."""
        left, island = self.bus.without(tuple(pieces))
        if np.array_equal(island, self.island):
            return self._read(self._changed(list(pieces), -1.0 / self.ohm[list(pieces)]), island)
        if len(pieces) == 1:  # all the current between two places on the same side stayed on that side
            return self._read(self.seen_ohm.diagonal()[self.count :], island)
        ends = np.concatenate([self.bus.ends[: self.count][left], self.bus.ends[self.count :]])
        seen_ohm = _seen_ohm(len(self.bus.node_of), ends, self.ohm[left], island)
        return self._read(seen_ohm.diagonal()[np.count_nonzero(left) :], island)

    def added(self, place: int, ohm: float) -> FloatArray:
        """The same with one more piece beside a piece, or (number of pieces + n) across access point n."""
        a, b = self.bus.ends[place]
        if self.island[a] == self.island[b]:
            return self._read(self._changed([place], np.array([1.0 / _within(ohm)])), self.island)
        joined = np.concatenate([self.bus.ends[: self.count], self.bus.ends[place : place + 1]])
        island = islands_of(len(self.bus.node_of), joined)
        ends = np.concatenate([joined, self.bus.ends[self.count :]])
        seen_ohm = _seen_ohm(len(self.bus.node_of), ends, np.append(self.ohm, _within(ohm)), island)
        return self._read(seen_ohm.diagonal()[self.count + 1 :], island)

    def with_ohms(self, ohms: dict[int, float]) -> FloatArray:
        """The same with other values of some pieces."""
        pieces = [n for n, ohm in ohms.items() if _within(ohm) != self.ohm[n]]
        change_s = np.array([1.0 / _within(ohms[n]) - 1.0 / self.ohm[n] for n in pieces])
        return self._read(self._changed(pieces, change_s), self.island)

    def _changed(self, places: list[int], change_s: FloatArray) -> FloatArray:
        """Ω at each access point with conductances changed at some places, within one island."""
        ohm = self.seen_ohm.diagonal()[self.count :]
        if not places:
            return ohm
        across = self.seen_ohm[np.ix_(places, range(self.count, len(self.bus.ends)))]
        inner = np.diag(1.0 / change_s) + self.seen_ohm[np.ix_(places, places)]
        changed: FloatArray = ohm - np.sum(across * np.linalg.solve(inner, across), axis=0)
        return changed

    def _read(self, ohm: FloatArray, island: IntArray) -> FloatArray:
        high, low = self.bus.ends[self.count :].T
        return np.where(island[high] == island[low], ohm, math.inf)


def _within(ohm: float) -> float:
    return min(max(ohm, LEAST_OHM), MOST_OHM)


def _seen_ohm(node_count: int, ends: IntArray, ohm: FloatArray, island: IntArray) -> FloatArray:
    """(p, p) for places (p, 2), the first of which are branches of `ohm`: volts at each for an ampere at each other; each island against its lowest node."""
    conductance_s = np.zeros((node_count, node_count))
    a, b = ends[: ohm.size].T
    for first, second, sign in ((a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)):
        np.add.at(conductance_s, (first, second), sign / ohm)
    unknown = np.flatnonzero(island != np.arange(node_count))
    push = np.zeros((node_count, len(ends)))
    columns = np.arange(len(ends))
    apart = island[ends[:, 0]] != island[ends[:, 1]]  # nothing can be pushed from one island to another
    push[ends[:, 0], columns] += ~apart
    push[ends[:, 1], columns] -= ~apart
    volts = np.zeros_like(push)
    volts[unknown] = np.linalg.solve(conductance_s[np.ix_(unknown, unknown)], push[unknown])
    seen_ohm: FloatArray = volts[ends[:, 0]] - volts[ends[:, 1]]
    return seen_ohm


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
        nodes = sorted(frozenset[int]().union(*lines.nets.values()))
        self.number = {node: number for number, node in enumerate(nodes)}
        self.node_of = nodes
        self.pieces = [*self._conductors(), *self._terminations(), *self._inputs()]
        self._without: dict[tuple[int, ...], tuple[BoolArray, IntArray]] = {}

    def _conductors(self) -> Iterator[Piece]:
        for number in sorted({number for node in self.number for number in self.circuit.at[node]}):
            link = self.circuit.links[number]
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
            line = next(line for line, net in self.lines.nets.items() if link.a in net)
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
                number,
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

    @cached_property
    def _in_order(self) -> tuple[_Whole, ...]:
        """The bus in order with everything nominal, low and high: a resistance between two points never falls when a resistor grows, so these are the ends."""
        return tuple(_Whole(self, choice) for choice in (NOMINAL, LOW, HIGH))

    @cached_property
    def ends(self) -> IntArray:
        """(p, 2) ends of the pieces, then of the access points: the places at which something is changed or read."""
        places = [(piece.a, piece.b) for piece in self.pieces]
        places += [(self.number[access.high], self.number[access.low]) for access in self.accesses]
        return np.array(places, dtype=np.intp).reshape(-1, 2)

    def without(self, pieces: tuple[int, ...]) -> tuple[BoolArray, IntArray]:
        """Which pieces are left without some of them, and into which parts the nodes then fall: the same whatever their ohms."""
        if pieces not in self._without:
            left = np.ones(len(self.pieces), dtype=np.bool_)
            left[list(pieces)] = False
            self._without[pieces] = left, islands_of(len(self.node_of), self.ends[: len(self.pieces)][left])
        return self._without[pieces]

    def in_order(self) -> tuple[Ohm, ...]:
        """What is expected at each access point with everything in order."""
        return self._ohms([whole.expected() for whole in self._in_order])

    @staticmethod
    def _ohms(values: Sequence[FloatArray]) -> tuple[Ohm, ...]:
        return tuple(Ohm(min(here), here[0], max(here)) for here in np.stack(values, axis=1).tolist())

    # --- cases -------------------------------------------------------------------------------------------------

    def cases(self) -> Iterator[Case]:
        """The bus in order, then with each single thing changed."""
        yield Case("in order", "everything plugged and in order", (), self.in_order())
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
            after = self._opened(own)
            change = tuple(self._change(node.module, after))
            yield Case("unplugged", words, (node.module,), self._ohms(after), change)
        for n, piece in enumerate(self.pieces):
            if piece.kind == "termination":
                expected = self._ohms(self._opened([n]))
                yield Case("termination", lost_words(piece.owner), (piece.owner,), expected)
        yield from self._extra_cases()
        for n, piece in enumerate(self.pieces):
            if piece.kind == "conductor" and piece.breaks:
                expected = self._ohms(self._opened([n]))
                yield Case("open", f"line {piece.line} open: {piece.owner}", (piece.owner,), expected)

    def _opened(self, pieces: Sequence[int]) -> list[FloatArray]:
        """Ohms nominal, low and high with some pieces taken out."""
        return [whole.opened(pieces) for whole in self._in_order]

    def _extra_cases(self) -> Iterator[Case]:
        ends = [n for n, piece in enumerate(self.pieces) if piece.kind == "termination"] or [
            n for n, piece in enumerate(self.pieces) if piece.kind == "node"
        ]
        if ends:
            values = [whole.added(ends[0], ohm) for whole, ohm in zip(self._in_order, THIRD_OHM, strict=True)]
            yield Case("added", ONE_MORE, (), self._ohms(values))
        for number, access in enumerate(self.accesses, len(self.pieces)):
            values = [whole.added(number, ohm) for whole, ohm in zip(self._in_order, TOUCH_OHM, strict=True)]
            yield Case("short", touch_words(access.name), (access.part,), self._ohms(values))

    def _change(self, module: str, after: Sequence[FloatArray]) -> Iterator[tuple[float, float]]:
        """By how much unplugging a module moves what is read at each point: least where it takes little beside others that take much, greatest the other way.

        Without the module all that is low is low, or high high: `after` has both.
        """
        own = [n for n, piece in enumerate(self.pieces) if piece.owner == module]
        _, low, high = self._in_order
        before = [
            low.with_ohms({n: self.pieces[n].ohm[HIGH] for n in own}),
            high.with_ohms({n: self.pieces[n].ohm[LOW] for n in own}),
        ]
        for column in range(len(self.accesses)):
            pairs = [(float(b[column]), float(a[column])) for b, a in zip(before, after[1:], strict=True)]
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
            before, after = base.expected[best], case.expected[best]
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
            expected = case.expected[n]
            assert expected is not None
            open_ = Ohm(math.inf, math.inf, math.inf)
            tells = expected.nominal < INPUTS_OHM
            verdict = (
                f"{ohm_words(expected.nominal)} proves that both wires of this branch lead to the rest; open means one does not. One strand reads as good as all"
                if tells
                else "no termination is left in reach, so the reading says nothing about the branch"
            )
            yield Test(
                f"unplug {module}, read at its own harness pins",
                module,
                True,
                access.name,
                expected,
                open_,
                0.0,
                math.inf,
                accuracy_ohm(self.limits, expected.nominal),
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
        f"moves the reading by {figures.ohms_ends(min(abs(low), abs(high)), most)} of {figures.ohms(before.nominal)}: below the meter's accuracy ({figures.ohms(accuracy)}), "
        f"so this test says nothing about {module} or its branch"
    )
