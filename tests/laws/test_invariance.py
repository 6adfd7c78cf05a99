"""How a vehicle is typed does not matter: order of lines, direction of runs, which sheet, and names change the names and places in the list, nothing else.
And a further run never takes a supply or a ground away, unless it makes the pin one conductor with the other pole.
"""

from __future__ import annotations

import re
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.trace.lists.results import Row, SupplyReport


def _report(typed: TypedVehicle) -> SupplyReport:
    with tempfile.TemporaryDirectory() as scratch:
        return tracer.supplies(tracer.load(str(typed.write(Path(scratch) / "v"))), "M")


def _row(row: Row) -> tuple[object, ...]:
    return (
        frozenset((probe.at, probe.sole) for probe in row.probes),
        frozenset((fuse.part, fuse.sole, fuse.alone) for fuse in row.fuses),
        frozenset((end.id, end.assumed) for end in row.ends),
        frozenset(
            re.sub(r" \((\S+) to (\S+)\)", lambda m: f" {sorted(m.groups())}", switch) for switch in row.switches
        ),
        frozenset(row.live.items()),
        frozenset((key, frozenset(why)) for key, why in row.why.items()),
    )


def _content(report: SupplyReport) -> tuple[object, ...]:
    """Everything in a list but codes, places and order."""
    return (
        {(row.point, row.level): _row(row) for row in report.rows},
        frozenset((cavity.pin, cavity.kind, cavity.traced) for cavity in report.census),
        frozenset((load.pin, load.level, load.loads) for load in report.through_loads),
        report.complete,
        sorted((loose.code, loose.at.partition(" on sheet")[0]) for loose in report.loose_ends),
    )


def _turned(run: str) -> str | None:
    """The run from its other end; None where a fuse is passed, which a run enters at its feed side."""
    pieces = run.split(" -- ")
    if any(re.fullmatch(r"F\d+", piece) for piece in pieces[::2]):
        return None
    return " -- ".join(reversed(pieces))


@given(typed_vehicles(most_runs=10), st.data())
def test_the_order_of_lines_and_sheets_does_not_matter(typed: TypedVehicle, data: st.DataObject) -> None:
    runs = [data.draw(st.permutations(runs)) for runs in typed.runs]
    parts = [data.draw(st.permutations(parts)) for parts in typed.parts]
    order = data.draw(st.permutations(range(2)))
    other = replace(typed, parts=[parts[n] for n in order], runs=[runs[n] for n in order])
    assert _content(_report(other)) == _content(_report(typed))


@given(typed_vehicles(most_runs=10), st.data())
def test_the_direction_of_a_run_does_not_matter(typed: TypedVehicle, data: st.DataObject) -> None:
    runs = [[(data.draw(st.booleans()) and _turned(run)) or run for run in runs] for runs in typed.runs]
    assert _content(_report(replace(typed, runs=runs))) == _content(_report(typed))


@given(typed_vehicles(most_runs=10), st.data())
def test_which_sheet_a_run_stands_on_does_not_matter(typed: TypedVehicle, data: st.DataObject) -> None:
    runs: list[list[str]] = [[], []]
    for run in (run for runs_ in typed.runs for run in runs_):
        runs[data.draw(st.integers(0, 1))].append(run)
    moved = replace(typed, parts=[[*typed.parts[0], *typed.parts[1]], []], runs=runs)
    assert _content(_report(moved)) == _content(_report(typed))


NEW_NAMES = {
    "S1": "ZZ9",
    "S2": "A0",
    "BAT": "PB",
    "G1": "XM",
    "F3": "Q30",
    "K1": "RLY",
    "D1": "V7",
    "D": "DRV",
    "E": "LMP",
}


def _renamed(text: str) -> str:
    return re.sub(r"(?<![\w.])(" + "|".join(NEW_NAMES) + r")(?=[\s.:,\]]|$)", lambda match: NEW_NAMES[match[1]], text)


def _renamed_content(found: object) -> object:
    if isinstance(found, str):
        found = re.sub(r"(?<![\w.])(" + "|".join(NEW_NAMES) + r")(?!\w)", lambda match: NEW_NAMES[match[1]], found)
        return ", ".join(sorted(found.split(", ")))  # names in a list stand in their own order
    if isinstance(found, tuple):
        return tuple(_renamed_content(one) for one in found)
    if isinstance(found, frozenset):
        return frozenset(_renamed_content(one) for one in found)
    if isinstance(found, list):
        return sorted(map(_renamed_content, found), key=str)
    if isinstance(found, dict):
        return {_renamed_content(key): _renamed_content(value) for key, value in found.items()}
    return found


@given(typed_vehicles(most_runs=10))
def test_names_change_names_only(typed: TypedVehicle) -> None:
    # A driver's output is called D.3 and its relay K1 in reasons; both are renamed in what is expected.
    other = replace(
        typed,
        parts=[[_renamed(part) for part in parts] for parts in typed.parts],
        runs=[[_renamed(run) for run in runs] for runs in typed.runs],
    )
    found, expected = _content(_report(other)), _renamed_content(_content(_report(typed)))
    assert _renamed_content(found) == _sorted(expected)


def _sorted(found: object) -> object:
    assert isinstance(found, tuple)
    return tuple(sorted(one, key=str) if isinstance(one, list) else one for one in found)


@given(typed_vehicles(most_runs=8), st.data())
def test_a_further_run_never_takes_a_supply_or_a_ground_away(typed: TypedVehicle, data: st.DataObject) -> None:
    before = _report(typed)
    points = [f"M.{pin}" for pin in "1234"] + ["S1", "S2", "BAT.+", "G1"]
    a = data.draw(st.sampled_from(points))
    b = data.draw(st.sampled_from([point for point in points if point != a]))
    after = _report(replace(typed, runs=[[*typed.runs[0], f"{a} -- GN 1 -- {b}"], typed.runs[1]]))
    traced = {cavity.pin: cavity.traced for cavity in after.census}
    rows = {(row.pin, row.level): row for row in after.rows if row.part == "M"}
    for row in (*before.supplies, *before.grounds):
        if "L118" in {loose.code for loose in after.loose_ends}:
            return  # now a short circuit, which is said and blocks the list
        if any(end.assumed for end in row.ends):
            continue  # an end that was only assumed may be one no longer: the way then goes on
        other = "ground" if row.level == "supply" else "supply"
        if row.level not in traced[row.pin]:
            # Only where the run makes the pin one conductor with the other pole: the switch that brought this level is now a short circuit.
            assert traced[row.pin] == other
            continue
        now = rows[row.pin, row.level]
        assert {probe.at for probe in row.probes} <= {probe.at for probe in now.probes}
        assert {fuse.part for fuse in row.fuses} <= {fuse.part for fuse in now.fuses}


@pytest.mark.parametrize("times", [2, 3])
def test_the_same_folder_gives_the_same_list_each_time(times: int) -> None:
    demo = str(Path(__file__).parent.parent.parent / "circuits" / "minibus")
    first, *others = [tracer.supplies(tracer.load(demo), "ALM") for _ in range(times)]
    assert all(other == first for other in others)
