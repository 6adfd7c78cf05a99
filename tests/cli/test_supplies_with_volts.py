"""The computed volts in `tracer supplies`: the same list with and without them, and a list that cannot have them."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_volts_on_the_command_line import data, run
from tests.typed import HEAD, write
from tracer.electrics.volts import expected as limits_of_size

GROUPS = ("supplies", "grounds", "carrying", "chains")


def _without_volts(found: dict[str, Any]) -> dict[str, Any]:
    found.pop("volts")
    for point in found["points"].values():
        point.pop("computed")
    for group in GROUPS:
        for row in found[group]:
            row.pop("computed")
            for probe in row["probes"]:
                probe.pop("computed", None)
    return found


def _points(found: dict[str, Any], row: dict[str, Any]) -> list[dict[str, Any]]:
    """The probe points of a row, each with what the row says otherwise."""
    return [{**found["points"][probe["at"]], **probe} for probe in row["probes"]]


def test_the_list_is_the_same_with_and_without_volts() -> None:
    full, quick = data("supplies", "ALM"), data("supplies", "ALM", "--quick")
    assert full["volts"]["computed"] is True and quick["volts"]["computed"] is False
    assert not any(one["computed"] for group in GROUPS for row in quick[group] for one in (row, *_points(quick, row)))
    assert _without_volts(full) == _without_volts(quick)


def test_each_probe_point_has_volts_in_every_key_state() -> None:
    full = data("supplies", "ALM")
    for group in GROUPS:
        for row in full[group]:
            assert list(row["computed"]) == full["keys"]
            assert all(full["volts"]["limits"][one["limit"]]["value"] > 0 for one in row["computed"].values())
            for point in _points(full, row):
                assert list(point["computed"]) == full["keys"]
                assert all(one["low_v"] <= one["nominal_v"] <= one["high_v"] for one in point["computed"].values())


def test_each_probe_point_stands_once_in_the_json() -> None:
    """What a row repeats of a point is only what is otherwise for that row."""
    full = data("supplies", "ALM")
    named = [probe for group in GROUPS for row in full[group] for probe in row["probes"]]
    assert {probe["at"] for probe in named} == set(full["points"]) and len(named) > 1.5 * len(full["points"])
    for probe in named:
        first = full["points"][probe["at"]]
        assert all(first[key] != value for key, value in probe.items() if key not in ("at", "sole"))
    assert sum(len(probe) > 2 for probe in named) < len(named) / 20


def test_volts_in_the_list_are_those_of_the_volts_command() -> None:
    full = data("supplies", "ALM")
    single = data("volts", "ALM", "--key", "run")
    alone = {row["row"]: row for row in single["rows"]}
    for group in GROUPS:
        for row in full[group]:
            volts = [point["computed"]["run"] for point in _points(full, row)]
            for one, other in zip(volts, _points(single, alone[row["row"]]), strict=True):
                for name in ("low_v", "nominal_v", "high_v"):
                    assert one[name] == pytest.approx(other["volts"][name], abs=6e-5)


def test_csv_has_volts_only_where_a_row_is_certainly_live() -> None:
    lines = list(csv.DictReader(io.StringIO(run("supplies", "ALM", "--csv").stdout)))
    full = data("supplies", "ALM")
    live = {row["row"]: row["live"] for group in GROUPS for row in full[group]}
    given = set()
    for line in (line for line in lines if line["row"]):  # the last ones say what is to be minded everywhere
        for key in full["keys"]:
            filled = bool(line[f"nominal V in {key}"])
            assert filled == (live[line["row"]][key] == "live"), (line["row"], key)
            given.add(filled)
            if filled:
                assert float(line[f"low V in {key}"]) <= float(line[f"nominal V in {key}"])
    assert given == {True, False}
    assert lines[0]["nominal V in run"] == "12.40"


def test_a_pin_that_depends_is_given_no_voltage() -> None:
    text = run("--width", "200", "supplies", "ALM", "--all").stdout
    row = text[text.index("\nS1  ALM.2") : text.index("\nS2  ALM.3")]
    line = next(line for line in row.splitlines() if line.strip().startswith("expect"))
    assert re.search(r"off: depends \| acc: depends \| run: 12\.\d\d V", line)


def test_a_shop_limit_is_in_the_list(tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("shop: Bench 4\nlimits: {supply path: 0.4}\n", encoding="utf-8")
    found = data("supplies", "ALM", "--shop", str(shop))
    named = {one["limit"] for one in found["supplies"][0]["computed"].values()}
    assert {found["volts"]["limits"][name]["value"] for name in named} == {0.4}
    assert "Bench 4" in found["volts"]["limits"]["supply path"]["source"]


def test_a_vehicle_too_large_says_that_no_volts_are_computed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import tracer
    from tracer.electrics.limits_in_use import limits_of
    from tracer.report.supplies import as_data, as_text
    from tracer.trace.lists.supplies import supplies_of
    from tracer.trace.tracing import Tracing

    folder = write(tmp_path, HEAD + "runs:\n  - 30 -- RD 2.5 -- F1 -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n")
    tracing = Tracing(tracer.load(str(folder)))
    report = supplies_of(tracing, "M")
    monkeypatch.setattr(limits_of_size, "MOST_LINKS", 2)
    found = limits_of_size.expected_of(tracing, report, limits=limits_of(tracing.circuit))
    assert found.points == {}
    assert "NO VOLTS COMPUTED" in as_text(report, found) and "links" in json.dumps(as_data(report, found)["volts"])
