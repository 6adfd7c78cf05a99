"""Computed voltages of small vehicles against sums done by hand, and of the demo against its own laws."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import tracer
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL, Setting
from tracer.electrics.model.changes import BadChange, changes_of
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.model.rest import Rest
from tracer.electrics.model.sources import share_of_system
from tracer.electrics.network.described import FloatArray, NotAccurate
from tracer.electrics.volts.expected import expectations
from tracer.electrics.volts.likely import band
from tracer.electrics.volts.of_module import volts_of
from tracer.electrics.volts.rows import solved_rows
from tracer.electrics.volts.values import Range
from tracer.entry.overrides import read_shop
from tracer.entry.problems import CannotUse
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"

# Battery - fuse - module - battery, 5 A. Wires of 2.5 mm² have 7.60 mΩ/m at most (ISO 6722).
PLAIN = """
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10, type: C}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 5}}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 2.5 4m -- M.1
- M.2 -- BN 2.5 2m -- BAT.-
"""
# A crimp on 2.5 mm² is made for 30 A and loses 5 mV there (1 mV at least, 30 mV at most); clips and the cold element of 10 A.
CRIMP, CLIPS, FUSE = 0.005 / 30, 0.001, 0.0077


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(str(DEMO)))


def test_a_series_circuit_is_what_ohms_law_says(tmp_path: Path) -> None:
    report = volts(tracing_of(tmp_path, PLAIN), "M")
    supply, ground = row(report, "M.1"), row(report, "M.2")
    lost = 5 * (5 * 0.0076 + 4 * CRIMP + CLIPS + FUSE)
    back = 5 * (2 * 0.0076 + 2 * CRIMP)
    assert supply.lost.nominal == pytest.approx(lost, abs=1e-6)
    assert ground.volts.nominal == pytest.approx(back, abs=1e-6)
    assert supply.across is not None
    assert supply.across.nominal == pytest.approx(12.6 - lost - back, abs=1e-4)
    assert supply.current_a.nominal == pytest.approx(5.0, abs=1e-6)
    assert supply.copper_v == pytest.approx(5 * 5 * 0.0076, abs=1e-6)
    assert supply.closes_mv == pytest.approx(0.0, abs=1e-3)
    assert [element.name for element in supply.elements] == ["wire RD 2.5 1m", "fuse F1", "wire RD 2.5 4m"]


def test_the_band_a_known_wire_is_that_of_its_temperature_and_joints(tmp_path: Path) -> None:
    wire = row(volts(tracing_of(tmp_path, PLAIN), "M"), "M.1").elements[2]
    cold = 0.017241 / 2.5 * 4 * (1 + 0.00393 * -20) + 2 * 0.001 / 30
    warm = 0.0076 * 4 * (1 + 0.00393 * 85) + 2 * 0.03 / 30
    assert wire.ohm.low == pytest.approx(cold, rel=1e-6)
    assert wire.ohm.high == pytest.approx(warm, rel=1e-6)
    assert wire.assumed == ""


@pytest.mark.parametrize(("said", "warmest_c"), [("", 105), ("warmest: 60\n", 60), ("warmest: 85 C\n", 85)])
def test_the_warm_end_is_that_of_an_engine_bay_or_what_the_vehicle_says(
    tmp_path: Path, said: str, warmest_c: float
) -> None:
    wire = row(volts(tracing_of(tmp_path, PLAIN, said), "M"), "M.1").elements[2]
    assert wire.ohm.high == pytest.approx(0.0076 * 4 * (1 + 0.00393 * (warmest_c - 20)) + 2 * 0.03 / 30, rel=1e-6)


def test_a_gauge_and_a_size_in_mm2_mean_the_same(tmp_path: Path) -> None:
    """2.08 mm² is 14 AWG: nominal is the most that stranded wire has at 20 °C, high the same when warm, low solid copper in the cold."""
    gauge, metric = (
        row(volts(tracing_of(tmp_path / name, PLAIN.replace("RD 2.5 4m", f"RD {size} 4m")), "M"), "M.1").elements[2]
        for name, size in (("a", "14AWG"), ("b", "2.08"))
    )
    crimps = 2 * 0.005 / 20  # both are made for 20 A
    assert (gauge.ohm.nominal - crimps) / (metric.ohm.nominal - crimps) == pytest.approx(1.05, abs=0.06)
    assert (gauge.ohm.high - 2 * 0.03 / 20) / (gauge.ohm.nominal - crimps) == pytest.approx(1 + 0.00393 * 85, rel=1e-6)
    assert gauge.ohm.low == pytest.approx(metric.ohm.low, rel=1e-3)


def test_unknown_length_and_size_give_a_wide_range_and_say_so(tmp_path: Path) -> None:
    known = row(volts(tracing_of(tmp_path / "a", PLAIN), "M"), "M.1")
    unknown = row(volts(tracing_of(tmp_path / "b", PLAIN.replace("RD 2.5 4m", "RD")), "M"), "M.1")
    said = "size (0.5 to 2.5 mm² taken) and length (0.3 to 5 m taken)"
    assert any(said in text for text in unknown.assumed)
    assert not known.assumed
    assert unknown.lost.high - unknown.lost.low > 5 * (known.lost.high - known.lost.low)


def test_copper_alone_above_the_limit_is_said_beforehand(tmp_path: Path) -> None:
    """3 m of 1.0 mm² at 5 A lose 0.28 V when perfect, above 0.2 V for one wire (18.5 mΩ/m, ISO 6722)."""
    supply = row(volts(tracing_of(tmp_path, PLAIN.replace("RD 2.5 4m", "RD 1 3m")), "M"), "M.1")
    wire = supply.elements[2]
    assert wire.copper_v == pytest.approx(5 * 3 * 0.0185, abs=1e-6)
    assert wire.over
    assert any("alone loses" in text and "0.20 V" in text for text in supply.verdicts)
    long = row(volts(tracing_of(tmp_path / "long", PLAIN.replace("RD 2.5 4m", "RD 1 9m")), "M"), "M.1")
    assert any("a good wire would be failed" in text for text in long.verdicts)


def test_a_short_wire_has_a_lower_mark_than_the_limit(tmp_path: Path) -> None:
    supply = row(volts(tracing_of(tmp_path, PLAIN.replace("draws: {1: 5}", "draws: {1: 1}")), "M"), "M.1")
    assert any(
        "more resistance than the wiring explains, although the limit passes 0.50 V" in text for text in supply.verdicts
    )


@pytest.mark.parametrize(
    ("series", "meter_v"), [("1ohm", 12.60), ("100ohm", 12.60), ("10kohm", 12.59), ("100kohm", 12.48)]
)
def test_what_a_meter_hides(tmp_path: Path, series: str, meter_v: float) -> None:
    """12.6 V behind R, read with 10 MΩ: 12.6 * 10e6 / (10e6 + R), worked out here."""
    report = volts(tracing_of(tmp_path, PLAIN), "M", unplugged=["M"], added=[f"F1={series}"])
    assert row(report, "M.1").volts.nominal == pytest.approx(meter_v, abs=0.006)


@pytest.mark.parametrize(("hot_ohm", "lamp_v"), [(48.0, 12.35), (28.8, 12.18), (144 / 21, 11.0), (144 / 55, 9.1)])
def test_what_a_load_shows_behind_one_ohm(tmp_path: Path, hot_ohm: float, lamp_v: float) -> None:
    """Lamps of 3, 5, 21 and 55 W as resistors, 1 Ω in series: 12.6 * R / (R + 1); the copper takes some more."""
    load = f"M.1={hot_ohm:.4f}ohm"
    report = volts(tracing_of(tmp_path, PLAIN), "M", unplugged=["M"], added=["F1=1ohm"], loads=[load])
    assert row(report, "M.1").volts.nominal == pytest.approx(
        12.6 * hot_ohm / (hot_ohm + 1 + 5 * 0.0076 + 4 * CRIMP + CLIPS + FUSE), abs=1e-3
    )
    assert row(report, "M.1").volts.nominal == pytest.approx(lamp_v, abs=0.17)


@pytest.mark.parametrize("lamp_w", [5.0, 21.0, 55.0])
@pytest.mark.parametrize(("added_ohm", "hidden"), [(0.0, False), (0.4, True), (0.65, True), (5.0, True)])
def test_what_the_meter_hides_is_told_alike_with_every_lamp(
    tmp_path: Path, lamp_w: float, added_ohm: float, hidden: bool
) -> None:
    """A lamp of 55 W behind a bad joint is far from its rated current: it shows the same joint as one of 5 W."""
    tracing = tracing_of(tmp_path, PLAIN)
    added = [f"F1={added_ohm}ohm"] if added_ohm else []
    found = row(volts(tracing, "M", added=added, lamp_w=lamp_w), "M.1")
    assert found.lamp is not None and found.lamp.hidden("supply") is hidden


def test_100_ohm_in_series_meter_full_lamp_nothing(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, PLAIN)
    faulty = row(volts(tracing, "M", added=["F1=100ohm"], lamp_w=21.0), "M.1")
    assert faulty.lamp is not None
    assert faulty.lamp.meter_v == pytest.approx(12.60, abs=0.005)
    assert faulty.lamp.lamp_v == pytest.approx(0.1, abs=0.03)
    sound = row(volts(tracing, "M", lamp_w=21.0), "M.1")
    assert sound.lamp is not None and sound.lamp.lamp_v is not None and sound.lamp.lamp_v > 12.4


def test_a_lost_ground_pulls_the_ground_pin_up_to_the_battery(tmp_path: Path) -> None:
    sheet = PLAIN.replace("BN 2.5 2m -- BAT.-", "BN 2.5 2m -- G1\n- G1 -- BN 4 1m -- BAT.-")
    tracing = tracing_of(tmp_path, sheet.replace("  F1:", "  G1: ground\n  F1:"))
    ground = row(volts(tracing, "M", opened=["G1"]), "M.2")
    assert ground.state == "open"
    assert ground.volts.nominal == pytest.approx(12.6, abs=0.01)
    assert ground.in_order_v == pytest.approx(0.1, abs=0.1)
    assert any("a lost ground" in text for text in ground.verdicts)


def test_a_blown_fuse_leaves_the_pin_dead_plugged_and_floating_unplugged(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, PLAIN)
    plugged = row(volts(tracing, "M", opened=["F1"]), "M.1")
    assert (plugged.state, plugged.floating) == ("dead", False)
    assert plugged.volts.nominal == pytest.approx(0.0, abs=1e-6)
    unplugged = row(volts(tracing, "M", opened=["F1"], unplugged=["M"]), "M.1")
    assert unplugged.floating
    assert unplugged.lamp is not None and unplugged.lamp.meter_v is None
    assert unplugged.lamp.lamp_v == pytest.approx(0.0, abs=1e-6)


RELAY = """
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 5}
  K1: {is: relay, kind: normally open}
  S1: splice
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.+ -- RD 4 1m -- S1
- S1 -- RD 1 1m -- F1 -- RD 1 1m -- K1.30
- S1 -- RD 1 1m -- F2 -- RD 1 1m -- K1.86
- K1.85 -- BN 1 1m -- BAT.-
- K1.87 -- RD 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
"""


def test_an_open_in_the_coil_circuit_takes_the_contact_along(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, RELAY)
    assert row(volts(tracing, "M"), "M.1").state == "live"
    for what in ("F2", "K1.85"):
        assert row(volts(tracing, "M", opened=[what]), "M.1").state == "dead"


def test_the_coil_draws_its_current(tmp_path: Path) -> None:
    """85 Ω nominal, 50 to 120 Ω: common practice, no source."""
    coil = row(volts(tracing_of(tmp_path, RELAY), "M"), "K1.86")
    assert coil.current_a.nominal == pytest.approx(12.6 / 85.05, abs=0.001)
    assert coil.current_a.low == pytest.approx(12.6 / 120, rel=0.01)
    assert coil.current_a.high == pytest.approx(12.6 / 50, rel=0.01)


DIODES = """
parts:
  BAT: {is: battery}
  SW: {is: switch, follows: key, contacts: {"off": [], acc: [], run: [1-2], start: []}}
  F1: {is: fuse, amps: 5}
  D1: diode
  D2: diode
  S1: splice
  S2: splice
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 0.5}}
runs:
- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- S1
- S1 -- RD 1 1m -- SW.1
- S1 -- RD 1 1m -- D1.A
- SW.2 -- RD 1 1m -- D2.A
- D1.K -- RD 1 1m -- S2
- D2.K -- RD 1 1m -- S2
- S2 -- RD 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
"""


def test_diodes_lose_their_voltage_and_block_backwards(tmp_path: Path) -> None:
    """0.3 to 0.7 V across a conducting diode: common practice, no source."""
    tracing = tracing_of(tmp_path, DIODES)
    for key in ("off", "run"):
        supply = row(volts(tracing, "M", key=key), "M.1")
        # 0.75 V at 1 A and 44 mV more with each factor e, and some more in the wires
        law_v = 0.75 + 1.7 * 0.025865 * math.log(supply.current_a.nominal)
        assert law_v < supply.lost.nominal < law_v + 0.12
        assert supply.lost.low > 0.3
    assert "diode D1" in [element.name for element in row(volts(tracing, "M", key="off"), "M.1").elements]
    # nothing comes back through D2 to the open switch
    solved = model_of(tracing, "off", limits=limits_of(tracing.circuit)).solve()
    assert math.isnan(solved.node_v[tracing.circuit.pins_of["SW"]["2"]])


def test_what_depends_is_off_unless_held(tmp_path: Path) -> None:
    sheet = PLAIN.replace("  F1: {", "  SW: {is: switch, contacts: {open: [], shut: [1-2]}}\n  F1: {")
    sheet = sheet.replace("F1 -- RD 2.5 4m -- M.1", "F1 -- RD 2.5 4m -- SW.1\n- SW.2 -- RD 2.5 1m -- M.1")
    tracing = tracing_of(tmp_path, sheet)
    assert row(volts(tracing, "M"), "M.1").state == "dead"
    assert row(volts(tracing, "M", held=["SW=shut"]), "M.1").state == "live"
    with pytest.raises(BadChange, match="SW has the positions open or shut"):
        volts(tracing, "M", held=["SW=ajar"])


def test_without_a_battery_the_assumed_ends_are_the_source_and_said_so(tmp_path: Path) -> None:
    sheet = """
