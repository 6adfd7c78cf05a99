"""Whole vehicles against ngspice (Debian package `ngspice`, tried with 39.3): every model in them, every node that does not float within 1 mV."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.drawn_vehicles import drawn_vehicle, drawn_what_if
from tests.electrics.fitting import fitted
from tests.electrics.spice import NGSPICE, netlist_of, volts_by_ngspice
from tests.electrics.vehicles import tracing_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.in_many_settings import Together, alike
from tracer.electrics.volts.rows import nominal_in_order

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


def drawn_what_if_model(folder: Path, seed: int) -> Model:
    sheet, changed = drawn_what_if(seed)
    tracing = tracing_of(folder, sheet)
    changes = changes_of(tracing.circuit, **changed)  # type: ignore[arg-type]
    return fitted(model_of(tracing, "run", changes, limits=limits_of(tracing.circuit), first="MH"))


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 5))
def test_a_relay_held_by_a_lead_in_the_plug_and_a_short(seed: int, tmp_path: Path) -> None:
    model = drawn_what_if_model(tmp_path, seed)
    contact = next(one for one in model.branches if one.part == "KH" and one.kind == "contact of relay")
    assert contact.closed
    assert_as_ngspice_finds_it(tmp_path, model)


def test_every_model_is_in_some_vehicle(tmp_path: Path) -> None:
    """Of the vehicles drawn by default, not only of all sixty."""
    models = [drawn_model(tmp_path / str(seed), seed) for seed in range(6)]
    kinds = {branch.kind for model in models for branch in model.branches if branch.closed}
    assert {"generator", "battery", "converter", "diode", "contact of relay", "mating", "fuse", "strap"} <= kinds
    draws = {draw.kind for model in models for draw in model.draws}
    assert {"lamp", "power", "current"} == draws
    assert any(draw.converter for model in models for draw in model.draws)
    assert any(branch.ohms.basis.endswith("in order") for model in models for branch in model.branches), "none is bound"


BREAKS = {
    "ideality of the diodes": ("N=1.7", "N=1.5"),
    "volts of the generator": ("DC 14.2", "DC 14.25"),
    "efficiency": ("/0.88)", "/0.8)"),
    "lamps": ("exp(0.55*", "exp(0.5*"),
}


@pytest.mark.parametrize("what", BREAKS)
def test_the_comparison_notices_when_one_thing_differs(what: str, tmp_path: Path) -> None:
    typed, other = BREAKS[what]
    noticed = 0
    for seed in range(6):
        model = drawn_model(tmp_path / str(seed), seed)
        lines = netlist_of(model)
        if not any(typed in line for line in lines):
            continue
        node_v = model.solve().node_v
        known = {int(n): float(node_v[n]) for n in np.flatnonzero(~np.isnan(node_v)) if n != model.reference}
        expected = volts_by_ngspice(tmp_path, [line.replace(typed, other) for line in lines], known)
        noticed += any(abs(volts - expected[node]) > TOLERANCE_V for node, volts in known.items())
    assert noticed


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 4))
def test_what_the_rows_rest_on_is_the_same_state(seed: int, tmp_path: Path) -> None:
    """Solved at once for all key states, with what follows from their currents, as each by itself."""
    sheet, held = drawn_vehicle(seed)
    tracing = tracing_of(tmp_path, sheet)
    changes = changes_of(tracing.circuit, held=held)
    models = [model_of(tracing, key, changes, limits=limits_of(tracing.circuit)) for key in ("acc", "run")]
    for group in alike(models):
        _, nominal = nominal_in_order(Together([models[number] for number in group]), {})
        node_v = nominal.node_v(np.arange(len(group)))
        for place, number in enumerate(group):
            alone = fitted(models[number]).solve().node_v
            assert np.allclose(node_v[:, place], alone, rtol=0.0, atol=3e-4, equal_nan=True)
