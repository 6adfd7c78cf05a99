"""Only what a module needs is typed in: signals as a range, and what nobody looked at is said in the first words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import tracer
from tests.cli.test_exit_status import invoke
from tests.typed import problems, write
from tracer.entry.values import in_ranges, pin_list


def sheet(more: str, cavities: str = "1-12") -> str:
    return (
        f"sheet: 1\nparts: {{BAT: battery, F1: {{is: fuse, amps: 5}}, G1: {{is: ground, at: floor, wires: 2}}, M: {{is: module, cavities: {cavities}, at: floor{more}}}}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n"
    )


def test_signals_in_one_range_need_no_run(tmp_path: Path) -> None:
    status, out, _ = invoke(
        "-C",
        str(write(tmp_path, sheet(", signals: '3-10, 12', unused: 11"), vehicle="vehicle: v\n")),
        "supplies",
        "M",
        "--quick",
    )
    assert status == 0
    assert "COMPLETE: 1 supply, 1 ground" in out


def test_a_pin_listed_as_a_signal_that_carries_supply_is_shown(tmp_path: Path) -> None:
    typed = sheet(", signals: 3-12") + "  - F1.load -- RD 1 -- M.7\n"
    report = tracer.supplies(tracer.load(write(tmp_path, typed, vehicle="vehicle: v\n")), "M")
    assert [(row.code, row.pin) for row in report.rows] == [("S1", "1"), ("G1", "2"), ("V1", "7")]


def test_what_nobody_looked_at_is_said_in_the_first_words_and_by_status_3(tmp_path: Path) -> None:
    folder = str(write(tmp_path, sheet(", signals: 3-7, not looked at: 8-12"), vehicle="vehicle: v\n"))
    status, out, _ = invoke("-C", folder, "supplies", "M", "--quick")
    assert status == 3
    assert "COMPLETE for 7 pins; 5 not looked at: 1 supply, 1 ground" in out
    assert "5 of 12 cavities of M were not looked at: 8-12" in out
    status, out, _ = invoke("-C", folder, "supplies", "M", "--quick", "--json")
    data = json.loads(out)
    assert (status, data["complete"], data["completeness"]["state"]) == (3, False, "not all looked at")
    assert data["completeness"]["not_looked_at"] == [f"M.{pin}" for pin in range(8, 13)]
    for command in (
        ["check"],
        ["missing", "M"],
        ["states", "M"],
        ["affects", "F1"],
        ["common", "M"],
    ):
        status, out, error = invoke("-C", folder, *command)
        assert status == 3, (command, out, error)


def test_a_pin_that_is_typed_in_has_been_looked_at(tmp_path: Path) -> None:
    typed = sheet(", not looked at: 3-12, pins: {4: signal}") + "  - F1.load -- RD 1 -- M.8\n  - M.4 -- GN 1 -- ?\n"
    found = tracer.supplies(tracer.load(write(tmp_path, typed, vehicle="vehicle: v\n")), "M").completeness
    assert "M.8" not in found.not_looked_at and "M.4" not in found.not_looked_at and len(found.not_looked_at) == 8
    assert found.state == "not complete"  # the run at M.4 leads to a place that is not known


def test_pins_not_looked_at_of_a_module_on_the_way_count_too(tmp_path: Path) -> None:
    second = (
        "sheet: 2\nparts: {N: {is: module, cavities: 1-5, not looked at: 4-5, at: floor, pins: {3: output}, outputs: {3: {drives: high, from: 1, when: always}}}, G2: {is: ground, at: floor, wires: 1}}\n"
        "runs:\n  - F1.load -- RD 1 -- N.1\n  - N.2 -- BN 1 -- G2\n  - N.3 -- RD 1 -- M.3\n"
    )
    folder = write(tmp_path, sheet(", pins: {3: supply}", "1-3"), second, vehicle="vehicle: v\n")
    found = tracer.supplies(tracer.load(folder), "M").completeness
    assert (found.state, found.not_looked_at, found.looked_at) == ("not all looked at", ("N.4", "N.5"), 3)


@pytest.mark.parametrize(
    ("more", "what"),
    [
        (", signals: 3-13", "M has no cavity 13"),
        (", not looked at: [14]", "M has no cavity 14"),
        (", signals: 3-5, pins: {4: supply}", "pin 4 is listed under `signals`, but is supply under `pins`"),
    ],
)
def test_a_range_that_cannot_be_is_a_problem(more: str, what: str, tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, sheet(more), vehicle="vehicle: v\n"))
    assert what in found.what and found.place.line == 2


@pytest.mark.parametrize("typed", ["1-32", "1, 5-8", "A1-A3, C", "07-12", "9-11, 20", "CN8", "1"])
def test_ranges_read_back_as_typed(typed: str) -> None:
    assert in_ranges(pin_list(typed), pin_list(typed)) == typed
