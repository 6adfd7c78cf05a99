"""What a converter takes in is what it gives out, by its efficiency."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.volts.values import VoltsReport
from tracer.standards.allowances import conversion

CONVERTER = """
parts:
  BAT: battery
  CV: {is: converter, volts: 12}
  F1: {is: fuse, amps: 10}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 2}}
runs:
- BAT.+ -- RD 4 1m -- F1 -- RD 2.5 1m -- CV.in
- CV.out -- BU 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
- CV.ground -- BN 2.5 1m -- BAT.-
"""


def found(folder: Path, amps: float, **more: object) -> VoltsReport:
    sheet = CONVERTER.replace("draws: {1: 2}", f"draws: {{1: {amps:g}}}")
    return volts(tracing_of(folder, sheet, "system: 24 V\n"), "M", battery_v=25.2, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("amps", [0.1, 2, 8])
def test_power_in_is_power_out_by_the_efficiency(tmp_path: Path, amps: float) -> None:
    report = found(tmp_path, amps)
    out, inside = row(report, "M.1"), row(report, "CV.in")
    assert not inside.not_computed
    share, idle = conversion("efficiency"), conversion("idle")
    volts_out = out.volts.nominal
    taken_w = inside.current_a.nominal * (inside.volts.nominal - row(report, "CV.ground").volts.nominal)
    # at the pin a little less than at the output: the wire between them loses some
    assert taken_w == pytest.approx(volts_out * amps / share.nominal + idle.nominal, rel=0.03)
    assert inside.current_a.low < volts_out * amps / share.high / 25.2 * 1.02
    assert inside.current_a.high > volts_out * amps / share.low / 25.2 * 0.98


def test_good_wiring_is_not_condemned_and_what_it_rests_on_is_said(tmp_path: Path) -> None:
    """With a default current of 0.5 A at the input 52 mV were the most in order where 8 A at the output make 130 mV."""
    report = found(tmp_path, 8)
    inside = row(report, "CV.in")
    assert inside.lost.nominal > 0.08
    assert inside.lost.low < inside.lost.nominal < inside.lost.high < 0.4
    assert any("converter CV" in note and "80" in note and "95" in note for note in report.notes)


def test_a_bad_joint_before_the_converter_makes_it_take_more(tmp_path: Path) -> None:
    sound, bad = found(tmp_path / "a", 8), found(tmp_path / "b", 8, added=("CV.in=0.5ohm",))
    assert row(bad, "CV.in").current_a.nominal > 1.05 * row(sound, "CV.in").current_a.nominal
    assert row(bad, "M.1").volts.nominal == pytest.approx(row(sound, "M.1").volts.nominal, abs=0.05)


def test_a_converter_whose_output_is_open_takes_what_it_takes_idle(tmp_path: Path) -> None:
    report = found(tmp_path, 8, opened=("M.1",))
    assert 0.0 < row(report, "CV.in").current_a.nominal < 0.05


@pytest.mark.parametrize(
    ("facts", "said"),
    [("{is: converter}", "its output voltage is not typed in"), ("{is: converter, volts: 12, return: unknown}", "is not known")],
)  # fmt: skip
def test_a_converter_of_which_nobody_knows_enough_is_left_out_and_what_it_feeds_is_not_computed(facts: str, said: str, tmp_path: Path) -> None:  # fmt: skip
    sheet = CONVERTER.replace("{is: converter, volts: 12}", facts)
    report = volts(tracing_of(tmp_path, sheet, "system: 24 V\n"), "M", battery_v=25.2)
    assert any("converter CV" in note and said in note and "left out" in note for note in report.notes)
    for point in ("M.1", "M.2"):  # expected at 0 V, a dead pin would have passed as in order
        assert "converter CV" in row(report, point).not_computed
    assert not row(report, "CV.in").not_computed
