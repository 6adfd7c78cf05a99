"""A case as it stands: what its entries come to, and how new ones are made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import combinations
from pathlib import Path
from typing import Any

from tracer.case.file import CaseFile, append, read_case
from tracer.case.readings import BadWord, Conditions, Reading, reading_of, set_by, split_word, value_of
from tracer.plan.words import Names, line_name
from tracer.standards import figures

BATTERY_HOLDS_S = 900.0  # then it is asked for again (common practice, no source)
# What may be noted beside readings: how its words are written, and what for.
NOTES: Mapping[str, tuple[str, str]] = {
    "look": ("F52=20", "a panel as seen: what is plugged in a position, or `empty`, `ok`, `blown`"),
    "fit": ("2+=ok", "how tight the contact of a pin sits: ok, loose, spread, corroded, pushed-back"),
    "roll-call": ("GTW=yes", "whether another module on the bus answers"),
    "tick": ("coding=HOW", "of the gate: wake, sensors, coding, variant, immobiliser, lamp; with how it was seen"),
    "waive": ("8+", "a row that will not be measured: it stays in the verdict; wants --why"),
    "repair": ("X4", "what was repaired or renewed: readings through it are stale from now on"),
    "unplugged": ("X4", "what was unplugged or loosened: it must be seated and tested again"),
    "seated": ("X4", "what is plugged in and tight again"),
    "moved": ("X4", "wires that were moved"),
    "photo": ("file.jpg", "a photo by its name"),
    "drawing": ("X4", "where the drawing is wrong; wants --why with what was found"),
    "added": ("alarm", "something added that is on no drawing"),
}
FITS = ("ok", "loose", "spread", "corroded", "pushed-back")
TICKS = ("wake", "sensors", "coding", "variant", "immobiliser", "lamp")


@dataclass(frozen=True, slots=True)
class Note:
    """What was noted beside readings: `words` by name, such as a pin and how it fits."""

    n: int
    kind: str
    words: Mapping[str, str]
    why: str
    at: str
    by: str


@dataclass(frozen=True)
class Case:
    """One case, with everything that stands in its file. Corrected readings are in `corrected`, and no longer in `readings`."""

    file: Path
    opening: Mapping[str, Any]
    conditions: Conditions
    readings: tuple[Reading, ...]
    corrected: Mapping[str, Reading]
    notes: tuple[Note, ...]
    damaged: tuple[str, ...]
    remarks: tuple[str, ...]
    last_n: int

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
        return "bus" if name in self._lines else ""

    @cached_property
    def _lines(self) -> frozenset[str]:
        """The names of all lines of the buses and of all pairs of them."""
        lines = ((bus, tuple(facts["pins"])) for bus, facts in self.plan["buses"].items())
        return frozenset(line_name(bus, *some) for bus, pins in lines for n in (1, 2) for some in combinations(pins, n))

    def notes_of(self, kind: str) -> list[Note]:
        """The notes of one kind, in order."""
        return [note for note in self.notes if note.kind == kind]


def case_of(found: CaseFile) -> Case:
    """What the entries of a file come to."""
    opening = found.entries[0]
    conditions = Conditions(key=opening["plan"]["keys"][0])
    readings: dict[str, Reading] = {}
    corrected: dict[str, Reading] = {}
    notes, remarks, before = [], [], ""
    for entry in sorted(found.entries[1:], key=lambda one: one["n"]):
        at = str(entry["at"])
        if before and _time(at) < _time(before):
            remarks.append(f"entry {entry['n']}: the clock stood earlier than at the entry before; the order is that of the entries")  # fmt: skip
        before = at
        if entry["kind"] == "set":
            conditions = Conditions.of(entry["conditions"])
        elif entry["kind"] == "read":
            held = Conditions.of(entry["conditions"])
            if not entry["instead_of"]:  # a correction is in the conditions of the reading that it mends
                conditions = held
            for number, one in enumerate(entry["readings"], 1):
                values = tuple(value_of(text) for text in one["values"])
                reading = Reading(one["name"], values, one["status"], held, f"{entry['n']}.{number}", at, entry["why"], entry["instead_of"], one.get("lit", False))  # fmt: skip
                readings[reading.id] = reading
            if entry["instead_of"] in readings:
                corrected[entry["instead_of"]] = readings.pop(entry["instead_of"])
        else:
            notes.append(Note(entry["n"], entry["kind"], entry["words"], entry["why"], at, entry["by"]))
    return Case(
        found.file, opening, conditions, tuple(readings.values()), corrected, tuple(notes), found.damaged, tuple(remarks), max(entry["n"] for entry in found.entries),
    )  # fmt: skip


def case_in(file: Path) -> Case:
    """The case of a file.

    Raises
    ------
    CannotCompute : it cannot be read
    """
    return case_of(read_case(file))


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
    BadWord, NotWritten : nothing is recorded
    """
    at = now.isoformat(timespec="seconds")
    conditions = set_by(case.conditions, list(words), tuple(case.plan["keys"]), at, case.last_n + 1)
    append(case.file, {"kind": "set", "at": at, "conditions": conditions.data()})
    return case_in(case.file)


