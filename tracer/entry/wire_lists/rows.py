"""A row of a wire list to a wire between two ends. What a row says and the format cannot hold stays as a note; a row that is no wire is named with its reason."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from tracer.entry.fragments import PART_NAME, RESERVED
from tracer.entry.runs import MAX_LENGTH_M, NOT_COLOURED, read_point
from tracer.entry.values import UNKNOWN_WORDS, Misread
from tracer.entry.wire_lists.columns import Columns
from tracer.entry.wire_lists.tables import FORMULA
from tracer.standards import figures
from tracer.standards.colours import ColourSystem, is_colour
from tracer.standards.conductors import BadSize, parse_size

_NOT_IN_A_NAME = re.compile(r"[\s.:<>?,/\[\]{}–—]+|--+")
_NOT_IN_A_PIN = re.compile(r"[\s.:<>?,\[\]{}–—]+|--+")
_HALF = re.compile(r"^(?P<pin>[^:>]+)(?:>(?P<mate>[^:>]+))?(?::(?P<half>[ab]))?$")
_LENGTH = re.compile(r"^(\d+(?:[.,]\d+)?)\s*(mm|cm|m|ft)?$", re.IGNORECASE)
_NOTHING = frozenset({"", "-", "--", "n/a", "N/A"})
_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "ft": 0.3048}
_LONGEST_NAME = 200
_SEEN = ("diagram", "vehicle", "assumed")


class NotTaken(Exception):
    """A row that cannot become a wire; the text says why."""


@dataclass(frozen=True, slots=True)
class End:
    """One end of a wire: a part and a pin (with its half where that is said), or a reference, `?` or a rail as text."""

    part: str = ""
    pin: str = ""
    half: str = ""
    mate: str = ""
    text: str = ""  # what stands in the run instead of part and pin
    kind: str = ""  # as the row says it
    listed: str = ""  # the pin as the row says it, where a half or another cavity was read from it

    def typed(self) -> str:
        """The end as a run writes it."""
        if self.text or not self.pin:
            return self.text or self.part
        mate = f">{self.mate}" if self.mate and not self.half else ""  # with its half the cavity alone says which
        return f"{self.part}.{self.pin}{mate}{f':{self.half}' if self.half else ''}"


@dataclass(frozen=True, slots=True)
class Taken:
    """A wire with the row it is from."""

    row: int
    a: End
    b: End
    wire: str
    sheet: str = ""
    seen: str = ""
    note: str = ""


@dataclass(slots=True)
class Spelling:
    """Names as the list has them, and as they can be typed: no two of the list become one."""

    alone: frozenset[str] = frozenset()  # names that stand for a part by themselves, so for no panel and no position
    typed: dict[tuple[str, str], str] = field(default_factory=dict)
    _listed: dict[tuple[str, str], str] = field(default_factory=dict)
    _taken: dict[tuple[str, str], int] = field(default_factory=dict)  # the numbers below are given to names alike

    def part(self, listed: str) -> str:
        """The name of a part as it can be typed; `PANEL/LABEL` stays one."""
        panel, slash, label = listed.partition("/")
        fit = all(PART_NAME.match(one) and one not in RESERVED and one not in self.alone for one in (panel, label))
        if slash and fit and "--" not in listed:
            return listed
        return self._of("", listed, _NOT_IN_A_NAME)

    def pin(self, part: str, listed: str) -> str:
        """The name of a pin as it can be typed."""
        return self._of(part, listed, _NOT_IN_A_PIN)

    def changed(self) -> list[tuple[str, str]]:
        """The names that are typed otherwise than listed, each with how."""
        return [
            (f"{part}.{listed}" if part else listed, f"{part}.{typed}" if part else typed)
            for (part, listed), typed in self.typed.items()
            if listed != typed
        ]

    def name_of(self, typed: str) -> str:
        """How the list names a part."""
        return self._listed.get(("", typed), typed)

    def _of(self, part: str, listed: str, wrong: re.Pattern[str]) -> str:
        known = self.typed.get((part, listed))
        if known is not None:
            return known
        name = _typeable(listed, wrong)
        if not name or (not part and name in RESERVED):
            name = f"{name}_"
        free, number = name, self._taken.get((part, name), 2)
        while self._listed.get((part, free), listed) != listed:
            free, number = f"{name.rstrip('-')}-{number}", number + 1
        self._taken[part, name] = number
        self._listed[part, free] = listed
        self.typed[part, listed] = free
        return free


class RowReader:
    """Reads row after row; `changed` names what was not taken as it stands."""

    def __init__(
        self, columns: Columns, colours: ColourSystem, rails: frozenset[str], rows: Iterable[tuple[str, ...]] = ()
    ) -> None:
        self.columns = columns
        self.colours = colours
        self.rails = rails
        ends = [columns.at[end] for end in ("from", "to")]
        names = {name for row in rows for at in ends if at < len(row) for name in (row[at], _split(row[at])[0])}
        alone = {one for name in names if "/" not in name for one in (name, _typeable(name, _NOT_IN_A_NAME))}
        self.spelling = Spelling(frozenset(alone | rails))
        self.changed: list[tuple[int, str]] = []

    def read(self, number: int, row: tuple[str, ...]) -> Taken:
        """The wire of a row.

        Raises
        ------
        NotTaken : it is no wire between two ends
        """
        told = {name: row[at] if at < len(row) else "" for name, at in self.columns.at.items()}
        formulas = [name for name, cell in told.items() if cell == FORMULA]
        if formulas:
            raise NotTaken(f"`{formulas[0]}` is a formula that was saved without its value")
        a, b = (self._end(number, end, told) for end in ("from", "to"))
        if a.typed() == b.typed() and a.text not in UNKNOWN_WORDS:
            raise NotTaken(f"both ends are {a.typed()}")
        notes = [told["note"]] if told.get("note") else []
        wire = self._wire(number, told, notes)
        seen = told.get("seen", "")
        if seen and seen not in _SEEN:
            notes.append(f"seen: {seen}")
            seen = ""
        return Taken(number, a, b, wire, told.get("sheet", ""), "" if seen == "diagram" else seen, "; ".join(notes))

    def _end(self, number: int, end: str, told: Mapping[str, str]) -> End:
        listed, pin, kind = told[end], told.get(f"{end} pin", ""), told.get(f"{end} kind", "")
        pin = "" if pin in _NOTHING and not _is_battery_pin(pin, listed, kind) else pin
        if listed in _NOTHING:
            merged = f" (pin {pin}); a cell that is merged over several rows holds it in the first only" if pin else ""
            raise NotTaken(f"the part at `{end}` is missing{merged}")
        if listed in UNKNOWN_WORDS:
            return End(text="?", kind=kind)
        if (letters := max(len(listed), len(pin))) > _LONGEST_NAME:
            raise NotTaken(f"a name of {letters} letters at `{end}`: nothing is called so")
        if listed.startswith("ref ") and not pin:
            try:
                return End(text=read_point(listed).text, kind=kind)
            except Misread as misread:
                raise NotTaken(f"`{end}`: {misread.what}") from None
        if (listed in self.rails or kind == "rail") and not pin:
            if not PART_NAME.match(listed):
                raise NotTaken(f"`{listed}` cannot be the name of a rail")
            if listed not in self.rails:
                raise NotTaken(f"vehicle.yaml has no rail {listed}: type it under `rails`")
            return End(text=listed, kind="rail")
        if not pin and kind not in ("splice", "ground"):
            listed, pin = _split(listed)
        part = self.spelling.part(listed)
        names = {**self.columns.pins.get(kind, {}), **self.columns.pins.get(listed, {})}
        pin = names.get(pin, pin)
        match = _HALF.match(pin)
        if match and (match["half"] or match["mate"]):
            own, mate = (self.spelling.pin(part, match[one] or "") if match[one] else "" for one in ("pin", "mate"))
            return End(part, own, match["half"] or "", mate if mate != own else "", kind=kind, listed=pin)
        return End(part, self.spelling.pin(part, pin) if pin else "", kind=kind)

    def _wire(self, number: int, told: Mapping[str, str], notes: list[str]) -> str:
        words = [self._colour(number, told.get("colour", ""), notes)]
        if size := told.get("size", ""):
            if typed := self._size(size):
                words.append(typed)
            else:
                why = ": mm² or AWG? Say `size: mm2` or `size: awg` with --columns" if _is_number(size) else ""
                self._kept(number, "size", size, notes, why)
        if length := told.get("length", ""):
            metres = self._metres(length)
            if metres:
                words.append(f"{figures.plain(metres)}m")
            else:
                why = "" if _LENGTH.match(length) is None else ": its unit is not said, or it is not possible"
                self._kept(number, "length", length, notes, why)
        if name := told.get("number", ""):
            if re.fullmatch(r"[^\s()]+", name) and "--" not in name:
                words.append(f"({name})")
            else:
                self._kept(number, "number", name, notes)
        if circuit := told.get("circuit", ""):
            notes.append(f"circuit {circuit}")
        return " ".join(words)

    def _colour(self, number: int, listed: str, notes: list[str]) -> str:
        if listed in _NOTHING or listed in UNKNOWN_WORDS:
            return "?"
        if listed.lower() in NOT_COLOURED:
            return listed.lower()
        for colour in (listed, listed.replace(" ", "/"), listed.replace("+", "/").replace(" ", "")):
            if is_colour(colour, self.colours):
                return colour
        self._kept(number, "colour", listed, notes)
        return "?"

    def _size(self, size: str) -> str:
        """The size as a run writes it; empty where it is none, or may be two."""
        if _is_number(size):
            if self.columns.size_unit is None:
                return ""
            size = f"{size}AWG" if self.columns.size_unit == "awg" else size
        try:
            parse_size(size)
        except BadSize:
            return ""
        return size.replace(" ", "")

    def _metres(self, length: str) -> float:
        match = _LENGTH.match(length)
        unit = (match[2] or self.columns.length_unit or "").lower() if match else ""
        metres = float(match[1].replace(",", ".")) * _METRES[unit] if match and unit else 0.0
        return metres if 0 < metres <= MAX_LENGTH_M else 0.0

    def _kept(self, number: int, what: str, text: str, notes: list[str], why: str = "") -> None:
        notes.append(f"{what} as listed: {text}")
        self.changed.append((number, f"{what} `{text}` is not understood{why}; it stands in the note of the wire"))


def _typeable(listed: str, wrong: re.Pattern[str]) -> str:
    return re.sub(r"-{2,}", "-", wrong.sub("-", listed)).strip("-") if wrong.search(listed) else listed


def _is_number(text: str) -> bool:
    return re.fullmatch(r"\d+(?:[.,]\d+)?", text) is not None


def _is_battery_pin(pin: str, listed: str, kind: str) -> bool:
    return pin == "-" and (kind == "battery" or listed.upper().startswith("BAT"))


def _split(listed: str) -> tuple[str, str]:
    """`X1.4` and `X1:4` in one column are a part and a pin; `X1.4:b` a part and half b of its pin."""
    for sign in (":", ".") if len(listed) <= _LONGEST_NAME else ():
        part, found, pin = listed.rpartition(sign)
        if found and part and pin and " " not in pin:
            if sign == "." or pin not in ("a", "b"):
                return part, pin
            part, cavity = _split(part)
            return part, f"{cavity}:{pin}"
    return listed, ""
