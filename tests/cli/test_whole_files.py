"""Every file that a command writes is written whole or not at all, and never over what somebody typed in."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.typed import HEAD, problems, write
from tracer.cli import app
from tracer.entry.wire_lists.take_in import UNFINISHED

ROOT = Path(__file__).resolve().parents[2]
OUTPUTS = [
    ["diagram", "LIFT", "-o", "x.svg"], ["diagram", "LIFT", "-o", "x.png"], ["worksheet", "LIFT", "-o", "x.pdf"], ["worksheet", "LIFT", "-o", "x.html"],
    ["worksheet", "LIFT", "-o", "x.csv"], ["worksheet", "LIFT", "-o", "x.txt"], ["worksheet", "LIFT", "--all", "-o", "x.csv"], ["panel", "--pdf", "x.pdf"],
    ["write-out", "-o", "x.csv"], ["write-out", "-o", "x.xlsx"], ["report", "-o", "x.html"], ["report", "-o", "x.pdf"],
]  # fmt: skip
OLD = b"old and whole\n"


@pytest.fixture
def top(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a vehicle and an open case."""
    shutil.copytree(ROOT / "circuits" / "unfinished", tmp_path / "v")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    assert call("case", "open", "LIFT", "-o", "a.case")[0] == 0
    return tmp_path


def call(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["-C", "v", *arguments], catch_exceptions=False)
    return done.exit_code, done.output


def content(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@contextmanager
def no_room(size: int) -> Iterator[None]:
    """No file can grow beyond so many bytes: writing stops in the middle, as on a full disk."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, limits[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, before)


@pytest.mark.parametrize("arguments", OUTPUTS, ids=" ".join)
def test_a_full_disk_a_link_to_a_sheet_and_a_missing_folder_leave_everything_as_it_was(
    arguments: list[str], top: Path
) -> None:
    file = top / arguments[-1]
    file.write_bytes(OLD)
    before = content(top)
    if file.suffix != ".xlsx":  # the library writes a workbook's parts into the folder for temporary files first
        with no_room(200):
            status, said = call(*arguments)
        assert (status, "cannot write" in said and "File too large" in said) == (1, True), said
        assert content(top) == before
    file.unlink()
    other = write(top / "other", HEAD)
    for typed in (top / "v" / "sheets" / "1.yaml", other / "sheets" / "1.yaml", top / "a.case"):
        if not typed.exists():
            typed = next((top / "v" / "sheets").iterdir())
        kept = typed.read_bytes()
        file.symlink_to(typed)
        status, said = call(*arguments)
        assert (status, "nothing is written over" in said) == (1, True), said
        assert typed.read_bytes() == kept
        file.unlink()
    status, said = call(*arguments[:-1], f"nowhere/{arguments[-1]}")
    assert (status, "cannot write nowhere/x" in said) == (1, True), said
    assert call(*arguments)[0] in (0, 3)  # and with room it is written
    assert len(file.read_bytes()) > 200


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["new", "fresh"], "Nothing was written"), (["take-in", "w.csv", "--yes"], "Nothing was written"), (["read", "battery=12.5"], "Nothing is recorded"),
     (["case", "note", "photo", "x.jpg", "--why", "x" * 300], "Nothing is recorded"), (["case", "open", "LIFT", "-o", "b.case"], "cannot write"), (["read-back", "1", "--tick", "all"], "cannot write"),
     (["case", "use", "a.case"], "cannot write"),],
    ids=lambda value: value if isinstance(value, str) else " ".join(value)[:20],
)  # fmt: skip
def test_a_full_disk_leaves_what_several_files_or_lines_are_kept_in(arguments: list[str], said: str, top: Path) -> None:
    (top / "w.csv").write_text("from,to,colour,page\nQ1.1,Q2.1,RD,1\nQ1.2,Q2.2,RD,2\n", encoding="utf-8")
    before = content(top)
    with no_room(20 if "use" in arguments else 100):
        status, output = call(*arguments)
    assert (status, said in output) == (1, True), output
    assert content(top) == before


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody else")
@pytest.mark.parametrize(
    "arguments", [*OUTPUTS[4:6], OUTPUTS[8], ["new", "fresh"], ["read", "battery=12.5"], ["worksheet", "-o", "prints", "--format", "txt"]], ids=" ".join
)  # fmt: skip
def test_a_folder_that_somebody_may_only_read_is_said(arguments: list[str], top: Path) -> None:
    call(*arguments)  # what is loaded at need lies where only root may read
    for made in ("x.csv", "x.txt", "fresh", "prints"):
        shutil.rmtree(top / made) if (top / made).is_dir() else (top / made).unlink(missing_ok=True)
    for path in [top, *top.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    for path in top.parents:
        if path.owner() == "root" and path != Path("/tmp"):
            path.chmod(path.stat().st_mode | 0o055)
    before, child = content(top), os.fork()
    if child == 0:
        found = 9
        try:
            os.setuid(65534)
            status, said = call(*arguments)
            found = 0 if status == 1 and "Permission denied" in said else 1
        finally:
            os._exit(found)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert content(top) == before


def test_taking_in_that_is_killed_is_never_a_shorter_list(top: Path) -> None:
    rows = "".join(f"Q{n}.1,Q{n}.2,RD,{n}\n" for n in range(1, 40))
    (top / "w.csv").write_text(f"from,to,colour,page\n{rows}", encoding="utf-8")
    program = "import os, sys\nfrom tracer.entry import files\nreal, left = files._replace, [10]\n" \
        "def stops(target, content):\n    left[0] -= 1\n    left[0] or os._exit(9)\n    real(target, content)\n" \
        "files._replace = stops\nfrom tracer.cli import main\nsys.argv = ['tracer', '-C', 'v', 'take-in', 'w.csv', '--yes']\nmain()"  # fmt: skip
    assert subprocess.run([sys.executable, "-c", program], cwd=top, check=False).returncode == 9
    assert len(list((top / "v" / "sheets").iterdir())) > 10
    status, said = call("supplies", "LIFT")
    assert (status, f"sheets/{UNFINISHED}: this file is not read" in said) == (3, True)


def test_sheets_that_come_and_go_while_they_are_read_are_read_or_told(tmp_path: Path) -> None:
    folder = write(tmp_path / "v", HEAD, *(f"sheet: {n}\n" for n in range(2, 9)))
    stop = threading.Event()

    def busy() -> None:
        while not stop.is_set():
            for path in list((folder / "sheets").glob("[3-8].yaml")):
                path.rename(path.with_suffix(".bak"))
                path.with_suffix(".bak").rename(path)
            (folder / "sheets").rename(folder / "away")
            (folder / "away").rename(folder / "sheets")

    writer = threading.Thread(target=busy)
    writer.start()
    try:
        seen = {problem.what for _ in range(150) for problem in problems(folder)}
    finally:
        stop.set()
        writer.join()
    assert problems(folder) == []
    assert {what for what in seen if "there is no" not in what and "not read" not in what and "cannot be read" not in what} == set()  # fmt: skip


def test_a_sheet_that_is_being_written_is_not_read_by_halves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, HEAD)
    whole = (folder / "sheets" / "1.yaml").read_bytes()
    real, halves = Path.read_bytes, iter([whole[:20], whole[:60]])

    def half(self: Path) -> bytes:
        return next(halves, real(self)) if self.name == "1.yaml" else real(self)

    monkeypatch.setattr(Path, "read_bytes", half)
    assert problems(folder) == []
    monkeypatch.setattr(Path, "read_bytes", lambda self: real(self)[:20])
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    assert {problem.what for problem in problems(folder)} == {
        "the file cannot be read: it is being written by another program"
    }
