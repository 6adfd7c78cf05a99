"""A filled-in CSV of the worksheet, read back by the names of its rows: in any order of its lines, of whatever edition.

What it holds are drops to the pin's own post, so the other lead of a supply is at battery positive, of a ground at battery negative. Taken are the battery, the
pins plugged in, alone with and without the lamp, each parallel way alone (the column `out`), what must be dead, the ohms of a bus, and what is asked beside the
pins; what else is written is named, not taken. Two boxes belong together by their row, key state and what is out. Nothing is taken twice, and no row that has changed since the worksheet was
printed (the column `mark`).
"""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tracer.case.case import Case, Recorded, asks_about, case_in, entry_of, understood
from tracer.case.file import Grown, append
from tracer.case.judged import leads_of
from tracer.case.readings import BadWord, Conditions, Reading, battery_volts, value_of
from tracer.entry.problems import CannotAnswer, listed
from tracer.plan.words import (
    BETWEEN_LINES,
    CRANKING,
    IS_LIT,
    LIVE_AT_ONCE,
    MUST_BE_DEAD,
    NO_LAMP,
    TO_GROUND,
    TO_ITS_POST,
    UnknownName,
    line_name,
)

_LAMP = re.compile(r"^(\d+(?:\.\d+)?) W$")
_TICKS = frozenset({"x", "✓", "✔", "ok", "yes"})
_DEAD = _TICKS | {"dead"}
_ALONE, _LEGS = "5", "6"  # steps of the worksheet
MOST_FILLED = 5_000  # boxes; no worksheet has so many
_MOST = 20  # boxes that are named where nothing at all can be recorded
COLUMNS = ("step", "row", "name", "key", "module", "out", "ask", "read", "edition", "mark")


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the worksheet in which something is written."""

    number: int
    step: str
    row: str
    name: str
    key: str
    module: str
    out: tuple[str, ...]
    ask: str
    read: str
    edition: str
    mark: str

    @property
    def box(self) -> tuple[str, str, str, str, tuple[str, ...], str]:
        """What makes it this box and no other."""
        return (self.step, self.name, self.key, self.module, self.out, self.ask)

    @property
    def pin(self) -> tuple[str, str, str, tuple[str, ...]]:
        """What the boxes of one pin alone, or of one of its parallel ways, have in common."""
        return (self.step, self.name, self.key, self.out)

    @property
    def asks_lit(self) -> bool:
        """Whether it is the box for a lamp that was seen to be lit."""
        return self.step in (_ALONE, _LEGS) and self.ask == IS_LIT

    @property
    def lamp_w(self) -> float | None:
        """The lamp of a box of one pin alone; None without."""
        match = _LAMP.match(self.ask) if self.step in (_ALONE, _LEGS) else None
        return float(match[1]) if match else None

    @property
    def bare(self) -> bool:
        """Whether it is the box without the lamp of one pin alone, or of one of its parallel ways."""
        return self.lamp_w is None and not self.asks_lit and ((self.step == _ALONE and self.ask == NO_LAMP) or (self.step == _LEGS and bool(self.out)))  # fmt: skip

    def __str__(self) -> str:
        return f"{self.row or self.name} {self.ask}: {self.read}"


@dataclass
class _Filled:
    case: Case
    lines: list[_Line]
    now: datetime

    def __post_init__(self) -> None:
        self.left: list[str] = []
        self.battery = {line.key: battery_volts(f"line {line.number}, battery {line.ask}: {line.read}", line.read) for line in self.lines if line.row == "battery"}  # fmt: skip

    def readings(self) -> Iterator[Reading]:
        """What is taken, in the order of the lines; what is not is in `left` afterwards."""
        lamps = {one.pin: one for one in self.lines if one.lamp_w is not None}
        ticks = defaultdict[object, set[int]](set)
        for one in self.lines:
            if one.asks_lit:
                ticks[one.pin].add(one.number)
        lit = {one.pin for one in self.lines if one.asks_lit and self.is_ticked(one)}
        paired: set[int] = set()
        for line in self.lines:
            beside = lamps.get(line.pin) if line.bare else None
            if beside is None:
                continue
            paired |= {line.number, beside.number} | ticks[line.pin]
            if name := self.name_of(line):
                said = "/lit" if line.pin in lit and not beside.read.casefold().endswith("/lit") else ""
                yield from self.reading(line, name, f"{line.read}/{beside.read}{said}", beside.lamp_w)
        for line in self.lines:
            if line.row == "battery" or line.number in paired:
                continue
            dead, of = line.ask.startswith(MUST_BE_DEAD), self.beside(line)
            if not (dead or line.bare or of or line.ask in (TO_ITS_POST, BETWEEN_LINES)):
                self.left.append(f"{line} (the box without the lamp is empty)" if line.lamp_w is not None else str(line))  # fmt: skip
            elif name := self.name_of(line):
                asleep = line.ask == BETWEEN_LINES or bool(of and of["asleep"])
                yield from self.reading(
                    line, name, _dead_or_volts(line) if dead else line.read, None, dead=dead, asleep=asleep
                )

    def beside(self, line: _Line) -> Mapping[str, Any] | None:
        """What of the worksheet beside the tests of the pins a line is, by its name and what holds; None where it is none of that."""
        held = (line.key, line.module == "plugged in", line.ask == TO_GROUND)
        if line.ask == LIVE_AT_ONCE:  # said by the seconds after which it is gone
            return None
        asked = (
            one
            for one in self.case.plan.get("beside", ())
            if (one["key"], one["plugged"], one["unit"] == "ohm") == held
        )
        return next((one for one in asked if line.name in one["names"]), None)

    def is_ticked(self, line: _Line) -> bool:
        """Whether a box for a tick is ticked.

        Raises
        ------
        BadWord : something else stands there
        """
        if line.read.casefold() in _TICKS:
            return True
        raise BadWord(f"line {line.number}, {line.row} lit: `{line.read}` is no tick. Write x if the lamp was lit, nothing if it was not. Nothing is recorded.")  # fmt: skip

    def reading(self, line: _Line, name: str, read: str, lamp_w: float | None, *, dead: bool = False, asleep: bool = False) -> Iterator[Reading]:  # fmt: skip
        """One reading under the conditions that the worksheet says of it.

        Raises
        ------
        BadWord : what is written is no reading
        """
        if line.key not in self.case.plan["keys"]:
            raise BadWord(f"line {line.number}, {line}: this vehicle has the key states {', '.join(self.case.plan['keys'])}. Nothing is recorded.")  # fmt: skip
        supply = self.case.level(name) == "supply"
        on = Conditions(
            key=line.key, plugged=line.module == "plugged in", lamp_w=lamp_w, other="+" if supply and not dead else "-", symptom=self.case.conditions.symptom,
            asleep=asleep, out=line.out, battery_v=self.volts(line), battery_at=self.now.isoformat(timespec="seconds"), battery_n=self.case.last_n + 1,
            key_n=self.case.last_n + 1, leads=self.leads(name, line, lamp_w),
        )  # fmt: skip
        try:
            found = understood(self.case, f"{name}={read}", on)
        except CannotAnswer as error:
            raise BadWord(f"line {line.number}, {line}: {error} Nothing is recorded.") from None
        same = next((one for one in (*self.case.readings, *self.case.corrected.values()) if _same(one, found)), None)
        if same is None:
            yield found
        else:
            self.left.append(
                f"{line} (stands in the case as {same.id}; a repeat is typed: tracer read {self.case.short(name)}=...)"
            )

    def volts(self, line: _Line) -> float:
        """The battery when it was read: in the same key state, else at rest, else in another one in which nobody cranks.

        Raises
        ------
        BadWord : it was not read
        """
        for key in (line.key, *(key for key in self.case.plan["keys"] if key not in CRANKING)):
            if key in self.battery:
                return self.battery[key]
        raise BadWord("the worksheet has no volts of the battery: every reading refers to them. Nothing is recorded.")

    def leads(self, name: str, line: _Line, lamp_w: float | None) -> tuple[str, ...]:
        """The fused leads that the worksheet asks for at a pin with this lamp."""
        tests = self.case.plan["rows"].get(name, {"tests": []})["tests"] if lamp_w is not None else []
        asked = (leads_of(test) for test in tests if (test["key"], test["lamp_w"], tuple(sorted(test["out"]))) == (line.key, lamp_w, line.out))  # fmt: skip
        return next(asked, ())

    def name_of(self, line: _Line) -> str:
        """The full name of what a line reads; empty, and said in `left`, where it has changed since the worksheet was printed.

        Raises
        ------
        BadWord : a worksheet of this very edition has no such row
        """
        of = f"the worksheet is of edition {line.edition or '?'}, the case of {self.case.plan['edition']}"
        same_edition = line.edition == self.case.plan["edition"]
        try:
            name = self.bus_of(line) if line.ask == BETWEEN_LINES else self.case.find(line.name)
        except UnknownName as error:
            if same_edition:
                raise BadWord(f"line {line.number}: {error} Nothing is recorded.") from None
            self.left.append(f"{line} (not in this case's list: {of})")
            return ""
        row = self.case.plan["rows"].get(name)
        if same_edition or row is None or (line.mark and line.mark == row.get("mark")):
            return name
        self.left.append(f"{line} (this row has changed, {of}: read it anew, or type it if it is the same pin)")
        return ""

    def bus_of(self, line: _Line) -> str:
        """The pair of lines of a bus that an ohm reading lies between.

        Raises
        ------
        UnknownName : no bus of the case has these pins
        """
        module, _, pins = line.name.partition(".")
        for bus, facts in self.case.plan["buses"].items():
            if module == self.case.plan["module"] and sorted(facts["pins"].values()) == sorted(pins.split("-")):
                return line_name(bus, *facts["pins"])
        raise UnknownName(f"{line.name} is no pair of bus pins of this case.")


def read_filled(case: Case, text: str, now: datetime) -> tuple[Recorded, tuple[str, ...]]:
    """The readings of a worksheet, recorded; and what was written and not taken.

    Raises
    ------
    BadWord : it is no such worksheet, or something in it does not fit: nothing of it is recorded
    NotWritten : nothing is recorded
    """
    worksheet = _Filled(case, list(_written(text)), now)
    taken = tuple(worksheet.readings())
    if not taken:
        more = [f"and {len(worksheet.left) - _MOST} more"] if len(worksheet.left) > _MOST else []
        why = f" Written and not taken: {'; '.join([*worksheet.left[:_MOST], *more])}." if worksheet.left else " No pin is filled in."  # fmt: skip
        raise BadWord(f"nothing in this worksheet can be recorded.{why}")
    try:
        n = append(case.file, entry_of(taken, case.conditions, now, why="", instead_of="", each=True), after=case.last_n)  # fmt: skip
    except Grown:  # by another call, perhaps of this very worksheet
        return read_filled(case_in(case.file), text, now)
    after = case_in(case.file)
    mine = tuple(one for one in after.readings if one.entry == n)
    return Recorded(after, n, mine, tuple(ask for one in mine for ask in asks_about(after, one))), tuple(worksheet.left)


def _written(text: str) -> Iterator[_Line]:
    """Each line of the worksheet in which something is written, once.

    Raises
    ------
    BadWord : it is no such worksheet, a line does not fit its head, or one box is filled in twice with different values
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    seen: dict[tuple[object, ...], _Line] = {}
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        columns = [name.strip() for name in next(rows, [])]
        if missing := [name for name in COLUMNS if columns.count(name) != 1]:
            raise BadWord(f"this is no filled-in worksheet: it wants the columns of `tracer worksheet MODULE -o FILE.csv`, each once; {listed(missing, joiner='and')} {'is' if len(missing) == 1 else 'are'} not so.")  # fmt: skip
        for cells in rows:
            if any(cell.strip() for cell in cells[len(columns) :]):
                raise BadWord(f"line {rows.line_num} has {len(cells)} cells, the head {len(columns)}: a number with a comma must stand in quotes (\"0,01\"). Nothing is recorded.")  # fmt: skip
            bare = (
                cell.strip().removeprefix("'") for cell in cells
            )  # as it is written in front of what a spreadsheet would run
            row = dict(zip(columns, bare, strict=False))
            if not row.get("read"):
                continue
            out = tuple(sorted(filter(None, row.get("out", "").split(","))))
            said = {name: row.get(name, "") for name in COLUMNS if name != "out"}
            line = _Line(number=rows.line_num, out=out, **said)
            first = seen.setdefault(line.box, line)
            if len(seen) > MOST_FILLED:
                raise BadWord(
                    f"more than {MOST_FILLED} boxes are filled in: this is no worksheet of one module. Nothing is recorded."
                )
            if first.read != line.read:
                raise BadWord(f"lines {first.number} and {line.number} are the same box with different values ({first} and {line.read}). Nothing is recorded.")  # fmt: skip
    except csv.Error as error:
        raise BadWord(f"this is no CSV that can be read ({error}): save the worksheet as CSV once more. Nothing is recorded.") from None  # fmt: skip
    yield from seen.values()


def _same(one: Reading, other: Reading) -> bool:
    """Whether two readings are the same one, taken over twice: the same values under the same conditions, the volts of the battery among them."""
    a, b = one.conditions, other.conditions
    held = (a.key, a.plugged, a.lamp_w, a.other, a.out, a.battery_v) == (b.key, b.plugged, b.lamp_w, b.other, b.out, b.battery_v)  # fmt: skip
    return held and (one.name, one.values, one.status) == (other.name, other.values, other.status)


def _dead_or_volts(line: _Line) -> str:
    """What was written into a box for a pin that must be dead.

    Raises
    ------
    BadWord : neither a tick nor a value: a live pin must not pass as dead
    """
    if line.read.casefold() in _DEAD:
        return "dead"
    try:
        return value_of(line.read).text
    except BadWord:
        raise BadWord(
            f"{line.row} {line.ask}: `{line.read}` is neither a tick (x) nor volts. Tick it if it is dead, write the volts if it is not. Nothing is recorded."
        ) from None


__all__ = ["COLUMNS", "read_filled"]
