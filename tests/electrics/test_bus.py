"""Resistances of buses of a few modules against parallel circuits done by hand; what a test can tell; each kind by its own rules."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

import tracer
from tests.electrics.vehicles import survey_of
from tracer.electrics.bus import BusReport, UnknownBus, access_named, bus_of, classify, ohm_value
from tracer.electrics.limits_in_use import limits_of
from tracer.entry.problems import CannotUse
from tracer.trace.survey import Survey

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
    survey = survey_of(folder, sheet, f"buses:\n  d: {{kind: {kind}, terminations: {{{terminations}}}}}\n")
    return bus_of(survey, "d", limits=limits_of(survey.circuit))


def reading(report: BusReport, words: str, at: str) -> float:
    case = next(case for case in report.cases if case.words.startswith(words))
    found = case.readings[access_named(report, at)]
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
  A: {is: module, cavities: 1, pins: {1: bus w}}
  B: {is: module, cavities: 1, pins: {1: bus w}}
runs:
- A.1 -- GY 0.5 1m -- B.1
"""


def test_lin_has_one_line_and_levels_by_the_supply(tmp_path: Path) -> None:
    survey = survey_of(tmp_path, LIN, "buses:\n  w: {kind: lin, commander: A, terminations: {A: 1000}}\n")
    report = bus_of(survey, "w", limits=limits_of(survey.circuit))
    assert report.lines == ("LIN",)
    assert report.cases == ()
    levels = {level.state: level for level in report.levels}
    assert levels["recessive (at rest)"].low_v == pytest.approx(0.8 * 12.65)
    assert levels["dominant"].high_v == pytest.approx(0.2 * 12.65)


def test_a_bus_whose_kind_is_not_said_is_not_complete(tmp_path: Path) -> None:
    survey = survey_of(tmp_path, SHEET)
    report = bus_of(survey, "d", limits=limits_of(survey.circuit))
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
        ("d: {kind: lin, commander: Z}", "there is no module `Z`"),
        ("d: {kind: lin, terminations: {Z: 120}}", "there is no part `Z`"),
        ("d: {kind: lin, lines: {H: [A.9]}}", "A has no cavity 9"),
    ],
)
def test_a_wrong_bus_is_a_problem_with_a_place(tmp_path: Path, typed: str, message: str) -> None:
    with pytest.raises(CannotUse) as caught:
        survey_of(tmp_path, SHEET, f"buses:\n  {typed}\n")
    assert any(message in problem.render() and problem.place.line == 3 for problem in caught.value.problems)


def test_lines_may_be_given_where_roles_do_not_say_them(tmp_path: Path) -> None:
    sheet = SHEET.replace("bus d H", "signal").replace("bus d L", "signal")
    lines = "lines: {H: [A.1, B.1, C.1], L: [A.2, B.2, C.2]}"
    survey = survey_of(
        tmp_path, sheet, f"buses:\n  d: {{kind: high-speed can, {lines}, terminations: {{A: 120, C: 120}}}}\n"
    )
    report = bus_of(survey, "d", limits=limits_of(survey.circuit))
    assert [node.module for node in report.nodes] == ["A", "B", "C"]
    assert reading(report, "everything", "B") == pytest.approx(60, abs=0.5)


# --- readings ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drive() -> BusReport:
    survey = Survey(tracer.load(str(DEMO)))
    return bus_of(survey, "drive", limits=limits_of(survey.circuit))


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
