"""Low and high of a row against every corner of what is uncertain, tried one by one; what may be said of a row by the volts of its source and by default values."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.fitting import fitted
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, Setting
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.described import FloatArray, IntArray
from tracer.electrics.network.in_many_settings import States, Together
from tracer.electrics.volts import extremes
from tracer.electrics.volts.expected import expectations
from tracer.report.volts import as_text
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

# A lamp and a module share the first wire; their own wires move the module's volts the other way round.
SHARED = """
parts:
  BAT: battery
  S1: splice
  E1: {is: load, watts: 120}
  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 2}}
runs:
- BAT.+ -- RD 1 -- S1 -- RD 1 2m -- M.1
- S1 -- RD -- E1 -- BN -- BAT.-
- M.2 -- BN 1 2m -- BAT.-
"""
# Two ways back, one of them shared with a lamp.
PARALLEL = """
parts:
  BAT: battery
  S1: splice
  E1: {is: load, watts: 60}
  M: {is: module, pins: {1: supply, 2: ground, 3: ground}, draws: {1: 3}}
runs:
- BAT.+ -- RD 1 1m -- M.1
- BAT.+ -- RD 1 1m -- E1 -- BN 1 1m -- S1
- M.2 -- BN 1 1m -- S1
- M.3 -- BN -- BAT.-
- S1 -- BN 1 2m -- BAT.-
"""


# The output of a converter has ends of its own.
OUTPUT = """
parts:
  BAT: battery
  CV: {is: converter, volts: 14}
  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 2}}
runs:
- BAT.+ -- RD 1 1m -- CV.in
- CV.out -- RD 1 1m -- M.1
- CV.ground -- BN 1 1m -- BAT.-
- M.2 -- BN 1 1m -- BAT.-
"""


def corners(tracing: Tracing) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Volts of every node (columns, as the circuit numbers them) in every combination of ends (rows)."""
    model = fitted(model_of(tracing, "run", limits=limits_of(tracing.circuit)))
    branches = [n for n, one in enumerate(model.branches) if one.ohms.low != one.ohms.high]
    pushes = [n for n, one in enumerate(model.branches) if one.kind == "converter"]
    draws = [n for n, one in enumerate(model.draws) if one.amounts[LOW] != one.amounts[HIGH]]
    several = len(branches), len(branches) + len(pushes), len(branches) + len(pushes) + len(draws)
    assert several[-1] <= 10  # few enough to try them all
    found = []
    for ends in itertools.product((LOW, HIGH), repeat=several[-1] + 1):
        chosen, pushed = np.ones((2, len(model.branches)), dtype=np.intp)
        chosen[branches] = ends[: several[0]]
        pushed[pushes] = ends[several[0] : several[1]]
        drawn = np.ones(len(model.draws), dtype=np.intp)
        drawn[draws] = ends[several[1] : several[2]]
        found.append(model.solve(Setting(chosen, drawn, ends[-1], pushed)).node_v)
    return np.array(found)


@pytest.mark.parametrize(
    ("sheet", "vehicle"),
    [(SHARED, ""), (PARALLEL, ""), (OUTPUT, "system: 24 V\n")],
    ids=["shared supply", "parallel grounds", "converter"],
)
def test_low_and_high_are_the_ends_over_all_corners(tmp_path: Path, sheet: str, vehicle: str) -> None:
    tracing = tracing_of(tmp_path, sheet, vehicle)
    report = volts(tracing, "M", battery_v=None)
    supply, ground = row(report, "M.1"), row(report, "M.2")
    assert supply.across is not None
    tried, names = corners(tracing), tracing.circuit.node_names
    plus, pin, back = (tried[:, names.index(name)] for name in (supply.elements[0].from_point, "M.1", "M.2"))
    for found, expected in (
        (supply.volts, pin),
        (ground.volts, back),
        (supply.lost, plus - pin),
        (supply.across, pin - back),
    ):
        assert found.least == pytest.approx(float(expected.min()), abs=1e-6)
        assert found.most == pytest.approx(float(expected.max()), abs=1e-6)


