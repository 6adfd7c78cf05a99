"""Wire colours: the abbreviations of a diagram to one set of codes.

The codes are those of IEC 60757. Colours that IEC does not have carry codes of this tool, listed
in ``data/colours.yaml`` under ``extension_codes``: ``LTBU`` light blue, ``DKBU`` dark blue,
``LTGN`` light green, ``DKGN`` dark green, ``LTGY`` light grey, ``DKGY`` dark grey, ``TN`` tan,
``BG`` beige, ``CR`` clear or natural.

A wire of several colours is a tuple with the base colour first and the tracers after it. (IEC
joins two colours in the order of its own table; on a vehicle diagram the first one is the base.)
Violet, lilac and purple are one colour, VT.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Final

from tracer.standards import _tables
from tracer.standards._tables import Certainty

SYSTEMS: Final = ("iec", "din", "american")
"""Systems of abbreviations: IEC 60757, German (DIN 47002 and vehicle usage), American (words and letters, custom of the trade)."""

MOST_COLOURS: Final = 3
"""A wire has a base colour and at most two tracers."""

_SHADES: Final = ("LT", "DK")


@dataclass(frozen=True, slots=True)
class Colour:
    """One colour code. ``extension`` is True where the code is ours and not one of IEC 60757."""

    code: str
    name: str
    extension: bool
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class OwnLetters:
    """Letters that a diagram explains itself: ``letters`` are pairs of upper-case letters and the code of their colour.

    What is not among them is read as in the system ``like``, if there is one.
    """

    letters: tuple[tuple[str, str], ...]
    like: str = ""

    def __str__(self) -> str:
        return "own"


ColourSystem = str | OwnLetters
"""How a diagram abbreviates colours: one of `SYSTEMS`, or letters of its own."""


@dataclass(frozen=True, slots=True)
class Abbreviation:
    """One way to write a colour in a system; ``written`` is the form printed in its source."""

    written: str
    code: str
    system: str
    source: str
    certainty: Certainty


class UnknownColour(ValueError):
    """A text that is no colour in its system.

    Attributes
    ----------
    text : what was typed
    system : the system it was read in
    nearest : list of abbreviations or spellings of that system which may have been meant
    valid_in : list of other systems in which the text is a colour
    """

    def __init__(
        self, text: str, system: str, reason: str, nearest: list[str], valid_in: list[str] | None = None
    ) -> None:
        self.text = text
        self.system = system
        self.nearest = nearest
        self.valid_in = valid_in or []
        message = f"{text!r} is no colour in the {system} system: {reason}"
        if self.nearest:
            message += f"; near: {', '.join(self.nearest)}"
        if self.valid_in:
            named = " and ".join(f"{other} ({colour_name(parse_colour(text, other))})" for other in self.valid_in)
            message += f"; it is a colour in {named}"
        super().__init__(message)


def parse_colour(text: str, system: ColourSystem) -> tuple[str, ...]:
    """Codes of a typed wire colour, base colour first, one to three of them.

    Upper and lower case are the same. Colours are separated by ``/`` or ``-``. Without a separator
    only the full abbreviations of a system may be run together (``RDBU``, ``swrt``, ``BLKRED``,
    ``BLKLTBLU``): they can be split in one way only. The one and two letter variants of the US
    style cannot (``BR`` is brown, not black with red), so they need the separator.

    Parameters
    ----------
    text : as typed, for example ``RD/GN``, ``sw-rt``, ``LT BLU/BLK``, ``LT-BLU``
    system : one of `SYSTEMS`, or `OwnLetters`

    Raises
    ------
    UnknownColour : the text is no colour in this system
    ValueError : no such system

    Examples
    --------
    >>> parse_colour("RDBU", "iec")
    ('RD', 'BU')
    >>> parse_colour("br/hb", "din")
    ('BN', 'LTBU')
    >>> parse_colour("DK GRN/T", "american")
    ('DKGN', 'TN')
    """
    _check_system(system)
    codes = _read(text, system)
    if codes is not None:
        return codes
    reason = _reason(text, system)
    elsewhere = [other for other in SYSTEMS if other != system and _read(text, other) is not None]
    raise UnknownColour(text, str(system), reason, _nearest(text, system), elsewhere)


def is_colour(text: str, system: ColourSystem) -> bool:
    """Whether a text is a colour in a system, or one or several in plain words; much quicker than what `parse_colour` says of one that is none."""
    return _read(text, system) is not None or bool(colour_of_words(text))


def colour_of_words(text: str) -> tuple[str, ...]:
    """Codes of colours in plain words, as `colour_name` gives them; empty where one of them is no such word.

    >>> colour_of_words("red/light green"), colour_of_words("Grey with blue"), colour_of_words("red/gn")
    (('RD', 'LTGN'), ('GY', 'BU'), ())
    """
    known = _codes_by_word()
    words = [" ".join(word.split()) for word in re.split(r"/|-|\bwith\b|\band\b", text.casefold())]
    codes = tuple(known.get(word, "") for word in words)
    return codes if all(codes) and len(codes) <= MOST_COLOURS else ()


def colour_name(codes: tuple[str, ...]) -> str:
    """Plain words for a tuple of codes: ``red``, ``red with green``, ``red with green and white``.

    Raises
    ------
    UnknownColour : a code that is neither IEC 60757 nor one of ours
    ValueError : no code at all, or more than three

    Examples
    --------
    >>> colour_name(("RD", "GN"))
    'red with green'
    """
    if not 1 <= len(codes) <= MOST_COLOURS:
        raise ValueError(f"a wire has one to {MOST_COLOURS} colours, got {len(codes)}")
    known = _colours_by_code()
    for code in codes:
        if code not in known:
            raise UnknownColour(code, "iec", "no such code", _nearest(code, "iec"))
    base, *tracers = (known[code].name for code in codes)
    return f"{base} with {' and '.join(tracers)}" if tracers else base


@cache
def colours() -> tuple[Colour, ...]:
    """Every colour code, those of IEC 60757 first."""
    return tuple(
        Colour(row.text("code"), row.text("name"), name == "extension_codes", row.source, row.certainty)
        for name in ("iec_60757", "extension_codes")
        for row in _tables.table("colours", name)
    )


@cache
def abbreviations(system: ColourSystem) -> tuple[Abbreviation, ...]:
    """Every abbreviation that `parse_colour` takes in this system, in the order of its table.

    Raises
    ------
    ValueError : no such system
    """
    if isinstance(system, OwnLetters):
        own = dict(system.letters)
        rest = abbreviations(system.like) if system.like else ()
        mine = (Abbreviation(written, code, "own", "vehicle.yaml", "own") for written, code in own.items())
        return (*mine, *(one for one in rest if _squeeze(one.written) not in own))
    _check_system(system)
    if system == "iec":
        return tuple(Abbreviation(c.code, c.code, system, c.source, c.certainty) for c in colours())
    names = {"din": ("german",), "american": ("us_words", "us_letters")}[system]
    return tuple(
        Abbreviation(row.text("written"), row.text("code"), system, row.source, row.certainty)
        for name in names
        for row in _tables.table("colours", name)
    )


def other_meanings(own: OwnLetters) -> Iterator[tuple[str, str, str, str]]:
    """Letters of a diagram's own that mean another colour elsewhere: letters, code here, system, code there."""
    for letters, code in own.letters:
        for system in SYSTEMS:
            there = _codes(system).get(letters)
            if there not in (None, code):
                yield letters, code, system, str(there)


