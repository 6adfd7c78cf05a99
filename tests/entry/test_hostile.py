"""Careless and hostile input: it is read, or told with a place that exists; never another exception, never a long wait."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.bad_input import counted
from tests.typed import HEAD, VEHICLE, load, problems, write
from tracer.entry import files, text
from tracer.entry.folder import MAX_SHEETS
from tracer.entry.problems import Problem
from tracer.entry.text import MAX_ANCHORS, MAX_DEPTH, MAX_FILE_BYTES

ROOT = Path(__file__).parent.parent.parent
GOOD = (
    HEAD
    + "runs:\n  - 30 -- RD 2.5 -- F1 -- RD/GN 1 -- X1.1 -- RD/GN 1 3.1m (204) -- M.1\n  - M.2 -- BN 1 -- G1\n  - {run: M.3 -- VT 1 -- ref 1>2, note: x}\n"
)
FOLDERS = [path for path in sorted((ROOT / "circuits").iterdir()) if path.is_dir()]


def _readable(line: str) -> str:
    """What is left of a line where bytes that are no text may be shown as `?` or as U+FFFD."""
    return line.replace("?", "").replace("\ufffd", "")


def _check_places(folder: Path) -> None:
    """Every problem has a message, and its place is inside an existing file and line."""
    for problem in problems(folder):
        assert problem.what and problem.fix, problem
        assert "\n" not in problem.what
        place = problem.place
        if not place.line:
            continue
        lines = (folder / place.file).read_bytes().decode("utf-8-sig", "replace").splitlines()
        assert 1 <= place.line <= len(lines), problem
        assert 1 <= place.column <= len(lines[place.line - 1]) + 1, problem
        assert _readable(problem.line_text) == _readable(lines[place.line - 1]), problem
        for width in (40, 120):
            assert problem.render(width).count("\n") >= 1


# --- one good file spoiled -------------------------------------------------------------------------------------------

PIECES = ["", " ", "\t", "\n", "\r", ":", ": ", "- ", "-- ", "#", " #", "&", "*", "!", "|", ">", "'", '"', "{", "}", "[", "]", ",", "?", "@", "`", "%",
          "é", "\x00", "\x85", "\u2028", "\ufeff", "²", "1-999999999", "<<: ", "---\n", "is", "ref", "unknown", "M.1", "30", "1"]  # fmt: skip


@given(st.data())
def test_one_spoiled_spot_of_a_sheet_or_vehicle_is_read_or_told(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    in_vehicle = data.draw(st.booleans())
    text = VEHICLE if in_vehicle else GOOD
    at = data.draw(st.integers(0, len(text)))
    gone = data.draw(st.sampled_from((0, 0, 1, 2, 5, 20)))
    put = "".join(data.draw(st.lists(st.sampled_from(PIECES), max_size=3)))
    spoiled = text[:at] + put + text[at + gone :]
    folder = tmp_path_factory.mktemp("spot")
    _check_places(write(folder, GOOD if in_vehicle else spoiled, vehicle=spoiled if in_vehicle else VEHICLE))


@given(st.data())
def test_whole_lines_of_the_demo_moved_doubled_or_lost_are_read_or_told(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = data.draw(st.sampled_from(FOLDERS))
    path = data.draw(st.sampled_from(sorted(folder.rglob("*.yaml"))))
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    number = data.draw(st.integers(0, len(lines) - 1))
    what = data.draw(st.sampled_from(("lost", "doubled", "moved", "indented", "cut")))
    line = lines[number]
    if what in ("lost", "moved"):
        del lines[number]
    if what in ("doubled", "moved"):
        lines.insert(data.draw(st.integers(0, len(lines))), line)
    elif what == "indented":
        lines[number] = data.draw(st.sampled_from((" ", "  ", "\t"))) + line
    elif what == "cut":
        lines[number] = line[: data.draw(st.integers(0, len(line)))] + "\n"
    spoiled = tmp_path_factory.mktemp("lines")
    name = path.relative_to(folder).as_posix()
    sheets = {other.relative_to(folder).as_posix(): other.read_bytes() for other in folder.rglob("*.yaml")}
    _check_places(write(spoiled, vehicle=None, more={**sheets, name: "".join(lines)}))


@given(
    st.binary(max_size=60)
    | st.text(max_size=40).map(lambda text: text.encode("utf-16"))
    | st.text(max_size=40).map(str.encode)
)
def test_any_bytes_as_a_file_are_read_or_told(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    folder = tmp_path_factory.mktemp("bytes")
    _check_places(write(folder, data))
    _check_places(write(folder, GOOD, more={"vehicle.yaml": data}))
    _check_places(write(folder, GOOD, more={"types.yaml": data}))


@given(
    st.recursive(
        st.text(max_size=6),
        lambda tree: st.lists(tree, max_size=3) | st.dictionaries(st.text(max_size=6), tree, max_size=3),
        max_leaves=8,
    )
)
def test_any_tree_in_any_place_is_read_or_told(tmp_path_factory: pytest.TempPathFactory, tree: object) -> None:
    import json

    typed = json.dumps(tree)  # JSON is YAML
    keys = ("is", "name", "at", "meets", "cavities", "unused", "pins", "joined", "outputs", "amps", "positions", "busbars", "rows", "mates",
            "halves", "bussed", "on", "ohms", "contacts", "follows", "kind", "coil", "reset", "state")  # fmt: skip
    kinds = ("module", "fuse", "panel", "connector", "joint", "ground", "load", "switch", "relay")
    generator = random.Random(typed)
    parts = "".join(
        f"  Q{number}: {{is: {kind}, {generator.choice(keys[1:])}: {typed}}}\n" for number, kind in enumerate(kinds)
    )
    folder = tmp_path_factory.mktemp("tree")
    _check_places(write(folder, f"sheet: 1\nparts:\n{parts}  R: {typed}\nruns:\n  - {typed}\n"))
    for key in ("vehicle", "system", "key", "conditions", "rails", "limits", "buses"):
        _check_places(
            write(folder, GOOD, vehicle=f"{'vehicle: v' if key != 'vehicle' else 'note: x'}\n{key}: {typed}\n")
        )
    _check_places(
        write(
            folder,
            GOOD,
            vehicle=VEHICLE,
            more={"types.yaml": f"kinds: {{a: {typed}, b: {{is: switch, contacts: {typed}}}}}\n"},
        )
    )


# --- files that attack -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "what"),
    [
        ("[" * 100_000, "nested too deeply"),
        ("{a: " * 100_000, "nested too deeply"),
        ("- " * 100_000, "nested too deeply"),
        ("? " * 100_000, "nested too deeply"),
        ("".join(" " * depth + "a:\n" for depth in range(1900)), "nested too deeply"),
        ("sheet: 1\nnote: " + "[" * (MAX_DEPTH + 2) + "]" * (MAX_DEPTH + 2), "nested too deeply"),
        ("a: &a [x, x]\n" + "".join(f"{chr(98 + n)}: &{chr(98 + n)} [*{chr(97 + n)}, *{chr(97 + n)}]\n" for n in range(20)), "is an anchor"),
        ("a: &a [*a]\n", "is an alias"),
        ("a: &a x\nb: *a\n", "is an alias"),
        ("a: *" + "x" * 1000 + "\n", "is an alias"),
        ("<<: {a: b}\n", "merge keys"),
        ("a: !!python/object/apply:os.system [x]\n", "the tag"),
        ("a: !!binary aGk=\n", "the tag"),
        ("a: " + "x" * 100 + "\x00\n", "U+0000"),
        ("a: é\x7f\n", "U+007F"),
        ("a: \x1b[31m\n", "U+001B"),
        ("'" * 99_999, "not readable"),
        (": " * 50_000, "not readable"),
        ("&" * 50_000, "not readable"),
    ],
    ids=lambda value: str(value)[:12],
)  # fmt: skip
def test_a_file_that_attacks_is_told_in_few_steps(typed: str, what: str, tmp_path: Path) -> None:
    found: list[Problem] = []
    assert counted(lambda: found.extend(problems(write(tmp_path, typed)))) < 50_000
    _check_places(tmp_path)
    assert any(what in problem.what for problem in found), [problem.what for problem in found]
    assert len(found) <= MAX_ANCHORS + 1
    assert all(len(problem.render()) < 2000 for problem in found)


def test_a_pin_of_five_thousand_digits_is_a_pin(tmp_path: Path) -> None:
    # Python refuses to read a number of more than 4300 digits; sorting must not try.
    circuit = load(
        tmp_path,
        f"sheet: 1\nparts: {{M: module, S1: splice}}\nruns:\n  - M.{'9' * 5000} -- RD -- S1\n",
    )
    assert f"M.{'9' * 5000}" in circuit.node_names


@pytest.mark.parametrize("name", ["²", "٣", "Ⅷ", "1²", "F①"])
def test_digits_that_are_no_numbers_do_no_harm(name: str, tmp_path: Path) -> None:
    circuit = load(
        tmp_path,
        f"sheet: 1\nparts: {{M: module, S1: splice}}\nruns:\n  - M.{name} -- RD -- S1\n",
        more={f"sheets/{name}.yaml": "sheet: 2\n"},
    )
    assert f"M.{name}" in circuit.node_names


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\x85", "\u2028"])
def test_every_line_end_of_yaml_is_counted(end: str, tmp_path: Path) -> None:
    sheet = GOOD.replace("F1 --", "S1.9 --").replace("\n", end)
    assert [str(problem.place) for problem in problems(write(tmp_path, sheet))] == ["sheets/1.yaml:12:21"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_byte_that_is_no_text_is_found_whatever_ends_the_lines(end: str, tmp_path: Path) -> None:
    typed = f"sheet: 1{end}title: Rücklicht{end}".encode() + f"note: für{end}".encode("latin-1")
    (found,) = problems(write(tmp_path, typed))
    assert (str(found.place), found.what) == ("sheets/1.yaml:3:8", "byte 0xfc is not UTF-8 text")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252", "cp437"])
def test_another_encoding_is_named_or_its_first_byte_shown(encoding: str, tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, "sheet: 1\ntitle: Rücklicht\n".encode(encoding)))
    wanted = "UTF-16" if encoding.startswith("utf") else "is not UTF-8 text"
    assert wanted in found.what
    assert "Save" in found.fix


def test_a_byte_order_mark_moves_nothing(tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, b"\xef\xbb\xbf" + b"shet: 1\nsheet: 2\n"))
    assert (str(found.place), found.text, found.line_text) == ("sheets/1.yaml:1:1", "shet", "shet: 1")


# --- files that are no files -----------------------------------------------------------------------------------------


def _link(target: str) -> Callable[[Path], None]:
    return lambda path: path.symlink_to(target)


def _link_out(path: Path) -> None:
    """A relative link to a file beside the vehicle's folder."""
    top = path.parent.parent if path.parent.name == "sheets" else path.parent
    (top.parent / "outside.yaml").write_text("sheet: 9\n", encoding="utf-8")
    path.symlink_to(os.path.relpath(top.parent / "outside.yaml", path.parent))