parts:
  F1: {is: fuse, amps: 10}
  G1: ground
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- "30 -- RD 1 1m -- F1 -- RD 1 1m -- M.1"
- M.2 -- BN 1 1m -- G1
"""
    report = volts(tracing_of(tmp_path, sheet, 'rails: {"30": always}\n'), "M")
    supply = row(report, "M.1")
    assert supply.state == "live"
    assert supply.volts.nominal == pytest.approx(12.54, abs=0.05)


def test_a_24_v_system_doubles_battery_and_limit(tmp_path: Path) -> None:
    report = volts(tracing_of(tmp_path, PLAIN, "system: 24 V\n"), "M", battery_v=None)
    assert report.battery.nominal == pytest.approx(2 * 12.4)
    assert row(report, "M.1").limit.high == 1.0  # handbook table, other control lead, 24 V
    assert row(report, "M.1").limit.origin == "custom"


TAP = """
parts:
  BAT: {is: battery, volts: 12}
  UP: {is: battery, volts: 12}
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 5}
  M: {is: module, cavities: 1-3, pins: {1: supply 24 V, 2: ground, 3: supply 12 V}, draws: {1: 1, 3: 1}}
runs:
- BAT.+ -- RD 50 0.2m -- UP.-
- UP.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1
- BAT.+ -- YE 1 1m -- F2 -- YE 1 1m -- M.3
- M.2 -- BN 1 1m -- BAT.-
"""


def test_a_tap_between_two_batteries_is_judged_against_its_own_post(tmp_path: Path) -> None:
    report = volts(tracing_of(tmp_path, TAP, "system: 24 V\n"), "M", battery_v=25.0)
    assert row(report, "M.1").volts.nominal == pytest.approx(25.0, abs=0.15)
    assert row(report, "M.3").volts.nominal == pytest.approx(12.5, abs=0.15)
    assert row(report, "M.3").lost.nominal < 0.1


def test_battery_state_follows_the_key_and_the_generator(demo: Tracing) -> None:
    limits = limits_of(demo.circuit)
    cases = [("off", [], "at rest"), ("run", [], "key on"), ("start", [], "cranking"), ("run", ["GEN"], "charging")]
    for key, held, state in cases:
        model = model_of(demo, key, changes_of(demo.circuit, held=held), limits=limits)
        assert model.battery_state == state


def test_sums_close_on_every_live_row_in_every_key_state(demo: Tracing) -> None:
    """Battery less drops out, module and drops back is nothing, each drop from its own current and resistance."""
    report = supplies_of(demo, "ALM")
    closed = 0
    for key in report.keys:
        for one in volts_of(demo, report, key, limits=limits_of(demo.circuit)).rows:
            if one.closes_mv is not None and one.state == "live":
                assert abs(one.closes_mv) < 1e-3
                closed += 1
    assert closed > 20


def test_values_at_random_ends_stay_inside_the_computed_range(demo: Tracing) -> None:
    report = supplies_of(demo, "ALM")
    model = model_of(demo, "run", limits=limits_of(demo.circuit), first="ALM")
    (runs,) = solved_rows(demo, [model], report)
    model = runs.model  # with what follows from its currents
    chance = np.random.default_rng(7)
    rows = [one for one in report.rows if one.code[0] in "SG"]
    ranges = {one.point: runs.row(one, None, None).volts for one in rows}
    for _ in range(12):
        setting = Setting(
            chance.integers(LOW, HIGH + 1, len(model.branches)),
            chance.integers(LOW, HIGH + 1, len(model.draws)),
            int(chance.integers(LOW, HIGH + 1)),
        )
        solved = model.solve(setting)
        for one in rows:
            found = solved.node_v[demo.circuit.pins_of[one.part][one.pin]]
            assert ranges[one.point].least - 1e-6 <= found <= ranges[one.point].most + 1e-6, one.point


@pytest.mark.parametrize("key", ["off", "run", "start"])
def test_the_quick_and_the_careful_way_agree_on_the_demo(demo: Tracing, key: str) -> None:
    model = model_of(demo, key, limits=limits_of(demo.circuit), first="ALM")
    chance = np.random.default_rng(3)
    settings = [
        model.setting(a, b, c) for a, b, c in ((NOMINAL, NOMINAL, NOMINAL), (LOW, HIGH, LOW), (HIGH, LOW, HIGH))
    ]
    settings.append(Setting(chance.integers(0, 3, len(model.branches)), chance.integers(0, 3, len(model.draws)), LOW))
    for setting in settings:
        quick = model.solve(setting)
        careful = Rest(model, setting).found()
        assert np.allclose(quick.potential_v, careful.potential_v, rtol=0, atol=1e-6)
        assert np.allclose(quick.branch_a, careful.branch_a, rtol=1e-5, atol=1e-6)
        assert np.allclose(quick.draw_a, careful.draw_a, rtol=1e-5, atol=1e-7)
        # the draws as resistors, for faults and readings, leave the voltages where they are
        assert np.allclose(quick.solution.potential_v, quick.potential_v, rtol=0, atol=1e-8)


@pytest.mark.parametrize("noise_v", [-2e-13, -1e-16, 0.0, 1e-16, 2e-13])
def test_the_last_bit_of_a_solve_does_not_decide_what_is_shown(noise_v: float) -> None:
    found = band(np.array([0.00015 + noise_v, np.nan, 0.00045 - noise_v]), np.zeros(3, dtype=np.bool_))
    assert found == Range(0.0, 0.00015, 0.00045, (0.0, 0.00045))


def test_a_setting_is_solved_alike_whatever_was_solved_before(demo: Tracing) -> None:
    limits = limits_of(demo.circuit)
    first, second = (model_of(demo, "run", limits=limits, first="ALM") for _ in range(2))
    wanted = first.setting(LOW, HIGH, LOW)
    first.solve()
    first.solve(first.setting(HIGH, LOW, HIGH))
    assert np.array_equal(first.solve(wanted).potential_v, second.solve(wanted).potential_v)


def test_where_the_quick_way_finds_no_rest_the_careful_one_does(demo: Tracing, monkeypatch: pytest.MonkeyPatch) -> None:
    limits = limits_of(demo.circuit)
    report = supplies_of(demo, "ALM")
    quick = volts_of(demo, report, "run", limits=limits)

    monkeypatch.setattr("tracer.electrics.network.in_many_settings._DIODE_TURNS", 0)
    careful = volts_of(demo, report, "run", limits=limits)
    shown: list[FloatArray] = []
    for found in (quick, careful):
        shown.append(np.array([(row.volts.low, row.volts.nominal, row.volts.high) for row in found.rows]))
    assert np.allclose(shown[0], shown[1], rtol=0, atol=1e-6)


def test_a_network_that_cannot_be_solved_is_reported_as_not_settled(
    demo: Tracing, monkeypatch: pytest.MonkeyPatch
) -> None:
    def singular(*_: object, **__: object) -> None:
        raise NotAccurate("the conductances lie too far apart")

    monkeypatch.setattr("tracer.electrics.network.in_many_settings._DIODE_TURNS", 0)
    monkeypatch.setattr("tracer.electrics.model.rest.solve_with_loads", singular)
    with pytest.raises(NotSettled, match="no steady state was found: the conductances"):
        model_of(demo, "run", limits=limits_of(demo.circuit), first="ALM").solve()


def test_the_module_that_holds_its_own_relay_is_dead_unplugged(demo: Tracing) -> None:
    main = row(volts(demo, "ALM"), "ALM.2")
    assert main.state == "live"
    assert main.lamp is not None and main.lamp.meter_v is None


def test_one_of_two_grounds_lost_is_hidden_and_both_are_not(demo: Tracing) -> None:
    one = row(volts(demo, "ALM", opened=["G5"]), "ALM.1")
    both = row(volts(demo, "ALM", opened=["G5", "G6"]), "ALM.1")
    assert one.volts.nominal < 0.1
    assert both.volts.nominal > 12.0


def test_a_what_if_says_whether_a_reading_shows_it(demo: Tracing) -> None:
    """0.5 Ω at 0.15 A loses 75 mV more: above what is lost in order, below the limit. Beside a second ground one lost ground does not show."""
    joint = row(volts(demo, "ALM", battery_v=12.4, added=["X4.1=0.5ohm"]), "ALM.3")
    assert any("the drop shows it, although the limit of 0.50 V passes it" in text for text in joint.verdicts)
    ground = row(volts(demo, "ALM", opened=["G5"]), "ALM.1")
    assert any("does not show what is supposed" in text for text in ground.verdicts)
    fuse = row(volts(demo, "ALM", opened=["F7"]), "ALM.3")
    assert "dead in place of live: a reading shows it" in fuse.verdicts


def test_a_larger_fuse_is_remarked(demo: Tracing) -> None:
    report = volts(demo, "ALM", fitted=["F7=30"])
    assert any("no longer protects" in note for note in report.notes)
    fuse = next(element for element in row(report, "ALM.3").elements if element.name == "fuse F7")
    assert fuse.ohm.nominal == pytest.approx(0.00197 + 0.02 / 30, rel=1e-6)  # and clips that lose 20 mV at 30 A


@pytest.mark.parametrize(
    ("option", "typed", "message"),
    [
        ("opened", "F99", "there is no part F99"),
        ("unplugged", "F7", "F7 is not a module"),
        ("loads", "S99=21W", "there is no point S99"),
        ("loads", "S1=21", "write it as ROW=21W"),
        ("added", "S31=1ohm", "S31 is a splice"),
        ("added", "ALM.3=1", r"write it as PART.PIN=0.5ohm"),
        ("fitted", "ALM=10", "ALM is not one fuse"),
        ("held", "moon", "moon is no condition"),
        ("held", "IGN=sideways", "IGN"),
        ("added", "ALM.3=1000000Mohm", "out of range"),
        ("added", "ALM=1ohm", "ALM is a module: say at which of its pins"),
        ("loads", "ALM.3=2MA", "write mA for thousandths"),
        ("shorts", "ALM.99", "there is no point ALM.99"),
        ("shorts", "ALM.3=", "write it as ALM.4"),
        ("shorts", "ALM.3=ALM.3", "both are one point"),
        ("fitted", "F7=5000", "is no rating of a fuse"),
    ],
)
def test_a_what_if_that_is_not_understood_says_what_to_write(
    demo: Tracing, option: str, typed: str, message: str
) -> None:
    options: dict[str, Any] = {option: [typed]}
    with pytest.raises((BadChange, LookupError), match=message):
        changes_of(demo.circuit, {row.code: row for row in supplies_of(demo, "ALM").rows}, **options)


def test_expectations_cover_every_probe_point_in_every_key_state(demo: Tracing) -> None:
    report = supplies_of(demo, "ALM")
    found = expectations(demo, report, limits=limits_of(demo.circuit))
    assert set(found) == {(one.code, probe.at) for one in report.rows for probe in one.probes}
    for expected in found.values():
        assert [one.state for one in expected] == list(report.keys)
        for one in expected:
            assert one.volts is not None
            assert one.volts.low <= one.volts.nominal + 1e-9 and one.volts.nominal <= one.volts.high + 1e-9


def test_every_vehicle_of_this_project_gives_values() -> None:
    """Live supplies are live and grounded pins near 0 V: on both demos and every construct that is there, each module, key on."""
    root = Path(__file__).parent.parent.parent
    found = [*(root / "circuits").iterdir(), *(root / "tests" / "constructs").iterdir()]
    folders = [folder for folder in found if (folder / "vehicle.yaml").exists()]
    assert {"minibus", "unfinished"} <= {folder.name for folder in folders}
    judged: dict[str, set[str]] = {"live": set(), "grounded": set()}
    for folder in folders:
        tracing = Tracing(tracer.load(str(folder)))
        for module in tracing.circuit.modules():
            report = supplies_of(tracing, module.name)
            key = report.keys[-2]
            # to battery negative an isolated 0 V output reads nothing that means anything
            isolated = {
                row.code for row in report.rows if {end.id.rpartition(".")[2] for end in row.ends} == {"return"}
            }
            for one in volts_of(tracing, report, key, limits=limits_of(tracing.circuit)).rows:
                where = f"{folder.name} {key} {one.code}"
                if one.not_computed:
                    continue
                if one.state in judged:
                    judged[one.state].add(folder.name)
                if one.state == "live" and one.level == "supply":
                    assert not one.floating and one.volts.nominal > 5, where
                if one.state == "grounded" and one.code in isolated:
                    assert one.floating, where
                elif one.state == "grounded":
                    assert not one.floating and abs(one.volts.nominal) < 0.5, where
    assert min(len(names) for names in judged.values()) > len(folders) / 2


# --- limits and draws ----------------------------------------------------------------------------------------------


def test_a_limit_of_the_vehicle_goes_before_the_shop_and_the_shop_before_the_standard(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, PLAIN, "limits: {supply path: 0.3, battery key on: 12.1-12.5}\n")
    shop = tmp_path / "shop.yaml"
    shop.write_text('shop: Bench 4\nlimits: {supply path: 0.4, ground path: "0,05 V"}\n', encoding="utf-8")
    limits = limits_of(tracing.circuit, read_shop(shop))
    assert (limits.of("supply path").high, limits.of("supply path").origin) == (0.3, "maker")
    assert (limits.of("ground path").high, limits.of("ground path").origin) == (0.05, "shop")
    assert "Bench 4" in limits.of("ground path").source
    assert limits.of("single wire").origin == "custom"
    battery = limits.of("battery key on")
    assert battery.nominal == pytest.approx(12.3)
    assert (battery.low, battery.high) == (12.1, 12.5)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("suply path: 0.3", "Did you mean supply path"),
        ("supply path: 0.1-0.3", "not a range"),
        ("supply path: much", "not a limit"),
    ],
)
def test_a_wrong_limit_is_a_problem_with_a_place(tmp_path: Path, typed: str, message: str) -> None:
    with pytest.raises(CannotUse) as caught:
        tracing_of(tmp_path, PLAIN, f"limits:\n  {typed}\n")
    (problem,) = caught.value.problems
    assert problem.place.file == "vehicle.yaml" and problem.place.line == 3
    assert message in problem.render().replace("`", "")


@pytest.mark.parametrize(
    ("draws", "message"),
    [
        ("{1: {noon: 2}}", "neither a key state nor a condition"),
        ("{9: 2}", "no cavity 9"),
        ("{1: lots}", "a current in A"),
    ],
)
def test_a_wrong_draw_is_a_problem_with_a_place(tmp_path: Path, draws: str, message: str) -> None:
    with pytest.raises(CannotUse) as caught:
        tracing_of(tmp_path, PLAIN.replace("draws: {1: 5}", f"draws: {draws}"))
    assert any(message in problem.render() for problem in caught.value.problems)


def test_a_draw_by_state_holds_in_that_state(tmp_path: Path) -> None:
    sheet = PLAIN.replace("draws: {1: 5}", "draws: {1: {run: 2, quiet: 1 mA, otherwise: 0.1}}")
    tracing = tracing_of(tmp_path, sheet, "conditions: {quiet: nothing moves}\n")
    current = {
        "run": row(volts(tracing, "M", key="run"), "M.1").current_a.nominal,
        "off": row(volts(tracing, "M", key="off"), "M.1").current_a.nominal,
        "quiet": row(volts(tracing, "M", key="off", held=["quiet"]), "M.1").current_a.nominal,
    }
    assert current == pytest.approx({"run": 2.0, "off": 0.1, "quiet": 0.001}, abs=1e-6)


def test_a_steady_power_load_draws_more_when_the_voltage_falls(tmp_path: Path) -> None:
    sheet = PLAIN.replace("  F1: {", "  E1: {is: load, watts: 60, behaves: power}\n  F1: {")
    sheet += "- M.1 -- RD 2.5 1m -- E1.1\n- E1.2 -- BN 2.5 1m -- BAT.-\n"
    tracing = tracing_of(tmp_path, sheet)
    model = model_of(tracing, "run", changes_of(tracing.circuit, battery_v=12.0), limits=limits_of(tracing.circuit))
    solved = model.solve()
    number = next(n for n, draw in enumerate(model.draws) if draw.name == "E1")
    draw = model.draws[number]
    across = solved.node_v[draw.first] - solved.node_v[draw.second]
    assert solved.draw_a[number] * across == pytest.approx(60.0, abs=0.01)
    assert solved.draw_a[number] > 5.0


def test_a_dead_pin_behind_a_diode_floats_and_reads_nothing_below_0(demo: Tracing, tmp_path: Path) -> None:
    found = {row.code: row for row in tracer.volts(demo, "ALM", "off").rows}
    assert found["S7"].lamp is not None and found["S7"].lamp.meter_v is None
    assert all(row.lamp is None or row.lamp.meter_v is None or row.lamp.meter_v >= 0.0 for row in found.values())
    # the anode lies on ground through a lamp, its feed is switched off; two diodes in a row do not change it
    sheet = PLAIN.replace("  F1: {", "  D1: diode\n  D2: diode\n  E1: {is: load, watts: 5}\n  F1: {").replace(
        "1-2, pins", "1-4, pins"
    )
    sheet += "- 15 -- RD 1 1m -- D1.A\n- D1.A -- RD 1 1m -- E1.1\n- E1.2 -- BN 1 1m -- BAT.-\n"
    sheet += "- D1.K -- RD 1 1m -- M.3\n- M.3 -- RD 1 1m -- D2.A\n- D2.K -- RD 1 1m -- M.4\n"
    tracing = tracing_of(tmp_path, sheet, 'key: [off, run]\nrails: {"15": [run]}\n')
    dead, live = volts(tracing, "M", key="off"), volts(tracing, "M", key="run")
    assert row(dead, "M.3").floating and row(dead, "M.4").floating
    meter_v = 0.75 + 1.7 * 0.025865 * math.log(12.4 / 10e6)  # what a diode loses with a meter alone
    assert row(live, "M.3").volts.nominal == pytest.approx(12.6 - meter_v, abs=0.02)
    assert row(live, "M.4").volts.nominal == pytest.approx(12.6 - 2 * meter_v, abs=0.05)


def test_a_typed_battery_voltage_says_the_class_and_a_measured_one_is_used_as_it_is(tmp_path: Path) -> None:
    sheet = PLAIN.replace("{is: battery}", "{is: battery, volts: 12.6}")
    tracing = tracing_of(tmp_path, sheet)
    plain = tracing_of(tmp_path / "plain", PLAIN)
    for measured_v in (12.3, None):
        found, usual = volts(tracing, "M", battery_v=measured_v), volts(plain, "M", battery_v=measured_v)
        assert row(found, "M.1").volts == row(usual, "M.1").volts
        assert row(found, "M.1").volts.high < (measured_v or 12.8)


@pytest.mark.parametrize(
    ("typed_v", "system_v", "share"),
    [(12, 12, 1), (12.8, 12, 1), (12.6, 24, 0.5), (25.2, 24, 1), (6.3, 12, 0.5), (8, 48, 1 / 6), (24, 12, 2), (51.2, 48, 1)],
)  # fmt: skip
def test_the_class_of_a_battery_is_a_whole_share_of_the_system(typed_v: float, system_v: float, share: float) -> None:
    assert share_of_system(typed_v, system_v) == pytest.approx(share)


@pytest.mark.parametrize("tapped_v", [11.0, 10.0])
def test_a_12_v_module_of_a_24_v_vehicle_gives_up_at_the_volts_of_12(tmp_path: Path, tapped_v: float) -> None:
    """Behind a converter of 12 V, and on the lower of two batteries: a steady current down to 6 V, not to 12 V."""
    converter = (
        "parts:\n  BAT: {is: battery, at: x}\n  CV: {is: converter, volts: 12, at: x}\n  G1: {is: ground, at: x}\n"
        "  F1: {is: fuse, amps: 10, at: x}\n  F2: {is: fuse, amps: 10, at: x}\n"
        "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 2}}\n"
        "runs:\n  - BAT.+ -- RD 4 1m -- F1 -- RD 2.5 1m -- CV.in\n  - CV.out -- BU 1 1m -- F2 -- BU 1 6m -- M.1\n"
        "  - M.2 -- BN 1 1m -- G1 -- BK 16 1m -- BAT.-\n  - CV.ground -- BN 2.5 1m -- G1\n"
    )
    behind = row(volts(tracing_of(tmp_path / "a", converter, "system: 24 V\n"), "M", battery_v=24.8), "M.1")
    assert behind.volts.nominal < 12.0
    assert behind.current_a.nominal == pytest.approx(2.0, abs=1e-6)
    tapped = row(volts(tracing_of(tmp_path / "b", TAP, "system: 24 V\n"), "M", battery_v=2 * tapped_v), "M.3")
    assert tapped.volts.nominal < tapped_v
    assert tapped.current_a.nominal == pytest.approx(1.0, abs=1e-6)


def test_another_lamp_takes_the_place_of_each_that_may_hang_and_of_no_other() -> None:
    tracing = Tracing(tracer.load(DEMO))
    usual, other = ({row.point: row.lamp.lamp for row in tracer.volts(tracing, "ALM", lamp_w=watts).rows if row.lamp} for watts in (None, 3.0))  # fmt: skip
    assert {lamp.watts for lamp in usual.values()} == {None, 5.0, 21.0}
    assert {point: lamp.watts for point, lamp in other.items()} == {point: lamp.watts and 3.0 for point, lamp in usual.items()}  # fmt: skip
    assert {lamp.current_a for lamp in other.values() if lamp.watts} == {3.0 / 12.0}
