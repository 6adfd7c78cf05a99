"""CSV, TSV and XLSX to rows of plain text, each with its number in the file; a formula is never computed and never run."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracer.entry.problems import CannotUse, Place, Problem, listed
from tracer.entry.visible import visible
from tracer.standards import figures

MAX_FILE_BYTES = 64_000_000
MAX_UNPACKED_BYTES = 512_000_000  # an XLSX is a zip: what it unpacks to is counted before it is unpacked
MAX_ROWS = 200_000
MAX_COLUMNS = 200
MAX_WORKSHEETS = 100
MAX_PARTS = 5_000  # files in an XLSX: a few for each worksheet
MAX_HEAD_BYTES = 1_500_000  # of its parts that the library makes objects of: what it holds, and its styles
_SEPARATORS = {".csv": ",;\t|", ".tsv": "\t", ".txt": "\t;,|"}
_ANEW = "Open it in the spreadsheet program and save it anew"
_AS_CSV = "Save the worksheet that is meant as .csv."
_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
FORMULA = "\0formula"  # stands in a cell whose formula was saved without a value; no cell can hold it


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of a file that hold anything, each with its number; `beside`: the other worksheets, which are not read."""

    name: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    beside: tuple[str, ...] = ()


def read_table(file: Path, worksheet: str | None = None) -> Table:
    """The rows of a wire list.

    Parameters
    ----------
    file : its name ends in .csv, .tsv, .txt or .xlsx
    worksheet : which one of an XLSX file; the first that holds anything, if left out

    Raises
    ------
    CannotUse : it cannot be read, with the row where that is known
    """
    name, ending = visible(file.name), file.suffix.lower()
    if ending in (".xls", ".ods", ".xlsm", ".xlsb"):
        raise _cannot(name, f"{ending} files are not read", "Save it as .xlsx or .csv in the spreadsheet program.")
    if ending != ".xlsx" and ending not in _SEPARATORS:
        raise _cannot(name, "this is no wire list by its name", "Its name must end in .csv, .tsv, .txt or .xlsx.")
    if worksheet is not None and ending != ".xlsx":
        raise _cannot(name, "only an .xlsx file has worksheets", "Leave --worksheet out.")
    try:
        if not file.is_file():
            raise _cannot(str(file), "there is no such file", "Check its name and folder.")
        if file.stat().st_size > MAX_FILE_BYTES:
            raise _cannot(name, f"larger than {figures.megabytes(MAX_FILE_BYTES)}", "Split the list.")
        data = file.read_bytes()
    except OSError as error:
        raise _cannot(name, f"the file cannot be read: {error.strerror}", "Check it and its permissions.") from None
    except ValueError:  # a name that no disk can hold
        raise _cannot(str(file), "there is no such file", "Check its name and folder.") from None
    if ending == ".xlsx":
        return _workbook(name, data, worksheet)
    return Table(name, tuple(_kept(name, _csv_rows(name, data, _SEPARATORS[ending]))))


def _cannot(name: str, what: str, fix: str, row: int = 0) -> CannotUse:
    return CannotUse([Problem(Place(name, row, 1 if row else 0), what, fix)])


