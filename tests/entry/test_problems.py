"""Every bad input: one message with file, line and column, what is wrong and what to write instead; all at once, never anything else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracer.circuit import join
from tracer.entry import CannotUse, Problem, read_folder
from tracer.entry.text import MAX_FILE_BYTES

GOOD_VEHICLE = 'vehicle: v\nrails:\n  "30": {live: always, from: BAT.+}\nconditions:\n  lights: on\n'
GOOD_SHEET = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  X1: {is: connector, cavities: 1-6}
  S1: splice
  G1: ground
  E1: {is: load, watts: 5}
  M: {is: module, cavities: 1-4, unused: [3, 4], pins: {1: supply, 2: ground}}
runs:
  - 30 -- RD 2.5 -- F1 -- RD/GN 1 -- X1.1 -- RD/GN 1 -- M.1
  - M.2 -- BN 1 -- G1
  - BAT.- -- BN 25 -- G1
"""


def _write(folder: Path, sheet: str | bytes = GOOD_SHEET, vehicle: str | bytes = GOOD_VEHICLE) -> Path:
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    for path, text in ((folder / "sheets" / "1.yaml", sheet), (folder / "vehicle.yaml", vehicle)):
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def _problems(folder: Path) -> list[Problem]:
    try:
        join(read_folder(folder))
    except CannotUse as error:
        return list(error.problems)
    return []


def _with_run(run: str) -> str:
    return f"{GOOD_SHEET}  - {run}\n"


def _with_part(part: str) -> str:
    return GOOD_SHEET.replace("  BAT: battery\n", f"  BAT: battery\n  {part}\n")


