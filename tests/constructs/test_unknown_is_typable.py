"""What the diagram does not say is typed as it is, in a line or two: it is a loose end of the lists that it touches, never 'not connected', never a way."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.typed import HEAD, load, problems, write
from tracer.circuit.states import Level
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.volts.expected import expected_of
from tracer.trace.affects.dead_part import affects
from tracer.trace.affects.in_common import common_of
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.rules import registry as rules
from tracer.trace.tracing import Tracing

PARTS = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  G1: ground
  S1: splice
  E1: {is: load, watts: 21}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
"""
SOUND = """\
  - BAT.+ -- RD 1 -- F1 -- RD 1 -- S1
  - S1 -- RD 1 -- E1 -- BN 1 -- G1
  - M.2 -- BN 1 -- G1
  - BAT.- -- BK 16 -- G1
"""
FED = "  - S1 -- RD 1 -- M.1\n"


def tracing(folder: Path, parts: str, runs: str, vehicle: str = "vehicle: v\nkey: [off, run]\n") -> Tracing:
    return Tracing(load(folder, f"{PARTS}  {parts}\nruns:\n{SOUND}{runs}", vehicle=vehicle))


def loose(report: SupplyReport) -> set[tuple[str, str]]:
    return {(end.code, end.at) for end in report.loose_ends}


THROUGH = {
    "a box": ("Q1: box", "1", "2"),
    "a box with its pins": ("Q1: {is: box, cavities: 1-4, unused: [4]}", "1", "3"),
    "a switch without its table": ("Q1: switch", "30", "15"),
    "a switch of unknown contacts": ("Q1: {is: switch, contacts: unknown}", "A", "B"),
    "a relay without a kind": ("Q1: relay", "30", "87"),
    "a relay of unknown contacts": ("Q1: {is: relay, contacts: unknown, coil: 86-85}", "30", "87"),
    "a switch with one lever unknown": ("Q1: {is: switch, levers: {a: {contacts: {off: [], on: [7-8]}}, b: {contacts: unknown}}}", "1", "2"),
    "pins of a switch outside its contacts": ("Q1: {is: switch, pins: [58, 31], contacts: {off: [], on: [1-2]}}", "58", "31"),
}  # fmt: skip


@pytest.mark.parametrize(("part", "one", "other"), THROUGH.values(), ids=THROUGH)
def test_a_supply_behind_an_unknown_inside_is_not_known_and_never_dead(
    part: str, one: str, other: str, tmp_path: Path
) -> None:
    found = tracing(tmp_path, part, f"  - S1 -- RD 1 -- Q1.{one}\n  - Q1.{other} -- RD 1 -- M.1\n")
    report = supplies_of(found, "M")
    assert not report.complete
    assert report.supplies == (), "no way is invented through it"
    assert {("L161", f"Q1.{other}"), ("L114", "M.1")} <= loose(report)
    assert report.cross_check.differences == ()
    pin = found.circuit.node_of_point["M", "1"]
    for key in found.states.keys:
        assert found.states.supply_level(pin, key) is Level.DEPENDS
        assert [why.known for why in found.states.reasons(pin, key)] == [False]


@pytest.mark.parametrize(("part", "one", "other"), THROUGH.values(), ids=THROUGH)
def test_an_unknown_inside_beside_the_way_leaves_every_answer_open(
    part: str, one: str, other: str, tmp_path: Path
) -> None:
    found = tracing(tmp_path, part, f"{FED}  - S1 -- RD 1 -- Q1.{one}\n")
    report = supplies_of(found, "M")
    assert [row.pin for row in report.supplies] == ["1"]
    assert not report.complete
    assert loose(report) == {("L161", f"Q1.{one}")}
    assert not affects(found, "F1").complete
    assert not common_of(found, ["M", "E1"]).complete
    points = expected_of(found, report, limits=limits_of(found.circuit)).points
    assert {one.not_computed for one in points["S1", "M.1"]} == {
        f"not computed, because what Q1.{one} is joined with inside Q1 is not known"
    }
    assert all(ground.volts is not None for ground in points["G1", "M.2"]), "one row is withheld, not the whole list"