def _check_system(system: ColourSystem) -> None:
    if not isinstance(system, OwnLetters) and system not in SYSTEMS:
        raise ValueError(f"no colour system {system!r}; use one of {', '.join(SYSTEMS)}")


@cache
def _colours_by_code() -> Mapping[str, Colour]:
    return MappingProxyType({colour.code: colour for colour in colours()})


@cache
def _codes_by_word() -> Mapping[str, str]:
    known = {colour.name: code for code, colour in _colours_by_code().items()}
    return (
        known | {name.replace("grey", "gray"): code for name, code in known.items()} | {"purple": "VT", "lilac": "VT"}
    )


@cache
def _codes(system: ColourSystem) -> Mapping[str, str]:
    """Squeezed abbreviation -> code, for example LTBLU -> LTBU."""
    return MappingProxyType({_squeeze(a.written): a.code for a in abbreviations(system)})


@cache
def _full_codes(system: ColourSystem) -> Mapping[str, str]:
    """As `_codes`, but only abbreviations that may be run together without a separator."""
    if isinstance(system, OwnLetters):
        return MappingProxyType({**(_full_codes(system.like) if system.like else {}), **dict(system.letters)})
    if system != "american":
        return _codes(system)
    rows = _tables.table("colours", "us_words")
    return MappingProxyType({_squeeze(row.text("written")): row.text("code") for row in rows})


