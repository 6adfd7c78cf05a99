"""What is typed is shown and never run: not by a terminal, a browser, a spreadsheet, the layout engine, the typesetter or the file system."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import types
import typing
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from unicodedata import category
from xml.etree import ElementTree

import pytest
import typer.main
from typer.testing import CliRunner

from tracer.cli import app
from tracer.entry.facts import Facts
from tracer.entry.file_models import RunFacts, SheetFacts, VehicleFacts
from tracer.entry.models import KINDS

MARKUP = r"""<script>alert(1)</script><img src=x onerror=alert(1)>&lt;"'`#{sys.inputs}#eval("1") $x$ *b* _u_ \N\l\\ %s {{7*7}} {% if %} ]]> --> //x ../../up"""
HIDDEN = "\x1b[31m\x07\x7f\x9b31m\u202e\u200b\u2066\ufeff\u00ad\ufffe"
TEXT = f"@SUM(1+1)|cmd {MARKUP} {HIDDEN} end"
SEEN = TEXT.replace(HIDDEN, "<U+001B>[31m<U+0007><U+007F><U+009B>31m<U+202E><U+200B><U+2066><U+FEFF><U+00AD><U+FFFE>")
FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
# Names of one word, which the format lets hold anything but blanks, dots, colons, commas and brackets.
MODULE, FUSE, GROUND, PIN, PANEL = "=M&\"'$#\\N|%@", "@F1;\\l$#", "+G\"'&\\", "=1&'\"\\", "-P\\N&\"'"
_UNSEEN = re.compile(
    "[^\n" + "".join(f"{re.escape(c)}" for c in map(chr, range(0x20, 0x10000)) if category(c) not in ("Cc", "Cf", "Cs", "Zl", "Zp") and ord(c) < 0xFFFE) + "]"
)  # fmt: skip

_TEXTS = {"vehicle", "caution", "note", "title", "name", "at", "access", "guess", "serves", "text", "command"}
# Texts that are names of something else, or one word of a list, and where each stands below under a name of its own.
_POINTS = {"from", "or", "body", "output", "commander", "kind", "follows", "meets", "mates", "run", "is", "sheet"}
_WORDS = {"type", "feed side", "on", "halves", "key", "page", "pins"}


