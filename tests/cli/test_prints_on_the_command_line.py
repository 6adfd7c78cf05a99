"""`tracer diagram` and `tracer worksheet` as a user runs them."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TRACER = Path(sys.executable).with_name("tracer")


def run(*arguments: str, vehicle: str = "minibus", cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [str(TRACER), "-C", str(ROOT / "circuits" / vehicle), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)


@pytest.mark.parametrize(
    ("arguments", "start"),
    [
        (("diagram", "ALM", "-o", "a.svg", "--key", "run"), b"<?xml"),
        (("diagram", "ALM", "-o", "a.pdf"), b"%PDF-"),
        (("diagram", "ALM", "-o", "a.PNG"), b"\x89PNG"),
        (("worksheet", "ALM", "-o", "a.html"), b"<!DOCTYPE html>"),
        (("worksheet", "ALM", "-o", "a.csv"), b"step,title"),
        (("worksheet", "ALM", "-o", "a.txt"), b"ALM Air levelling module"),
        (("worksheet", "ALM", "-o", "b.csv", "--all"), b"batch,place"),
        (("worksheet", "ALM", "-o", "a.pdf", "--paper", "letter"), b"%PDF-"),
    ],
)
def test_the_ending_says_the_format(tmp_path: Path, arguments: tuple[str, ...], start: bytes) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / arguments[3]).read_bytes().startswith(start)


def test_loose_ends_give_exit_status_3_and_a_default_name(tmp_path: Path) -> None:
    for what in ("diagram", "worksheet"):
        done = run(what, "LIFT", vehicle="unfinished", cwd=tmp_path)
        assert done.returncode == 3, done.stderr
        assert (tmp_path / f"LIFT-{what}.pdf").is_file()


def test_several_pages_become_numbered_files(tmp_path: Path) -> None:
    assert run("diagram", "INS", "-o", "i.svg", cwd=tmp_path).returncode == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["i-1.svg", "i-2.svg"]


def test_pages_of_an_earlier_drawing_go_and_what_may_be_somebody_elses_stays_and_is_named(tmp_path: Path) -> None:
    assert run("diagram", "INS", "-o", "i.svg", cwd=tmp_path).returncode == 0
    last = (tmp_path / "i-2.svg").read_text(encoding="utf-8")
    (tmp_path / "i-3.svg").write_text(last.replace("page 2 of 2", "page 3 of 4"), encoding="utf-8")
    (tmp_path / "i-4.svg").write_text(last.replace(": INS, page 2 of 2", ": GTW"), encoding="utf-8")
    (tmp_path / "i-6.svg").write_text(last, encoding="utf-8")  # behind a gap: of another row of files
    (tmp_path / "i.svg").write_text(last.replace(", page 2 of 2", ""), encoding="utf-8")
    done = run("diagram", "INS", "-o", "i.svg", cwd=tmp_path)
    assert done.returncode == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["i-1.svg", "i-2.svg", "i-4.svg", "i-6.svg"]
    said = (done.stdout + done.stderr).splitlines()
    assert [line for line in said if not line.startswith("wrote")] == [
        "removed i.svg, a page of an earlier diagram of this module",
        "removed i-3.svg, a page of an earlier diagram of this module",
        "i-4.svg lies there from before and is no page of this diagram",
    ]


def test_a_picture_says_nothing_of_its_module_and_stays(tmp_path: Path) -> None:
    (tmp_path / "l-1.png").write_bytes(b"\x89PNG of an earlier call")
    done = run("diagram", "LIFT", "-o", "l.png", vehicle="unfinished", cwd=tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["l-1.png", "l.png"]
    assert "l-1.png lies there from before" in done.stdout + done.stderr


def test_a_name_that_no_file_can_have_gives_a_file_all_the_same(tmp_path: Path) -> None:
    van = tmp_path / "van"
    (van / "sheets").mkdir(parents=True)
    (van / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (van / "sheets" / "1.yaml").write_text(
        'sheet: 1\nparts: {"A*1": {is: module, cavities: [1], pins: {1: ground}}, G1: ground}\nruns: ["A*1.1 -- BN 1 -- G1"]\n',
        encoding="utf-8",
    )
    for what, ending in (("diagram", "pdf"), ("worksheet", "pdf"), ("pocket", "html")):
        command = [str(TRACER), "-C", str(van), what, "A*1"]
        done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path)
        assert done.returncode == 3, done.stderr
        assert (tmp_path / f"A_2a_1-{what}.{ending}").is_file()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("diagram", "NOPE"), "no module NOPE"),
        (("diagram",), "Name one module"),
        (("diagram", "ALM", "--all"), "Name one module"),
        (("diagram", "--all"), "-o FOLDER"),
        (("diagram", "ALM", "-o", "a.bmp"), ".svg, .pdf, .png"),
        (("diagram", "ALM", "--paper", "a3"), "a4 or letter"),
        (("diagram", "ALM", "--engine", "other"), "pure or dot"),
        (("diagram", "ALM", "--key", "flying"), "flying"),
        (("worksheet", "ALM", "--date", "31.1.26"), "YYYY-MM-DD"),
        (("worksheet", "--all", "--format", "svg", "-o", "x"), "--format"),
        (("worksheet", "--all", "--json"), "one module"),
        (("worksheet",), "-o FOLDER"),
        (("worksheet", "-o", "a.pdf"), "Name one module"),
        (("worksheet", "ALM", "--all", "-o", "a.txt"), ".pdf, .html, .csv"),
    ],
)
def test_wrong_usage_says_what_to_write(tmp_path: Path, arguments: tuple[str, ...], said: str) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_all_modules_go_into_a_folder(tmp_path: Path) -> None:
    done = run(
        "diagram",
        "--all",
        "--format",
        "svg",
        "-o",
        "prints",
        "--date",
        "2026-01-31",
        vehicle="unfinished",
        cwd=tmp_path,
    )
    assert done.returncode == 3, done.stderr
    assert sorted(path.name for path in (tmp_path / "prints").iterdir()) == ["DSP-diagram.svg", "LIFT-diagram.svg"]
    assert "NOT COMPLETE: DSP, LIFT" in done.stderr
    alone = run("diagram", "LIFT", "-o", "alone.svg", "--date", "2026-01-31", vehicle="unfinished", cwd=tmp_path)
    assert alone.returncode == 3
    assert (tmp_path / "alone.svg").read_bytes() == (tmp_path / "prints" / "LIFT-diagram.svg").read_bytes()


def test_every_modules_sheet_goes_into_a_folder(tmp_path: Path) -> None:
    done = run(
        "worksheet", "-o", "prints", "--format", "txt", "--date", "2026-01-31", vehicle="unfinished", cwd=tmp_path
    )
    assert done.returncode == 3, done.stderr
    assert sorted(path.name for path in (tmp_path / "prints").iterdir()) == ["DSP-worksheet.txt", "LIFT-worksheet.txt"]


def test_json_holds_the_sheet() -> None:
    data = json.loads(run("worksheet", "ALM", "--json", "--date", "2026-01-31").stdout)
    assert (data["schema"], data["date"], data["complete"]) == ("tracer.sheet/1", "2026-01-31", True)
    assert [pin["name"] for pin in data["pins"]][:2] == ["2+", "3+"]


def test_json_holds_the_form_of_every_point() -> None:
    done = run("worksheet", "ALM", "--all", "--json", "--date", "2026-01-31")
    data = json.loads(done.stdout)
    assert (data["schema"], data["date"], data["complete"]) == ("tracer.worksheet/1", "2026-01-31", True)
    assert data["batches"][0]["readings"][0]["kind"] == "battery"


def test_a_file_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    done = run("diagram", "ALM", "-o", str(tmp_path / "no" / "a.svg"))
    assert done.returncode == 1
    assert "cannot write" in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal to be had")
def test_on_a_terminal_a_bar_counts_up_and_no_line_is_written_into_it(tmp_path: Path) -> None:
    import pty

    ours, theirs = pty.openpty()
    at_once = "import tracer.cli.answer as answer; answer.BAR_AFTER_S = 0.0; from tracer.cli import main; main()"
    command = [
        sys.executable,
        "-c",
        at_once,  # however fast the machine is
        "-C",
        str(ROOT / "circuits" / "unfinished"),
        "diagram",
        "--all",
        "--format",
        "svg",
        "-o",
        "p",
    ]
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "80", "NO_COLOR": "1"}
    with subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, cwd=tmp_path, env=environment
    ) as process:
        os.close(theirs)
        seen = b""
        while True:
            try:
                part = os.read(ours, 65536)
            except OSError:  # Linux says so when the other end is closed
                break
            if not part:
                break
            seen += part
        os.close(ours)
    assert process.returncode == 3
    # what stands on a line after everything before the last carriage return or erasing was overwritten
    lines = [re.split(r"\r|\x1b\[2K", line)[-1] for line in seen.decode().replace("\r\n", "\n").split("\n")]
    wrote = [re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", line).strip() for line in lines if "wrote" in line]
    assert sorted(wrote) == ["wrote p/DSP-diagram.svg", "wrote p/LIFT-diagram.svg"]
    assert "0/2" in seen.decode() and "2/2" in seen.decode()


@pytest.mark.parametrize("command", [("diagram", "LIFT", "-o", "x.svg"), ("worksheet", "LIFT", "-o", "x.txt"), ("pocket", "LIFT", "-o", "x.html")])  # fmt: skip
def test_beside_a_file_with_a_list_that_is_not_complete_it_is_said(command: tuple[str, ...], tmp_path: Path) -> None:
    """Status 3 beside nothing but `wrote` leaves whoever typed it guessing."""
    done = run(*command, vehicle="unfinished", cwd=tmp_path)
    wrote, said = done.stderr.splitlines()
    assert done.returncode == 3 and wrote == f"wrote {command[-1]}"
    assert said.startswith("NOT COMPLETE: 11 loose ends") and said.endswith("`tracer supplies LIFT` lists what is loose.")  # fmt: skip


def test_the_limits_of_a_workshop_stand_on_the_sheet(tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("shop: Bench 4\nlimits: {supply path: 0.37}\n", encoding="utf-8")
    for arguments in (
        ("worksheet", "ALM", "--all", "-o", "a.csv"),
        ("worksheet", "--all", "-o", ".", "--format", "csv"),
    ):
        assert run(*arguments, "--shop", str(shop), cwd=tmp_path).returncode == 0
    for name in ("a.csv", "ALM-worksheet.csv"):
        text = (tmp_path / name).read_text(encoding="utf-8")
        assert "0.37" in text and "Bench 4" in text
    done = run("worksheet", "ALM", "-o", "b.csv", "--shop", str(tmp_path / "none.yaml"), cwd=tmp_path)
    assert done.returncode == 1 and "none.yaml" in done.stderr
    assert not (tmp_path / "b.csv").exists()
