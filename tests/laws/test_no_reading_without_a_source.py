"""No node reads above the highest source of its state, and none below battery negative: in generated vehicles and the demos, in every key state and setting.

A passive network stays between its sources (the maximum principle of resistive networks; textbook knowledge, from memory). What is expected is worked out
from the typed lines alone: how many batteries there are, of what class, what was measured, what converters give.
"""

from __future__ import annotations

import itertools
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.circuit import join
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.in_many_settings import Together
from tracer.entry import read_folder
from tracer.trace.tracing import Tracing

CIRCUITS = Path(__file__).parent.parent.parent / "circuits"
HIGHEST_V = {"off": 12.8, "acc": 12.8, "run": 12.8, "start": 11.5}  # of a 12 V battery: at rest, key on, cranking
SMALL_V = 1e-6
SETTINGS = tuple(itertools.product((NOMINAL, LOW, HIGH), repeat=3))


def _ends(tracing: Tracing, key: str, battery_v: float | None) -> tuple[float, float]:
    """Lowest and highest volts of any node in any setting, by both solvers."""
    model = model_of(tracing, key, Changes(battery_v=battery_v), limits=limits_of(tracing.circuit))
    together = Together([model])
    states = together.solve([(0, model.setting(*setting)) for setting in SETTINGS])
    found = [states.node_v(np.arange(len(SETTINGS)))]
    found += [model.solve(model.setting(*setting)).node_v[:, np.newaxis] for setting in SETTINGS[:3]]
    volts = np.concatenate(found, axis=1)
    return float(np.nanmin(volts)), float(np.nanmax(volts))


def _with_volts(vehicle: TypedVehicle, volts: float | None) -> TypedVehicle:
    """The same vehicle with the volts of its batteries typed in."""
    if volts is None:
        return vehicle
    parts = [
        [line.replace(": battery", f": {{is: battery, volts: {volts:g}}}") for line in sheet] for sheet in vehicle.parts
    ]
    return replace(vehicle, parts=parts)


@given(
    vehicle=typed_vehicles(),
    typed_v=st.sampled_from((None, 12, 12.6, 12.8, 13.2)),
    measured_v=st.sampled_from((None, 11.9, 12.3, 12.6)),
)
def test_no_node_of_a_generated_vehicle_reads_above_its_sources_or_below_ground(
    vehicle: TypedVehicle, typed_v: float | None, measured_v: float | None
) -> None:
    batteries = sum(line.endswith(": battery") for sheet in vehicle.parts for line in sheet)
    with tempfile.TemporaryDirectory() as folder:
        tracing = Tracing(join(read_folder(_with_volts(vehicle, typed_v).write(Path(folder)))))
    for key in vehicle.key:
        try:
            lowest, highest = _ends(tracing, key, measured_v)
        except NotSettled:
            continue  # no volts are given then, and the list says so
        battery_v = measured_v or HIGHEST_V.get(key, 12.8)
        # two batteries may stand one on the other, or one of them the wrong way round: that is typed, and the reason
        assert highest <= battery_v * batteries + SMALL_V
        if batteries == 1:
            assert lowest >= -SMALL_V


@pytest.mark.parametrize("battery_v", [None, 12.3])
@pytest.mark.parametrize("name", ["minibus", "unfinished"])
def test_no_node_of_a_demo_reads_above_its_sources_or_below_ground(name: str, battery_v: float | None) -> None:
    tracing = Tracing(tracer.load(str(CIRCUITS / name)))
    for key in tracing.circuit.typed.vehicle.key:
        lowest, highest = _ends(tracing, key, battery_v)
        assert highest <= (battery_v or HIGHEST_V[key]) + SMALL_V
        assert lowest >= -SMALL_V
