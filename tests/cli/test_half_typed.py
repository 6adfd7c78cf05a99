"""Half-typed is the ordinary state of a vehicle: whatever was typed so far, every command answers or says in one message why it cannot."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

import tracer
from tests.commands import commands, run
from tracer.cli import app
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
VEHICLES = sorted(file.parent for folder in ("circuits", "tests/constructs") for file in ROOT.glob(f"{folder}/*/vehicle.yaml"))  # fmt: skip
THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
ANSWERS = {0, 1, 2, 3}


def _pages(vehicle: Path, folder: Path) -> list[tuple[Path, list[str]]]:
    """The lines of every page; the vehicle's other files are copied into `folder`."""
    (folder / "sheets").mkdir(parents=True)
    for file in vehicle.glob("*.yaml"):
        shutil.copy(file, folder)
    pages = sorted((vehicle / "sheets").glob("*.yaml"))
    return [(folder / "sheets" / page.name, page.read_text(encoding="utf-8").splitlines(keepends=True)) for page in pages]  # fmt: skip


def line_by_line(vehicle: Path, folder: Path) -> Iterator[str]:
    """The vehicle as it grows in `folder`, page by page and each page line by line."""
    for page, lines in _pages(vehicle, folder):
        for number, line in enumerate(lines, 1):
            if not line.lstrip().startswith("#"):
                page.write_text("".join(lines[:number]), encoding="utf-8")
                yield f"{page.name} up to line {number}"


def parts_first(vehicle: Path, folder: Path, *, last_page_first: bool) -> Iterator[str]:
    """The vehicle as it grows when the parts of all pages are there and the runs follow, since a run may only name what is declared."""
    pages = _pages(vehicle, folder)
    for page, lines in pages:
        page.write_text("".join(lines[: _runs_begin(lines)]), encoding="utf-8")
    yield "the parts alone"
    for page, lines in pages[:: -1 if last_page_first else 1]:
        for number in range(_runs_begin(lines) + 2, len(lines) + 1):
            page.write_text("".join(lines[:number]), encoding="utf-8")
            yield f"the parts, and {page.name} up to line {number}"


def _runs_begin(lines: list[str]) -> int:
    return lines.index("runs:\n") if "runs:\n" in lines else len(lines)


GROWING: dict[str, Callable[[Path, Path], Iterator[str]]] = {
    "line by line": line_by_line,
    "parts first": lambda vehicle, folder: parts_first(vehicle, folder, last_page_first=False),
    "parts first, last page first": lambda vehicle, folder: parts_first(vehicle, folder, last_page_first=True),
}


def go_through(folder: Path, prints: Path, turn: int) -> bool:
    """Ask everything of what was typed so far; whether it could be used at all."""
    try:
        tracing = Tracing(tracer.load(folder))
    except tracer.CannotUse:
        done = CliRunner().invoke(app, ["-C", str(folder), "check"], catch_exceptions=False)
        assert done.exit_code == 1
        assert re.search(r"\.yaml:\d+", done.output) or "vehicle.yaml" in done.output
        return False
    modules = [module.name for module in tracing.circuit.modules()]
    asked = [modules[turn % len(modules)]] if modules else []
    for arguments in commands(tracing, asked, prints):
        status, written = run(tracing, arguments)
        assert status in ANSWERS, arguments
        assert written or status == 0, arguments
    return True


def _cases() -> Iterator[tuple[Path, str, int]]:
    """Vehicle, how it grows, and how many states of it are asked: a spread sample, or all (0)."""
    for vehicle in VEHICLES:
        for growing in GROWING:
            if THOROUGH:
                yield vehicle, growing, 0
            elif vehicle.parent.name == "circuits":
                yield vehicle, growing, 4
            elif growing == "parts first":
                yield vehicle, growing, 1


@pytest.mark.parametrize(
    ("vehicle", "growing", "most"), list(_cases()), ids=lambda value: getattr(value, "name", str(value))
)
def test_every_command_answers_whatever_was_typed_so_far(
    vehicle: Path, growing: str, most: int, tmp_path: Path
) -> None:
    count = sum(1 for _ in GROWING[growing](vehicle, tmp_path / "counted"))
    step = -(-count // most) if most else 1
    asked = 0
    for turn, name in enumerate(GROWING[growing](vehicle, tmp_path / "v")):
        if turn % step == step // 2:
            try:
                go_through(tmp_path / "v", tmp_path, turn // step)
            except Exception as error:
                raise AssertionError(f"{vehicle.name}, {name}: {error!r}") from error
            asked += 1
    assert asked


def test_a_bus_whose_lines_are_declared_and_not_wired_yet_is_not_computed(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\nbuses: {drive: {kind: high-speed can}}\n", encoding="utf-8")
    sheet = "sheet: 1\nparts:\n  M: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: bus drive H, 4: bus drive L}}\n  BAT: battery\nruns:\n  - BAT.+ -- RD 1 -- M.1\n"
    (tmp_path / "sheets" / "1.yaml").write_text(sheet, encoding="utf-8")
    assert go_through(tmp_path, tmp_path, 0)
    report = tracer.bus(tracer.load(tmp_path), "drive")
    assert any("no resistance can be computed" in problem for problem in report.problems)
