"""What no row of the list holds keeps the verdict open: a single line of a bus until it was read where its wire shows, and what another module gives."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.case.making import NOON, opened
from tests.typed import load
from tracer.case.case import record, set_conditions
from tracer.case.notes import note
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.trace.tracing import Tracing

SHEET = """sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  S1: {is: splice, wires: 3}
  G1: {is: ground, wires: 3}
  A: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: bus roof LIN}}
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: bus roof LIN}}
runs:
  - BAT.+ -- RD 4 1m -- F1 -- RD 4 1m -- S1
  - S1 -- RD 1 1m -- M.1
  - S1 -- RD 1 1m -- A.1
  - M.2 -- BN 1 1m -- G1
  - A.2 -- BN 1 1m -- G1
  - A.3 -- GN 0.5 1m -- M.3
  - BAT.- -- BK 25 1m -- G1
"""
AT_THE_PLUG = ["key=off", "plug=out", "asleep=yes"]


@pytest.mark.parametrize(
    ("conditions", "words", "shown"),
    [
        ([], [], False),
        (["key=run", "plug=in", "asleep=no"], ["roof:LIN=11.8"], False),  # M itself may hold it up
        (AT_THE_PLUG, ["roof:LIN=0.1"], False),
        (AT_THE_PLUG, ["roof:LIN=11.8"], True),
        (AT_THE_PLUG, ["3=11.8"], True),  # by its pin
    ],
)
def test_a_single_line_keeps_the_module_from_being_called_bad_until_its_wire_is_shown(
    conditions: list[str], words: list[str], shown: bool, tmp_path: Path
) -> None:
    vehicle = "vehicle: v\nsystem: 12 V\nkey: [off, run]\nbuses: {roof: {kind: lin, commander: A}}\n"
    tracing = Tracing(load(tmp_path / "v", SHEET, vehicle=vehicle))
    case = opened(tmp_path, kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing)))
    if words:
        case = record(set_conditions(case, [*conditions, "battery=12.6", "symptom=yes"], NOON), words, NOON).case
    verdict = verdict_of(case)
    assert any("roof:LIN was not read in order" in one for one in verdict.open) == (not shown)
    if not words:
        waived = verdict_of(note(case, "waive", ["roof:LIN"], NOON, why="no access"))
        assert not any("roof:LIN" in one for one in waived.open)
        assert "roof:LIN was waived (no access)" in waived.set_aside


def test_what_another_module_gives_is_open_until_that_module_is_said_to_work(tmp_path: Path) -> None:
    given = (
        SHEET.replace("  - S1 -- RD 1 1m -- M.1\n", "")
        .replace("  - M.2 -- BN 1 1m -- G1\n", "")
        .replace("wires: 3", "wires: 2")
    )
    given = given.replace(
        "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3:",
        "M: {is: module, cavities: [3], gets: {supply: A, ground: case}, pins: {3:",
    )
    tracing = Tracing(
        load(
            tmp_path / "v",
            given,
            vehicle="vehicle: v\nsystem: 12 V\nkey: [off, run]\nbuses: {roof: {kind: lin, commander: A}}\n",
        )
    )
    case = opened(tmp_path, kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing)))
    verdict = verdict_of(case)
    assert any(one.startswith("its supply comes from A") for one in verdict.open)
    assert "its supply from A, which is no row of this list" in verdict.left
    assert "its ground by its case, which is no row of this list" in verdict.left
    for said, settled in (("no", False), ("yes", True)):
        case = note(case, "works", [f"A={said}"], NOON)
        assert any(one.startswith("its supply comes from A") for one in verdict_of(case).open) == (not settled)
