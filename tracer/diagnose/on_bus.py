"""What may be wrong with a bus of the module, and what is then read between its lines, or between a line and battery negative.

A bus is a network of its own (`case/kept_bus.py`), so a fault of it leaves every supply and ground as it is, and the other way round. Ohms are those with the supplies
off and the bus asleep; volts, those of a line while it is awake. What is unplugged is out of the network, with what is wrong inside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tracer.case.kept_bus import INPUTS, SUPPLY
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.faults import SHORT_OHM, Atom, Fault, OnBus
from tracer.electrics.bus.ohms import ONE_MORE, lost_words, touch_words
from tracer.electrics.bus.values import INPUTS_OHM
from tracer.electrics.network.described import BoolArray, FloatArray
from tracer.electrics.network.elimination import Elimination, Reduction, elimination_of
from tracer.entry.bus_words import bus_in_rows
from tracer.plan.words import line_name, to_ground_name
from tracer.standards import figures
from tracer.standards.faults import bus_fails, fails_as, joint_ohms, piece_fails

_OPEN_S, _LEAK_S, _STIFF_S = 1e-13, 1e-12, 1e3
_TERMINATION_OHM, _LEAST_JOINT_OHM = 120.0, 4.0  # less than that in a line shows in no ohms between the lines
_REST_V = 2.5
# One sigma of ohms as read: the leads and the meter's last digits, and a share (common practice, no source)
READ_OHM, READ_SHARE, READ_V = 0.3, 0.02, 0.1
_MOST_OHM = 1e7
_ASLEEP_V = 0.1  # either line of a bus that is asleep (from memory)
_NEXT_TO_NOTHING_OHM = 3.0
NOMINAL, LOW, HIGH = 0, 1, 2


# --- the faults --------------------------------------------------------------------------------------------------------


def bus_faults(name: str, kept: Mapping[str, Any], first: int) -> Iterator[tuple[Fault, list[Atom]]]:
    """Every single fault of a bus; `first` is the number of the first one."""
    number = first
    for fault, changes in _faults(name, kept):
        yield fault, [Atom(number, share, buses=(change,)) for share, change in changes]
        number += 1


def _faults(name: str, kept: Mapping[str, Any]) -> Iterator[tuple[Fault, list[tuple[float, OnBus]]]]:
    bus = bus_in_rows(name)
    ohms = [ohm for ohm in joint_ohms() if ohm >= _LEAST_JOINT_OHM]
    both = fails_as("open") + fails_as("joint")
    for n, piece in enumerate(kept["pieces"]):
        where = f"line {piece['line']}: {piece['what']}"
        if not piece["what"] or piece["kind"] == "termination":
            continue
        weight, words = piece_fails(piece["kind"])
        changes = [(fails_as("open") / both, OnBus(name, opens=(n,)))]
        changes += [(fails_as("joint") / both / len(ohms), OnBus(name, adds=((n, ohm),))) for ohm in ohms]
        yield Fault(where, words, (), weight * both, bus), changes
        if piece["kind"] == "wire":
            end = piece["ends"][0]
            for node, how, to in ((0, "short", "battery negative"), (SUPPLY, "fed", "a supply")):
                yield Fault(f"{where} on {to}", "chafed through", (), weight * fails_as(how), bus), [(1.0, OnBus(name, joins=((end, node, SHORT_OHM),)))]  # fmt: skip
    yield from _terminations(name, kept)
    weight, words = bus_fails("touch")
    for at, one in kept["at"].items():
        if not one["of"]:
            yield Fault(touch_words(at.partition('@')[2]), words, (), weight, bus), [(1.0, OnBus(name, joins=((*one["ends"], SHORT_OHM),)))]  # fmt: skip
    weight, words = bus_fails("module")
    for module, facts in kept["modules"].items():
        high, low = facts["at"]
        said = {
            "the lines touch": (high, low), "line H on battery negative": (high, 0), "line L on battery negative": (low, 0),
            "line H on a supply": (high, SUPPLY), "line L on a supply": (low, SUPPLY),
        }  # fmt: skip
        for what, (a, b) in said.items():
            yield Fault(f"{what} inside {module} or at its plug", words, (), weight / len(said), bus, module), [(1.0, OnBus(name, joins=((a, b, SHORT_OHM),), inside=module))]  # fmt: skip


def _terminations(name: str, kept: Mapping[str, Any]) -> Iterator[tuple[Fault, list[tuple[float, OnBus]]]]:
    bus = bus_in_rows(name)
    for n, piece in enumerate(kept["pieces"]):
        if piece["kind"] == "termination":
            module = piece["what"] if piece["what"] in kept["modules"] else ""
            weight, words = bus_fails("termination in a module" if module else "termination")
            yield Fault(lost_words(piece['what']), words, (), weight, bus, module), [(1.0, OnBus(name, opens=(n,)))]  # fmt: skip
    weight, words = bus_fails("variant")
    for module, facts in kept["modules"].items():
        if not facts["terminates"]:
            change = OnBus(name, joins=((*facts["at"], _TERMINATION_OHM),), inside=module)
            yield Fault(f"{module} has a termination", words, (), weight, bus, module), [(1.0, change)]
    free = [one["ends"] for one in kept["at"].values() if not one["of"]]
    weight, words = bus_fails("added")
    if free:
        yield Fault(ONE_MORE, words, (), weight, bus), [(1.0 / len(free), OnBus(name, joins=((*ends, _TERMINATION_OHM),))) for ends in free]  # fmt: skip


# --- what is read ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What a name such as `drive:H-L@X1.12:J1` is read between, and where; a single line to battery negative, in volts or in ohms (`drive:H:ground`)."""

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
        """Whether it is between both lines."""
        return len(self.lines) == 2


