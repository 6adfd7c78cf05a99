"""Faults of a bus in a case. Predicted ohms against those of `tracer bus`, which solves them by another way; and simulated technicians who follow `next` on buses with one fault each.

Readings are those of ngspice, on a bus whose every ohm lies somewhere within what is stated for it, by a meter that is off by as much as it may. The laws: whatever the fault,
it stays among what is looked at in the end, and is named wherever a fault is called found; on a bus in order nothing is found; and nothing is ever found inside the module under test.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, demo, demo_plan
from tests.case.test_proof import THOROUGH
from tests.diagnose.technician import case_of, check_left_out, looked_at
from tests.electrics.spice import NGSPICE, volts_by_ngspice
from tracer.case.kept_bus import SUPPLY
from tracer.case.opening import kept_plan
from tracer.case.proof import FOUND_AT_MOST
from tracer.case.readings import Conditions, Reading, set_by, value_of
from tracer.diagnose.bus_faults import is_pair
from tracer.diagnose.faults import Atom
from tracer.diagnose.likely import contradicting, every_fault, weigh
from tracer.diagnose.next import next_of
from tracer.diagnose.on_bus import OnBuses
from tracer.electrics.bus.values import HIGH_SPEED, INPUTS_OHM, LIN
from tracer.plan.words import line_name
from tracer.trace.tracing import Tracing

ASLEEP = Conditions(key="off", plugged=False, asleep=True, symptom=True, battery_v=12.6)


def plan_of(folder: Path, seed: int) -> tuple[Tracing, dict[str, Any]]:
    """A generated vehicle and the plan of a module of it that is on a high-speed CAN."""
    believable(folder, 6, seed=seed)
    tracing = Tracing(tracer.load(folder))
    for part in tracing.circuit.modules():
        plan = kept_plan(tracing, tracer.supplies(tracing, part.name), tracer.limits(tracing))
        if any(facts.get("network") for facts in plan["buses"].values()):
            return tracing, plan
    raise AssertionError("no module is on a bus")


# --- against `tracer bus` ------------------------------------------------------------------------------------------------


def check_against_tracer_bus(tracing: Tracing, plan: dict[str, Any]) -> int:
    """How many ohms were held against each other: every case of `tracer bus` at every place where it can be read."""
    faults = every_fault(plan)
    solver, compared = OnBuses(plan, faults.atoms), 0
    for bus, facts in plan["buses"].items():
        kept = facts.get("network")
        if not kept:
            continue
        report = tracer.bus(tracing, bus)
        place = {one["words"]: name for name, one in kept["at"].items() if is_pair(one)}
        columns = {faults.faults[atom.fault].what: n for n, atom in reversed([*enumerate(faults.atoms)]) if atom.buses}
        for case in report.cases:
            out = case.parts if case.kind == "unplugged" else ()
            on = replace(ASLEEP, plugged=plan["module"] not in out, out=tuple(one for one in out if one != plan["module"]))  # fmt: skip
            words = {"in order": "", "unplugged": "", "termination": case.words, "added": "", "short": case.words, "open": case.words.replace(" open:", ":")}[case.kind]  # fmt: skip
            if case.kind == "added" or (case.kind == "open" and ": wire " in words) or (words and words not in columns):
                continue
            column = columns.get(words, 0)
            for access, ohm in zip(report.accesses, case.expected, strict=True):
                read = solver.predicted(place[access.name], on) if access.name in place and ohm is not None else None
                if read is None or ohm is None or ohm.nominal >= INPUTS_OHM:
                    assert read is None or read.values[0, column] >= INPUTS_OHM
                    continue
                wanted = (ohm.nominal, ohm.low, ohm.high)
                if case.kind != "short":  # the contact of lines that touch is stated otherwise
                    # inputs lie half on either line here, so behind an open line they are no way round it at the least ohms
                    for seen, known, share in zip(read.values[:, column], wanted, (5e-3, 2e-2, 5e-3), strict=True):
                        assert seen == pytest.approx(known, rel=share), (case.words, access.name)
                compared += 1
    return compared


def test_ohms_are_those_of_tracer_bus_on_the_demo() -> None:
    assert check_against_tracer_bus(demo(), demo_plan()) > 300


def test_ohms_are_those_of_tracer_bus_on_a_generated_vehicle(tmp_path: Path) -> None:
    assert check_against_tracer_bus(*plan_of(tmp_path / "coach", 3)) > 50


# --- simulated technicians -----------------------------------------------------------------------------------------------


@dataclass
class Bus:
    """A bus with one fault, whose ohms lie somewhere within what is stated; `read` is what ngspice and a meter show."""

    plan: dict[str, Any]
    bus: str
    atom: Atom
    seed: int
    folder: Path
    readings: list[Reading] = field(default_factory=list)  # that `followed` took

    def __post_init__(self) -> None:
        self.kept = self.plan["buses"][self.bus]["network"]
        self.lines = {line_name(self.bus, line): line for line in self.kept["lines"]}
        rng = random.Random(self.seed)
        self.ohm = [low * (high / low) ** rng.random() for low, _, high in (piece["ohm"] for piece in self.kept["pieces"])]  # fmt: skip
        self.rng = random.Random(self.seed + 1)
        self.ends_conduct = rng.random() < 0.5  # whether an ohmmeter sees through what is switched or behind a diode

    def read(self, name: str, on: Conditions) -> Reading:
        out = {*on.out, *(() if on.plugged else (self.plan["module"],))}
        base, at = name.partition("@")[0].removesuffix(":ground"), self.kept["at"]
        own = at[line_name(self.bus, *self.kept["lines"])]["ends"]
        ends = at[name]["ends"] if name in at else [own[self.kept["lines"].index(self.lines[base])]]
        if (base not in self.lines and on.asleep) or name.endswith(":ground"):
            ends = [*ends, 0][:2]
            ohm = self._solved(out, [f"I1 {_n(ends[1])} {_n(ends[0])} DC 0.001"], ends, metered=True)
            ohm = ohm * 1000 + self.rng.uniform(-1, 1) * (0.009 * ohm * 1000 + 0.3)
            text = "OL" if ohm > 1e6 else f"{max(ohm, 0.0):.1f}"
        else:
            volts = self._volts(out, [*ends, 0][:2], asleep=on.asleep)
            text = f"{volts + self.rng.uniform(-0.05, 0.05):.2f}"
        return Reading(name, (value_of(text),), "", replace(on, symptom=True, battery_v=12.6), at=NOON.isoformat())

    def _volts(self, out: set[str], ends: Any, *, asleep: bool) -> float:
        """At rest; awake, some of the time with a module driving: the average, as a meter shows it."""
        levels = [(to, rest if asleep else awake) for to, awake, rest in self.kept["pulled_to"]]
        # LIN hangs on the supply behind a diode, which is one here
        feeds = [f"V{_n(to)} {_n(to)} 0 DC {12.6 if share else more!r}" for to, (share, more) in levels]
        feeds += [f"VS {_n(SUPPLY)} 0 DC 12.6", f"RM {_n(ends[0])} {_n(ends[1])} 1e7"]
        rest = self._solved(out, feeds, ends)
        drivers = [facts["at"] for name, facts in self.kept["modules"].items() if name not in out]
        if asleep or not drivers:
            return rest
        driven = {"H": 3.5, "L": 1.5, "LIN": 1.0} if self.kept["kind"] == HIGH_SPEED else {"H": 3.6, "L": 1.4, "LIN": 1.0}  # fmt: skip
        pairs = [*zip(self.kept["lines"], self.rng.choice(drivers), strict=True)]
        feeds += [f"VD{line} d{line} 0 DC {driven[line]!r}" for line, _ in pairs] + [f"RD{line} d{line} {_n(node)} 15" for line, node in pairs]  # fmt: skip
        busy = self.rng.uniform(0.0, 0.5)
        return (1.0 - busy) * rest + busy * self._solved(out, feeds, ends)

    def _solved(self, out: set[str], sources: list[str], ends: Any, *, metered: bool = False) -> float:
        changes = [one for one in self.atom.buses if one.bus == self.bus]
        opened = {n for one in changes for n in one.opens} | {n for part in out if part in self.kept["outs"] for n in self.kept["outs"][part]["pieces"]}  # fmt: skip
        more = {n: ohm for one in changes for n, ohm in one.adds}
        lines = list[str]()
        for n, piece in enumerate(self.kept["pieces"]):
            a, b, pull = *map(_n, piece["ends"]), piece["kind"] == "pull"
            if n in opened or (pull and metered and not self.ends_conduct):
                continue
            lines.append(f"R{n} {a} {b if not pull or self.kept['kind'] != LIN or metered else f'x{n}'} {self.ohm[n] + more.get(n, 0.0)!r}")  # fmt: skip
            lines += [f"D{n} {b} x{n} DSI"] * (pull and self.kept["kind"] == LIN and not metered)
        lines += [f"RJ{k}x{n} {_n(a)} {_n(b)} {ohm!r}" for k, one in enumerate(changes) if one.inside not in out for n, (a, b, ohm) in enumerate(one.joins)]  # fmt: skip
        lines += [f"RL{n} {_n(n)} 0 1e11" for n in range(1, self.kept["nodes"])]
        if metered:
            lines += [f"RI{to} {_n(to)} 0 0.001" for to, *_ in self.kept["pulled_to"]]
        found = volts_by_ngspice(self.folder, [".model DSI D(IS=1e-9 N=1.7 RS=0.03)", *lines, *sources], {ends[0]: 0.0})
        return found.get(ends[0], 0.0) - (found.get(ends[1], 0.0) if ends[1] else 0.0)


def _n(node: int) -> str:
    return f"n{node}" if node else "0"


def asked_first(bus: Bus) -> list[tuple[str, Conditions]]:
    """What anybody reads on a bus: ohms between the lines, where there are two, and each line awake and asleep."""
    awake = Conditions(key="run", plugged=False)
    pair = [(line_name(bus.bus, *bus.lines.values()), ASLEEP)] if len(bus.lines) == 2 else []
    return [*pair, *((line, awake) for line in bus.lines), *((f"{line}:ground", ASLEEP) for line in bus.lines)]


def followed(bus: Bus, *, most: int = 25) -> Iterator[Any]:
    """Every answer of `next` from the first reading that is not as in order; none where all are."""
    read = ((name, on, bus.read(name, on)) for name, on in asked_first(bus))
    first = next(((name, on, one) for name, on, one in read if contradicting(bus.plan, [one])), None)
    if first is None:
        return
    bus.readings = readings = [first[2], bus.read(*first[:2])]
    for _ in range(most):
        case = case_of(bus.plan, readings)
        found = next_of(case)
        yield found
        if found.measurement is None:
            return
        on = set_by(case.conditions, list(found.measurement.set_before), tuple(bus.plan["keys"]), NOON.isoformat(), 99)
        readings.append(bus.read(case.find(found.measurement.short), on))
    raise AssertionError(f"still asking after {most} measurements")


def check_law(plan: dict[str, Any], count: int, seed: int, folder: Path) -> tuple[int, int]:
    """How many faults of some drawn by chance showed, and how many were found."""
    faults, rng = every_fault(plan), random.Random(seed)
    real = [atom for atom in faults.atoms if atom.buses]
    shown = hits = 0
    for number, atom in enumerate(real if THOROUGH else rng.sample(real, min(count, len(real)))):
        fault = faults.faults[atom.fault]
        bus = Bus(plan, atom.buses[0].bus, atom, seed + number, folder)
        steps = list(followed(bus))
        if not steps:
            continue
        assert check_left_out(plan, bus.readings, fault) >= 2
        shown += 1
        assert fault.what in looked_at(steps[-1].explains), (fault, atom)
        for step in steps:
            named = (*step.verdict.pieces, *step.verdict.also)
            assert not named or fault.what in named, (fault, named)
            assert (step.verdict.kind == "found") == (0 < len(named) <= FOUND_AT_MOST)
            assert step.verdict.kind != "found" or fault.inside != plan["module"]
        hits += steps[-1].verdict.kind == "found"
    return shown, hits


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
def test_a_fault_of_the_bus_stays_among_what_is_looked_at_on_the_demo(tmp_path: Path) -> None:
    shown, hits = check_law(demo_plan(), 16, 1, tmp_path)
    assert shown > 4 and hits > 0


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
def test_a_fault_of_the_bus_stays_among_what_is_looked_at_on_a_generated_vehicle(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path / "coach", 5)
    assert check_law(plan, 10, 2, tmp_path)[0] > 2


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
def test_a_fault_of_a_fault_tolerant_bus_stays_among_what_is_looked_at(tmp_path: Path) -> None:
    shown, hits = check_law(demo_plan("BDM"), 24, 3, tmp_path)
    assert shown > 4 and hits > 0


DOORS = """sheet: 1
parts:
  BAT: {is: battery, at: engine bay}
  N: {is: ground, at: left sill}
  X: {is: connector, at: left door hinge, cavities: 1}
  A: {is: module, at: left door, cavities: 1-3, pins: {1: bus doors LIN, 2: supply, 3: ground}}
  B: {is: module, at: right door, cavities: 1-3, pins: {1: bus doors LIN, 2: supply, 3: ground}}
  C: {is: module, at: rear, cavities: 1-3, pins: {1: bus doors LIN, 2: supply, 3: ground}}
  S: {is: splice, at: sill}
