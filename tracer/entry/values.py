"""The small languages inside scalars: lists of pins, numbers with units, and when something is live.

Each parser takes text and returns a value, or raises `Misread` with what is wrong and what to write instead.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from tracer.standards import figures

MAX_PINS = 2_000

_RANGE = re.compile(r"^(?P<prefix>.*?)(?P<first>\d+)\s*-\s*(?P<prefix2>.*?)(?P<last>\d+)$")
_NUMBER = re.compile(r"^(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>[A-Za-zΩµ]*)$")
_PIN = re.compile(r"^[^\s.:<>?,\[\]{}]+$")

KEY_STATES = ("off", "acc", "run", "start")  # where vehicle.yaml names none
UNKNOWN = "unknown"
STATES_EXAMPLE = "Write for example `[run, start]`."
UNKNOWN_CONTACTS = ((UNKNOWN,),)  # in place of the contacts of one position: a group of one pin, which nobody can type
UNKNOWN_WORDS = frozenset({"?", UNKNOWN})


class Misread(ValueError):
    """Text that cannot be understood: `what` is wrong, and the `fix`; `text` is the piece of a list that is meant."""

    def __init__(self, what: str, fix: str, text: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.fix = fix
        self.text = text


def pin_list(typed: str | Iterable[object], *, dotted: bool = False) -> tuple[str, ...]:
    """Pins from `1-32`, `1, 5-8` or a list of such; order kept, repeats refused, at most `MAX_PINS`.

    With `dotted`, an item may also be `PART.PIN` (busbars).

    >>> pin_list("1, 5-8"), pin_list(["A1-A3", "C"])
    (('1', '5', '6', '7', '8'), ('A1', 'A2', 'A3', 'C'))
    """
    return _pins_of_text(typed, dotted) if isinstance(typed, str) else _pins_of(typed, dotted)


@lru_cache(maxsize=16384)
def _pins_of_text(typed: str, dotted: bool) -> tuple[str, ...]:
    """Kept, because many parts have the same pins."""
    return _pins_of((typed,), dotted)


def _pins_of(items: Iterable[object], dotted: bool) -> tuple[str, ...]:
    pins: dict[str, None] = {}
    for item in items:
        if not isinstance(item, str):
            raise Misread("a pin or a range of pins is wanted here", "Write for example `[1, 5-8]`.")
        for word in item.split(","):
            for pin in [word.strip()] if dotted and "." in word else _range(word.strip()):
                if pin in pins:
                    raise Misread(f"pin {pin} is listed twice", "List each pin once.", item)
                pins[pin] = None
                if len(pins) > MAX_PINS:
                    raise Misread(f"more than {MAX_PINS} pins", "Check the range: no connector has so many.", item)
    return tuple(pins)


def in_ranges(order: Iterable[str], pins: Iterable[str]) -> str:
    """Pins as they would be typed, in the order of a list that holds them; neighbours by number as a range.

    >>> in_ranges(("1", "5", "6", "7", "A1", "A2"), ("1", "5", "6", "7", "A2"))
    '1, 5-7, A2'
    """
    wanted = set(pins)
    groups: list[list[str]] = []
    for pin in (pin for pin in order if pin in wanted):
        before = groups[-1][-1] if groups else ""
        if before and _is_next(before, pin):
            groups[-1].append(pin)
        else:
            groups.append([pin])
    return ", ".join(group[0] if len(group) == 1 else f"{group[0]}-{group[-1]}" for group in groups)


def _is_next(before: str, pin: str) -> bool:
    """Whether a pin is the one after another by its number."""
    one, other = re.search(r"\d+$", before), re.search(r"\d+$", pin)
    same = one and other and before[: one.start()] == pin[: other.start()] and len(one[0]) + len(other[0]) < 20
    return bool(same and one and other and int(other[0]) == int(one[0]) + 1)


def pins_behind(typed: Mapping[str, object]) -> tuple[str, ...]:
    """Pins whose names begin alike: what stands before each, and the pins as in `pin_list`.

    >>> pins_behind({"CN8-": "1-3", "CN9-": "7"})
    ('CN8-1', 'CN8-2', 'CN8-3', 'CN9-7')
    """
    pins: dict[str, None] = {}
    for prefix, behind in typed.items():
        if not isinstance(behind, str | list) or not prefix or prefix[-1].isalnum():
            raise Misread(
                "a list of pins is wanted here",
                "Write for example `[1, 5-8]`, or `{CN8-: 1-24}` for the pins CN8-1 to CN8-24.",
                prefix,
            )
        for pin in pin_list(behind):
            name = pin_name(f"{prefix}{pin}")
            if name in pins:
                raise Misread(f"pin {name} is listed twice", "List each pin once.", prefix)
            pins[name] = None
    return tuple(pins)


_TOO_MANY = "Check the numbers: no connector has so many."


def _more_than(word: str) -> str:
    return f"the range {word[:40]} has more than {MAX_PINS} pins"


def _range(word: str) -> Iterable[str]:
    if not word:
        raise Misread("a pin is missing", "Write for example `[1, 5-8]`.")
    match = _RANGE.match(word)
    if match and match["prefix2"] in ("", match["prefix"]) and not match["prefix"].endswith("-"):
        if max(len(match["first"]), len(match["last"])) > 9:
            raise Misread(
                _more_than(word),
                _TOO_MANY,
                word,
            )
        first, last = int(match["first"]), int(match["last"])
        if last < first:
            raise Misread(
                f"the range {word} runs backwards",
                f"Write `{match['prefix']}{match['last']}-{match['prefix']}{match['first']}`"
                + (
                    f"; or `{{{match['prefix']}{match['first']}-: {match['last']}}}` if it is one pin."
                    if match["prefix"] and not match["prefix2"]
                    else "."
                ),
                word,
            )
        if last - first >= MAX_PINS:
            raise Misread(
                _more_than(word),
                _TOO_MANY,
                word,
            )
        width = len(match["first"]) if match["first"].startswith("0") else 0
        return [f"{match['prefix']}{number:0{width}d}" for number in range(first, last + 1)]
    return [pin_name(word)]


def is_range(word: str) -> bool:
    """Whether a word is read as several pins where a list of pins is wanted: `1-4`."""
    match = _RANGE.match(word)
    return bool(match and match["prefix2"] in ("", match["prefix"]) and not match["prefix"].endswith("-"))


def pin_name(word: str) -> str:
    """A single pin name, checked."""
    if not _PIN.match(word):
        raise Misread(
            f"`{word}` cannot be the name of a pin",
            "A pin is one word without spaces, dots, colons, commas or brackets, such as `12` or `A3`.",
            word,
        )
    return word


def pin_group(typed: str | list[str]) -> tuple[str, ...]:
    """Pins joined with one another by a contact: `30-15`, `30-15-75`, or a list where the names themselves hold a dash.

    >>> pin_group("30-87a"), pin_group(["CN8-3", "CN8-4"])
    (('30', '87a'), ('CN8-3', 'CN8-4'))
    """
    words = typed.split("-") if isinstance(typed, str) else typed
    typed = typed if isinstance(typed, str) else ", ".join(typed)
    pins = tuple(pin_name(word.strip()) for word in words)
    if len(pins) < 2:
        raise Misread(f"`{typed}` names one pin", "A contact joins at least two: `30-15`.", typed)
    if len(set(pins)) < len(pins):
        raise Misread(f"`{typed}` names a pin twice", "A contact joins different pins: `30-15`.", typed)
    return pins


def number(typed: str, units: dict[str, float], quantity: str, least: float, most: float) -> float:
    """A number with an optional unit; decimal comma or point. `units` maps a unit (lower case) to its factor.

    >>> number("7,5 A", {"a": 1.0}, "a rating in A", 0.1, 2000)
    7.5
    """
    match = _NUMBER.match(typed.strip())
    unit = match["unit"].casefold() if match else ""
    if not match or (unit and unit not in units):
        example = next(iter(units), "")
        raise Misread(
            f"`{typed}` is not {quantity}",
            f"Write a number{f', with or without the unit `{example.upper()}`' if example else ''}.",
        )
    value = float(match["number"].replace(",", ".")) * units.get(unit, 1.0)
    if not least <= value <= most:
        raise Misread(
            f"`{typed}` is out of range for {quantity}",
            f"Between {figures.stated(least)} and {figures.stated(most)} is possible: check the number.",
        )
    return value


@dataclass(frozen=True, slots=True)
class When:
    """When something is live or commanded: any clause suffices, and a clause holds when each of its names has the given truth.

    `clauses` is None when it is not known; `((),)` is always, `()` is never.
    """

    clauses: tuple[tuple[tuple[str, bool], ...], ...] | None
    text: str

    @property
    def known(self) -> bool:
        return self.clauses is not None

    def names(self) -> set[str]:
        """Every key state and condition that is named."""
        return {name for clause in self.clauses or () for name, _ in clause}


ALONE = ("always", "never", "unknown")
ALWAYS = When(((),), "always")
NEVER = When((), "never")
NOT_KNOWN = When(None, "unknown")


def when(typed: str | Iterable[object]) -> When:
    """Parse `always`, `never`, `unknown`, or a list whose entries are names joined with `and`, each perhaps with `not`.

    >>> when(["start", "run and not lights"]).clauses
    ((('start', True),), (('run', True), ('lights', False)))
    """
    if isinstance(typed, str):
        word = " ".join(typed.split())
        if word == "always":
            return ALWAYS
        if word == "never":
            return NEVER
        if word in UNKNOWN_WORDS:
            return NOT_KNOWN
        items: list[object] = [word]
    else:
        items = list(typed)
    clauses = []
    for item in items:
        if not isinstance(item, str) or not item.strip():
            raise Misread("a key state or a condition is wanted here", STATES_EXAMPLE)
        if item.strip() in ALONE:
            raise Misread(
                f"`{item.strip()}` stands alone", f"Write `{item.strip()}` without brackets and other entries.", item
            )
        clauses.append(_clause(item))
    return When(tuple(clauses), ", ".join(" ".join(str(item).split()) for item in items) or "never")


def _clause(typed: str) -> tuple[tuple[str, bool], ...]:
    terms = []
    for term in re.split(r"\s+and\s+", " ".join(typed.split())):
        wanted = not term.startswith("not ")
        name = term if wanted else term[4:].strip()
        if not name or name in ("and", "not", "or") or " or " in f" {name} ":
            raise Misread(
                f"`{typed}` is not understood",
                "Join names with `and`, put `not` before one; alternatives are separate entries of the list.",
                typed,
            )
        terms.append((name, wanted))
    return tuple(terms)