def asked(plan: Mapping[str, Any], name: str) -> Asked | None:
    """What a name means on the buses whose network is kept; None of anything else."""
    for bus, facts in plan.get("buses", {}).items():
        kept = facts.get("network")
        pair = line_name(bus, "H", "L")
        if not kept or pair not in kept["at"]:
            continue
        if name in kept["at"]:
            return Asked(bus, ("H", "L"), name, ohms=True)
        for line in ("H", "L"):
            called = (line_name(bus, line), f"{plan['module']}.{facts['pins'].get(line)}")
            if name in (*called, to_ground_name(called[0])):
                return Asked(bus, (line,), pair, ohms=name not in called)
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
        # the inputs of modules alone: some meters show kΩ, some open
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
        if what is None or (what.ohms and not on.asleep) or on.other == "+" or on.engine or on.hand:
            return None
        if what.bus not in self._buses:
            self._buses[what.bus] = _Bus(what.bus, self.plan["buses"][what.bus]["network"], self.atoms)
        bus = self._buses[what.bus]
        module = self.plan["module"]
        out = frozenset(on.out) | (frozenset() if on.plugged else {module})
        high, low = bus.kept["at"][what.at]["ends"]
        if what.ohms:
            ends = (high, low) if what.pair else (high if what.lines == ("H",) else low, 0)
            return bus.ohms(out, ends)
        return bus.volts(
            out, high if what.lines == ("H",) else low, on.battery_v or float(self.plan["system_v"]), asleep=on.asleep
        )


class _Bus:
    """One bus: its network with every fault that changes it, side by side."""

    def __init__(self, name: str, kept: Mapping[str, Any], atoms: Sequence[Atom]) -> None:
        self.kept = kept
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

    def volts(self, out: frozenset[str], node: int, battery_v: float, *, asleep: bool) -> PredictedOnBus:
        """Of a line: between what it lies at rest or with traffic, asleep near nothing, with what lies on battery or supply held there."""
        reduction = self._reduced(out, held=True)[NOMINAL]
        values = np.zeros((self.kept["nodes"], len(self.changes)))
        values[INPUTS - 1] += (0.0 if asleep else _REST_V) * _STIFF_S
        values[SUPPLY - 1] += battery_v * _STIFF_S
        rest_v = reduction.solve(values)[node - 1]
        values = np.zeros((self.kept["nodes"], len(self.changes)))
        values[node - 1] += 1.0
        seen_ohm = reduction.solve(values)[node - 1]
        held = seen_ohm < 1.0
        low, high = (-_ASLEEP_V, _ASLEEP_V) if asleep else self.kept["awake_v"]
        bands: list[tuple[BoolArray, float, float]] = [
            (rest_v < min(0.3, low), -0.1, low), ((rest_v < min(0.3, low)) & held, -0.1, 0.3), (rest_v > high, high, battery_v + 0.3),
            ((rest_v > high) & held, battery_v - 0.6, battery_v + 0.3), (seen_ohm > _MOST_OHM, -0.3, high),
        ]  # fmt: skip
        found = np.array([rest_v, np.full_like(rest_v, low), np.full_like(rest_v, high)])
        for where, first, last in bands:
            found[LOW][where], found[HIGH][where] = first, last
        found[NOMINAL] = np.clip(found[NOMINAL], found[LOW], found[HIGH])
        return PredictedOnBus(found[:, self.column], volts=True)

    @cached_property
    def _order(self) -> Elimination:
        count = self.kept["nodes"]
        ends = [tuple(piece["ends"]) for piece in self.kept["pieces"]] + self.joins + [(INPUTS, 0), (SUPPLY, 0)]
        return elimination_of(count, np.array(ends, dtype=np.intp).reshape(-1, 2), 0, late=np.arange(1, count), leaks=range(1, count))  # fmt: skip

    def _reduced(self, out: frozenset[str], *, held: bool) -> list[Reduction]:
        """With some parts unplugged, with nominal, least and greatest ohms; `held`: the supplies are on."""
        key = frozenset(out.intersection(self.kept["outs"]))
        if (key, held) not in self._solved:
            self._solved[key, held] = [self._one(key, choice, held=held) for choice in (NOMINAL, LOW, HIGH)]
        return self._solved[key, held]

    def _one(self, out: frozenset[str], choice: int, *, held: bool) -> Reduction:
        pieces, order = self.kept["pieces"], self._order
        plain = np.array([1.0 / piece["ohm"][choice] for piece in pieces])
        siemens = np.full((order.edge_of.size, len(self.changes)), _LEAK_S)
        siemens[: len(pieces)] = plain[:, np.newaxis]
        siemens[len(pieces) : len(pieces) + len(self.joins)] = _OPEN_S
        ends = len(pieces) + len(self.joins)
        siemens[ends] = _STIFF_S
        if held or choice == LOW:  # without supplies nobody knows what the loads on them amount to
            siemens[ends + 1] = _STIFF_S
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


__all__ = ["READ_OHM", "READ_SHARE", "Asked", "OnBuses", "PredictedOnBus", "asked", "bus_faults", "ohms_words"]
