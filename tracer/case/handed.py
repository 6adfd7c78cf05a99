"""Readings handed over as text by a page that kept them, taken into a case one by one: each has a name of its own, so that handing over twice adds nothing twice.

    tracer readings 1 ALM 3f2a9c of Brannock minibus
    k7m2qd-4 5c0e1f22 at=2026-03-31T10:12:05+02:00 key=run plug=out lamp=21W other=- symptom=yes battery=12.60 read=35s : 2+=12.58/12.37
    k7m2qd-5 77ab01c3 at=2026-03-31T10:14:40+02:00 key=run plug=out lamp=21W other=- symptom=yes battery=12.60 read=190s : 4+=not-reached # sealed
    k7m2qd-6 0913ffe0 at=2026-03-31T10:15:02+02:00 : look F52=20
    end 3

Behind the name stands the CRC-32 of the words behind it, joined by single blanks, so that a line that a mail program broke is read all the same and one that was
altered is not. The words before the colon are those of `tracer case set`, and how long before the reading the battery was read; behind it stands one word of
`tracer read`, with the name of the reading that it corrects (`instead-of=k7m2qd-4`), or a note; behind `#` the reason.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from zlib import crc32

from tracer.case.beside import asks_beside
from tracer.case.case import (
    BATTERY_HOLDS_S,
    Case,
    Note,
    asks_about,
    case_in,
    correction,
    entry_of,
    refers_to_battery,
    understood,
)
from tracer.case.file import append_all
from tracer.case.notes import NOTES, note_entry
from tracer.case.readings import BadWord, Conditions, Reading, set_by
from tracer.case.touched import TOUCHING
from tracer.entry.problems import CannotAnswer
from tracer.standards import figures

MOST_CHARACTERS = 1_000_000
MOST_LINES = 3_000  # a page keeps those of one job
CLOCK_S = 120.0  # a page's clock may be ahead by so much
_HEAD = re.compile(r"^tracer readings 1 (?P<module>\S+) (?P<edition>\S+) of (?P<vehicle>.*)$")
_LINE = re.compile(r"^(?P<id>[a-z0-9]{6}-\d{1,6}) (?P<sum>[0-9a-f]{8}) (?P<said>.*)$")
_BEGINS = re.compile(r"^(?:[a-z0-9]{6}-\d{1,6} \S|end \d+$)")
_END = re.compile(r"^end (?P<count>\d+)$")


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of each line: recorded now (`readings`, `notes`), there before, or refused with the reason. `remarks` are about the text as a whole."""

    case: Case
    readings: tuple[Reading, ...]
    notes: tuple[Note, ...]
    there: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]
    asks: tuple[str, ...]
    recorded: tuple[str, ...] = field(default=())

    @property
    def complete(self) -> bool:
        """Whether every line is in the case."""
        return not self.refused and not self.remarks


@dataclass(frozen=True, slots=True)
class _Line:
    """One line: its name, the words of its conditions, what was read or noted, and why."""

    id: str
    at: datetime
    on: tuple[str, ...]
    battery_age_s: float | None
    said: tuple[str, ...]
    instead_of: str
    why: str


def take_handed(case: Case, text: str, now: datetime) -> Taken:
    """Every line of a text that was handed over: each is recorded, was there, or is refused by name.

    Raises
    ------
    BadWord : it is no such text, or is of another module or vehicle: nothing of it is recorded
    NotWritten : from here on nothing is recorded
    """
    lines = [line for line in _whole_lines(text) if line]
    if len(lines) > MOST_LINES:
        raise _not_of_a_page(f"has more than {MOST_LINES} lines")
    edition = _edition(case, lines)
    remarks = []
    if edition != case.plan["edition"]:
        remarks.append(f"they were read by list {edition}, the case is on list {case.plan['edition']}: look whether the pins are the same")  # fmt: skip
    named = [line for line in lines[1:] if not _END.match(line)]
    end = next((match for line in lines if (match := _END.match(line))), None)
    if end is None:
        remarks.append("the line `end` is missing: the text was cut off, hand it over once more")
    elif int(end["count"]) != len(named):
        remarks.append(f"{len(named)} of {end['count']} lines arrived: hand the text over once more")
    recorded: dict[str, int] = {}
    there, refused = [], []
    waiting: dict[str, dict[str, object]] = {}

    def write() -> None:
        for name, number in zip(waiting, append_all(case.file, list(waiting.values())), strict=True):
            if number:
                recorded[name] = number
            else:  # another call handed it over at this moment
                there.append(name)
        waiting.clear()

    for line in named:
        name = line.split(" ")[0]
        if name in case.handed or name in recorded or name in waiting:
            there.append(name)
            continue
        try:
            one = _parsed(line)
            if one.instead_of in waiting:  # what it corrects must be in the case
                write()
            waiting[name] = {**_entry(case, one, now, recorded), "handed": name}
        except CannotAnswer as error:
            refused.append((name, str(error)))
    write()
    after = case_in(case.file)
    numbers = set(recorded.values())
    readings = tuple(one for one in after.readings if one.entry in numbers)
    notes = tuple(one for one in after.notes if one.n in numbers)
    asks = tuple(ask for one in readings for ask in (*asks_about(after, one), *asks_beside(after, one)))
    return Taken(after, readings, notes, tuple(there), tuple(refused), tuple(remarks), asks, tuple(recorded))


def _not_of_a_page(what: str) -> BadWord:
    return BadWord(f"this text {what}: it is not what a page hands over.")


def _whole_lines(text: str) -> Iterator[str]:
    """The lines with single blanks, those that were broken joined again."""
    if len(text) > MOST_CHARACTERS:
        raise _not_of_a_page(f"is longer than {MOST_CHARACTERS} characters")
    held: list[str] = []
    for raw in text.lstrip("\ufeff").splitlines():
        line = " ".join(raw.split())
        if not line:
            continue
        if _BEGINS.match(line):
            yield " ".join(held)
            held = []
        held.append(line)
    yield " ".join(held)


