"""How a diagram abbreviates colours: the name of a system, or a table of its own letters."""

from __future__ import annotations

import re
from typing import Annotated, Any

from tracer.entry.facts import ReadBy, as_text, one_of
from tracer.entry.values import Misread
from tracer.standards.colours import SYSTEMS, ColourSystem, OwnLetters, UnknownColour, colour_of_words, parse_colour

LIKE = "like"
_LETTERS = re.compile(r"^[A-Za-z]{1,6}$")


def colour_system(typed: Any) -> ColourSystem:
    """`iec`, `din` or `american`; or `{P: pink, LB: light blue}`, with `like: din` where all other letters are those of a system.

    Raises
    ------
    Misread : neither
    """
    if not isinstance(typed, dict):
        return _system(typed)
    letters: dict[str, str] = {}
    for written, colour in typed.items():
        if written == LIKE:
            continue
        if not _LETTERS.match(written):
            raise Misread(
                f"`{written}` cannot stand for a colour", "Write up to six letters, such as `P: pink`.", written
            )
        if written.upper() in letters:
            fix = "Upper and lower case are the same here: keep one of them."
            raise Misread(f"`{written}` stands here a second time", fix, written)
        letters[written.upper()] = _colour(written, colour)
    if not letters:
        raise Misread(
            "no letters are given", "Write for example `colours: {P: pink, LB: light blue}`, or `colours: iec`."
        )
    return OwnLetters(tuple(letters.items()), _system(typed[LIKE]) if LIKE in typed else "")


def _system(typed: Any) -> str:
    if as_text(typed).lower() == "sae":
        fix = "Write `american` for the usual words and letters (RED, LT BLU, R; custom of the trade), or the letters that the diagram explains: `{P: pink}`."
        raise Misread("no SAE table of colour letters was seen, so none is built in", fix)
    return one_of(SYSTEMS, typed)


def _colour(written: str, colour: Any) -> str:
    if isinstance(colour, str):
        codes = colour_of_words(colour)
        if not codes:
            try:
                codes = parse_colour(colour, "iec")
            except UnknownColour:
                codes = ()
        if len(codes) == 1:
            return codes[0]
    what = f"`{written}` needs one colour in plain words"
    raise Misread(what, f"Write for example `{written}: pink`, or `{written}: light blue`.", written)


_SCHEMA = {
    "anyOf": [
        {"enum": list(SYSTEMS)},
        {"type": "object", "additionalProperties": {"type": "string"}, "minProperties": 1},
    ],
    "description": "how wire colours are abbreviated: iec, din, american, or {LETTERS: colour}; `like: din` for letters that are not listed",
}
Colours = Annotated[ColourSystem, ReadBy(colour_system, _SCHEMA)]

__all__ = ["Colours", "colour_system"]
