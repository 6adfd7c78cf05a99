"""Shell completion as the shell asks for it: names of the folder that `-C` names, and nothing where it cannot be read."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest
from hypothesis import given

from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.typed import write
from tracer.circuit import join
from tracer.electrics.bus.lines import bus_names
from tracer.entry import read_folder
from tracer.entry.names import names_of

ROOT = Path(__file__).parent.parent.parent
# At the end the program says which heavy packages it has loaded: a shell asks at every press of the key.
PROGRAM = """
import atexit, sys
heavy = ("networkx", "numpy", "scipy", "tracer.entry.models") + (("pydantic", "pydantic_core") if OLD else ())
atexit.register(lambda: sys.stderr.write(" ".join(name for name in heavy if name in sys.modules)))
sys.argv[0] = "tracer"
from tracer.cli import main
main()
"""
# From 0.21 on typer itself loads pydantic to read any option; constraints.txt holds the locked one below it.
PROGRAM = PROGRAM.replace("OLD", str(tuple(map(int, version("typer").split(".")[:2])) < (0, 21)))


def run(*arguments: str, **environment: str) -> str:
    """What the program prints; it must have loaded nothing heavy, and said nothing else on standard error."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    return done.stdout


def offered(line: str) -> list[str]:
    """What bash offers for the last word of a line."""
    last = str(len(line.split(" ")) - 1)
    return run(_TRACER_COMPLETE="complete_bash", COMP_WORDS=line, COMP_CWORD=last).split()


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("tracer sup", ["supplies"]),
        ("tracer -C circuits/minibus supplies A", ["ALM"]),
        ("tracer -C circuits/minibus volts AL", ["ALM"]),
        ("tracer -C circuits/minibus volts ALM --key ", ["acc", "off", "run", "start"]),
        ("tracer -C circuits/minibus volts ALM --open F5", ["F5", "F50", "F51", "F52", "F53", "F54", "F55", "F56", "F57"]),
        ("tracer -C circuits/minibus affects F2", ["F2", "F20", "F21", "F22", "F23", "F24", "F25", "F26", "F27", "F28", "F29"]),
        ("tracer -C circuits/minibus panel ", ["FPC", "FPE"]),
        ("tracer -C circuits/minibus bus d", ["diagnostic", "drive"]),
        ("tracer -C circuits/minibus diagram A", ["ALM"]),
        ("tracer -C circuits/none supplies A", []),
    ],
)  # fmt: skip
def test_names_are_offered(line: str, names: list[str]) -> None:
    assert sorted(offered(line)) == sorted(names)


@pytest.mark.parametrize("arguments", [("--help",), ("supplies", "--help"), ("--version",)])
def test_the_help_loads_nothing_heavy(arguments: tuple[str, ...]) -> None:
    assert run(*arguments)


def test_a_list_does_load_the_models() -> None:
    # otherwise the tests above could not fail
    with pytest.raises(AssertionError, match=r"tracer\.entry\.models"):
        run("-C", "circuits/minibus", "supplies", "ALM", "--quick")


def same_names(folder: Path) -> None:
    """The names read from the trees alone are those of the joined circuit."""
    names, circuit = names_of(folder), join(read_folder(folder))
    assert sorted(names.kinds.items()) == sorted((part.name, part.kind) for part in circuit.parts.values())
    assert names.keys == circuit.typed.vehicle.key
    assert sorted(names.buses) == sorted(bus_names(circuit))


@pytest.mark.parametrize("folder", sorted(path for path in (ROOT / "circuits").iterdir() if path.is_dir()), ids=str)
def test_the_names_of_an_example_are_those_of_its_circuit(folder: Path) -> None:
    same_names(folder)


@given(typed_vehicles())
def test_the_names_of_any_vehicle_are_those_of_its_circuit(
    tmp_path_factory: pytest.TempPathFactory, vehicle: TypedVehicle
) -> None:
    same_names(vehicle.write(tmp_path_factory.mktemp("names")))


def test_one_label_in_two_panels_is_offered_with_its_panel(tmp_path: Path) -> None:
    sheet = "sheet: 1\nparts:\n  P: {is: panel, positions: {F1-F3: 10, K1: {is: relay, kind: normally open}}}\n  Q: {is: panel, positions: {F2: 5}}\n  F3: fuse\n"
    folder = write(tmp_path, sheet, "sheet: 2\nparts: {P: {positions: {F4: empty}}}\n")
    same_names(folder)
    assert sorted(names_of(folder).parts("fuse")) == ["F1", "F3", "F4", "P/F2", "Q/F2"]


def test_a_slip_does_not_hide_the_names(tmp_path: Path) -> None:
    folder = write(
        tmp_path,
        "sheet: 1\nparts: {M1: {is: module, bogus: 1, pins: [bus]}, P: {is: panel, positions: {3-1: 5, F1: [5]}}, Q: [x], R: {is: [y]}}\n",
        "sheet: 2\nparts: [M9]\n",
        "{",
        vehicle="vehicle: [v]\nkey: run\nbuses: {drive: x}\n",
    )
    names = names_of(folder)
    assert (names.parts("module"), names.parts(), names.keys, names.buses) == (
        ["M1"],
        ["M1", "P", "F1"],
        ("run",),
        ("drive",),
    )