def folder_of(top: Path) -> Path:
    """A vehicle with the text in each field that takes one, and the names on every kind of part that a list can show."""
    said = {"name": TEXT, "at": TEXT, "access": TEXT, "note": TEXT, "caution": TEXT}
    vehicle = {
        "vehicle": TEXT, "caution": TEXT, "note": TEXT, "key": ["off", "run"],
        "conditions": {"lights": TEXT, "cold": {"text": TEXT, "when": ["off"]}},
        "rails": {"30": {"live": "always", "name": TEXT}, "15": {"live": ["run"], "name": TEXT}},
        "buses": {"drive": {"name": TEXT, "kind": "lin", "commander": MODULE, "terminations": {MODULE: 1000}}},
    }  # fmt: skip
    parts: dict[str, Any] = {
        "BAT": {"is": "battery", **said},
        MODULE: {"is": "module", **said, "note": {PIN: TEXT}, "caution": {PIN: TEXT}, "cavities": [PIN, "2-8"], "unused": "8",
                 "pins": {PIN: f"supply {TEXT}", "2": f"ground {TEXT}", "3": f"signal {TEXT}", "5": "bus drive L"},
                 "outputs": {"4": {"drives": "high", "from": [PIN], "when": ["run"], "command": TEXT}}},
        PANEL: {"is": "panel", **said, "feed side": TEXT, "busbars": {"30": ["F7", "F8.A", "F9"]}, "rows": [["F7", "_", "F8", "F9"]],
                "positions": {"F7": {"is": "fuse", "amps": 5, "serves": TEXT, "feed side": TEXT}, "F8": {"is": "diode", "serves": TEXT},
                              "F9": {"is": "fuse", "serves": TEXT, "state": "option"}}},
        FUSE: {"is": "fuse", **said, "amps": 10, "type": TEXT, "serves": TEXT, "guess": TEXT},
        "L1": {"is": "link", **said}, "CB1": {"is": "breaker", **said},
        "S1": {"is": "splice", **said}, "J1": {"is": "joint", **said, "bussed": [["1", "2"]]},
        "X1": {"is": "connector", **said, "halves": [TEXT, "b"]},
        GROUND: {"is": "ground", **said, "on": TEXT}, "W1": {"is": "strap", **said, "meets": {"1": GROUND, "2": "G2"}}, "G2": {"is": "ground"},
        "E1": {"is": "load", **said, "watts": 5}, "R1": {"is": "resistor", **said}, "D1": {"is": "diode", **said, "serves": TEXT},
        "GEN": {"is": "generator", **said}, "CV": {"is": "converter", **said},
        "S7": {"is": "switch", **said, "contacts": {TEXT: ["1-2"], "off": []}},
        "K1": {"is": "relay", **said, "kind": "normally open", "serves": TEXT}, "BX": {"is": "box", **said, "cavities": "1-2"},
    }  # fmt: skip
    runs = [
        f"30 -- RD 4 -- {FUSE} -- RD/GN 2.5 (@<script>&'\\#$) -- X1.1 -- RD/GN 2.5 -- {MODULE}.{PIN}",
        {"run": f"{MODULE}.2 -- BN 2.5 -- {GROUND}", "note": TEXT},
        "BAT.+ -- RD 10 -- L1 -- RD 10 -- CB1 -- RD 6 -- 30", "BAT.- -- BK 10 -- G2",
        f"15 -- BK 1 -- S7.1 -- BK 1 -- {MODULE}.7", "30 -- RD 1 -- K1.30 -- RD 1 -- J1.1", f"J1.2 -- RD 1 -- {MODULE}.6",
        f"{MODULE}.4 -- BU 1 -- E1 -- BN 1 -- {GROUND}", f"30 -- RD 1 -- D1 -- RD 1 -- R1 -- RD 1 -- S1 -- RD 1 -- {MODULE}.3",
        "BX.1 -- GY 1 -- S1", "F7 -- YE 1 -- UNSAID.1", "GEN.B+ -- RD 10 -- 30", "CV.in -- RD 1 -- 30", "ref 1>2 -- RD 1 -- BX.2",
        f"{MODULE}.5 -- GN 0.5 -- BX.1",
    ]  # fmt: skip
    sheet = {"sheet": 1, "title": TEXT, "caution": TEXT, "note": TEXT, "parts": parts, "runs": runs}
    folder = top / "v"
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text(json.dumps(vehicle, indent=1), encoding="utf-8")
    (folder / "sheets" / "\x1b\u202e=1.yaml").write_text(json.dumps(sheet, indent=1), encoding="utf-8")
    (folder / "sheets" / "\u200bnot read.txt").write_text("x", encoding="utf-8")
    (folder / "shop.yaml").write_text(json.dumps({"shop": TEXT, "note": TEXT, "limits": {"supply path": 0.4}}), encoding="utf-8")  # fmt: skip
    return folder


def _fields(model: Any, seen: set[Any]) -> Iterator[str]:
    if model in seen:
        return
    seen.add(model)
    for name, field in model.model_fields.items():
        kinds = [field.annotation]
        texts = False
        while kinds:
            kind = kinds.pop()
            if kind is str:
                texts = True
            elif isinstance(kind, type) and issubclass(kind, Facts):
                yield from _fields(kind, seen)
            elif typing.get_origin(kind) in (typing.Annotated, typing.Union, types.UnionType, dict):
                said = (*field.metadata, *getattr(kind, "__metadata__", ()))
                if {type(one).__name__ for one in said} & {"ReadBy", "OneOf"}:
                    continue  # it reads a word, a number or names, and refuses all else
                within = typing.get_args(kind)
                kinds += within[1:] if typing.get_origin(kind) is dict else within
        if texts or kinds:
            yield field.alias or name


def test_every_field_that_takes_a_text_is_tried_here() -> None:
    found = {name for model in (*KINDS.values(), RunFacts, SheetFacts, VehicleFacts) for name in _fields(model, set())}
    assert found >= {"vehicle", "at", "caution", "serves"}
    assert found - _TEXTS - _POINTS - _WORDS == set()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of(tmp_path_factory.mktemp("nasty"))


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch, top: Path, typed: str = "") -> tuple[int, str]:
    monkeypatch.setenv("TRACER_STATE", str(top / "state"))
    monkeypatch.chdir(top)
    done = CliRunner().invoke(app, arguments, catch_exceptions=False, input=typed)
    return done.exit_code, done.output


