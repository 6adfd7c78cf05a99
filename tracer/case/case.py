"""A case as it stands: what its entries come to, and how new ones are made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from itertools import combinations_with_replacement
from pathlib import Path
from typing import Any

from tracer.case import by_hand
from tracer.case.file import CaseFile, Entry, Grown, append, read_case
from tracer.case.readings import BadWord, Conditions, Reading, reading_of, set_by, split_word, value_of
from tracer.case.things import Things
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotCompute, listed
from tracer.plan.words import Names, line_name, unit_of
from tracer.standards import figures

BATTERY_HOLDS_S = 900.0  # then it is asked for again (common practice, no source)


@dataclass(frozen=True, slots=True)
class Note:
    """What was noted beside readings: `words` by name, such as a pin and how it fits; `conditions` where they matter, as for a watch."""

    n: int
    kind: str
    words: Mapping[str, str]
    why: str
    at: str
    by: str
    conditions: Conditions | None = None


@dataclass(frozen=True)
class Case:
    """One case, with everything that stands in its file.

    Readings that were corrected or taken back are in `corrected` and no longer in `readings`, notes that were taken back in `withdrawn`. `handed` has what a page
    handed over, by the page's own names: the number of the entry.
    """

    file: Path
    opening: Mapping[str, Any]
    conditions: Conditions
    readings: tuple[Reading, ...]
    corrected: Mapping[str, Reading]
    notes: tuple[Note, ...]
    damaged: tuple[str, ...]
    remarks: tuple[str, ...]
    last_n: int
    withdrawn: tuple[Note, ...] = ()
    handed: Mapping[str, int] = field(default_factory=dict)

    @property
    def plan(self) -> Mapping[str, Any]:
        """The plan that the case was opened on."""
        found: Mapping[str, Any] = self.opening["plan"]
        return found

    def short(self, name: str) -> str:
        """The short name of a row or point."""
        return str(self.plan["short"].get(name, name))

    @cached_property
    def names(self) -> Names:
        """What words mean in the list that the case was opened on."""
        return Names(self.plan["short"], {word: tuple(full) for word, full in self.plan["words"].items()})

    @cached_property
    def things(self) -> Things:
        """What words mean in a note."""
        return Things(self.plan, self.names)

    def find(self, word: str) -> str:
        """The full name that a word means.

        Raises
        ------
        UnknownName : nothing, or several things
        """
        return self.names.find(word)

    def level(self, name: str) -> str:
        """Supply or ground; `bus` for a line of a bus, empty for another pin."""
        for kind in ("rows", "chains", "points"):
            if name in self.plan[kind]:
                return str(self.plan[kind][name]["level"])
        return "bus" if name.partition("@")[0] in self._lines else ""

    @cached_property
    def _lines(self) -> frozenset[str]:
        """The names of all lines of the buses, of all pairs of them, and of each along itself."""
        lines = [(bus, tuple(facts["pins"])) for bus, facts in self.plan["buses"].items()]
        pairs = (line_name(bus, *some) for bus, pins in lines for some in combinations_with_replacement(pins, 2))
        return frozenset((*pairs, *(line_name(bus, line) for bus, pins in lines for line in pins)))

    def unit(self, name: str, on: Conditions) -> str:
        """V, ohm or s: what a reading of that name is in."""
        return unit_of(name, is_bus=self.level(name) == "bus", asleep=on.asleep)

    @property
    def list_open(self) -> str:
        """Why the list that the case was opened on may lack something; empty where it is complete."""
        done = self.plan["list"]
        if done["state"] == "complete":
            return ""
        loose = f"{done['loose']} loose end{'s' if done['loose'] > 1 else ''}" if done["loose"] else listed(done["rests_on"] or done["not_looked_at"], most=3, joiner="and")  # fmt: skip
        return f"the list is {done['state']}" + (f": {loose}" if loose else "")

    def open_on_way(self, name: str) -> tuple[str, ...]:
        """What is loose or assumed on the way of a row and on what it needs first; of a case that does not keep it row by row, what the list lacks."""
        row, done = self.plan["rows"][name], self.plan["list"]
        if done["state"] == "complete":
            return ()
        return tuple(row["open"]) if "open" in row else (f"the list is {done['state']}",)

    def withheld(self, name: str, *, plugged: bool = True) -> str:
        """'nothing is measured there: ...', of a row, a point, or a bus at the unplugged connector, where a hazard leaves no method; empty where something may be measured."""
        row, point = self.plan["rows"].get(name), self.plan["points"].get(name, {})
        why = row["no_method"] if row is not None else next(iter(self.plan["hazards"]), "") if point.get("never") else ""  # fmt: skip
        why = why or ("" if plugged else self.plan["not_unplugged"])
        return f"nothing is measured there: {why}" if why else ""

    def notes_of(self, kind: str) -> list[Note]:
        """The notes of one kind, in order."""
        return [note for note in self.notes if note.kind == kind]


# What every plan has. Without `network`, `looks`, `parts` and `beside` a case of an older version is still read.
_OF_A_PLAN = ("vehicle", "module", "edition", "keys", "system_v", "list", "not_unplugged", "short", "words", "rows", "chains", "points", "untraced", "buses", "outputs", "hazards")  # fmt: skip


def case_of(found: CaseFile) -> Case:
    """What the entries of a file come to.

    Raises
    ------
    AttributeError, IndexError, KeyError, TypeError, ValueError : an entry is none that this program writes
    """
    opening = found.entries[0]
    for name in _OF_A_PLAN:
        opening["plan"][name]
    conditions = Conditions(key=opening["plan"]["keys"][0])
    readings: dict[str, Reading] = {}
    corrected: dict[str, Reading] = {}
    notes: dict[int, Note] = {}
    remarks, withdrawn, before = [], [], ""
    for entry in sorted(found.entries[1:], key=lambda one: one["n"]):
        at = str(entry["at"])
        if before and _time(at) < _time(before):
            remarks.append(f"entry {entry['n']}: the clock stood earlier than at the entry before; the order is that of the entries")  # fmt: skip
        before = at
        if entry["kind"] == "set":
            conditions = Conditions.of(entry["conditions"])
        elif entry["kind"] == "read":
            if entry["instead_of"]:
                readings, gone = _mended(readings, entry)
                corrected |= gone
            else:  # a correction changes nothing of what holds now, nor what was read under the conditions of a page
                conditions = conditions if "handed" in entry else Conditions.of(entry["conditions"])
                readings |= {one.id: one for one in _read(entry)}
        else:
            on = Conditions.of(entry["conditions"]) if "conditions" in entry else None
            notes[entry["n"]] = Note(entry["n"], entry["kind"], entry["words"], entry["why"], at, entry["by"], on)
            for word in entry["words"] if entry["kind"] == "withdraw" else ():
                if word in readings:
                    corrected[word] = readings.pop(word)
                elif "." not in word and int(word) in notes:
                    withdrawn.append(notes.pop(int(word)))
    return Case(
        found.file, opening, conditions, tuple(readings.values()), corrected, tuple(notes.values()), found.damaged, (*found.cut, *remarks), max(entry["n"] for entry in found.entries), tuple(withdrawn),
        {entry["handed"]: entry["n"] for entry in found.entries if "handed" in entry},
    )  # fmt: skip


def _read(entry: Entry) -> Iterator[Reading]:
    """The readings of an entry."""
    for number, one in enumerate(entry["readings"], 1):
        held = Conditions.of(one.get("conditions", entry["conditions"]))
        values = tuple(value_of(text) for text in one["values"])
        yield Reading(one["name"], values, one["status"], held, f"{entry['n']}.{number}", str(entry.get("read_at", entry["at"])), entry["why"], entry["instead_of"], one.get("lit", False))  # fmt: skip


def _mended(readings: Mapping[str, Reading], entry: Entry) -> tuple[dict[str, Reading], dict[str, Reading]]:
    """The readings with a correction at the place, and of the time, of the one that it mends; and that one. Where its line is damaged, its number still says when it was."""
    (new,) = _read(entry)
    old = readings.get(new.instead_of)
    if old is None:
        return {**readings, new.id: replace(new, first=new.instead_of)}, {}
    new = replace(new, first=old.first or old.id, at=old.at)
    return {(new.id if one is old else name): (new if one is old else one) for name, one in readings.items()}, {old.id: old}  # fmt: skip


def case_in(file: Path) -> Case:
    """The case of a file.

    Raises
    ------
    CannotCompute : it cannot be read, or its entries are none that this program writes
    """
    found = read_case(file)
    try:
        return case_of(found)
    except (
        AttributeError,
        IndexError,
        KeyError,
        TypeError,
        ValueError,
    ) as error:  # whole lines, of another program or version
        raise CannotCompute(f"{file} cannot be read: an entry in it is none of this version ({type(error).__name__}: {error}).") from error  # fmt: skip


# --- new entries -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was recorded, as understood; `asks` are questions about values that can hardly be."""

    case: Case
    n: int
    readings: tuple[Reading, ...]
    asks: tuple[str, ...]


