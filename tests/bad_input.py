"""Input that nobody can use, of every sort of file that the program reads, in the worst shapes and in any size: what a test counts and a benchmark measures.

A sort is a folder prepared once (`base`), the file that is spoiled in it, and the command that reads it. Every shape that a text can have is tried on every sort,
and on each sort what is worst for it alone.
"""

from __future__ import annotations

import json
import shutil
import string
import sys
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from zlib import crc32

from tests.typed import HEAD, VEHICLE, write
from tracer.case.file import _sum

ROOT = Path(__file__).resolve().parents[1]
STILL = "2026-03-31T10:12:05+02:00"
Make = Callable[[int], str | bytes]


def counted(job: Callable[[], object]) -> int:
    """How many calls a job makes."""
    calls = 0

    def called(frame: object, event: str, what: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    sys.setprofile(called)
    try:
        job()
    finally:
        sys.setprofile(None)
    return calls


@dataclass(frozen=True)
class Bad:
    """One input: where it stands in the folder, how it is made in a size, and what is called."""

    sort: str
    shape: str
    file: str
    make: Make
    arguments: tuple[str, ...]

    @property
    def name(self) -> str:
        return f"{self.sort}: {self.shape}"

    def laid(self, folder: Path, size: int) -> list[str]:
        """Write it into a folder of its own; the arguments of the command, which finds the current case by `TRACER_STATE` at `folder / 'state'`."""
        shutil.copytree(_base(), folder, dirs_exist_ok=True)
        content = self.make(size)
        (folder / self.file).write_bytes(
            content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass")
        )
        return [one.replace("<>", str(folder)) for one in self.arguments]


def word(number: int, letters: int = 5) -> str:
    """Another word for each number, of capitals."""
    number = number * 7_919 + 1
    found = ""
    for _ in range(letters):
        number, rest = divmod(number * 31 + 17, 26 ** (letters + 2))[1], number % 26
        found += string.ascii_uppercase[rest]
    return found


def signs(number: int) -> str:
    """Other signs for each number, none of which may stand in a name."""
    return f"{number:016b}".translate({48: ".", 49: "?"})


def much(line: Callable[[int], str], size: int) -> str:
    """Lines until there are so many bytes."""
    lines, length = list[str](), 0
    while length < size:
        lines.append(line(len(lines)))
        length += len(lines[-1])
    return "".join(lines)


def lines(line: Callable[[int], str], before: str = "", after: str = "") -> Make:
    """Text between two others, in any size."""
    return lambda size: before + much(line, size) + after


# What any text may be.
SHAPES: dict[str, Make] = {
    "one word": lambda size: "x" * size,
    "words": lines(lambda n: f"{word(n)} "),
    "lines": lines(lambda n: f"{word(n)}\n"),
    "the same line": lines(lambda n: "F1,2\n"),
    "empty lines": lambda size: "\n" * size,
    "brackets": lambda size: "[" * size,
    "braces": lambda size: "{a: " * (size // 4),
    "dashes": lambda size: "- " * (size // 2),
    "quotes": lambda size: '"' * size,
    "quoted lines": lines(lambda n: f'"{word(n)}\n'),
    "commas": lambda size: "," * size,
    "colons": lambda size: "a:" * (size // 2),
    "blanks": lambda size: " " * size,
    "tabs": lambda size: "\t" * size,
    "control characters": lambda size: "\x1b[2J\x07" * (size // 5),
    "zeros": lambda size: b"\0" * size,
    "no text": lambda size: b"\xff\xfe\xfd" * (size // 3),
    "unseen letters": lambda size: "a\u200b\u202e" * (size // 7),
    "line ends of every sort": lambda size: "a\r\x85\u2028\x0b\r\n" * (size // 10),
    "digits": lambda size: "9" * size,
    "marks on one letter": lambda size: "e" + "\u0301" * (size // 2),
}


@cache
def _base() -> Path:
    """A vehicle, a case on it that is the current one, and a good file of every sort."""
    import atexit
    import tempfile

    from typer.testing import CliRunner

    from tracer.cli import app

    folder = Path(tempfile.mkdtemp(prefix="bad-input-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    shutil.copytree(ROOT / "circuits" / "unfinished", folder / "v")
    write(folder / "small", HEAD)
    (folder / "good.csv").write_text(
        "from,pin,to,pin,colour,size\nF1,2,M1,4,RD,2.5\nM1,2,G1,,BN,2.5\n", encoding="utf-8"
    )
    opened = ["-C", str(folder / "v"), "case", "open", "LIFT", "-o", str(folder / "a.case")]
    done = CliRunner(env={"TRACER_STATE": str(folder / "state"), "TRACER_CASE": None}).invoke(app, opened)
    assert done.exit_code == 0, done.output
    (folder / "state" / "current").write_text("a.case\n", encoding="utf-8")
    return folder


@cache
def _opening() -> str:
    return (_base() / "a.case").read_text(encoding="utf-8")


def entry(**said: object) -> str:
    """A line of a case whose checksum is right."""
    body = json.dumps(said, separators=(",", ":"))
    return summed(body)


def summed(body: str) -> str:
    return f'{body[:-1]},"sum":"{_sum(body)}"}}\n'


def handed(n: int, said: str) -> str:
    """A line that a page hands over."""
    return f"k7m2qd-{n % 1_000_000} {crc32(said.encode()):08x} {said}\n"


def _sorts() -> Iterator[tuple[str, str, tuple[str, ...], dict[str, Make]]]:
    check = ("-C", "<>/small", "check")
    yield "sheet", "small/sheets/1.yaml", check, SHEETS
    yield "vehicle", "small/vehicle.yaml", check, VEHICLES
    yield "types", "small/types.yaml", check, TYPES
    yield "ticks", "small/read-back.json", ("-C", "<>/small", "read-back", "1"), TICKS
    yield "shop", "shop.yaml", ("-C", "<>/v", "volts", "LIFT", "--shop", "<>/shop.yaml"), SHOPS
    yield "seen", "seen.txt", ("-C", "<>/v", "panel", "--seen", "<>/seen.txt"), SEEN
    yield "wire list", "w.csv", ("-C", "<>/new", "take-in", "<>/w.csv"), WIRE_LISTS
    yield "wire list (tabs)", "w.tsv", ("-C", "<>/new", "take-in", "<>/w.tsv"), {}
    yield "workbook", "w.xlsx", ("-C", "<>/new", "take-in", "<>/w.xlsx"), WORKBOOKS
    yield "columns", "c.yaml", ("-C", "<>/new", "take-in", "<>/good.csv", "--columns", "<>/c.yaml"), COLUMNS
    yield "case", "a.case", ("proof",), CASES
    yield "case added to", "a.case", ("read", "battery=12.6", "1+=12.5"), CASES
    yield "current case", "state/current", ("proof",), {}
    yield "filled-in sheet", "f.csv", ("read", "--csv", "<>/f.csv"), FILLED
    yield "handed over", "h.txt", ("read", "--from", "<>/h.txt"), HANDED


RUNS = HEAD + "runs:\n"
PARTS = "sheet: 1\nparts:\n"

SHEETS: dict[str, Make] = {
    "colours": lines(lambda n: f"  - S1 -- {word(n)} 1 -- S2\n", RUNS),
    "colours on one line": lines(lambda n: f"S1 -- {word(n)} 1 -- S2, ", HEAD + "runs: [", "]\n"),
    "unseen letters in runs": lines(lambda n: f"  - S\u200b1 -- R\u200bD 1 -- {word(n)}\n", RUNS),
    "keys": lines(lambda n: f"  P{n}: {{is: module, {word(n).lower()}: 1}}\n", PARTS),
    "kinds": lines(lambda n: f"  P{n}: {word(n, 7).lower()}\n", PARTS),
    "pins": lines(lambda n: f"  - M.Q{word(n)}{n} -- RD 1 -- S1\n", "sheet: 1\nparts: {M: {is: module, cavities: 1-90}, S1: splice}\nruns:\n"),
    "keys of one part": lines(lambda n: f"    {word(n).lower()}{n}: 1\n", PARTS + "  M:\n    is: module\n"),
    "the same key": lines(lambda n: "  S1: splice\n", PARTS),
    "one long run": lines(lambda n: f" -- RD 1 -- {word(n)}", RUNS + "  - S1", "\n"),
    "one long name": lambda size: f"sheet: 1\nparts: {{{'x' * size}: splice}}\nfoo: 1\n",
    "lists in lists": lambda size: "sheet: 1\nnote: " + "[" * (size // 2) + "]" * (size // 2) + "\n",
    "anchors": lines(lambda n: f"a{n}: &x{n} 1\n"),
    "ranges": lines(lambda n: f"  P{n}: {{is: module, cavities: 1-900}}\n", PARTS),
    "one range of very many": lines(lambda n: f"{n}-{n + 900},", "sheet: 1\nparts: {M: {is: module, cavities: '", "'}}\n"),
    "very many to one": lines(lambda n: f"  - S1 -- RD 1 -- {word(n)}.[1-90]\n", RUNS),
    "references that nothing answers": lines(lambda n: f"  - S1 -- RD 1 -- ref {n}>{n + 1}\n", RUNS),
    "names that nothing declares": lines(lambda n: f"  - {word(n, 6)} -- RD 1 -- {word(n + 1, 6)}\n", RUNS),
    "cavities that are not there": lines(lambda n: f"  - X1.{n + 9} -- RD 1 -- S1\n", RUNS),
    "one pin wired very often": lines(lambda n: "  - M.1 -- RD 1 -- S1\n", RUNS),
    "runs that say nothing": lines(lambda n: "  - \n", RUNS),
    "pins in words": lines(lambda n: f"    {n}: {word(n)} bus can\n", PARTS + "  M:\n   is: module\n   pins:\n"),
    "conditions": lines(lambda n: f"  K{n}: {{is: relay, when: [{word(n)}]}}\n", PARTS),
    "positions": lines(lambda n: f"    F{n}: {{is: {word(n)}, amps: x}}\n", PARTS + "  P:\n   is: panel\n   positions:\n"),
    "keys that are lists": lines(lambda n: f"  ? [a{n}]\n  : splice\n", PARTS),
    "tags": lines(lambda n: f"  P{n}: !x splice\n", PARTS),
    "merge keys": lines(lambda n: "  <<: {a: b}\n", PARTS),
}  # fmt: skip

VEHICLES: dict[str, Make] = {
    "conditions": lines(lambda n: f"c{word(n).lower()}{n}: {{when: [{word(n).lower()}]}}, ", "vehicle: v\nconditions: {", "}\n"),
    "rails": lines(lambda n: f"  {word(n)}{n}: {word(n)}\n", VEHICLE.replace("}\n", "}\nrails2:\n") + "rails_:\n"),
    "rails of nothing": lines(lambda n: f"  R{n}: [{word(n).lower()}]\n", "vehicle: v\nrails:\n"),
    "key states": lines(lambda n: f"k{n}, ", "vehicle: v\nkey: [", "]\n"),
    "colours": lines(lambda n: f"  {word(n)}{n}: {word(n + 1).lower()}\n", "vehicle: v\ncolours:\n"),
    "limits": lines(lambda n: f"  {word(n).lower()} {n}: 1\n", "vehicle: v\nlimits:\n"),
    "limits of no number": lines(lambda n: "  supply path: x\n", "vehicle: v\nlimits:\n"),
    "buses": lines(lambda n: f"  B{n}: {{lines: {{H: [{word(n)}.1, {word(n)}.2]}}}}\n", "vehicle: v\nbuses:\n"),
    "points of one bus": lines(lambda n: f"{word(n)}.{n}, ", "vehicle: v\nbuses: {B: {lines: {H: [", "]}}}\n"),
    "keys": lines(lambda n: f"{word(n).lower()}{n}: 1\n", "vehicle: v\n"),
}  # fmt: skip

TYPES: dict[str, Make] = {
    "kinds": lines(lambda n: f"  {word(n).lower()}{n}: {{is: {word(n)}}}\n", "kinds:\n"),
    "keys": lines(lambda n: f"  {word(n).lower()}{n}: {{is: relay, {word(n).lower()}: 1}}\n", "kinds:\n"),
    "contacts": lines(lambda n: f"    {word(n)}: [1-2]\n", "kinds:\n  a:\n   is: relay\n   coil: 86-85\n   contacts:\n"),
    "relays": lines(lambda n: f"  r{n}: {{is: relay, coil: 86-85, contacts: {{rest: [{word(n)}]}}}}\n", "kinds:\n"),
    "good kinds": lines(lambda n: f"  r{n}: {{is: relay, coil: 86-85, contacts: {{energised: 30-87}}}}\n", "kinds:\n"),
}  # fmt: skip

TICKS: dict[str, Make] = {
    "lines that are no text": lines(lambda n: f"{n}, ", '{"1": [', "0]}"),
    "lines that are gone": lines(lambda n: f'"{word(n)}{n}", ', '{"1": [', '""]}'),
    "sheets": lines(lambda n: f'"{word(n)}{n}": [""], ', "{", '"1": []}'),
}

SHOPS: dict[str, Make] = {
    "limits": lines(lambda n: f"  {word(n).lower()} {n}: 1\n", "limits:\n"),
    "nearly limits": lines(lambda n: f"  supply path{n}: 1\n", "limits:\n"),
    "the same limit": lines(lambda n: "  supply path: 0.4\n", "limits:\n"),
    "a limit of very many numbers": lines(lambda n: f"{n}, ", "limits: {supply path: [", "]}\n"),
    "keys": lines(lambda n: f"{word(n).lower()}{n}: 1\n"),
}

SEEN: dict[str, Make] = {
    "labels": lines(lambda n: f"{word(n)}{n}:15\n"),
    "labels on one line": lines(lambda n: f"{word(n)}{n}:15 "),
    "the same label": lines(lambda n: "F1:15\n"),
    "what cannot be seen": lines(lambda n: f"F1:{word(n)} "),
    "one position that says very much": lines(lambda n: f"{word(n)}/", "F1:", "15\n"),
    "a rating of very many digits": lambda size: f"F1:{'1' * size}\n",
    "one comment": lambda size: "#" * size,
}

WIRES = "from,pin,to,pin,colour,size,length,note\n"
WIRE_LISTS: dict[str, Make] = {
    "no headings": lines(lambda n: f"{word(n)},1,{word(n + 1)},2\n"),
    "headings only": lines(lambda n: f"{word(n)},", "from,to,", "x\n"),
    "headings twice": lines(lambda n: WIRES),
    "wires that are none": lines(lambda n: "F1,1,F1,1,RD,1,1,\n", WIRES),
    "ends that are missing": lines(lambda n: f",{n},,,RD,1,1,\n", WIRES),
    "colours": lines(lambda n: f"F{n},load,M1,{n},{word(n)},1,1,\n", WIRES),
    "parts": lines(lambda n: f"{word(n)}{n},1,{word(n)}{n + 1},2,RD,1,1,\n", WIRES),
    "one part of very many pins": lines(lambda n: f"M1,{n},S{n},,RD,1,1,\n", WIRES),
    "names that become one": lines(lambda n: f"a{signs(n)}b,,S1,,RD,,,\n", WIRES),
    "pins that become one": lines(lambda n: f"M1,a{signs(n)}b,S1,,RD,,,\n", WIRES),
    "points in one word": lines(lambda n: f"X{'.a' * 50},,Y{':b' * 50},,RD,,,\n", WIRES),
    "one cell of a and b": lambda size: f"{WIRES}X{':a' * (size // 2)},,Y,1,RD,1,1,\n",
    "one long cell": lambda size: f"{WIRES}F1,1,M1,2,RD,1,1,{'x' * size}\n",
    "one long name": lambda size: f"{WIRES}{'x' * 100_000},1,M1,2,RD,1,1,\n" * max(1, size // 100_000),
    "one long colour": lines(lambda n: "RD/", WIRES + "F1,1,M1,2,", "BK,1,1,\n"),
    "one long length": lambda size: f"{WIRES}F1,1,M1,2,RD,1,{'1' * size},\n",
    "a quote that is not closed": lines(lambda n: f'F1,1,M{n},2,RD,1,1,\n', WIRES + 'F1,1,"'),
    "pages": lines(lambda n: f"F{n},M{n},P{n}\n", "from,to,page\n"),
    "pages that become one name": lines(lambda n: f"F{n},M{n},{'?' * (n % 50)}a{'?' * (n // 50)}\n", "from,to,page\n"),
    "halves": lines(lambda n: f"X1,{n}>{n + 1}:a,S1,,RD,,,\n", WIRES),
    "kinds": lines(lambda n: f"{word(n)},{word(n)},S1,splice\n", "from,from kind,to,to kind\n"),
}  # fmt: skip

COLUMNS: dict[str, Make] = {
    "columns": lines(lambda n: f"  {word(n).lower()}{n}: A\n", "columns:\n"),
    "columns that are not there": lines(lambda n: f"  from: {word(n)}\n", "columns:\n"),
    "kinds": lines(lambda n: f"  {word(n)}{n}: {word(n)}\n", "kinds:\n"),
    "pins": lines(lambda n: f"  {word(n)}{n}: {{1: 2}}\n", "pins:\n"),
    "a row of very many digits": lambda size: f"headings: {'9' * size}\n",
    "keys": lines(lambda n: f"{word(n).lower()}{n}: 1\n"),
}

_NOTHING = {"conditions": {}, "readings": [], "why": "", "instead_of": ""}
CASES: dict[str, Make] = {
    "lines that are cut": lines(lambda n: f'{{"n":{n},"kind":"read"\n'),
    "cut lines behind a good one": lambda size: _opening() + much(lambda n: f'{{"n":{n},"kind":"read"\n', size),
    "damaged lines": lambda size: _opening() + much(lambda n: f'{{"n":{n},"sum":"0123456789abcdef"}}\n', size),
    "lists in lists with a checksum": lambda size: _opening() + summed('{"n":2,"x":' + "[" * (size // 2) + "]" * (size // 2) + "}"),
    "a number beyond all": lambda size: _opening() + entry(n=10**12, kind="set", at=STILL, x="x" * size),
    "a number of very many digits": lambda size: _opening() + summed('{"n":' + "9" * size + "}"),
    "very many gaps": lambda size: _opening() + much(lambda n: entry(n=2 * n + 3, kind="set", at=STILL, conditions={}), size),
    "entries of nothing": lambda size: _opening() + much(lambda n: entry(n=n + 2), size),
    "notes of nothing": lambda size: _opening() + much(lambda n: entry(n=n + 2, kind="withdraw", at=STILL, words={"9": ""}, why="", by=""), size),
    "readings that mend nothing": lambda size: _opening() + much(lambda n: entry(n=n + 2, kind="read", at=STILL, conditions={}, readings=[{"name": "x", "values": [], "status": ""}], why="", instead_of="9.9"), size),
    "readings that mend each other": lambda size: _opening() + much(lambda n: entry(n=n + 2, kind="read", at=STILL, conditions={}, readings=[{"name": "x", "values": [], "status": "ok"}], why="", instead_of=f"{n + 1}.1" if n else ""), size),
    "clocks that go back": lambda size: _opening() + much(lambda n: entry(n=n + 2, kind="look", at=f"{2900 - n % 900}-01-01T00:00:00+00:00", words={}, why="", by=""), size),
    "the first line of very much": lambda size: entry(n=1, schema="tracer.case/1", kind="open", at=STILL, plan={"keys": ["x"], "y": ["x" * 9] * (size // 12)}),
    "the first line of nothing": lambda size: entry(n=1, schema="tracer.case/1", kind="open", at=STILL, x="x" * size),
}  # fmt: skip

_SHEET = "step,row,name,key,module,out,ask,read,edition,mark\n"
FILLED: dict[str, Make] = {
    "no columns": lines(lambda n: f"{word(n)},{n}\n"),
    "very many columns": lines(lambda n: f"{word(n)},", _SHEET[:-1] + ",", "x\n"),
    "rows that are not there": lines(lambda n: f"5,{word(n)},LIFT.{word(n)},off,unplugged,,no lamp,12.5,x,\n", _SHEET),
    "rows that are not there, of this battery": lines(lambda n: f"5,{word(n)},LIFT.{n},off,unplugged,,no lamp,12.5,x,\n", _SHEET + "1,battery,battery,off,plugged in,,read,12.6,x,\n"),
    "boxes that are not taken": lines(lambda n: f"9,{word(n)},LIFT.{n},off,unplugged,,{word(n)},12.5,x,\n", _SHEET),
    "the same box": lines(lambda n: "5,1+,LIFT.1,off,unplugged,,no lamp,12.5,x,\n", _SHEET),
    "the same box twice": lines(lambda n: f"5,1+,LIFT.1,off,unplugged,,no lamp,{n},x,\n", _SHEET),
    "very many lamps": lines(lambda n: f"5,1+,LIFT.1,off,unplugged,{n},{n} W,12.5,x,\n", _SHEET),
    "lit and alone": lines(lambda n: f"5,1+,LIFT.{n},off,unplugged,,no lamp,12.5,x,\n5,1+,LIFT.{n},off,unplugged,,5 W,12.5,x,\n5,1+,LIFT.{n},off,unplugged,,lit,x,x,\n", _SHEET + "1,battery,battery,off,plugged in,,read,12.6,x,\n"),
    "lit and alone, of pins that are not there": lines(lambda n: f"5,1+,Q{n},off,unplugged,,no lamp,12.5,x,\n5,1+,Q{n},off,unplugged,,5 W,12.5,x,\n5,1+,Q{n},off,unplugged,,lit,x,x,\n", _SHEET + "1,battery,battery,off,plugged in,,read,12.6,x,\n"),
    "one box of very many out": lines(lambda n: f"F{n},", _SHEET + '5,1+,LIFT.1,off,unplugged,"', '",no lamp,12.5,x,\n'),
    "a quote that is not closed": lines(lambda n: f"5,1+,LIFT.{n},off,unplugged,,no lamp,12.5,x,\n", _SHEET + '"'),
    "cells too many": lines(lambda n: "1,", _SHEET, "1\n"),
}  # fmt: skip


def _head() -> str:
    plan = json.loads(_opening())["plan"]
    return f"tracer readings 1 {plan['module']} {plan['edition']} of {plan['vehicle']}\n"


_ON = f"at={STILL} key=off plug=out lamp=21W other=- symptom=yes battery=12.60 read=35s"
HANDED: dict[str, Make] = {
    "lines that are none": lambda size: _head() + much(lambda n: f"{word(n)}\n", size),
    "short lines that are none": lambda size: _head() + "x\n" * (size // 2),
    "altered lines": lambda size: _head() + much(lambda n: f"k7m2qd-{n} 00000000 {_ON} : 1+=12.5\n", size),
    "names that are not there": lambda size: _head() + much(lambda n: handed(n, f"{_ON} : {word(n)}=12.5"), size),
    "the same name": lambda size: _head() + much(lambda n: handed(1, f"{_ON} : {word(n)}=12.5"), size),
    "notes": lambda size: _head() + much(lambda n: handed(n, f"at={STILL} : look {word(n)}=20"), size),
    "readings": lambda size: _head() + much(lambda n: handed(n, f"{_ON} : 1+=12.5/12.1"), size),
    "corrections of what is not there": lambda size: _head() + much(lambda n: handed(n, f"at={STILL} instead-of=k7m2qd-9999 : 1+=12.5"), size),
    "corrections": lambda size: _head() + handed(0, f"{_ON} : 1+=12.5/12.1") + much(lambda n: handed(n + 1, f"at={STILL} instead-of=k7m2qd-0 : 1+=12.5/12.2"), size),
    "one line of very many words": lambda size: _head() + handed(1, much(lambda n: f"{word(n)} ", size)),
    "another vehicle": lambda size: _head()[:-1] + "x" * size + "\n",
    "ends": lambda size: _head() + much(lambda n: f"end {n}\n", size),
}  # fmt: skip


def packed(**files: Make) -> Make:
    """A workbook of these parts; what is not given is as in the smallest one."""
    least: dict[str, str] = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/><Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/></Types>',
        "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="w" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>',
        "xl/sharedStrings.xml": '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>',
        "xl/worksheets/sheet1.xml": f"{_BEGIN}{_END}",
    }  # fmt: skip
    own = {
        "strings": "xl/sharedStrings.xml",
        "sheet": "xl/worksheets/sheet1.xml",
        "styles": "xl/styles.xml",
        "book": "xl/workbook.xml",
    }

    def made(size: int) -> bytes:
        import io

        parts: dict[str, str | bytes] = {**least, **{own[name]: make(size) for name, make in files.items()}}
        written = io.BytesIO()
        with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as book:
            for name, part in parts.items():
                book.writestr(name, part)
        return written.getvalue()

    return made


_BEGIN = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
_END = "</sheetData></worksheet>"
_HEADINGS = (
    '<row r="1"><c t="inlineStr" r="A1"><is><t>from</t></is></c><c t="inlineStr" r="B1"><is><t>to</t></is></c></row>'
)


def _row(number: int, cells: str) -> str:
    return f'<row r="{number}">{cells}</row>'


WORKBOOKS: dict[str, Make] = {
    "rows of nothing": packed(sheet=lines(lambda n: f'<row r="{n + 1}"/>', _BEGIN, _END)),
    "one row far below": packed(sheet=lambda size: f'{_BEGIN}<row r="{size}"><c t="inlineStr"><is><t>x</t></is></c></row>{_END}'),
    "one cell far to the right": packed(sheet=lambda size: f'{_BEGIN}{_row(1, chr(60) + "c r=" + chr(34) + "XFD1" + chr(34) + "><v>1</v></c>") * (size // 40)}{_END}'),
    "cells without end": packed(sheet=lines(lambda n: "<c><v>1</v></c>", f'{_BEGIN}<row r="1">', f"</row>{_END}")),
    "rows that are no wire": packed(sheet=lines(lambda n: _row(n + 2, f'<c r="A{n + 2}"><v>{n}</v></c>'), _BEGIN + _HEADINGS, _END)),
    "rows in any order": packed(sheet=lines(lambda n: _row(9_000 - n % 8_000, "<c><v>1</v></c>"), _BEGIN + _HEADINGS, _END)),
    "formulas": packed(sheet=lines(lambda n: _row(n + 2, f'<c r="A{n + 2}"><f>A{n}</f></c><c r="B{n + 2}"><f>B{n}</f></c>'), _BEGIN + _HEADINGS, _END)),
    "strings that nobody asks for": packed(strings=lines(lambda n: f"<si><t>{word(n)}</t></si>", '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">', "</sst>")),
    "one long string": packed(sheet=lambda size: f'{_BEGIN}{_row(1, "<c t=" + chr(34) + "inlineStr" + chr(34) + "><is><t>" + "x" * size + "</t></is></c>")}{_END}'),
    "XML that does not end": packed(sheet=lambda size: _BEGIN + "<row>" * (size // 5)),
    "entities": packed(sheet=lambda size: '<!DOCTYPE x [<!ENTITY a "' + "a" * 1000 + '">' + "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(8)) + "]>" + _BEGIN + _row(1, '<c t="inlineStr"><is><t>&i;</t></is></c>' + "<c/>" * (size // 4)) + _END),
    "styles": packed(styles=lines(lambda n: f'<numFmt numFmtId="{n + 200}" formatCode="{word(n)}"/>', '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts>', "</numFmts></styleSheet>")),
    "worksheets": packed(book=lines(lambda n: f'<sheet name="w{n}" sheetId="{n + 1}" r:id="r1"/>', '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets>', "</sheets></workbook>")),
}  # fmt: skip

# Of a file that is read as another sort is, or that names another file, not every shape is another one.
_FEW = ("one word", "lines", "empty lines", "zeros", "no text", "control characters")
_ALIKE = ("workbook", "current case", "case added to", "wire list (tabs)")


def every(*, own: bool = False) -> Iterator[Bad]:
    """Each sort in each shape that a text can have and in those that are worst for it, or in these only (`own`)."""
    for sort, file, arguments, worst in _sorts():
        shapes = {} if own else {name: SHAPES[name] for name in _FEW} if sort in _ALIKE else SHAPES
        for shape, make in {**shapes, **worst}.items():
            yield Bad(sort, shape, file, make, arguments)
