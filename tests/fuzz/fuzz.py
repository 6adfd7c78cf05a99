"""`python -m tests.fuzz.fuzz [COUNT [SEED]]`: input of every sort, spoiled by chance. What raises anything but a refusal is kept in `found/`, where a test plays it again.

A sort of input is a function with `@sort`: it takes bytes, and lets a refusal in words pass.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from functools import cache
from pathlib import Path

import tracer
from tracer.case.case import case_in
from tracer.case.file import _sum
from tracer.case.readings import BadWord, Conditions, split_word, value_of
from tracer.circuit import joined_folder
from tracer.entry.problems import CannotAnswer, CannotCompute, CannotUse
from tracer.entry.runs import read_run
from tracer.trace.panels.positions_of import PanelReport
from tracer.trace.panels.read_seen import read_seen
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).resolve().parents[2]
FOUND = Path(__file__).parent / "found"
LONGEST_S = 5.0
VEHICLE = (ROOT / "tests" / "constructs" / "levers_and_own_return" / "vehicle.yaml").read_bytes()
SORTS: dict[str, tuple[Callable[[Path, bytes], object], Callable[[], list[bytes]]]] = {}
PIECES = [b"", b" ", b"\t", b"\n", b"\r\n", b": ", b"- ", b" -- ", b"#", b"{", b"}", b"[", b"]", b",", b"?", b"'", b'"', b"|", b">", b"&a", b"*a", b"!", b"%", b"@", b"\x00",
          b"\xff", b"\xe2\x80\x8b", b"\xc2\xad", b"\xe2\x80\xae", b"\xef\xbb\xbf", b"1-9", b"0", b"-1", b"1e999", b"9" * 30, b"ref 1>2", b"unknown", b"same", b"M.[1-3]", b".", b"/",
          b";", b"=", b"none", b"null", b"true", b"<<: ", b"---\n", "Ω".encode(), "²".encode()]  # fmt: skip


def sort(name: str, seeds: Callable[[], list[bytes]]) -> Callable[[Callable[[Path, bytes], object]], Callable[[Path, bytes], object]]:  # fmt: skip
    """Add a sort of input with the good ones that are spoiled."""

    def add(function: Callable[[Path, bytes], object]) -> Callable[[Path, bytes], object]:
        SORTS[name] = (function, cache(seeds))
        return function

    return add


def _sheets() -> list[bytes]:
    return [file.read_bytes() for file in sorted(ROOT.glob("tests/constructs/*/sheets/*.yaml"))]


@cache
def _demo() -> Tracing:
    return Tracing(tracer.load(ROOT / "circuits" / "unfinished"))


@cache
def _panels() -> PanelReport:
    return tracer.panels(_demo())


def _runs() -> list[bytes]:
    return [run.text.encode() for run in _demo().circuit.typed.runs]


@sort("sheets", _sheets)
def a_sheet(folder: Path, data: bytes) -> object:
    """A page of a vehicle, joined and looked over."""
    (folder / "sheets").mkdir(exist_ok=True)
    (folder / "vehicle.yaml").write_bytes(VEHICLE)
    (folder / "sheets" / "1.yaml").write_bytes(data)
    return list(loose_ends(Tracing(joined_folder(folder))))


@sort("vehicles", lambda: [file.read_bytes() for file in sorted(ROOT.glob("*/*/vehicle.yaml"))])
def a_vehicle(folder: Path, data: bytes) -> object:
    """A `vehicle.yaml` beside a page that uses little of it."""
    (folder / "sheets").mkdir(exist_ok=True)
    (folder / "sheets" / "1.yaml").write_text("sheet: 1\nparts: {M: module, G: ground}\nruns: [30 -- RD 1 -- M.1, M.2 -- BN 1 -- G]\n", encoding="utf-8")  # fmt: skip
    (folder / "vehicle.yaml").write_bytes(data)
    return list(loose_ends(Tracing(joined_folder(folder))))


@sort("runs", _runs)
def a_run(folder: Path, data: bytes) -> object:
    """One line of the run grammar."""
    return read_run(data.decode("utf-8", "replace"), "iec")


@sort("seen", lambda: [" ".join(f"{one.label}:{what}" for one, what in zip(_panels().positions, ("15", "-", "ok", "blown", "7.5/C", "?"), strict=False)).encode()])  # fmt: skip
def what_was_seen(folder: Path, data: bytes) -> object:
    """What is plugged into a panel."""
    return read_seen(data.decode("utf-8", "replace"), _panels(), "seen.txt")


@sort("readings", lambda: [b"3+=12,38/12,17", b"battery=12.6", b"1-=.01/.02", b"X3.10:S12=dead", b"2+=lt0.1", b"5=OL"])
def a_reading(folder: Path, data: bytes) -> object:
    """One word of `tracer read`."""
    _, read = split_word(data.decode("utf-8", "replace"))
    return [value_of(one) for one in read.split("/")]


def _cases() -> list[bytes]:
    from datetime import UTC, datetime

    from tracer.case.opening import kept_plan

    plan = kept_plan(_demo(), tracer.supplies(_demo(), "LIFT"), tracer.limits(_demo()))
    at = datetime(2026, 3, 31, tzinfo=UTC).isoformat()
    opened = {"n": 1, "schema": "tracer.case/1", "kind": "open", "at": at, "complaint": "c", "by": "k", "km": "", "customer": "", "plan": plan}  # fmt: skip
    read = {"n": 2, "kind": "read", "at": at, "conditions": Conditions().data(), "readings": [{"name": "1+", "values": ["12.5", "12.1"], "status": ""}], "why": "", "instead_of": ""}  # fmt: skip
    note = {"n": 3, "kind": "repair", "at": at, "words": {"F1": ""}, "why": "w", "by": "k"}
    return ["\n".join(json.dumps(one) for one in (opened, read, note)).encode()]


@sort("cases", _cases)
def a_case(folder: Path, data: bytes) -> object:
    """The file of a case whose checksums are right, whatever stands before them."""
    lines = [line.rstrip() for line in data.decode("utf-8", "replace").split("\n") if line.strip()]
    text = "".join(f'{line[:-1]},"sum":"{_sum(line)}"}}\n' for line in lines)
    (folder / "a.case").write_text(text, encoding="utf-8")
    return case_in(folder / "a.case")


WIRES = [
    b"from,from pin,to,to pin,colour,size,length,note\nF1,2,M1,4,RD/GN,2.5,3.1,x\nM1,2,G1,,BN,2.5,,\nX1,1,M1,5,BK,0.75,1,\n",
    b"from;to;colour;page\nF1.2;M1.4;RD;1\nM1.2;G1;BN;2\n",
    b"wire\tfrom\tto\n1\tA.1\tB.2\n",
]  # fmt: skip


@sort("wire lists", lambda: WIRES)
def a_wire_list(folder: Path, data: bytes) -> object:
    """A wire list as CSV."""
    (folder / "w.csv").write_bytes(data)
    return tracer.take_in(folder / "new", folder / "w.csv", write=False)


def spoiled(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """The same with one to four things wrong."""
    for _ in range(chance.randint(1, 4)):
        at, end = sorted((chance.randint(0, len(data)), chance.randint(0, len(data))))
        end = min(end, at + chance.choice((0, 0, 1, 3, 20, 200)))
        match chance.randint(0, 4):
            case 0:
                data = data[:at] + chance.choice(PIECES) + data[end:]
            case 1:
                data = data[:at] + data[end:]
            case 2:
                data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
            case 3:
                lines = data.split(b"\n")
                lines.insert(chance.randint(0, len(lines)), chance.choice(chance.choice(others).split(b"\n")))
                data = b"\n".join(lines)
            case _:
                lines = data.split(b"\n")
                lines.insert(chance.randint(0, len(lines)), lines.pop(chance.randrange(len(lines))))
                data = b"\n".join(lines)
    return data


def tried(name: str, data: bytes) -> str:
    """What went wrong with an input: nothing, what it raised, or that it took too long."""
    started = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        try:
            SORTS[name][0](Path(folder), data)
        except (CannotUse, CannotAnswer, CannotCompute, BadWord):
            pass
        except Exception:
            return traceback.format_exc()
    return "" if time.process_time() - started < LONGEST_S else f"it took more than {LONGEST_S:g} s of CPU"


def main(count: int, seed: int) -> int:
    """So many inputs of all sorts in turn; how many went wrong."""
    chance, wrong, names = random.Random(seed), 0, list(SORTS)
    for number in range(count):
        name = names[number % len(names)]
        seeds = SORTS[name][1]()
        data = spoiled(chance.choice(seeds), chance, seeds)
        if said := tried(name, data):
            wrong += 1
            FOUND.mkdir(exist_ok=True)
            file = FOUND / f"{name} {seed}-{number}.txt"
            file.write_bytes(data)
            print(f"{file.relative_to(ROOT)}:\n{said}")
    print(f"{count} inputs, {wrong} gone wrong (seed {seed})")
    return wrong


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    sys.exit(main(given[0] if given else 100_000, given[1] if len(given) > 1 else 1) > 0)