@pytest.mark.parametrize("name", ["sheets/2.yaml", "vehicle.yaml", "types.yaml"])
@pytest.mark.parametrize(
    ("make", "what"),
    [
        (os.mkfifo, "not a file with text"),
        (Path.mkdir, "not a file with text"),
        (_link("/dev/zero"), "a link out of the vehicle's folder"),
        (_link("/etc/hostname"), "a link out of the vehicle's folder"),
        (_link_out, "a link out of the vehicle's folder"),
        (_link("nowhere.yaml"), "no such file (or a link that leads nowhere)"),
    ],
    ids=["pipe", "folder", "device", "absolute", "relative", "nowhere"],
)
def test_what_is_no_file_of_the_folder_is_refused_at_once(
    name: str, make: Callable[[Path], None], what: str, tmp_path: Path
) -> None:
    folder = write(tmp_path / "v", GOOD)
    (folder / name).unlink(missing_ok=True)
    make(folder / name)
    (found,) = problems(folder)
    assert (str(found.place), what in found.what) == (name, True), found


@pytest.mark.parametrize("name", ["sheets/2.yaml", "vehicle.yaml", "types.yaml"])
def test_a_loop_of_links_is_refused(name: str, tmp_path: Path) -> None:
    folder = write(tmp_path, GOOD)
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(Path(name).name)
    (found,) = problems(folder)
    assert (str(found.place), "loop of links" in found.what) == (name, True)


