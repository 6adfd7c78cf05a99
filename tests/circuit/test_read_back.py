"""A sheet read back line by line: what is ticked is kept, and goes stale with a change of its line and with nothing else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import tracer
from tests.cli.test_exit_status import invoke
from tests.typed import HEAD, load, problems, write
from tracer.circuit.model import LinkKind
from tracer.trace.rules.registry import remarks
from tracer.trace.tracing import Tracing

RUNS = "runs:\n  - ref 9>3 -- BN 1 -- G1\n  - 30 -- RD 2.5 -- F1 -- RD/GN 1 -- X1.1 -- RD/GN 1 -- M.1\n  - ref 4>2 -- BU 1 -- M.2\n"


def unticked(folder: Path, **more: str) -> list[str]:
    return [line.words for line in tracer.read_back(folder, "1", **more).lines if not line.ticked]


def test_the_lines_come_in_the_order_of_the_marks_and_say_every_wire_and_fact(tmp_path: Path) -> None:
    lines = [line.words for line in tracer.read_back(write(tmp_path, HEAD + RUNS), "1").lines]
    assert lines[:5] == [
        "ref 4>2 to M.2: blue, 1 mm²",
        "ref 9>3 to G1: brown, 1 mm²",
        "30 to F1.feed: red, 2.5 mm²",
        "F1.load to X1.1: red with green, 1 mm²",
        "X1.1 to M.1: red with green, 1 mm²",
    ]
    assert {"F1: is: fuse", "F1: amps: 10", "M: cavities 4"} <= set(lines)


def test_a_tick_is_kept_and_goes_stale_with_its_line_alone(tmp_path: Path) -> None:
    folder = write(tmp_path, HEAD + RUNS)
    every = len(tracer.read_back(folder, "1").lines)
    assert tracer.read_back(folder, "1", tick="all").complete
    assert tracer.read_back(folder, "1").complete
    write(folder, HEAD + RUNS.replace("BU 1 -- M.2", "BU 1 -- M.3"))
    found = tracer.read_back(folder, "1")
    assert unticked(folder) == ["ref 4>2 to M.3: blue, 1 mm²"]
    assert found.gone == ("M.2 and ref 4>2: blue, 1 mm²",)
    assert not found.complete
    assert unticked(folder, tick="1", untick="2-3") == ["ref 9>3 to G1: brown, 1 mm²", "30 to F1.feed: red, 2.5 mm²"]
    assert len(found.lines) == every


def test_two_supplies_swapped_between_two_pins_lose_their_ticks(tmp_path: Path) -> None:
    runs = "runs:\n  - S1 -- RD 1 -- M.1\n  - S2 -- RD 1 -- M.2\n"
    folder = write(tmp_path, HEAD + runs)
    tracer.read_back(folder, "1", tick="all")
    write(folder, HEAD + runs.replace("M.1", "M.x").replace("M.2", "M.1").replace("M.x", "M.2"))
    assert unticked(folder) == ["S1 to M.2: red, 1 mm²", "S2 to M.1: red, 1 mm²"]


def test_turning_a_run_keeps_its_ticks_unless_the_turn_says_something_else(tmp_path: Path) -> None:
    """Turned round, a run through a fuse has its feed side at the other wire."""
    folder = write(
        tmp_path, HEAD + "runs:\n  - S1 -- RD 1 -- X1.1 -- RD 1 -- M.1\n  - 30 -- RD 1 -- F1 -- BK 1 -- S2\n"
    )
    tracer.read_back(folder, "1", tick="all")
    write(folder, HEAD + "runs:\n  - S2 -- BK 1 -- F1 -- RD 1 -- 30\n  - M.1 -- RD 1 -- X1.1 -- RD 1 -- S1\n")
    assert unticked(folder) == ["S2 to F1.feed: black, 1 mm²", "F1.load to 30: red, 1 mm²"]


def test_crossed_cavities_say_in_which_a_wire_sits(tmp_path: Path) -> None:
    head = HEAD.replace("cavities: 1-6}", "cavities: 1-6, mates: {1: 2, 2: 1}}")
    folder = write(tmp_path, head + "runs:\n  - S1 -- RD 1 -- X1.1>2 -- RD 1 -- M.1\n")
    tracer.read_back(folder, "1", tick="all")
    write(folder, head + "runs:\n  - S1 -- RD 1 -- X1.2>1 -- RD 1 -- M.1\n")
    assert len(unticked(folder)) == 2
    write(folder, head + "runs:\n  - M.1 -- RD 1 -- X1.2>1 -- RD 1 -- S1\n")
    assert unticked(folder) == []


def test_the_command(tmp_path: Path) -> None:
    folder = str(write(tmp_path, HEAD + RUNS))
    status, out, _ = invoke("-C", folder, "read-back", "1")
    assert (status, "[x]" in out) == (3, False)
    assert "Two supplies swapped between two pins" in " ".join(out.split())
    status, out, _ = invoke("-C", folder, "read-back", "sheets/1.yaml", "--tick", "all")
    assert (status, "[ ]" in out) == (0, False)
    assert json.loads(invoke("-C", folder, "read-back", "1", "--json")[1])["complete"] is True
    for arguments, said in ((["7"], "there is no sheet 7"), (["1", "--tick", "99"], "the lines of this sheet are 1 to"),
                            (["1", "--tick", "x y"], "--tick x y")):  # fmt: skip
        status, out, error = invoke("-C", folder, "read-back", *arguments)
        assert (status, out) == (2, "")
        assert said in error


@pytest.mark.parametrize("content", ["[", "[]", '{"1": 3}', '{"1": [3]}', "\udcff"])
def test_a_spoiled_file_of_ticks_is_told_and_left_alone(content: str, tmp_path: Path) -> None:
    folder = write(tmp_path, HEAD + RUNS)
    file = folder / "read-back.json"
    file.write_bytes(content.encode("utf-8", "surrogateescape"))
    status, out, error = invoke("-C", str(folder), "read-back", "1", "--tick", "all")
    assert (status, out) == (1, "")
    assert error.startswith("read-back.json") and "Delete it" in error
    assert file.read_bytes() == content.encode("utf-8", "surrogateescape")


# --- the page --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "page", ["../x.pdf", "/etc/x.pdf", "scans/../../x.pdf", "C:\\x.pdf", "file:x", "out/x.pdf", "~/x.pdf"]
)
def test_a_page_outside_the_folder_is_a_problem(page: str, tmp_path: Path) -> None:
    (tmp_path / "beside").mkdir()
    folder = write(tmp_path / "v", HEAD.replace("sheet: 1", f"sheet: 1\npage: '{page}'"))
    (folder / "out").symlink_to(tmp_path / "beside")
    (problem,) = problems(folder)
    assert (problem.place.file, problem.place.line) == ("sheets/1.yaml", 2)
    assert problem.what.startswith("page: ")


def test_a_page_that_is_missing_is_a_remark_and_one_that_is_there_is_shown(tmp_path: Path) -> None:
    folder = write(tmp_path, HEAD.replace("sheet: 1", "sheet: 1\npage: scans/p1.pdf") + RUNS)
    assert "R261" in {one.code for one in remarks(Tracing(tracer.load(folder)))}
    assert "The page: scans/p1.pdf (there is no such file)" in invoke("-C", str(folder), "read-back", "1")[1]
    (folder / "scans").mkdir()
    (folder / "scans" / "p1.pdf").write_bytes(b"%PDF")
    assert "R261" not in {one.code for one in remarks(Tracing(tracer.load(folder)))}
    assert "The page: scans/p1.pdf\n" in invoke("-C", str(folder), "read-back", "1")[1]


def test_a_half_that_is_named_stays_when_its_run_is_turned(tmp_path: Path) -> None:
    """Cavity 1 of half a is not cavity 2 of half a, from whichever end the run is typed."""
    head = HEAD.replace("cavities: 1-6}", "cavities: 1-6, mates: {1: 2, 2: 1}}")
    for number, run in enumerate(("M.1 -- RD 1 -- X1.1>2:a", "X1.1>2:a -- RD 1 -- M.1")):
        circuit = load(tmp_path / str(number), head + f"runs:\n  - {run}\n")
        (wire,) = (link for link in circuit.links if link.kind is LinkKind.WIRE)
        assert {circuit.node_pins[wire.a], circuit.node_pins[wire.b]} == {"1", "1:a"}
