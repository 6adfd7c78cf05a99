"""Safety lines, by id and by kind of work.

They remind. The maker's procedure, local codes and licensed practice come first, and the line that
says so is part of every kind.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Final

from tracer.standards import _tables
from tracer.standards._tables import BrokenTable, Certainty

WORK_KINDS: Final = ("probe", "fuses", "restraint", "high voltage", "battery", "resistance", "crank")
"""Kinds of work that cautions are grouped by."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One safety line. ``note`` says which part of it is less sure than the rest, if any."""

    id: str
    text: str
    kinds: tuple[str, ...]
    note: str
    source: str
    certainty: Certainty


class _Cautions(Mapping[str, Caution]):
    """All cautions by id; the file is read when the first one is asked for."""

    def __getitem__(self, id: str) -> Caution:
        return _by_id()[id]

    def __iter__(self) -> Iterator[str]:
        return iter(_by_id())

    def __len__(self) -> int:
        return len(_by_id())


CAUTIONS: Final[Mapping[str, Caution]] = _Cautions()


def caution(id: str) -> str:
    """The line of this id.

    Raises
    ------
    KeyError : no such id
    """
    return CAUTIONS[id].text


def cautions() -> tuple[Caution, ...]:
    """Every safety line, the maker's procedure first."""
    return tuple(CAUTIONS.values())


@cache
def cautions_for(kind: str) -> tuple[Caution, ...]:
    """Cautions to print with a kind of work, always in the same order, the maker's rule first.

    Raises
    ------
    ValueError : not one of `WORK_KINDS`
    """
    if kind not in WORK_KINDS:
        raise ValueError(f"no kind of work {kind!r}; known: {', '.join(WORK_KINDS)}")
    return tuple(entry for entry in CAUTIONS.values() if kind in entry.kinds)


@cache
def _by_id() -> Mapping[str, Caution]:
    entries: dict[str, Caution] = {}
    for row in _tables.table("cautions", "cautions"):
        kinds = row.texts("kinds")
        if strange := set(kinds) - set(WORK_KINDS):
            raise BrokenTable(f"{row.where}: no kind of work {', '.join(sorted(strange))}")
        if row.text("id") in entries:
            raise BrokenTable(f"{row.where}: {row.text('id')!r} is there twice")
        text, note = row.text("text"), row.optional_text("note")
        entries[row.text("id")] = Caution(row.text("id"), text, kinds, note, row.source, row.certainty)
    return MappingProxyType(entries)
