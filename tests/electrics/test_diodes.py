"""A diode loses the more the more flows: n·kT/q·ln(I2/I1), by its law and not by one number for a meter and a lamp alike."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

import tracer
from tests.electrics.fitting import fitted
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.of_circuit import model_of
from tracer.standards.allowances import THERMAL_V, junctions

# M.1 behind one diode, M.3 behind a diode each from two fuses, M.4 behind a diode with nothing on it.
SHEET = """
parts:
  BAT: battery
  D1: diode
  D2: diode
  D3: diode
  D4: diode
  F1: {is: fuse, amps: 10, type: C}
  F2: {is: fuse, amps: 10, type: C}
  F3: {is: fuse, amps: 10, type: C}
  S1: splice
  M: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: supply, 4: supply}, draws: {1: 0, 3: AMPS, 4: 0}}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 1 1m -- D1.A
- D1.K -- RD 1 1m -- M.1
- BAT.+ -- RD 2.5 1m -- F2 -- RD 1 1m -- D2.A
- BAT.+ -- RD 2.5 1m -- F3 -- RD 1 1m -- D3.A
- D2.K -- RD 1 1m -- S1
- D3.K -- RD 1 1m -- S1
- S1 -- RD 1 1m -- M.3
- F1.load -- RD 1 1m -- D4.A
- D4.K -- RD 1 1m -- M.4
- M.2 -- BN 2.5 1m -- BAT.-
"""


def model(folder: Path, load: str = "", amps: float = 0.1) -> Model:
    tracing = tracing_of(folder, SHEET.replace("AMPS", f"{amps:g}"))
    wanted = changes_of(tracing.circuit, loads=(load,) if load else (), battery_v=12.6)
    return fitted(model_of(tracing, "run", wanted, limits=limits_of(tracing.circuit)))


def across(one: Model, name: str, at: int = NOMINAL) -> tuple[float, float]:
    """Volts across a diode, and amperes through it."""
    solved = one.solve(one.setting(at, at))
    number = next(n for n, branch in enumerate(one.branches) if branch.part == name)
    branch = one.branches[number]
    return float(solved.node_v[branch.a] - solved.node_v[branch.b]), float(solved.branch_a[number])


def test_the_law_is_that_of_a_silicon_junction() -> None:
    """kT/q at 27 °C is 25.86 mV (constants of the SI, 2019)."""
    assert pytest.approx(0.025865, abs=1e-5) == THERMAL_V
    for junction in junctions():
        assert junction.amps(junction.volts(0.3)) == pytest.approx(0.3)
        more_v = junction.volts(1.75) - junction.volts(1.2e-6)
        assert 0.45 <= more_v <= 0.74


@pytest.mark.parametrize("ohm", [2e6, 20e3, 800.0, 30.0, 6.0, 1.0])
@pytest.mark.parametrize("at", [LOW, NOMINAL, HIGH])
def test_one_diode_before_a_resistor_is_what_the_law_says(tmp_path: Path, ohm: float, at: int) -> None:
    one = model(tmp_path, f"M.1={ohm:.0f}ohm")
    lost_v, amps = across(one, "D1", at)
    junction, slope = junctions()[at], (0.01, 0.03, 0.06)[at]
    # at the ends by the tangent of the nominal current, which a resistor hardly changes
    assert lost_v == pytest.approx(junction.volts(amps) + slope * amps, abs=2e-4 if at == NOMINAL else 2e-3)
    # and the current by a search for the root, the wires as they are
    rest = (12.6 - lost_v) / amps
    root = brentq(lambda a: 12.6 - a * rest - junction.volts(a) - slope * a, 1e-9, 20.0)
    assert amps == pytest.approx(root, rel=2e-3)


def test_between_a_meter_and_a_lamp_it_loses_half_a_volt_more_and_between_two_lamps_next_to_nothing(
    tmp_path: Path,
) -> None:
    def lost(load: str) -> float:
        volts_lost, amps = across(model(tmp_path, load), "D1")
        return volts_lost - 0.03 * amps

    meter, five, twenty_one = lost("M.1=10000kohm"), lost("M.1=28.8ohm"), lost("M.1=6.86ohm")
    assert 0.45 < twenty_one - meter < 0.73
    assert 0.05 < twenty_one - five < 0.08


@pytest.mark.parametrize("amps", [0.002, 0.1, 3])
def test_two_diodes_from_like_sources_share_by_their_law(tmp_path: Path, amps: float) -> None:
    """Alike in everything, each takes half; with one number of volts for both, the hundredths of ohms of their wires decided."""
    one = model(tmp_path, amps=amps)
    (first_v, first_a), (second_v, second_a) = across(one, "D2"), across(one, "D3")
    assert first_a == pytest.approx(amps / 2, rel=1e-2) == second_a
    assert first_v == pytest.approx(junctions()[1].volts(amps / 2) + 0.03 * amps / 2, abs=5e-4)
    assert first_v == pytest.approx(second_v, abs=1e-4)


def test_a_pin_on_which_nothing_hangs_is_read_with_the_meter(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, SHEET.replace("AMPS", "0.1"))
    found = row(volts(tracing, "M"), "M.4")
    assert found.volts.nominal == pytest.approx(12.6 - junctions()[1].volts(12.4 / 10e6), abs=0.01)


def test_the_lamp_test_of_a_pin_behind_a_diode_counts_what_it_loses_more(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, SHEET.replace("AMPS", "0.1"))
    lamp = row(volts(tracing, "M", lamp_w=21.0), "M.1").lamp
    assert lamp is not None and lamp.meter_v is not None and lamp.lamp_v is not None
    assert lamp.meter_v - lamp.lamp_v > 0.55  # and what the wires lose
    assert 0.45 < lamp.diode_v < lamp.lost_v("supply") and not lamp.hidden("supply")
    bad = row(volts(tracing, "M", lamp_w=21.0, added=("M.1=2ohm",)), "M.1").lamp
    assert bad is not None and bad.hidden("supply"), "a bad joint behind a diode is still told"


def test_a_diode_blocks_backwards(tmp_path: Path) -> None:
    sheet = (
        SHEET.replace("AMPS", "0.1")
        .replace("BAT.+ -- RD 2.5 1m -- F1 --", "M.3 -- RD 1 1m -- F1 --")
        .replace("D1.A\n", "D1.K\n", 1)
    )
    tracing = tracing_of(tmp_path, sheet.replace("- D1.K -- RD 1 1m -- M.1", "- D1.A -- RD 1 1m -- M.1"))
    one = fitted(model_of(tracing, "run", limits=limits_of(tracing.circuit)))
    number = next(n for n, branch in enumerate(one.branches) if branch.part == "D1")
    assert not one.solve().branch_a[number] > 1e-6
    assert np.isnan(one.solve().node_v[tracing.circuit.pins_of["M"]["1"]])
    assert math.isfinite(one.solve().node_v[tracing.circuit.pins_of["M"]["3"]])


def test_what_a_diode_loses_is_no_remark_on_the_wiring(tmp_path: Path) -> None:
    """The limit of a way is for what is lost besides the diode."""
    tracing = tracing_of(tmp_path / "a", SHEET.replace("draws: {1: 0,", "draws: {1: 2,").replace("AMPS", "0.1"))
    assert "R232" not in {finding.code for finding in tracer.check(tracing).remarks if finding.at == "M.1"}
    long = SHEET.replace("draws: {1: 0,", "draws: {1: 2,").replace("D1.K -- RD 1 1m", "D1.K -- RD 0.5 9m")
    tracing = tracing_of(tmp_path / "b", long.replace("AMPS", "0.1"))
    assert "R232" in {finding.code for finding in tracer.check(tracing).remarks if finding.at == "M.1"}


@pytest.mark.parametrize(
    ("first", "second", "floats"),
    [
        ("D1.A", "D1.K", False),  # forwards: what hangs on it alone shows what is before it
        ("D1.K", "D1.A", True),  # the wrong way round: nothing comes through
    ],
)
def test_what_hangs_on_a_diode_alone_has_its_level_forwards_only(first: str, second: str, floats: bool, tmp_path: Path) -> None:  # fmt: skip
    sheet = (
        "parts:\n  BAT: battery\n  F1: {is: fuse, amps: 10, type: C}\n  D1: diode\n  M: {is: module, cavities: 1-2}\n"
        f"runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- {first}\n- {second} -- RD 1 1m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n"
    )
    tracing = tracing_of(tmp_path, sheet)
    one = fitted(
        model_of(tracing, "run", changes_of(tracing.circuit, battery_v=12.6), limits=limits_of(tracing.circuit))
    )
    volts_there = one.solve(one.setting(NOMINAL, NOMINAL)).node_v[tracing.circuit.pins_of["M"]["1"]]
    assert math.isnan(volts_there) is floats
    assert floats or volts_there == pytest.approx(12.6, abs=0.7)
