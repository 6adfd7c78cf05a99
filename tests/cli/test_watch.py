"""`watch`: after every save the first look again, equal to a cold start; what is new in it, and what to type in next."""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import tracer
from tests.cli.test_exit_status import COMPLETE, LOOSE, ROOT, invoke
from tests.typed import write
from tracer.cli.watching import Watched
from tracer.entry import CannotUse
from tracer.report import supplies as report
from tracer.report import watch as watch_report
from tracer.trace.lists.results import News

DEMO = ROOT / "circuits" / "minibus"


def cold(folder: Path, module: str) -> str:
    """What a run of the two commands says, or every problem."""
    status, out, error = invoke("-C", str(folder), "supplies", module, "--quick")
    return out if status in (0, 3) else error


def changed(lines: list[str], draw: random.Random) -> list[str]:
    """One slip or one line of work: a line goes, comes twice, loses its end, or two change places."""
    lines = list(lines)
    at = draw.randrange(len(lines))
    what = draw.randrange(4)
    if what == 0:
        del lines[at]
    elif what == 1:
        lines.insert(at, lines[at])
    elif what == 2:
        lines[at] = lines[at].rpartition(" -- ")[0] or lines[at][:-1]
    else:
        other = draw.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    return lines


def compared(watched: Watched, kept: tracer.Kept, folder: Path) -> int:
    """The exit status of one look; text, list and problems are those of a cold start."""
    expected = cold(folder, "ALM")  # first: a call of the command sets the width that both have
    text = watched.look()
    try:
        warm = report.as_data(tracer.supplies(tracer.load(folder, kept), "ALM"), None)
    except CannotUse as error:
        with pytest.raises(CannotUse) as again:
            tracer.load(folder)
        assert error.problems == again.value.problems
        for problem in error.problems:
            assert problem.render(80) in text and problem.render(80) in expected
    except tracer.CannotAnswer:
        assert "there is no module ALM" in text and "there is no module ALM" in expected
    else:
        assert warm == report.as_data(tracer.supplies(tracer.load(folder), "ALM"), None)
        assert text.startswith(expected)
    return watched.status


@pytest.mark.parametrize("seed", range(3))
def test_after_every_save_it_says_what_a_cold_start_says(seed: int, tmp_path: Path) -> None:
    folder, draw = tmp_path / "van", random.Random(seed)
    shutil.copytree(DEMO, folder)
    sheets = sorted((folder / "sheets").iterdir())
    typed = {sheet: sheet.read_text(encoding="utf-8") for sheet in sheets}
    kept, watched, ends = tracer.Kept(), Watched(folder, "ALM"), set()
    for _ in range(12):
        sheet = draw.choice(sheets)
        if draw.random() < 0.8:
            sheet.write_text("\n".join(changed(typed[sheet].splitlines(), draw)) + "\n", encoding="utf-8")
        else:
            sheet.unlink(missing_ok=True)
        ends.add(compared(watched, kept, folder))
        if draw.random() < 0.8:  # and mended again
            sheet.write_text(typed[sheet], encoding="utf-8")
            ends.add(compared(watched, kept, folder))
    assert 1 in ends and ends & {0, 3}


def test_a_file_that_has_not_changed_is_not_parsed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, COMPLETE, "sheet: 2\n", vehicle="vehicle: v\n")
    kept = tracer.Kept()
    tracer.load(folder, kept)
    parsed: list[str] = []
    import tracer.entry.text as text

    whole = text._parsed

    def counted(name: str, data: bytes, problems: list[tracer.Problem]) -> object:
        parsed.append(name)
        return whole(name, data, problems)

    monkeypatch.setattr(text, "_parsed", counted)
    (folder / "sheets" / "2.yaml").write_text("sheet: 2\ntitle: more\n")
    tracer.load(folder, kept)
    assert parsed == ["sheets/2.yaml"]


# --- what is new -----------------------------------------------------------------------------------------------------


def said(folder: Path, before: str, now: str) -> list[tuple[str, str]]:
    """Marks and names of what is new between two typings of one sheet."""
    reports = [
        tracer.supplies(tracer.load(write(folder / str(number), sheet, vehicle="vehicle: v\n")), "M")
        for number, sheet in enumerate((before, now))
    ]
    return [(one.mark, one.about) for one in tracer.news(*reports)]


WIRED = COMPLETE.replace("cavities: 1-2", "cavities: 1-3")