def test_a_link_inside_the_folder_is_a_file(tmp_path: Path) -> None:
    folder = write(tmp_path, GOOD, more={"kept.txt": "sheet: 2\n"})
    (folder / "sheets" / "2.yaml").symlink_to("../kept.txt")
    assert problems(folder) == []


def test_sheets_that_are_a_link_out_of_the_folder_are_refused(tmp_path: Path) -> None:
    write(tmp_path / "other", GOOD)
    folder = write(tmp_path / "v")
    (folder / "sheets").rmdir()
    (folder / "sheets").symlink_to("../other/sheets")
    (found,) = problems(folder)
    assert (str(found.place), "link out" in found.what) == ("sheets", True)


def test_a_file_that_may_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(self: Path) -> bytes:  # not by chmod: root may read everything
        raise PermissionError(13, "Permission denied")

    folder = write(tmp_path, GOOD)
    monkeypatch.setattr(Path, "read_bytes", refused)
    found = problems(folder)
    assert {str(problem.place) for problem in found} >= {"sheets/1.yaml", "vehicle.yaml"}
    assert {problem.what for problem in found} == {"the file cannot be read: Permission denied"}


def test_a_file_over_the_limit_is_not_read_and_one_at_the_limit_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write(tmp_path, GOOD)
    with (folder / "sheets" / "2.yaml").open("wb") as file:
        file.write(b"sheet: 2\n#")
        file.truncate(11_000_000)
    read: list[str] = []
    whole = files.read_settled

    def noted(path: Path) -> bytes:
        read.append(path.name)
        return whole(path)

    monkeypatch.setattr(text, "read_settled", noted)
    (found,) = problems(folder)
    assert found.what == "the file has 11 MB; at most 2 MB are read"
    assert "1.yaml" in read and "2.yaml" not in read  # by its size alone: not a byte of it is looked at
    filler = b"#" + b"x" * 998 + b"\n"
    (folder / "sheets" / "2.yaml").write_bytes((b"sheet: 2\n" + filler * (MAX_FILE_BYTES // 1000))[:MAX_FILE_BYTES])
    assert problems(folder) == []


def test_thousands_of_sheets_are_read_and_too_many_are_told(tmp_path: Path) -> None:
    folder = write(tmp_path, GOOD, *(f"sheet: {number}\n" for number in range(2, 2001)))
    found: list[Problem] = []
    assert counted(lambda: found.extend(problems(folder))) < 2000 * 300
    assert found == []
    for number in range(2001, MAX_SHEETS + 2):
        (folder / f"sheets/{number}.yaml").touch()
    (too_many,) = problems(folder)
    assert too_many.what == f"{MAX_SHEETS + 1} sheets; at most {MAX_SHEETS} are read"


def test_a_sheet_that_is_not_read_is_never_passed_over_in_silence(tmp_path: Path) -> None:
    names = ("notes.txt", "2.YAML", "3.yaml.bak", "engine/4.yaml")
    (tmp_path / "sheets" / "engine").mkdir(parents=True)
    circuit = load(tmp_path, GOOD, more={f"sheets/{name}": "sheet: 9\n" for name in names})
    assert set(circuit.typed.ignored) == {"sheets/2.YAML", "sheets/3.yaml.bak", "sheets/engine", "sheets/notes.txt"}
