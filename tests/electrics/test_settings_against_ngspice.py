"""Settings in which everything is at an end, or somewhere between, against ngspice: diodes by their law, contacts that lose no more than one in order, posts that read what was measured."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.drawn_vehicles import drawn_vehicle
from tests.electrics.spice import MOST_V, NGSPICE, NoAnswer, netlist_of, volts_by_ngspice
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, Sampled, Setting
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import NOT_FITTED
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.in_many_settings import States, Together
from tracer.electrics.volts.own_currents import at_rest
from tracer.electrics.volts.rows import nominal_in_order
from tracer.standards.allowances import junctions

with_ngspice = pytest.mark.skipif(NGSPICE is None, reason="the program ngspice is not installed (apt install ngspice)")
THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
TOLERANCE_V = 6e-3  # each element may be off by a third of one


def some_settings(model: Model, seed: int) -> list[Setting | Sampled]:
    chance = np.random.default_rng(seed)
    branches, draws = len(model.branches), len(model.draws)
    ends = [model.setting(*one) for one in ((LOW, HIGH, LOW), (HIGH, HIGH, HIGH), (HIGH, LOW, LOW))]
    between = Sampled(chance.random(branches), chance.random(branches), chance.random(draws), float(chance.random()))
    return [*ends, between]


def solved(folder: Path, seed: int) -> tuple[Model, list[Setting | Sampled], States]:
    drawn = drawn_vehicle(seed)
    tracing = tracing_of(folder, drawn.sheet, drawn.vehicle)
    changes = changes_of(tracing.circuit, **drawn.changed)
    model = model_of(tracing, "run", changes, limits=limits_of(tracing.circuit))
    together, nominal = nominal_in_order(Together([model]), {})
    settings = some_settings(model, seed)
    return together.models[0], settings, at_rest(together, [(0, one) for one in settings], nominal)


@with_ngspice
@pytest.mark.parametrize("seed", range(60 if THOROUGH else 8))
def test_every_setting_is_as_ngspice_finds_it(seed: int, tmp_path: Path) -> None:
    model, settings, states = solved(tmp_path, seed)
    if NOT_FITTED in model.undecided:
        pytest.skip("a vehicle of which is said that its figures are rough")
    to_posts = model.changes.battery_v is not None and any(one.kind == "generator" for one in model.branches)
    answered = 0
    for column, setting in enumerate(settings):
        node_v = states.node_v(np.array([column]))[:, 0]
        known = {int(n): float(node_v[n]) for n in np.flatnonzero(~np.isnan(node_v)) if n != model.reference}
        held = np.flatnonzero(model.contact_ohm).tolist()
        lines = netlist_of(model, setting, to_posts=to_posts, held=held)
        try:
            expected = volts_by_ngspice(tmp_path, lines, known)
        except NoAnswer:  # of the kinks in its laws it does not always get out
            continue
        answered += 1
        for node, found in known.items():
            assert found == pytest.approx(expected[node], abs=TOLERANCE_V), (column, model.node_names[node])
    assert answered >= 2


def test_each_of_them_matters_in_some_vehicle(tmp_path: Path) -> None:
    """In the vehicles drawn by default: contacts that are held, diodes far from their nominal current, measured posts."""
    held = far = measured = rough = 0
    for seed in range(8):
        model, settings, states = solved(tmp_path / str(seed), seed)
        for column in range(len(settings)):
            amps = np.abs(states.branch_a[:, column])
            held += bool(np.any(model.contact_ohm * amps > 1.05 * MOST_V))
            nominal_ohm = np.array([model._ohm[n] for n in model.live_diodes]).reshape(-1, 3)
            ohm = 1.0 / states.conductance_s[model.live_diodes, column]
            far += bool(np.any((ohm < 0.5 * nominal_ohm[:, 0]) | (ohm > 2 * nominal_ohm[:, 2])))
        measured += model.changes.battery_v is not None
        rough += NOT_FITTED in model.undecided
    assert held and far and measured and rough <= 2


# --- by hand ----------------------------------------------------------------------------------------------------------

DIODE = """
parts:
  BAT: battery
  F1: {is: fuse, amps: 10, type: C}
  D1: diode
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- D1.A
- D1.K -- RD 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
"""


def test_a_diode_whose_current_is_not_typed_in_is_judged_by_its_law_at_both_ends(tmp_path: Path) -> None:
    """From 5 mA to 3 A: by the tangent at 0.3 A a sound pin read above its range, and 0.3 V too much were in order."""
    found = row(volts(tracing_of(tmp_path, DIODE), "M"), "M.1")
    low, _, high = junctions()
    least_v, most_v = low.volts(0.005), high.volts(3) + 0.06 * 3
    assert found.volts.most == pytest.approx(12.6 - least_v, abs=0.005)
    (diode,) = (one for one in found.elements if one.name == "diode D1")
    assert diode.drop_v.most == pytest.approx(most_v, abs=0.005)
    assert diode.drop_v.least == pytest.approx(least_v, abs=0.005)


STRAP = """
parts:
  BAT: battery
  GEN: {is: generator, volts: 14, amps: 140}
  GB: ground
  GE: {is: ground, on: engine}
  W1: {is: strap, ohms: 0.0004, meets: {1: GB, 2: GE}}
  F1: {is: fuse, amps: 10, type: C}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.- -- BK 35 0.5m -- GB
- GEN.B+ -- RD 35 1m -- BAT.+
- GEN.B- -- BK 35 0.2m -- GE
- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1
- M.2 -- BN 1 1m -- GB
"""


def test_no_contact_in_order_loses_more_than_one_may_even_at_the_most_that_flows(tmp_path: Path) -> None:
    """An eyelet without a wire may have 3 mΩ: at the 50 A of a battery just after a start 0.15 V in each were in order."""
    found = volts(tracing_of(tmp_path, STRAP), "M", battery_v=None, held=("GEN",))
    contacts = [one for one in row(found, "M.2").elements if one.name.startswith(("eyelet", "bolted"))]
    assert contacts and max(one.current_a.most for one in contacts) > 45
    assert max(one.drop_v.most for one in contacts) < 1.02 * MOST_V


def test_volts_measured_at_the_posts_hold_in_every_setting(tmp_path: Path) -> None:
    """What charges the battery moved them by half a volt: a pin that lost as much was in its range."""
    found = volts(tracing_of(tmp_path, STRAP), "M", battery_v=14.2)
    assert (found.battery.low, found.battery.high) == pytest.approx((14.2, 14.2), abs=2e-3)
    pin = row(found, "M.1")
    assert pin.volts.low == pytest.approx(14.2 - pin.lost.high, abs=0.01)
    assert pin.volts.least == pytest.approx(14.2 - pin.lost.most, abs=0.01)