# --- limits by the source, and what default values allow one to say ----------------------------------------------------

CONVERTER = """
parts:
  BAT: {is: battery, at: x}
  F1: {is: fuse, amps: 10, type: C, at: x}
  F2: {is: fuse, amps: 5, type: C, at: x}
  CV: {is: converter, volts: 12, at: x}
  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 2}}
  G1: {is: ground, at: x}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 2.5 1m -- CV.in
- CV.out -- RD 1 1m -- F2 -- RD 1 2m -- M.1
- CV.ground -- BN 1 1m -- G1
- M.2 -- BN 1 1m -- G1
- G1 -- BK 25 1m -- BAT.-
"""


def test_behind_a_converter_the_way_begins_at_its_output_and_has_the_limit_of_12_v(tmp_path: Path) -> None:
    """By hand: 3 m of 1 mm² at 18.5 mΩ/m (ISO 6722), a 5 A element of 17.85 mΩ with clips of 1 mΩ, four crimps of 0.4 mΩ; about 2 A."""
    found = row(volts(tracing_of(tmp_path, CONVERTER, "system: 24 V\n"), "M", battery_v=24.8), "M.1")
    assert found.elements[0].from_point == "CV.out"
    assert found.lost.nominal == pytest.approx(2 * (3 * 0.0185 + 0.01785 + 0.001 + 4 * 0.0004), rel=0.03)
    assert found.limit.high == 0.5


def test_the_12_v_tap_of_a_24_v_vehicle_has_the_limit_of_12_v(tmp_path: Path) -> None:
    sheet = """
parts:
  B1: battery
  B2: battery
  M: {is: module, pins: {1: supply, 2: ground, 3: supply}, draws: {1: 1, 3: 1}}
runs:
- B1.+ -- RD 50 0.4m -- B2.-
- B2.+ -- RD 1 2m -- M.3
- B1.+ -- RD 1 2m -- M.1
- M.2 -- BN 1 1m -- B1.-
"""
    report = volts(tracing_of(tmp_path, sheet, "system: 24 V\n"), "M", battery_v=25.0)
    assert row(report, "M.1").limit.high == 0.5
    assert row(report, "M.3").limit.high == 1.0


def test_default_lengths_never_say_that_a_drop_is_in_order(tmp_path: Path) -> None:
    sheet = "parts:\n  BAT: battery\n  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 20}}\nruns:\n- BAT.+ -- RD -- M.1\n- M.2 -- BN 4 1m -- BAT.-\n"
    verdicts = row(volts(tracing_of(tmp_path, sheet), "M"), "M.1").verdicts
    assert any("cannot tell a good wire from a bad one" in one for one in verdicts)
    assert not any("with what was typed in" in one or "good wire would be failed" in one for one in verdicts)


def test_a_diode_on_the_way_is_named_where_the_limit_would_fail_a_good_circuit(tmp_path: Path) -> None:
    sheet = (
        "parts:\n  BAT: battery\n  D1: diode\n  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 0.1}}\n"
        "runs:\n- BAT.+ -- RD 1 1m -- D1.A\n- D1.K -- RD 1 1m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n"
    )
    (verdict,) = row(volts(tracing_of(tmp_path, sheet), "M"), "M.1").verdicts
    assert "most of it in diode D1" in verdict and "the limit would fail a good circuit" in verdict


