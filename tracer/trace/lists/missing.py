"""What is to be typed in next for one module: the loose ends of its list, page by page."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.entry.problems import natural
from tracer.trace.lists.completeness import Completeness
from tracer.trace.lists.results import LooseEnd
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.minding import Minding
from tracer.trace.rules.registry import CAUSES
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class MissingPage:
    """The loose ends that stand in one file; `sheet` is what the page calls itself, None where the file is no sheet or is not read."""

    file: str
    sheet: str | None
    title: str | None
    loose_ends: tuple[LooseEnd, ...]


@dataclass(frozen=True, slots=True)
class Missing:
    """What a module's list lacks. Files that are not read and pages that hold nothing come first, then the page with the most loose ends."""

    vehicle: str
    module: str
    name: str | None
    completeness: Completeness
    pages: tuple[MissingPage, ...]
    differences: tuple[str, ...]
    minding: Minding

    @property
    def complete(self) -> bool:
        """Whether nothing is loose, nothing differs and nothing had to be assumed."""
        return self.completeness.complete


def missing(circuit: Circuit | Tracing, module: str) -> Missing:
    """What is to be typed in next for a module: the loose ends of its list, page by page.

    Raises
    ------
    UnknownModule : no module has that name
    """
    tracing = circuit if isinstance(circuit, Tracing) else Tracing(circuit)
    report = supplies_of(tracing, module)
    by_file: dict[str, list[LooseEnd]] = {}
    for one in report.loose_ends:
        by_file.setdefault(one.place.file, []).append(one)
    sheets = {sheet.file: sheet for sheet in tracing.circuit.typed.sheets}
    pages = [
        MissingPage(file, sheets[file].id if file in sheets else None, sheets[file].title if file in sheets else None, tuple(ends))
        for file, ends in by_file.items()
    ]  # fmt: skip
    pages.sort(key=lambda page: (page.loose_ends[0].code not in CAUSES[:2], -len(page.loose_ends), natural(page.file)))
    return Missing(
        report.vehicle,
        report.module,
        report.name,
        report.completeness,
        tuple(pages),
        report.cross_check.differences,
        report.minding,
    )
