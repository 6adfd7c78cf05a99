"""Resistances of buses of a few modules against parallel circuits done by hand; what a test can tell; each kind by its own rules."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from pathlib import Path

import pytest

import tracer
from tests.electrics.vehicles import tracing_of
from tracer.electrics.bus.lines import BusLines, bus_names
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.bus.readings import access_named, classify, ohm_value
from tracer.electrics.bus.values import ASLEEP, AWAKE, ONE_OUT, PLUGGED, UNPLUGGED, BusReport, UnknownBus
from tracer.electrics.limits_in_use import limits_of
from tracer.entry.problems import CannotUse
from tracer.plan.names import bus_pins_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"

# A and C at the ends, B on a branch from the splices between them.
SHEET = """
parts:
  A: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}
  B: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}
  C: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}
  S1: splice
  S2: splice
runs:
- A.1 -- GN 0.5 2m -- S1
- S1 -- GN 0.5 3m -- C.1
- S1 -- GN 0.5 1m -- B.1
- A.2 -- YE 0.5 2m -- S2
- S2 -- YE 0.5 3m -- C.2
- S2 -- YE 0.5 1m -- B.2
"""


def bus(folder: Path, terminations: str, kind: str = "high-speed can", sheet: str = SHEET) -> BusReport:
    tracing = tracing_of(folder, sheet, f"buses:\n  d: {{kind: {kind}, terminations: {{{terminations}}}}}\n")
    return bus_of(tracing, "d", limits=limits_of(tracing.circuit))


def reading(report: BusReport, words: str, at: str) -> float:
    case = next(case for case in report.cases if case.words.startswith(words))
    found = case.expected[access_named(report, at)]
    assert found is not None
    return found.nominal


def test_trunk_and_branches(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120")
    assert report.complete
    assert report.trunk == ("A", "S1", "C")
    assert report.trunk_m == pytest.approx(5.0)
    (stub,) = [stub for stub in report.stubs if stub.module == "B"]
    assert stub.leaves_at == "S1"
    assert stub.length_m == pytest.approx(1.0)


@pytest.mark.parametrize(("line", "other"), [("H", "L"), ("L", "H")])
@pytest.mark.parametrize("kind", ["high-speed can", "fault-tolerant can"])
def test_a_module_of_which_one_line_alone_is_typed_in_leaves_the_bus_unknown(
    tmp_path: Path, kind: str, line: str, other: str
) -> None:
    typed = {"H": "1: bus d H, ", "L": "2: bus d L, "}
    sheet = SHEET.replace("B: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}", f"B: {{is: module, cavities: 1-3, unused: [3], pins: {{{typed[line]}}}}}")  # fmt: skip
    sheet = "".join(row for row in sheet.splitlines(keepends=True) if {"H": "B.2", "L": "B.1"}[line] not in row)
    report = bus(tmp_path, "A: 120, B: 120, C: 120" if kind.startswith("fault") else "A: 120, C: 120", kind, sheet)
    assert not report.complete
    assert report.problems == (f"B is on line {line} only, and which of its pins is on line {other} is not typed in",)


def test_between_two_pins_of_the_same_line_no_ohms_are_to_be_read_and_between_two_lines_they_are(
    tmp_path: Path,
) -> None:
    wider = "B: {is: module, cavities: 1-5, pins: {1: bus d H, 3: bus d H, 4: supply, 5: ground"
    fed = "- S1 -- GN 0.5 1m -- B.3\n- 30 -- RD 1 -- B.4\n- B.5 -- BN 1 -- 31\n"
    for name, pins, points in (("one", "}, unused: [2]}", []), ("both", ", 2: bus d L}}", ["B.1-2"])):
        sheet = SHEET.replace("B: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}", wider + pins) + fed
        if name == "one":
            sheet = sheet.replace("- S2 -- YE 0.5 1m -- B.2\n", "")
        tracing = tracing_of(tmp_path / name, sheet, "buses:\n  d: {kind: high-speed can, terminations: {A: 120, C: 120}}\n")  # fmt: skip
        (made,) = tracer.worksheet(tracing, "B", "csv", full=True).files
        rows = list(csv.DictReader(io.StringIO(made.decode())))
        assert [row["point"] for row in rows if row["code"].startswith("B") and "-" in row["code"]] == points
        assert {row["computed ohm"] for row in rows} == {""}


def test_in_order_is_the_parallel_circuit_of_terminations_inputs_and_wire(tmp_path: Path) -> None:
    """By hand: 80 kΩ || 120 Ω at each end, 80 kΩ in the middle, 37.1 mΩ/m in each line (0.5 mm², ISO 6722)."""
    report = bus(tmp_path, "A: 120, C: 120")
    end = 1 / (1 / 120 + 1 / 80e3)
    joint = 0.0004
    far = end + 2 * (3 * 0.0371 + 2 * joint)
    middle = 1 / (1 / far + 1 / (80e3 + 2 * (0.0371 + 2 * joint)))
    expected = 1 / (1 / end + 1 / (middle + 2 * (2 * 0.0371 + 2 * joint)))
    assert reading(report, "everything", "A") == pytest.approx(expected, abs=1e-4)


def test_opens_read_by_the_side_on_which_they_are(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120")
    branch = "line H open: wire GN 0.5 1m"
    assert reading(report, branch, "A") == pytest.approx(60, abs=0.5)
    assert reading(report, branch, "B") > 1000
    trunk = "line L open: wire YE 0.5 2m"
    assert reading(report, trunk, "A") == pytest.approx(120, abs=1)
    assert reading(report, trunk, "C") == pytest.approx(120, abs=1)


def test_unplugging_a_node_without_termination_tells_nothing(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120")
    tests = {test.words: test for test in report.tests}
    assert not tests["unplug B, read elsewhere"].tells
    assert "says nothing about B" in tests["unplug B, read elsewhere"].verdict
    assert tests["unplug B, read at its own harness pins"].tells
    assert tests["unplug A, read elsewhere"].tells


def test_a_resistor_of_its_own_is_counted_even_where_it_is_not_listed(tmp_path: Path) -> None:
    sheet = SHEET.replace("  S1: splice", "  RT: {is: resistor, ohms: 120}\n  S1: splice")
    sheet += "- S1 -- GN 0.5 5cm -- RT.1\n- S2 -- YE 0.5 5cm -- RT.2\n"
    report = bus(tmp_path, "A: 120, C: 120", sheet=sheet)
    assert [one.name for one in report.terminations] == ["A", "C", "RT"]
    assert reading(report, "everything", "A") == pytest.approx(40, abs=0.5)
    assert any("RT lies between the lines" in note for note in report.notes)
    assert any("3 terminations" in note for note in report.notes)


def test_the_60_ohm_rule_is_not_applied_where_it_does_not_hold(tmp_path: Path) -> None:
    tolerant = bus(tmp_path / "t", "A: 600, B: 600, C: 600", "fault-tolerant can")
    assert tolerant.cases == () and tolerant.tests == ()
    assert tolerant.line_ohms == {"H": pytest.approx(200), "L": pytest.approx(200)}
    with pytest.raises(UnknownBus, match="no resistance rule holds"):
        classify(tolerant, 60.0, "A", limits=limits_of(tracer.load(str(DEMO))))
    other = bus(tmp_path / "o", "A: 120", "other")
    assert other.cases == () and other.levels == ()


LIN = """
parts:
  BAT: battery
  B2: battery
  CV: {{is: converter, volts: 13.2}}
  A: {{is: module, cavities: 1-3, pins: {{1: bus w, 2: supply, 3: ground}}}}
  B: {{is: module, cavities: 1-3, pins: {{1: bus w, 2: supply, 3: ground}}}}
  N: splice
