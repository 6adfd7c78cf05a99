"""`tracer panel`, `tracer affects` and `tracer common` as typed: exit status, text, JSON, CSV and the page to fill in."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest

from tests.golden import check_golden

ROOT = Path(__file__).parent.parent.parent

CASES = {
    "minibus/panel-80.txt": (["--width", "80"], ["panel"], 0),
    "minibus/panel-for-ALM-40.txt": (["--width", "40"], ["panel", "--for", "ALM"], 0),
    "minibus/panel-all-80.txt": (["--width", "80"], ["panel", "--all"], 0),
    "minibus/panel-FPC-all-40.txt": (["--width", "40"], ["panel", "FPC", "--all"], 0),
    "minibus/panel-FPE-all-120.txt": (["--width", "120"], ["panel", "FPE", "--all"], 0),
    "minibus/panel-FPC.json": ([], ["panel", "FPC", "--json"], 0),
    "minibus/panel.csv": ([], ["panel", "--csv"], 0),
    "minibus/seen-FPC-80.txt": (
        ["--width", "80"],
        ["panel", "FPC", "--saw", "12:15 13:- 14:20 7:- 30:10 1:blown 26:- 11:- 22:? 25:7.5"],
        3,
    ),
    "minibus/seen-FPC.json": ([], ["panel", "FPC", "--saw", "13:- 14:20", "--saw", "30:10", "--json"], 3),
    "minibus/affects-F50-all-80.txt": (["--width", "80"], ["affects", "F50", "--all"], 0),
    "minibus/affects-F20-all-80.txt": (["--width", "80"], ["affects", "F20", "--all"], 0),
    "minibus/affects-G5-all-80.txt": (["--width", "80"], ["affects", "G5", "--all"], 0),
    "minibus/affects-KSC-86-all-40.txt": (["--width", "40"], ["affects", "KSC", "86", "--all"], 0),
    "minibus/affects-80.txt": (["--width", "80"], ["affects"], 0),
    "minibus/affects-40.txt": (["--width", "40"], ["affects"], 0),
    "minibus/affects-F50.json": ([], ["affects", "F50", "--json"], 0),
    "minibus/common-all-80.txt": (["--width", "80"], ["common", "ALM.7", "CLM.2", "--working", "BDM", "--all"], 0),
    "minibus/common.json": ([], ["common", "ALM.7", "CLM.2", "--working", "BDM", "--json"], 0),
}


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tracer.cli", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)


def demo(*arguments: str) -> subprocess.CompletedProcess[str]:
    return run("-C", "circuits/minibus", *arguments)


@pytest.mark.parametrize("name", CASES)
def test_an_output_is_what_it_was_when_somebody_last_read_it(name: str) -> None:
    options, command, status = CASES[name]
    done = run(*options, "-C", "circuits/minibus", *command)
    assert done.stderr == ""
    assert done.returncode == status
    check_golden(name, done.stdout)


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize(
    "command",
    [["panel"], ["panel", "FPC", "--saw", "7:-"], ["affects", "ML2", "--all"], ["common", "ALM", "CLM", "--all"]],
)
def test_no_line_is_wider_than_asked_for(width: int, command: list[str]) -> None:
    done = run("--width", str(width), "-C", "circuits/minibus", *command)
    too_wide = [line for line in done.stdout.splitlines() if len(line) > width and len(line.split()) > 1]
    assert too_wide == []


def test_the_page_to_fill_in_holds_every_label_and_every_box(tmp_path: Path) -> None:
    file = tmp_path / "panels.pdf"
    done = demo("panel", "--pdf", str(file))
    assert (done.returncode, done.stdout) == (0, "")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages)
    words = text.split()
    for label in [f"F{n}" for n in range(1, 31)] + [f"F{n}" for n in range(40, 58)] + ["KSC", "KAL"]:
        assert label in words
    for box in ("fitted", "rating seen", "V feed side", "V load side"):
        assert box in text
    assert "MUST BE EMPTY" in text and "Fit only the same fuse rating" in text


def test_the_page_is_the_same_each_time(tmp_path: Path) -> None:
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    demo("panel", "FPC", "--pdf", str(first))
    demo("panel", "FPC", "--pdf", str(second))
    texts = [[page.extract_text() for page in pypdf.PdfReader(file).pages] for file in (first, second)]
    assert texts[0] == texts[1]


def test_a_file_of_what_was_seen_and_words_on_the_line_go_together(tmp_path: Path) -> None:
    file = tmp_path / "seen.txt"
    file.write_text("F7:10\nF5:20  # too large\n", encoding="utf-8")
    done = demo("panel", "FPC", "--seen", str(file), "--saw", "F5:15", "--json")
    data = json.loads(done.stdout)
    assert data["mismatches"] == [] and set(data["right"]) == {"F5", "F7"}
    assert done.returncode == 3  # the others were not looked at


def test_the_csv_has_a_line_for_each_position() -> None:
    rows = list(csv.DictReader(io.StringIO(demo("panel", "--csv").stdout)))
    assert len(rows) == 33 + 24
    assert {row["complete"] for row in rows} == {"complete"}


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["panel", "FPX"], 2, "there is no panel FPX"),
        (["panel", "FPC", "--saw", "7:x"], 1, "--saw:1:1: `x` is not something"),
        (["panel", "FPC", "--seen", "no-such-file"], 1, "cannot read no-such-file"),
        (["panel", "--pdf", "no-such-folder/x.pdf"], 1, "cannot write no-such-folder/x.pdf"),
        (["affects", "F999"], 2, "there is no part F999"),
        (["common", "F7"], 2, "draws on no supply"),
    ],
)
def test_wrong_usage_and_bad_files_have_their_exit_status(arguments: list[str], status: int, message: str) -> None:
    done = demo(*arguments)
    assert done.returncode == status
    assert message in done.stderr


def test_an_unfinished_vehicle_says_so_in_its_panels() -> None:
    done = run("-C", "circuits/unfinished", "panel")
    assert done.returncode == 3
    assert "NOT COMPLETE" in done.stdout.splitlines()[1]


def test_the_positions_of_a_module_are_those_on_its_ways() -> None:
    every = json.loads(demo("panel", "--json").stdout)["panels"]
    only = json.loads(demo("panel", "--for", "ALM", "--json").stdout)["panels"]
    listed = json.loads(demo("supplies", "ALM", "--json", "--quick").stdout)
    fuses = {fuse["part"] for group in ("supplies", "chains") for row in listed[group] for fuse in row["fuses"]}
    shown = {position["part"] for panel in only for position in panel["positions"]}
    known = {position["part"] for panel in every for position in panel["positions"]}
    assert fuses & known <= shown < known
    assert "F3" not in shown  # of the tachograph alone
    text = demo("panel", "--for", "ALM").stdout
    assert {line.split()[0] for line in text.splitlines() if line.split()} >= shown
    assert demo("panel", "--for", "ALN").returncode == 2