# what is typed, where (line, column), a piece of what is wrong, a piece of what to write instead
SLIPS = {
    "unknown pin": (_with_run("M.9 -- RD 1 -- S1"), (14, 5), "M has no pin 9", "Its pins are 1, 2, 3 and 4"),
    "unknown cavity": (_with_run("S1 -- RD 1 -- X1.7"), (14, 19), "X1 has no cavity 7", "Its cavities are"),
    "wire missing": (_with_run("S1 -- X1.2 -- RD 1 -- E1.1"), (14, 11), "the wire between `S1` and `X1.2` is missing", "S1 -- COLOUR SIZE -- X1.2"),
    "last point missing": (_with_run("S1 -- RD 1"), (14, 11), "its last point is missing", "`?` if that is not known"),
    "nothing between dashes": (_with_run("S1 -- -- E1.1"), (14, 11), "something is missing", "Write what stands there"),
    "dashes without space": (_with_run("S1 --RD 1-- E1.1"), (14, 8), "the dashes have no space", "space on both sides"),
    "not a colour": (_with_run("S1 -- XQ 1 -- E1.1"), (14, 11), "`XQ` is not a wire colour", "RD/GN 2.5"),
    "absurd size": (_with_run("S1 -- RD 5000 -- E1.1"), (14, 14), "5000", "mm²"),
    "absurd length": (_with_run("S1 -- RD 1 9000m -- E1.1"), (14, 11), "9000 m", "check the number"),
    "cavity used twice": (_with_run("S1 -- RD 1 -- X1.1 -- RD 1 -- E1.1"), (14, 19), "cavity X1.1 is used twice", "name the half"),
    "which side of a fuse": (_with_run("S1 -- RD 1 -- F1"), (14, 19), "both sides of F1 already have a wire", "`F1.feed` or `F1.load`"),
    "pin of a splice": (_with_run("S1.2 -- RD 1 -- E1.1"), (14, 5), "it has no pins", "Write `S1` alone"),
    "reference in the middle": (_with_run("S1 -- RD 1 -- ref 1>2 -- RD 1 -- E1.1"), (14, 19), "in the middle of a run", "split the run"),
    "reference without marks": (_with_run("S1 -- RD 1 -- ref"), (14, 19), "needs its marks", "ref 47>12"),
    "reference to itself": (_with_run("S1 -- RD 1 -- ref 4>4"), (14, 19), "points at itself", "other mark"),
    "run begins with ?": (_with_run("? -- RD 1 -- S1"), (14, 5), "cannot begin with `?`", "`?` comes last"),
    "comment eats a run": (_with_run("S1 -- RD 1 -- E1.1 # 4 -- RD 1 -- M.1"), (14, 24), "begins a comment", "round brackets"),
    "unknown kind": (_with_part("Q: {is: modul}"), (4, 11), "`modul` is not a kind of part", "Did you mean `module`?"),
    "kind missing": (_with_part("Q: {at: floor}"), (4, 3), "its kind is missing", "Add `is:"),
    "unknown key": (_with_part("Q: {is: splice, att: floor}"), (4, 19), "`att` is not known here", "Did you mean `at`?"),
    "comma in braces": (_with_part("Q: {is: splice, at: floor, left}"), (4, 30), "`left` is not known here", "in quotes"),
    "duplicate key": (_with_part("S1: splice"), (7, 3), "`S1` stands here a second time (first on line 4)", "Keep one"),
    "backward range": (_with_part("Q: {is: connector, cavities: 9-1}"), (4, 32), "runs backwards", "Write `1-9`"),
    "endless range": (_with_part("Q: {is: connector, cavities: 1-999999999}"), (4, 32), "more than 2000 pins", "Check the numbers"),
    "not a number": (_with_part("Q: {is: fuse, amps: ten}"), (4, 23), "`ten` is not a rating in A", "Write a number"),
    "not a role": (_with_part("Q: {is: module, cavities: 1, pins: {1: suply}}"), (4, 42), "`suply` is not what a pin can be", "Did you mean `supply`?"),
    "pin outside the cavities": (_with_part("Q: {is: module, cavities: 1-3, pins: {7: supply}}"), (4, 41), "Q has no cavity 7", "add it to `cavities`"),
    "unknown relay kind": (_with_part("Q: {is: relay, kind: normaly open}"), (4, 24), "`normaly open` is not a kind of relay", "Did you mean `normally open`?"),
    "unknown state": (_with_part("Q: {is: module, cavities: 1, outputs: {1: {drives: low, when: [rum]}}}"), (4, 66), "`rum` is neither a key state nor a condition", "Did you mean `run`?"),
    "unknown follower": (_with_part("Q: {is: switch, follows: light, contacts: {yes: [1-2]}}"), (4, 28), "`light` is neither `key` nor a condition", "Did you mean `lights`?"),
    "alias": (_with_part("Q: &q {is: splice}\n  R: *q"), (4, 6), "used again through an alias", "Type the text out"),
    "tab": (GOOD_SHEET.replace("  F1:", "\tF1:"), (4, 1), "a tab is used", "spaces"),
    "colon in a text": (_with_part("Q: {is: splice, at: left: under}"), (4, 27), "not readable as YAML", "brackets, quotes"),
}  # fmt: skip


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_told_with_its_place_and_its_cure(name: str, tmp_path: Path) -> None:
    sheet, (line, column), what, fix = SLIPS[name]
    found = _problems(_write(tmp_path, sheet))
    assert found, "nothing was found"
    telling = [problem for problem in found if what in problem.what]
    assert telling, [problem.render() for problem in found]
    problem = telling[0]
    assert (problem.place.file, problem.place.line, problem.place.column) == ("sheets/1.yaml", line, column), (
        problem.render()
    )
    assert fix in problem.fix, problem.fix
    typed, marker = problem.render().splitlines()[1:3]
    assert typed.strip() and set(marker.strip()) == {"^"}


def test_the_good_vehicle_has_no_problem(tmp_path: Path) -> None:
    assert _problems(_write(tmp_path)) == []


def test_all_problems_come_out_together_in_file_order(tmp_path: Path) -> None:
    sheet = _with_part("Q: {is: modul}").replace("- M.2 -- BN 1 -- G1", "- M.2 -- XX 1 -- G1") + "  - S1 -- RD 1\n"
    found = _problems(_write(tmp_path, sheet, GOOD_VEHICLE + "systen: 12 V\n"))
    assert len(found) == 4
    assert found == sorted(found)
    assert {problem.place.file for problem in found} == {"sheets/1.yaml", "vehicle.yaml"}


def test_the_marker_stands_below_what_is_meant(tmp_path: Path) -> None:
    found = _problems(_write(tmp_path, _with_run('"S1 -- RD 1 -- M.7ü -- RD 1 -- E1.1"')))
    typed, marker = found[0].render().splitlines()[1:3]
    assert typed[marker.index("^") : marker.rindex("^") + 1] == "M.7ü"


