"""The documents behind the tables, the value type that carries its source, and how what a value is and where it is from is said."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tracer.standards import _tables
from tracer.standards._tables import CERTAINTIES, Certainty

__all__ = ["CERTAINTIES", "Certainty", "Source", "Sourced", "said", "sources"]


@dataclass(frozen=True, slots=True)
class Sourced:
    """A number with its unit, where it comes from and how sure it is.

    ``note`` holds the condition or the doubt that must be printed with the number; may be empty.
    """

    value: float
    unit: str
    source: str
    certainty: Certainty
    note: str = ""


@dataclass(frozen=True, slots=True)
class Source:
    """One document that values were seen in; ``kind`` is standard, handbook or maker, ``address`` None where none is given."""

    id: str
    title: str
    kind: Certainty
    address: str | None

    @property
    def source(self) -> str:
        """Title and address in one text."""
        return f"{self.title} ({self.address})" if self.address else self.title


@cache
def sources() -> tuple[Source, ...]:
    """Every document listed in ``data/sources.yaml``, in order of id."""
    return tuple(
        Source(id, entry["title"], entry["kind"], entry.get("address"))
        for id, entry in sorted(_tables.raw_file("sources").items())
    )


def said(certainty: Certainty, source: str) -> str:
    """What a value is and where it is from: 'custom of the trade, no source', 'handbook: US Army TM ...'."""
    return source if certainty in ("custom", "memory") else f"{certainty}: {source}"  # the text of these two says it