def set_conditions(case: Case, words: Sequence[str], now: datetime) -> Case:
    """Conditions that hold from now on.

    Raises
    ------
    BadWord, UnknownName, NotWritten : nothing is recorded
    """
    at = now.isoformat(timespec="seconds")
    typed = [_with_names(case, word) for word in words]
    conditions = set_by(case.conditions, typed, tuple(case.plan["keys"]), at, case.last_n + 1)
    try:
        append(case.file, {"kind": "set", "at": at, "conditions": conditions.data()}, after=case.last_n)
    except Grown:
        return set_conditions(_as_before(case), words, now)
    return case_in(case.file)


def _with_names(case: Case, word: str) -> str:
    """A word such as `out=f20,g6` with the names as the plan writes them, by which the test that it belongs to is found.

    Raises
    ------
    UnknownName : it means nothing of the vehicle
    """
    name, text = split_word(word, "what holds as in key=run")
    if name.casefold() == "hand" and text.casefold() != "none":
        return f"hand={by_hand.understood(case.plan, case.things, text).word}"
    if name.casefold() != "out" or text.casefold() == "none":
        return word
    return f"out={','.join(case.things.find(one) for one in text.split(',') if one) or 'none'}"


def _as_before(case: Case) -> Case:
    """The case as another call has left it meanwhile.

    Raises
    ------
    NotWritten : other conditions hold now than this call was typed under
    """
    found = case_in(case.file)
    if found.conditions != case.conditions:
        raise NotWritten("Another call has changed the conditions of this case at this moment: look what holds (`tracer case show`) and type it again. Nothing is recorded.")  # fmt: skip
    return found