def _squeeze(text: str) -> str:
    return "".join(text.split()).upper()


def _has_shades(system: ColourSystem) -> bool:
    return (system.like if isinstance(system, OwnLetters) else system) == "american"


def _read(text: str, system: ColourSystem) -> tuple[str, ...] | None:
    # Upper-casing turns some other letters into ASCII ones (long s to S), which nobody types on purpose.
    if not text.isascii():
        return None
    codes: list[str] = []
    for word in _words(text, system):
        read = _read_word(word, system)
        if read is None:
            return None
        codes += read
    return tuple(codes) if 1 <= len(codes) <= MOST_COLOURS else None


def _words(text: str, system: ColourSystem) -> Iterator[str]:
    """Parts between separators, upper case. A hyphen inside a US shade (LT-BLU) does not separate."""
    for part in text.upper().split("/"):
        pieces = [" ".join(piece.split()) for piece in part.split("-")]
        while pieces:
            word = pieces.pop(0)
            if _has_shades(system) and word in _SHADES and pieces:
                word = f"{word} {pieces.pop(0)}"
            yield word


def _read_word(word: str, system: ColourSystem) -> list[str] | None:
    known = _codes(system)
    if " " in word:
        # A space belongs only between a shade and its colour; RD GN is left to the caller to write as RD/GN.
        shade, _, rest = word.partition(" ")
        if not _has_shades(system) or shade not in _SHADES or " " in rest:
            return None
        word = shade + rest
    if word in known:
        return [known[word]]
    splits = list(_splits(word, tuple(_full_codes(system))))
    return [known[piece] for piece in splits[0]] if len(splits) == 1 else None


def _splits(word: str, pieces: tuple[str, ...], most: int = MOST_COLOURS) -> Iterator[tuple[str, ...]]:
    """Every way to write `word` as one to `most` of the given pieces."""
    if not most:
        return
    for piece in pieces:
        if word == piece:
            yield (piece,)
        elif word.startswith(piece):
            for rest in _splits(word[len(piece) :], pieces, most - 1):
                yield (piece, *rest)


def _reason(text: str, system: ColourSystem) -> str:
    if not text.strip():
        return "nothing is written"
    words = list(_words(text, system)) if text.isascii() else []
    if "" in words:
        return "a colour is missing beside a separator"
    if words and all(_read_word(word, system) is not None for word in words):
        return f"more than {MOST_COLOURS} colours"
    if len(words) > 1:
        bad = [word for word in words if _read_word(word, system) is None]
        return f"{', '.join(repr(word) for word in bad)} is not in its table"
    return "not in its table"


def _nearest(text: str, system: ColourSystem) -> list[str]:
    """What may have been meant: the same letters with separators, else similar abbreviations."""
    from difflib import get_close_matches

    written = {_squeeze(a.written): a.written for a in abbreviations(system)}
    # Long text is no abbreviation; a search through it would only cost time.
    squeezed = re.sub(r"[^A-Z]", "", _squeeze(text[:40]))
    split = ["/".join(written[p] for p in pieces) for pieces in _splits(squeezed, tuple(written))]
    if split and squeezed not in written:
        return split
    near: list[str] = []
    for word in re.split(r"[/\-]", text[:40]):
        squeezed = _squeeze(word)
        if squeezed not in written:
            close = get_close_matches(squeezed, written, n=3, cutoff=0.5)
            # A slip is likelier in a later letter than in the first.
            near += [written[m] for m in sorted(close, key=lambda m: m[0] != squeezed[0])]
    return list(dict.fromkeys(near))
