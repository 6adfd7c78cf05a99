"""Real wiring, one small vehicle for each construct: each must be expressible in a line or two, and none may make a list wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tracer.trace.lists.results import Row, SupplyReport

BASE = "BAT: battery, G1: ground, F1: {is: fuse, amps: 10}, F2: {is: fuse, amps: 10}, S1: splice, S2: splice"
GROUND = ["BAT.- -- BK 16 -- G1"]


class Vehicle:
    """A vehicle typed on the spot."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def list(self, parts: str, runs: list[str], vehicle: str = "", module: str = "M") -> SupplyReport:
        (self.folder / "sheets").mkdir(exist_ok=True)
        (self.folder / "vehicle.yaml").write_text(f"vehicle: v\n{vehicle}\n", encoding="utf-8")
        lines = "".join(f"- {run}\n" for run in (*GROUND, *runs))
        (self.folder / "sheets" / "1.yaml").write_text(
            f"sheet: 1\nparts: {{{BASE}, {parts}}}\nruns:\n{lines}", encoding="utf-8"
        )
        return tracer.supplies(tracer.load(str(self.folder)), module)


@pytest.fixture
def vehicle(tmp_path: Path) -> Vehicle:
    return Vehicle(tmp_path)


def module(pins: str, cavities: str = "1-2", more: str = "", name: str = "M") -> str:
    return f"{name}: {{is: module, cavities: {cavities}, pins: {{{pins}}}{', ' + more if more else ''}}}"


PLAIN = module("1: supply, 2: ground")
FED = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"]


def only(rows: tuple[Row, ...]) -> Row:
    assert len(rows) == 1
    return rows[0]


def codes(report: SupplyReport) -> set[str]:
    return {loose.code for loose in report.loose_ends}


def test_two_batteries_with_an_isolator(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- ISO.30", "ISO.87 -- RD 1 -- S1", "AUX.+ -- RD 1 -- S1", "S1 -- RD 1 -- F1 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "AUX.- -- BK 16 -- G1",
            "15 -- RD 1 -- ISO.86", "ISO.85 -- BN 1 -- G1"]  # fmt: skip
    report = vehicle.list(
        f"{PLAIN}, AUX: battery, ISO: {{is: relay, kind: normally open}}", runs, 'rails: {"15": [run]}'
    )
    row = only(report.supplies)
    assert {end.id for end in row.ends} == {"BAT.+", "AUX.+"}
    assert any("each alone suffices" in note for note in row.notes)
    assert report.completeness.conditions == ("15 is live as typed (its origin is not typed in)",)


def test_a_cut_off_switch_with_two_poles(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- CUT.1",
        "CUT.2 -- RD 1 -- F1.feed",
        "F1.load -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- CUT.3",
        "CUT.4 -- RD 1 -- E1 -- BN 1 -- G1",
    ]
    report = vehicle.list(f'{PLAIN}, E1: load, CUT: {{is: switch, kind: "cut-off, two poles"}}', runs)
    row = only(report.supplies)
    assert row.switches == ("CUT (1 to 2)",)
    assert {fuse.part for fuse in row.fuses} == {"F1"}
    assert set(row.live.values()) == {"depends"}


