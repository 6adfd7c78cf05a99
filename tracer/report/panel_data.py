"""Fuse panels for programs: as JSON and as CSV."""

from __future__ import annotations

from typing import Any

from tracer.report.completeness import cell as completeness_cell
from tracer.report.completeness import completeness_data
from tracer.report.minding import cell, minding_data
from tracer.report.panel import served_words
from tracer.report.plain_data import csv_text, loose_data
from tracer.standards import figures
from tracer.trace.panels.plugged_in import SeenReport
from tracer.trace.panels.positions_of import (
    PanelReport,
    Position,
)

SCHEMA = "tracer.panel/1"
SEEN_SCHEMA = "tracer.seen/1"


# --- JSON and CSV -----------------------------------------------------------------------------------------------


def as_data(report: PanelReport) -> dict[str, Any]:
    """The inventory as plain data, documented in docs/json/panel.md."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        **completeness_data(report.completeness),
        "loose_elsewhere": report.loose_elsewhere,
        "panels": [
            {
                "panel": panel.panel,
                "name": panel.name,
                "place": panel.place,
                "access": panel.access,
                "keys": list(panel.keys),
                "plan": [list(row) for row in panel.plan],
                "positions": [position_data(position) for position in panel.positions],
                "loose_ends": [loose_data(loose) for loose in panel.loose_ends],
            }
            for panel in report.panels
        ],
        "minding": minding_data(report.minding),
        "cautions": list(report.cautions),
    }


def position_data(position: Position) -> dict[str, Any]:
    """One position as plain data."""
    return {
        "label": position.label,
        "part": position.part,
        "name": position.name,
        "kind": position.kind,
        "belongs": position.belongs,
        "amps": position.amps,
        "type": position.letter or None,
        "family": position.family or None,
        "colour": position.colour,
        "state": position.state,
        "either": position.either,
        "body": position.body,
        "output": position.output,
        "fed_from": list(position.fed_from),
        "upstream": list(position.upstream),
        "sources": list(position.ends),
        "feed_side": position.feed_side,
        "live": position.live,
        "why": {key: list(reasons) for key, reasons in position.why.items()},
        "serves": [
            {"part": one.part, "kind": one.kind, "name": one.name, "pin": one.pin, "declared": one.declared, "through": list(one.through)}
            for one in position.serves
        ],
        "loose": list(position.loose),
        "next": list(position.below),
        "pins": dict(position.pins),
        "text": position.said,
        "text_not_found": list(position.not_found),
        "text_not_named": list(position.not_named),
        "sheets": list(position.sheets),
        "note": position.note,
    }  # fmt: skip


def as_csv(report: PanelReport) -> str:
    """One line for each position."""
    keys = report.panels[0].keys if report.panels else ()
    head = [
        "panel", "label", "belongs", "state", "A", "type", "colour", "fed from", "behind", "feed side", *(f"live in {key}" for key in keys), "serves", "text",
        "sheets", "to mind", "complete",
    ]  # fmt: skip
    lines = [
        [
            position.panel, position.label, position.belongs, position.state, "" if position.amps is None else figures.plain(position.amps), position.letter,
            position.colour or "", ", ".join(position.fed_from), ", ".join(position.upstream), position.feed_side or "",
            *(position.live.get(key, "") for key in keys), served_words(position), position.said or "", ", ".join(position.sheets),
            cell(report.minding, position.part),
            completeness_cell(report.completeness),
        ]
        for panel in report.panels
        for position in panel.positions
    ]  # fmt: skip
    return csv_text(head, lines)


def seen_data(report: PanelReport, seen: SeenReport) -> dict[str, Any]:
    """The comparison as plain data, documented in docs/json/panel.md."""
    return {
        "schema": SEEN_SCHEMA,
        "vehicle": report.vehicle,
        **completeness_data(seen.completeness),
        "mismatches": [
            {
                "label": one.position.label,
                "panel": one.position.panel,
                "what": one.what,
                "hazard": one.hazard,
                "belongs": one.position.belongs,
                "seen": one.seen.words,
                "message": one.message,
                "action": one.action,
                "symptoms": list(one.symptoms),
            }
            for one in seen.mismatches
        ],
        "stories": [
            {"message": story.message, "why": story.why, "positions": list(story.positions)} for story in seen.stories
        ],
        "right": list(seen.right),
        "not_looked_at": [
            {"label": position.label, "panel": position.panel, "belongs": position.belongs}
            for position in seen.not_looked_at
        ],
        "minding": minding_data(report.minding),
        "cautions": list(seen.cautions),
    }
