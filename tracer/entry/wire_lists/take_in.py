"""A wire list to sheets of a vehicle's folder: what is read, what would be written, and everything that was not taken as it stands."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tracer.entry.files import NotWritten, write_whole
from tracer.entry.folder import MAX_SHEETS, files_of
from tracer.entry.fragments import Sheet
from tracer.entry.load import read_folder
from tracer.entry.own_colours import colour_system
from tracer.entry.problems import CannotAnswer, CannotUse, Place, Problem, natural
from tracer.entry.text import MAX_FILE_BYTES, read_file
from tracer.entry.values import Misread
from tracer.entry.visible import visible
from tracer.entry.wire_lists.columns import CHECK_FILE, FIELDS, Columns, columns_of, letter
from tracer.entry.wire_lists.kinds import Found, parts_of
from tracer.entry.wire_lists.rows import NotTaken, RowReader, Taken
from tracer.entry.wire_lists.sheets import pages, sheet_text, vehicle_text
from tracer.entry.wire_lists.tables import read_table
from tracer.standards import figures
from tracer.standards.colours import SYSTEMS, ColourSystem


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its letter, its heading, the name of what it says (empty: it is not read) and that in words."""

    letter: str
    heading: str
    name: str
    says: str


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a wire list gives.

    `files`: name below the folder and text of what is written; `refused`: rows that are no wire, with the reason; `changed`: what was not taken as it
    stands; `guesses`: part, kind and why; `undeclared`: rails whose state nobody knows; `beside`: worksheets not read; `above`: rows above the headings.
    """

    file: str
    folder: Path
    columns: tuple[Column, ...]
    files: Mapping[str, str]
    rows: int
    wires: tuple[Taken, ...]
    refused: tuple[Problem, ...]
    changed: tuple[Problem, ...]
    respelt: tuple[tuple[str, str], ...]
    guesses: tuple[tuple[str, str, str], ...]
    rails: tuple[str, ...]
    beside: tuple[str, ...]
    above: tuple[int, ...]

    @property
    def complete(self) -> bool:
        """Whether every row was taken as it stands and nothing was guessed."""
        unread = [one for one in self.columns if not one.says]
        return not (
            self.refused
            or self.changed
            or self.respelt
            or self.guesses
            or self.rails
            or self.beside
            or self.above
            or unread
        )


@dataclass(frozen=True, slots=True)
class _Vehicle:
    """What a folder has already; `colours` is None where it has no vehicle.yaml."""

    colours: ColourSystem | None
    rails: frozenset[str]
    parts: frozenset[str]
    sheets: tuple[Sheet, ...]


def take_in(
    folder: str | Path,
    file: str | Path,
    *,
    columns: Path | None = None,
    worksheet: str | None = None,
    colours: str | None = None,
    write: bool = False,
) -> TakenIn:
    """A wire list (CSV, TSV, XLSX) as sheets for a vehicle's folder; they are written there, all or none, only where `write` says so.

    Parameters
    ----------
    folder : a vehicle's folder, or one that has no vehicle.yaml yet
    columns : a file that says which column is what (`columns.ColumnsFacts`)
    worksheet : of an XLSX file
    colours : how the list abbreviates colours: iec, din, american; as the vehicle does, if left out

    Raises
    ------
    CannotUse : the list, the file of columns or the folder cannot be used
    CannotAnswer : the colours contradict vehicle.yaml
    NotWritten : a sheet of that name is there already, or cannot be written
    """
    taken = _taken(Path(folder), Path(file), columns, worksheet, colours)
    if write:
        _write(taken)
    return taken


def _taken(folder: Path, file: Path, mapping: Path | None, worksheet: str | None, colours: str | None) -> TakenIn:
    vehicle = _vehicle(folder)
    if colours is not None and colours not in SYSTEMS:
        raise CannotAnswer(f"--colours is one of {', '.join(SYSTEMS)}, not {colours}.")
    if colours is not None and vehicle.colours not in (None, colours):
        raise CannotAnswer(f"vehicle.yaml says `colours: {vehicle.colours}`, not {colours}: one of the two is wrong.")
    system = colours or vehicle.colours or "iec"
    table = read_table(file, worksheet)
    columns = columns_of(table, mapping)
    rails = vehicle.rails if vehicle.colours is not None else _rails_listed(columns, table.rows)
    wires, refused = [], []
    above = [number for number, _ in table.rows if number < columns.row]
    data = [(number, row) for number, row in table.rows if number > columns.row]
    if not data:
        raise CannotUse([Problem(Place(table.name, columns.row, 1), "no row stands below the headings", CHECK_FILE)])  # fmt: skip
    reader = RowReader(columns, system, rails, (row for _, row in data))
    for number, row in data:
        try:
            wires.append(reader.read(number, row))
        except NotTaken as why:
            refused.append(
                _problem(table.name, number, f"not taken: {why}", "Mend the row, or type the wire in by hand.", row)
            )
    wires, parts = parts_of(wires, columns.kinds, vehicle.parts, reader.spelling)
    files = _files(
        folder, file, vehicle, wires, parts, system, () if vehicle.colours is not None else sorted(rails, key=natural)
    )
    return TakenIn(
        table.name,
        folder,
        _shown(columns),
        files,
        len(data),
        tuple(wires),
        tuple(refused),
        tuple(
            _problem(table.name, number, what, "Look at the diagram, and mend the run.")
            for number, what in reader.changed
        ),
        tuple(reader.spelling.changed()),
        tuple(
            (one.name, one.kind, one.guess)
            for one in sorted(parts.values(), key=lambda one: natural(one.name))
            if one.guess
        ),
        () if vehicle.colours is not None else tuple(sorted(rails, key=natural)),
        table.beside,
        tuple(above),
    )


def _write(taken: TakenIn) -> None:
    """The sheets, all or none.

    Several sheets cannot take their names in one step. While they do, a file lies beside them that is no sheet: where the program or the computer is
    ended in the middle it stays, and every list says NOT COMPLETE for it.
    """
    for name in taken.files:
        path = taken.folder / name
        if path.exists() or path.is_symlink():
            raise NotWritten(f"{path} is there already: nothing was written. Rename the list, or take the sheet away.")
    made = [one for one in (taken.folder, taken.folder / "sheets") if not one.exists()]
    written: list[Path] = []
    try:
        (taken.folder / "sheets").mkdir(parents=True, exist_ok=True)
        if len(taken.files) > 1:
            written.append(taken.folder / "sheets" / UNFINISHED)
            write_whole(
                written[0], f"Taking in {taken.file} was ended: take its sheets away, then this file.\n".encode()
            )
        for name, text in taken.files.items():
            write_whole(taken.folder / name, text.encode())
            written.append(taken.folder / name)
        if len(taken.files) > 1:
            written[0].unlink()
    except BaseException as error:
        for path in reversed(written):
            path.unlink(missing_ok=True)
        for one in reversed(made):
            if one.is_dir() and not any(one.iterdir()):
                one.rmdir()
        if isinstance(error, (OSError, NotWritten)):
            raise NotWritten(f"{error}. Nothing was written.") from error
        raise


UNFINISHED = "take-in not finished.txt"


def _vehicle(folder: Path) -> _Vehicle:
    if not folder.exists() or (folder.is_dir() and not (folder / "vehicle.yaml").exists()):
        if folder.exists() and (folder / "sheets").exists():
            what = "there are sheets, but no vehicle.yaml"
            raise CannotUse([Problem(Place(str(folder)), what, "Write it; `tracer new DIR` shows one.")])
        return _Vehicle(None, frozenset(), frozenset(), ())
    problems: list[Problem] = []
    names, _ = files_of(folder, problems)
    if names:
        typed = read_folder(folder)
        parts = {name for name in typed.fragments}
        labels = {one.label for several in typed.fragments.values() for one in several if one.label}
        return _Vehicle(typed.vehicle.colours, frozenset(typed.vehicle.rails), frozenset(parts | labels), typed.sheets)
    file = read_file(folder, "vehicle.yaml", problems := [])
    if file is None:
        raise CannotUse(problems)
    rails = file.tree.get("rails")
    try:
        system = colour_system(file.tree.get("colours") or "iec")
    except Misread as misread:
        at = file.place_of(("colours",), key=True)
        raise CannotUse([file.problem(at, misread.what, misread.fix, misread.text)]) from None
    return _Vehicle(system, frozenset(rails if isinstance(rails, dict) else ()), frozenset(), ())


def _rails_listed(columns: Columns, rows: tuple[tuple[int, tuple[str, ...]], ...]) -> frozenset[str]:
    """The ends that a list calls rails (a vehicle written out says so): a new vehicle.yaml names them."""
    found = set()
    for end in ("from", "to"):
        kind, part = columns.at.get(f"{end} kind"), columns.at[end]
        if kind is not None:
            found |= {
                row[part] for number, row in rows if number > columns.row and kind < len(row) and row[kind] == "rail"
            }
    return frozenset(found)


def _files(
    folder: Path,
    file: Path,
    vehicle: _Vehicle,
    wires: list[Taken],
    parts: Mapping[str, Found],
    colours: ColourSystem,
    rails: tuple[str, ...] | list[str],
) -> dict[str, str]:
    stem = _file_name(file.stem) or "list"
    files = (
        {} if vehicle.colours is not None else {"vehicle.yaml": vehicle_text(file.stem.strip() or stem, colours, rails)}
    )
    taken = {sheet.id for sheet in vehicle.sheets}
    on_pages = pages(wires, stem)
    if len(on_pages) > MAX_SHEETS:
        what = f"{len(on_pages)} pages; at most {MAX_SHEETS} sheets are read"
        fix = "Split the list; or say with --columns FILE which column is the page."
        raise CannotUse([Problem(Place(visible(file.name)), what, fix)])
    page_of: dict[str, str] = {}  # the page on which a part comes first declares it
    for page, several in on_pages.items():
        for wire in several:
            page_of.setdefault(wire.a.part, page)
            page_of.setdefault(wire.b.part, page)
    declared: dict[str, list[Found]] = {page: [] for page in on_pages}
    for name, part in parts.items():
        declared[page_of[name]].append(part)
    alike: Counter[str] = Counter()
    for page, several in on_pages.items():
        base = name = stem if len(on_pages) == 1 else f"{stem}-{_file_name(page) or 'page'}"
        while f"sheets/{name}.yaml" in files:
            alike[base] += 1
            name = f"{base}-{alike[base] + 1}"
        sheet = page if page not in taken else f"{page} ({file.stem})"
        taken.add(sheet)
        text = sheet_text(sheet, file.name, declared[page], several)
        if (size := len(text.encode())) > MAX_FILE_BYTES:
            what = f"as one sheet it would have {figures.megabytes(size)}, and at most {figures.megabytes(MAX_FILE_BYTES)} are read of a sheet"
            fix = "Say in a column `sheet` on which page each wire is, or split the list."
            raise CannotUse([Problem(Place(visible(file.name)), what, fix)])
        files[f"sheets/{name}.yaml"] = text
    return files


def _file_name(text: str) -> str:
    return re.sub(r"[^\w-]+", "-", text).strip("-")[:80]


def _shown(columns: Columns) -> tuple[Column, ...]:
    says = {at: name for name, at in columns.at.items()}
    width = max([len(columns.headings), *(at + 1 for at in (*says, *columns.bare))])
    headings = [*columns.headings, *[""] * (width - len(columns.headings))]
    units = {"length": columns.length_unit, "size": {"awg": "AWG", "mm2": "mm²"}.get(columns.size_unit or "")}
    return tuple(
        Column(letter(at), heading, says.get(at, ""), _says(says[at], units.get(says[at])) if at in says else "")
        for at, heading in enumerate(headings)
        if heading or at in says or at in columns.bare
    )


def _says(name: str, unit: str | None) -> str:
    return f"{FIELDS[name]}, {unit} where a cell says no unit" if unit else FIELDS[name]


def _problem(file: str, row: int, what: str, fix: str, cells: tuple[str, ...] = ()) -> Problem:
    shown = " | ".join("" if cell.startswith("\0") else cell for cell in cells)
    return Problem(Place(file, row, 1), what, fix, "", shown)
