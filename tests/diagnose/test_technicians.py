"""Simulated technicians follow `tracer next` on vehicles with one fault each. The law: whatever the fault, it stays among what is looked at in the end.

Beside it the law of one answer: whenever `proof` calls a fault found, what `next` holds first is named there, and so is the fault itself.

Readings are those of vehicles whose every ohm and draw lies somewhere within what is stated for it, by a meter that is a digit off; by ngspice for some, by the
program's own solver on the same values for the others. `TRACER_TESTS=thorough` takes every single fault.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import demo, demo_plan
from tests.case.test_proof import THOROUGH
from tests.diagnose.technician import Vehicle, check_left_out, followed, looked_at, words_in
from tests.electrics.spice import NGSPICE
from tracer.case.opening import kept_plan
from tracer.case.proof import FOUND_AT_MOST
from tracer.diagnose.faults import READING_WRONG, faults_of
from tracer.trace.tracing import Tracing


def check_law(tracing: Tracing, plan: dict[str, Any], count: int, seed: int, folder: Path | None) -> int:
    """How many faults showed at some row, of some drawn by chance; every atom of every fault when thorough."""
    report, limits = tracer.supplies(tracing, plan["module"]), tracer.limits(tracing)
    every = faults_of(plan["network"])
    real = [atom for atom in every.atoms if every.faults[atom.fault].what != READING_WRONG]
    rng, shown = random.Random(seed), 0
    for number, atom in enumerate(real if THOROUGH and folder is None else rng.sample(real, min(count, len(real)))):
        fault = every.faults[atom.fault]
        got = followed(Vehicle(tracing, report, limits, plan, fault, atom, seed + number, folder))
        if got is None:
            continue
        shown += 1
        row = next((name for name in plan["rows"] if plan["short"][name] == got.found.of), got.row)
        words = words_in(plan, row, fault)
        shares = {one.what: one.share for one in got.found.explains}
        assert shares[words] > 0.0
        assert words in looked_at(got.found.explains), (words, atom, [one.name for one in got.readings])
        for step in got.steps:
            if step.verdict.found_at:
                assert (step.verdict.kind == "found") == (
                    len(step.verdict.pieces) + len(step.verdict.also) <= FOUND_AT_MOST
                )
                Found.cases += 1
                named = {*step.verdict.pieces, *step.verdict.also}
                at = next(name for name in plan["rows"] if plan["short"][name] == step.of)
                assert step.explains[0].what in named, (step.explains[0].what, named)
                assert words_in(plan, at, fault) in named, (words, atom, named)
        assert check_left_out(plan, got.readings, fault) >= 2
    return shown


class Found:
    """How often something was found."""

    cases = 0


def test_every_fault_stays_a_candidate_on_the_demo() -> None:
    Found.cases = 0
    assert check_law(demo(), demo_plan(), 7, 1, None) > 2
    assert Found.cases > 2


@pytest.mark.parametrize("pins", [("3", "4"), ("2", "7"), ("3", "17")])
def test_wires_in_each_others_place_in_the_plug_are_never_found_elsewhere(pins: tuple[str, str]) -> None:
    """Neighbours and others; of two that run through one connector with cavities between them that connector is named as well."""
    tracing, plan = demo(), demo_plan()
    every = faults_of(plan["network"])
    what = " and ".join(f"ALM.{pin}" for pin in pins) + " crossed"
    atom = next(atom for atom in every.atoms if every.faults[atom.fault].what.startswith(what))
    fault = every.faults[atom.fault]
    vehicle = Vehicle(tracing, tracer.supplies(tracing, "ALM"), tracer.limits(tracing), plan, fault, atom, 3, None)
    got = followed(vehicle)
    assert got is not None
    for step in got.steps:
        if step.verdict.kind == "found":
            assert fault.what in (*step.verdict.pieces, *step.verdict.also)
    assert fault.what in looked_at(got.found.explains)
    assert ("in the plug or in" in fault.what) == (pins == ("2", "7"))


@pytest.mark.skipif(NGSPICE is None, reason="ngspice is not installed")
def test_every_fault_stays_a_candidate_on_the_demo_as_ngspice_reads_it(tmp_path: Path) -> None:
    assert check_law(demo(), demo_plan(), 40 if THOROUGH else 2, 5, tmp_path) > 0


@pytest.mark.parametrize("seed", [1, 2])
def test_every_fault_stays_a_candidate_on_generated_vehicles(seed: int, tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=seed)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    plan = kept_plan(tracing, tracer.supplies(tracing, names[0]), tracer.limits(tracing))
    assert check_law(tracing, plan, 5, seed, None) > 1
