"""A page to fill in at a fuse panel, as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tracer.plan.words import NO_PLACE
from tracer.report.layout import when_words
from tracer.report.minding import first_words, lines, withheld
from tracer.report.minding import mark as minding_mark
from tracer.report.panel import mark, serves_words, verdict
from tracer.report.plain_data import json_text
from tracer.report.typeset import pdf, template
from tracer.standards import figures
from tracer.trace.minding import CAUTION, HAZARD, NOTE, Minding
from tracer.trace.panels.positions_of import (
    ELECTRONIC,
    EMPTY,
    FITTED,
    Panel,
    PanelReport,
    Position,
)

BOXES = ("fitted", "rating seen", "V feed side", "V load side", "mV across, asleep")


# --- a page to fill in -----------------------------------------------------------------------------------------


def as_pdf(report: PanelReport) -> bytes:
    """The inventory as a page to fill in at the panel: a plan, and boxes for what is fitted, its rating and the voltages."""
    return pdf(template("panel.typ"), {"data": json_text(page_data(report))})


def page_data(report: PanelReport) -> dict[str, Any]:
    """What the page shows: words only, so that the template draws and does not decide."""
    return {
        "vehicle": report.vehicle,
        "boxes": list(BOXES),
        "cautions": [
            one
            for one in (first_words(report.minding), *lines(report.minding, HAZARD, CAUTION, NOTE), *report.cautions)
            if one
        ],
        "panels": [
            {
                "title": f"{panel.panel} - {panel.name}" if panel.name else panel.panel,
                "place": (panel.place or NO_PLACE) + (f" ({panel.access})" if panel.access else ""),
                "verdict": verdict([panel], report.completeness),
                "plan": _page_plan(panel),
                "positions": [_page_row(position, report.minding) for position in panel.positions],
            }
            for panel in report.panels
        ],
    }


def _page_plan(panel: Panel) -> list[list[dict[str, str]]]:
    marks = {position.label: mark(position) for position in panel.positions}
    for position in panel.positions:
        if position.body and position.body not in marks:
            marks[position.body] = "/".join(
                figures.stated(one.amps)
                for one in panel.positions
                if one.body == position.body and one.amps is not None
            )
    return [
        [{"label": "" if label == "_" else label, "mark": marks.get(label, "")} for label in row] for row in panel.plan
    ]


def _page_row(position: Position, minding: Minding) -> dict[str, Any]:
    state = {FITTED: "", EMPTY: "MUST BE EMPTY"}.get(position.state, position.state)
    belongs = "" if position.state == EMPTY else _short(position)
    notes: Sequence[str] = [
        state,
        f"or in {position.either}" if position.either else "",
        f"element of {position.body}" if position.body else "",
        minding_mark(minding, position.part),
        withheld(minding, position.part),
    ]
    return {
        "label": position.label,
        "belongs": belongs,
        "state": "; ".join(note for note in notes if note),
        "empty": position.state == EMPTY,
        "fed": ", ".join(position.fed_from) + (f"; feed side {position.feed_side}" if position.fed_from and position.feed_side else ""),
        "live": when_words(position.live, position.why) if position.live else "",
        "serves": "; ".join(filter(None, (position.said or serves_words(position.serves), _also_loose(position)))),
        "fuse": position.kind not in ("relay", "diode") and position.state != ELECTRONIC,
        "no_method": bool(withheld(minding, position.part)),
    }  # fmt: skip


def _also_loose(position: Position) -> str:
    return f"NOT KNOWN what hangs on {', '.join(position.loose)}" if position.loose else ""


def _short(position: Position) -> str:
    if position.state == ELECTRONIC:
        return f"no fuse; output {position.output}" if position.output else "no fuse; electronic output"
    if position.kind in ("relay", "diode"):
        return f"{position.name or position.kind}" + (f" ({position.relay})" if position.relay else "")
    rating = figures.rating(position.amps)
    more = [f"type {position.letter}" if position.letter else "", position.colour or ""]
    return ", ".join(word for word in (rating, *more) if word)
