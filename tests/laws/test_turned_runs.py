"""Which end of a line of the diagram was typed first, in which order, and in which file: none of it changes anything that any command says, but places of typing.

And the wires of one harness sit in one half of a connector, whichever way their runs were typed.
"""

from __future__ import annotations

import json
import os
import random
import re
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tests.commands import commands, run
from tests.typed import load
from tracer.circuit.model import Circuit, LinkKind
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
CONSTRUCTS = sorted(file.parent for file in ROOT.glob("tests/constructs/*/vehicle.yaml"))
# A place is file, line and column; below the name of its file (`missing`) line and column alone.
_PLACE = re.compile(r"sheets/[\w.-]+(:\d+:\d+)?|\"(file|line|column)\": .*|^ +\d+:\d+ (?=L\d)", re.MULTILINE)


def turned(run: str) -> str:
    """A run from its other end; as it is where it passes a fuse or a diode, which has a feed side."""
    points = run.split(" -- ")[::2]
    if any("." not in point and not re.match(r"[EWRQ]\d*$", point) for point in points[1:-1]) or points[-1] == "?":
        return run
    other_end = (re.sub(r"^(\w+)\.(\w+)>(\w+)$", r"\1.\3>\2", piece) for piece in reversed(run.split(" -- ")))
    return " -- ".join(other_end)


