"""What is not computed says so, and why, in every output alike: a figure that the model cannot give is worse than none."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

import tracer
from tests.electrics.vehicles import row, tracing_of, volts
from tests.report.printed_vehicles import sheet_of
from tests.typed import load
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.volts.expected import expected_of
from tracer.report import bus as bus_report
from tracer.report import supplies as supplies_report
from tracer.report import volts as volts_report
from tracer.report.worksheet import form
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

SAYS = "not computed, because "

# M.1 beside a box of which nobody knows the inside; M.3 behind a fuse of its own.
BOX = """
parts:
  BAT: {is: battery, at: x}
  F1: {is: fuse, amps: 10, at: x}
  F2: {is: fuse, amps: 10, at: x}
  S1: {is: splice, at: x}
  Q1: {is: box, at: x}
  M: {is: module, at: y, cavities: 1-3, pins: {1: supply, 2: ground, 3: supply}, draws: {1: 9, 3: 9}}
runs:
- BAT.+ -- RD 1 9m -- F1 -- RD 1 9m -- S1
- S1 -- RD 1 9m -- M.1
- BAT.+ -- RD 1 9m -- F2 -- RD 1 9m -- M.3
- M.2 -- BN 1 1m -- BAT.-
"""
BESIDE = "- S1 -- RD 1 -- Q1.1\n"


def _outputs(tracing: Tracing) -> tuple[str, dict[str, Any], list[dict[str, str]]]:
    """What `supplies` gives: text, JSON, CSV."""
    report = supplies_of(tracing, "M")
    expected = expected_of(tracing, report, limits=limits_of(tracing.circuit))
    rows = csv.DictReader(io.StringIO(supplies_report.as_csv(report, expected).lstrip("\ufeff")))
    return supplies_report.as_text(report, expected, width=200), supplies_report.as_data(report, expected), list(rows)


def _computed(data: dict[str, Any], point: str) -> list[dict[str, Any]]:
    part, _, pin = point.partition(".")
    rows = [*data["supplies"], *data["grounds"], *data["carrying"], *data["chains"]]
    (found,) = (one for one in rows if (one["part"], one["pin"]) == (part, pin))
    points = [{**data["points"][probe["at"]], **probe} for probe in found["probes"]]
    return [
        {**found["computed"][key], **one, "state": key} for point in points for key, one in point["computed"].items()
    ] or [{"state": key, "nominal_v": None, **one} for key, one in found["computed"].items()]


def test_what_is_beside_an_unknown_inside_is_not_computed_and_everything_else_is(tmp_path: Path) -> None:
    text, data, rows = _outputs(tracing_of(tmp_path, BOX + BESIDE))
    reason = f"{SAYS}what Q1.1 is joined with inside Q1 is not known"
    assert reason in text
    behind, beside = _computed(data, "M.1"), _computed(data, "M.3")
    assert all(one["nominal_v"] is None and one["nominal_a"] is None for one in behind)
    assert {one["not_computed"] for one in behind} == {reason}
    assert all(one["nominal_v"] > 6 and one["not_computed"] is None for one in beside)
    assert all("run: " + reason in one["not computed"] for one in rows if one["pin"] == "M.1")
    assert all(one["nominal V in run"] == "" for one in rows if one["pin"] == "M.1")
    assert all(one["not computed"] == "" for one in rows if one["pin"] == "M.3")


def test_the_same_is_said_by_volts_and_on_the_worksheet(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, BOX + BESIDE)
    found = volts(tracing, "M")
    behind = row(found, "M.1")
    assert behind.not_computed.startswith(SAYS) and not behind.verdicts and not behind.elements and not behind.probes
    with pytest.raises(ValueError, match="not computed"):
        _ = behind.volts
    text = volts_report.as_text(found, width=200)
    assert behind.not_computed in text and "copper" not in text.split("M.1")[2].split("M.3")[0]
    (data,) = (one for one in volts_report.as_data(found)["rows"] if one["point"] == "M.1")
    assert (data["not_computed"], data["volts"], data["lost"], data["judge"]) == (behind.not_computed, None, None, [])
    sheet = sheet_of(tracing, supplies_of(tracing, "M"))
    readings = [one for batch in sheet.batches for one in batch.to_read if one.point == "M.1" and one.kind != "fit"]
    assert {one.kind for one in readings} == {"point", "alone"}
    assert all("inside Q1 is not known" in one.expected and SAYS in one.expected for one in readings)
    written = json.loads(json.dumps(form.as_data(sheet)))
    numbers = [one for batch in written["batches"] for one in batch["readings"] if one["point"] == "M.1"]
    assert not [one for reading in numbers for one in reading["computed"] if one["nominal_v"] is not None]
    assert [one for reading in numbers for one in reading["computed"] if one["not_computed"]]


LIN = """
parts:
  BAT: battery
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: bus doors LIN}}
  N: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: bus doors LIN}}
