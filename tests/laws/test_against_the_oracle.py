"""Whole random vehicles: the tool and a slow second opinion that reads the same text must list the same pins, points, fuses and ends."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given

import tracer
from tests.laws.oracle import Oracle, touchable
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.trace.lists.second_count import SecondCount
from tracer.trace.panels.positions_of import panels_of
from tracer.trace.tracing import Tracing


@given(typed_vehicles())
def test_the_tool_and_the_oracle_list_the_same(typed: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = typed.write(Path(scratch) / "v")
        circuit = tracer.load(str(folder))
        report = tracer.supplies(circuit, "M")
        oracle = Oracle.read(folder)
    # halves are typed as a and b here, and named by where they lead
    typed_as = {circuit.node_names[node]: f"X.{pin}" for pin, node in circuit.pins_of.get("X", {}).items()}
    rows = {(row.pin, row.level): row for row in (*report.supplies, *report.grounds)}
    traced = {cavity.pin: cavity.traced for cavity in report.census}
    for pin in ("1", "2", "3", "4"):
        at = f"M.{pin}"
        seen = {
            level: oracle.seen_from(at, level, "M") if at in oracle.wired else None for level in ("supply", "ground")
        }
        reached = [level for level, found in seen.items() if found]
        expected = " and ".join(reached) or ("wired" if at in oracle.wired else "not wired")
        assert traced.get(pin, "not wired") == expected
        for level, found in seen.items():
            row = rows.get((pin, level))
            assert (row is not None) == (reached == [level]), (pin, level)
            if row is None or found is None:
                continue
            points = {typed_as.get(probe.at, probe.at) for probe in row.probes}
            assert points == touchable(found.points)
            sole = {typed_as.get(probe.at, probe.at) for probe in row.probes if probe.sole}
            assert sole - found.ends == touchable(found.sole) - found.ends
            assert {fuse.part for fuse in row.fuses} == found.fuses
            assert {fuse.part for fuse in row.fuses if fuse.sole} == found.sole_fuses
            assert {end.id for end in row.ends} == {end.removeprefix("mass ") for end in found.ends}


@given(typed_vehicles())
def test_the_second_count_agrees_and_the_oracle_too(typed: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = typed.write(Path(scratch) / "v")
        circuit = tracer.load(str(folder))
        oracle = Oracle.read(folder)
    assert tracer.supplies(circuit, "M").cross_check.differences == ()
    count = SecondCount(circuit)
    for pin, node in circuit.pins_of.get("M", {}).items():
        for level in ("supply", "ground"):
            found = count.above(node, level, "M")
            seen = oracle.seen_from(f"M.{pin}", level, "M")
            assert found.all_walked
            if node not in {end.node for end in (*circuit.sources, *circuit.grounds)}:
                assert found.fuses == (seen.fuses if seen else None)


@given(typed_vehicles())
def test_what_a_position_serves_is_what_it_is_on_a_valid_way_to(typed: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = typed.write(Path(scratch) / "v")
        tracing = Tracing(tracer.load(str(folder)))
        oracle = Oracle.read(folder)
    served = {
        position.part: {one.pin for one in position.serves if one.part == "M"}
        for position in panels_of(tracing).positions
    }
    pins = [pin for pin in "1234" if f"M.{pin}" in oracle.wired]
    seen = {pin: oracle.seen_from(f"M.{pin}", "supply", "") for pin in pins}
    for part, found in served.items():
        assert found == {pin for pin, one in seen.items() if one and part in one.fuses | one.contacts}
