"""The case that comes with the demo vehicle, replayed word by word: what it says is what somebody last read."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.golden import check_golden
from tracer.case import calls
from tracer.cli import app

ROOT = Path(__file__).parent.parent.parent
LINES = [line for line in (ROOT / "circuits" / "minibus-case.txt").read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]  # fmt: skip


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    monkeypatch.delenv("TRACER_CASE", raising=False)
    minutes = count()
    start = datetime(2026, 3, 31, 9, 30, tzinfo=UTC)
    monkeypatch.setattr(calls, "_now", lambda: start + timedelta(minutes=next(minutes)))
    return tmp_path / "state"


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["--width", "80", *words], catch_exceptions=False)
    return done.exit_code, done.output


def replayed(lines: list[str]) -> str:
    said = []
    for line in lines:
        words = shlex.split(line)
        folder = ["-C", str(ROOT / "circuits" / "minibus")] if words[:2] == ["case", "open"] else []
        status, text = run(*folder, *words)
        assert status in (0, 3), (line, text)
        text = re.sub(r"(opened|file)\s\S+\.case", r"\1 ALM.case", text)
        said.append(f"$ tracer {line}\n{text}" + (f"exit status {status}\n" if words[0] in ("proof", "report") else ""))
    return "\n".join(said)


def test_the_case_of_the_demo_says_what_it_said(state: Path) -> None:
    first = LINES.index("proof") + 1
    found = replayed(LINES[:first])
    assert "FOUND at 5+" in found and "exit status 0" in found
    check_golden("minibus/case-found-80.txt", found)
    check_golden("minibus/case-verdict-80.txt", found[found.index("$ tracer read S12") :])  # what the README shows
    after = replayed(LINES[first:])
    assert "NOT PROVEN" in after and "exit status 3" in after
    check_golden("minibus/case-after-80.txt", after)


def test_a_case_needs_no_vehicle_and_a_report_is_made(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replayed(LINES[:5])
    monkeypatch.chdir(tmp_path)
    for form in ("html", "pdf"):
        status, _ = run("report", "-o", f"r.{form}")
        assert status == 3 and (tmp_path / f"r.{form}").stat().st_size > 1000
    assert run("report", "-o", "r.doc")[0] == 2
    for words in (["read", "3+=12.5/12.0", "--json"], ["case", "show", "--json"], ["proof", "--json"]):
        status, text = run(*words)
        assert (status, text[0]) == (3 if words[0] == "proof" else 0, "{")  # one of 14 pieces: narrowed down, not found


def test_a_call_that_cannot_be_used_and_wrong_words(state: Path, tmp_path: Path) -> None:
    assert run("read", "3+=12.5") == (1, "No case is open: `tracer -C VEHICLE case open MODULE` opens one.\n")
    assert run("proof")[0] == 1
    replayed(LINES[:2])
    status, text = run("read", "3+=12.5")
    assert status == 2 and "wants two values" in text
    assert run("case", "set", "colour=red")[0] == 2
    assert run("case", "note", "waive", "8+")[0] == 2
    inside = ROOT / "circuits" / "minibus" / "x.case"
    status, text = run("-C", str(ROOT / "circuits" / "minibus"), "case", "open", "ALM", "-o", str(inside))
    assert status == 1 and "kept apart" in text and not inside.exists()
    other = tmp_path / "no.case"
    other.write_text("{}\n", encoding="utf-8")
    assert run("case", "use", str(other))[0] == 1
    assert run("case", "show")[0] == 0  # the one before is still current


def test_without_words_it_asks_row_by_row(state: Path) -> None:
    replayed(LINES[:2])
    asked = CliRunner().invoke(app, ["read"], input="12,6\n\n12,61\n12,61/12,39\n.\n", catch_exceptions=False)
    assert asked.exit_code == 0
    assert "3+ wants two values" in asked.output and "4.1  3+  12.61 V, with the lamp 12.39 V" in asked.output


def test_recording_loads_nothing_heavy(state: Path) -> None:
    replayed(LINES[:3])
    program = "import sys, tracer.cli; sys.argv = ['tracer', 'read', 'battery=12.6', '3+=12.5/12.0']\ntry: tracer.cli.main()\nfinally: print(*[n for n in ('numpy', 'pydantic', 'yaml', 'networkx', 'tracer.circuit.model') if n in sys.modules], file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.strip()) == (0, "")