COMMANDS: dict[str, list[list[str]]] = {
    "check": [[], ["--json"], ["--rules"]],
    "missing": [[MODULE], [MODULE, "--json"]],
    "watch": [[MODULE, "--saves", "0"]],
    "supplies": [[], [MODULE], [MODULE, PIN], [MODULE, "--all"], [MODULE, "--json"], [MODULE, "--csv"], [MODULE, "--shop", "v/shop.yaml"], ["--json"]],
    "states": [[MODULE], [MODULE, "--json"]],
    "panel": [[], [PANEL], ["--all"], ["--json"], ["--csv"], ["--for", MODULE], ["--pdf", "p.pdf"], ["--saw", f"F7:15 F8:{TEXT.split()[0]}"], ["--saw", "F7:15"]],
    "affects": [[], ["--all"], ["--json"], ["--csv"], [FUSE], [FUSE, "--json"], [MODULE]],
    "common": [[MODULE, "E1"], [MODULE, "--json"]],
    "volts": [[MODULE], [MODULE, "--json"], [MODULE, "--open", FUSE], [MODULE, "--open", TEXT]],
    "bus": [[], ["drive"], ["--json"], [TEXT]],
    "draw": [[], ["--json"], ["--mv", f"{FUSE}=0.4"], ["--mv", f"{TEXT}=0.4"]],
    "cautions": [[], ["--json"]],
    "sources": [[], ["--json"]],
    "compare": [["v", "v"], ["v", "v", "--json"], ["v", TEXT]],
    "read-back": [["1"], ["1", "--json"], ["1", "--tick", "1-3"], [TEXT]],
    "write-out": [[], ["--json"], ["-o", "w.csv"], ["-o", "w.xlsx"]],
    "take-in": [["w.csv"], ["w.csv", "--json"], ["w.xlsx"], ["w.csv", "--worksheet", TEXT]],
    "diagram": [[MODULE, "-o", "d.svg"], [MODULE, "-o", "d.pdf"], [MODULE, "--key", TEXT], [MODULE], ["--all", "-o", "prints"]],
    "worksheet": [[MODULE, "-o", f"w{full}.{form}", *([full] if full else [])] for full in ("", "--all") for form in ("pdf", "html", "csv")]
    + [[MODULE, "-o", "w.txt"], [MODULE, "--json"], [MODULE, "--json", "--all"], [MODULE], ["-o", "prints"]],
    "case": [["open", MODULE, "--complaint", TEXT, "--by", TEXT, "--km", TEXT, "--customer", TEXT, "-o", "a.case"], ["open", TEXT], ["show"], ["show", "--json"],
             ["set", f"place={TEXT}", f"out={FUSE}"], ["set", TEXT], ["note", "repair", TEXT, "--why", TEXT, "--by", TEXT], ["note", "drawing", TEXT, "--why", TEXT],
             ["note", TEXT, TEXT], ["use", "a.case"], ["note", "look", TEXT]],
    "read": [["battery=12.6"], [f"{PIN}=12.5"], [f"1+={TEXT}"], [f"{TEXT}=1"], ["2-=not-reached", "--why", TEXT, "--json"], ["--csv", "w.csv"]],
    "next": [[], ["--json"]],
    "proof": [[], ["--json"]],
    "report": [[], ["--json"], ["-o", "r.pdf"], ["-o", "r.html"]],
    "pocket": [[MODULE, "-o", "pocket.html"]],
    "demo": [[]],
    "desk": [],  # serves what `pocket` writes
    "new": [["started\u202e"], ["v"]],
}  # fmt: skip