runs:
- M.1 -- RD 1 1m -- ?
- BAT.+ -- RD 1 1m -- N.1
- M.2 -- BN 1 1m -- BAT.-
- N.2 -- BN 1 1m -- BAT.-
- M.3 -- GY 0.35 2m -- N.3
"""


def test_the_levels_of_a_lin_bus_are_not_computed_where_nobody_knows_what_feeds_it(tmp_path: Path) -> None:
    """The levels are shares of the supply of its modules (ISO 17987-4, as component data sheets give it)."""
    buses = "buses:\n  doors: {kind: lin, commander: M}\n"
    tracing = tracing_of(tmp_path / "24", LIN, f"system: 24 V\n{buses}")
    report = bus_of(tracing, "doors", limits=limits_of(tracing.circuit))
    (level,) = report.levels
    assert (level.low_v, level.nominal_v, level.high_v) == (None, None, None)
    text = bus_report.as_text([report], None, width=200)
    assert f"{SAYS}what feeds M is not known" in text and "12.65" not in text and "25.3" not in text
    sheet = sheet_of(tracing, supplies_of(tracing, "M"))
    (pin,) = (one for batch in sheet.batches for one in batch.to_read if one.point == "M.3")
    assert pin.expected == level.words and not pin.limit and not pin.computed


@pytest.mark.parametrize("beside", ["S1 -- RD 1 -- Q1.1", "M.2 -- BN 1 -- Q1.1", ""])
def test_beside_an_unknown_inside_one_row_has_no_figure_and_the_others_have(beside: str, tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, BOX + (f"- {beside}\n" if beside else ""))
    report = volts(tracing, "M")
    silent = {"S1": "M.1", "M.": "M.2", "": ""}[beside[:2]]
    assert {one.point for one in report.rows if one.not_computed} == ({silent} if silent else set())
    if silent:
        assert row(report, silent).not_computed == f"{SAYS}what Q1.1 is joined with inside Q1 is not known"
        assert not report.complete
    assert (row(report, "M.3").across is None) is (silent == "M.2"), "back through a ground that is not computed"
    remarked = {finding.at for finding in tracer.check(tracing).remarks if finding.code == "R232"}
    assert remarked == {"M.1", "M.3"} - {silent}


def test_where_supply_and_ground_meet_without_a_load_nothing_is_computed(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts:\n  BAT: battery\n  F1: {is: fuse, amps: 5}\n  G1: {is: ground, at: floor}\n  M: {is: module, cavities: 1-2, at: floor}\n"
        "  SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n  - BAT.+ -- RD 4 -- SX.1\n"
    )
    sound = tracer.volts(load(tmp_path / "sound", sheet, vehicle="vehicle: v\n"), "M", "run")
    assert len(sound.rows) == 2 and not any(one.not_computed for one in sound.rows)
    circuit = load(tmp_path / "short", sheet + "  - SX.2 -- BN 4 -- G1\n", vehicle="vehicle: v\n")
    for one in tracer.volts(circuit, "M", "run").rows:
        assert "supply and ground meet without a load as typed" in one.not_computed
    assert len(tracer.volts(circuit, "M", "run").rows) == 2
    assert not any(one.not_computed for one in tracer.volts(circuit, "M", "off").rows)  # the switch is open there


def test_the_first_look_at_a_lin_bus_says_why_it_has_no_levels(tmp_path: Path) -> None:
    from tracer.report.bus_glance import as_text

    sheet = LIN.replace("- M.1 -- RD 1 1m -- ?\n", "- BAT.+ -- RD 1 1m -- M.1\n")
    tracing = tracing_of(tmp_path, sheet, "system: 48 V\nbuses:\n  doors: {kind: lin, commander: M}\n")
    text = " ".join(as_text([bus_of(tracing, "doors", limits=limits_of(tracing.circuit))], width=120).split())
    assert f"volts {SAYS}its modules are fed with" in text
