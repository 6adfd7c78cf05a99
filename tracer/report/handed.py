"""What became of each line that a page handed over: as text and as JSON."""

from __future__ import annotations

from typing import Any

from tracer.case.handed import Taken
from tracer.report.case import asked, conditions_text, reading_data, values_text
from tracer.report.layout import Page, counted

SCHEMA = "tracer.handed/1"


def as_text(taken: Taken, *, width: int = 80, bold: bool = False) -> str:
    """First what was refused, then what was recorded, each under its conditions."""
    page, case = Page(width, bold=bold), taken.case
    words = [f"{len(taken.recorded)} recorded", f"{len(taken.there)} there already", f"{len(taken.refused)} refused"]
    page.line("; ".join(words) + ".", strong=True)
    for remark in taken.remarks:
        page.line(f"! {remark}.", hang=2)
    page.first([f"! {name}: {why.rstrip('.')}. Not recorded." for name, why in taken.refused], hang=2)
    said = ""
    for one in taken.readings:
        if (on := conditions_text(one.conditions)) != said:
            page.line(on)
            said = on
        page.line(f"{one.id}  {case.short(one.name)}  {values_text(case, one)}", indent=2, hang=6)
    for note in taken.notes:
        page.line(f"{note.n}  {note.kind}  {', '.join(f'{name} {word}'.strip() for name, word in note.words.items())}", indent=2, hang=6)  # fmt: skip
    asked(page, taken.asks)
    if taken.there and not taken.recorded:
        page.line(f"Nothing new: {counted(len(taken.there), 'line')} handed over before.")
    return page.text()


def as_data(taken: Taken) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": SCHEMA,
        "complete": taken.complete,
        "recorded": list(taken.recorded),
        "there": list(taken.there),
        "refused": [{"id": name, "why": why} for name, why in taken.refused],
        "remarks": list(taken.remarks),
        "readings": [reading_data(taken.case, one) for one in taken.readings],
        "notes": [{"entry": one.n, "kind": one.kind, "words": dict(one.words)} for one in taken.notes],
        "asks": list(taken.asks),
    }


__all__ = ["as_data", "as_text"]