def retyped(vehicle: Path, folder: Path, rng: random.Random) -> Path:
    """The same vehicle as another hand types it: runs turned round, runs and sheets in another order."""
    (folder / "sheets").mkdir(parents=True)
    for file in vehicle.glob("*.yaml"):
        (folder / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    pages = sorted((vehicle / "sheets").glob("*.yaml"))
    names = [page.name for page in pages]
    rng.shuffle(names)
    for page, name in zip(pages, names, strict=True):
        head, _, below = page.read_text(encoding="utf-8").partition("runs:\n")
        runs = []
        for line in below.splitlines():
            if found := re.match(r'(\s*- (?:\{run: )?"?)(.*?)("?(?:, \w+:.*\})?)$', line):
                runs.append(found[1] + (turned(found[2]) if rng.random() < 0.5 else found[2]) + found[3])
        rng.shuffle(runs)
        text = shuffled_parts(head, rng) + ("runs:\n" + "\n".join(runs) + "\n" if runs else "")
        (folder / "sheets" / name).write_text(text, encoding="utf-8")
    return folder


def shuffled_parts(head: str, rng: random.Random) -> str:
    """The head of a sheet with its parts in another order, each with the lines that belong to it."""
    before, parts, below = head.partition("parts:\n")
    below, *after = re.split(
        r"^(?=\S)", below, maxsplit=1, flags=re.MULTILINE
    )  # what stands behind the parts stays there
    entries = re.split(r"^(?=  \S)", below, flags=re.MULTILINE)
    if not parts or entries[0] or any(not entry.startswith("  ") for entry in entries[1:]):
        return head
    entries = [entry.rstrip("\n") + "\n" for entry in entries[1:]]
    rng.shuffle(entries)
    return before + parts + "".join([*entries, *after])


def as_json(folder: Path, modules: list[str] | None = None) -> dict[str, str]:
    """The JSON of every command that has one, byte by byte, but for places of typing; what is listed by its place stands in the order of its words."""
    tracing = Tracing(tracer.load(folder))
    asked = modules or sorted(module.name for module in tracing.circuit.modules())
    calls = [["check"], ["supplies"], ["panel"], ["draw"], ["bus"]]  # a wire list keeps the order and the ends as typed
    for module in asked:
        calls += [[command, module] for command in ("supplies", "missing", "states", "affects", "common", "volts", "worksheet")]  # fmt: skip
        calls.append(["worksheet", module, "--all"])
    found = {}
    for call in calls:
        status, text = run(tracing, [*call, "--json"])
        if status in (0, 3):  # a vehicle without buses or panels says so
            found[" ".join(call)] = json.dumps(_without_places(json.loads(text)))
    return found


def _without_places(tree: Any) -> Any:
    if isinstance(tree, dict):
        return {key: _without_places(value) for key, value in tree.items() if key not in ("file", "line", "column")}
    if isinstance(tree, list):
        listed = [_without_places(one) for one in tree]
        by_place = any(isinstance(one, dict) and "line" in one for one in tree)
        return sorted(listed, key=json.dumps) if by_place else listed
    return _PLACE.sub("", tree) if isinstance(tree, str) else tree


def said(folder: Path, prints: Path, modules: list[str] | None = None, *, pictures: bool) -> dict[str, list[str]]:
    """What every command writes, line by line without places of typing; the order of loose ends follows those, so lines are sorted."""
    tracing = Tracing(tracer.load(folder))
    asked = modules or sorted(module.name for module in tracing.circuit.modules())
    found = {}
    for arguments in commands(tracing, asked, prints):
        if pictures or arguments[0] != "diagram":  # its text is laid out by length, places among it
            text = run(tracing, ["--width", "400", *arguments])[1]
            found[" ".join(arguments)] = sorted(_PLACE.sub("", text).splitlines())
    return found


@pytest.mark.parametrize("seed", range(10 if THOROUGH else 1))
def test_the_demo_vehicle_typed_by_another_hand_gives_the_same_output(seed: int, tmp_path: Path) -> None:
    modules = None if THOROUGH else ["SDM", "RMP"]
    demo = ROOT / "circuits" / "minibus"
    other = retyped(demo, tmp_path / "v", random.Random(seed))
    assert said(other, tmp_path, modules, pictures=True) == said(demo, tmp_path, modules, pictures=True)


@pytest.mark.parametrize("vehicle", [ROOT / "circuits" / "unfinished", *CONSTRUCTS], ids=lambda folder: folder.name)
def test_a_vehicle_typed_by_another_hand_gives_the_same_output(vehicle: Path, tmp_path: Path) -> None:
    expected = said(vehicle, tmp_path, pictures=False)
    for seed in range(10 if THOROUGH else 1):
        other = retyped(vehicle, tmp_path / str(seed), random.Random(seed))
        assert said(other, tmp_path, pictures=False) == expected


@pytest.mark.parametrize("vehicle", [ROOT / "circuits" / "minibus", ROOT / "circuits" / "unfinished", *CONSTRUCTS], ids=lambda folder: folder.name)  # fmt: skip
def test_runs_parts_and_files_in_any_order_give_the_same_bytes_of_json(vehicle: Path, tmp_path: Path) -> None:
    modules = ["SDM"] if vehicle.name == "minibus" and not THOROUGH else None
    expected = as_json(vehicle, modules)
    assert "check" in expected
    for seed in range(10 if THOROUGH else 1):
        found = as_json(retyped(vehicle, tmp_path / str(seed), random.Random(seed + 7)), modules)
        assert {call: text for call, text in found.items() if text != expected[call]} == {}
        assert found.keys() == expected.keys()


# --- which half ------------------------------------------------------------------------------------------------------

ENDS = {"front": ["S1", "S2", "MA.1", "MA.2", "S3"], "rear": ["S4", "S5", "MB.1", "MB.2", "S6"]}
_SPLICES = "".join(f"  S{number}: splice\n" for number in range(1, 7))
PARTS = f"sheet: 1\nparts:\n{_SPLICES}  MA: {{is: module}}\n  MB: {{is: module}}\n  X: connector\nruns:\n"


@st.composite
def _cavities(draw: st.DrawFn) -> list[tuple[str, str]]:
    """What each cavity joins: a point in the front harness and one in the rear harness."""
    return draw(
        st.lists(st.tuples(st.sampled_from(ENDS["front"]), st.sampled_from(ENDS["rear"])), min_size=1, max_size=7)
    )


@given(_cavities(), st.data())
def test_wires_of_one_harness_sit_in_one_half(cavities: list[tuple[str, str]], data: st.DataObject) -> None:
    runs = []
    for number, (front, rear) in enumerate(cavities, 1):
        way = data.draw(st.integers(0, 2))
        pieces = [f"{front} -- RD 1 -- X.{number} -- BK 1 -- {rear}"]
        if way == 1:
            pieces = [turned(pieces[0])]
        elif way == 2:
            pieces = [f"{front} -- RD 1 -- X.{number}", f"{rear} -- BK 1 -- X.{number}"]
        runs += [turned(piece) if data.draw(st.booleans()) else piece for piece in pieces]
    runs = data.draw(st.permutations(runs))
    with tempfile.TemporaryDirectory() as folder:
        circuit = load(Path(folder), PARTS + "".join(f"  - {run}\n" for run in runs), vehicle="vehicle: v\n")
    front_half = _half_of(circuit, "RD 1")
    assert all(front_half[f"{number}"] != _half_of(circuit, "BK 1")[f"{number}"] for number in range(1, len(cavities) + 1))  # fmt: skip
    # Oracle: cavities that lead to one part of the same harness are one group; a group has its front wires in one half.
    for one, (front, rear) in enumerate(cavities, 1):
        for two, (other_front, other_rear) in enumerate(cavities, 1):
            same = front.split(".")[0] == other_front.split(".")[0] or rear.split(".")[0] == other_rear.split(".")[0]
            if same:
                assert front_half[str(one)] == front_half[str(two)]


def _half_of(circuit: Circuit, wire: str) -> dict[str, str]:
    """Cavity to the half in which a wire of this colour sits."""
    found = {}
    for link in circuit.links:
        if link.kind is LinkKind.WIRE and circuit.wire_of(link).text == wire:
            for node in (link.a, link.b):
                if circuit.node_parts[node] == "X":
                    cavity, half = circuit.node_pins[node].split(":")
                    found[cavity] = half
    return found


# --- named examples --------------------------------------------------------------------------------------------------

TWO = PARTS.replace("  X: connector", "  X: {is: connector, halves: [front, rear]}\n  Y: {is: connector, halves: [rear, tail]}")  # fmt: skip


def test_a_half_is_named_by_where_it_leads_and_its_harness_where_that_is_told(tmp_path: Path) -> None:
    from tracer.trace.lists.rows import probe_kind

    for number, line in enumerate(("S1 -- RD 1 -- X.1 -- RD 1 -- Y.1 -- RD 1 -- MB.1",)):
        for typed in (line, turned(line)):
            circuit = load(tmp_path / f"{number}{len(typed)}{typed[0]}", TWO + f"  - {typed}\n", vehicle="vehicle: v\n")
            found = {circuit.node_names[node]: probe_kind(circuit, node) for node in circuit.told_halves}
            assert found == {
                "X.1, towards S1": "cavity (front)",
                "X.1, towards Y": "cavity (rear)",
                "Y.1, towards X": "cavity (rear)",
                "Y.1, towards MB": "cavity (tail)",
            }


def test_nothing_says_which_half_is_a_unless_a_run_or_a_harness_name_does(tmp_path: Path) -> None:
    line = "S1 -- RD 1 -- X.1 -- RD 1 -- MB.1"
    circuit = load(tmp_path / "a", PARTS + f"  - {line}\n", vehicle="vehicle: v\n")
    assert not circuit.told_halves
    with pytest.raises(tracer.CannotAnswer, match='"1, towards S1" or X "1, towards MB"'):
        tracer.affects(circuit, "X", "1:a")
    assert tracer.affects(circuit, "X", "1, towards MB").target.name == "X.1, towards MB"
    named = load(tmp_path / "b", PARTS + "  - S1 -- RD 1 -- X.1:b\n  - MB.1 -- RD 1 -- X.1\n", vehicle="vehicle: v\n")
    assert named.node_names[named.node_of_point["X", "1:b"]] == "X.1, towards S1"
    assert tracer.affects(named, "X", "1:a").target.name == "X.1, towards MB"


@pytest.mark.parametrize("first", ["S1 -- RD 1 -- X.5>12 -- RD 1 -- S4", "S4 -- RD 1 -- X.12>5 -- RD 1 -- S1"])
@pytest.mark.parametrize("second", ["S1 -- GN 1 -- X.12>5 -- GN 1 -- S4", "S4 -- GN 1 -- X.5>12 -- GN 1 -- S1"])
def test_cavities_crossed_with_one_another_stay_where_they_are_typed(first: str, second: str, tmp_path: Path) -> None:
    parts = PARTS.replace("X: connector", "X: {is: connector, mates: {5: 12, 12: 5}}")
    circuit = load(tmp_path, f"{parts}  - {first}\n  - {second}\n", vehicle="vehicle: v\n")
    at = {
        frozenset((circuit.wire_of(link).text, circuit.node_names[link.a], circuit.node_names[link.b]))
        for link in circuit.links
        if link.kind is LinkKind.WIRE
    }
    assert at == {
        frozenset(("RD 1", "S1", "X.5, towards S1")),
        frozenset(("RD 1", "X.12, towards S4", "S4")),
        frozenset(("GN 1", "S1", "X.12, towards S1")),
        frozenset(("GN 1", "X.5, towards S4", "S4")),
    }


def test_two_runs_that_claim_one_half_leave_the_other_loose(tmp_path: Path) -> None:
    from tracer.trace.rules.registry import loose_ends

    circuit = load(tmp_path, PARTS + "  - S1 -- RD 1 -- X.1:a\n  - MB.1 -- RD 1 -- X.1:a\n", vehicle="vehicle: v\n")
    (found,) = [one for one in loose_ends(Tracing(circuit)) if one.code == "L107"]
    assert (
        found.message == "2 wires claim the half X.1, towards MB and S1; the other half of cavity X.1 is not typed in"
    )
