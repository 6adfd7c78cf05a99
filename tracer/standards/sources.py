"""The pages behind the tables, and the value type that carries its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tracer.standards import _tables
from tracer.standards._tables import CERTAINTIES, Certainty

__all__ = ["CERTAINTIES", "Certainty", "Source", "Sourced", "sources"]


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
    """One page that values were seen in.

    ``address`` is None where no address is given; ``limit`` says why the page is weak, if it is.
    """

    id: str
    title: str
    address: str | None
    limit: str

    @property
    def source(self) -> str:
        """Title and address in one text."""
        return f"{self.title} ({self.address})" if self.address else self.title


@cache
def sources() -> tuple[Source, ...]:
    """Every page listed in ``data/sources.yaml``, in order of id."""
    return tuple(
        Source(id, entry["title"], entry.get("address"), entry.get("limit", ""))
        for id, entry in sorted(_tables.raw_file("sources").items())
    )
