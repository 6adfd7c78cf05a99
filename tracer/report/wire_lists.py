"""Wire lists taken in and written out: as text, JSON, CSV and XLSX."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

from tracer.circuit.wire_list import WireList
from tracer.entry.problems import Problem
from tracer.entry.wire_lists.columns import FIELDS
from tracer.entry.wire_lists.take_in import TakenIn
from tracer.report.layout import Page, counted
from tracer.report.plain_data import csv_text, problem_data, safe_cell

TAKEN_SCHEMA = "tracer.take-in/1"
LIST_SCHEMA = "tracer.wire-list/1"
_MOST = 20  # of one sort shown as text; JSON has all
_FIRST_WIRES = 3
_LEFT_AT_HOME = frozenset({"circuit"})  # a circuit's name comes back as a note
_HEADINGS = {"length": "length (m)", "size": "size (mm² or AWG)"}


def taken_text(taken: TakenIn, written: bool, *, width: int = 80, bold: bool = False) -> str:
    """What the columns are, what was or would be written, and each row, name and column that was not taken as it stands."""
    page = Page(width, bold=bold)
    page.line(f"{taken.file}: {len(taken.wires)} of {counted(taken.rows, 'row')} taken as wires.", strong=True)
    page.heading("Columns")
    for column in taken.columns:
        page.line(f"{column.letter}  {column.heading or '(no heading)'}: {column.says or 'NOT READ'}", indent=2, hang=5)
    _few(page, "Not taken", [_row(one) for one in taken.refused])
    _few(page, "Taken otherwise than listed", [_row(one) for one in taken.changed])
    _few(
        page,
        "Names that cannot be typed as they stand",
        [f"`{listed}` is typed {typed}" for listed, typed in taken.respelt],
    )
    _few(
        page,
        "Kinds guessed: confirm each, then take its `guess` away",
        [f"{name}: {kind} ({why})" for name, kind, why in taken.guesses],
    )
    _few(page, "Rails: type when they are live", taken.rails)
    _few(page, "Worksheets not read", [f'{name}: --worksheet "{name}"' for name in taken.beside])
    _few(page, "Above the headings, not read", [f"row {number}" for number in taken.above])
    page.heading("Written" if written else "Nothing was written yet")
    files = [f"{taken.folder / name}: {counted(text.count(chr(10)), 'line')}" for name, text in taken.files.items()]
    page.first(files, indent=2, hang=4)
    if not written:
        page.line("The first rows, as they would be typed:", indent=2)
        for wire in taken.wires[:_FIRST_WIRES]:
            page.line(f"{wire.a.typed()} -- {wire.wire} -- {wire.b.typed()}", indent=4, hang=6)
        page.line(
            "If the columns are right: the same command with --yes. If not: say which is which in a file, and name it with --columns FILE:",
            indent=2,
        )
        for line in _mapping(taken):
            page.line(line, indent=4, hang=6)
    else:
        page.line("Next: `tracer check` lists what is loose; what a wire list cannot say (contacts, outputs, busbars, unused cavities) is typed in by hand.", indent=2)  # fmt: skip
    return page.text()


def _row(problem: Problem) -> str:
    shown = f"  [{problem.line_text}]" if problem.line_text else ""
    return f"{problem.place.file}:{problem.place.line}: {problem.what}{shown}"


def _few(page: Page, title: str, lines: Iterable[str]) -> None:
    lines = list(lines)
    if lines:
        page.heading(f"{title} ({len(lines)})")
    page.first(lines, _MOST, indent=2, hang=4)


def _mapping(taken: TakenIn) -> Iterable[str]:
    yield "columns:"
    said = {column.name: column for column in taken.columns}
    for name in FIELDS:
        if name in said:
            yield f"  {name}: {said[name].letter}"
    yield "# length: mm     size: awg     kinds: {NAME: module}     pins: {fuse: {1: feed, 2: load}}"


def taken_data(taken: TakenIn, written: bool) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": TAKEN_SCHEMA,
        "complete": taken.complete and written,
        "written": written,
        "file": taken.file,
        "columns": [{"letter": one.letter, "heading": one.heading, "says": one.name or None} for one in taken.columns],
        "rows": taken.rows,
        "taken": len(taken.wires),
        "not_taken": [problem_data(one) for one in taken.refused],
        "taken_otherwise": [problem_data(one) for one in taken.changed],
        "names_typed_otherwise": [{"listed": listed, "typed": typed} for listed, typed in taken.respelt],
        "guesses": [{"part": name, "kind": kind, "why": why} for name, kind, why in taken.guesses],
        "rails": list(taken.rails),
        "worksheets_not_read": list(taken.beside),
        "rows_above_headings": list(taken.above),
        "files": [str(taken.folder / name) for name in taken.files],
    }


# --- written out -----------------------------------------------------------------------------------------------------


def list_csv(found: WireList) -> str:
    """The wire list as CSV."""
    return csv_text(_head(), _rows(found))


def list_xlsx(found: WireList) -> bytes:
    """The wire list as XLSX, every cell as text: no program runs a formula from it, or turns pin 010 into 10."""
    from openpyxl import Workbook  # felt at the start: loaded where a workbook is written

    book = Workbook(write_only=True)
    sheet = book.create_sheet("wires")
    sheet.freeze_panes = "A2"
    for row in (_head(), *_rows(found)):
        sheet.append([safe_cell(text) for text in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def left_out_text(found: WireList, *, width: int = 80, bold: bool = False) -> str:
    """How many wires there are, and what a wire list cannot hold."""
    page = Page(width, bold=bold)
    page.line(f"{found.vehicle}: {counted(len(found.rows), 'wire')}.", strong=True)
    if found.left_out:
        page.line("NOT IN THE LIST, because a list of wires cannot hold it:", strong=True)
    for key, parts in found.left_out:
        more = f" and {len(parts) - _MOST} more" if len(parts) > _MOST else ""
        page.line(f"{key}: {', '.join(parts[:_MOST])}{more}", indent=2, hang=4)
    return page.text()


def list_data(found: WireList) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": LIST_SCHEMA,
        "complete": found.complete,
        "vehicle": found.vehicle,
        "wires": [row.cells for row in found.rows],
        "not_in_the_list": {key: list(parts) for key, parts in found.left_out},
    }


def _names() -> list[str]:
    return [name for name in FIELDS if name not in _LEFT_AT_HOME]


def _head() -> list[str]:
    return [_HEADINGS.get(name, name) for name in _names()]


def _rows(found: WireList) -> Iterable[list[str]]:
    names = _names()
    return ([row.cells[name] for name in names] for row in found.rows)
