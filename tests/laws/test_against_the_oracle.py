"""Whole random vehicles: the tool and a slow second opinion that reads the same text must list the same pins, points, fuses and ends."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given

import tracer
from tests.laws.oracle import Oracle, touchable
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles


@given(typed_vehicles())
def test_the_tool_and_the_oracle_list_the_same(typed: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = typed.write(Path(scratch) / "v")
        report = tracer.supplies(tracer.load(str(folder)), "M")
        oracle = Oracle.read(folder)
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
            points = {probe.at for probe in row.probes}
            assert points == touchable(found.points)
            assert {probe.at for probe in row.probes if probe.sole} - found.ends == touchable(found.sole) - found.ends
            assert {fuse.part for fuse in row.fuses} == found.fuses
            assert {end.id for end in row.ends} == {end.removeprefix("mass ") for end in found.ends}