def _kept(name: str, rows: Iterable[tuple[int, Iterable[str]]]) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The rows that hold anything, their cells without blanks around them, line breaks, and the apostrophe that keeps a formula from running.

    A soft hyphen and the like is seen in the cell, not dropped: two names that differ by it alone are two names.
    """
    for count, (number, row) in enumerate(rows):
        if count >= MAX_ROWS:
            raise _cannot(name, f"more than {MAX_ROWS} rows", "Split the list.", number)
        cells = [_clean(cell) for cell in row]
        while cells and not cells[-1]:
            cells.pop()
        if len(cells) > MAX_COLUMNS:
            raise _cannot(name, f"{len(cells)} columns; at most {MAX_COLUMNS} are read", "Take columns out.", number)
        if cells:
            yield number, tuple(cells)


def _clean(cell: str) -> str:
    if cell == FORMULA:
        return cell
    cell = " ".join(visible(cell).split())
    return cell[1:] if cell[:1] == "'" and cell[1:].lstrip().startswith(_FORMULA_STARTS) else cell


# --- CSV -------------------------------------------------------------------------------------------------------------


def _csv_rows(name: str, data: bytes, separators: str) -> Iterator[tuple[int, list[str]]]:
    text = _decoded(name, data)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text, separators), strict=True)
    while True:
        first = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            what = f"the row cannot be read: {error}"
            raise _cannot(name, what, "Check the quotes in this row and the row before.", first) from None
        yield first, row


def _decoded(name: str, data: bytes) -> str:
    """UTF-8, or UTF-16 where the file says so by its first bytes: nothing is guessed, since a wrong guess spoils names silently."""
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        fix = "Save it as `CSV UTF-8` in the spreadsheet program, or as .xlsx."
        raise _cannot(name, "this is not UTF-8 text", fix, 0 if wide else row) from None


_QUOTED = re.compile(r'"(?:[^"]|"")*"')
_LOOKED_AT = 20_000  # characters at the beginning of a list


def _separator(text: str, separators: str) -> str:
    """The separator that most of the first rows have, outside quotes; the first of them where none has any."""
    lines = [line for line in _QUOTED.sub("", text[:_LOOKED_AT]).splitlines()[:50] if line.strip()]
    found = {one: [line.count(one) for line in lines] for one in separators}
    return max(separators, key=lambda one: (sum(count > 0 for count in found[one]), max(found[one], default=0)))


# --- XLSX ------------------------------------------------------------------------------------------------------------


def _workbook(name: str, data: bytes, wanted: str | None) -> Table:
    if data.count(b"PK\1\2") > MAX_PARTS:  # before even their names are taken in
        raise _cannot(name, f"packed of more than {MAX_PARTS} parts", _AS_CSV)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(one.file_size for one in packed.infolist())
            count = _count_of_worksheets(name, packed) if size <= MAX_UNPACKED_BYTES else 0
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, OSError, NotImplementedError, RuntimeError):
        fix = f"{_ANEW}; a protected one without its password."
        raise _cannot(name, "this is no readable .xlsx file", fix) from None
    if size > MAX_UNPACKED_BYTES:
        raise _cannot(name, f"unpacked it has more than {figures.megabytes(MAX_UNPACKED_BYTES)}", "Split the list.")
    if count > MAX_WORKSHEETS:
        what = f"{count} worksheets; at most {MAX_WORKSHEETS} are read"
        raise _cannot(name, what, "Save the one that is meant as a file of its own.")
    book = _opened(name, data, values=False)
    sheets = {one.title: one for one in book.worksheets}
    titles = list(sheets)
    if wanted is not None and wanted not in titles:
        raise _cannot(name, f"there is no worksheet `{wanted}`", f"It has {listed(titles, joiner='and')}.")
    rows: list[tuple[int, tuple[str, ...]]] = []
    for title in [wanted] if wanted is not None else titles:
        wanted, rows = title, list(_kept(name, _cells(name, sheets[title])))
        if rows:
            break
    if wanted is not None and any(cell.startswith("=") for _, row in rows for cell in row):
        rows = list(_kept(name, _saved_values(name, data, wanted, rows)))
    beside = tuple(visible(title) for title in titles if title != wanted)
    return Table(name, tuple(rows), beside)


_HEAD = re.compile(rb"<(?:[\w.-]+:)?(?:workbook|styleSheet)[\s>]")
_WORKSHEET = re.compile(rb"<(?:[\w.-]+:)?sheet\s[^>]*>")


def _count_of_worksheets(name: str, packed: zipfile.ZipFile) -> int:
    """How many the workbook says that it has, before the library makes something of each; the part that says so may have any name."""
    count = 0
    for part in packed.infolist():
        with packed.open(part) as stream:
            if not part.filename.endswith(".xml") or not _HEAD.search(stream.read(_LOOKED_AT)):
                continue
        if part.file_size > MAX_HEAD_BYTES:
            what = f"its part {visible(part.filename)} has more than {figures.megabytes(MAX_HEAD_BYTES)}"
            raise _cannot(name, what, _AS_CSV)
        count += sum(1 for _ in _WORKSHEET.finditer(packed.read(part)))
    return count


def _opened(name: str, data: bytes, *, values: bool) -> Any:
    from openpyxl import load_workbook  # felt at the start: loaded where a workbook is read

    try:
        with warnings.catch_warnings():  # of styles and extensions that it leaves out: none says anything of a wire
            warnings.simplefilter("ignore")
            return load_workbook(io.BytesIO(data), read_only=True, data_only=values, keep_links=False)
    except Exception as error:  # the library raises whatever a spoiled part of the file makes it raise
        fix = f"{_ANEW}, or save it as CSV UTF-8."
        raise _cannot(name, f"this is no readable .xlsx file ({type(error).__name__})", fix) from None


def _cells(name: str, sheet: Any) -> Iterator[tuple[int, list[str]]]:
    sheet.reset_dimensions()  # what the file says of its own size may be wrong
    try:
        for number, row in enumerate(sheet.iter_rows(values_only=True), 1):
            yield number, [_written(cell) for cell in row]
    except CannotUse:
        raise
    except Exception as error:  # see `_opened`
        fix = f"{_ANEW}, or save it as CSV UTF-8."
        raise _cannot(name, f"worksheet {sheet.title} cannot be read ({type(error).__name__})", fix) from None


def _written(cell: Any) -> str:
    """A cell as people see it: 2.5 and not 2.50, 7 and not 7.0."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float):
        return figures.plain(cell)
    return str(cell)


def _saved_values(
    name: str, data: bytes, title: str, rows: Iterable[tuple[int, tuple[str, ...]]]
) -> Iterator[tuple[int, list[str]]]:
    """The same rows with the value that was saved beside each formula; `FORMULA` where none was."""
    saved = dict(_cells(name, _opened(name, data, values=True)[title]))
    for number, row in rows:
        values = saved.get(number, [])
        yield (
            number,
            [
                (values[at] if at < len(values) and values[at] else FORMULA) if cell.startswith("=") else cell
                for at, cell in enumerate(row)
            ],
        )
