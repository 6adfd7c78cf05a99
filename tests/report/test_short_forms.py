"""The short form of each command: the verdict and one table on one screen; everything with `--all`."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import pytest

import tracer
from benchmarks.believable import believable
from tests import commands
from tests.golden import check_golden
from tests.typed import load
from tracer.report.at_place import as_text
from tracer.report.layout import display_width

MV = ("--mv", "ML2=0.1", "--mv", "F4=1.6", "--mv", "F7=0.1", "--mv", "F9=0.3")
# What is asked of the demo every day; each fits 30 lines of 80 columns.
ASKED = {
    "volts-ALM": ("volts", "ALM"),
    "affects-F40": ("affects", "F40"),
    "affects-ML1": ("affects", "ML1"),
    "affects-ALM": ("affects", "ALM"),
    "common-ALM": ("common", "ALM"),
    "common-ALM-CLM": ("common", "ALM", "CLM", "--working", "BDM"),
    "bus": ("bus",),
    "bus-drive": ("bus", "drive"),
    "draw": ("draw",),
    "draw-read": ("draw", *MV),
}
MORE = {
    "affects-KSC-86": ("affects", "KSC", "86"),
    "volts-ALM-short": ("volts", "ALM", "--short", "ALM.2"),
    "volts-ALM-what-if": ("volts", "ALM", "--open", "G5", "--add", "X4.1=0.5ohm", "--fuse", "F18=20"),
}


def run(width: int, *command: str, vehicle: str = "minibus") -> tuple[int, str]:
    return commands.run(commands.shipped(vehicle), ["--width", str(width), "-C", f"circuits/{vehicle}", *command])


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("name", ASKED)
def test_the_verdict_and_one_table_fit_a_screen(name: str, width: int) -> None:
    status, text = run(width, *ASKED[name])
    assert status == 0
    lines = text.splitlines()
    assert any(line.startswith("COMPLETE") for line in lines[:5])
    assert len(lines) <= 30 or width < 80
    assert [line for line in lines if len(line) > width and len(line.split()) > 1] == []
    assert "--all" in text or "bus NAME" in text
    assert "the maker's procedure comes first" in " ".join(text.split()).casefold()
    check_golden(f"minibus/{name}-{width}.txt", text)


def test_the_first_look_fits_a_screen_and_takes_three_lines_a_pin_where_it_is_narrow() -> None:
    assert len(run(80, "supplies", "ALM", "--quick")[1].splitlines()) <= 30
    lines = run(40, "supplies", "ALM")[1].splitlines()
    pins = [number for number, line in enumerate(lines) if re.match(r"\d+[+-]  ", line)]
    assert len(pins) == 12
    heights = [after - number for number, after in itertools.pairwise(pins)]
    assert sorted(heights)[-3:] == [3, 4, 4]  # two ways are longer than a line


def test_one_pin_is_one_short_answer_with_its_test_its_way_and_what_it_needs() -> None:
    text = run(80, "supplies", "ALM", "2")[1]
    data = json.loads(run(80, "supplies", "ALM", "--json")[1])
    (row,) = (one for one in data["supplies"] if one["pin"] == "2")
    assert len(text.splitlines()) <= 55 < len(run(80, "supplies", "ALM", "2", "--all")[1].splitlines())
    assert "test   run 21W, growth 0.26 V at most; fails: F52, X3.12, F50" in text
    for probe in row["probes"]:
        name, _, towards = probe["at"].partition(", towards ")
        part, _, side = name.partition(".")
        line = next(
            one
            for one in text.splitlines()
            if re.match(rf"\d+ +{re.escape(name if towards else part)}\b", one) and side in one
        )
        assert towards in line
        assert " ".join(data["points"][probe["at"]]["place"].split()[:2]) in text
    assert "MIRROR" not in text and "ALM, plug on the harness, seen from the wire side" in text


def test_what_a_position_serves_is_one_line_with_what_is_not_shown_counted() -> None:
    data = json.loads(run(80, "panel", "FPE", "--json")[1])
    (served,) = (one["serves"] for one in data["panels"][0]["positions"] if one["label"] == "F40")
    names = list(dict.fromkeys(one["part"] for one in served))
    (line,) = (line for line in run(80, "panel", "FPE", "--for", "TCG")[1].splitlines() if line.startswith("F40 "))
    shown, more = re.fullmatch(r".* F?4?0? ?(TCG, .*) and (\d+) more", line.replace("ML1 150 A", "")).groups()  # type: ignore[union-attr]
    assert len(shown.split(", ")) + int(more) == len(names)


@pytest.mark.parametrize("name", MORE)
def test_what_is_supposed_is_said_first(name: str) -> None:
    check_golden(f"minibus/{name}-80.txt", run(80, *MORE[name])[1])


@pytest.mark.parametrize("command", [("volts", "LIFT"), ("affects", "F1"), ("common", "LIFT"), ("bus",), ("draw",)])
def test_of_an_unfinished_vehicle_it_says_so_first(command: tuple[str, ...]) -> None:
    status, text = run(80, *command, vehicle="unfinished")
    assert status == 3
    assert any(line.startswith("NOT COMPLETE") for line in text.splitlines()[:4])


def test_every_pin_that_something_becomes_of_is_in_the_short_form_or_its_part_is_counted() -> None:
    for part in ("F40", "G5", "X3", "GTW", "ML1"):
        text = run(120, "affects", part)[1]
        data = json.loads(run(80, "affects", part, "--json")[1])
        rows = {line.split()[0]: line for line in text.splitlines() if line.split()}
        dropped = {one["part"] for one in data["dropped"]}
        left = set()
        for one in (one for kind in ("lost", "some_states", "less_certain", "another_way") for one in data[kind]):
            if one["kind"] != "relay" or one["part"] not in dropped:
                sign = "+" if one["level"] == "supply" else "-"
                if one["part"] in rows:
                    assert f" {one['pin']}{sign}" in rows[one["part"]], (part, one)
                else:
                    left.add(one["part"])
        assert (f"and {len(left)} more parts: affects {part} --all" in text) == bool(left), (part, left)
        assert left or part != "ML1"
        for gained in data["gained"]:
            assert f"{gained['part']}.{gained['pin']} " in text


def test_every_pin_of_the_module_has_its_volts_in_the_short_form() -> None:
    text = run(80, "volts", "ALM")[1]
    rows = [row for row in json.loads(run(80, "volts", "ALM", "--json")[1])["rows"] if row["row"][0] != "C"]
    assert len(rows) == 12
    for row in rows:
        line = re.search(rf"^{re.escape(row['point'])} .*$", text, re.MULTILINE)
        shown = "floating" if row["floating"] else f"{row['volts']['nominal_v']:.2f}"
        assert line is not None and shown in line[0]


def test_every_position_of_the_draw_is_counted() -> None:
    data = json.loads(run(80, "draw", "--json")[1])
    text = " ".join(run(80, "draw")[1].split())
    behind = [one for one in data["unread"] if one["fed_by"]]
    assert f"then {len(behind)} positions behind the one that draws too much" in text
    for one in data["unread"]:
        assert one["fed_by"] or f" {one['fuse']} " in text


def test_what_all_share_is_in_the_short_form() -> None:
    data = json.loads(run(80, "common", "ALM", "RMP", "--json")[1])
    lines = run(120, "common", "ALM", "RMP")[1].splitlines()
    shared = [group for group in data["groups"] if group["by_all"] and group["verdict"] != "cleared"]
    for number, group in enumerate(shared, 1):
        (line,) = (line for line in lines if re.match(rf"{number} ", line))
        first = next(one["name"] for one in group["candidates"] if one["kind"] != "wire")
        assert re.search(rf"\b{re.escape(first)}\b", line)


# --- at one place -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 80, 120])
def test_what_can_be_read_under_one_lid_is_one_screen(width: int) -> None:
    status, text = run(width, "supplies", "ALM", "--place", "fpc")
    assert status == 0
    assert len(text.splitlines()) <= 30 or width < 80
    check_golden(f"minibus/place-FPC-ALM-{width}.txt", text)


def test_every_point_of_every_list_at_a_place_is_there_and_no_other() -> None:
    tracing = commands.shipped("minibus")
    circuit = tracing.circuit
    points: dict[str | None, dict[str, set[str]]] = {}
    for report in tracer.every_list(tracing):
        for row in report.rows:
            for probe in row.probes:
                points.setdefault(probe.place, {}).setdefault(probe.at, set()).add(f"{row.point}:{'+' if row.level == 'supply' else '-'}")  # fmt: skip
    for part in ("FPC", "X3", "F50", "ALM", "S31"):
        place = circuit.place_of_part(part)[0]
        found = tracer.at_place(tracing, part)
        assert {one.at: set(one.rows) for one in found.points} == points[place]
        assert tracer.at_place(tracing, place or "").points == found.points


def test_a_place_that_is_not_there_or_not_one_is_refused_with_what_to_write() -> None:
    circuit = commands.shipped("minibus").circuit
    with pytest.raises(tracer.UnknownPlace, match="Did you mean FPC"):
        tracer.at_place(circuit, "FPG")
    with pytest.raises(tracer.UnknownPlace, match=r"could be several places: .* more"):
        tracer.at_place(circuit, "left")


def test_at_a_place_nothing_to_measure_stands_beside_a_hazard(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5, at: bay}, G1: {is: ground, at: floor}, RCM: {is: module, hazard: restraint, cavities: 1-2, at: tunnel}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- RCM.1\n  - RCM.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n"
    )
    found = tracer.at_place(load(tmp_path, sheet, vehicle="vehicle: v\n"), "RCM", "RCM")
    assert [one.at for one in found.points] == ["RCM.1", "RCM.2"]
    assert all(one.no_method and one.volts is None for one in found.points)
    text = as_text(found)
    assert "1 HAZARD: restraint (RCM)" in text and "restraint wiring, the maker's procedure only" in text


def test_in_a_large_vehicle_too_each_short_form_is_one_screen(tmp_path: Path) -> None:
    believable(tmp_path / "v", modules=50)
    tracing = tracer.Tracing(tracer.load(tmp_path / "v"))
    assert len(tracing.circuit.typed.vehicle.buses) > 6
    for command in (
        ["affects", "ML1"],
        ["affects", "K15"],
        ["common", "M30"],
        ["common", "M30", "M31"],
        ["bus"],
        ["supplies", "M30", "--quick"],
        ["draw"],
    ):
        text = commands.run(tracing, ["--width", "80", *command])[1]
        assert len(text.splitlines()) <= 30, command
        assert max(map(display_width, text.splitlines())) <= 80, command
    text = commands.run(tracing, ["--width", "80", "panel"])[1]
    positions = [one for panel in tracer.panels(tracing).panels for one in panel.positions]
    assert len(text.splitlines()) < len(positions) + 30  # one line each, and a head for each panel
    served = {one.label: list(dict.fromkeys(each.part for each in one.serves)) for one in positions}
    (line,) = (line for line in text.splitlines() if line.startswith("K15 "))
    shown, more = re.fullmatch(r".* (M1, .*) and (\d+) more", line).groups()  # type: ignore[union-attr]
    assert shown.split(", ") == served["K15"][: -int(more)]
    assert shown.startswith("M1, M2, M3")


def test_many_buses_take_a_line_each_and_what_is_not_known_is_said_first(tmp_path: Path) -> None:
    believable(tmp_path / "v", modules=50)
    vehicle = tmp_path / "v" / "vehicle.yaml"
    text = vehicle.read_text(encoding="utf-8")
    vehicle.write_text(re.sub(r"(b2: \{[^{}]*)kind: [^,}]*, ", r"\1", text, count=1), encoding="utf-8")
    tracing = tracer.Tracing(tracer.load(tmp_path / "v"))
    reports = [tracer.bus(tracing, name) for name in tracer.buses(tracing)]
    status, shown = commands.run(tracing, ["--width", "120", "bus"])
    lines = {line.split()[0]: line for line in shown.splitlines() if line}
    for report in reports:
        assert f" {report.completeness.word}" in lines[report.name]
        assert ("NOT KNOWN" in lines[report.name]) == bool(report.problems)
    assert (status == 0) == all(report.completeness.complete for report in reports)
