"""What stands in the way of a case: the folder it is kept in, the file that names the current one, the terminal it is typed at. One clear message each."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.case.making import ROOT, demo_plan, opened
from tracer.case.case import case_in, set_conditions
from tracer.cli import app


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A state folder, not made yet, in which nothing is current."""
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    monkeypatch.delenv("TRACER_CASE", raising=False)
    return tmp_path / "state"


@pytest.fixture
def current(state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A case that is current, ready to be read into."""
    case = opened(tmp_path)
    monkeypatch.setenv("TRACER_CASE", str(case.file))
    now = datetime.now().astimezone()
    set_conditions(case, ["key=off", "plug=out", "lamp=21W", "symptom=yes", "battery=12,6"], now)
    return case.file


def run(*words: str, **how: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["--width", "80", *words], catch_exceptions=False, **how)  # type: ignore[arg-type]
    return done.exit_code, done.output


def _pointer(content: bytes) -> Callable[[Path], None]:
    def make(state: Path) -> None:
        state.mkdir()
        (state / "current").write_bytes(content)

    return make


def _folder(state: Path) -> None:
    (state / "current").mkdir(parents=True)


def _file(state: Path) -> None:
    state.write_text("a file")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (_pointer(b"\xff\xfe/a.case"), "it is not text. `tracer case use FILE` writes it anew"),
        (_pointer(b"\n"), "names no case"),
        (_pointer(b"/a\x00b.case\n"), "names no case"),
        (_pointer(b"/no/such.case\n"), "cannot read the case /no/such.case"),
        (_pointer(b"/proc\n"), "/proc is no file, and so no case"),
        (_pointer(b"/dev/zero\n"), "/dev/zero is no file, and so no case"),
        (_folder, "Is a directory"),
        (_file, "Not a directory"),
        (lambda state: None, "No case is open"),
    ],
)
def test_what_names_no_case_is_said(make: Callable[[Path], None], message: str, state: Path) -> None:
    make(state)
    for words in (["read", "3+=12.5"], ["read"], ["case", "show"], ["case", "set", "key=run"], ["proof"], ["next"], ["report"]):  # fmt: skip
        status, text = run(*words)
        assert status == 1 and message in text and text.count("\n") == 1, words


@pytest.mark.parametrize(
    ("place", "message"),
    [("file", "file is no folder"), ("file/below", "file is no folder"), ("/proc/tracer", "cannot make the folder /proc/tracer")],
)  # fmt: skip
def test_a_state_folder_that_cannot_be_made_is_said(
    place: str, message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("a file")
    monkeypatch.delenv("TRACER_CASE", raising=False)
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / place))
    status, text = run("-C", str(ROOT / "circuits" / "unfinished"), "case", "open", "LIFT")
    assert status == 1 and message in text and text.count("\n") == 1
    kept = tmp_path / "kept.case"
    status, text = run("-C", str(ROOT / "circuits" / "unfinished"), "case", "open", "LIFT", "-o", str(kept))
    assert status == 1 and f"The case is kept in {kept}, but is not the current one" in text
    monkeypatch.setenv("TRACER_CASE", str(kept))
    assert run("case", "show")[0] == 0
    assert run("case", "use", str(kept))[0] == 1


def test_a_case_that_would_not_be_current_in_this_terminal_is_said(current: Path, tmp_path: Path) -> None:
    """Else what is read next goes into another case than the one that was just opened."""
    other = tmp_path / "other.case"
    other.write_bytes(current.read_bytes())
    status, text = run("case", "use", str(other))
    assert status == 1 and f"TRACER_CASE names {current} in this terminal and comes first" in text
    new = tmp_path / "new.case"
    status, text = run("-C", str(ROOT / "circuits" / "unfinished"), "case", "open", "LIFT", "-o", str(new))
    assert status == 1 and f"The case is kept in {new}, but is not the current one: TRACER_CASE names" in text
    assert run("case", "use", str(current))[0] == 0


def test_without_a_home_folder_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def homeless() -> Path:
        raise RuntimeError("Could not determine home directory.")

    for name in ("TRACER_STATE", "TRACER_CASE", "XDG_STATE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(Path, "home", homeless)
    assert run("case", "show") == (1, "It is not known where cases are kept: name a folder with TRACER_STATE.\n")


def test_a_disk_without_second_names_keeps_a_case_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    case = opened(tmp_path)
    assert case_in(case.file).plan["module"] == "ALM"
    assert [one.name for one in tmp_path.iterdir()] == ["a.case"]
    before = case.file.read_bytes()
    with pytest.raises(Exception, match="never written over"):
        opened(tmp_path)
    assert case.file.read_bytes() == before and len(list(tmp_path.iterdir())) == 1


def test_a_disk_without_locks_is_said_at_once(current: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    def refused(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", refused)
    before = current.read_bytes()
    status, text = run("case", "set", "key=run")
    assert status == 1 and "Operation not supported. Nothing is recorded" in " ".join(text.split())
    assert current.read_bytes() == before


# --- row by row --------------------------------------------------------------------------------------------------------


def test_the_end_of_the_input_ends_and_says_what_is_recorded(current: Path) -> None:
    assert run("read", input="")[1].endswith("battery=\n0 readings are recorded.\n")
    status, text = run("read", input="\n\n12,61/12,39\n")
    assert status == 0 and text.endswith("1 reading is recorded.\n")
    assert len(case_in(current).readings) == 1


def test_an_input_that_is_no_text_is_said_and_what_was_read_is_kept(current: Path) -> None:
    status, text = run("read", input=b"\n\n12,61/12,39\n\xff\xfe\n")
    assert status == 1 and "is no text (UTF-8)" in text
    assert len(case_in(current).readings) == 1


class _Typed(io.BytesIO):
    """What is typed, and what happens then."""

    def __init__(self, typed: bytes, then: Callable[[], bytes]) -> None:
        super().__init__(typed)
        self.then = then

    def readline(self, *_: object) -> bytes:
        return super().readline() or self.then()


def typed_at(monkeypatch: pytest.MonkeyPatch, typed: bytes, then: Callable[[], bytes]) -> None:
    monkeypatch.setattr("tracer.cli.case.sys.stdin", io.TextIOWrapper(_Typed(typed, then), encoding="utf-8"))


def test_an_interrupt_ends_and_what_was_read_is_kept(current: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted() -> bytes:
        raise KeyboardInterrupt

    from tracer.cli.case import _row_by_row

    typed_at(monkeypatch, b"\n\n12,61/12,39\n", interrupted)
    _row_by_row(case_in(current))
    assert len(case_in(current).readings) == 1


def test_a_case_that_goes_away_while_it_is_asked_is_said(current: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import typer

    from tracer.cli.case import _row_by_row

    def gone() -> bytes:
        current.unlink(missing_ok=True)
        return b"12,5\n"

    typed_at(monkeypatch, b"", gone)
    with pytest.raises(typer.Exit) as ended:
        _row_by_row(case_in(current))
    assert ended.value.exit_code == 1


def test_with_no_input_at_all_it_ends(current: Path) -> None:
    closed = 'exec "$0" -c "import tracer.cli; tracer.cli.main()" read <&-'
    done = subprocess.run(["sh", "-c", closed, sys.executable], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.endswith("0 readings are recorded.\n")


@pytest.mark.parametrize("words", [["--why", "x"], ["--instead-of", "3.1"], ["--json"]])
def test_options_of_readings_without_readings_are_refused(words: list[str], current: Path) -> None:
    status, text = run("read", *words)
    assert status == 2 and "go with readings" in text


def test_the_battery_alone_is_said_back(current: Path) -> None:
    assert "battery 12.30 V" in " ".join(run("read", "battery=12,3")[1].split())


@pytest.mark.usefixtures("state")
def test_a_case_whose_name_holds_a_letter_that_nobody_sees_stays_current(tmp_path: Path) -> None:
    runner = CliRunner()
    made = runner.invoke(app, ["-C", str(ROOT / "circuits" / "unfinished"), "case", "open", "LIFT", "-o", str(tmp_path / "turned\u202earound.case")])  # fmt: skip
    shown = runner.invoke(app, ["--width", "400", "case", "show"])
    assert (made.exit_code, shown.exit_code) == (0, 0)
    for text in (made.output, shown.output):
        assert "turned<U+202E>around.case" in text and "\u202e" not in text


def test_row_by_row_what_a_hazard_lies_on_is_not_asked_for(state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    plan = {**demo_plan(), "rows": {**demo_plan()["rows"]}}
    plan["rows"]["ALM.5:+"] = {**plan["rows"]["ALM.5:+"], "no_method": "the maker's procedure only"}
    monkeypatch.setenv("TRACER_CASE", str(opened(tmp_path, plan).file))
    status, text = run("read", input="\n" * 20)
    assert status == 0 and "4+=" in text and "6+=" in text and "5+=" not in text
    assert "5+: nothing is measured there: the maker's procedure only" in text
    status, text = run("read", "battery=12.6", "5+=12.5")
    assert status == 0 and "? 5+: nothing is measured there" in text
