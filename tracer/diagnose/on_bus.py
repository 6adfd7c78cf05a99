"""What is read on a bus of the module with each fault of it: between its lines, along a line, between a line and battery negative.

A bus is a network of its own (`case/kept_bus.py`), so a fault of it leaves every supply and ground as it is, and the other way round. Ohms are those with the supplies
off and the bus asleep; volts, those of a line while it is awake, of fault-tolerant CAN and LIN asleep too. What is unplugged is out of the network, with what is wrong inside it.

Resistors that end in a switch or behind a diode (`pull`) may conduct for an ohmmeter or not: at least what they let through, at most open. Where a fault moves a line to volts that are
neither those of order nor those of what it lies on, no level is known, since transceivers switch over then: all between is as likely.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tracer.case.bus_levels import HIGH_SPEED_KEPT, kept_lines, line_levels_v
from tracer.case.kept_bus import INPUTS, SUPPLY
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.faults import Atom
from tracer.electrics.bus.values import INPUTS_OHM
from tracer.electrics.network.described import BoolArray, FloatArray
from tracer.electrics.network.elimination import Elimination, Reduction, elimination_of
from tracer.entry.bus_words import bus_in_rows
from tracer.plan.words import line_name, to_ground_name
from tracer.standards import bus as tables
from tracer.standards import figures

_OPEN_S, _LEAK_S, _STIFF_S = 1e-13, 1e-12, 1e3
_REST_V = 2.5
# One sigma of ohms as read: the leads and the meter's last digits, and a share (common practice, no source)
READ_OHM, READ_SHARE, READ_V = 0.3, 0.02, 0.1
_MOST_OHM = 1e7
_LINE_OHM = 10.0  # at most along a line; between two lines at least that of their terminations
_GROUND_V, _SUPPLY_V = (
    0.3,
    0.6,
)  # how near to battery negative, or to its supply, a line lies that is held there (from memory)
_MOVED_V = 1.0  # a fault that moves a line by less leaves it in order
_NEXT_TO_NOTHING_OHM = 3.0
_LEAST, _MIDDLE, _GREATEST = 0, 1, 2  # of the ohms of a piece
NOMINAL, LOW, HIGH = 0, 1, 2  # of what is read


# --- what is read ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What a name such as `drive:H-L@X1.12:J1` is read between, and where; a single line to battery negative, in volts or in ohms (`drive:H:ground`), or along itself (`drive:H-H@X1.12:J1`)."""

    bus: str
    lines: tuple[str, ...]
    at: str
    ohms: bool

    @property
    def called(self) -> str:
        """The bus as its rows call it."""
        return bus_in_rows(self.bus)

    @property
    def pair(self) -> bool:
        """Whether it is between two points of the lines."""
        return len(self.lines) == 2

    @property
    def along(self) -> bool:
        """Whether it is from the module's plug to another place on the same line."""
        return self.pair and self.lines[0] == self.lines[1]


def asked(plan: Mapping[str, Any], name: str) -> Asked | None:
    """What a name means on the buses whose network is kept; None of anything else."""
    for bus, facts in plan.get("buses", {}).items():
        kept = facts.get("network")
        own = line_name(bus, *kept_lines(kept)) if kept else ""
        if not kept or own not in kept["at"]:
            continue
        if name in kept["at"]:
            lines = tuple(kept["at"][name].get("lines", ("H", "L")))
            return Asked(bus, lines, name, ohms=len(lines) == 2)
        for line in kept_lines(kept):
            called = (line_name(bus, line), f"{plan['module']}.{facts['pins'].get(line)}")
            if name in (*called, to_ground_name(called[0])):
                return Asked(bus, (line,), own, ohms=name not in called)
    return None


