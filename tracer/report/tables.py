"""The cautions, and the documents behind the tables: in full, as text and as JSON. Neither asks for a vehicle."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tracer.report.layout import Page
from tracer.standards.cautions import WORK_KINDS, Caution
from tracer.standards.sources import Source, said


def cautions_text(cautions: Iterable[Caution], *, width: int = 80, bold: bool = False) -> str:
    """Every caution once, under the first kind of work that it belongs to, with where it is from."""
    page, told, found = Page(width, bold=bold), set[str](), tuple(cautions)
    for kind in WORK_KINDS:
        own = [one for one in found if kind in one.kinds and one.id not in told]
        if own:
            page.heading(kind)
        for one in own:
            told.add(one.id)
            also = [other for other in one.kinds if other != kind]
            more = f" (also {', '.join(also)})" if also else ""
            page.line(
                f"- {one.text}{more} [{'; '.join(word for word in (said(one.certainty, one.source), one.note) if word)}]",
                indent=2,
                hang=4,
            )
    return page.text()


def cautions_data(cautions: Iterable[Caution]) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": "tracer.cautions/1",
        "cautions": [
            {"id": one.id, "text": one.text, "kinds": list(one.kinds), "note": one.note or None, "certainty": one.certainty, "source": one.source}
            for one in cautions
        ],
    }  # fmt: skip


def sources_text(sources: Iterable[Source], *, width: int = 80, bold: bool = False) -> str:
    """Every document that a value was seen in, by what kind it is; nothing else is named."""
    page = Page(width, bold=bold)
    by_kind: dict[str, list[Source]] = {}
    for one in sources:
        by_kind.setdefault(one.kind, []).append(one)
    for kind, found in by_kind.items():
        page.heading(kind)
        for one in found:
            page.line(f"- {one.source}", indent=2, hang=4)
    page.blank()
    page.line("A value marked custom is a custom of the trade without a source, one marked memory was not looked up; maker and shop are what a vehicle or a workshop sets.")  # fmt: skip
    return page.text()


def sources_data(sources: Iterable[Source]) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": "tracer.sources/1",
        "sources": [{"id": one.id, "title": one.title, "kind": one.kind, "address": one.address} for one in sources],
    }


__all__ = ["cautions_data", "cautions_text", "sources_data", "sources_text"]
