"""A call that is killed at any step at which it touches the disk leaves each file as it was or whole, and nothing that a later call trips over."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tracer.case.file import read_case
from tracer.cli import app

# In a copy of the folder for each step: of the file that is being written half is there when the process is killed at its sync.
KILLED_AT_EACH_STEP = """
import os, shutil, signal, sys

fresh = set()

def kill_at(left):
    def watch(name):
        real = getattr(os, name)
        def call(*arguments, **named):
            nonlocal left
            writes = name != "open" or arguments[1] & (os.O_CREAT | os.O_RDWR)
            left -= bool(writes)
            if writes and not left:
                if name == "fsync" and arguments[0] in fresh:
                    os.truncate(arguments[0], os.fstat(arguments[0]).st_size // 2)
                if name == "write":
                    real(arguments[0], arguments[1][: len(arguments[1]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            done = real(*arguments, **named)
            if name == "open" and arguments[1] & os.O_EXCL:
                fresh.add(done)
            elif name == "fsync":
                fresh.discard(arguments[0])
            return done
        setattr(os, name, call)
    for name in ("open", "write", "fsync", "replace", "rename", "link", "unlink"):
        watch(name)

from tracer.cli import main
with open(os.devnull, "w") as nowhere:
    os.dup2(nowhere.fileno(), 1)
here = os.getcwd()
os.chdir(shutil.copytree("before", "warm"))
try:
    main()  # once undisturbed, so that no child loads everything anew
except SystemExit:
    os.chdir(here)
for step in range(1, 100):
    folder = shutil.copytree("before", f"killed/{step}")
    child = os.fork()
    if not child:
        os.chdir(folder)
        kill_at(step)
        try:
            main()
        finally:
            os._exit(0)
    if not os.WIFSIGNALED(os.waitpid(child, 0)[1]):
        break
else:
    sys.exit("it never ends")
"""


@pytest.fixture
def top(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a vehicle and an open case below `before`, where the calls stand."""
    top = tmp_path / "before"
    shutil.copytree(Path(__file__).resolve().parents[2] / "circuits" / "unfinished", top / "v")
    monkeypatch.chdir(top)
    monkeypatch.setenv("TRACER_STATE", "state")
    monkeypatch.setenv("TRACER_CASE", "a.case")
    assert call("case", "open", "LIFT", "-o", "a.case")[0] == 0
    return top


def call(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["-C", "v", *arguments], catch_exceptions=False)
    return done.exit_code, done.output


def killed(top: Path, *arguments: str) -> list[Path]:
    """The folders, one for each step at which the call was killed, and the one in which it ended."""
    program = [sys.executable, "-c", KILLED_AT_EACH_STEP, "-C", "v", *arguments]
    done = subprocess.run(program, cwd=top.parent, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    folders = sorted((top.parent / "killed").iterdir(), key=lambda folder: int(folder.name))
    assert len(folders) > 3
    return folders


def seen(folder: Path) -> set[str]:
    """The files that a listing shows."""
    files = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {str(file) for file in files if not any(part.startswith(".") for part in file.parts)}


def hidden(folder: Path) -> list[Path]:
    """The files that a listing does not show."""
    return [path for path in folder.rglob(".*") if path.is_file()]


@pytest.mark.parametrize(
    "arguments", [["worksheet", "LIFT", "-o", "x.csv"], ["pocket", "LIFT", "-o", "x.html"], ["write-out", "-o", "x.csv"], ["read-back", "1", "--tick", "1"]], ids=" ".join
)  # fmt: skip
def test_a_file_is_the_old_one_or_the_new_one(arguments: list[str], top: Path) -> None:
    file = "v/read-back.json" if "read-back" in arguments else arguments[-1]
    old = b"{}\n" if "read-back" in arguments else b"old and whole\n"
    (top / file).write_bytes(old)
    before = seen(top)
    *folders, ended = killed(top, *arguments)
    new = (ended / file).read_bytes()
    assert new != old
    assert [(folder / file).read_bytes() for folder in folders].count(old) >= 2
    for folder in folders:
        assert (folder / file).read_bytes() in (old, new)
        assert seen(folder) == before
    for folder, left in ((folder, left) for folder in folders if (left := hidden(folder))):
        os.chdir(folder)
        for one in left:
            os.utime(one, (one.stat().st_mtime - 7200,) * 2)
        assert call(*arguments)[0] in (0, 3)
        assert Path(file).read_bytes() == new
        assert hidden(folder) == []
        break
    else:
        pytest.fail("no call was killed in the middle of writing")


def test_a_case_is_read_on_and_what_was_not_recorded_can_be_read_again(top: Path) -> None:
    count = len(read_case(Path("a.case")).entries)
    folders = killed(top, "read", "battery=12.6", "1+=12.5")
    added = []
    for folder in folders:
        os.chdir(folder)
        case = read_case(Path("a.case"))
        assert case.damaged == ()
        added.append(len(case.entries) - count)
        assert call("proof")[0] == 3
        assert call("read", "battery=12.7")[0] == 0
        assert len(read_case(Path("a.case")).entries) == count + added[-1] + 1
    assert (added[0], added[-1], sorted(added) == added) == (0, 1, True)
    assert set(added) == {0, 1}


def test_a_case_and_a_vehicle_that_are_made_are_there_or_not(top: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TRACER_CASE")
    for folder in killed(top, "case", "open", "LIFT", "-o", "b.case"):
        os.chdir(folder)
        status, said = call("case", "open", "LIFT", "-o", "b.case")
        assert (status, "is there already" in said) in ((0, False), (1, True)), said
        assert len(read_case(Path("b.case")).entries) == 1
    shutil.rmtree(top.parent / "killed")
    shutil.rmtree(top.parent / "warm")
    for folder in killed(top, "new", "fresh"):
        os.chdir(folder)
        if not Path("fresh").exists():
            assert call("new", "fresh")[0] == 0
        assert {"vehicle.yaml", "sheets"} <= {path.name for path in Path("fresh").iterdir()}