@pytest.mark.parametrize(
    ("typed", "ohm", "words"),
    [("2mohm", 0.002, "0.002 Ω"), ("2Mohm", 2e6, "2 MΩ"), ("2 mΩ", 0.002, "0.002 Ω"), ("2.2kohm", 2200, "2.2 kΩ")],
)
def test_thousandths_and_millions_of_an_ohm_are_told_apart(tmp_path: Path, typed: str, ohm: float, words: str) -> None:
    from tracer.electrics.model.changes import changes_of

    changes = changes_of(tracing_of(tmp_path, SHARED).circuit, added=[f"M.1={typed}"])
    assert changes.added[0].ohm == pytest.approx(ohm)
    assert changes.words == (f"{words} in series at M.1",)


# --- a test load is no fault -------------------------------------------------------------------------------------------

ONE = "parts:\n  BAT: battery\n  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 0.1}}\nruns:\n- BAT.+ -- RD 1 5m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n"


def test_a_lamp_on_sound_wiring_is_judged_by_what_it_must_lose_and_not_as_a_fault(tmp_path: Path) -> None:
    """21 W on 5 m of 1 mm² (18.5 mΩ/m, one crimp at each end): 1.7 A, about 0.16 V; one joint of 0.5 Ω more is seen against the same lamp."""
    tracing = tracing_of(tmp_path, ONE)
    sound = row(volts(tracing, "M", unplugged=["M"], loads=["S1=21W"]), "M.1")
    assert sound.in_order_v is None
    assert sound.lost.nominal == pytest.approx(1.75 * (5 * 0.0185 + 0.0008), rel=0.05)
    assert sound.verdicts[0].startswith("above ")
    bad = row(volts(tracing, "M", unplugged=["M"], loads=["S1=21W"], added=["M.1=0.5ohm"]), "M.1")
    assert bad.in_order_v == pytest.approx(sound.volts.nominal, abs=1e-6)
    assert "the drop shows it" in bad.verdicts[0]


def test_no_lamp_is_hung_on_a_signal_even_where_ground_is_traced_to_it(tmp_path: Path) -> None:
    sheet = ONE.replace("2: ground}", "2: ground, 3: signal level}") + "- M.3 -- BN 0.5 1m -- BAT.-\n"
    report = volts(tracing_of(tmp_path, sheet), "M")
    found = row(report, "M.3").lamp
    assert found is not None and found.lamp.watts is None and found.lamp_v is None
    assert "no lamp on this pin" in as_text(report)
    sound = row(report, "M.1").lamp
    assert sound is not None and sound.lamp.watts and sound.lamp_v is not None


def test_a_long_way_is_looked_into_a_bounded_number_of_points_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ohms that a meter sees at 60 points of one way, all at once and a few at a time: the same, with arrays that do not grow with the square of the way."""
    splices = 60
    runs = ["BAT.+ -- RD 6 1m -- S0", f"S{splices - 1} -- RD 6 1m -- M.1", "M.2 -- BN 1 1m -- BAT.-"]
    runs += [f"S{number} -- RD 6 1m -- S{number + 1}" for number in range(splices - 1)]
    parts = "".join(f"  S{number}: splice\n" for number in range(splices))
    parts += "  BAT: battery\n  M: {is: module, pins: {1: supply, 2: ground}, draws: {1: 1}}\n"
    tracing = tracing_of(tmp_path, f"parts:\n{parts}runs:\n" + "".join(f"- {run}\n" for run in runs))
    report, limits = supplies_of(tracing, "M"), limits_of(tracing.circuit)
    at_once = expectations(tracing, report, limits=limits)
    sizes, answers = [], Together.answers

    def counted(
        self: Together, states: States, columns: IntArray, pushed_a: FloatArray, *, slopes: bool = False
    ) -> FloatArray:
        sizes.append(pushed_a.size)
        return answers(self, states, columns, pushed_a, slopes=slopes)

    monkeypatch.setattr(extremes, "_CELLS", 1_000)
    monkeypatch.setattr(Together, "answers", counted)
    in_parts = expectations(tracing, report, limits=limits)
    assert in_parts == at_once
    assert len(sizes) > 5 and max(sizes) <= 2_000  # what is moved to its ends is another, for each row one
