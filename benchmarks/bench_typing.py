"""Typing: a wire list of 10 000 rows taken in, and what `watch` needs after one save on a vehicle of real size.

The yardstick of the wire list is its own reader alone (csv, openpyxl); that of a save is the first look alone as a whole process, as a user runs it.
"""

from __future__ import annotations

import csv
import gc
import tempfile
import time
from collections.abc import Sequence
from functools import partial
from itertools import count
from pathlib import Path

import tracer
from benchmarks.believable import believable
from benchmarks.ratios import Ratio, least_cpu_s, process_cpu_s, tracer_command
from tracer.cli.watching import Watched

ROWS = 10_000


def ratios() -> list[Ratio]:
    """Both jobs, each against the same work done without what the tool adds or keeps."""
    gc.collect()
    gc.disable()
    try:
        with tempfile.TemporaryDirectory() as scratch:
            return [*_wire_lists(Path(scratch)), *_saves(Path(scratch))]
    finally:
        gc.enable()


def _wire_lists(folder: Path) -> list[Ratio]:
    rows = [("from", "pin", "to", "pin", "colour", "size")]
    rows += [(f"M{n % 40}", str(n // 40 + 1), f"X{n % 97}", str(n // 97 + 1), "RD/BU", "1.5") for n in range(ROWS)]
    as_csv, as_xlsx = folder / "wires.csv", folder / "wires.xlsx"
    with as_csv.open("w", encoding="utf-8", newline="") as opened:
        csv.writer(opened).writerows(rows)
    _write_xlsx(as_xlsx, rows)
    found = []
    for file, reader, limit in ((as_csv, _csv_alone, 110), (as_xlsx, _xlsx_alone, 4)):
        ours = least_cpu_s(partial(tracer.take_in, folder / "none", file, write=False), 3)
        alone = least_cpu_s(partial(reader, file), 3)
        found.append(Ratio(f"take-in, {ROWS} rows {file.suffix} / reading the cells alone", ours, alone, limit))
    return found


def _csv_alone(file: Path) -> None:
    with file.open(encoding="utf-8", newline="") as opened:
        list(csv.reader(opened))


def _write_xlsx(file: Path, rows: Sequence[tuple[str, ...]]) -> None:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("wires")
    for row in rows:
        sheet.append(row)
    book.save(file)


def _xlsx_alone(file: Path) -> None:
    from openpyxl import load_workbook

    list(load_workbook(file, read_only=True).worksheets[0].iter_rows(values_only=True))


def _saves(folder: Path) -> list[Ratio]:
    vehicle = folder / "coach"
    module = believable(vehicle)[7]
    page = sorted((vehicle / "sheets").iterdir())[20]
    text, number = page.read_text(encoding="utf-8"), count()
    watched = Watched(vehicle, module)
    watched.look()

    def save() -> float:
        page.write_text(f"{text}\n# {next(number)}\n", encoding="utf-8")
        start = time.process_time()
        watched.look()
        return time.process_time() - start

    saved_s = min(save() for _ in range(5))
    listed_s = process_cpu_s([tracer_command(), "-C", str(vehicle), "supplies", module, "--quick"], 3)
    return [Ratio("a save under `watch`, believable vehicle / its list as a process", saved_s, listed_s, 0.9)]
