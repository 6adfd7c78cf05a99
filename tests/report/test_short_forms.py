"""The short form of each command: the verdict and one table on one screen; everything with `--all`."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.golden import check_golden

ROOT = Path(__file__).parent.parent.parent
MV = ("--mv", "ML2=0.1", "--mv", "F4=1.6", "--mv", "F7=0.1", "--mv", "F9=0.3")
# What is asked of the demo every day; each fits 30 lines of 80 columns.
ASKED = {
    "volts-ALM": ("volts", "ALM"),
    "affects-F40": ("affects", "F40"),
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
    arguments = [sys.executable, "-m", "tracer.cli", "--width", str(width), "-C", f"circuits/{vehicle}", *command]
    done = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.stderr == ""
    return done.returncode, done.stdout


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


@pytest.mark.parametrize("name", MORE)
def test_what_is_supposed_is_said_first(name: str) -> None:
    check_golden(f"minibus/{name}-80.txt", run(80, *MORE[name])[1])


@pytest.mark.parametrize("command", [("volts", "LIFT"), ("affects", "F1"), ("common", "LIFT"), ("bus",), ("draw",)])
def test_of_an_unfinished_vehicle_it_says_so_first(command: tuple[str, ...]) -> None:
    status, text = run(80, *command, vehicle="unfinished")
    assert status == 3
    assert any(line.startswith("NOT COMPLETE") for line in text.splitlines()[:4])


def test_every_pin_that_something_becomes_of_is_in_the_short_form() -> None:
    for part in ("F40", "G5", "X3", "GTW"):
        text = run(120, "affects", part)[1]
        data = json.loads(run(80, "affects", part, "--json")[1])
        rows = {line.split()[0]: line for line in text.splitlines() if line.split()}
        dropped = {one["part"] for one in data["dropped"]}
        for one in (one for kind in ("lost", "some_states", "less_certain", "another_way") for one in data[kind]):
            if one["kind"] != "relay" or one["part"] not in dropped:
                sign = "+" if one["level"] == "supply" else "-"
                assert f" {one['pin']}{sign}" in rows[one["part"]], (part, one)
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
