"""Faults of a bus in a case. Predicted ohms against those of `tracer bus`, which solves them by another way; and simulated technicians who follow `next` on buses with one fault each.

Readings are those of ngspice, on a bus whose every ohm lies somewhere within what is stated for it, by a meter that is off by as much as it may. The laws: whatever the fault,
it stays among what is looked at in the end, and is named wherever a fault is called found; on a bus in order nothing is found; and nothing is ever found inside the module under test.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, demo, demo_plan
from tests.case.test_proof import THOROUGH
from tests.diagnose.technician import case_of, looked_at
from tests.electrics.spice import NGSPICE, volts_by_ngspice
from tracer.case.kept_bus import INPUTS, SUPPLY
from tracer.case.opening import kept_plan
from tracer.case.proof import FOUND_AT_MOST
from tracer.case.readings import Conditions, Reading, set_by, value_of
from tracer.diagnose.faults import Atom
from tracer.diagnose.likely import contradicting, every_fault
from tracer.diagnose.next import next_of
from tracer.diagnose.on_bus import OnBuses
from tracer.electrics.bus.values import INPUTS_OHM
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
        place = {one["words"]: name for name, one in kept["at"].items()}
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

    def __post_init__(self) -> None:
        self.kept = self.plan["buses"][self.bus]["network"]
        rng = random.Random(self.seed)
        self.ohm = [low * (high / low) ** rng.random() for _, low, high in (piece["ohm"] for piece in self.kept["pieces"])]  # fmt: skip
        self.rng = random.Random(self.seed + 1)

    def read(self, name: str, on: Conditions) -> Reading:
        out = {*on.out, *(() if on.plugged else (self.plan["module"],))}
        lines = {line_name(self.bus, "H"): 0, line_name(self.bus, "L"): 1}
        base = name.partition("@")[0].removesuffix(":ground")
        at = self.kept["at"][name if name in self.kept["at"] else line_name(self.bus, "H", "L")]["ends"]
        if name not in lines:
            ends = at if base not in lines else (at[lines[base]], 0)
            ohm = self._solved(out, [f"I1 {_n(ends[1])} {_n(ends[0])} DC 0.001", f"RI {_n(INPUTS)} 0 0.001"], ends) * 1000  # fmt: skip
            ohm += self.rng.uniform(-1, 1) * (0.009 * ohm + 0.3)
            text = "OL" if ohm > 1e6 else f"{max(ohm, 0.0):.1f}"
        else:
            volts = self._solved(out, [f"VI {_n(INPUTS)} 0 DC 2.5", f"VS {_n(SUPPLY)} 0 DC 12.6"], (at[lines[base]], 0))
            text = f"{volts + self.rng.uniform(-0.05, 0.05):.2f}"
        return Reading(name, (value_of(text),), "", replace(on, symptom=True, battery_v=12.6), at=NOON.isoformat())

    def _solved(self, out: set[str], sources: list[str], ends: Any) -> float:
        changes = [one for one in self.atom.buses if one.bus == self.bus]
        opened = {n for one in changes for n in one.opens} | {n for part in out if part in self.kept["outs"] for n in self.kept["outs"][part]["pieces"]}  # fmt: skip
        more = {n: ohm for one in changes for n, ohm in one.adds}
        lines = [f"R{n} {_n(piece['ends'][0])} {_n(piece['ends'][1])} {self.ohm[n] + more.get(n, 0.0)!r}" for n, piece in enumerate(self.kept["pieces"]) if n not in opened]  # fmt: skip
        lines += [f"RJ{n} {_n(a)} {_n(b)} {ohm!r}" for one in changes if one.inside not in out for n, (a, b, ohm) in enumerate(one.joins)]  # fmt: skip
        lines += [f"RL{n} {_n(n)} 0 1e11" for n in range(1, self.kept["nodes"])]
        found = volts_by_ngspice(self.folder, [*lines, *sources], {ends[0]: 0.0})
        return found.get(ends[0], 0.0) - (found.get(ends[1], 0.0) if ends[1] else 0.0)


def _n(node: int) -> str:
    return f"n{node}" if node else "0"


def followed(bus: Bus, *, most: int = 25) -> Iterator[Any]:
    """Every answer of `next` from the first reading that is not as in order; none where all are."""
    pair, awake = line_name(bus.bus, "H", "L"), Conditions(key="run", plugged=False)
    asked = [(pair, ASLEEP), *((line_name(bus.bus, line), awake) for line in ("H", "L"))]
    first = next(((name, on, one) for name, on in asked if contradicting(bus.plan, [one := bus.read(name, on)])), None)
    if first is None:
        return
    readings = [first[2], bus.read(*first[:2])]
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
    for number, atom in enumerate(real if THOROUGH else rng.sample(real, count)):
        fault = faults.faults[atom.fault]
        steps = list(followed(Bus(plan, atom.buses[0].bus, atom, seed + number, folder)))
        if not steps:
            continue
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
@pytest.mark.parametrize("seed", range(3))
def test_on_a_bus_in_order_nothing_speaks_against_it(seed: int, tmp_path: Path) -> None:
    plan = demo_plan()
    bus = Bus(plan, "drive", Atom(0, 1.0), seed, tmp_path)
    read = [bus.read(name, ASLEEP) for name in plan["buses"]["drive"]["network"]["at"]]
    read += [bus.read(line, Conditions(key="run", plugged=False)) for line in ("drive:H", "drive:L")]
    assert not contradicting(plan, read)
    assert next_of(case_of(plan, read)).aim == "prove"