@dataclass(frozen=True, slots=True)
class PredictedOnBus:
    """(3, k) what is read with each of k faults: nominal, least, greatest; ohms, or volts of a line that is awake."""

    values: FloatArray
    volts: bool

    def said(self, atom: int) -> str:
        """What is expected with one of them, in words."""
        nominal, low, high = self.values[:, atom].tolist()
        if self.volts:
            return f"{figures.volts(max(low, 0.0))} to {figures.volts(high)}"
        return ohms_words(nominal)

    def fits(self, one: Reading) -> FloatArray:
        """(k,) how likely a value is with each."""
        nominal, low, high = self.values
        value = one.values[0]
        if value.text == "OL":
            return np.where(nominal >= INPUTS_OHM, 0.7, 1e-9)
        first, last = _typed_ends(one)
        middle = (first + last) / 2.0
        sd = np.full(nominal.shape, READ_V) if self.volts else READ_OHM + READ_SHARE * np.minimum(nominal, _MOST_OHM)
        low, high = np.minimum(low, _MOST_OHM), np.minimum(high, _MOST_OHM)
        away = np.maximum(np.maximum(low - middle, middle - high), 0.0) / sd
        plain: FloatArray = (last - first) * np.exp(-0.5 * away**2) / (high - low + sd * math.sqrt(2.0 * math.pi))
        if self.volts:
            return plain
        # the inputs of modules alone, or what ends in them: some meters show it, some open
        low = low - 2.0 * (READ_OHM + READ_SHARE * low)
        some = np.array([0.3 * _of_log(first, last, least, _MOST_OHM) for least in np.clip(low, 0.1, INPUTS_OHM / 2)])
        return np.where(nominal >= INPUTS_OHM, some, plain)

    def wrong(self, one: Reading) -> float:
        """How likely such a value is with a lead off, at another place, or on a bus that was not asleep."""
        if one.values[0].text == "OL":
            return 0.4
        first, last = _typed_ends(one)
        if self.volts:
            return (last - first) * (0.5 / 0.3 if first < 0.3 else 0.5 / 15.0)
        return 0.3 * max(0.0, min(last, 1.0) - max(first, 0.0)) + 0.3 * _of_log(first, last, 1.0, _MOST_OHM)


def ohms_words(ohm: float) -> str:
    """Ω as a meter may show them."""
    if ohm >= INPUTS_OHM:
        return "open or some kΩ"
    return "next to 0 Ω" if ohm < _NEXT_TO_NOTHING_OHM else f"about {figures.ohms(ohm)}"


def _typed_ends(one: Reading) -> tuple[float, float]:
    """Between what a value lies, as it was typed."""
    value = one.values[0]
    if value.text == "dead":
        return -0.05, _GROUND_V
    assert value.number is not None
    if value.above:
        return value.number, _MOST_OHM
    if value.below:
        return min(0.0, value.number), value.number
    digits = value.text.replace(",", ".").partition(".")[2]
    half = 0.5 * 10.0 ** -len(digits)
    return value.number - half, value.number + half


def _of_log(first: float, last: float, low: float, high: float) -> float:
    """How much of what lies evenly on a scale of decades lies between two values."""
    a, b = max(first, low), min(last, high)
    return math.log(b / a) / math.log(high / low) if b > a else 0.0


class OnBuses:
    """The buses of a plan with each of some faults. What a fault leaves alone is solved once."""

    def __init__(self, plan: Mapping[str, Any], atoms: Sequence[Atom]) -> None:
        self.plan, self.atoms = plan, atoms
        self._buses: dict[str, _Bus] = {}

    def predicted(self, name: str, on: Conditions) -> PredictedOnBus | None:
        """What is read at a name under conditions; None where that is not predicted: no such bus, or volts between lines."""
        what = asked(self.plan, name)
        if what is None or on.other == "+" or on.engine or on.hand:
            return None
        if what.ohms and not on.asleep and (what.along or not what.pair or self._kind(what.bus) != HIGH_SPEED_KEPT):
            return None
        if what.bus not in self._buses:
            self._buses[what.bus] = _Bus(what.bus, self.plan["buses"][what.bus]["network"], self.atoms)
        bus = self._buses[what.bus]
        module = self.plan["module"]
        out = frozenset(on.out) | (frozenset() if on.plugged else {module})
        ends = bus.kept["at"][what.at]["ends"]
        if what.pair and not on.asleep:
            return bus.difference(out, *ends)
        if what.pair:
            return bus.ohms(out, (ends[0], ends[1]))
        node = ends[0] if len(ends) == 1 else ends[kept_lines(bus.kept).index(what.lines[0])]
        if what.ohms:
            return bus.ohms(out, (node, 0))
        return bus.volts(out, what.lines[0], node, on.battery_v or float(self.plan["system_v"]), asleep=on.asleep)

    def _kind(self, bus: str) -> str:
        return str(self.plan["buses"][bus]["network"].get("kind", HIGH_SPEED_KEPT))