@pytest.mark.parametrize(("part", "one", "other"), THROUGH.values(), ids=THROUGH)
def test_the_second_count_sees_what_the_rule_would_forget(
    part: str, one: str, other: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rules.all_rules()
    monkeypatch.setitem(rules._RULES, "L161", replace(rules.RULES["L161"], find=lambda tracing: iter(())))
    report = supplies_of(tracing(tmp_path, part, f"{FED}  - S1 -- RD 1 -- Q1.{one}\n"), "M")
    assert len(report.cross_check.differences) == 1
    assert f"Q1.{one}" in report.cross_check.differences[0]
    assert not report.complete


def test_an_unknown_inside_elsewhere_is_counted_but_concerns_no_other_list(tmp_path: Path) -> None:
    runs = f"{FED}  - BAT.+ -- RD 1 -- F2 -- RD 1 -- Q1.1\n"
    report = supplies_of(tracing(tmp_path, "Q1: box\n  F2: {is: fuse, amps: 5}", runs), "M")
    assert report.complete
    assert report.loose_elsewhere == 1


def test_a_lamp_that_sits_on_the_pins_of_a_switch_makes_them_known(tmp_path: Path) -> None:
    parts = "Q1: {is: switch, pins: [58, 31], contacts: {off: [], on: [1-2]}}\n  E9: {is: load, meets: {1: Q1.58, 2: Q1.31}}\n  E2: load"
    runs = f"{FED}  - S1 -- RD 1 -- Q1.58\n  - Q1.31 -- BN 1 -- G1\n  - S1 -- RD 1 -- Q1.1\n  - Q1.2 -- RD 1 -- E2 -- BN 1 -- G1\n"
    found = tracing(tmp_path, parts, runs)
    report = supplies_of(found, "M")
    assert report.complete
    assert not problems(tmp_path)
    assert found.states.supply_level(found.circuit.node_of_point["E9", "1"], "run") is Level.LIVE


def test_a_pin_that_a_switch_does_not_have_is_still_a_slip(tmp_path: Path) -> None:
    sheet = f"{HEAD}  Q1: {{is: switch, contacts: {{on: [1-2]}}}}\nruns: [S1 -- RD 1 -- Q1.3]\n"
    (problem,) = problems(write(tmp_path, sheet))
    assert problem.what == "Q1 has no pin 3"


def test_what_one_sheet_does_not_know_another_sheet_may_say(tmp_path: Path) -> None:
    one = "sheet: 1\nparts: {Q1: {is: switch, contacts: unknown}, S1: splice, S2: splice}\nruns: [S1 -- RD 1 -- Q1.1, Q1.2 -- RD 1 -- S2]\n"
    two = "sheet: 2\nparts: {Q1: {is: switch, contacts: {on: [1-2]}}}\n"
    circuit = load(tmp_path, one, two)
    assert not circuit.parts["Q1"].inside_unknown
    assert list(circuit.parts["Q1"].contacts) == ["on"]


# --- one position ---------------------------------------------------------------------------------------------------

POSITIONS = {
    "a switch by hand": "{is: switch, contacts: {off: [], one: [30-15], two: unknown}}",
    "a switch that follows the key": "{is: switch, follows: key, contacts: {off: unknown, run: [30-15]}}",
    "a switch that follows a condition": "{is: switch, follows: lights, contacts: {no: unknown, yes: [30-15]}}",
    "a relay": "{is: relay, coil: 86-85, contacts: {rest: unknown, energised: [30-15]}}",
    "a lever": "{is: switch, levers: {a: {contacts: {off: unknown, on: [30-15]}}}}",
}


@pytest.mark.parametrize("part", POSITIONS.values(), ids=POSITIONS)
def test_one_position_of_a_contact_table_may_be_unknown(part: str, tmp_path: Path) -> None:
    vehicle = "vehicle: v\nkey: [off, run]\nconditions: {lights: side lights on}\n"
    found = tracing(tmp_path, f"Q1: {part}", "  - S1 -- RD 1 -- Q1.30\n  - Q1.15 -- RD 1 -- M.1\n", vehicle)
    report = supplies_of(found, "M")
    assert [row.pin for row in report.supplies] == ["1"], "the known position leads there"
    assert {("L161", "Q1.30"), ("L161", "Q1.15")} <= loose(report)
    assert report.cross_check.differences == ()
    assert "dead" not in report.supplies[0].live.values()


def test_what_an_unknown_position_may_join_rules_nothing_out(tmp_path: Path) -> None:
    """Two contacts that no known position closes together may both be closed in the unknown one."""
    table = "{is: switch, contacts: {one: [1-2], two: [3-4]%s}}"
    runs = "  - S1 -- RD 1 -- Q1.1\n  - Q1.2 -- RD 1 -- Q1.3\n  - Q1.4 -- RD 1 -- M.1\n"
    known = supplies_of(tracing(tmp_path / "known", f"Q1: {table % ''}", runs), "M")
    report = supplies_of(tracing(tmp_path / "unknown", f"Q1: {table % ', three: unknown'}", runs), "M")
    assert known.supplies == () and [row.pin for row in report.supplies] == ["1"]
    assert report.cross_check.differences == () and not report.complete


def test_another_sheet_may_know_the_position(tmp_path: Path) -> None:
    one = "sheet: 1\nparts: {Q1: {is: switch, contacts: {off: [], on: unknown}}, S1: splice, S2: splice}\nruns: [S1 -- RD 1 -- Q1.1, Q1.2 -- RD 1 -- S2]\n"
    two = "sheet: 2\nparts: {Q1: {is: switch, contacts: {on: [1-2]}}}\n"
    circuit = load(tmp_path, one, two)
    assert not circuit.parts["Q1"].inside_unknown
    assert dict(circuit.parts["Q1"].contacts) == {"off": (), "on": (("1", "2"),)}


# --- levers --------------------------------------------------------------------------------------------------------

LEVERS = "S7: {is: switch, levers: {wiper: {contacts: {off: [], slow: [53a-53]}}, lights: {follows: lights, contacts: {no: [], yes: [30-58]}}}}"
WITH_LIGHTS = "vehicle: v\nkey: [off, run]\nconditions: {lights: side lights on}\n"


def test_two_levers_on_one_column_are_two_switches_in_one_part(tmp_path: Path) -> None:
    runs = "  - S1 -- RD 1 -- S7.53a\n  - S7.53 -- RD 1 -- M.1\n  - S1 -- RD 1 -- S7.30\n  - S7.58 -- RD 1 -- E2 -- BN 1 -- G1\n"
    found = tracing(tmp_path, f"{LEVERS}\n  E2: load", runs, WITH_LIGHTS)
    states, at = found.states, found.circuit.node_of_point
    assert [why.text for why in states.reasons(at["M", "1"], "run")] == ["S7/wiper in position slow"]
    assert [why.text for why in states.reasons(at["E2", "1"], "run")] == ["lights"]
    assert supplies_of(found, "M").complete


def test_a_lever_is_held_by_its_name(tmp_path: Path) -> None:
    from tracer.electrics.model.changes import BadChange, changes_of

    runs = "  - S1 -- RD 1 -- S7.53a\n  - S7.53 -- RD 1 -- M.1\n"
    found = tracing(tmp_path, LEVERS, runs, WITH_LIGHTS)
    assert changes_of(found.circuit, held=["S7/wiper=slow"]).held == {"S7/wiper": "slow"}
    for wrong, said in (("S7=slow", "S7/wiper=POSITION"), ("S7/wiper=fast", "off or slow"), ("S7/lights=yes", "follows lights")):  # fmt: skip
        with pytest.raises(BadChange, match=said):
            changes_of(found.circuit, held=[wrong])


# --- pins, lugs, converter -----------------------------------------------------------------------------------------


def test_a_pin_may_be_called_cn8_3(tmp_path: Path) -> None:
    sheet = PARTS.replace(
        "cavities: 1-2, pins: {1: supply, 2: ground}",
        "cavities: {CN8-: 1-3, CN9-: [4, 7]}, unused: {CN8-: 2, CN9-: 4}, pins: {CN8-1: supply, CN8-3: ground, CN9-7: supply}, joined: [{CN8-: 1, CN9-: 7}]",
    )
    sheet += "  Q1: {is: switch, contacts: {off: [], on: [[CN1-1, CN1-2]]}}\nruns:\n"
    sheet += SOUND.replace("M.2", "M.CN8-3") + "  - S1 -- RD 1 -- Q1.CN1-1\n  - Q1.CN1-2 -- RD 1 -- M.CN8-1\n"
    sheet += "  - S1 -- RD 1 -- M.CN9-7\n"
    report = supplies_of(Tracing(load(tmp_path, sheet)), "M")
    assert [row.pin for row in report.supplies] == ["CN8-1", "CN9-7"]
    assert report.supplies[0].switches == ("Q1 (CN1-1 to CN1-2)",)
    assert report.complete


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("Q: {is: module, pins: {CN8-3: supply}}", "`cavities: {CN8-: 3}`"),
        ("Q: {is: module, cavities: [CN8-3]}", "`{CN8-: 3}` if it is one pin"),
        ("Q: {is: module, cavities: {CN8-: [1, 1]}}", "once"),
        ("Q: {is: module, cavities: {CN8-: {1: 2}}}", "{CN8-: 1-24}"),
    ],
)
def test_a_pin_name_that_looks_like_a_range_says_how_to_type_it(part: str, said: str, tmp_path: Path) -> None:
    (problem,) = problems(write(tmp_path, f"{HEAD}  {part}\n"))
    assert said in problem.fix


