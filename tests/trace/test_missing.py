"""What to type in next for a module: the loose ends of its list and no others, page by page."""

from __future__ import annotations

import json
from pathlib import Path

import tracer
from tests.cli.test_exit_status import invoke
from tests.typed import load, write
from tracer.report import missing as report

FIRST = (
    "sheet: 1\ntitle: Power\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, G1: {is: ground, at: floor}, S1: splice, "
    "M: {is: module, cavities: 1-3, at: floor, pins: {3: signal}}, N: {is: module, cavities: 1-2}}\n"
)
WHOLE = FIRST + "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n"


def test_the_page_that_ends_most_comes_first_and_what_is_loose_elsewhere_is_only_counted(tmp_path: Path) -> None:
    second = "sheet: 2\nruns:\n  - S1 -- RD 1 -- ref 1>9\n  - M.3 -- GN 1 -- S1\n  - S1 -- GN 1 -- GTW.7\n  - S1 -- GN 1 -- ?\n"
    circuit = load(tmp_path, WHOLE, second, vehicle="vehicle: v\n")
    found = tracer.missing(circuit, "M")
    ends = tracer.supplies(circuit, "M").loose_ends
    assert [(page.sheet, page.title, len(page.loose_ends)) for page in found.pages] == [("2", None, 3)]
    assert {one.message for page in found.pages for one in page.loose_ends} == {one.message for one in ends}
    lines = report.as_text(found).splitlines()
    assert lines[1].startswith("NOT COMPLETE: 3 loose ends on the ways to this module.")
    assert "Sheet 2 (sheets/2.yaml): 3 loose ends" in lines
    assert any("`GTW` is not declared: used in 1 place (sheet 2)" in line for line in lines)


def test_a_file_that_is_not_read_comes_before_the_page_with_the_most(tmp_path: Path) -> None:
    circuit = load(
        tmp_path, WHOLE + "  - M.3 -- GN 1 -- ?\n", vehicle="vehicle: v\n", more={"sheets/2.yaml.txt": "sheet: 2\n"}
    )
    assert [page.file for page in tracer.missing(circuit, "M").pages] == ["sheets/2.yaml.txt", "sheets/1.yaml"]


def test_nothing_missing_gives_0_and_something_3(tmp_path: Path) -> None:
    sheet = WHOLE.replace("cavities: 1-3, at: floor, pins: {3: signal}", "cavities: 1-2, at: floor").replace(
        "S1: splice, ", ""
    )
    folder = str(write(tmp_path / "whole", sheet, vehicle="vehicle: v\n"))
    status, out, _ = invoke("-C", folder, "missing", "M")
    assert status == 0 and "Nothing is missing: the list of M is COMPLETE." in out
    folder = str(write(tmp_path / "open", WHOLE, vehicle="vehicle: v\n"))
    status, out, _ = invoke("-C", folder, "missing", "M", "--json")
    assert status == 3
    data = json.loads(out)
    assert (data["schema"], data["complete"], data["pages"][0]["loose_ends"][0]["code"]) == (
        "tracer.missing/1",
        False,
        "L116",
    )
    assert invoke("-C", folder, "missing", "Q")[0] == 2
    assert invoke("-C", str(tmp_path), "missing", "M")[0] == 1


def test_what_a_list_rests_on_is_missing_too(tmp_path: Path) -> None:
    sheet = WHOLE.replace("cavities: 1-3, at: floor, pins: {3: signal}", "cavities: 1-2, at: floor").replace(
        "  - BAT.- -- BK 25 -- G1\n", ""
    )
    status, out, _ = invoke("-C", str(write(tmp_path, sheet, vehicle="vehicle: v\n")), "missing", "M")
    assert status == 3 and "IT RESTS ON WHAT IS NOT TYPED IN" in out
