"""Readings with their conditions, as plain values, and the words in which they are typed."""

from __future__ import annotations

import math
import re
from dataclasses import asdict, dataclass, replace
from typing import Any

from tracer.entry.problems import CannotAnswer

STATUSES = ("not-reached", "not-fitted", "ok")
_WORDS = {"dead": 0.0, "dim": None, "flickers": None, "OL": None}
_NUMBER = re.compile(r"^(lt|gt)?([-+]?\d*[.,]?\d+)$", re.IGNORECASE)


class BadWord(CannotAnswer):
    """A word of `tracer read` or `tracer case set` that does not fit; nothing of the call is recorded."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What holds for every reading until something else is set.

    `plugged`: the module is plugged in. `lamp_w` is the lamp of the second value, None without. `other`: where the other lead is, `-` at battery negative, `+` at
    battery positive (a value is then what is lost up to there). `out`: parts that are pulled or loosened; `leads`: fused leads put in, such as `11-1`. `since` is when the key was turned, `battery_at` when
    the battery was read, both ISO 8601; `battery_n` and `key_n` are the entries that said so, whose order no clock can change.
    """

    key: str = ""
    plugged: bool = True
    lamp_w: float | None = None
    other: str = "-"
    symptom: bool | None = None
    engine: bool = False
    asleep: bool = False
    place: str = ""
    out: tuple[str, ...] = ()
    after_s: float | None = None
    since: str = ""
    battery_v: float | None = None
    battery_at: str = ""
    battery_n: int = 0
    key_n: int = 0
    leads: tuple[str, ...] = ()
    hand: str = ""  # what is done by hand while it is read: `bridge:F9.feed-F9.load`, `swap:KLE`, `wiggle:X3`

    def data(self) -> dict[str, Any]:
        """For the file."""
        return {**asdict(self), "out": list(self.out), "leads": list(self.leads)}

    @classmethod
    def of(cls, data: dict[str, Any]) -> Conditions:
        """From the file."""
        return cls(**{**data, "out": tuple(data["out"]), "leads": tuple(data.get("leads", ()))})


@dataclass(frozen=True, slots=True)
class Value:
    """One value: volts (for a bus ohms, after the key seconds), or a word in its place; `below`: it was less than `number`, `above`: more. `text` as typed."""

    text: str
    number: float | None
    below: bool = False
    above: bool = False

    @property
    def is_word(self) -> bool:
        """Whether it says something other than a number: OL, dead, dim, flickers."""
        return self.text in _WORDS

    @property
    def ends(self) -> tuple[float, float] | None:
        """Between what it lies: a number is itself, less than a number anything from 0 on, more than one anything above; None for a word, which is no number."""
        if self.number is None or self.is_word:
            return None
        if self.above:
            return self.number, math.inf
        return (min(0.0, self.number), self.number) if self.below else (self.number, self.number)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a row, point or bus by its full name: one value, or two (without and with the lamp); or a status in place of values.

    `id` is entry and place in it, `7.2`; `instead_of` the reading that it corrects. `lit`: the lamp was seen to be lit at this reading. A correction keeps the time (`at`)
    of what it mends, and `first` is the id of the reading that was mended first.
    """

    name: str
    values: tuple[Value, ...]
    status: str
    conditions: Conditions
    id: str = ""
    at: str = ""
    why: str = ""
    instead_of: str = ""
    lit: bool = False
    first: str = ""

    @property
    def entry(self) -> int:
        """The entry that it stands in."""
        return int(self.id.partition(".")[0])

    @property
    def n(self) -> int:
        """Its place in time: the entry in which it was first recorded, of whatever correction it is."""
        return int((self.first or self.id).partition(".")[0])

    @property
    def loaded(self) -> bool:
        """Whether it has a value with the lamp."""
        return len(self.values) == 2

    def data(self) -> dict[str, Any]:
        """For the file; conditions stand once for all readings of a call."""
        said = {"lit": True} if self.lit else {}
        return {"name": self.name, "values": [value.text for value in self.values], "status": self.status, **said}

    def there_ends(self, number: int) -> tuple[float, float] | None:
        """Between which volts the point stands against battery negative in one of its values; None where that is not known."""
        ends, battery = self.values[number].ends, self.conditions.battery_v
        if ends is None or self.conditions.other == "-":
            return ends
        return None if battery is None else (battery - ends[1], battery - ends[0])

    def drop_ends(self, number: int, level: str) -> tuple[float, float] | None:
        """Between what is lost up to the point in one of its values; None where that is not known. Of a supply from the battery's volts of that moment."""
        ends, battery = self.values[number].ends, self.conditions.battery_v
        if ends is None or (level == "supply") == (self.conditions.other == "+"):
            return ends
        return None if battery is None else (battery - ends[1], battery - ends[0])

    def moved_ends(self, level: str) -> tuple[float, float] | None:
        """Between what the lamp moved the pin by, towards its other end; battery and meter cancel. None without two numbers."""
        if not self.loaded or (alone := self.values[0].ends) is None or (lit := self.values[1].ends) is None:
            return None
        if (level == "supply") == (self.conditions.other == "+"):
            return lit[0] - alone[1], lit[1] - alone[0]
        return alone[0] - lit[1], alone[1] - lit[0]


