"""A sheet in plain lines to be ticked against the drawing: as text and as JSON."""

from __future__ import annotations

from typing import Any

from tracer.circuit.read_back import ReadBack
from tracer.report.layout import Page, counted
from tracer.report.plain_data import place_fields

SCHEMA = "tracer.read-back/1"
WHY = (
    "Two supplies swapped between two pins look right in every list and in every check: only an eye on the drawing finds them, "
    "here or by a second typing (`tracer compare`)."
)
HOW = "Put a finger on the drawing, compare every word, then tick: `--tick 1-12`, `--tick all`, `--untick 3`."


def as_text(found: ReadBack, *, width: int = 80, bold: bool = False) -> str:
    """How much is ticked, then the lines: wires in the order of the marks on the drawing, then what is told of parts."""
    page = Page(width, bold=bold)
    left = [line for line in found.lines if not line.ticked]
    state = (
        f"{len(left)} of {counted(len(found.lines), 'line')} not ticked"
        if left
        else f"all {counted(len(found.lines), 'line')} ticked"
    )
    gone = f"; {counted(len(found.gone), 'ticked line')} changed or deleted since" if found.gone else ""
    sheet = f"sheet {found.sheet.id}" + (f", {found.sheet.title}" if found.sheet.title else "")
    page.line(f"{found.vehicle}: {sheet}: {state}{gone}.", strong=True)
    if found.sheet.page:
        page.line(
            f"The page: {found.sheet.page}{'' if found.page_found else ' (there is no such file)'}", indent=2, hang=4
        )
    page.line(WHY, indent=2, hang=2)
    if found.gone:
        page.heading("Ticked, and changed or deleted since")
        page.first(found.gone, indent=2, hang=4)
    under = ""
    digits = len(str(len(found.lines)))
    for line in found.lines:
        if line.under != under:
            page.blank()
            under = line.under
            page.line(under, strong=True)
        page.line(
            f"{'[x]' if line.ticked else '[ ]'} {line.number:>{digits}}  {line.words}", indent=2, hang=2 + 6 + digits
        )
    page.blank()
    page.line(HOW)
    return page.text()


def as_data(found: ReadBack) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": SCHEMA,
        "complete": found.complete,
        "vehicle": found.vehicle,
        "sheet": found.sheet.id,
        "page": found.sheet.page,
        "page_found": found.page_found,
        "changed_since_ticked": list(found.gone),
        "lines": [
            {
                "number": line.number,
                "under": line.under,
                "words": line.words,
                "ticked": line.ticked,
                **place_fields(line.place),
            }
            for line in found.lines
        ],
    }
