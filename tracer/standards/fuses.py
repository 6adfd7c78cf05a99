"""Vehicle fuses: families, ratings, body colours, resistance, drop and opening times.

The number on the body decides; the colour is only a hint, and it does not carry over between
families: 30 A is green on a blade and pink on a cartridge with female terminals.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from tracer.standards import _tables
from tracer.standards._tables import Certainty
from tracer.standards.sources import Sourced


class UnknownFuseKind(ValueError):
    """A text that names no fuse family; ``text`` holds it, ``nearest`` the names that are alike."""

    def __init__(self, text: str, nearest: list[str], known: list[str]) -> None:
        self.text = text
        self.nearest = nearest
        super().__init__(f"{text!r} is no fuse kind; use {' or '.join(nearest or known)}")


@dataclass(frozen=True, slots=True)
class FuseKind:
    """A fuse family. ``letter`` is its type letter in ISO 8820, empty where it has none here."""

    name: str
    letter: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class FuseRating:
    """A rating made in a family.

    ``colour`` of the body is None where none is listed. ``standard`` is False for a rating that is
    sold in the family and is not one of its standard's.
    """

    rating_a: float
    kind: str
    colour: str | None
    standard: bool
    note: str
    source: str
    certainty: Certainty


@cache
def fuse_kinds() -> tuple[FuseKind, ...]:
    """Every family, blade types first."""
    rows = _tables.table("fuses", "kinds")
    return tuple(FuseKind(r.text("kind"), r.text("letter"), r.source, r.certainty) for r in rows)


def fuse_kind(text: str) -> FuseKind:
    """The family of this name (``medium blade``) or ISO 8820 type letter (``C``), in any case.

    Raises
    ------
    UnknownFuseKind : no such family
    """
    from difflib import get_close_matches

    wanted = " ".join(text.split()).lower()
    for kind in fuse_kinds():
        if wanted == kind.name.lower() or (kind.letter and wanted == kind.letter.lower()):
            return kind
    names = [kind.name for kind in fuse_kinds()]
    raise UnknownFuseKind(text, get_close_matches(wanted[:60], names), names)


@cache
def ratings(kind: str) -> tuple[FuseRating, ...]:
    """Every rating listed for a family, smallest first; empty where none is listed.

    Raises
    ------
    UnknownFuseKind : no such family
    """
    name = fuse_kind(kind).name
    return tuple(
        FuseRating(
            row.number("rating_a"),
            name,
            row.optional_text("colour") or None,
            row.flag("standard_rating"),
            row.optional_text("note"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("fuses", "ratings")
        if name in row.texts("kinds")
    )


def rating_of(rating_a: float, kind: str) -> FuseRating | None:
    """The rating with its colour and source, or None where the family has no such rating.

    Raises
    ------
    UnknownFuseKind : no such family
    """
    return next((r for r in ratings(kind) if math.isclose(r.rating_a, rating_a)), None)


def cold_resistance_mohm(rating_a: float, kind: str) -> Sourced | None:
    """Typical resistance of the cold element, mΩ; None where nothing is known.

    A miniature blade without a value of its own takes the medium blade's: the three ratings seen in
    both differ by less than a tenth. That value is from memory and says so.

    Raises
    ------
    UnknownFuseKind : no such family
    """
    name = fuse_kind(kind).name
    own = _by_rating("cold_resistance", "mohm", "mΩ", rating_a, name)
    if own or name != "miniature blade":
        return replace(own, note=_joined("typical, cold", own.note)) if own else None
    medium = _by_rating("cold_resistance", "mohm", "mΩ", rating_a, "medium blade")
    if medium is None:
        return None
    note = _joined("typical, cold; value of a medium blade, taken for a miniature one", medium.note)
    return replace(medium, certainty="memory", note=note)


def _by_rating(table: str, key: str, unit: str, rating_a: float, kind: str) -> Sourced | None:
    for row in _rows_of(table, kind):
        if math.isclose(row.number("rating_a"), rating_a):
            return Sourced(row.number(key), unit, row.source, row.certainty, row.optional_text("note"))
    return None


def _rows_of(table: str, kind: str) -> Iterator[_tables.Row]:
    return (row for row in _tables.table("fuses", table) if row.text("kind") == kind)


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)