def test_several_lugs_on_one_stud_and_several_wires_in_one_joint(tmp_path: Path) -> None:
    parts = "ST: {is: splice, lugs: [1, 2]}\n  J1: {is: joint, cavities: 1-3, bussed: [1-3], several: [1], unused: [3]}"
    parts = parts.replace("[1-3]", "[[1, 2, 3]]")
    runs = "  - S1 -- RD 1 -- ST.1\n  - ST.2 -- RD 1 -- J1.1\n  - J1.1 -- RD 1 -- M.1\n  - J1.2 -- RD 1 -- E2 -- BN 1 -- G1\n"
    report = supplies_of(tracing(tmp_path, f"{parts}\n  E2: load", runs), "M")
    assert report.complete
    assert [probe.at for probe in report.supplies[0].probes][-5:] == ["ST.1", "ST", "ST.2", "J1.1", "M.1"]


@pytest.mark.parametrize(
    ("part", "run", "said"),
    [
        ("ST: splice", "S1 -- RD 1 -- ST.1", "it has no pins"),
        ("ST: {is: splice, lugs: [1, 2]}", "S1 -- RD 1 -- ST.3", "has the lugs 1 and 2"),
    ],
)
def test_a_lug_that_is_not_listed_is_a_slip(part: str, run: str, said: str, tmp_path: Path) -> None:
    (problem,) = problems(write(tmp_path, f"{HEAD}  {part}\nruns: [{run}]\n"))
    assert said in problem.what


CONVERTER = (
    "  - S1 -- RD 1 -- CV.in\n  - CV.ground -- BN 1 -- G1\n  - CV.out -- RD 1 -- N.1\n  - CV.return -- BN 1 -- N.2\n"
    + FED
)


@pytest.mark.parametrize(
    ("how", "complete", "ends"),
    [("isolated", True, ["CV.return"]), ("joined", True, ["BAT.-"]), ("unknown", False, [])],
)
def test_a_converter_with_a_0_v_output_of_its_own(how: str, complete: bool, ends: list[str], tmp_path: Path) -> None:
    parts = f"CV: {{is: converter, volts: 12, return: {how}}}\n  N: {{is: module, cavities: 1-2, pins: {{1: supply, 2: ground}}}}"
    found = tracing(tmp_path, parts, CONVERTER)
    report = supplies_of(found, "N")
    assert report.complete is complete
    assert [end.id for row in report.grounds for end in row.ends] == ends
    if how == "unknown":
        assert ("L161", "CV.return") in loose(report)
        assert found.states.ground_level(found.circuit.node_of_point["N", "2"], "run") is Level.DEPENDS