def record(case: Case, words: Sequence[str], now: datetime, *, why: str = "", instead_of: str = "") -> Recorded:
    """Readings, all or none.

    A correction (`instead_of`) is one reading of the same row. It keeps the time and the conditions of the one that it mends, so what was stale stays stale; only
    the battery that was typed with it may be mended as well.

    Raises
    ------
    BadWord, UnknownName : a word that does not fit: nothing of the call is recorded
    NotWritten : nothing is recorded
    """
    own = [word for word in words if split_word(word)[0].casefold() == "battery"]
    typed = [word for word in words if word not in own]
    if instead_of:
        read = [correction(case, typed, own, instead_of)]
        conditions = read[0].conditions
    else:
        at = now.isoformat(timespec="seconds")
        conditions = set_by(case.conditions, own, tuple(case.plan["keys"]), at, case.last_n + 1)
        read = [understood(case, word, conditions) for word in typed]
        if any(refers_to_battery(case, one) for one in read) and (ask := battery_is_old(conditions, now)):
            raise BadWord(f"{ask}: read the battery posts and add battery=VOLTS to the call. Nothing is recorded.")
    if any(one.status not in ("", "ok") for one in read) and not why:
        raise BadWord("not-reached and not-fitted want a reason: --why TEXT.")
    try:
        n = append(case.file, entry_of(read, conditions, now, why=why, instead_of=instead_of), after=case.last_n)
    except Grown:
        return record(_as_before(case), words, now, why=why, instead_of=instead_of)
    after = case_in(case.file)
    mine = tuple(one for one in after.readings if one.entry == n)
    return Recorded(after, n, mine, tuple(ask for one in mine for ask in asks_about(case, one)))


def correction(case: Case, typed: Sequence[str], battery: Sequence[str], instead_of: str) -> Reading:
    """What a reading should have said.

    Raises
    ------
    BadWord : there is no such reading, or it is of another row, or not one in place of one
    """
    old = next((one for one in case.readings if one.id == instead_of), None)
    if old is None:
        mended = ": it was corrected or taken back before" if instead_of in case.corrected else ""
        raise BadWord(f"there is no reading {instead_of} to correct{mended}; `tracer case show` numbers them.")
    if len(typed) != 1:
        raise BadWord("a correction is one reading in place of one.")
    on = old.conditions
    if battery:
        volts = set_by(on, list(battery), tuple(case.plan["keys"]), on.battery_at, on.battery_n).battery_v
        on = replace(on, battery_v=volts)
    new = understood(case, typed[0], on)
    if new.name != old.name:
        raise BadWord(f"{instead_of} is a reading of {case.short(old.name)}, and a correction is of the same row: take it back (tracer case note withdraw {instead_of} --why TEXT) and read {case.short(new.name)} anew.")  # fmt: skip
    return new