def test_a_generator_on_the_load_side_of_the_cut_off_is_a_source_of_its_own(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- CUT.1",
        "CUT.2 -- RD 1 -- S1",
        "GEN.B+ -- RD 1 -- S1",
        "S1 -- RD 1 -- F1 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f'{PLAIN}, GEN: generator, CUT: {{is: switch, kind: "cut-off, one pole"}}', runs)
    assert {end.id for end in only(report.supplies).ends} == {"BAT.+", "GEN.B+"}


def test_a_converter_is_a_load_on_one_side_and_a_source_on_the_other(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- DC.in",
        "DC.ground -- BN 1 -- G1",
        "DC.out -- RD 1 -- F2 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, DC: {{is: converter, volts: 12}}", runs)
    row = only(report.supplies)
    assert [end.id for end in row.ends] == ["DC.out"]
    assert {fuse.part for fuse in row.fuses} == {"F2"}
    assert [chain.what_for for chain in report.chains] == ["supply of converter DC", "ground of converter DC"]
    assert {fuse.part for fuse in report.chains[0].fuses} == {"F1"}
    assert set(row.live.values()) == {"live"}


def test_a_relay_fed_by_a_relay_brings_both_coils(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30", "K1.87 -- RD 1 -- K2.30", "K2.87 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "15 -- RD 1 -- K1.86", "K1.85 -- BN 1 -- G1",
            "K1.87 -- RD 1 -- K2.86", "K2.85 -- BN 1 -- G1"]  # fmt: skip
    report = vehicle.list(
        f"{PLAIN}, K1: {{is: relay, kind: normally open}}, K2: {{is: relay, kind: normally open}}",
        runs,
        'rails: {"15": [run]}',
    )
    assert {chain.point for chain in report.chains} == {"K1.86", "K1.85", "K2.86", "K2.85"}
    assert only(report.supplies).live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}


def test_rest_contacts_in_series_are_live_while_both_relays_rest(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30", "K1.87a -- RD 1 -- K2.30", "K2.87a -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "50 -- RD 1 -- K1.86", "K1.85 -- BN 1 -- G1",
            "15 -- RD 1 -- K2.86", "K2.85 -- BN 1 -- G1"]  # fmt: skip
    report = vehicle.list(
        f"{PLAIN}, K1: {{is: relay, kind: normally closed}}, K2: {{is: relay, kind: normally closed}}",
        runs,
        'rails: {"15": [run, start], "50": [start]}',
    )
    assert only(report.supplies).live == {"off": "live", "acc": "live", "run": "dead", "start": "dead"}
    assert {chain.part: "must be at rest" in chain.what_for for chain in report.chains} == {"K1": True, "K2": True}


def test_both_contacts_of_one_relay_in_use(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "K1.87a -- RD 1 -- M.3",
        "M.2 -- BN 1 -- G1",
        "15 -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- G1",
    ]
    report = vehicle.list(
        f"{module('1: supply, 2: ground, 3: supply', '1-3')}, K1: {{is: relay, kind: change-over}}",
        runs,
        'rails: {"15": [run]}\nkey: [off, run]',
    )
    assert [row.live for row in report.supplies] == [{"off": "dead", "run": "live"}, {"off": "live", "run": "dead"}]


def test_a_coil_pulled_down_by_the_module_it_feeds_is_shown_as_a_loop(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- S1",
        "S1 -- RD 1 -- K1.86",
        "S1 -- RD 1 -- M.4",
        "K1.85 -- BN 1 -- M.3",
        "M.2 -- BN 1 -- G1",
    ]
    parts = module(
        "1: supply, 2: ground, 3: output, 4: supply", "1-4", "outputs: {3: {drives: low, through: 2, when: [run]}}"
    )
    report = vehicle.list(f"{parts}, K1: {{is: relay, kind: normally open}}", runs)
    ground = next(chain for chain in report.chains if chain.point == "K1.85")
    assert ground.needs == ("M.3 (loop)",)
    assert report.supplies[0].live["run"] == "live" and report.supplies[0].live["off"] == "dead"
    assert report.complete


def test_a_coil_with_plus_on_both_ends_is_reported(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- S1",
        "S1 -- RD 1 -- K1.86",
        "S1 -- RD 1 -- K1.85",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, K1: {{is: relay, kind: normally open}}", runs)
    assert "L127" in codes(report) and not report.complete


def test_a_relay_inside_a_module(vehicle: Vehicle) -> None:
    relay = "K1: {is: relay, kind: normally open, meets: {30: B.1, 87: B.4, 86: B.1, 85: B.3}}"
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- B.1",
        "B.2 -- BN 1 -- G1",
        "B.3 -- BN 1 -- SW.1",
        "SW.2 -- BN 1 -- G1",
        "B.4 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
    ]
    box = module("1: supply, 2: ground, 3: signal, 4: output", "1-4", name="B")
    report = vehicle.list(f"{PLAIN}, {box}, {relay}, SW: {{is: switch, kind: make switch}}", runs)
    row = only(report.supplies)
    assert row.switches == ("K1 (30 to 87)",) and {fuse.part for fuse in row.fuses} == {"F1"}
    assert {chain.point for chain in report.chains} == {"K1.86", "K1.85"}