def test_each_thing_that_changes_is_news_and_nothing_else(tmp_path: Path) -> None:
    assert said(tmp_path / "0", WIRED, WIRED) == []
    assert said(tmp_path / "1", WIRED, WIRED.replace("runs:", "# a line more\n\nruns:")) == []
    assert said(tmp_path / "2", WIRED, WIRED + "  - M.3 -- BN 1 -- G1\n") == [("+", "M.3-"), ("-", "M.3")]
    assert said(tmp_path / "3", WIRED + "  - M.3 -- BN 1 -- G1\n", WIRED) == [("-", "M.3-"), ("+", "M.3")]
    assert said(tmp_path / "4", WIRED, WIRED.replace("amps: 5", "amps: 10")) == [("~", "M.1+")]
    assert said(tmp_path / "5", WIRED, WIRED.replace("-- RD 1 -- M.1", "-- RD/BU 1 -- M.1")) == [("~", "M.1+")]


def test_what_changed_is_said_and_not_what_stayed(tmp_path: Path) -> None:
    sheets = (WIRED, WIRED.replace("-- RD 1 -- M.1", "-- RD/BU 1 -- M.1"))
    before, now = (
        tracer.supplies(tracer.load(write(tmp_path / str(n), one, vehicle="vehicle: v\n")), "M")
        for n, one in enumerate(sheets)
    )
    (one,) = tracer.news(before, now)
    assert one.about == "M.1+" and one.words.startswith("wire RD/BU 1") and "from BAT.+" not in one.words


def test_what_a_list_rests_on_is_news_too(tmp_path: Path) -> None:
    joint = WIRED.replace("M: {is", "S1: splice, M: {is").replace(
        "F1 -- RD 1 -- M.1", "F1 -- RD 1 -- S1\n  - S1 -- RD 1 -- M.1"
    )
    counted = joint.replace("S1: splice", "S1: {is: splice, wires: 2}")
    assert said(tmp_path / "0", joint, counted) == [("-", "joints without a wire count")]
    on_body = WIRED.replace("  - BAT.- -- BK 25 -- G1\n", "")
    assert ("+", "it rests on") in said(tmp_path / "1", WIRED, on_body)


def test_news_are_named_and_more_than_a_screen_become_a_count(tmp_path: Path) -> None:
    circuit = tracer.load(write(tmp_path, LOOSE))
    found = tracer.supplies(circuit, "M")
    many = [News("+", f"M.{number}+", "from BAT.+ over F1") for number in range(9)]
    text = watch_report.as_text(tracer.glance(circuit, found, computed=False), tracer.missing(circuit, "M"), many)
    assert "  new  M.0+: from BAT.+ over F1\n" in text and "M.6+" not in text and "  and 3 changes more\n" in text
    assert "TO TYPE IN NEXT\nNOT COMPLETE: " in text


# --- as a command ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sheet", "module", "status"), [(COMPLETE, "M", 0), (LOOSE, "M", 3), ("sheet: [\n", "M", 1), (COMPLETE, "Q", 2)]
)
def test_the_exit_status_is_that_of_the_last_look(sheet: str, module: str, status: int, tmp_path: Path) -> None:
    folder = str(write(tmp_path, sheet, vehicle="vehicle: v\n"))
    found, out, _ = invoke("-C", folder, "watch", module, "--saves", "0")
    assert found == status and out


def test_it_looks_again_when_a_sheet_is_saved_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    folder = write(tmp_path, COMPLETE, vehicle="vehicle: v\n")
    command = [sys.executable, "-u", "-m", "tracer.cli", "-C", str(folder), "watch", "M"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        first: list[str] = []
        while not first or "Nothing is missing" not in first[-1]:
            first.append(process.stdout.readline())
        time.sleep(0.3)  # it may be writing still, or asleep already: both must see the save
        sheet = folder / "sheets" / "1.yaml"
        sheet.write_text(sheet.read_text().replace("  - M.2 -- BN 1 -- G1\n", ""))
        second: list[str] = []
        while not second or "NOT COMPLETE" not in second[-1]:
            second.append(process.stdout.readline())
        process.send_signal(signal.SIGINT)
        rest = process.stdout.read()
        assert process.wait() == 3
    assert any(line.endswith(" saved\n") for line in second)
    assert "gone M.2-: to BAT.-" in rest and "Traceback" not in rest