def entry_of(
    read: Sequence[Reading], conditions: Conditions, now: datetime, *, why: str, instead_of: str, each: bool = False
) -> dict[str, Any]:
    """The entry of readings under the same conditions; with `each` every reading brings its own, and `conditions` go on as they were."""
    at = now.isoformat(timespec="seconds")
    own = [{"conditions": one.conditions.data()} if each else {} for one in read]
    return {
        "kind": "read", "at": at, "conditions": conditions.data(), "readings": [{**one.data(), **on} for one, on in zip(read, own, strict=True)], "why": why, "instead_of": instead_of,
    }  # fmt: skip


def understood(case: Case, word: str, conditions: Conditions) -> Reading:
    """A word such as `3+=12.38/12.17` as a reading under these conditions.

    Raises
    ------
    BadWord : it does not fit
    """
    name, read = split_word(word)
    full = case.find(name)
    unit = case.unit(full, conditions)
    return reading_of(full, read, conditions, _wanted(case, full, conditions), called=case.short(full), unit=unit)


def refers_to_battery(case: Case, reading: Reading) -> bool:
    """Whether the volts of the battery must be known at a reading: seconds say the same at any."""
    return bool(reading.values) and case.unit(reading.name, reading.conditions) != "s"


def _wanted(case: Case, name: str, conditions: Conditions) -> int:
    """How many values belong to a reading: two where the module is unplugged and a lamp is set, and a lamp may hang there."""
    row = case.plan["rows"].get(name)
    if conditions.plugged or conditions.lamp_w is None:
        return 1
    if row is None:
        return 2 if name in case.plan["points"] or name in case.plan["chains"] else 1
    return 1 if row["no_method"] or all(test["lamp_w"] is None for test in row["tests"]) else 2


def battery_is_old(conditions: Conditions, now: datetime) -> str:
    """Why the battery must be read again; empty where its volts still hold."""
    if conditions.battery_v is None:
        return "the battery was not read yet"
    if conditions.battery_n < conditions.key_n:
        return "the key or the engine was turned since the battery was read"
    age = (now - _time(conditions.battery_at)).total_seconds()
    if age < 0:
        return "the clock was set back since the battery was read"
    return f"the battery was read {figures.minutes(age)} ago" if age > BATTERY_HOLDS_S else ""


def asks_about(case: Case, reading: Reading) -> Iterable[str]:
    """Questions about a value that can hardly be: it is kept all the same."""
    level, called = case.level(reading.name), case.short(reading.name)
    battery = reading.conditions.battery_v or float(case.plan["system_v"])
    if reading.values and (withheld := case.withheld(reading.name, plugged=reading.conditions.plugged)):
        yield f"{called}: {withheld}."
    for value in reading.values:
        volts = value.number
        if volts is None or level not in ("supply", "ground"):
            continue
        lost = reading.conditions.other == "+"
        if volts < -0.5 or volts > battery + 0.5:
            yield f"{called} {figures.volts(volts)} with {figures.volts(battery)} at the battery: the right lead, the right range?"
        elif level == "ground" and not lost and value is reading.values[0] and volts > 0.5 * battery:
            yield f"{called}: {figures.volts(volts)} at a ground: the right pin? Read it once more."
        elif level == "supply" and not lost and reading.conditions.plugged and volts < 0:
            yield f"{called}: {figures.volts(volts)} at a supply: leads crossed?"
    moved = reading.moved_ends(level)
    if moved is not None and moved[1] < -0.05:
        yield f"{called}: the lamp moved it the wrong way, by {figures.volts(-moved[1])}: were the values given as ALONE/LAMP?"


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


__all__ = ["Case", "Note", "Recorded", "asks_about", "battery_is_old", "case_in", "case_of", "correction", "entry_of", "record", "refers_to_battery", "set_conditions", "understood"]  # fmt: skip
