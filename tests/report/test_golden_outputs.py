"""What people read, as files: the demo and the unfinished vehicle, at two widths, as text, JSON and CSV."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.golden import check_golden, writing

ROOT = Path(__file__).parent.parent.parent

CASES = {
    "minibus/supplies-ALM-80.txt": (["--width", "80"], "minibus", ["supplies", "ALM"], 0),
    "minibus/supplies-ALM-all-80.txt": (["--width", "80"], "minibus", ["supplies", "ALM", "--all"], 0),
    "minibus/supplies-ALM-120.txt": (["--width", "120"], "minibus", ["supplies", "ALM"], 0),
    "minibus/supplies-ALM-all-120.txt": (["--width", "120"], "minibus", ["supplies", "ALM", "--all"], 0),
    "minibus/supplies-ALM-40.txt": (["--width", "40"], "minibus", ["supplies", "ALM"], 0),
    "minibus/supplies-ALM-all-40.txt": (["--width", "40"], "minibus", ["supplies", "ALM", "--all"], 0),
    "minibus/supplies-ALM-pin-2-80.txt": (["--width", "80"], "minibus", ["supplies", "ALM", "2+"], 0),
    "minibus/supplies-ALM.json": ([], "minibus", ["supplies", "ALM", "--json"], 0),
    "minibus/supplies-ALM.csv": ([], "minibus", ["supplies", "ALM", "--csv"], 0),
    "minibus/states-ALM-80.txt": (["--width", "80"], "minibus", ["states", "ALM"], 0),
    "minibus/states-ALM.json": ([], "minibus", ["states", "ALM", "--json"], 0),
    "minibus/check-80.txt": (["--width", "80"], "minibus", ["check"], 0),
    "unfinished/supplies-LIFT-80.txt": (["--width", "80"], "unfinished", ["supplies", "LIFT"], 3),
    "unfinished/supplies-LIFT-all-80.txt": (["--width", "80"], "unfinished", ["supplies", "LIFT", "--all"], 3),
    "unfinished/supplies-LIFT.json": ([], "unfinished", ["supplies", "LIFT", "--json"], 3),
    "unfinished/states-LIFT-80.txt": (["--width", "80"], "unfinished", ["states", "LIFT"], 3),
    "unfinished/check-80.txt": (["--width", "80"], "unfinished", ["check"], 3),
    "unfinished/check.json": ([], "unfinished", ["check", "--json"], 3),
    "minibus/volts-ALM-all-80.txt": (["--width", "80"], "minibus", ["volts", "ALM", "--all"], 0),
    "minibus/volts-ALM-all-40.txt": (["--width", "40"], "minibus", ["volts", "ALM", "--all"], 0),
    "minibus/volts-ALM-short-all-80.txt": (
        ["--width", "80"],
        "minibus",
        ["volts", "ALM", "--short", "ALM.2", "--all"],
        0,
    ),
    "minibus/volts-ALM-what-if-all-120.txt": (
        ["--width", "120"],
        "minibus",
        ["volts", "ALM", "--battery", "12.3", "--open", "G5", "--add", "X4.1=0.5ohm", "--fuse", "F18=20", "--all"],
        0,
    ),
    "minibus/bus-all-80.txt": (["--width", "80"], "minibus", ["bus", "--all"], 0),
    "minibus/bus-drive-reading-80.txt": (
        ["--width", "80"],
        "minibus",
        ["bus", "drive", "--reading", "120ohm", "--at", "ALM"],
        0,
    ),
    "minibus/bus-diagnostic.json": ([], "minibus", ["bus", "diagnostic", "--json"], 0),
    "minibus/draw-all-80.txt": (
        ["--width", "80"],
        "minibus",
        ["draw", "--with", "asleep", "--mv", "ML2=0.1", "--mv", "F4=1.6", "--mv", "F7=0.1", "--mv", "F9=0.3", "--all"],
        0,
    ),
    "rules-80.txt": (["--width", "80"], "minibus", ["check", "--rules"], 0),
}


@pytest.mark.parametrize("name", CASES)
def test_an_output_is_what_it_was_when_somebody_last_read_it(name: str) -> None:
    options, vehicle, command, status = CASES[name]
    arguments = [sys.executable, "-m", "tracer.cli", *options, "-C", f"circuits/{vehicle}", *command]
    done = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.stderr == ""
    assert done.returncode == status
    check_golden(name, done.stdout)


def test_no_line_is_wider_than_asked_for() -> None:
    for width in (40, 80, 120):
        arguments = [
            sys.executable,
            "-m",
            "tracer.cli",
            "--width",
            str(width),
            "-C",
            "circuits/minibus",
            "supplies",
            "ALM",
        ]
        done = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)
        # A single word is never cut, so it may stick out on a line of its own.
        too_wide = [line for line in done.stdout.splitlines() if len(line) > width and len(line.split()) > 1]
        assert too_wide == []


def test_the_readme_shows_what_is_really_printed() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.compile(r"(<!-- from tests/golden/(\S+) -->\n```\n)(.*?)```", re.DOTALL)

    def first_lines(found: re.Match[str]) -> str:
        lines = (ROOT / "tests" / "golden" / found[2]).read_text(encoding="utf-8").splitlines(keepends=True)
        return found[1] + "".join(lines[: found[3].count("\n")]) + "```"

    assert len(shown.findall(readme)) >= 2
    current = shown.sub(first_lines, readme)
    if writing():
        (ROOT / "README.md").write_text(current, encoding="utf-8")
    else:
        assert readme == current