def test_every_command_is_tried_here() -> None:
    assert set(COMMANDS) == set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def test_every_output_shows_what_was_typed_and_runs_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    top = folder.parent
    shown: dict[str, int] = {}
    for command, calls in COMMANDS.items():
        for arguments in calls:
            status, output = run(["-C", "v", command, *arguments], monkeypatch, top)
            assert status in (0, 1, 2, 3), (command, arguments, output)
            assert not (hidden := _UNSEEN.search(output)), (command, arguments, hidden)
            if "--json" in arguments:
                json.loads(output)
            elif "--csv" in arguments and command != "read":
                _check_csv(output)
            shown[command] = shown.get(command, 0) + _words(output).count("<U+001B>")
    for file in sorted(path for path in top.rglob("*") if path.is_file() and path.parent.name not in ("sheets", "schemas")):  # fmt: skip
        assert file.name.isprintable(), file
        _check_file(file)
    assert {path.name for path in top.iterdir()} >= {"w.xlsx", "d.svg", "r.html", "a.case", "prints"}
    assert not (top.parent / "up").exists()
    wanted = set(COMMANDS) - {
        "new",
        "sources",
        "cautions",
        "read",
        "next",
        "proof",
        "compare",
        "take-in",
        "desk",
        "pocket",
        "demo",
    }
    assert {command for command in wanted if not shown[command]} == set()


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", "--f\x1b[31m\u202eoo"], ["check", "-\u202e"], ["che\x1b[31m\u202eck"], ["--no\x1b[31m\u202ene"], ["check", "--width", "4\x1b[31m\u202e0"],
        ["--decimal", "po\x1b[31m\u202eint", "check"], ["missing", MODULE, "one too many \x1b[31m\u202e"],
        ["case", "open", "--\x1b[31m\u202e"], ["watch", MODULE, "--saves", "\x1b[31m\u202e1"],
    ],
)  # fmt: skip
def test_wrong_usage_quotes_what_was_typed_so_that_all_of_it_is_seen(
    arguments: list[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("click.utils.should_strip_ansi", lambda *_: False)  # as on a terminal
    status, output = run(["-C", "v", *arguments], monkeypatch, folder.parent)
    assert status == 2
    assert not (found := _UNSEEN.search(output)), found
    assert re.search(r"<U\+202E>|\\u202e", output)  # the library spells the names of commands in a way of its own
    assert "Error: " in output and "\nTry " in output


def _words(text: str) -> str:
    return " ".join(text.split())


def _check_csv(text: str) -> None:
    rows = list(csv.reader(io.StringIO(text)))
    assert len(rows) > 1
    for cell in (cell for row in rows for cell in row):
        assert not cell.startswith(FORMULA) or re.fullmatch(r"-?\d+(\.\d+)?", cell), cell
        assert not _UNSEEN.search(cell)


class _Page(HTMLParser):
    """Every tag and attribute of a page, and its words."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _check_file(file: Path) -> None:
    content = file.read_bytes()
    match file.suffix:
        case ".html":
            page = _Page()
            page.feed(content.decode())
            if file.name == "pocket.html":  # has a script of its own, and everything typed as data
                assert content.decode().count("<script") == 2
                assert b"Content-Security-Policy" in content and b"alert(1)</script" not in content
                data = json.loads(content.decode().partition('id="data">')[2].partition("</script>")[0])
                assert SEEN in json.dumps(data, ensure_ascii=False).replace('\\"', '"').replace("\\\\", "\\")
                return
            assert not page.tags & {"script", "img", "iframe", "object", "a", "link", "form"}, file
            assert not {name for name in page.attributes if name.startswith("on") or name in ("href", "src")}, file
            assert not _UNSEEN.search(content.decode())
            assert _words(SEEN) in _words("".join(page.words)), file
        case ".svg":
            tree = ElementTree.fromstring(content)
            tags = {element.tag.rpartition("}")[2] for element in tree.iter()}
            assert tags <= {"svg", "title", "rect", "g", "text", "circle", "polygon", "polyline"}, file
            assert not {name for element in tree.iter() for name in element.attrib if name.startswith("on") or "href" in name}  # fmt: skip
            assert not _UNSEEN.search(content.decode())
        case ".csv":
            _check_csv(content.decode())
        case ".xlsx":
            with zipfile.ZipFile(io.BytesIO(content)) as packed:
                for name in packed.namelist():
                    assert b"<f>" not in packed.read(name), name
        case ".pdf":
            done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True)
            # The typesetter ends pages with a form feed; the forms themselves allow a break behind some letters.
            assert not _UNSEEN.search(done.stdout.replace("\f", "\n").replace("\u200b", "")), file
            assert "alert(1)" in done.stdout, file
            assert b"/JavaScript" not in content and b"/Launch" not in content and b"/URI" not in content
        case ".txt" | ".case" | ".json":
            assert not _UNSEEN.search(content.decode()), file


def test_a_wire_list_is_taken_in_as_it_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "v").mkdir()
    (tmp_path / "v" / "vehicle.yaml").write_text('vehicle: v\nrails: {"30": always}\n', encoding="utf-8")
    rows = [["from", "to", "colour", "size", "circuit", "note"], [f"{FUSE}.1", "'=M&.1", "RD", "1", TEXT, TEXT], [TEXT, "X.1", "RD", "1", "", ""]]  # fmt: skip
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    (tmp_path / "w.csv").write_text(out.getvalue(), encoding="utf-8")
    for arguments in (["w.csv"], ["w.csv", "--json"], ["w.csv", "--yes"]):
        status, output = run(["-C", "v", "take-in", *arguments], monkeypatch, tmp_path)
        assert status in (0, 1, 3), output
        assert not _UNSEEN.search(output)
    status, output = run(["-C", "v", "check", "--json"], monkeypatch, tmp_path)
    assert status == 3, output
    assert not _UNSEEN.search(output)