def value_of(text: str) -> Value:
    """A value as typed: `12,38`, `.02`, `lt0.1`, `OL`, `dead`, `dim`, `flickers`.

    >>> value_of("12,38").number, value_of("lt0.1").below, value_of("ol").text
    (12.38, True, 'OL')

    Raises
    ------
    BadWord : it is none of these
    """
    for word, number in _WORDS.items():
        if text.casefold() == word.casefold():
            return Value(word, number)
    match = _NUMBER.match(text)
    if match is None:
        raise BadWord(f"`{text}` is no value: write a number (12.38 or 12,38), lt0.1 for less, OL, dead, dim or flickers.")  # fmt: skip
    bound = (match[1] or "").casefold()
    return Value(text.casefold(), float(match[2].replace(",", ".")), below=bound == "lt", above=bound == "gt")


def split_word(word: str, like: str = "PIN=VALUE, or PIN=ALONE/LAMP such as 3+=12.38/12.17") -> tuple[str, str]:
    """`3+=12,38/12,17` as name and what was read; `like` shows how such a word is written.

    Raises
    ------
    BadWord : there is no `=` in it, or nothing on one side
    """
    name, equals, read = word.rpartition("=")
    if not equals or not name or not read:
        raise BadWord(f"`{word}` is not understood: write {like}.")
    return name, read


def reading_of(
    name: str, read: str, conditions: Conditions, wants: int, *, called: str = "", unit: str = "V"
) -> Reading:
    """A reading from what was typed behind `=`; `wants` is how many values the conditions ask for, `unit` what they are in (V, ohm, s).

    Raises
    ------
    BadWord : a value that is none, or not as many as the conditions ask for
    """
    said = called or name
    if read.casefold() in STATUSES:
        return Reading(name, (), read.casefold(), conditions)
    texts = [text.rstrip("sS") for text in read.split("/")] if unit == "s" else read.split("/")
    lit = len(texts) > 1 and texts[-1].casefold() == "lit"
    values = tuple(value_of(text) for text in (texts[:-1] if lit else texts))
    if unit == "V" and any(value.above for value in values):
        raise BadWord(f"`{read}`: gt stands before seconds and ohms only; write the volts.")
    if unit == "s" and any(value.is_word or (value.number or 0.0) < 0 for value in values):
        raise BadWord(f"{said} wants seconds: {said}=8s, or {said}=gt600s where it is still live after so long.")
    if len(values) == 1 and wants == 2 and values[0].is_word:
        return Reading(name, values, "", conditions)  # a dead pin needs no lamp
    two = f"two values, without and with the lamp ({said}=ALONE/LAMP"
    if len(values) != wants:
        if wants == 2:
            raise BadWord(f"{said} wants {two}), since a lamp is set; for one set lamp=none.")  # fmt: skip
        why = "plugged in" if conditions.plugged else "no lamp is set" if conditions.lamp_w is None else "no lamp goes there"  # fmt: skip
        raise BadWord(f"{said} wants one value here ({why}).")
    if lit and wants != 2:
        raise BadWord(f"{said}: `lit` stands behind {two}/lit).")
    return Reading(name, values, "", conditions, lit=lit)


