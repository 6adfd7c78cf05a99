"""Whole vehicles against ngspice (Debian package `ngspice`, tried with 39.3): every model in them, every node that does not float within 1 mV."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.drawn_vehicles import drawn_vehicle
from tests.electrics.spice import NGSPICE, netlist_of, volts_by_ngspice
from tests.electrics.vehicles import tracing_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import fitted
from tracer.electrics.model.of_circuit import model_of

pytestmark = pytest.mark.skipif(NGSPICE is None, reason="the program ngspice is not installed (apt install ngspice)")

THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
TOLERANCE_V = 1e-3


def drawn_model(folder: Path, seed: int) -> Model:
    sheet, held = drawn_vehicle(seed)
    tracing = tracing_of(folder, sheet)
    changes = changes_of(tracing.circuit, held=held)
    return fitted(model_of(tracing, "run", changes, limits=limits_of(tracing.circuit)))


def assert_as_ngspice_finds_it(folder: Path, model: Model) -> None:
    node_v = model.solve().node_v
    known = {int(n): float(node_v[n]) for n in np.flatnonzero(~np.isnan(node_v)) if n != model.reference}
    expected = volts_by_ngspice(folder, netlist_of(model), known)
    for node, volts in known.items():
        assert volts == pytest.approx(expected[node], abs=TOLERANCE_V), model.node_names[node]
    assert len(known) > 10


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 6))
def test_a_vehicle_with_every_model_in_it(seed: int, tmp_path: Path) -> None:
    assert_as_ngspice_finds_it(tmp_path, drawn_model(tmp_path, seed))