def test_a_flasher_depends(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- FL.49", "FL.49a -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, FL: {{is: switch, kind: flasher}}", runs)
    assert set(only(report.supplies).live.values()) == {"depends"}


def test_way_a_or_way_b_through_two_diodes(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- D1.A",
        "15 -- RD 1 -- F2 -- RD 1 -- D2.A",
        "D1.K -- RD 1 -- S1",
        "D2.K -- RD 1 -- S1",
        "S1 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, D1: diode, D2: diode", runs, 'rails: {"15": [run]}')
    row = only(report.supplies)
    assert {(fuse.part, fuse.sole, fuse.alone) for fuse in row.fuses} == {("F1", False, True), ("F2", False, True)}
    assert any("0.3 to 0.7 V lower" in note for note in row.notes)
    assert {end.id for end in row.ends} == {"15", "BAT.+"}


def test_a_diode_against_the_current_brings_no_supply(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- D1.K", "D1.A -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, D1: diode", runs)
    assert report.supplies == () and "L114" in codes(report)


def test_a_flyback_diode_across_a_coil_is_not_a_way_to_ground(vehicle: Vehicle) -> None:
    diode = "D1: {is: diode, meets: {A: K1.85, K: K1.86}}"
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "15 -- RD 1 -- S1",
        "S1 -- RD 1 -- K1.86",
        "S1 -- RD 1 -- M.3",
        "K1.85 -- BN 1 -- G1",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(
        f"{module('1: supply, 2: ground, 3: supply', '1-3')}, K1: {{is: relay, kind: normally open}}, {diode}",
        runs,
        'rails: {"15": [run]}',
    )
    assert [row.pin for row in report.supplies] == ["1", "3"]
    assert [row.pin for row in report.grounds] == ["2"]
    assert not codes(report)


def test_a_back_feed_through_a_lamp_is_not_a_supply(vehicle: Vehicle) -> None:
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- E1 -- GN 1 -- M.1", "M.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, E1: load", runs)
    assert report.supplies == () and not report.complete
    assert [(load.pin, load.level, load.loads) for load in report.through_loads] == [("1", "supply", ("E1",))]


def test_a_low_side_output_that_reads_battery_voltage_at_rest_is_not_a_supply(vehicle: Vehicle) -> None:
    parts = module("1: supply, 2: ground, 3: output", "1-3", "outputs: {3: {drives: low, through: 2}}")
    runs = [
        *FED,
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- K1.86",
        "K1.85 -- GN 1 -- M.3",
        "K1.30 -- RD 1 -- S1",
        "K1.87 -- RD 1 -- S1",
    ]
    report = vehicle.list(f"{parts}, K1: {{is: relay, kind: normally open}}", runs)
    assert [row.pin for row in report.supplies] == ["1"]
    assert [(load.pin, load.loads) for load in report.through_loads] == [("3", ("K1",))]


def test_a_low_side_output_as_the_switched_ground_of_another_module(vehicle: Vehicle) -> None:
    driver = module(
        "1: supply, 2: ground, 3: output", "1-3", "outputs: {3: {drives: low, through: 2, when: [run]}}", name="D"
    )
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- D.3",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- D.1",
        "D.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, {driver}", runs)
    row = only(report.grounds)
    assert row.switches == ("output D.3",)
    assert row.live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}
    assert {chain.point for chain in report.chains} == {"D.1", "D.2"}


