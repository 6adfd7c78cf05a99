"""Whole random vehicles: the tool and a slow second opinion that reads the same text must list the same pins, points, fuses and ends."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given

import tracer
from tests.laws.oracle import Oracle, touchable
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.trace.downwards import fuses_above, pins_below
from tracer.trace.supplies import supplies_of
from tracer.trace.survey import Survey


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


@given(typed_vehicles())
def test_the_second_count_and_the_oracle_name_the_same_fuses(typed: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = typed.write(Path(scratch) / "v")
        survey = Survey(tracer.load(str(folder)))
        oracle = Oracle.read(folder)
    pins = {pin: False for pin, inside in pins_below(survey, "M", "supply").items() if not inside}
    grounds = pins_below(survey, "M", "ground")
    above = fuses_above(survey, "M", pins)
    for pin in ("1", "2", "3", "4"):
        at = f"M.{pin}"
        supply, ground = (
            oracle.seen_from(at, level, "M") if at in oracle.wired else None for level in ("supply", "ground")
        )
        assert (pin in pins, pin in grounds) == (supply is not None, ground is not None)
        if supply is not None:
            found, whole = above[pin]
            assert found == supply.fuses and whole
    for module in ("M", "D"):
        if module in survey.circuit.parts:
            assert supplies_of(survey, module).cross_check.differences == ()
