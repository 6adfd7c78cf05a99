"""A run typed past an in-line connector shortens a list by its probe points: the list notices, as far as the connector's own count or harness names tell."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import tracer
from tests.typed import load
from tracer.circuit import join
from tracer.entry import read_folder
from tracer.entry.load import Typed
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"
EVERY = 1 if os.environ.get("TRACER_TESTS") == "thorough" else 4


def left_out(typed: Typed) -> Iterator[tuple[str, Typed]]:
    """The vehicle with one passage through an in-line connector replaced by one wire, for each passage: its cavity, and what was typed then."""
    connectors = {name for name, fragments in typed.fragments.items() if fragments[0].kind == "connector"}
    for number, run in enumerate(typed.runs):
        for index, point in enumerate(run.points[1:-1], 1):
            if point.part in connectors:
                pieces = run.text.split(" -- ")
                short = replace(
                    run,
                    points=(*run.points[:index], *run.points[index + 1 :]),
                    wires=(*run.wires[:index], *run.wires[index + 1 :]),
                    text=" -- ".join([*pieces[: 2 * index], *pieces[2 * index + 2 :]]),
                )
                yield point.text, replace(typed, runs=(*typed.runs[:number], short, *typed.runs[number + 1 :]))


def test_each_list_of_the_demo_vehicle_notices_each_connector_left_out() -> None:
    typed = read_folder(DEMO)
    full = Tracing(join(typed))
    lists = {module.name: tracer.supplies(full, module.name) for module in full.circuit.modules()}
    assert all(report.complete for report in lists.values())
    noticed = 0
    for number, (cavity, short) in enumerate(left_out(typed)):
        if number % EVERY:
            continue
        name = cavity.split(">")[0] + ","
        tracing = Tracing(join(short))
        assert [one.code for one in loose_ends(tracing)] == ["L154"]
        for module, report in lists.items():
            if any(probe.at.startswith(name) for row in report.rows for probe in row.probes):
                found = tracer.supplies(tracing, module)
                assert not found.complete, (cavity, module)
                assert [one.at for one in found.loose_ends] == [cavity.split(".")[0]]
                noticed += 1
    assert noticed >= 100 // EVERY


HEAD = """\
sheet: 1
parts:
  BAT: {is: battery}
  AUX: {is: battery}
  G1: ground
  F1: {is: fuse, amps: 5}
  F2: {is: fuse, amps: 5}
  S1: splice
  E1: load
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
  N: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
"""
RUNS = """\
runs:
  - BAT.- -- BN 6 -- G1
  - BAT.+ -- RD 4 -- S1
  - S1 -- RD 1 -- F1.feed
  - AUX.+ -- RD 1 -- F2.feed
  - N.2 -- BN 1 -- AUX.-
  - S1 -- RD 1 -- E1.1
  - E1.2 -- BN 1 -- G1
"""


def _lists(folder: Path, connectors: str, *runs: str) -> tuple[tracer.SupplyReport, tracer.SupplyReport]:
    circuit = load(
        folder, f"{HEAD}{connectors}{RUNS}" + "".join(f"  - {run}\n" for run in runs), vehicle="vehicle: v\n"
    )
    return tracer.supplies(circuit, "M"), tracer.supplies(circuit, "N")


def test_the_wire_that_goes_past_a_connector_is_named(tmp_path: Path) -> None:
    x = "  X: {is: connector, cavities: 1-3}\n"
    past = ["F1.load -- RD 1 -- X.1 -- RD 1 -- M.1", "F1.load -- RD 0.5 -- M.1", "M.2 -- BN 1 -- X.2 -- BN 1 -- G1", "F2.load -- GN 1 -- N.1"]  # fmt: skip
    m, n = _lists(tmp_path, x, *past)
    (found,) = m.loose_ends
    assert found.message == (
        "cavity X.3 is neither in a run nor listed as unused; past the connector, from one of its harnesses to the other, goes RD 0.5 from M.1 to F1.load"
    )
    assert n.complete  # it does not go near the connector
    assert n.loose_elsewhere == 1


def test_a_connector_in_no_run_concerns_the_lists_in_its_harnesses(tmp_path: Path) -> None:
    two = "  X: {is: connector, cavities: 1-2, halves: [front, middle]}\n  Y: {is: connector, cavities: 1, halves: [middle, rear]}\n"
    runs = ["F1.load -- RD 1 -- X.1:a", "X.1 -- RD 1 -- M.1", "M.2 -- BN 1 -- X.2 -- BN 1 -- G1", "F2.load -- GN 1 -- N.1"]  # fmt: skip
    m, n = _lists(tmp_path, two, *runs)
    assert {(one.code, one.at) for one in m.loose_ends} == {("L154", "Y")}
    assert n.complete


@pytest.mark.parametrize("cavities", ["", ", cavities: 1-3, unused: [3]"])
def test_a_connector_without_a_count_or_with_a_full_one_says_nothing(cavities: str, tmp_path: Path) -> None:
    x = f"  X: {{is: connector{cavities}}}\n"
    m, _ = _lists(tmp_path, x, "F1.load -- RD 1 -- X.1 -- RD 1 -- M.1", "M.2 -- BN 1 -- X.2 -- BN 1 -- G1", "F2.load -- GN 1 -- N.1")  # fmt: skip
    assert m.complete


def test_what_goes_through_the_connector_is_not_concerned_where_a_wire_past_it_explains_the_cavity(
    tmp_path: Path,
) -> None:
    x = "  X: {is: connector, cavities: 1-4}\n"
    runs = ["F1.load -- RD 1 -- X.1 -- RD 1 -- M.1", "F1.load -- RD 0.5 -- M.1", "M.2 -- BN 1 -- X.2 -- BN 1 -- G1", "F2.load -- GN 1 -- X.3 -- GN 1 -- N.1"]  # fmt: skip
    m, n = _lists(tmp_path / "one", x, *runs)
    assert [one.at for one in m.loose_ends] == ["X"]
    assert n.complete
    m, n = _lists(tmp_path / "two", x.replace("1-4", "1-5"), *runs)
    assert [one.at for one in m.loose_ends] == ["X"]
    assert [one.at for one in n.loose_ends] == ["X"], "one wire does not explain two cavities"
