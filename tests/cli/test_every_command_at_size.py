"""Every command on every module of a vehicle built like a real one: an answer with its exit status, never a traceback.

Small in each run; with TRACER_TESTS=thorough as large as a real vehicle.
"""

import json
import os
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

import tracer
from benchmarks.believable import MODULES, believable
from tracer.circuit.model import LinkKind
from tracer.cli import app

FULL = os.environ.get("TRACER_TESTS") == "thorough"
NAMES = tuple(f"M{number}" for number in range(1, (MODULES if FULL else 5) + 1))
COMPLETE, LOOSE_ENDS = 0, 3


@pytest.fixture(scope="module")
def coach(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "coach"
    assert believable(folder, len(NAMES)) == NAMES
    return folder


def run(folder: Path, *words: str) -> tuple[int, str]:
    """Exit status and output; an exception that came out is raised."""
    result = CliRunner().invoke(app, ["-C", str(folder), *words], catch_exceptions=False)
    assert result.exit_code in (COMPLETE, LOOSE_ENDS), (words, result.output[-2000:])
    return result.exit_code, result.stdout


def test_the_vehicle_has_what_a_real_one_has(tmp_path: Path) -> None:
    """Counts of a real vehicle: 3 000 to 5 000 wires, 100 modules, 200 fuses, 40 relays, several buses (common practice, no source)."""
    believable(tmp_path / "full")
    circuit = tracer.load(str(tmp_path / "full"))
    kinds = [str(part.kind) for part in circuit.parts.values()]
    assert 4_500 <= sum(link.kind is LinkKind.WIRE for link in circuit.links) <= 5_500
    assert kinds.count("module") == MODULES + 1  # and the diagnostic connector
    assert 200 <= kinds.count("fuse") <= 230 and 40 <= kinds.count("relay") <= 50
    assert len(circuit.typed.vehicle.buses) > 10
    sheets_of_m50 = {place.parent.name + place.name for place in (tmp_path / "full" / "sheets").iterdir() if re.search(r"\bM50\b", place.read_text(encoding="utf-8"))}  # fmt: skip
    assert len(sheets_of_m50) > 3


def test_the_same_seed_gives_the_same_files(tmp_path: Path) -> None:
    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        believable(tmp_path / name, 3, seed=seed)

    def texts(name: str) -> list[str]:
        return [file.read_text(encoding="utf-8") for file in sorted((tmp_path / name).rglob("*.yaml"))]

    assert texts("a") == texts("b") != texts("c")


@pytest.mark.parametrize("module", [*NAMES, "DGC"])
@pytest.mark.parametrize("command", ["supplies", "supplies --quick", "states", "affects", "volts"])
def test_a_command_answers_for_every_module(coach: Path, command: str, module: str) -> None:
    name, *options = command.split()
    status, text = run(coach, name, module, *options)
    assert module in text
    status_again, data = run(coach, name, module, *options, "--json")
    assert status == status_again and json.loads(data)


def test_most_lists_are_complete(coach: Path) -> None:
    complete = [module for module in NAMES if run(coach, "supplies", module, "--quick")[0] == COMPLETE]
    assert len(complete) >= 0.9 * len(NAMES)


@pytest.mark.parametrize("module", NAMES)
def test_diagram_and_worksheet_of_every_module(coach: Path, module: str, tmp_path: Path) -> None:
    for name, form, *more in (
        ("diagram", "svg"),
        ("worksheet", "txt"),
        ("worksheet", "html", "--all"),
        ("pocket", "html"),
    ):
        run(coach, name, module, "-o", str(tmp_path / f"{module}.{form}"), *more)
        files = list(tmp_path.glob(f"{module}*.{form}"))
        assert files and all(file.stat().st_size for file in files)


@pytest.mark.parametrize("command", ["check", "panel", "bus", "draw", "common M1 M2 --working M3", "affects", "affects ML1", "affects STUD", "affects K15", "affects P1", "affects IGN"])  # fmt: skip
def test_a_command_answers_for_the_whole_vehicle(coach: Path, command: str) -> None:
    status, text = run(coach, *command.split())
    assert text
    status_again, data = run(coach, *command.split(), "--json")
    assert status == status_again and json.loads(data)
