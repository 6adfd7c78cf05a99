"""With the engine running the generator feeds, regulated at its own stud; the battery is charged, and what flows goes back to the engine."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import tracer
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.volts.values import VoltsReport
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"

# 40 A of lamps on the body. M is grounded on the body, the generator on the engine, a strap joins the two.
VEHICLE = """
parts:
  BAT: battery
  GEN: {is: generator, volts: 14, amps: MOST}
  GB: ground
  GE: {is: ground, on: engine}
  W1: {is: strap, ohms: 0.002}
  F1: {is: fuse, amps: 10, type: C}
  F2: {is: fuse, amps: 60}
  E1: {is: load, amps: 40, behaves: current}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.- -- BK 35 0.5m -- GB
- W1.1 -- BK 35 0.2m -- GB
- W1.2 -- BK 35 0.2m -- GE
- GEN.B+ -- RD 35 1m -- BAT.+
- GEN.B- -- BK 35 0.2m -- GE
- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1
- BAT.+ -- RD 10 1m -- F2 -- RD 10 1m -- E1 -- BN 10 1m -- GB
- M.2 -- BN 1 1m -- GB
"""
MINUS = "- GEN.B- -- BK 35 0.2m -- GE\n"


def found(folder: Path, *, most: str = "140", sheet: str = VEHICLE, **more: object) -> VoltsReport:
    tracing = tracing_of(folder, sheet.replace("MOST", most))
    return volts(tracing, "M", **{"battery_v": None, "held": ("GEN",), **more})  # type: ignore[arg-type]


def test_a_ground_on_the_body_reads_below_battery_negative_only_by_the_charging_current(tmp_path: Path) -> None:
    """What the loads take goes from the body to the engine and does not pass battery negative: there flows what charges the battery, the other way round."""
    report = found(tmp_path)
    ground = row(report, "M.2")
    assert not any(one.not_computed for one in report.rows)
    # 8 A charge the battery: they flow from battery negative to the body, so the body is below it
    assert ground.volts.nominal < 0.0185 + 0.002  # not 49 A over the cable, as with the engine standing
    assert ground.lost.nominal > 49 * 0.002  # up to the minus of the generator: over the strap
    assert [one.name for one in ground.elements if "W1" in one.name] == ["strap W1"]
    assert ground.elements[-1].current_a.nominal == pytest.approx(49, abs=0.5)
    supply = row(report, "M.1")
    assert supply.closes_mv == pytest.approx(0.0, abs=1e-3)
    assert 13.5 < supply.volts.nominal < 14.2


def test_the_charging_current_pulls_a_ground_below_battery_negative(tmp_path: Path) -> None:
    sheet = VEHICLE.replace("- BAT.- -- BK 35 0.5m -- GB\n", "- BAT.- -- BK 10 3m -- GB\n").replace(
        "draws: {1: 1}", "draws: {1: 0.1}"
    )
    ground = row(found(tmp_path, sheet=sheet), "M.2")
    assert ground.volts.nominal == pytest.approx(-8 * (3 * 0.00182) + 0.1 * 0.0185, abs=0.012)
    assert ground.volts.low < -50 * 3 * 0.0016  # just after a start
    assert ground.lost.nominal > 0


@pytest.mark.parametrize("measured_v", [13.6, 14.2, 14.7])
def test_volts_measured_at_the_posts_are_what_the_posts_read(tmp_path: Path, measured_v: float) -> None:
    report = found(tmp_path, battery_v=measured_v, held=())
    assert report.battery.nominal == pytest.approx(measured_v, abs=1e-5)
    assert "charging" in report.battery_state and not any(one.not_computed for one in report.rows)
    supply = row(report, "M.1")
    assert supply.elements[0].from_point == "BAT.+"
    assert supply.volts.nominal == pytest.approx(measured_v - supply.lost.nominal, abs=1e-4)


def test_with_the_engine_standing_all_of_it_leaves_the_battery(tmp_path: Path) -> None:
    for battery_v, held in ((12.6, ()), (14.2, ("GEN=no",))):
        report = found(tmp_path, battery_v=battery_v, held=held)
        ground = row(report, "M.2")
        if battery_v < 13:
            assert ground.volts.nominal > 41 * 0.0005 * 0.5 and ground.elements[-1].to_point == "BAT.-"
        else:
            assert ground.not_computed and not row(report, "M.1").not_computed


def test_a_generator_whose_minus_is_in_no_run_sits_on_the_engine_and_that_is_said(tmp_path: Path) -> None:
    with_wire, without = found(tmp_path / "a"), found(tmp_path / "b", sheet=VEHICLE.replace(MINUS, ""))
    assert row(without, "M.2").lost.nominal == pytest.approx(row(with_wire, "M.2").lost.nominal, abs=0.01)
    assert any("minus of GEN" in one and "mass of the engine" in one for one in without.undecided)


def test_a_generator_that_cannot_give_so_much_regulates_nothing(tmp_path: Path) -> None:
    assert not any(one.not_computed for one in found(tmp_path / "a", most="50").rows)
    for one in found(tmp_path / "b", most="45").rows:
        assert "generator GEN would have to give 49 A and gives 45 A at most" in one.not_computed


def test_charged_by_nothing_that_is_typed_in_no_ground_is_computed(tmp_path: Path) -> None:
    sheet = VEHICLE.replace("  GEN: {is: generator, volts: 14, amps: MOST}\n", "").replace(MINUS, "")
    report = found(tmp_path, sheet=sheet.replace("- GEN.B+ -- RD 35 1m -- BAT.+\n", ""), battery_v=14.2, held=())
    assert row(report, "M.2").not_computed and not row(report, "M.1").not_computed
    assert row(report, "M.1").across is None


def test_the_demo_with_its_generator_turning() -> None:
    tracing = Tracing(tracer.load(str(DEMO)))
    report = volts(tracing, "ALM", battery_v=None, held=("GEN",))
    assert not any(one.not_computed for one in report.rows)
    left_over = [one.closes_mv for one in report.rows if one.closes_mv is not None]
    assert left_over and np.max(np.abs(left_over)) < 1e-3