# --- conditions --------------------------------------------------------------------------------------------------------

_YES, _NO = ("yes", "y", "on", "in", "present"), ("no", "n", "off", "out", "absent", "none")
SETTABLE = (
    "key",
    "plug",
    "lamp",
    "other",
    "symptom",
    "engine",
    "asleep",
    "place",
    "out",
    "lead",
    "after",
    "hand",
    "battery",
)


def set_by(before: Conditions, words: list[str], keys: tuple[str, ...], now: str, number: int) -> Conditions:
    """The conditions after words such as `key=run plug=out lamp=21W other=- symptom=yes out=F20,F24 battery=12,4`.

    Raises
    ------
    BadWord : a word that is none of these
    """
    found = before
    for word in words:
        name, text = split_word(word, "what holds as in key=run")
        name = name.casefold()
        if name == "key":
            key = text if text in keys else next((one for one in keys if one.casefold() == text.casefold()), None)
            if key is None:
                raise BadWord(f"key={text}: this vehicle has {', '.join(keys)}.")
            found = replace(found, key=key, since=now, key_n=number, after_s=None)
        elif name == "plug":
            found = replace(found, plugged=said_yes(word, text))
        elif name == "lamp":
            found = replace(found, lamp_w=None if text.casefold() in _NO else _watts(word, text))
        elif name == "other":
            if text not in ("+", "-"):
                raise BadWord(f"`{word}`: other=- at battery negative, other=+ at battery positive.")
            found = replace(found, other=text)
        elif name == "symptom":
            found = replace(found, symptom=said_yes(word, text))
        elif name == "engine":
            found = replace(found, engine=said_yes(word, text), key_n=number)
        elif name == "asleep":
            found = replace(found, asleep=said_yes(word, text))
        elif name == "place":
            found = replace(found, place=text)
        elif name == "out":
            found = replace(found, out=() if text.casefold() == "none" else tuple(sorted(text.split(","))))
        elif name == "lead":
            found = replace(found, leads=() if text.casefold() == "none" else _leads(word, text))
        elif name == "hand":
            found = replace(found, hand="" if text.casefold() == "none" else text)
        elif name == "after":
            found = replace(found, after_s=_exact(text.rstrip("sS")))
        elif name == "battery":
            found = replace(found, battery_v=battery_volts(word, text), battery_at=now, battery_n=number)
        else:
            raise BadWord(f"`{word}`: there is no such condition; {', '.join(SETTABLE)} can be set.")
    return found


def said_yes(word: str, text: str) -> bool:
    """Whether a word such as `symptom=yes` says yes.

    Raises
    ------
    BadWord : neither yes nor no
    """
    if text.casefold() in (*_YES, *_NO):
        return text.casefold() in _YES
    raise BadWord(f"`{word}` is not understood: write yes or no (plug=in, plug=out).")


def _leads(word: str, text: str) -> tuple[str, ...]:
    found = tuple(sorted(text.split(",")))
    if not all(all(one.partition("-")[::2]) for one in found):
        raise BadWord(f"`{word}` is no lead: write the two pins that it joins (lead=11-1), or lead=none.")
    return found


def _exact(text: str) -> float | None:
    """A number as it stands; None for a bound (lt12) or a word (dead), which say no single value."""
    value = value_of(text)
    return None if value.below or value.above or value.is_word else value.number


def _watts(word: str, text: str) -> float:
    number = _exact(text.rstrip("wW")) if text.rstrip("wW") else None
    if number is None or not 1 <= number <= 100:
        raise BadWord(f"`{word}` is no lamp: write lamp=21W, or lamp=none.")
    return number


def battery_volts(word: str, text: str) -> float:
    """The volts of the battery as typed.

    Raises
    ------
    BadWord : no such volts; `word` is what was typed as a whole
    """
    number = _exact(text.rstrip("vV"))
    if number is None or not 0 <= number <= 60:
        raise BadWord(f"`{word}` is no battery voltage: write battery=12.4.")
    return number


__all__ = ["SETTABLE", "STATUSES", "BadWord", "Conditions", "Reading", "Value", "battery_volts", "reading_of", "said_yes", "set_by", "split_word", "value_of"]  # fmt: skip