def test_a_high_side_output_brings_the_supplies_and_grounds_of_its_module(vehicle: Vehicle) -> None:
    driver = module(
        "1: supply, 2: ground, 3: output",
        "1-3",
        "outputs: {3: {drives: high, from: 1, when: always, fuse: 5}}",
        name="D",
    )
    runs = ["D.3 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "BAT.+ -- RD 1 -- F2 -- RD 1 -- D.1", "D.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, {driver}", runs)
    row = only(report.supplies)
    assert {fuse.part for fuse in row.fuses} == {"F2"}
    assert any("takes the place of a 5 A fuse" in note and "diagnosis current" in note for note in row.notes)
    assert {chain.point for chain in report.chains} == {"D.1", "D.2"}
    assert report.complete


def test_a_high_side_output_whose_supply_is_not_said_is_loose(vehicle: Vehicle) -> None:
    driver = module("1: supply, 2: ground, 3: output", "1-3", "outputs: {3: high}", name="D")
    runs = ["D.3 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "BAT.+ -- RD 1 -- F2 -- RD 1 -- D.1", "D.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, {driver}", runs)
    assert "L120" in codes(report)
    assert only(report.supplies).ends[0].assumed


def test_outputs_on_several_pins_share_one_command(vehicle: Vehicle) -> None:
    outputs = "outputs: {3: {drives: high, from: 1, command: pump}, 4: {drives: high, from: 1, command: pump}}"
    driver = module("1: supply, 2: ground, 3: output, 4: output", "1-4", outputs, name="D")
    runs = [
        "D.3 -- RD 1 -- S1",
        "D.4 -- RD 1 -- S1",
        "S1 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- D.1",
        "D.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, {driver}", runs)
    assert only(report.supplies).why["run"] == ("D commanding pump",)


def test_a_half_bridge_drives_both_ways_and_makes_no_supply_of_a_ground(vehicle: Vehicle) -> None:
    driver = module(
        "1: supply, 2: ground, 3: output", "1-3", "outputs: {3: {drives: both, from: 1, through: 2}}", name="M"
    )
    runs = [*FED, "M.3 -- GN 1 -- E1 -- BN 1 -- G1"]
    report = vehicle.list(f"{driver}, E1: load", runs)
    assert report.complete
    assert ([row.pin for row in report.supplies], [row.pin for row in report.grounds]) == (["1"], ["2"])


def test_a_half_bridge_that_is_always_commanded_is_no_short_circuit(vehicle: Vehicle) -> None:
    parts = module(
        "1: supply, 2: ground, 3: output", "1-3", "outputs: {3: {drives: both, from: 1, through: 2, when: always}}"
    )
    report = vehicle.list(f"{parts}, E1: load", [*FED, "M.3 -- GN 1 -- E1 -- BN 1 -- G1"])
    assert report.complete


def test_a_contact_that_joins_supply_and_ground_in_a_key_state_blocks(vehicle: Vehicle) -> None:
    switch = "SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}"
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- S1",
        "S1 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
        "S1 -- RD 1 -- SX.1",
        "SX.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, {switch}", runs)
    assert codes(report) == {"L135"} and not report.complete


def test_supply_passed_through_another_module(vehicle: Vehicle) -> None:
    passing = module("1: supply, 2: ground, 3: supply out", "1-3", "joined: [[1, 3]]", name="D").replace(
        "3: supply out", "3: output"
    )
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- D.1", "D.2 -- BN 1 -- G1", "D.3 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"]
    report = vehicle.list(f"{PLAIN}, {passing}", runs)
    assert {"D.1", "D.3"} <= {probe.at for probe in only(report.supplies).probes}


def test_pins_bridged_inside_the_module_are_proven_alone_and_marked(vehicle: Vehicle) -> None:
    parts = module("1: supply, 2: ground, 3: ground", "1-3", "joined: [[2, 3]]")
    report = vehicle.list(parts, [*FED, "M.3 -- BN 1 -- S1", "S1 -- BN 1 -- S2", "S2 -- BN 1 -- S1"])
    assert [row.pin for row in report.grounds] == ["2"]
    assert only(report.grounds).joined_with == ("3",)
    assert "L115" in codes(report)


def test_a_holder_without_a_fuse_and_an_option_are_not_live(vehicle: Vehicle) -> None:
    panel = "P: {is: panel, positions: {A: {amps: 10, state: option}}, busbars: {BAT.+: [A]}}"
    report = vehicle.list(f"{PLAIN}, {panel}", ["A -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"])
    row = only(report.supplies)
    assert set(row.live.values()) == {"dead"}
    assert any("not fitted" in note for note in row.notes)


def test_a_wire_on_a_position_that_must_be_empty_is_loose(vehicle: Vehicle) -> None:
    report = vehicle.list(
        f"{PLAIN}, P: {{is: panel, positions: {{A: empty}}, busbars: {{BAT.+: [A]}}}}",
        ["A -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"],
    )
    assert "L125" in codes(report)


def test_a_fuse_that_is_fitted_but_not_fed(vehicle: Vehicle) -> None:
    report = vehicle.list(PLAIN, ["F1.load -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"])
    assert {"L109", "L114"} <= codes(report)


def test_an_unfused_supply_is_said(vehicle: Vehicle) -> None:
    report = vehicle.list(PLAIN, ["BAT.+ -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"])
    assert "no fuse on the way" in only(report.supplies).notes
    assert "R203" in {remark.code for remark in report.remarks}


def test_a_connector_half_without_a_mate_is_loose(vehicle: Vehicle) -> None:
    parts = f"{module('1: supply, 2: ground, 3: signal', '1-3')}, X1: {{is: connector, halves: [cab, trailer]}}"
    assert "L107" in codes(vehicle.list(parts, [*FED, "M.3 -- GN 1 -- X1.4"]))


def test_cavity_numbers_that_differ_on_the_two_halves(vehicle: Vehicle) -> None:
    report = vehicle.list(
        f"{PLAIN}, X1: {{is: connector, mates: {{1: 7}}}}",
        ["BAT.+ -- RD 1 -- F1 -- RD 1 -- X1.1>7 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1"],
    )
    assert {"X1.1, towards F1", "X1.7, towards M"} <= {probe.at for probe in only(report.supplies).probes}


def test_separate_grounds_on_engine_and_body_joined_by_a_strap(vehicle: Vehicle) -> None:
    parts = f"{PLAIN}, GE: {{is: ground, on: engine}}, GE2: {{is: ground, on: engine}}, W1: {{is: strap, meets: {{1: GE2, 2: G1}}}}"
    report = vehicle.list(parts, ["BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1", "M.2 -- BN 1 -- GE"])
    assert [probe.at for probe in only(report.grounds).probes] == ["BAT.-", "G1", "W1.2", "W1.1", "GE2", "GE", "M.2"]
    assert "L122" in codes(
        vehicle.list(
            f"{PLAIN}, GE: {{is: ground, on: engine}}", ["BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1", "M.2 -- BN 1 -- GE"]
        )
    )


def test_a_shield_grounded_at_one_end_is_no_ground_of_the_module(vehicle: Vehicle) -> None:
    parts = module("1: supply, 2: ground, 3: shield", "1-3")
    report = vehicle.list(parts, [*FED, "M.3 -- bare -- G1"])
    assert [row.pin for row in report.grounds] == ["2"]
    assert [(row.pin, row.level) for row in report.carrying] == [("3", "ground")]


def test_a_5_v_rail_that_feeds_sensors_is_a_supply_for_nobody(vehicle: Vehicle) -> None:
    parts = module(
        "1: supply, 2: ground, 3: reference 5 V, 4: signal", "1-4", "outputs: {3: {drives: reference, volts: 5}}"
    )
    sensor = "Q: {is: load, pins: [1, 2, 3]}"
    report = vehicle.list(
        f"{parts}, {sensor}", [*FED, "M.3 -- VT 0.5 -- Q.1", "Q.2 -- BN 0.5 -- G1", "Q.3 -- GN 0.5 -- M.4"]
    )
    assert [row.pin for row in report.supplies] == ["1"]
    assert report.complete


def test_a_sense_pin_carries_supply_without_being_one(vehicle: Vehicle) -> None:
    parts = module("1: supply, 2: ground, 3: signal ignition on", "1-3")
    report = vehicle.list(parts, [*FED, "15 -- BK 1 -- F2 -- BK 1 -- M.3"], 'rails: {"15": [run]}')
    assert [row.pin for row in report.supplies] == ["1"]
    assert [(row.code, row.pin, row.level) for row in report.carrying] == [("V1", "3", "supply")]


def test_a_brown_wire_that_is_plus_is_a_supply(vehicle: Vehicle) -> None:
    report = vehicle.list(module("1: ground, 2: ground"), ["BAT.+ -- BN 1 -- F1 -- BN 1 -- M.1", "M.2 -- BN 1 -- G1"])
    assert "L119" in codes(report) and "L115" not in codes(report)


def test_24_v_with_a_tapped_12_v_keeps_both_sources_apart(vehicle: Vehicle) -> None:
    parts = f"{module('1: supply 24 V, 2: ground, 3: supply 12 V', '1-3')}, UP: battery"
    runs = [
        "BAT.+ -- RD 16 -- UP.-",
        "UP.+ -- RD 1 -- F1 -- RD 1 -- M.1",
        "BAT.+ -- RD 1 -- F2 -- RD 1 -- M.3",
        "M.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(parts, runs, "system: 24 V")
    ends = {row.pin: [end.id for end in row.ends] for row in report.supplies}
    assert ends["1"] == ["UP.+"]


def test_a_supply_that_exists_only_as_a_message_depends_on_it(vehicle: Vehicle) -> None:
    driver = module(
        "1: supply, 2: ground, 3: output",
        "1-3",
        "outputs: {3: {drives: high, from: 1, when: [ignition message]}}",
        name="D",
    )
    runs = ["D.3 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "BAT.+ -- RD 1 -- F2 -- RD 1 -- D.1", "D.2 -- BN 1 -- G1"]
    report = vehicle.list(
        f"{PLAIN}, {driver}", runs, "conditions: {ignition message: {text: ignition on by bus, when: [run]}}"
    )
    row = only(report.supplies)
    assert (row.live["off"], row.live["run"], row.why["run"]) == ("dead", "depends", ("ignition message",))


def test_a_wakes_b_and_b_feeds_a(vehicle: Vehicle) -> None:
    a = module("1: supply, 2: ground, 3: output", "1-3", "outputs: {3: {drives: high, from: 1, when: always}}")
    b = module(
        "1: supply, 2: ground, 3: output, 4: supply",
        "1-4",
        "outputs: {3: {drives: high, from: 4, when: always}}",
        name="B",
    )
    runs = [
        "M.3 -- RD 1 -- B.1",
        "B.3 -- RD 1 -- M.1",
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- B.4",
        "M.2 -- BN 1 -- G1",
        "B.2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{a}, {b}", runs)
    assert any(need.endswith("(loop)") for row in report.rows for need in row.needs)


def test_a_timed_relay_says_that_the_moment_matters(vehicle: Vehicle) -> None:
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
        "15 -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, K1: {{is: relay, kind: timed off}}", runs, 'rails: {"15": [run]}')
    assert any("note how long after" in note for note in only(report.supplies).notes)


def test_an_own_relay_kind_of_the_vehicle_is_used_by_name(vehicle: Vehicle) -> None:
    kinds = "kinds:\n  feeder:\n    is: relay\n    coil: c1-c2\n    contacts: {energised: [in-out]}\n"
    (vehicle.folder / "types.yaml").write_text(kinds, encoding="utf-8")
    runs = [
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.in",
        "K1.out -- RD 1 -- M.1",
        "M.2 -- BN 1 -- G1",
        "15 -- RD 1 -- K1.c1",
        "K1.c2 -- BN 1 -- G1",
    ]
    report = vehicle.list(f"{PLAIN}, K1: {{is: relay, kind: feeder}}", runs, 'rails: {"15": [run]}')
    assert only(report.supplies).switches == ("K1 (in to out)",)
