"""A relay that its own module holds can be pulled in from the plug: the load at the coil pin works it, and the pin behind its contact gets a figure."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.values import VoltsReport
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parents[2] / "circuits" / "minibus"

# M holds K1 by pin 3, and is fed over its contact at pin 1. With pin 4 it holds K2.
SHEET = """
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 20}
  K1: {is: relay, kind: normally open}
  K2: {is: relay, kind: normally open}
  M:
    is: module
    cavities: 1-6
    pins: {1: supply, 2: ground, 3: output, 4: output, 5: supply, 6: supply}
    draws: {1: 1}
    outputs: {3: {drives: low, through: [2], when: unknown}, 4: {drives: low, through: [2], when: unknown}}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 1 1m -- K1.86
- K1.85 -- BN 0.5 2m -- M.3
- BAT.+ -- RD 2.5 1m -- F2 -- RD 2.5 1m -- K1.30
- K1.87 -- RD 2.5 2m -- M.1
- F1.load -- RD 1 1m -- K2.86
- K2.85 -- BN 0.5 2m -- M.4
- F2.load -- RD 1 1m -- K2.30
- K2.87 -- RD 1 1m -- M.6
- F1.load -- RD 1 1m -- M.5
- M.2 -- BN 2.5 1m -- BAT.-
"""


def found(folder: Path, *loads: str, **more: object) -> VoltsReport:
    tracing = tracing_of(folder, SHEET)
    return volts(tracing, "M", unplugged=("M",), loads=loads, **more)  # type: ignore[arg-type]


def test_the_pin_behind_its_contact_gets_a_figure(tmp_path: Path) -> None:
    without = row(found(tmp_path / "a", "M.1=5W"), "M.1")
    assert without.state != "live"
    report = found(tmp_path / "b", "M.3=21W", "M.1=5W")
    pin = row(report, "M.1")
    assert pin.state == "live" and not pin.why
    assert "contact of relay K1" in [one.name for one in pin.elements]
    assert pin.current_a.nominal == pytest.approx(5 / 12, rel=0.05) and pin.volts.nominal > 12.3
    assert any("across the coil of K1" in note and "it pulls in" in note for note in report.notes)
    assert row(report, "M.6").state != "live"


def test_a_bad_joint_behind_the_contact_is_then_seen(tmp_path: Path) -> None:
    sound = row(found(tmp_path / "a", "M.3=21W", "M.1=21W"), "M.1")
    bad = row(found(tmp_path / "b", "M.3=21W", "M.1=21W", added=("K1=1ohm",)), "M.1")
    assert bad.lost.nominal > sound.lost.high + 0.5


@pytest.mark.parametrize(("ohm", "pulls", "undecided"), [(5, True, False), (60, False, True), (300, False, False)])
def test_only_enough_volts_across_the_coil_pull_it_in(tmp_path: Path, ohm: float, pulls: bool, undecided: bool) -> None:
    """A coil of 85 Ω with a load of 5, 60 and 300 Ω on it has 11.9, 7.4 and 2.8 V of 12.6 V."""
    report = found(tmp_path, f"M.4={ohm:g}ohm")
    assert (row(report, "M.6").state == "live") is pulls
    assert any("whether K2 pulls in" in one for one in report.undecided) is undecided


def test_a_load_beside_no_coil_pulls_nothing(tmp_path: Path) -> None:
    report = found(tmp_path, "M.5=21W")
    assert not any("pulls in" in note for note in (*report.notes, *report.undecided))


def test_a_coil_whose_feed_is_out_is_not_pulled_in(tmp_path: Path) -> None:
    report = found(tmp_path, "M.3=21W", "M.1=5W", opened=("F1",))
    assert row(report, "M.1").state != "live"


def test_the_demo_from_its_plug() -> None:
    tracing = Tracing(tracer.load(str(DEMO)))
    report = volts(tracing, "ALM", "off", 12.6, unplugged=("ALM",), loads=("ALM.11=21W", "ALM.2=5W"))
    pin = row(report, "ALM.2")
    assert pin.state == "live" and pin.current_a.nominal > 0.4
    assert "contact of relay KAL" in [one.name for one in pin.elements]


def test_a_lead_pulls_in_the_relay_over_which_alone_its_module_is_fed(tmp_path: Path) -> None:
    """The lead needs no module that is alive."""
    sheet = SHEET.replace("5: supply, 6: supply}", "5: signal, 6: signal}")
    tracing = tracing_of(tmp_path, sheet)
    for pulled in ((), ("M.3",)):
        changes = changes_of(tracing.circuit, unplugged=("M",), pulled=pulled)
        model = model_of(tracing, "run", changes, limits=limits_of(tracing.circuit), first="M")
        contacts = {branch.part: branch.closed for branch in model.branches if branch.kind == "contact of relay"}
        assert contacts == {"K1": bool(pulled), "K2": False}


def test_a_test_load_takes_away_the_reasons_of_the_rows_behind_its_relay_only() -> None:
    tracing = Tracing(tracer.load(str(DEMO)))
    plain = tracer.volts(tracing, "ALM", "off", held=["asleep=no"], unplugged=["ALM"])
    loaded = tracer.volts(
        tracing, "ALM", "off", held=["asleep=no"], unplugged=["ALM"], loads=["ALM.11=21W", "ALM.2=5W"]
    )
    assert row(plain, "ALM.2").why and not row(loaded, "ALM.2").why
    assert row(plain, "ALM.9").why == row(loaded, "ALM.9").why != ()


def test_what_did_not_settle_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    tracing = Tracing(tracer.load(str(DEMO)))
    assert not any("still moved" in one for one in tracer.volts(tracing, "ALM", "start").undecided)
    monkeypatch.setattr("tracer.electrics.volts.rows.TURNS", 1)
    assert any("still moved" in one for one in tracer.volts(tracing, "ALM", "start").undecided)
