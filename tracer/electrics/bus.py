"""Bus lines with their terminations: the resistance between the lines at each access point, in order and with one thing changed, and what a test can tell.

Resistances are for supplies off and the bus asleep. The rule of two terminations holds for high-speed CAN alone; the other kinds are described by their own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from tracer.circuit.model import CONDUCTORS, Circuit, Link, LinkKind
from tracer.electrics.elements import ohms_of
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.network import LEAST_OHM, MOST_OHM, Network, factorise, network_of_resistances
from tracer.entry.models import BusFacts, ConnectorFacts, ModuleFacts, ResistorFacts, TerminationFacts
from tracer.entry.problems import listed, natural, nearest
from tracer.standards import bus as tables
from tracer.standards.limits import battery_open_circuit
from tracer.trace.rules import loose_ends
from tracer.trace.survey import Survey

KINDS = {"high-speed can": "high-speed CAN", "fault-tolerant can": "fault-tolerant CAN", "lin": "LIN"}
SHORT_OHM = 0.05
OPEN_OHM = 1e6  # readings above count as open
INPUTS_OHM = 1e3  # from here on no termination is in reach: open, or the inputs of nodes


class UnknownBus(LookupError):
    """There is no such bus, or no such access point; the message says which there are."""


@dataclass(frozen=True, slots=True)
class BusNode:
    """A module on a bus with its pins of each line: the first is where its transceiver is taken to sit, the others pass the line on."""

    module: str
    pins: dict[str, tuple[int, ...]]
    pin_names: dict[str, str]  # by line: 'ALM.25', or 'GTW.1, GTW.3'


@dataclass(frozen=True, slots=True)
class BusTermination:
    """One termination: in resistors of its own, or inside a module (`module`). `ohms` None where not known; `problem` says what does not fit.

    `ends` are the nodes on line H and on line L between which it lies. Resistors in a row (a split termination in the harness) are one termination.
    """

    name: str
    module: bool
    ohms: float | None
    split: bool
    fitted: bool
    problem: str = ""
    ends: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Access:
    """A place where both lines can be touched."""

    name: str
    part: str
    high: int
    low: int
    module: str = ""


@dataclass(frozen=True, slots=True)
class Ohm:
    """Resistance between the lines: least, nominal, greatest; infinite where there is no way."""

    low: float
    nominal: float
    high: float

    @property
    def is_open(self) -> bool:
        return self.nominal > OPEN_OHM


@dataclass(frozen=True, slots=True)
class Case:
    """One state of the bus and what is read at each access point (None: cannot be touched then). `kind`: in order, unplugged, termination, short, open, added."""

    kind: str
    words: str
    parts: tuple[str, ...]
    readings: tuple[Ohm | None, ...]
    change: tuple[tuple[float, float], ...] = ()  # least and most by which unplugging moves each reading


@dataclass(frozen=True, slots=True)
class Test:
    """A test and whether it can tell: unplug a module, read at an access point."""

    words: str
    module: str
    own_plug: bool  # read at the harness pins of the module itself
    at: str
    before: Ohm
    after: Ohm
    change_low: float
    change_high: float
    accuracy: float
    tells: bool
    verdict: str


@dataclass(frozen=True, slots=True)
class Stub:
    """A branch from the trunk to a module: where it leaves, its length in m (None where a length is not known)."""

    module: str
    leaves_at: str
    length_m: float | None


@dataclass(frozen=True, slots=True)
class LevelLine:
    """An expected level of one line: state, low, nominal, high in V, in words where numbers do not fit."""

    state: str
    line: str
    low_v: float | None
    nominal_v: float | None
    high_v: float | None
    words: str
    source: str


@dataclass(frozen=True)
class BusReport:
    """One bus: what it is made of, what is read where, what a test tells. `cases` begins with the bus in order."""

    vehicle: str
    name: str
    title: str
    kind: str  # as typed; "" where not said
    lines: tuple[str, ...]
    nodes: tuple[BusNode, ...]
    terminations: tuple[BusTermination, ...]
    trunk: tuple[str, ...]
    trunk_m: float | None
    stubs: tuple[Stub, ...]
    accesses: tuple[Access, ...]
    cases: tuple[Case, ...]
    tests: tuple[Test, ...]
    levels: tuple[LevelLine, ...]
    notes: tuple[str, ...]
    problems: tuple[str, ...]
    meter: str
    line_ohms: dict[str, float] = field(default_factory=dict)
    commander: str = ""
    loose_elsewhere: int = 0  # loose ends of the vehicle that are on none of its lines

    @property
    def complete(self) -> bool:
        """Whether nothing about the bus is unknown."""
        return bool(self.kind) and not self.problems and all(t.ohms is not None for t in self.terminations)


# --- names ---------------------------------------------------------------------------------------------------------


def bus_names(circuit: Circuit) -> list[str]:
    """Every bus: those of vehicle.yaml, then those that only pins name."""
    names = dict.fromkeys(circuit.typed.vehicle.buses)
    names |= dict.fromkeys(bus for bus, _, _, _ in _pins_by_role(circuit))
    return list(names)


def _pins_by_role(circuit: Circuit) -> Iterator[tuple[str, str, str, str]]:
    """(bus, line, module, pin) of pins called `bus NAME LINE`."""
    for part in circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        for pin, words in part.facts.pins.items():
            role, *rest = words.split()
            if role == "bus" and rest:
                yield rest[0], _line_name(rest[1] if len(rest) > 1 else ""), part.name, pin


def _line_name(typed: str) -> str:
    word = typed.upper().replace("CAN_", "").replace("CAN-", "").strip(",;")
    return {"HIGH": "H", "LOW": "L", "": "LIN"}.get(word, word)


def bus_of(survey: Survey, name: str, *, limits: LimitsInUse) -> BusReport:
    """Everything about one bus.

    Raises
    ------
    UnknownBus : there is no bus of that name
    """
    names = bus_names(survey.circuit)
    if name not in names:
        near = nearest(name, names)
        raise UnknownBus(
            f"there is no bus {name}. "
            + (f"Did you mean {near[0]}? " if near else "")
            + (
                f"Buses: {listed(names, joiner='and')}."
                if names
                else "No pin is called `bus NAME LINE`, and vehicle.yaml has no `buses`."
            )
        )
    return _Reader(survey, name, limits).report()


# --- the bus as typed ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Chain:
    """Resistors in a row from a node of line H to a node of line L."""

    parts: tuple[str, ...]
    high: int
    low: int


class _Reader:
    def __init__(self, survey: Survey, name: str, limits: LimitsInUse) -> None:
        self.survey = survey
        self.circuit = survey.circuit
        self.name = name
        self.limits = limits
        self.facts = self.circuit.typed.vehicle.buses.get(name) or BusFacts(kind=None, commander=None, name=None)
        self.problems: list[str] = []
        self.notes: list[str] = []
        self.pins = self._pins()
        self.nodes = self._nodes()

    def report(self) -> BusReport:
        kind = self.facts.kind or ""
        nets = self._nets()
        terminations = tuple(self._terminations(nets))
        self.problems += self._not_declared(nets)
        on_lines = list(self._loose_ends(nets))
        self.problems += on_lines
        if not kind and self.name.upper() in ("H", "L", "HIGH", "LOW", "CAN_H", "CAN_L"):
            self.problems.append(
                f"its pins are called `bus {self.name}`, which is a line and no bus: write the name of the bus before it, such as `bus drive {self.name}`"
            )
        elif not kind:
            self.problems.append(
                f"its kind is not said: add `buses: {{{self.name}: {{kind: high-speed can}}}}` to vehicle.yaml; no rule is applied"
            )
        for termination in terminations:
            if termination.problem:
                self.problems.append(termination.problem)
        lines = tuple(sorted(self.pins))
        if kind == "high-speed can" and not ("H" in lines and "L" in lines):
            named = " and ".join(lines) if lines else "none"
            self.problems.append(f"lines typed in: {named}, where H and L are wanted; no resistance can be computed")
        if kind == "high-speed can" and not any(one.fitted for one in terminations):
            self.problems.append(
                "no termination is typed in, so every resistance here is that of a bus without one; a working bus has two"
            )
        two = "H" in lines and "L" in lines
        accesses = tuple(self._accesses(nets)) if two else ()
        cases: tuple[Case, ...] = ()
        tests: tuple[Test, ...] = ()
        trunk: tuple[str, ...] = ()
        trunk_m: float | None = None
        stubs: tuple[Stub, ...] = ()
        line_ohms: dict[str, float] = {}
        if kind == "high-speed can" and two and not self._lines_touch(nets):
            lattice = _Lattice(self, nets, terminations, accesses)
            cases = tuple(lattice.cases())
            tests = tuple(lattice.tests(cases))
            trunk, trunk_m, stubs = lattice.topology()
            self._judge_terminations(terminations, cases)
        elif kind == "fault-tolerant can":
            line_ohms = self._line_ohms(terminations)
        return BusReport(
            self.circuit.name,
            self.name,
            self.facts.name or "",
            kind,
            lines,
            tuple(self.nodes),
            terminations,
            trunk,
            trunk_m,
            stubs,
            accesses,
            cases,
            tests,
            tuple(self._levels(kind)),
            tuple(self.notes),
            tuple(self.problems),
            f"{100 * self.limits.of('meter resistance share').high:g} % of the reading and {self.limits.of('meter resistance digits').high:g} Ω",
            line_ohms,
            self.facts.commander or "",
            len(loose_ends(self.survey)) - len(on_lines),
        )

    def _pins(self) -> dict[str, list[tuple[str, str]]]:
        """Module pins by line."""
        found: dict[str, list[tuple[str, str]]] = {}
        for line, points in self.facts.lines.items():
            for point in points:
                module, _, pin = point.partition(".")
                found.setdefault(_line_name(line), []).append((module, pin))
        for bus, line, module, pin in _pins_by_role(self.circuit):
            if bus == self.name and (module, pin) not in [one for pins in found.values() for one in pins]:
                found.setdefault(line, []).append((module, pin))
        return found

    def _nodes(self) -> list[BusNode]:
        modules: dict[str, dict[str, list[int]]] = {}
        for line, pins in self.pins.items():
            for module, pin in pins:
                node = self.circuit.pins_of.get(module, {}).get(pin)
                if node is None:
                    self.problems.append(f"{module}.{pin} is not wired")
                    continue
                modules.setdefault(module, {}).setdefault(line, []).append(node)
        names = self.circuit.node_names
        return [
            BusNode(
                module,
                {line: tuple(dict.fromkeys(here)) for line, here in pins.items()},
                {line: ", ".join(names[node] for node in dict.fromkeys(here)) for line, here in pins.items()},
            )
            for module, pins in modules.items()
        ]

    @cached_property
    def _net_of(self) -> list[int]:
        """The net of each node; unlike the nets of the survey, what a module bridges inside itself is one."""
        of = list(self.survey.hard_nets.of)
        for link in self.circuit.links:
            if link.kind is LinkKind.JOINED and of[link.a] != of[link.b]:
                old, new = of[link.a], of[link.b]
                of = [new if net == old else net for net in of]
        return of

    def _nets(self) -> dict[str, frozenset[int]]:
        """All nodes of each line."""
        of = self._net_of
        found: dict[str, frozenset[int]] = {}
        for line in self.pins:
            nets: dict[int, dict[str, None]] = {}
            for node in self.nodes:
                for pin in node.pins.get(line, ()):
                    nets.setdefault(of[pin], {})[node.module] = None
            if len(nets) > 1:
                pieces = "; ".join(", ".join(modules) for modules in nets.values())
                self.problems.append(f"line {line} is in {len(nets)} pieces that no wire joins: {pieces}")
            found[line] = frozenset(node for node, net in enumerate(of) if net in nets)
        return found

    def _loose_ends(self, nets: dict[str, frozenset[int]]) -> Iterator[str]:
        """Loose ends on the lines: beyond them more modules and terminations may hang."""
        nodes = frozenset[int]().union(*nets.values())
        for finding in loose_ends(self.survey):
            if finding.module == "*":  # a page that is not read or not typed in
                yield f"loose end {finding.code}: {finding.message}; what is drawn there is in no reading"
            elif nodes & set(finding.nodes):
                yield f"loose end {finding.code} at {finding.at}: {finding.message}; what hangs there is in no reading"

    def _not_declared(self, nets: dict[str, frozenset[int]]) -> Iterator[str]:
        """Module pins on a line that nothing calls a pin of this bus: that module is a node, and would be missing among them."""
        declared = {pin for pins in self.pins.values() for pin in pins}
        for line, nodes in nets.items():
            for part in self.circuit.modules():
                for pin, node in self.circuit.pins_of.get(part.name, {}).items():
                    if node in nodes and (part.name, pin) not in declared:
                        yield f"{part.name}.{pin} lies on line {line}, but is not declared `bus {self.name} {line}`: it is missing among the modules"

    def _lines_touch(self, nets: dict[str, frozenset[int]]) -> bool:
        if nets["H"] & nets["L"]:
            self.problems.append("both lines are one conductor as typed in")
            return True
        return False

    def _terminations(self, nets: dict[str, frozenset[int]]) -> Iterator[BusTermination]:
        chains = list(self._chains(nets))
        named: set[tuple[str, ...]] = set()
        for name, facts in self.facts.terminations.items():
            part = self.circuit.parts[self.circuit.short_names.get(name, name)]
            if part.kind == "module":
                yield self._in_module(name, facts)
                continue
            chain = next((one for one in chains if part.name in one.parts), None)
            if chain is None:
                between = "H" in nets and self.facts.kind != "fault-tolerant can"
                problem = f"termination {name}: it does not lie between the two lines" if between else ""
                ohms = facts.ohms if facts.ohms is not None else self._resistor_ohms(part.name)
                yield BusTermination(name, False, ohms, facts.split == "yes", facts.fitted == "yes", problem)
            elif chain.parts not in named:
                named.add(chain.parts)
                yield self._in_harness(chain)
        for chain in chains:
            if chain.parts not in named:
                name = " + ".join(chain.parts)
                self.notes.append(
                    f"resistor {name} lies between the lines and is counted, though `terminations` does not name it"
                )
                yield self._in_harness(chain)

    def _in_module(self, name: str, facts: TerminationFacts) -> BusTermination:
        node = next((node for node in self.nodes if node.module == name), None)
        problem, ends = "", None
        if node is None:
            problem = f"termination {name}: no pin of this module is on the bus"
        elif "H" in node.pins and "L" in node.pins:
            ends = (node.pins["H"][0], node.pins["L"][0])
        elif self.facts.kind == "high-speed can":
            problem = (
                f"termination {name}: only line {', '.join(node.pins)} of this module is typed in, so it is not counted"
            )
        if facts.ohms is None:
            problem = problem or self._not_counted(name)
        return BusTermination(name, True, facts.ohms, facts.split == "yes", facts.fitted == "yes", problem, ends)

    def _in_harness(self, chain: _Chain) -> BusTermination:
        """A resistor, or resistors in a row, between the lines. Ohms in vehicle.yaml are those of the part, or of the whole row."""
        typed = {part: self.facts.terminations[part] for part in chain.parts if part in self.facts.terminations}
        typed |= {
            full: facts
            for name, facts in self.facts.terminations.items()
            if (full := self.circuit.short_names.get(name, name)) in chain.parts
        }
        own = [self._resistor_ohms(part) for part in chain.parts]
        each = [
            ohms if ohms is not None else typed[part].ohms if part in typed else None
            for part, ohms in zip(chain.parts, own, strict=True)
        ]
        known = [ohms for ohms in each if ohms is not None]
        total = sum(known) if len(known) == len(each) else None
        problem = ""
        name = " + ".join(chain.parts)
        for part, ohms in zip(chain.parts, own, strict=True):
            stated = typed[part].ohms if part in typed else None
            if stated is not None and ohms is not None and stated not in (ohms, total):
                problem = f"termination {part}: {stated:g} Ω in vehicle.yaml, {ohms:g} Ω on its sheet"
        if total is None:
            problem = problem or self._not_counted(name)
        split = len(chain.parts) > 1 or any(facts.split == "yes" for facts in typed.values())
        fitted = all(facts.fitted == "yes" for facts in typed.values())
        return BusTermination(name, False, total, split, fitted, problem, (chain.high, chain.low))

    def _not_counted(self, name: str) -> str:
        known_kinds = ("high-speed can", "fault-tolerant can")
        counted = self.facts.kind in known_kinds
        return f"termination {name}: its resistance is not typed in, so it is not counted" if counted else ""

    def _resistor_ohms(self, part: str) -> float | None:
        facts = self.circuit.parts[part].facts
        return facts.ohms if isinstance(facts, ResistorFacts) else None

    def _chains(self, nets: dict[str, frozenset[int]]) -> Iterator[_Chain]:
        """Resistors between the lines, several in a row as one."""
        high, low = nets.get("H", frozenset()), nets.get("L", frozenset())
        of = self._net_of
        resistors = [link for link in self.circuit.links if link.kind is LinkKind.RESISTOR]
        at: dict[int, list[Link]] = {}
        for link in resistors:
            for node in {link.a, link.b}:
                at.setdefault(of[node], []).append(link)
        for first in resistors:
            starts = [node for node in (first.a, first.b) if node in high]
            if len(starts) != 1:
                continue
            row, here, link = [first.part], first.b if first.a == starts[0] else first.a, first
            while here not in low and here not in high and len(at[of[here]]) == 2:
                link = next(one for one in at[of[here]] if one is not link)
                if link.part in row:
                    break
                row.append(link.part)
                here = link.b if of[link.a] == of[here] else link.a
            if here in low:
                yield _Chain(tuple(row), starts[0], here)

    # --- access points -----------------------------------------------------------------------------------------

    def _accesses(self, nets: dict[str, frozenset[int]]) -> Iterator[Access]:
        groups: dict[tuple[str, str], dict[str, list[int]]] = {}
        for line in ("H", "L"):
            for node in nets.get(line, ()):
                part = self.circuit.parts.get(self.circuit.node_parts[node])
                if part is None or not self.survey.is_probe_point(node):
                    continue
                half = self.circuit.node_pins[node][-1] if part.kind == "connector" else ""
                groups.setdefault((part.name, half), {}).setdefault(line, []).append(node)
        modules = {node.module for node in self.nodes}
        order = sorted(groups, key=lambda key: (key[0] not in modules, natural(key[0]), key[1]))
        for name, half in order:
            group = groups[name, half]
            if len(group) < 2:
                continue
            part = self.circuit.parts[name]
            high, low = (sorted(group[line], key=lambda n: natural(self.circuit.node_names[n])) for line in ("H", "L"))
            if part.kind == "joint":
                yield Access(name, name, high[0], low[0])
            elif len(high) == len(low):
                for a, b in zip(high, low, strict=True):
                    yield Access(
                        self._access_name(part.kind, name, half, a, b), name, a, b, name if name in modules else ""
                    )

    def _access_name(self, kind: str, name: str, half: str, a: int, b: int) -> str:
        names = [self.circuit.node_names[node].partition(".")[2].partition(":")[0] for node in (a, b)]
        if kind == "connector":
            facts = self.circuit.parts[name].facts
            assert isinstance(facts, ConnectorFacts)
            return f"{name}.{names[0]}/{names[1]}:{half}"
        return f"{name}.{names[0]}/{names[1]}" if all(names) else name

    # --- rules of the kinds ------------------------------------------------------------------------------------

    def _judge_terminations(self, terminations: Sequence[BusTermination], cases: Sequence[Case]) -> None:
        fitted = [one for one in terminations if one.fitted]
        total = next((reading for reading in cases[0].readings if reading is not None), None) if cases else None
        low, high = _usual_range()
        if len(fitted) == 1 and total is not None and low <= total.nominal <= high:
            self.notes.append(
                f"one termination of {fitted[0].ohms:g} Ω at {fitted[0].name} in place of two of 120 Ω: the reading is right, but losing that one leaves none"
            )
        elif len(fitted) == 1 and (total is None or total.nominal > high):
            self.problems.append(
                f"only the termination at {fitted[0].name} is typed in or fitted; a working bus has two: the other may be missing here, and no reading can be called in order"
            )
        elif fitted and len(fitted) != 2 and total is not None:
            self.notes.append(
                f"{len(fitted)} termination{'s' if len(fitted) != 1 else ''}: {total.nominal:.0f} Ω in order; two of 120 Ω would make 60 Ω"
                if total.nominal < INPUTS_OHM
                else f"{len(fitted)} terminations: the lines read open, or some kΩ, in order; two of 120 Ω would make 60 Ω"
            )

    def _line_ohms(self, terminations: Sequence[BusTermination]) -> dict[str, float]:
        """All termination resistors of one line together: each node has one for each line."""
        conductance = sum(1 / one.ohms for one in terminations if one.fitted and one.ohms)
        if not conductance:
            return {}
        return {line: 1 / conductance for line in ("H", "L")}

    def _levels(self, kind: str) -> Iterator[LevelLine]:
        name = KINDS.get(kind)
        if name is None:
            return
        if name == "LIN":
            yield from self._lin_levels()
        for level in tables.levels(name):
            source = f"{level.source} ({level.certainty})"
            yield LevelLine(level.state, level.line, level.min_v, level.nominal_v, level.max_v, level.condition, source)
        for one in tables.situations(name):
            source = f"{one.source} ({one.certainty})"
            yield LevelLine(one.situation, one.line, one.min_v, one.nominal_v, one.max_v, one.note, source)

    def _lin_levels(self) -> Iterator[LevelLine]:
        full = battery_open_circuit()[0].voltage_v * self.limits.system_v / 12
        if not 7 <= full <= 18:
            self.notes.append(
                "LIN levels are given for 7 to 18 V at the transceiver: the supply of these nodes is not the battery's"
            )
            full = 12.65
        recessive = tables.lin_level_v("transmitter, recessive at least", full)
        dominant = tables.lin_level_v("transmitter, dominant at most", full)
        yield LevelLine(
            "recessive (at rest)",
            "LIN",
            recessive.value,
            None,
            full,
            f"supply {full:g} V",
            f"{recessive.source} ({recessive.certainty})",
        )
        yield LevelLine(
            "dominant",
            "LIN",
            0.0,
            None,
            dominant.value,
            f"supply {full:g} V",
            f"{dominant.source} ({dominant.certainty})",
        )


# --- resistances ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Piece:
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


class _Lattice:
    """Both lines with terminations and node inputs as a network; asked again and again with one thing changed."""

    def __init__(
        self,
        reader: _Reader,
        nets: dict[str, frozenset[int]],
        terminations: Sequence[BusTermination],
        accesses: Sequence[Access],
    ) -> None:
        self.reader = reader
        self.circuit = reader.circuit
        self.accesses = accesses
        self.terminations = terminations
        self.nets = nets
        nodes = sorted(nets["H"] | nets["L"])
        self.number = {node: number for number, node in enumerate(nodes)}
        self.node_of = nodes
        self.pieces = [*self._conductors(), *self._terminations(), *self._inputs()]

    def _conductors(self) -> Iterator[_Piece]:
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
            line = "H" if link.a in self.nets["H"] else "L"
            values = (max(ohms.low, LEAST_OHM), max(ohms.nominal, LEAST_OHM), max(ohms.high, LEAST_OHM))
            yield _Piece(
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
        names = [self.circuit.node_names[node] for node in (link.a, link.b)]
        ends = " to ".join(names)
        if link.kind is LinkKind.WIRE:
            return f"wire {self.circuit.wire_of(link).text}, {ends}"
        if link.kind is LinkKind.JOINED:
            return f"bridge inside {link.part}, {ends}"
        if link.kind is LinkKind.MATING:
            cavities = list(dict.fromkeys(name.partition(":")[0] for name in names))
            return f"contact {' to '.join(cavities)}"
        if link.kind is LinkKind.BUSSED:  # between a cavity and the bar of its group
            pins = [name for name in names if " group " not in name]
            return f"contact {pins[0] if len(pins) == 1 else ends}"
        return f"joint {ends}"

    def _terminations(self) -> Iterator[_Piece]:
        low, high = tables.trade_range("termination resistor, share of its value")
        for one in self.terminations:
            if not one.fitted or one.ohms is None:
                continue
            if one.ends is not None:
                values = (one.ohms * low, one.ohms, one.ohms * high)
                yield _Piece(self.number[one.ends[0]], self.number[one.ends[1]], values, "termination", one.name)

    def _inputs(self) -> Iterator[_Piece]:
        rows = [row for row in tables.node_inputs() if row.between == "the two lines"]
        standard = next(row for row in rows if row.parts == "limits of the standard")
        typical = next(row.typical_kohm for row in rows if row.typical_kohm is not None)
        values = (standard.min_kohm * 1000, typical * 1000, standard.max_kohm * 1000)
        for node in self.reader.nodes:
            if "H" in node.pins and "L" in node.pins:
                high, low = node.pins["H"][0], node.pins["L"][0]
                yield _Piece(self.number[high], self.number[low], values, "node", node.module)

    # --- one state ---------------------------------------------------------------------------------------------

    def _network(
        self, setting: _Setting, closed: np.ndarray[tuple[int], np.dtype[np.bool_]], extra: Sequence[_Piece]
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
        self, settings: Sequence[_Setting], opened: Iterable[int] = (), extra: Sequence[_Piece] = ()
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
        for node in self.reader.nodes:
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
            third = _Piece(ends[0].a, ends[0].b, (118.0, 120.0, 122.0), "termination", "")
            yield self._case("added", "one more termination of 120 Ω", (), (), [third])
        for access in self.accesses:
            touch = _Piece(
                self.number[access.high], self.number[access.low], (LEAST_OHM, SHORT_OHM, 1.0), "conductor", ""
            )
            yield self._case("short", f"the lines touch at {access.name}", (access.part,), (), [touch])

    def _case(
        self, kind: str, words: str, parts: tuple[str, ...], opened: Iterable[int], extra: Sequence[_Piece] = ()
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

    def accuracy(self, ohm: float) -> float:
        """How far a meter may be off at a reading."""
        if not math.isfinite(ohm):
            return 0.0
        limits = self.reader.limits
        return limits.of("meter resistance share").high * ohm + limits.of("meter resistance digits").high

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
            accuracy = self.accuracy(before.nominal)
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
                self.accuracy(reading.nominal),
                tells,
                verdict,
            )

    @staticmethod
    def _least_change(case: Case, column: int) -> float:
        low, high = case.change[column]
        if low <= 0.0 <= high:
            return 0.0
        return min(abs(low), abs(high))

    # --- trunk and branches ------------------------------------------------------------------------------------

    def topology(self) -> tuple[tuple[str, ...], float | None, tuple[Stub, ...]]:
        """The trunk between two terminations along line H, and the branches that leave it. Empty with any other number of terminations."""
        ends = [
            piece.a if self.node_of[piece.a] in self.nets["H"] else piece.b
            for piece in self.pieces
            if piece.kind == "termination"
        ]
        if len(set(ends)) != 2:
            return (), None, ()
        path = self._path(ends[0], {ends[1]})
        on_path = {ends[0], *(node for _, node in path)}
        trunk = self._parts_along([ends[0], *(node for _, node in path)])
        stubs = []
        for node in self.reader.nodes:
            if "H" not in node.pins:
                continue
            start = self.number[node.pins["H"][0]]
            way = self._path(start, on_path)
            leaves = way[-1][1] if way else start
            stubs.append(Stub(node.module, self._parts_along([leaves])[0], self._length(piece for piece, _ in way)))
        return tuple(trunk), self._length(piece for piece, _ in path), tuple(stubs)

    def _path(self, start: int, goals: set[int]) -> list[tuple[int, int]]:
        came: dict[int, tuple[int, int]] = {start: (-1, -1)}
        queue = [start]
        for here in queue:
            if here in goals:
                steps = []
                while came[here][0] >= 0:
                    number, before = came[here]
                    steps.append((number, here))
                    here = before
                return steps[::-1]
            for number, piece in enumerate(self.pieces):
                if piece.kind == "conductor" and here in (piece.a, piece.b):
                    other = piece.b if piece.a == here else piece.a
                    if other not in came:
                        came[other] = (number, here)
                        queue.append(other)
        return []

    def _parts_along(self, nodes: Iterable[int]) -> list[str]:
        return list(
            dict.fromkeys(
                self.circuit.node_parts[self.node_of[node]] or self.circuit.node_names[self.node_of[node]]
                for node in nodes
            )
        )

    def _length(self, pieces: Iterable[int]) -> float | None:
        """Metres of wire, None where one is not known."""
        total = 0.0
        for number in pieces:
            piece = self.pieces[number]
            if not piece.owner.startswith("wire "):
                continue
            a, b = self.node_of[piece.a], self.node_of[piece.b]
            wires = [
                self.circuit.wire_of(link)
                for n in self.circuit.at[a]
                if (link := self.circuit.links[n]).kind is LinkKind.WIRE and {link.a, link.b} == {a, b}
            ]
            length = wires[0].length_m if wires else None
            if length is None:
                return None
            total += length
        return total


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


def ohm_words(ohm: float) -> str:
    """'60.0 Ω', '12 kΩ', 'open'."""
    if ohm > OPEN_OHM:
        return "open"
    if ohm >= 1000:
        return f"{ohm / 1000:.3g} kΩ"
    return f"{ohm:.1f} Ω"


def ohm_value(text: str) -> float:
    """A typed resistance: '120', '120ohm', '1.2kohm', 'open'.

    Raises
    ------
    ValueError : it cannot be understood
    """
    word = text.strip().lower()
    if word in ("open", "ol", "inf"):
        return math.inf
    match = _OHM.match(word)
    if match is None:
        raise ValueError(f"`{text}` is no resistance: write 120ohm, 1.2kohm or open.")
    return float(match["number"].replace(",", ".")) * (1000.0 if match["unit"].startswith("k") else 1.0)


_OHM = re.compile(r"^(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>|ohms?|ω|kohms?|kω|k)$")


# --- a reading -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Explanation:
    """One thing that explains a reading; `expected` is what is then read there."""

    kind: str
    words: str
    expected: Ohm


@dataclass(frozen=True, slots=True)
class Classified:
    """A typed-in reading at an access point with everything single that explains it, simplest first."""

    reading: float
    at: str
    accuracy: float
    explanations: tuple[Explanation, ...]
    words: tuple[str, ...]


def classify(report: BusReport, reading_ohm: float, at: str, *, limits: LimitsInUse) -> Classified:
    """What explains a reading between the lines.

    Parameters
    ----------
    reading_ohm : as the meter shows it; infinite for open
    at : an access point, or a part that has only one (or whose points all read alike)

    Raises
    ------
    UnknownBus : no such access point
    """
    if not report.cases:
        raise UnknownBus(
            f"no resistance rule holds for bus {report.name} ({report.kind or 'kind not said'}): a reading between its lines cannot be judged."
        )
    number = access_named(report, at)
    accuracy = 0.0
    if math.isfinite(reading_ohm):
        accuracy = limits.of("meter resistance share").high * reading_ohm + limits.of("meter resistance digits").high
    order = {
        kind: place for place, kind in enumerate(("in order", "unplugged", "termination", "added", "short", "open"))
    }
    found = []
    for case in report.cases:
        expected = case.readings[number]
        if expected is not None and _fits(reading_ohm, accuracy, expected):
            found.append(Explanation(case.kind, case.words, expected))
    found.sort(key=lambda one: order[one.kind])
    return Classified(
        reading_ohm,
        report.accesses[number].name,
        accuracy,
        tuple(found),
        tuple(_reading_words(reading_ohm, found, usual=_is_usual(report))),
    )


def _is_usual(report: BusReport) -> bool:
    """Whether the bus as typed in reads what a working one does."""
    reading = next((one for one in report.cases[0].readings if one is not None), None)
    low, high = _usual_range()
    return reading is not None and low <= reading.nominal <= high


def _usual_range() -> tuple[float, float]:
    """Ω of two terminations at the limits of the standard."""
    row = next(r for r in tables.workshop_readings() if r.case.startswith("both ends present, at"))
    assert row.min_ohm is not None and row.max_ohm is not None
    return row.min_ohm, row.max_ohm


def _fits(reading: float, accuracy: float, expected: Ohm) -> bool:
    if not math.isfinite(reading):  # the input of a plugged node alone: some meters show kΩ, some open
        return expected.nominal >= INPUTS_OHM
    return expected.low - accuracy <= reading <= expected.high + accuracy


def _reading_words(reading: float, found: Sequence[Explanation], *, usual: bool) -> Iterator[str]:
    kinds = {one.kind for one in found}
    if "in order" in kinds and not usual:
        yield "as the bus is typed in, which is not what a working bus reads (about 60 Ω): look for a termination that is missing, one too many, or not typed in, before this is taken as in order"
    elif "in order" in kinds:
        others = len(found) - 1
        yield (
            f"as in order; {others} single faults read the same here, so the reading does not prove the bus"
            if others
            else "as in order, and no single fault that is modelled reads the same here"
        )
    elif not found:
        yield "nothing single that is modelled explains it: supply on or bus awake while measuring, leads not nulled, a joint with resistance in one line, two faults, or a termination of another value"
    if math.isfinite(reading):
        low, high = tables.trade_range("accepted by many at 20 °C")
        if low <= reading <= high:
            yield f"many accept {low:g} to {high:g} Ω at 20 °C (common practice, no source)"
        for row in tables.workshop_readings():
            if row.about_ohm is not None and abs(reading - row.about_ohm) <= 0.1 * row.about_ohm:
                yield f"about {row.about_ohm:g} Ω is published for: {row.case} ({row.certainty})"


def access_named(report: BusReport, at: str) -> int:
    """The number of an access point by its name, its part, or the name of one of its pins.

    Raises
    ------
    UnknownBus : there is none, or a part has several that read differently
    """
    exact = [n for n, access in enumerate(report.accesses) if access.name == at]
    by_part = [n for n, access in enumerate(report.accesses) if access.part == at]
    by_pin = [
        n for n, access in enumerate(report.accesses) if access.name.startswith(f"{at}/") or at in _pins_in(access.name)
    ]
    for found in (exact, by_part, by_pin):
        if len(found) == 1:
            return found[0]
        if found:
            alike = {tuple(_rounded(case.readings[n]) for case in report.cases) for n in found}
            if len(alike) == 1:
                return found[0]
            raise UnknownBus(
                f"{at} can be touched at several places that read differently: {listed([report.accesses[n].name for n in found])}."
            )
    known = [access.name for access in report.accesses]
    near = nearest(at, [*known, *dict.fromkeys(access.part for access in report.accesses)])
    raise UnknownBus(
        f"both lines of {report.name} cannot be touched at {at}. "
        + (f"Did you mean {near[0]}? " if near else "")
        + f"Places: {listed(known, most=40)}."
    )


def _pins_in(name: str) -> tuple[str, ...]:
    part, _, pins = name.partition(".")
    return tuple(f"{part}.{pin}" for pin in pins.partition(":")[0].split("/"))


def _rounded(reading: Ohm | None) -> float | None:
    return None if reading is None else math.inf if reading.is_open else round(reading.nominal, 1)