runs:
- A.1 -- GY 0.5 1m -- B.1
- A.2 -- RD 1 -- {feed}
- BAT.+ -- RD 1 -- B.2
- A.3 -- BN 1 -- N
- B.3 -- BN 1 -- N
{more}"""
STACKED = "- BAT.- -- BK 25 -- B2.+\n"


def lin(folder: Path, vehicle: str = "", feed: str = "BAT.+", more: str = "", supply: str = "") -> BusReport:
    """Two modules, of which A commands; B2 stands below BAT in a stack, or is not there."""
    minus = "B2.-" if STACKED in more else "BAT.-"
    sheet = LIN.format(feed=feed, more=f"{more}- {minus} -- BK 25 -- N\n")
    sheet = sheet if "B2." in sheet else sheet.replace("  B2: battery\n", "")
    sheet = sheet if "CV." in sheet else sheet.replace("  CV: {is: converter, volts: 13.2}\n", "")
    tracing = tracing_of(folder, sheet, f"{vehicle}buses:\n  w: {{kind: lin, commander: A{supply}}}\n")
    return bus_of(tracing, "w", limits=limits_of(tracing.circuit))


def test_lin_has_one_line_and_levels_by_the_supply_of_its_modules(tmp_path: Path) -> None:
    report = lin(tmp_path)
    assert report.lines == ("LIN",)
    assert report.cases == () and report.complete
    levels = {level.state: level for level in report.levels}
    rest, driven = levels["recessive (at rest)"], levels["dominant"]
    assert [rest.low_v, rest.high_v] == pytest.approx([0.8 * (12.65 - 1.0), 12.65])
    assert [driven.low_v, driven.high_v] == pytest.approx([0.0, 0.2 * (12.65 - 0.4)])


FED = {
    "24 V battery": ("system: 24 V\n", "BAT.+", "", 25.3),
    "24 V battery, two in a row": ("system: 24 V\n", "BAT.+", STACKED, 25.3),
    "12 V tap of two in a row": ("system: 24 V\n", "B2.+", STACKED, 12.65),
    "12 V converter in a 24 V vehicle": ("system: 24 V\n", "CV.out", "- BAT.+ -- RD 1 -- CV.in\n- CV.ground -- BN 1 -- N\n", 13.2),
    "a rail": ("system: 24 V\nrails: {'30': always}\n", "30", "", 25.3),
}  # fmt: skip


@pytest.mark.parametrize("what", FED)
def test_lin_levels_follow_what_feeds_the_modules(what: str, tmp_path: Path) -> None:
    vehicle, feed, more, volts = FED[what]
    report = lin(tmp_path, vehicle=vehicle, feed=feed, more=more)
    assert report.supply_v == pytest.approx(volts)
    rest = report.expected_on_line(AWAKE, "LIN")
    assert rest is not None and rest.low == pytest.approx(0.8 * (volts - 1.0)) and rest.high == pytest.approx(volts)
    to_supply = report.expected_on_line(AWAKE, "LIN", "supply")
    assert to_supply is not None and to_supply.low == 0.0
    assert to_supply.high == pytest.approx(volts - 0.8 * (volts - 1.0))


def test_lin_asks_for_the_supply_where_the_circuit_does_not_tell_it(tmp_path: Path) -> None:
    asked = lin(tmp_path / "a", feed="?")
    assert not asked.complete and asked.supply_v is None
    assert any(
        "what feeds A is not known: type `supply: 12 V` (or 24 V) under `buses`, `w`" in one for one in asked.problems
    )
    assert [level.state for level in asked.levels] == ["all states"] and asked.levels[0].low_v is None
    assert not [one for one in asked.on_lines if one.unit == "V"]
    typed = lin(tmp_path / "t", feed="?", supply=", supply: 24V")
    assert typed.supply_v == pytest.approx(25.3)


def test_lin_fed_otherwise_than_typed_is_said(tmp_path: Path) -> None:
    report = lin(tmp_path, supply=", supply: 24 V")
    assert any(
        "`supply: 24 V` is typed for this bus, but its modules are fed otherwise" in one for one in report.problems
    )
    (level,) = lin(tmp_path / "48", supply=", supply: 48 V").levels
    assert level.low_v is None and "not of 48 V" in level.words


def test_lin_modules_on_two_supplies_have_no_common_levels(tmp_path: Path) -> None:
    sheet = (
        LIN.format(feed="BAT.+", more=f"{STACKED}- B2.- -- BK 25 -- N\n")
        .replace("  CV: {is: converter, volts: 13.2}\n", "")
        .replace("- BAT.+ -- RD 1 -- B.2", "- B2.+ -- RD 1 -- B.2")
    )
    tracing = tracing_of(tmp_path, sheet, "system: 24 V\nbuses: {w: {kind: lin}}\n")
    report = bus_of(tracing, "w", limits=limits_of(tracing.circuit))
    assert report.supply_v is None
    assert "fed with 12.65 V and 25.3 V" in report.levels[0].words


# --- each line to ground and to supply -------------------------------------------------------------------------------


def test_each_line_of_high_speed_can_to_ground_and_to_supply(tmp_path: Path) -> None:
    """By hand: three modules with two inputs of 5 kΩ each at least, side by side."""
    report = bus(tmp_path, "A: 120, C: 120")
    assert len(report.nodes) == 3
    for line in ("CAN_H", "CAN_L"):
        for to in ("ground", "supply"):
            plugged, one_out = (report.expected_on_line(state, line, to) for state in (PLUGGED, ONE_OUT))
            assert plugged is not None and one_out is not None
            assert [plugged.low, one_out.low] == pytest.approx([5000 / 6, 5000 / 4])
            assert plugged.high == math.inf
            alone = report.expected_on_line(UNPLUGGED, line, to)
            assert alone is not None and alone.low == math.inf
        asleep, left = (report.expected_on_line(ASLEEP, line, to) for to in ("ground", "supply"))
        assert asleep is not None and (asleep.low, asleep.high) == (-0.1, 0.1)
        assert left is not None and [left.low, left.high] == pytest.approx([12.55, 12.75])


def test_a_sleeping_fault_tolerant_bus_is_not_held_against_0_v(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 600, B: 600, C: 600", "fault-tolerant can")
    high, low = (report.expected_on_line(ASLEEP, line) for line in ("CAN_H", "CAN_L"))
    assert high is not None and high.high == pytest.approx(0.3)
    assert low is not None and low.nominal == pytest.approx(12.65)
    plugged = report.expected_on_line(PLUGGED, "CAN_L")
    assert plugged is not None and plugged.low is None and "inside the transceivers" in plugged.words


@pytest.mark.parametrize("kind", ["other", ""])
def test_of_a_bus_of_unknown_kind_no_line_reading_is_made_up(kind: str, tmp_path: Path) -> None:
    facts = f"buses:\n  d: {{{f'kind: {kind}' if kind else 'name: x'}}}\n"
    tracing = tracing_of(tmp_path, SHEET, facts)
    assert bus_of(tracing, "d", limits=limits_of(tracing.circuit)).on_lines == ()


def test_no_ohms_to_ground_where_a_module_may_be_missing_or_something_hangs_on_a_line(tmp_path: Path) -> None:
    loose = bus(tmp_path / "l", "A: 120, C: 120", sheet=SHEET + "- S1 -- GN 0.5 -- ?\n")
    (words,) = {one.words for one in loose.on_lines if one.unit == "Ω"}
    assert words == "not known: a module may be missing"
    sheet = SHEET.replace("parts:\n", "parts:\n  R9: {is: resistor, ohms: 10000}\n  G9: ground\n")
    sheet += "- S1 -- GN 0.5 1m -- R9.1\n- R9.2 -- BN 0.5 1m -- G9\n"
    hung = bus(tmp_path / "h", "A: 120, C: 120", sheet=sheet)
    assert "not known: R9 on the lines" in {one.words for one in hung.on_lines if one.unit == "Ω"}


def test_the_pull_ups_of_lin_side_by_side(tmp_path: Path) -> None:
    """By hand: 1 kΩ and 30 kΩ; 0.9 and 20; 1.1 and 60."""
    (words,) = {one.words for one in lin(tmp_path).on_lines if one.state == PLUGGED}
    assert "968 Ω side by side, 861 Ω to 1.08 kΩ" in words


def test_a_bus_whose_kind_is_not_said_is_not_complete(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, SHEET)
    report = bus_of(tracing, "d", limits=limits_of(tracing.circuit))
    assert not report.complete
    assert any("kind is not said" in problem for problem in report.problems)
    assert report.cases == ()


def test_a_line_in_pieces_is_said(tmp_path: Path) -> None:
    report = bus(
        tmp_path, "A: 120, C: 120", sheet=SHEET.replace("- S1 -- GN 0.5 3m -- C.1\n", "- C.1 -- GN 0.5 3m -- ?\n")
    )
    assert any("line H is in 2 pieces" in problem for problem in report.problems)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("d: {kind: fast, terminations: {}}", "`fast` is not possible here"),
        ("d: {kind: lin, commander: S1}", "there is no module `S1`"),
        ("d: {kind: lin, lines: {H: [A.9]}}", "A has no cavity 9"),
    ],
)
def test_a_wrong_bus_is_a_problem_with_a_place(tmp_path: Path, typed: str, message: str) -> None:
    with pytest.raises(CannotUse) as caught:
        tracing_of(tmp_path, SHEET, f"buses:\n  {typed}\n")
    assert any(message in problem.render() and problem.place.line == 3 for problem in caught.value.problems)


def test_lines_may_be_given_where_roles_do_not_say_them(tmp_path: Path) -> None:
    sheet = SHEET.replace("bus d H", "signal").replace("bus d L", "signal")
    lines = "lines: {H: [A.1, B.1, C.1], L: [A.2, B.2, C.2]}"
    tracing = tracing_of(
        tmp_path, sheet, f"buses:\n  d: {{kind: high-speed can, {lines}, terminations: {{A: 120, C: 120}}}}\n"
    )
    report = bus_of(tracing, "d", limits=limits_of(tracing.circuit))
    assert [node.module for node in report.nodes] == ["A", "B", "C"]
    assert reading(report, "everything", "B") == pytest.approx(60, abs=0.5)


# --- readings ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drive() -> BusReport:
    tracing = Tracing(tracer.load(str(DEMO)))
    return bus_of(tracing, "drive", limits=limits_of(tracing.circuit))


@pytest.mark.parametrize(
    ("ohm", "kinds"),
    [
        (60.0, {"in order", "unplugged", "open"}),
        (120.0, {"unplugged", "termination", "open"}),
        (40.0, {"added"}),
        (0.4, {"short"}),
        (math.inf, {"open"}),
    ],
)
def test_a_reading_is_put_down_to_what_explains_it(drive: BusReport, ohm: float, kinds: set[str]) -> None:
    limits = limits_of(tracer.load(str(DEMO)))
    assert {one.kind for one in classify(drive, ohm, "ALM", limits=limits).explanations} == kinds


def test_a_reading_that_nothing_explains_says_so(drive: BusReport) -> None:
    found = classify(drive, 85.0, "ALM", limits=limits_of(tracer.load(str(DEMO))))
    assert found.explanations == ()
    assert "nothing single that is modelled explains it" in found.words[0]


def test_60_ohm_at_one_module_does_not_prove_the_branch_of_another(drive: BusReport) -> None:
    found = classify(drive, 60.0, "INS", limits=limits_of(tracer.load(str(DEMO))))
    assert any("ALM.25" in one.words for one in found.explanations)
    assert "does not prove the bus" in found.words[0]


def test_no_reading_is_judged_where_nothing_may_be_measured(drive: BusReport) -> None:
    name = drive.accesses[access_named(drive, "ALM")].name
    with pytest.raises(UnknownBus, match=f"{name}: high voltage; no reading there is judged here"):
        classify(replace(drive, not_to_measure=((name, "high voltage"),)), 60.0, "ALM", limits=limits_of(tracer.load(str(DEMO))))  # fmt: skip


def test_an_access_point_that_does_not_exist_names_those_that_do(drive: BusReport) -> None:
    with pytest.raises(UnknownBus, match=r"Places: ALM\.25/26"):
        access_named(drive, "CLM")
    with pytest.raises(UnknownBus, match="read differently"):
        access_named(drive, "X3")


@pytest.mark.parametrize(
    ("typed", "ohm"), [("120", 120), ("120ohm", 120), ("1,2 kohm", 1200), ("59.9Ω", 59.9), ("open", math.inf)]
)
def test_a_typed_resistance(typed: str, ohm: float) -> None:
    assert ohm_value(typed) == pytest.approx(ohm)


@pytest.mark.parametrize("typed", ["", "12V", "-5", "ohm"])
def test_what_is_no_resistance_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="write 120ohm"):
        ohm_value(typed)


# --- lines that pass through a module, resistors in a row, wires drawn on two sheets ---------------------------------

CHAIN = """
parts:
  A: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}
  B: {is: module, cavities: 1-4, pins: {1: bus d H, 2: bus d L, 3: bus d H, 4: bus d L}, joined: [[1, 3], [2, 4]]}
  C: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}
