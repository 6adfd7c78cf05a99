"""Which column of a wire list says what: by its heading, or as a mapping file says."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from tracer.entry.facts import ONE_OF, Facts
from tracer.entry.fragments import facts_of
from tracer.entry.models import KINDS
from tracer.entry.problems import CannotUse, Place, Problem, bounded, did_you_mean, listed
from tracer.entry.scalars import Text
from tracer.entry.text import read_file
from tracer.entry.wire_lists.tables import Table

# What a row may say, and what it is called where the columns are shown. The order is that of the mapping file and of a list that is written out.
FIELDS: Mapping[str, str] = {
    "from": "the part at one end",
    "from pin": "the pin there",
    "from kind": "what kind of part that is",
    "to": "the part at the other end",
    "to pin": "the pin there",
    "to kind": "what kind of part that is",
    "colour": "colour",
    "size": "size",
    "length": "length",
    "number": "number of the wire",
    "circuit": "name of the circuit",
    "sheet": "page of the diagram",
    "seen": "where the fact is from",
    "note": "note",
}
LENGTH_UNITS = ("mm", "cm", "m", "ft")
_ENDS = ("from", "to")
_LOOKED_AT = 30  # rows in which the headings are looked for

# Headings of the trade (common practice, no source), letters only. A word for a pin or a kind alone belongs to the end named last before it.
_PART = "part component device item connector module equipment element unit"
_PIN = "pin cavity terminal pos position contact cav pinno way"
_KIND = "kind type"
_WORDS: Mapping[str, str] = {
    "colour": "colour color col wirecolour wirecolor colourcode colorcode colours insulationcolour insulationcolor",
    "size": "size wiresize gauge wiregauge crosssection crosssectionalarea csa section area awg mm2 mm² sqmm conductorsize sizemm2 sizemm² sectionmm2 sectionmm²",
    "length": "length wirelength cutlength len",
    "number": "number wire wireno wirenumber wirenr wireid no id cable cableno cablenumber",
    "circuit": "circuit circuitname signal signalname net netname function circuitno circuitnumber",
    "sheet": "sheet page sheetno pageno",
    "seen": "seen",
    "note": "note notes remark remarks comment comments",
}
_BY_WORD = {word: name for name, words in _WORDS.items() for word in words.split()}

CHECK_FILE = "Check the file, and its worksheet."


class ColumnsFacts(Facts):
    """A mapping file (`--columns`): what no heading says."""

    columns: dict[str, Text] = Field(default_factory=dict, description="{what a row says: heading or letter}")
    headings: Text | None = Field(None, description="the number of the row with the headings")
    length: Annotated[Literal["mm", "cm", "m", "ft"], ONE_OF] | None = Field(None, description="the unit of lengths")
    size: Annotated[Literal["mm2", "awg"], ONE_OF] | None = Field(None, description="what a size without a unit is")
    kinds: dict[str, Text] = Field(default_factory=dict, description="{PART: KIND}")
    pins: dict[str, dict[str, Text]] = Field(
        default_factory=dict, description="{PART or KIND: {pin as listed: pin as typed here}}"
    )


@dataclass(frozen=True, slots=True)
class Columns:
    """Where in a row each thing stands (`at`, from 0), what the headings are, which columns are not read, and what the mapping file adds."""

    row: int
    headings: tuple[str, ...]
    at: Mapping[str, int]
    length_unit: str | None = None
    size_unit: str | None = None
    kinds: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    bare: frozenset[int] = frozenset()  # columns without a heading in which something stands


def letter(column: int) -> str:
    """What a spreadsheet calls a column.

    >>> letter(0), letter(27)
    ('A', 'AB')
    """
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(65 + rest) + name
    return name


def columns_of(table: Table, mapping: Path | None = None) -> Columns:
    """The columns of a table.

    Raises
    ------
    CannotUse : no row has headings for both ends, two columns say the same, or the mapping file names what is not there
    """
    if not table.rows:
        raise CannotUse([Problem(Place(table.name), "the list is empty", CHECK_FILE)])
    if mapping is None:
        return _by_headings(table)
    with bounded(mapping.name) as problems:
        return _as_told(table, mapping, problems)


def _as_told(table: Table, mapping: Path, problems: list[Problem]) -> Columns:
    facts = _mapping_file(mapping, problems)
    number = _row_told(table, facts, problems, mapping)
    row = dict(table.rows).get(number) if number else None
    if row is None:
        found = _headings_row(table)
        number, row = found if found is not None else _row_with(table, facts.columns.values())
    at, twice = _recognised(row)
    for name in facts.columns:
        twice.pop(name, None)
    told_at = {}
    for name, heading in facts.columns.items():
        if name not in FIELDS:
            fix = did_you_mean(name, FIELDS, f"Known: {listed(list(FIELDS), most=24, joiner='and')}.")
            problems.append(Problem(Place(mapping.name), f"`{name}` is nothing that a row says", fix))
            continue
        column = _column(row, heading)
        if column is None:
            shown = listed([cell for cell in row if cell], most=20, joiner="and")
            what = f"there is no column `{heading}` in row {number} of {table.name}"
            problems.append(
                Problem(Place(mapping.name), what, f"Its headings are {shown}; a letter names a column too.")
            )
        else:
            told_at[name] = column
    if problems:
        raise CannotUse(problems)
    at = {name: column for name, column in at.items() if column not in told_at.values()} | told_at
    return _checked(table, number, row, at, twice, facts)


def _by_headings(table: Table) -> Columns:
    found = _headings_row(table)
    if found is None:
        first = table.rows[0]
        shown = listed([cell for cell in first[1] if cell], most=20, joiner="and")
        what = f"no row has headings for both ends of a wire (row {first[0]}: {shown})"
        fix = "Write a heading row with `from`, `pin`, `to`, `pin`, `colour` ..., or say which column is what with --columns FILE."
        raise CannotUse([Problem(Place(table.name, first[0], 1), what, fix)])
    number, row = found
    at, twice = _recognised(row)
    return _checked(table, number, row, at, twice, ColumnsFacts())


def _checked(
    table: Table,
    number: int,
    row: tuple[str, ...],
    at: Mapping[str, int],
    twice: Mapping[str, list[int]],
    facts: ColumnsFacts,
) -> Columns:
    problems = []
    for name, columns in twice.items():
        which = listed([f"{letter(one)} `{row[one]}`" for one in columns], joiner="and")
        fix = f"Say which one with --columns FILE: `columns: {{{name}: {letter(columns[0])}}}`."
        problems.append(Problem(Place(table.name, number, 1), f"columns {which} may both be `{name}`", fix))
    for name in _ENDS:
        if name not in at and name not in twice:
            fix = f"Say it with --columns FILE: `columns: {{{name}: HEADING}}`."
            problems.append(Problem(Place(table.name, number, 1), f"no column is `{name}` ({FIELDS[name]})", fix))
    if problems:
        raise CannotUse(problems)
    unit = facts.length or (_unit_of(row[at["length"]]) if "length" in at and at["length"] < len(row) else None)
    in_order = {name: at[name] for name in FIELDS if name in at}
    size = facts.size or _size_unit(table, number, row, at.get("size"))
    below = {at for line, cells in table.rows if line > number for at, cell in enumerate(cells) if cell}
    bare = frozenset(at for at in below if at >= len(row) or not row[at])
    return Columns(number, row, in_order, unit, size, facts.kinds, facts.pins, bare)


def _headings_row(table: Table) -> tuple[int, tuple[str, ...]] | None:
    for number, row in table.rows[:_LOOKED_AT]:
        at, twice = _recognised(row)
        if all(name in at or name in twice for name in _ENDS):
            return number, row
    return None


def _row_with(table: Table, headings: Iterable[str]) -> tuple[int, tuple[str, ...]]:
    """The first of the rows that hold most of these headings."""
    wanted = {heading.casefold() for heading in headings}
    return max(table.rows[:_LOOKED_AT], key=lambda row: len(wanted & {cell.casefold() for cell in row[1]}))


def _recognised(row: tuple[str, ...]) -> tuple[dict[str, int], dict[str, list[int]]]:
    """The column of each thing that a heading names, and those that several name."""
    found: dict[str, list[int]] = {}
    end = ""
    for column, heading in enumerate(row):
        name, end = _named(heading, end)
        if name:
            found.setdefault(name, []).append(column)
    at = {name: columns[0] for name, columns in found.items() if len(columns) == 1}
    return at, {name: columns for name, columns in found.items() if len(columns) > 1}


def _named(heading: str, end: str) -> tuple[str, str]:
    """What a heading names (empty: nothing known), and the end that a bare `pin` after it belongs to."""
    words = re.sub(r"\[.*?\]|\(.*?\)", " ", heading.casefold())
    without_unit = re.sub(r"(?<=\w)[\s_]+(?:mm2|mm²|mm|cm|m|ft|awg)\s*$", "", words.strip())
    flat = re.sub(r"[^0-9a-z²]", "", without_unit) or re.sub(r"[^0-9a-z²]", "", heading.casefold())
    for name, starts in (("from", ("from", "source", "start", "end1", "enda", "side1", "sidea")),
                         ("to", ("to", "destination", "dest", "target", "end2", "endb", "side2", "sideb"))):  # fmt: skip
        for start in starts:
            rest = flat.removeprefix(start)
            if flat.startswith(start) and rest in (
                "",
                "name",
                "no",
                "end",
                *_PART.split(),
                *(f"{one}name" for one in _PART.split()),
            ):
                return name, name
            if flat.startswith(start) and _ends_in(rest, _PIN):
                return f"{name} pin", name
            if flat.startswith(start) and _ends_in(rest, _KIND):
                return f"{name} kind", name
    if flat in _PIN.split():
        return (f"{end} pin" if end else ""), end
    if flat in _KIND.split() and end:
        return f"{end} kind", end
    return _BY_WORD.get(flat, ""), end


def _ends_in(rest: str, words: str) -> bool:
    """Whether a heading goes on as a pin or kind does: `pin`, `part pin`, `connector cavity`."""
    return any(rest == word or rest in (f"{part}{word}" for part in _PART.split()) for word in words.split())


def _unit_of(heading: str) -> str | None:
    """The unit of a length that its heading gives: `Length (mm)`, `length [m]`."""
    words = re.findall(r"[a-z]+", heading.casefold())
    return next((unit for unit in LENGTH_UNITS if unit in words), None)


def _size_unit(table: Table, number: int, row: tuple[str, ...], column: int | None) -> str | None:
    """What a size without a unit is: as its heading says, or mm² where one of them is no whole number. 16 alone may be either, and is not guessed."""
    if column is None:
        return None
    heading = row[column].casefold() if column < len(row) else ""
    said = {
        unit
        for unit, words in (("awg", ("awg",)), ("mm2", ("mm", "csa", "section", "area")))
        if any(word in heading for word in words)
    }
    if said:
        return said.pop() if len(said) == 1 else None
    cells = (cells[column] for at, cells in table.rows if at > number and column < len(cells))
    return "mm2" if any(re.fullmatch(r"\d+[.,]\d+", cell) for cell in cells) else None


def _column(row: tuple[str, ...], heading: str) -> int | None:
    wanted = heading.casefold()
    named = [column for column, cell in enumerate(row) if cell.casefold() == wanted]
    if len(named) == 1:
        return named[0]
    by_letter = [column for column in range(max(26, len(row))) if letter(column).casefold() == wanted]
    return by_letter[0] if by_letter else None


def _mapping_file(file: Path, problems: list[Problem]) -> ColumnsFacts:
    typed = read_file(file.parent, file.name, problems)
    facts: ColumnsFacts | None = facts_of(ColumnsFacts, typed.tree, typed, (), problems) if typed else None
    if facts is None or typed is None:
        raise CannotUse(problems)
    for part, kind in facts.kinds.items():
        if kind not in KINDS:
            fix = did_you_mean(kind, KINDS, f"Known kinds: {listed(list(KINDS), most=24, joiner='and')}.")
            problems.append(
                typed.problem(typed.place_of(("kinds", part)), f"`{kind}` is not a kind of part", fix, kind)
            )
    return facts


def _row_told(table: Table, facts: ColumnsFacts, problems: list[Problem], mapping: Path) -> int:
    if facts.headings is None:
        return 0
    number = int(facts.headings) if facts.headings.isdecimal() and len(facts.headings) < 9 else 0
    if number not in dict(table.rows):
        what = f"row {facts.headings} of {table.name} holds no headings"
        problems.append(Problem(Place(mapping.name), what, "Write the number of the row with the headings."))
    return number