def test_a_folded_run_is_marked_on_its_own_line(tmp_path: Path) -> None:
    found = _problems(_write(tmp_path, GOOD_SHEET + "  - S1 -- RD 1 --\n      M.7 -- RD 1 -- E1.1\n"))
    assert (found[0].place.line, found[0].place.column) == (15, 7)


def test_two_parts_of_one_name_with_different_kinds_are_a_problem(tmp_path: Path) -> None:
    _write(tmp_path)
    (tmp_path / "sheets" / "2.yaml").write_text(
        "sheet: 2\nparts: {S1: ground, M: {cavities: [9]}, X1: {mates: {1: 2}}}\n", encoding="utf-8"
    )
    assert [problem.what.split(",")[0] for problem in _problems(tmp_path)] == ["S1 is a ground here"]


def test_a_label_in_two_panels_must_be_named_with_its_panel(tmp_path: Path) -> None:
    panels = "P: {is: panel, positions: {A: 5}, busbars: {BAT.+: [A]}}\n  Q: {is: panel, positions: {A: 10}, busbars: {BAT.+: [A]}}"
    assert "in several panels" in _problems(_write(tmp_path, _with_part(panels) + "  - A -- RD 1 -- S1\n"))[0].what
    assert _problems(_write(tmp_path, _with_part(panels) + "  - P/A -- RD 1 -- S1\n")) == []


# --- files and folders -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"", "the file is empty"),
        (b"# only a comment\n", "the file is empty"),
        (b"- a list\n", "must be a mapping"),
        (b"\xff\xfes\x00", "UTF-16"),
        ("sheet: 1\ntitle: Rück".encode("latin-1"), "is not UTF-8"),
        (b"sheet: 1\ntitle: a\x00b\n", "may not stand in a text file"),
        (b"[" * 100_000, "not readable as YAML"),
        (b"a: " + b"[" * 60 + b"]" * 60, "nested too deeply"),
        (b"sheet: 1\n<<: {a: b}\n", "merge keys"),
        (b"sheet: !!python/object:os.system 1\n", "is not used here"),
        (b"sheet: 1\n---\nsheet: 2\n", "not readable as YAML"),
        (b"sheet: [1, 2]\n", "one piece of text is wanted"),
        (b"title: no number\n", "`sheet` is missing"),
        (b"sheet: 1\nparts: [a]\n", "`parts` must be a mapping"),
        (b"sheet: 1\nruns: a\n", "`runs` must be a list"),
        (b"a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n", "through an alias"),
    ],
)
def test_a_bad_file_is_told(data: bytes, what: str, tmp_path: Path) -> None:
    found = _problems(_write(tmp_path, data))
    assert any(what in problem.what for problem in found), [problem.render() for problem in found]


def test_a_file_that_is_too_large_is_not_read(tmp_path: Path) -> None:
    _write(tmp_path)
    with (tmp_path / "sheets" / "2.yaml").open("wb") as file:
        file.truncate(MAX_FILE_BYTES + 1)
    assert "at most 2 MB" in _problems(tmp_path)[0].what


def test_a_utf_8_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    assert _problems(_write(tmp_path, b"\xef\xbb\xbf" + GOOD_SHEET.encode())) == []


def test_windows_line_ends_are_read(tmp_path: Path) -> None:
    assert _problems(_write(tmp_path, GOOD_SHEET.replace("\n", "\r\n"))) == []


def test_links_out_of_the_folder_loops_and_pipes_are_refused(tmp_path: Path) -> None:
    vehicle = _write(tmp_path / "v")
    outside = tmp_path / "outside.yaml"
    outside.write_text("sheet: 9\n", encoding="utf-8")
    (vehicle / "sheets" / "2.yaml").symlink_to(outside)
    (vehicle / "sheets" / "3.yaml").symlink_to("3.yaml")
    (vehicle / "sheets" / "4.yaml").mkdir()
    os.mkfifo(vehicle / "sheets" / "5.yaml")
    told = {problem.place.file: problem.what for problem in _problems(vehicle)}
    assert "a link out of the vehicle's folder" in told["sheets/2.yaml"]
    assert set(told) == {f"sheets/{number}.yaml" for number in (2, 3, 4, 5)}


