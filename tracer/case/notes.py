"""What is kept beside readings: how each kind of note is typed, and what its words mean in the plan of the case."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tracer.case.case import Case, Note, case_in
from tracer.case.file import append
from tracer.case.judged import half_v
from tracer.case.readings import BadWord, Conditions, said_yes, split_word, value_of
from tracer.entry.part_kinds import IN_A_POSITION
from tracer.plan.words import UnknownName, line_name
from tracer.standards import figures

FITS = ("ok", "loose", "spread", "corroded", "pushed-back")
TICKS = ("wake", "sensors", "coding", "variant", "immobiliser", "lamp", "meter")
_TIME = re.compile(r"^(\d+(?:[.,]\d+)?)(s|min|h)$")

Word = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Kind:
    """How a kind of note is typed: an example of a word, what it is for, what a word becomes, and whether it wants a reason."""

    example: str
    what: str
    take: Callable[[Case, str], Word]
    reason: bool = False


def note(case: Case, kind: str, words: Sequence[str], now: datetime, *, why: str = "", by: str = "") -> Case:
    """Something beside readings, see `NOTES`.

    Raises
    ------
    BadWord, UnknownName : a word that does not fit, or means nothing of the vehicle
    NotWritten : nothing is recorded
    """
    append(case.file, note_entry(case, kind, words, now, why=why, by=by))
    return case_in(case.file)


def note_entry(case: Case, kind: str, words: Sequence[str], now: datetime, *, why: str, by: str) -> dict[str, Any]:
    """The entry of a note.

    Raises
    ------
    BadWord, UnknownName : a word that does not fit, or means nothing of the vehicle
    """
    if kind not in NOTES:
        raise BadWord(f"{kind} is nothing that can be noted: {', '.join(NOTES)}.")
    if not words:
        raise BadWord(f"write what: tracer case note {kind} {NOTES[kind].example}.")
    found = [NOTES[kind].take(case, word) for word in words]
    if twice := [name for n, (name, _) in enumerate(found) if name in dict(found[:n])]:
        raise BadWord(f"{case.short(twice[0])} stands there twice.")
    if kind == "watch":
        _whole_watch(dict(found))
    if NOTES[kind].reason and not why:
        raise BadWord(f"{kind} wants --why TEXT" + (" with what was done meanwhile." if kind == "watch" else "."))
    at = now.isoformat(timespec="seconds")
    held = {"conditions": case.conditions.data()} if kind == "watch" else {}
    return {"kind": kind, "at": at, "words": dict(found), "why": why, "by": by or case.opening["by"], **held}


# --- words of each kind ------------------------------------------------------------------------------------------------


def _split(kind: str, word: str) -> Word:
    return split_word(word, f"{kind} as in {NOTES[kind].example}")


def _thing(case: Case, word: str) -> Word:
    return case.things.find(word), ""


def _thing_if_known(case: Case, word: str) -> Word:
    try:
        return _thing(case, word)
    except UnknownName:
        return word, ""


def _as_typed(case: Case, word: str) -> Word:
    return word, ""


def _row(case: Case, word: str) -> Word:
    name = case.find(word)
    rows = (*case.plan["rows"], *(line_name(bus, *facts["pins"]) for bus, facts in case.plan["buses"].items()))
    if name not in rows:
        raise BadWord(f"{word} is no row of this case: it has {', '.join(map(case.short, rows))}.")
    return name, ""


def _fit(case: Case, word: str) -> Word:
    name, said = _split("fit", word)
    if said.casefold() not in FITS:
        raise BadWord(f"`{word}`: a contact sits {', '.join(FITS)}.")
    try:
        return case.find(name), said.casefold()
    except UnknownName:
        return case.things.find(name), said.casefold()


def _look(case: Case, word: str) -> Word:
    name, said = _split("look", word)
    found = case.things.part(name, IN_A_POSITION, "fuse, relay or diode of this vehicle")
    said = said.casefold()
    if said in ("empty", "ok", "blown"):
        return found, said
    number = value_of(said.removesuffix("a")) if said.removesuffix("a") else None
    if number is None or number.is_word or number.below or number.above or not number.number or number.number < 0:
        raise BadWord(f"`{word}`: write the rating that is plugged in (F52=20), or empty, ok, blown.")
    return found, figures.stated(number.number)


def _roll_call(case: Case, word: str) -> Word:
    name, said = _split("roll-call", word)
    if said.casefold() not in ("yes", "no"):
        raise BadWord(f"`{word}`: write yes or no.")
    try:
        return case.things.part(name, ("module",), "module"), said.casefold()
    except UnknownName:  # on no page that was typed in, and yet on the bus
        return name, said.casefold()


def _works(case: Case, word: str) -> Word:
    name, said = _split("works", word)
    if said.casefold() not in ("yes", "no"):
        raise BadWord(f"`{word}`: write yes or no.")
    return case.things.find(name), said.casefold()


def _tick(case: Case, word: str) -> Word:
    name, said = _split("tick", word)
    if name.casefold() not in TICKS:
        raise BadWord(f"`{word}`: the gate has {', '.join(TICKS)}.")
    return name.casefold(), said


def _added(case: Case, word: str) -> Word:
    where, what = _split("added", word)
    return ("unknown" if where.casefold() == "unknown" else case.things.find(where)), what


def _withdrawn(case: Case, word: str) -> Word:
    if word not in {one.id for one in case.readings} and word not in {str(one.n) for one in case.notes if one.kind != "withdraw"}:  # fmt: skip
        raise BadWord(f"there is no reading or note {word} to take back; `tracer case show` numbers them.")
    return word, ""


def _watch(case: Case, word: str) -> Word:
    name, said = _split("watch", word)
    if name.casefold() == "symptom":
        return "symptom", "yes" if said_yes(word, said) else "no"
    if name.casefold() == "for":
        match = _TIME.match(said.casefold())
        if match is None:
            raise BadWord(f"`{word}`: write how long it was watched: for=90s, for=20min, for=1.5h.")
        return "for", f"{match[1].replace(',', '.')} {match[2]}"
    values = [value_of(text) for text in said.split("/")]
    if len(values) != 2 or any(one.number is None or one.is_word or one.above for one in values):
        raise BadWord(f"`{word}`: write the least and the most that was seen: {name}=11.9/12.4.")
    least, most = (float(one.number or 0.0) for one in values)
    if least > most:
        raise BadWord(f"`{word}`: the least comes first ({name}={values[1].text}/{values[0].text}).")
    return case.find(name), "/".join(one.text.replace(",", ".") for one in values)


def _whole_watch(words: Mapping[str, str]) -> None:
    for name, how in (("for", "how long: for=20min"), ("symptom", "whether the symptom came: symptom=yes or symptom=no")):  # fmt: skip
        if name not in words:
            raise BadWord(f"a watch wants {how}.")
    if len(words) == 2:
        raise BadWord("a watch wants what was watched, with the least and the most that was seen: 5+=11.9/12.4.")


NOTES: Mapping[str, Kind] = {
    "look": Kind("F52=20", "a position as seen: the rating plugged in, or `empty`, `ok`, `blown`", _look),
    "fit": Kind("2+=ok", f"how tight the contact of a pin sits: {', '.join(FITS)}", _fit),
    "works": Kind("KAL=yes", "whether what must work first does: a relay clicks, a module or converter gives what is asked of it", _works),
    "roll-call": Kind("GTW=yes", "whether another module on the bus answers", _roll_call),
    "tick": Kind("coding=HOW", f"of the gate: {', '.join(TICKS)}; with how it was seen", _tick),
    "waive": Kind("8+", "a row that will not be measured: it stays in the verdict; wants --why", _row, reason=True),
    "watch": Kind("5+=11.9/12.4 for=20min symptom=no", "least and most of rows for a time; --why says what was done", _watch, reason=True),
    "repair": Kind("X4", "what was repaired or renewed: readings through it are stale from now on", _thing),
    "unplugged": Kind("X4", "what was unplugged or loosened: it must be seated and tested again", _thing),
    "seated": Kind("X4", "what is plugged in and tight again", _thing),
    "moved": Kind("X4", "where wires were moved", _thing),
    "photo": Kind("file.jpg", "a photo by its name", _as_typed),
    "drawing": Kind("X4", "where the drawing is wrong; wants --why with what was found", _thing_if_known, reason=True),
    "added": Kind("X4=alarm", "something that is on no drawing, by where it is joined; unknown=alarm", _added),
    "withdraw": Kind("7.2", "a reading or a note by its number: it was wrong and no longer counts; wants --why", _withdrawn, reason=True),
}  # fmt: skip


# --- what they say -----------------------------------------------------------------------------------------------------


def not_as_listed(case: Case, *, all_parts: bool = False) -> Iterator[str]:
    """What was last seen in a position and is not what the list says; of the parts on the module's ways, or of all.

    What was seen before a repair there no longer holds.
    """
    seen: dict[str, str] = {}
    for one in case.notes:
        if one.kind == "look":
            seen |= one.words
        elif one.kind == "repair":
            for name in one.words:
                seen.pop(name, None)
    wanted = case.plan.get("looks")
    for name, said in seen.items():
        if (all_parts or wanted is None or name in wanted) and (words := _differs(case, name, said)):
            yield words


def _differs(case: Case, name: str, said: str) -> str:
    facts = case.things.parts.get(name, {})
    amps, rating = facts.get("amps"), figures.stated(facts["amps"], "A") if facts.get("amps") else ""
    if said == "blown":
        return f"{name} is blown"
    if said == "empty":
        return (
            "" if facts.get("empty") else f"{name} is empty: {rating or 'a ' + facts.get('kind', 'fuse')} belongs there"
        )
    if said == "ok":
        return ""
    if facts.get("empty") and not amps:
        return f"{name} holds {said} A: it must be empty"
    return f"{name} holds {said} A: {rating} belongs there" if amps and float(said) != float(amps) else ""


@dataclass(frozen=True, slots=True)
class Watched:
    """A watch: each row with the least and the most seen, for how long, what was done meanwhile, and whether the symptom came."""

    n: int
    rows: tuple[tuple[str, float, float], ...]
    time: str
    done: str
    symptom: bool
    on: str

    def words(self, case: Case) -> str:
        """'5+ 11.90 V to 12.40 V key run, plugged in, for 20 min, drove over kerbs: not reproduced'."""
        rows = ", ".join(f"{case.short(name)} {figures.volts(least)} to {figures.volts(most)}" for name, least, most in self.rows)  # fmt: skip
        return f"{rows}, {self.on}, for {self.time}, {self.done}: {'the symptom came' if self.symptom else 'not reproduced'}"

    def broke_off(self, case: Case) -> list[str]:
        """The supplies that went dead and the grounds that came off meanwhile, by their names."""
        half = {name: half_v(case, case.plan["rows"].get(name, {})) for name, *_ in self.rows}
        return [name for name, least, most in self.rows if (case.level(name) == "supply" and least < half[name]) or (case.level(name) == "ground" and most > half[name])]  # fmt: skip


def watches(case: Case) -> list[Watched]:
    """Every watch of a case, in order."""
    return [_watched(one) for one in case.notes_of("watch")]


def _watched(one: Note) -> Watched:
    spans = {name: said.split("/") for name, said in one.words.items() if name not in ("for", "symptom")}
    rows = tuple((name, value_of(least).number or 0.0, value_of(most).number or 0.0) for name, (least, most) in spans.items())  # fmt: skip
    on = one.conditions or Conditions()
    held = f"key {on.key}, {'plugged in' if on.plugged else 'unplugged'}{', engine running' if on.engine else ''}"
    return Watched(one.n, rows, one.words["for"], one.why, one.words["symptom"] == "yes", held)


__all__ = ["FITS", "NOTES", "TICKS", "Watched", "not_as_listed", "note", "note_entry", "watches"]
