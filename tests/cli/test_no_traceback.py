"""Whatever happens to it, the command ends with a line that says so and an exit status, never with a traceback."""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import tracer
from tracer.cli import main
from tracer.entry.problems import CannotCompute
from tracer.report.printing import in_processes

ROOT = Path(__file__).resolve().parents[2]
DEMO = ["-C", str(ROOT / "circuits" / "minibus")]
FULL = Path("/dev/full")


def called(*arguments: str, out: object = subprocess.PIPE, error: object = subprocess.PIPE) -> subprocess.CompletedProcess[str]:  # fmt: skip
    return subprocess.run([sys.executable, "-m", "tracer.cli", *arguments], stdout=out, stderr=error, text=True, check=False)  # type: ignore[call-overload,no-any-return]  # fmt: skip


@pytest.mark.skipif(not FULL.exists(), reason="there is no full device here")
@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["supplies", "--help"], [*DEMO, "check"], [*DEMO, "write-out"]], ids=" ".join)  # fmt: skip
def test_output_to_a_full_device_is_said_in_one_line(arguments: list[str]) -> None:
    with FULL.open("w") as full:
        done = called(*arguments, out=full)
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert done.stderr.startswith("cannot ") and done.stderr.endswith("No space left on device\n")


@pytest.mark.skipif(not FULL.exists(), reason="there is no full device here")
@pytest.mark.parametrize(("arguments", "status"), [([*DEMO, "supplies", "NOPE"], 2), (["-C", "/nowhere", "check"], 1), ([*DEMO, "diagram", "ALM", "-o"], 0)])  # fmt: skip
def test_where_nobody_can_be_told_the_exit_status_still_says_it(
    arguments: list[str], status: int, tmp_path: Path
) -> None:
    arguments = [*arguments, str(tmp_path / "d.svg")] if status == 0 else arguments
    with FULL.open("w") as full:
        assert called(*arguments, error=full).returncode == status


def test_closed_streams_change_no_exit_status() -> None:
    for closed in ("<&- >&- 2>&-", ">&-", "2>&-"):
        command = f'"$0" -m tracer.cli "$@" {closed}'
        assert subprocess.run(["sh", "-c", command, sys.executable, *DEMO, "check"], capture_output=True, check=False).returncode == 0  # fmt: skip


BEGUN = "import contextlib, signal, tracer\nprint('begun', flush=True)\nfrom tracer.cli import main\nmain()"


@pytest.mark.parametrize("arguments", [["supplies", "ALM"], ["worksheet", "-o", "prints"]], ids=" ".join)
def test_an_interrupt_at_any_moment_ends_it_without_a_word(arguments: list[str], tmp_path: Path) -> None:
    chance = random.Random(1)
    for _ in range(5):
        with subprocess.Popen(
            [sys.executable, "-c", BEGUN, *DEMO, *arguments],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path, start_new_session=True,
        ) as process:  # fmt: skip
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(chance.uniform(0, 1.2))
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGINT)  # as the terminal does, to its helpers too
            _, error = process.communicate(timeout=60)
        assert process.returncode in (0, 130, -signal.SIGINT)
        assert [
            line for line in error.splitlines() if not re.match(r"wrote |12 modules; ", line)
        ] == []  # it may have been ready
    if (tmp_path / "prints").exists():  # what is there is whole, and nothing lies beside
        for file in (tmp_path / "prints").iterdir():
            assert file.name.endswith("-worksheet.pdf")
            assert file.read_bytes().rstrip().endswith(b"%%EOF")


def ended(arguments: list[str], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> tuple[object, str]:  # fmt: skip
    """Exit status and standard error of the program in this process."""
    monkeypatch.setattr(sys, "argv", ["tracer", *arguments])
    monkeypatch.setattr(sys, "stdout", sys.stdout)  # which `main` may replace
    before = signal.getsignal(signal.SIGINT)
    out = os.dup(1)
    try:
        with pytest.raises(SystemExit) as end:
            main()
    finally:
        signal.signal(signal.SIGINT, before)
        os.dup2(out, 1)
        os.close(out)
    return end.value.code, capfd.readouterr().err


@pytest.mark.parametrize(
    ("module", "arguments", "package"),
    [
        ("typst", ["worksheet", "ALM", "-o", "w.pdf"], "typst"),
        ("jinja2", ["worksheet", "ALM", "-o", "w.html"], "jinja2"),
        ("openpyxl", ["write-out", "-o", "w.xlsx"], "openpyxl"),
    ],
)
def test_a_missing_part_is_said_with_what_to_install(
    module: str, arguments: list[str], package: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setitem(sys.modules, module, None)
    monkeypatch.chdir(tmp_path)
    status, error = ended([*DEMO, *arguments], monkeypatch, capfd)
    assert status == 1
    assert error == f"this needs the Python package {package}, which is not installed: `pip install {package}`.\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("raised", "said"),
    [
        (ZeroDivisionError("x"), "a fault of this program, not of what you typed (ZeroDivisionError at "),
        (MemoryError(), "cannot go on: there is not enough memory.\n"),
        (PermissionError(13, "Permission denied", "a.yaml"), "cannot go on: a.yaml Permission denied\n"),
    ],
)
def test_what_no_command_foresaw_is_one_line(
    raised: Exception, said: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def load(folder: Path) -> None:
        raise raised

    monkeypatch.setattr(tracer, "load", load)
    status, error = ended([*DEMO, "check"], monkeypatch, capfd)
    assert (status, error.count("\n")) == (1, 1)
    assert error.startswith(said)
    monkeypatch.setenv("TRACER_TRACEBACK", "1")
    with pytest.raises(type(raised)):
        main()


def _dies(module: str) -> None:
    os._exit(9)


def test_a_process_that_prints_and_is_killed_is_said() -> None:
    dies: Callable[[str], object] = _dies
    with pytest.raises(CannotCompute, match="ended from outside"):
        list(in_processes(dies, ["A", "B"], workers=2))  # type: ignore[arg-type]


def test_a_state_folder_that_cannot_be_used_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "file" / "state"))
    status, error = ended([*DEMO, "case", "open", "ALM", "-o", str(tmp_path / "a.case")], monkeypatch, capfd)
    assert (status, error.count("\n")) == (1, 1)
    assert (
        f"cannot make the folder {tmp_path / 'file' / 'state'}: {tmp_path / 'file'} is no folder. TRACER_STATE names another one. "
        in error
    )
    (tmp_path / "current").write_bytes(b"\xff")
    monkeypatch.setenv("TRACER_STATE", str(tmp_path))
    status, error = ended(["case", "show"], monkeypatch, capfd)
    assert status == 1
    assert error.endswith("it is not text. `tracer case use FILE` writes it anew.\n")
