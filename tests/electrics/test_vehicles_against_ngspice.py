"""Whole vehicles against ngspice (Debian package `ngspice`, tried with 39.3): every model in them, every node that does not float within 1 mV."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.drawn_vehicles import drawn_vehicle, drawn_what_if, drawn_with_lin
from tests.electrics.fitting import fitted
from tests.electrics.spice import NGSPICE, netlist_of, volts_by_ngspice
from tests.electrics.vehicles import tracing_of
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import NOT_FITTED
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.described import FloatArray
from tracer.electrics.network.in_many_settings import Together, alike
from tracer.electrics.volts.rows import nominal_in_order

pytestmark = pytest.mark.skipif(NGSPICE is None, reason="the program ngspice is not installed (apt install ngspice)")

THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
TOLERANCE_V = 1e-3


def drawn_model(folder: Path, seed: int) -> Model:
    drawn = drawn_vehicle(seed)
    tracing = tracing_of(folder, drawn.sheet, drawn.vehicle)
    changes = changes_of(tracing.circuit, **drawn.changed)
    return fitted(model_of(tracing, "run", changes, limits=limits_of(tracing.circuit)))


def assert_as_ngspice_finds_it(folder: Path, model: Model) -> None:
    assert_rests(folder, model, model.solve().node_v)


def assert_rests(folder: Path, model: Model, node_v: FloatArray) -> None:
    """The model as ngspice finds it from there."""
    known = {int(n): float(node_v[n]) for n in np.flatnonzero(~np.isnan(node_v)) if n != model.reference}
    expected = volts_by_ngspice(folder, netlist_of(model), known)
    for node, volts in known.items():
        assert volts == pytest.approx(expected[node], abs=TOLERANCE_V), model.node_names[node]
    assert len(known) > 10


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 6))
def test_a_vehicle_with_every_model_in_it(seed: int, tmp_path: Path) -> None:
    assert_as_ngspice_finds_it(tmp_path, drawn_model(tmp_path, seed))


def drawn_what_if_model(folder: Path, seed: int) -> Model:
    drawn = drawn_what_if(seed)
    tracing = tracing_of(folder, drawn.sheet, drawn.vehicle)
    changes = changes_of(tracing.circuit, **drawn.changed)
    return fitted(model_of(tracing, "run", changes, limits=limits_of(tracing.circuit), first="MH"))


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 5))
def test_a_relay_held_by_a_lead_in_the_plug_and_a_short(seed: int, tmp_path: Path) -> None:
    model = drawn_what_if_model(tmp_path, seed)
    contact = next(one for one in model.branches if one.part == "KH" and one.kind == "contact of relay")
    assert contact.closed
    assert_as_ngspice_finds_it(tmp_path, model)


@pytest.mark.parametrize("seed", range(60 if THOROUGH else 6))
def test_a_lin_bus_in_the_vehicle(seed: int, tmp_path: Path) -> None:
    """Volts of the vehicle within 1 mV; and the line, with diodes, pull-ups and a transmitter as the standard lets them be, within the levels that `bus` gives."""
    drawn, count = drawn_with_lin(seed)
    tracing = tracing_of(tmp_path, drawn.sheet, drawn.vehicle)
    report = bus_of(tracing, "doors", limits=limits_of(tracing.circuit))
    assert report.complete
    levels = {one.state.split(" (")[0]: one for one in report.levels}
    report_v = drawn.changed["battery_v"]
    changes = changes_of(tracing.circuit, **drawn.changed)
    model = fitted(model_of(tracing, "run", changes, limits=limits_of(tracing.circuit)))
    node_v = model.solve().node_v
    known = {int(n): float(node_v[n]) for n in np.flatnonzero(~np.isnan(node_v)) if n != model.reference}
    chance = random.Random(seed)
    for state, driver_ohm in (("recessive", 1e9), ("dominant", chance.uniform(10, 40))):
        more = list(_transceivers(model, count, chance, driver_ohm))
        line = model.circuit.pins_of["L0"]["3"]
        plus_v = known[model.circuit.pins_of["L0"]["1"]]
        line_v = plus_v - 0.6 if state == "recessive" else 0.3
        near_v = {n: line_v for n in np.flatnonzero(np.isnan(node_v)).tolist()} | known
        more.append(".nodeset " + " ".join(f"v(t{n})={plus_v - 0.6:.2f}" for n in range(count)))
        expected = volts_by_ngspice(tmp_path, [*netlist_of(model), *more], near_v)
        for node, volts in known.items():
            assert volts == pytest.approx(expected[node], abs=15e-3), model.node_names[node]  # the bus draws a little
        low_v, high_v = levels[state].low_v, levels[state].high_v
        assert low_v is not None and high_v is not None
        # levels are against the ground of the module and for its supply at the plug as typed
        ground_v, at_plug_v = (expected[model.circuit.pins_of["L0"][pin]] for pin in ("2", "1"))
        share = (expected[line] - ground_v) / (at_plug_v - ground_v)
        assert low_v / report_v <= share <= high_v / report_v, state
    # without transceivers the line floats, which ngspice cannot say
    plain = volts_by_ngspice(tmp_path, [*netlist_of(model), f"RG n{model.circuit.pins_of['L0']['3']} 0 1e9"], known)
    for node, volts in known.items():
        assert volts == pytest.approx(plain[node], abs=TOLERANCE_V), model.node_names[node]


def _transceivers(model: Model, count: int, chance: random.Random, driver_ohm: float) -> Iterator[str]:
    """Each module with the diode before its transceiver, its pull-up (the commander 1 kΩ, the others 20 to 60 kΩ) and what leaks in; L0 drives."""
    for n in range(count):
        plus, minus, line = (model.circuit.pins_of[f"L{n}"][pin] for pin in ("1", "2", "3"))
        yield f".model DL{n} D(IS={10 ** chance.uniform(-14, -9):.3e} N={chance.uniform(1, 1.7):.3f})"
        yield f"DT{n} n{plus} t{n} DL{n}"
        ohm = chance.uniform(900, 1100) if n == 0 else chance.uniform(20e3, 60e3)
        yield f"RT{n} t{n} n{line} {ohm:.1f}"
        yield f"IT{n} n{line} n{minus} DC {chance.uniform(0, 20e-6):.3e}"
    yield f"RD0 n{model.circuit.pins_of['L0']['3']} n{model.circuit.pins_of['L0']['2']} {driver_ohm:.1f}"


def test_every_model_is_in_some_vehicle(tmp_path: Path) -> None:
    """Of the vehicles drawn by default, not only of all sixty."""
    models = [drawn_model(tmp_path / str(seed), seed) for seed in range(6)]
    kinds = {branch.kind for model in models for branch in model.branches if branch.closed}
    assert {"generator", "battery", "converter", "diode", "contact of relay", "mating", "fuse", "strap"} <= kinds
    assert {model.limits.system_v for model in models} == {12, 24}
    measured = [model for model in models if model.changes.battery_v is not None]
    assert any(branch.kind == "generator" for model in measured for branch in model.branches)
    shorted = [drawn_what_if_model(tmp_path / f"short {seed}", seed) for seed in range(5)]
    assert any(branch.kind == "short" for model in shorted for branch in model.branches)
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
    drawn = drawn_vehicle(seed)
    tracing = tracing_of(tmp_path, drawn.sheet, drawn.vehicle)
    changes = changes_of(tracing.circuit, **drawn.changed)
    models = [model_of(tracing, key, changes, limits=limits_of(tracing.circuit)) for key in ("acc", "run")]
    for group in alike(models):
        together, nominal = nominal_in_order(Together([models[number] for number in group]), {})
        node_v = nominal.node_v(np.arange(len(group)))
        for place, number in enumerate(group):
            alone, model = fitted(models[number]), together.models[place]
            if (
                NOT_FITTED in alone.undecided
            ):  # begun anew each time it jumps between two states, in each of which it could rest
                assert NOT_FITTED not in model.undecided
                assert_rests(tmp_path, model, node_v[:, place])
            else:
                assert np.allclose(node_v[:, place], alone.solve().node_v, rtol=0.0, atol=3e-4, equal_nan=True)