runs:
- A.1 -- GN 0.5 2m -- B.1
- A.2 -- YE 0.5 2m -- B.2
- B.3 -- GN 0.5 2m -- C.1
- B.4 -- YE 0.5 2m -- C.2
"""


def test_a_module_that_passes_the_lines_on_parts_the_bus_when_it_is_unplugged(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120", sheet=CHAIN)
    assert report.problems == ()
    assert reading(report, "everything", "B.1") == pytest.approx(60, abs=0.5)
    for at in ("A", "B.1", "B.3", "C"):  # each side has its own termination left
        assert reading(report, "B unplugged", at) == pytest.approx(120, abs=0.6)
    tests = {test.words: test for test in report.tests}
    assert tests["unplug B, read elsewhere"].tells
    assert report.nodes[1].pin_names == {"H": "B.1, B.3", "L": "B.2, B.4"}
    assert reading(report, "line H open: bridge inside B", "A") == pytest.approx(120, abs=0.6)


@pytest.mark.parametrize("terminations", ["A: 120, R1: 60, R2: 60", "A: 120, R1: {ohms: 120, split: yes}", "A: 120"])
def test_two_resistors_in_a_row_are_one_split_termination(tmp_path: Path, terminations: str) -> None:
    sheet = SHEET.replace(
        "  S1: splice", "  R1: {is: resistor, ohms: 60}\n  R2: {is: resistor, ohms: 60}\n  S1: splice"
    )
    sheet = sheet.replace("  S2: splice", "  S2: splice\n  S3: splice\n  C1: load")
    sheet += "- S1 -- GN 0.5 5cm -- R1 -- GN 0.5 5cm -- S3 -- GN 0.5 5cm -- R2 -- YE 0.5 5cm -- S2\n- S3 -- BN 0.5 5cm -- C1.1\n"
    report = bus(tmp_path, terminations, sheet=sheet)
    assert [(one.name, one.ohms, one.split) for one in report.terminations] == [
        ("A", 120, False),
        ("R1 + R2", 120, True),
    ]
    assert report.problems == ()
    assert reading(report, "everything", "A") == pytest.approx(60, abs=0.5)
    assert reading(report, "termination R1 + R2 lost", "A") == pytest.approx(120, abs=0.7)


def test_ohms_that_disagree_are_a_problem(tmp_path: Path) -> None:
    sheet = SHEET.replace("  S1: splice", "  RT: {is: resistor, ohms: 120}\n  S1: splice")
    sheet += "- S1 -- GN 0.5 5cm -- RT.1\n- S2 -- YE 0.5 5cm -- RT.2\n"
    report = bus(tmp_path, "A: 120, RT: 60", sheet=sheet)
    assert any("60 Ω in vehicle.yaml, 120 Ω on its sheet" in problem for problem in report.problems)


def test_a_termination_without_ohms_is_said_not_to_be_counted(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: {split: yes}")
    assert not report.complete
    assert any("C: its resistance is not typed in, so it is not counted" in problem for problem in report.problems)


def test_a_wire_drawn_on_two_sheets_is_no_place_where_it_can_be_open(tmp_path: Path) -> None:
    sheet = SHEET.replace("- S1 -- GN 0.5 1m -- B.1", "- S1 -- GN 0.5 1m -- ref 1>2\n- ref 2>1 -- GN 0.5 1m -- B.1")
    report = bus(tmp_path, "A: 120, C: 120", sheet=sheet)
    opens = [case.words for case in report.cases if case.kind == "open"]
    assert len(opens) == 7  # six wires typed, one of them in two pieces
    assert not any(words.startswith(("line H open: contact", "line H open: joint")) for words in opens)
    assert reading(report, "everything", "B") == pytest.approx(60, abs=0.5)
    (stub,) = [stub for stub in report.stubs if stub.module == "B"]
    assert stub.length_m == pytest.approx(2.0)


def test_the_change_by_unplugging_a_node_is_found_at_its_ends(tmp_path: Path) -> None:
    """By hand at the splices, wire left out: B at 12 kΩ beside 100 kΩ inputs and 121.2 Ω ends, and B at 100 kΩ beside 12 kΩ and 118.8 Ω."""
    report = bus(tmp_path, "A: 120, C: 120")
    case = next(case for case in report.cases if case.words == "B unplugged")
    low, high = case.change[access_named(report, "A")]

    def moved(end: float, other: float, own: float) -> float:
        rest = 1 / (2 / end + 2 / other)
        return rest - 1 / (1 / rest + 1 / own)

    assert high == pytest.approx(moved(121.2, 100e3, 12e3), abs=0.003)
    assert low == pytest.approx(moved(118.8, 12e3, 100e3), abs=0.003)


def test_a_wire_that_goes_on_nobody_knows_where_leaves_the_bus_incomplete(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120", sheet=SHEET + "- S1 -- GN 0.5 1m -- ?\n")
    assert not report.complete
    assert any("what hangs there is in no reading" in problem for problem in report.problems)


def test_a_line_typed_where_the_name_of_the_bus_belongs_is_explained(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, SHEET.replace("bus d H", "bus H").replace("bus d L", "bus L"))
    report = bus_of(tracing, "H", limits=limits_of(tracing.circuit))
    assert any("write the name of the bus before it, such as `bus drive H`" in problem for problem in report.problems)


def test_a_bus_without_a_termination_is_not_complete_and_open_is_not_in_order(tmp_path: Path) -> None:
    report = bus(tmp_path, "")
    assert not report.complete
    assert any("no termination is typed in" in problem for problem in report.problems)
    assert {test.tells for test in report.tests} == {False}
    limits = limits_of(tracer.load(str(DEMO)))
    assert "not what a working bus reads" in classify(report, math.inf, "A", limits=limits).words[0]


@pytest.mark.parametrize(("terminations", "ohm"), [("A: 120", 119.8), ("A: 120, B: 120, C: 120", 40.0)])
def test_one_or_three_terminations_are_not_confirmed_as_in_order(tmp_path: Path, terminations: str, ohm: float) -> None:
    report = bus(tmp_path, terminations)
    found = classify(report, ohm, "A", limits=limits_of(tracer.load(str(DEMO))))
    assert "in order" in {one.kind for one in found.explanations}
    assert "not what a working bus reads" in found.words[0]


def test_one_line_alone_is_not_complete(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120", sheet=SHEET.replace("bus d L", "signal"))
    assert report.cases == ()
    assert any("where H and L are wanted" in problem for problem in report.problems)


@pytest.mark.parametrize("terminations", ["A: 120", "A: 120, C: {ohms: 120, fitted: no}"])
def test_one_termination_of_120_ohm_leaves_the_bus_incomplete(tmp_path: Path, terminations: str) -> None:
    """The other one may not be typed in: 120 Ω must not be what is expected of a bus in order."""
    report = bus(tmp_path, terminations)
    assert not report.complete
    assert any("a working bus has two" in problem for problem in report.problems)


def test_one_termination_of_60_ohm_is_complete(tmp_path: Path) -> None:
    assert bus(tmp_path, "A: 60").complete


def test_a_module_on_a_line_that_is_not_declared_leaves_the_bus_incomplete(tmp_path: Path) -> None:
    """Its input is in no reading, and its branch is in no list."""
    sheet = SHEET.replace(
        "B: {is: module, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}", "B: {is: module, cavities: 1-2}"
    )
    report = bus(tmp_path, "A: 120, C: 120", sheet=sheet)
    assert not report.complete
    assert [problem.split(" lies on ")[0] for problem in report.problems] == ["B.1", "B.2"]


def test_a_bus_of_two_words_is_the_same_bus_everywhere(tmp_path: Path) -> None:
    """`bus roof lin` is line LIN of bus roof in the case as in `tracer bus`; a bus of two words has both in its name."""
    pins = "pins: {1: supply, 2: ground, 3: bus roof lin, 4: bus my own H, 5: bus my own L}"
    sheet = f"parts:\n  M: {{is: module, cavities: 1-5, {pins}}}\n  N: {{is: module, cavities: 1-5, {pins}}}\nruns:\n" + "".join(f"- M.{n} -- ? -- N.{n}\n" for n in (3, 4, 5))  # fmt: skip
    tracing = tracing_of(tmp_path, sheet, "buses:\n  roof: {kind: lin}\n")
    assert bus_names(tracing.circuit) == ["roof", "my own"]
    assert set(BusLines(tracing, "my own").pins) == {"H", "L"} and set(BusLines(tracing, "roof").pins) == {"LIN"}
    assert bus_pins_of(tracer.supplies(tracing, "M")) == {"roof": {"LIN": "3"}, "my own": {"H": "4", "L": "5"}}
    tracing = tracing_of(tmp_path / "misnamed", sheet, "buses:\n  roof lin: {kind: lin}\n")
    report = bus_of(tracing, "roof lin", limits=limits_of(tracing.circuit))
    assert any("is on line LIN of bus roof, so write `roof` in vehicle.yaml" in one for one in report.problems)
