"""Switch positions and sources that may be dead, in typed vehicles: what rows, panels, `common` and `affects` say of them, and what ends a way."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.typed import load
from tracer.report.supplies import as_data, as_text
from tracer.trace.affects.dead_part import LOST, Affected
from tracer.trace.affects.in_common import CLEARED, CommonReport, common_of
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.panels.positions_of import panels_of
from tracer.trace.tracing import Tracing
from tracer.trace.ways import consistent as consistent_ways
from tracer.trace.ways.guards import guards_of

PARTS = """\
  BAT: battery
  G1: ground
  S1: splice
  S2: splice
  S3: splice
  FB: {is: panel, positions: {F1: 10, F2: 15, F3: 20}, busbars: {BAT.+: [F1, F2]}}
  M: {is: module, cavities: 1-3, unused: [3], pins: {1: supply, 2: ground}}
  N: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
"""
GROUNDS = ["BAT.- -- BK 35 -- G1", "M.2 -- BN 1 -- G1", "N.2 -- BN 1 -- G1"]


def tracing_of(folder: Path, parts: list[str], runs: list[str], vehicle: str = "vehicle: v\n") -> Tracing:
    more = "".join(f"  {part}\n" for part in parts)
    lines = "".join(f"- {run}\n" for run in (*GROUNDS, *runs))
    return Tracing(load(folder, f"sheet: 1\nparts:\n{PARTS}{more}runs:\n{lines}", vehicle=vehicle))


def row(tracing: Tracing, module: str = "M") -> Row:
    report = supplies_of(tracing, module)
    assert report.cross_check.differences == ()
    (only,) = report.supplies
    return only


def fuses(found: Row) -> dict[str, tuple[bool, bool | None]]:
    return {fuse.part: (fuse.sole, fuse.alone) for fuse in found.fuses}


def shared(report: CommonReport) -> set[str]:
    return {one.name for group in report.groups if group.verdict != CLEARED for one in group.candidates}


# --- one setting at a time -----------------------------------------------------------------------------------------

LEVER = "SW: {is: switch, contacts: {off: [6-4], on: [7-4]}}"
LEVER_RUNS = [
    "F1 -- RD 1 -- S1",
    "F2 -- RD 1 -- S2",
    "S1 -- RD 1 -- SW.6",
    "S2 -- RD 1 -- SW.7",
    "S1 -- RD 1 -- N.1",
    "S2 -- RD 1 -- M.1",
]


@pytest.fixture
def lever(tmp_path: Path) -> Tracing:
    """A lever that takes a light from one of two fuses, each of which also feeds a module for itself."""
    return tracing_of(
        tmp_path, [LEVER, "E: load"], [*LEVER_RUNS, "SW.4 -- RD 1 -- S3", "S3 -- RD 1 -- E -- BN 1 -- G1"]
    )


def test_a_lever_is_not_closed_both_ways(lever: Tracing) -> None:
    found = row(lever)
    assert fuses(found) == {"F2": (True, True)}
    assert found.switches == ()
    assert set(found.live.values()) == {"live"}


def test_what_the_lever_rules_out_is_shown_with_it(lever: Tracing) -> None:
    (left_out,) = row(lever).left_out
    assert set(left_out.names) >= {"F1", "S1"}
    assert left_out.switches == ("SW",)
    report = supplies_of(lever, "M")
    assert "only over contacts of SW that are never closed together" in " ".join(as_text(report).split())
    assert as_data(report)["supplies"][0]["left_out"][0]["switches"] == ["SW"]


def test_panel_common_and_affects_mean_the_same_ways(lever: Tracing) -> None:
    served = {one.label: {(pin.part, pin.pin) for pin in one.serves} for one in panels_of(lever).positions}
    assert served["F1"] == {("N", "1"), ("E", "1")}
    assert served["F2"] == {("M", "1"), ("E", "1")}
    assert {"F2", "S2"} <= shared(common_of(lever, ["M"]))
    assert "F1" not in shared(common_of(lever, ["M"]))
    assert {effect.terminal.part for effect in Affected(lever).report("F2").of(LOST)} == {"M"}
    assert all(relay.certain for relay in Affected(lever).report("F2").relays)


def test_a_part_behind_the_lever_is_fed_either_way(lever: Tracing) -> None:
    assert not shared(common_of(lever, ["E"])) & {"F1", "F2"}
    assert "SW" in shared(common_of(lever, ["E"]))


def test_a_pin_that_only_clashing_contacts_feed_is_a_loose_end_that_names_them(tmp_path: Path) -> None:
    parts = ["K: {is: relay, kind: change-over}", "L: {is: relay, kind: normally open}"]
    runs = ["F1 -- RD 1 -- K.87", "K.87a -- RD 1 -- M.1", "F2 -- RD 1 -- N.1"]
    report = supplies_of(tracing_of(tmp_path, parts, runs), "M")
    assert not report.supplies and not report.complete
    (found,) = [loose for loose in report.loose_ends if loose.code == "L133"]
    assert found.message == "every way of supply to M.1 leads over contacts of K that are never closed together"


def test_two_key_switches_that_are_never_closed_together_share_one_variable(tmp_path: Path) -> None:
    """A by-pass over one contact of off and one of run: the middle fuse is on every way all the same."""
    parts = ["A: {is: switch, follows: key, contacts: {off: [1-2], acc: [], run: [], start: []}}",
             "B: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}"]  # fmt: skip
    runs = ["F1 -- RD 1 -- S1", "S1 -- RD 1 -- F3 -- RD 1 -- S2", "S1 -- RD 1 -- A.1", "A.2 -- RD 1 -- B.1", "B.2 -- RD 1 -- S2",
            "S2 -- RD 1 -- M.1", "F2 -- RD 1 -- N.1"]  # fmt: skip
    found = row(tracing_of(tmp_path, parts, runs))
    assert fuses(found) == {"F1": (True, True), "F3": (True, True)}
    assert found.left_out == ()


def test_parallel_fuses_whose_contacts_clash_do_not_suffice_alone(tmp_path: Path) -> None:
    """Either fuse through the change-over; F3 only together with F1 at rest: no certainty is claimed that positions forbid."""
    parts = ["K: {is: relay, kind: change-over}"]
    runs = ["F1 -- RD 1 -- K.87a", "F2 -- RD 1 -- K.87", "K.30 -- RD 1 -- M.1", "F2.load -- RD 1 -- N.1"]
    assert fuses(row(tracing_of(tmp_path, parts, runs))) == {"F1": (False, True), "F2": (False, True)}


def test_a_level_that_only_clashing_contacts_would_give_is_dead(tmp_path: Path) -> None:
    """In off the rail is dead, and what is left leads over both positions of the lever."""
    parts = ["SW: {is: switch, contacts: {off: [6-4], on: [7-4]}}"]
    runs = ["F1 -- RD 1 -- SW.6", "15 -- RD 1 -- S2", "S2 -- RD 1 -- SW.7", "S2 -- RD 1 -- F3 -- RD 1 -- M.1", "SW.4 -- RD 1 -- S3",
            "S3 -- RD 1 -- N.1"]  # fmt: skip
    tracing = tracing_of(tmp_path, parts, runs, 'vehicle: v\nkey: [off, run]\nrails: {"15": [run]}\n')
    assert row(tracing).live == {"off": "dead", "run": "live"}
    assert row(tracing, "N").live == {"off": "depends", "run": "depends"}


def test_beyond_the_bounds_a_row_keeps_too_much_says_so_and_claims_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = ["SW: {is: switch, contacts: {off: [6-4], on: [7-4], dim: [8-4]}}", "F9: {is: fuse, amps: 5}"]
    runs = [*LEVER_RUNS, "BAT.+ -- RD 1 -- F9 -- RD 1 -- SW.8"]
    tracing = tracing_of(tmp_path, parts, runs)
    assert [fuse.part for fuse in row(tracing).fuses] == ["F2"]
    monkeypatch.setattr(consistent_ways, "MOST_VISITS", -1)
    report: SupplyReport = supplies_of(Tracing(tracing.circuit), "M")
    (found,) = report.supplies
    assert {"F1", "F2", "F9"} == {fuse.part for fuse in found.fuses}
    assert not any(fuse.alone for fuse in found.fuses)
    assert found.too_many == ("SW",)
    assert any("may list more than feeds this pin" in note for note in found.notes)
    assert "MAY LIST TOO MUCH: S1" in as_text(report)


# --- guards --------------------------------------------------------------------------------------------------------


def test_guards_hold_what_closes_a_contact(tmp_path: Path) -> None:
    parts = ["A: {is: switch, follows: key, contacts: {off: [], run: [30-15-75], start: [30-15]}}",
             "H: {is: switch, contacts: {in: [1-2], out: [1-2]}}",
             "K: {is: relay, kind: change-over}", "L: {is: relay, kind: change-over}"]  # fmt: skip
    runs = ["F1 -- RD 1 -- A.30", "A.15 -- RD 1 -- M.1", "S1 -- RD 1 -- K.86", "S1 -- RD 1 -- L.86"]
    circuit = tracing_of(tmp_path, parts, runs, "vehicle: v\nkey: [off, acc, run, start]\n").circuit
    found = {(circuit.node_names[circuit.links[n].a], circuit.node_names[circuit.links[n].b]): guard for n, guard in guards_of(circuit).items()}  # fmt: skip
    # acc is missing in the table: what the switch does there is not known, and so it may be closed.
    assert (found["A.30", "A.15"].closed, found["A.30", "A.75"].closed) == (0b1110, 0b0110)
    assert found["A.30", "A.15"].variable == ("key", "")
    assert ("H.1", "H.2") not in found  # closed in every position
    assert found["K.30", "K.87"].closed | found["K.30", "K.87a"].closed == 0b11
    assert found["K.30", "K.87"].variable != found["L.30", "L.87"].variable  # on one coil wire, and yet each by itself


# --- what ends a way -----------------------------------------------------------------------------------------------


def test_a_way_runs_on_through_the_stud_of_a_generator(tmp_path: Path) -> None:
    parts = ["GEN: generator", "ML1: {is: link, amps: 150}"]
    runs = ["BAT.+ -- RD 35 -- ML1 -- RD 35 -- GEN.B+", "GEN.B+ -- RD 4 -- F3 -- RD 1 -- M.1", "GEN.B- -- BK 35 -- G1",
            "F1 -- RD 1 -- N.1"]  # fmt: skip
    tracing = tracing_of(tmp_path, parts, runs)
    found = row(tracing)
    assert [fuse.part for fuse in found.fuses] == ["ML1", "F3"]
    assert [fuse.beside for fuse in found.fuses] == [("GEN.B+",), ()]
    assert {end.id for end in found.ends} == {"BAT.+", "GEN.B+"}
    assert [probe.at for probe in found.probes][:4] == ["BAT.+", "ML1.feed", "ML1.load", "GEN.B+"]
    assert any("each alone suffices, as long as it is live" in note for note in found.notes)
    assert "ML1" in shared(common_of(tracing, ["M"]))
    # A module that works may have been fed by the generator: it clears nothing.
    report = common_of(tracing, ["N"], ["M"])
    assert not any("ML1" in {one.name for one in group.candidates} for group in report.groups if group.working)
    effect = next(effect for effect in Affected(tracing).report("ML1").effects if effect.terminal.part == "M")
    assert set(effect.after.values()) == {"depends"}


def test_a_second_battery_ends_a_way(tmp_path: Path) -> None:
    parts = ["AUX: battery", "ML1: {is: link, amps: 100}"]
    runs = ["BAT.+ -- RD 35 -- ML1 -- RD 35 -- AUX.+", "AUX.+ -- RD 4 -- F3 -- RD 1 -- M.1", "AUX.- -- BK 35 -- G1", "F1 -- RD 1 -- N.1"]  # fmt: skip
    found = row(tracing_of(tmp_path, parts, runs))
    assert [fuse.part for fuse in found.fuses] == ["F3"]
    assert [end.id for end in found.ends] == ["AUX.+"]


def test_a_way_runs_on_through_the_output_of_a_converter(tmp_path: Path) -> None:
    parts = ["DC: {is: converter, volts: 12}"]
    runs = ["F1 -- RD 1 -- DC.in", "DC.ground -- BN 1 -- G1", "DC.out -- RD 1 -- S1", "F2 -- RD 1 -- DC.out", "S1 -- RD 1 -- M.1",
            "F1.load -- RD 1 -- N.1"]  # fmt: skip
    found = row(tracing_of(tmp_path, parts, runs))
    assert [fuse.part for fuse in found.fuses] == ["F2"]
    assert {end.id for end in found.ends} == {"BAT.+", "DC.out"}


@pytest.mark.parametrize(("live", "expected"), [("[run]", ["F1", "F3"]), ("always", ["F3"])])
def test_a_rail_ends_a_way_only_where_it_is_live_in_every_key_state(
    tmp_path: Path, live: str, expected: list[str]
) -> None:
    runs = ["F1 -- RD 1 -- 87", "87 -- RD 1 -- F3 -- RD 1 -- M.1", "F2 -- RD 1 -- N.1"]
    tracing = tracing_of(tmp_path, [], runs, f'vehicle: v\nkey: [off, run]\nrails: {{"87": {live}}}\n')
    assert [fuse.part for fuse in row(tracing).fuses] == expected


def test_a_way_runs_on_through_an_output_whose_supply_is_not_said(tmp_path: Path) -> None:
    parts = ["D: {is: module, cavities: 1-2, pins: {1: ground, 2: output}, outputs: {2: {drives: high, when: [off, acc, run, start]}}}"]  # fmt: skip
    runs = ["D.1 -- BN 1 -- G1", "F1 -- RD 1 -- D.2", "D.2 -- RD 1 -- M.1", "F2 -- RD 1 -- N.1"]
    found = row(tracing_of(tmp_path, parts, runs))
    assert [fuse.part for fuse in found.fuses] == ["F1"]
    assert {end.id for end in found.ends} == {"BAT.+", "D.2"}


def test_a_reference_voltage_is_no_source_and_a_charging_socket_is_none_either(tmp_path: Path) -> None:
    parts = ["D: {is: module, cavities: 1-2, pins: {1: ground, 2: reference 5 V}, outputs: {2: {drives: reference, volts: 5}}}",
             "X9: {is: connector, cavities: [1]}"]  # fmt: skip
    runs = ["D.1 -- BN 1 -- G1", "D.2 -- RD 1 -- N.1", "F1 -- RD 1 -- S1", "X9.1:a -- RD 16 -- S1", "S1 -- RD 1 -- M.1", "F2 -- RD 1 -- X9.1:b"]  # fmt: skip
    tracing = tracing_of(tmp_path, parts, runs)
    assert not supplies_of(tracing, "N").supplies
    assert {fuse.part for fuse in row(tracing).fuses} == {"F1", "F2"}


BESIDE = """\
sheet: 1
parts:
  BAT: battery
  G1: ground
  F1: {is: fuse, amps: 5}
  F2: {is: fuse, amps: 5}
  H1: {is: switch, contacts: {one: [1-2], two: [3-4]}}
  SW: {is: switch, contacts: {off: [], on: [5-6]}}
  S5: splice
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
  - BAT.+ -- RD 1 -- F1 -- RD 1 -- H1.1
  - H1.2 -- RD 1 -- H1.3
  - H1.4 -- RD 1 -- S5
  - BAT.+ -- RD 1 -- F2 -- RD 1 -- SW.5
  - SW.6 -- RD 1 -- S5
  - S5 -- RD 1 -- M.1
  - M.2 -- BN 1 -- G1
  - BAT.- -- BN 1 -- G1
"""


def test_a_level_depends_on_nothing_that_only_a_way_no_setting_closes_would_bring(tmp_path: Path) -> None:
    (row,) = supplies_of(Tracing(load(tmp_path / "a", BESIDE)), "M").supplies
    assert [fuse.part for fuse in row.fuses] == ["F2"]
    assert row.why["run"] == ("SW in position on",)
    unknown = BESIDE.replace("  - H1.2 -- RD 1 -- H1.3\n", "  - H1.2 -- RD 1 -- H1.3\n  - H1.3 -- RD 1 -- ?\n")
    (row,) = supplies_of(Tracing(load(tmp_path / "b", unknown)), "M").supplies
    assert set(row.why["run"]) >= {"SW in position on", "where the run `H1.3 -- RD 1 -- ?` leads"}, (
        "what is not known stays"
    )