def record(case: Case, words: Sequence[str], now: datetime, *, why: str = "", instead_of: str = "") -> Recorded:
    """Readings, all or none.

    Raises
    ------
    BadWord : a word that does not fit: nothing of the call is recorded
    NotWritten : nothing is recorded
    """
    at = now.isoformat(timespec="seconds")
    own = [word for word in words if split_word(word)[0].casefold() == "battery"]
    conditions = set_by(case.conditions, own, tuple(case.plan["keys"]), at, case.last_n + 1)
    read = [understood(case, word, conditions) for word in words if word not in own]
    if any(one.status for one in read) and not why and any(one.status != "ok" for one in read):
        raise BadWord("not-reached and not-fitted want a reason: --why TEXT.")
    if any(one.values for one in read) and (ask := battery_is_old(conditions, now)):
        raise BadWord(f"{ask}: read the battery posts and add battery=VOLTS to the call. Nothing is recorded.")
    known = {one.id: one for one in case.readings}
    if instead_of and instead_of not in known:
        raise BadWord(f"there is no reading {instead_of} to correct; `tracer case show` numbers them.")
    if instead_of and len(read) != 1:
        raise BadWord("a correction is one reading in place of one.")
    if instead_of:  # what was typed wrong is mended; the conditions are those of the reading
        read = [understood(case, words[-1], known[instead_of].conditions)]
        conditions = known[instead_of].conditions
    n = append(case.file, entry_of(read, conditions, now, why=why, instead_of=instead_of))
    after = case_in(case.file)
    mine = tuple(one for one in after.readings if one.n == n)
    return Recorded(after, n, mine, tuple(ask for one in mine for ask in asks_about(case, one)))


def entry_of(
    read: Sequence[Reading], conditions: Conditions, now: datetime, *, why: str, instead_of: str
) -> dict[str, Any]:
    """The entry of readings under the same conditions."""
    at = now.isoformat(timespec="seconds")
    return {
        "kind": "read", "at": at, "conditions": conditions.data(), "readings": [one.data() for one in read], "why": why, "instead_of": instead_of,
    }  # fmt: skip


def note(case: Case, kind: str, words: Sequence[str], now: datetime, *, why: str = "", by: str = "") -> Case:
    """Something beside readings, see `NOTES`.

    Raises
    ------
    BadWord : a word that does not fit
    NotWritten : nothing is recorded
    """
    if kind not in NOTES:
        raise BadWord(f"{kind} is nothing that can be noted: {', '.join(NOTES)}.")
    if not words:
        raise BadWord(f"write what: tracer case note {kind} {NOTES[kind][0]}.")
    found = dict(_noted(case, kind, word) for word in words)
    if kind in ("waive", "drawing") and not why:
        raise BadWord(f"{kind} wants --why TEXT.")
    at = now.isoformat(timespec="seconds")
    append(case.file, {"kind": kind, "at": at, "words": found, "why": why, "by": by or case.opening["by"]})
    return case_in(case.file)


def _noted(case: Case, kind: str, word: str) -> tuple[str, str]:
    if kind not in ("look", "fit", "roll-call", "tick"):
        return (case.find(word) if kind == "waive" else word), ""
    name, said = split_word(word)
    if kind == "fit":
        if said not in FITS:
            raise BadWord(f"`{word}`: a contact sits {', '.join(FITS)}.")
        return case.find(name), said
    if kind == "tick" and name not in TICKS:
        raise BadWord(f"`{word}`: the gate has {', '.join(TICKS)}.")
    if kind == "roll-call" and said not in ("yes", "no"):
        raise BadWord(f"`{word}`: write yes or no.")
    return name, said


def understood(case: Case, word: str, conditions: Conditions) -> Reading:
    """A word such as `3+=12.38/12.17` as a reading under these conditions.

    Raises
    ------
    BadWord : it does not fit
    """
    name, read = split_word(word)
    full = case.find(name)
    return reading_of(full, read, conditions, _wanted(case, full, conditions), called=case.short(full))


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
    return f"the battery was read {age / 60:.0f} minutes ago" if age > BATTERY_HOLDS_S else ""


def asks_about(case: Case, reading: Reading) -> Iterable[str]:
    """Questions about a value that can hardly be: it is kept all the same."""
    level, called = case.level(reading.name), case.short(reading.name)
    battery = reading.conditions.battery_v or float(case.plan["system_v"])
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
    moved = reading.moved_v(level)
    if moved is not None and moved < -0.05:
        yield f"{called}: the lamp moved it the wrong way, by {figures.volts(-moved)}: were the values given as ALONE/LAMP?"


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


__all__ = ["FITS", "NOTES", "TICKS", "Case", "Note", "Recorded", "asks_about", "battery_is_old", "case_in", "case_of", "entry_of", "note", "record", "set_conditions", "understood"]  # fmt: skip