def test_folders_that_are_no_vehicle_are_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "empty").mkdir()
    (tmp_path / "bare").mkdir()
    (tmp_path / "bare" / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    for name, what in (
        ("nowhere", "no such folder"),
        ("file", "this is a file"),
        ("empty", "is not a vehicle"),
        ("bare", "no folder of this name"),
    ):
        assert what in _problems(tmp_path / name)[0].what


@settings(max_examples=150)
@given(st.data())
def test_one_spoiled_spot_gives_problems_inside_the_file_or_none(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("spoiled")
    at = data.draw(st.integers(0, len(GOOD_SHEET) - 1))
    length = data.draw(st.integers(0, 12))
    put = data.draw(st.text(st.sampled_from(list(" -:{}[],\n\t#&*!|>'\"%@`?.aA1é\x00\x85\u2028")), max_size=6))
    _write(folder, (GOOD_SHEET[:at] + put + GOOD_SHEET[at + length :]))
    lines = (folder / "sheets" / "1.yaml").read_bytes().decode().splitlines() or [""]
    for problem in _problems(folder):
        assert problem.what and problem.fix and problem.render()
        if problem.place.file == "sheets/1.yaml" and problem.place.line:
            assert problem.place.line <= len(lines) + 1


@settings(max_examples=100)
@given(st.binary(max_size=80))
def test_any_bytes_are_read_or_told(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    _problems(_write(folder, data))
    _problems(_write(folder, GOOD_SHEET, data))


# --- the command -----------------------------------------------------------------------------------------------------


def _tracer(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tracer.cli", *arguments]
    return subprocess.run(command, cwd=cwd, capture_output=True, text=True, encoding="utf-8", check=False)


def test_problems_end_with_status_1_without_a_traceback(tmp_path: Path) -> None:
    _write(tmp_path, SLIPS["unknown pin"][0])
    for command in (["check"], ["supplies", "M"], ["states", "M"]):
        done = _tracer("-C", str(tmp_path), *command)
        assert done.returncode == 1
        assert done.stdout == ""
        assert "sheets/1.yaml:14:5" in done.stderr and "Traceback" not in done.stderr
    done = _tracer("-C", str(tmp_path), "supplies", "M", "--json")
    assert done.returncode == 1
    assert '"line": 14' in done.stdout


def test_a_mistyped_module_is_wrong_usage_and_offers_the_nearest(tmp_path: Path) -> None:
    done = _tracer("-C", str(_write(tmp_path)), "supplies", "MM")
    assert done.returncode == 2
    assert done.stderr == "there is no module MM. Did you mean M? Modules: M.\n"
    assert _tracer("-C", str(tmp_path), "supplies", "F1").stderr.startswith("F1 is a fuse, not a module.")


def test_each_command_shows_an_example_in_its_help() -> None:
    for command in ("new", "check", "supplies", "states"):
        done = _tracer(command, "--help")
        assert done.returncode == 0
        assert "Example" in done.stdout


def test_a_new_vehicle_passes_check_and_is_never_overwritten(tmp_path: Path) -> None:
    assert _tracer("new", "van", cwd=tmp_path).returncode == 0
    assert _tracer("-C", "van", "check", cwd=tmp_path).returncode == 0
    done = _tracer("-C", "van", "supplies", "MOD", cwd=tmp_path)
    assert done.returncode == 0 and "COMPLETE: 1 supply, 1 ground" in done.stdout
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    again = _tracer("new", "van", cwd=tmp_path)
    assert again.returncode == 1 and "nothing was written" in again.stderr
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    assert _tracer("new", "no/where", cwd=tmp_path).returncode == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["van"]


def test_problems_of_sheet_2_come_before_those_of_sheet_10(tmp_path: Path) -> None:
    folder = _write(tmp_path, "sheet: 1\n")
    for number in (10, 2):
        (folder / "sheets" / f"{number}.yaml").write_text(f"sheet: {number}\nwrong: x\n", encoding="utf-8")
    assert [problem.place.file for problem in _problems(folder)] == ["sheets/2.yaml", "sheets/10.yaml"]


def test_a_part_with_a_problem_of_its_own_is_there_for_the_buses(tmp_path: Path) -> None:
    """One slip, one problem: a bus that ends in the module is not blamed as well."""
    vehicle = GOOD_VEHICLE + "buses: {d: {kind: high-speed can, terminations: {M: 120, Q: 120}}}\n"
    sheet = GOOD_SHEET.replace("cavities: 1-4", "cavities: 1-4, draws: {1: much}")
    whats = [problem.what for problem in _problems(_write(tmp_path, sheet, vehicle))]
    assert len(whats) == 1
    assert "`much`" in whats[0]