runs:
- A.1 -- GY 0.5 1m -- X.1 -- GY 0.5 1m -- S
- S -- GY 0.5 1m -- B.1
- S -- GY 0.5 2m -- C.1
- BAT.+ -- RD 2.5 1m -- A.2
- BAT.+ -- RD 2.5 1m -- B.2
- BAT.+ -- RD 2.5 1m -- C.2
- A.3 -- BN 2.5 1m -- N
- B.3 -- BN 2.5 1m -- N
- C.3 -- BN 2.5 1m -- N
- BAT.- -- BK 25 1m -- N
"""


def doors(folder: Path, module: str) -> dict[str, Any]:
    """The plan of a module on a LIN bus of three, of which A commands."""
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text("vehicle: v\nsystem: 12 V\nkey: [off, run]\nbuses: {doors: {kind: lin, commander: A}}\n", encoding="utf-8")  # fmt: skip
    (folder / "sheets" / "1.yaml").write_text(DOORS, encoding="utf-8")
    tracing = Tracing(tracer.load(folder))
    return kept_plan(tracing, tracer.supplies(tracing, module), tracer.limits(tracing))


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize("module", ["A", "B"])
def test_a_fault_of_a_lin_bus_stays_among_what_is_looked_at(module: str, tmp_path: Path) -> None:
    shown, hits = check_law(doors(tmp_path / "v", module), 40, 4, tmp_path)
    assert shown > 4 and hits > 0


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
def test_lines_that_are_changed_over_show_along_a_line_and_in_no_ohms_between_them(tmp_path: Path) -> None:
    plan = demo_plan()
    faults = every_fault(plan)
    seen = 0
    for atom in faults.atoms:
        if not any(one.over for one in atom.buses):
            continue
        bus, what = Bus(plan, "drive", atom, 5, tmp_path), faults.faults[atom.fault].what
        assert not contradicting(plan, [bus.read("drive:H-L", ASLEEP), bus.read("drive:H:ground", ASLEEP)]), what
        along = [bus.read(name, ASLEEP) for name in plan["buses"]["drive"]["network"]["at"] if name.startswith("drive:H-H@")]  # fmt: skip
        wrong = contradicting(plan, along)
        if what == "H and L changed over at the plug of ALM":
            assert {one.name for one in wrong} == {one.name for one in along}
        if wrong:
            seen += 1
            found = weigh(plan, [*wrong[:1], bus.read(wrong[0].name, ASLEEP)])
            assert what in [found.faults[n].what for n in range(len(found.faults)) if found.share[n] > 1e-3], what
    assert seen > 3


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize("seed", range(3))
def test_on_a_bus_in_order_nothing_speaks_against_it(seed: int, tmp_path: Path) -> None:
    plan = demo_plan()
    bus = Bus(plan, "drive", Atom(0, 1.0), seed, tmp_path)
    assert not contradicting(plan, everything(bus))
    assert next_of(case_of(plan, everything(bus))).aim == "prove"


def everything(bus: Bus) -> list[Reading]:
    """Every reading that can be taken on a bus with all plugged in but the module."""
    at, awake = bus.kept["at"], Conditions(key="run", plugged=False)
    read = [bus.read(name, ASLEEP) for name in at]
    return [*read, *(bus.read(name, on) for name, on in asked_first(bus)), *(bus.read(name, awake) for name, one in at.items() if len(one["lines"]) == 1)]  # fmt: skip


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
@pytest.mark.parametrize("seed", range(3))
def test_on_a_fault_tolerant_bus_or_lin_in_order_nothing_speaks_against_it(seed: int, tmp_path: Path) -> None:
    for plan, name in ((demo_plan("BDM"), "body"), (doors(tmp_path / "v", "B"), "doors"), (doors(tmp_path / "w", "A"), "doors")):  # fmt: skip
        bus = Bus(plan, name, Atom(0, 1.0), seed, tmp_path)
        assert not contradicting(plan, everything(bus))