class _Bus:
    """One bus: its network with every fault that changes it, side by side."""

    def __init__(self, name: str, kept: Mapping[str, Any], atoms: Sequence[Atom]) -> None:
        self.kept = kept
        self.high_speed = kept.get("kind", HIGH_SPEED_KEPT) == HIGH_SPEED_KEPT
        self.pulls = [n for n, piece in enumerate(kept["pieces"]) if piece["kind"] == "pull"]
        # node, awake and asleep: a share of the battery, and so much more
        self.pulled_to = kept.get("pulled_to", [[INPUTS, [0.0, _REST_V], [0.0, 0.0]]])
        changes = [[one for one in atom.buses if one.bus == name] for atom in atoms]
        here = [n for n, some in enumerate(changes) if some]
        self.column = np.zeros(len(atoms), dtype=np.intp)
        self.column[here] = np.arange(1, len(here) + 1)
        self.changes = [[], *(changes[n] for n in here)]
        self.joins = list(dict.fromkeys((a, b) for some in self.changes for one in some for a, b, _ in one.joins))
        self._solved: dict[tuple[frozenset[str], bool], list[Reduction]] = {}

    def ohms(self, out: frozenset[str], ends: tuple[int, int]) -> PredictedOnBus:
        """Between two nodes, asleep and without supplies."""
        found = []
        for reduction in self._reduced(out, held=False):
            values = np.zeros((self.kept["nodes"], len(self.changes)))
            for node, amps in zip(ends, (1.0, -1.0), strict=True):
                if node:
                    values[node - 1] += amps
            volts = reduction.solve(values)
            found.append(np.minimum(volts[ends[0] - 1] - (volts[ends[1] - 1] if ends[1] else 0.0), 1e12))
        values = np.sort(np.array(found), axis=0)[[1, 0, 2]]
        return PredictedOnBus(values[:, self.column], volts=False)

    def difference(self, out: frozenset[str], high: int, low: int) -> PredictedOnBus:
        """Line H less line L of a high-speed CAN that is awake: with a module driving above nothing, at rest next to nothing; the other way round where the lines are changed over up to there."""
        reduction = self._reduced(out, held=False)[_MIDDLE]
        levels = [one for one in tables.levels("high-speed CAN") if one.line == "difference"]
        least = min(one.min_v for one in levels if one.min_v is not None)
        most = max(one.max_v for one in levels if one.max_v is not None)
        # a way of wire alone leads from a line to itself: an ampere along it moves next to nothing
        others = [facts["at"] for name, facts in self.kept["modules"].items() if name not in out and facts["at"] != [high, low]]  # fmt: skip
        straight, across = (self._joined(reduction, [(high, one[a]) for one in others]) for a in (0, 1))
        found = np.array([np.zeros_like(straight, dtype=float), np.full(straight.shape, -most), np.full(straight.shape, most)])  # fmt: skip
        found[LOW][straight & ~across], found[HIGH][across & ~straight] = least, -least
        found[NOMINAL] = np.where(straight & ~across, 0.0, np.where(across & ~straight, -most / 2, 0.0))
        return PredictedOnBus(found[:, self.column], volts=True)

    def _joined(self, reduction: Reduction, pairs: Sequence[tuple[int, int]]) -> BoolArray:
        """Whether any of some pairs of nodes is one line with each fault."""
        found = np.zeros(len(self.changes), dtype=np.bool_)
        for a, b in pairs:
            values = np.zeros((self.kept["nodes"], len(self.changes)))
            values[a - 1] += 1.0
            values[b - 1] -= 1.0
            volts = reduction.solve(values)
            found |= volts[a - 1] - volts[b - 1] < _LINE_OHM
        return found

    def volts(self, out: frozenset[str], line: str, node: int, battery_v: float, *, asleep: bool) -> PredictedOnBus:
        """Of a line: between what it lies at rest or with traffic, asleep near nothing or at the supply, with what lies on battery or supply held there."""
        reduction = self._reduced(out, held=True)[_MIDDLE]
        values = np.zeros((self.kept["nodes"], len(self.changes)))
        for to, awake, at_rest in self.pulled_to:
            share, more = at_rest if asleep else awake
            values[to - 1] += (share * battery_v + more) * _STIFF_S
        values[SUPPLY - 1] += battery_v * _STIFF_S
        rest_v = reduction.solve(values)[node - 1]
        values = np.zeros((self.kept["nodes"], len(self.changes)))
        values[node - 1] += 1.0
        seen_ohm = reduction.solve(values)[node - 1]
        low, high = line_levels_v(self.kept, line, battery_v, asleep=asleep)
        over = np.array([any(one.over for one in some) for some in self.changes]) & self.high_speed & (not asleep)
        found = np.array([rest_v, np.full_like(rest_v, low), np.full_like(rest_v, high)])
        if over.any():  # which of its modules drive which line there, nobody knows
            both = [line_levels_v(self.kept, one, battery_v, asleep=False) for one in kept_lines(self.kept)]
            found[LOW][over], found[HIGH][over] = min(one for one, _ in both), max(one for _, one in both)
        for where, first, last in self._off(rest_v, seen_ohm, (low, high), battery_v):
            found[LOW][where], found[HIGH][where] = first, last
        found[NOMINAL] = np.clip(found[NOMINAL], found[LOW], found[HIGH])
        return PredictedOnBus(found[:, self.column], volts=True)

    def _off(self, rest_v: FloatArray, seen_ohm: FloatArray, order_v: tuple[float, float], battery_v: float) -> list[tuple[BoolArray, float | FloatArray, float | FloatArray]]:  # fmt: skip
        """Where a line is not in order by what it hangs on, and between what it then lies; the later of these holds."""
        low, high = order_v
        held = seen_ohm < 1.0
        if self.high_speed:
            down, up = rest_v < min(_GROUND_V, low), rest_v > high
            return [
                (down, -0.1, low), (down & held, -0.1, _GROUND_V), (up, high, battery_v + _GROUND_V), (up & held, battery_v - _SUPPLY_V, battery_v + _GROUND_V),
                (seen_ohm > _MOST_OHM, -0.3, high),
            ]  # fmt: skip
        moved = np.abs(rest_v - rest_v[0]) > _MOVED_V
        down, up = held & (rest_v < _GROUND_V), held & (rest_v > battery_v - _SUPPLY_V)
        return [
            (moved, np.minimum(rest_v, low)[moved], np.maximum(rest_v, high)[moved]), (down, -0.1, _GROUND_V), (up, battery_v - _SUPPLY_V, battery_v + _GROUND_V),
            (seen_ohm > _MOST_OHM, -0.3, high),
        ]  # fmt: skip

    @cached_property
    def _order(self) -> Elimination:
        count = self.kept["nodes"]
        ends = (
            [tuple(piece["ends"]) for piece in self.kept["pieces"]]
            + self.joins
            + [(SUPPLY, 0), *((to, 0) for to, *_ in self.pulled_to)]
        )
        return elimination_of(count, np.array(ends, dtype=np.intp).reshape(-1, 2), 0, late=np.arange(1, count), leaks=range(1, count))  # fmt: skip

    def _reduced(self, out: frozenset[str], *, held: bool) -> list[Reduction]:
        """With some parts unplugged, with nominal, least and greatest ohms; `held`: the supplies are on."""
        key = frozenset(out.intersection(self.kept["outs"]))
        if (key, held) not in self._solved:
            self._solved[key, held] = [self._one(key, choice, held=held) for choice in (_LEAST, _MIDDLE, _GREATEST)]
        return self._solved[key, held]

    def _one(self, out: frozenset[str], choice: int, *, held: bool) -> Reduction:
        pieces, order = self.kept["pieces"], self._order
        plain = np.array([1.0 / piece["ohm"][choice] for piece in pieces])
        siemens = np.full((order.edge_of.size, len(self.changes)), _LEAK_S)
        siemens[: len(pieces)] = plain[:, np.newaxis]
        siemens[len(pieces) : len(pieces) + len(self.joins)] = _OPEN_S
        ends = len(pieces) + len(self.joins)
        if held or choice == _LEAST:  # without supplies nobody knows what the loads on them amount to
            siemens[ends] = _STIFF_S
        siemens[ends + 1 : ends + 1 + len(self.pulled_to)] = _STIFF_S
        if not held and choice != _LEAST:  # what is switched or behind a diode
            siemens[self.pulls] = _OPEN_S
        row = {pair: len(pieces) + n for n, pair in enumerate(self.joins)}
        for column, some in enumerate(self.changes):
            for one in some:
                for n, ohm in one.adds:
                    siemens[n, column] = 1.0 / (1.0 / siemens[n, column] + ohm)
                siemens[list(one.opens), column] = _OPEN_S
                for a, b, ohm in one.joins if one.inside not in out else ():
                    siemens[row[a, b], column] += 1.0 / ohm
        gone = [n for part in out for n in self.kept["outs"][part]["pieces"]]
        siemens[gone] = _OPEN_S
        edge_s = np.zeros((order.late_edge_count, len(self.changes)))
        real = order.edge_of >= 0
        np.add.at(edge_s, order.edge_of[real], siemens[real])
        return order.reduce_late(edge_s)


__all__ = ["READ_OHM", "READ_SHARE", "Asked", "OnBuses", "PredictedOnBus", "asked", "ohms_words"]