def _edition(case: Case, lines: list[str]) -> str:
    """The list by which they were read.

    Raises
    ------
    BadWord : it is no such text, or of another module or vehicle
    """
    head = _HEAD.match(lines[0]) if lines else None
    if head is None:
        raise BadWord("this is no text of readings: its first line is `tracer readings 1 ...`, as `tracer pocket` hands them over.")  # fmt: skip
    if head["module"] != "_".join(case.plan["module"].split()):
        raise BadWord(f"these are readings of {head['module'][:200]}, the case is on {case.plan['module']}: `tracer case use FILE` takes another one.")  # fmt: skip
    vehicle = " ".join(case.plan["vehicle"].split())
    if not f"{head['vehicle']} ".startswith(
        f"{vehicle} "
    ):  # behind it a first line may hang whose name was spoilt: the count tells
        raise BadWord(f"these are readings of another vehicle ({head['vehicle'][:200]}); the case is on {case.plan['vehicle']}.")  # fmt: skip
    return head["edition"]


def _parsed(line: str) -> _Line:
    match = _LINE.match(line)
    if match is None:
        raise BadWord("it is not written as a page writes it")
    if f"{crc32(match['said'].encode()):08x}" != match["sum"]:
        raise BadWord("the line was altered on its way: hand it over once more")
    before, _, after = match["said"].partition(" : ")
    said, _, why = after.partition(" # ")
    words, on, age, at, corrects = said.split(" "), [], None, None, ""
    for word in before.split(" "):
        name, _, what = word.partition("=")
        if name == "at":
            at = _time(what)
        elif name == "read":
            age = _seconds(what)
        elif name == "instead-of":
            corrects = what
        else:
            on.append(word)
    if at is None or not said:
        raise BadWord("it does not say when it was read, or what")
    return _Line(match["id"], at, tuple(on), age, tuple(words), corrects, why)


def _time(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise BadWord(f"`{text}` is no time") from None
    if found.tzinfo is None:
        raise BadWord(f"`{text}` has no time zone")
    return found


def _seconds(text: str) -> float:
    if not re.fullmatch(r"\d{1,7}s", text):
        raise BadWord(f"`{text}` is no time in seconds")
    return float(text[:-1])


def _entry(case: Case, one: _Line, now: datetime, recorded: dict[str, int]) -> dict[str, object]:
    """The entry that a line comes to.

    Raises
    ------
    BadWord : it does not fit
    """
    if one.at > now + timedelta(seconds=CLOCK_S):
        raise BadWord("its clock is ahead of this one, so nobody can say whether it was read before or after what stands in the case: set the clock, and read it again")  # fmt: skip
    if one.said[0] in NOTES:
        return {**note_entry(case, one.said[0], one.said[1:], now, why=one.why, by=""), "read_at": one.at.isoformat()}
    if len(one.said) != 1:
        raise BadWord("it holds more than one reading")
    if one.instead_of:
        reading, instead_of = _corrected(case, one, recorded)
        conditions = reading.conditions
    else:
        _after_what_was_touched(case, one)
        conditions, instead_of = _conditions(case, one), ""
        reading = understood(case, one.said[0], conditions)
    if reading.status in ("not-reached", "not-fitted") and not one.why:
        raise BadWord(f"{reading.status} wants a reason")
    if refers_to_battery(case, reading) and not one.instead_of:
        _battery_holds(one, conditions)
    entry = entry_of([reading], conditions, now, why=one.why, instead_of=instead_of)
    return {**entry, "read_at": one.at.isoformat()}


def _conditions(case: Case, one: _Line) -> Conditions:
    """The conditions that the line says; whatever it does not say is as in a new case."""
    on = set_by(Conditions(key=case.plan["keys"][0]), list(one.on), tuple(case.plan["keys"]), one.at.isoformat(), case.last_n + 1)  # fmt: skip
    if on.battery_v is None or one.battery_age_s is None:
        return on
    return replace(on, battery_at=(one.at - timedelta(seconds=one.battery_age_s)).isoformat())


def _battery_holds(one: _Line, on: Conditions) -> None:
    """Raise where the battery was not read, or too long before.

    Raises
    ------
    BadWord : it was
    """
    if on.battery_v is None or one.battery_age_s is None:
        raise BadWord("the battery was not read before it")
    if one.battery_age_s > BATTERY_HOLDS_S:
        raise BadWord(f"the battery was read {figures.minutes(one.battery_age_s)} before it")


def _after_what_was_touched(case: Case, one: _Line) -> None:
    """Raise where something was touched after a reading and noted before it was handed over: by its number it would count as read after that.

    Raises
    ------
    BadWord : it was
    """
    for note in case.notes:
        if note.kind in TOUCHING and datetime.fromisoformat(note.at) > one.at:
            raise BadWord(f"it was read before entry {note.n} ({note.kind} {', '.join(note.words)}) and handed over after it: read it again")  # fmt: skip


def _corrected(case: Case, one: _Line, recorded: dict[str, int]) -> tuple[Reading, str]:
    """What a reading should have said, in its own conditions; and its number in the case.

    Raises
    ------
    BadWord : it is not in the case, or corrected already, or of another row
    """
    number = recorded.get(one.instead_of) or case.handed.get(one.instead_of)
    if number is None:
        raise BadWord(f"{one.instead_of}, which it corrects, is not in the case")
    name = f"{number}.1"
    return correction(case_in(case.file), one.said, (), name), name


__all__ = ["MOST_CHARACTERS", "Taken", "take_handed"]
