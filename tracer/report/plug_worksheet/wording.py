"""What is printed on the worksheet around its boxes, once for paper, page and text: the templates only lay out."""

from __future__ import annotations

from typing import Any

from tracer.plan.words import IS_LIT
from tracer.report.faces import PRINTED
from tracer.report.plug_worksheet.values import ALONE, DEAD, PLUGGED, START, WorksheetInWords
from tracer.report.words import FED_THROUGH, MAKER_FIRST, WHOSE_WORDS

MOST_LOOSE = 8  # of loose ends with a box each: more become a count

FIELDS = ("vehicle, registration or identification number", "km", "date", "by", WHOSE_WORDS)  # fmt: skip


def words_of(worksheet: WorksheetInWords) -> dict[str, Any]:
    """Titles, fields, the heads of the columns, and the lines at the end."""
    more = len(worksheet.loose) - MOST_LOOSE
    all_command = f"`tracer supplies {worksheet.module} --all`"
    return {
        "title": f"{worksheet.module} {worksheet.name}".strip(),
        "of": f"{worksheet.vehicle}, {worksheet.system}",
        "plug": f"Plug: {worksheet.place}{f' ({worksheet.access})' if worksheet.access else ''}",
        "status": worksheet.status,
        "fields": list(FIELDS),
        "loose": "FIND THESE FIRST: the list is not complete without them",
        "loose_ends": [[f"{loose.at}: {loose.message}. {loose.code}", "found"] for loose in worksheet.loose[:MOST_LOOSE]],
        "marked": [*worksheet.marked, *([f"and {more} more loose ends: {all_command}"] if more > 0 else [])],
        "safe": f"{MAKER_FIRST} A lamp only on unplugged supply and ground pins, never on bus, sensor, restraint or high-voltage wires. Its own fused lead goes to battery minus, for a ground to plus; the meter has leads of its own.",
        "steps": {name: f"{number}  {worksheet.titles[number].upper()}" for name, number in (("plugged", PLUGGED), ("start", START), ("alone", ALONE), ("dead", DEAD))},
        "columns": {
            "pin": "pin, wire", "way": FED_THROUGH, "drop": "drop to its post, V", "start": "least, V", "key": "key",
            "bare": "no lamp, V", "lamp": "lamp", "loaded": "lamp on, V" + ("; lit" if any(pin.lit for pin in worksheet.pins) else ""), "dead": list(worksheet.dead_keys), "splits": "only if it fails: lamp on at",
        },
        "lit": IS_LIT,
        "order": f"Work in the order of the numbers. In order is a pin only if both figures of {ALONE} are: off its post without the lamp, moved by the lamp. {PLUGGED} alone proves little. {DEAD}: some volts? A live wire lights the lamp.",
        "exceptions": 'Not reached, not traced, odd (write "none"):',
        "again": "All back in and plugged",
        "verdict": f"Tested ____ of {worksheet.tests}.",
        "verdicts": ["all proven with the fault there: module suspect", "fault found between", "and", "not proven, open"],
        "signed": "Signature",
        "face": PRINTED,
        "notes": "Typed in: " + "; ".join(note.rstrip(".") for note in worksheet.notes) + "." if worksheet.notes else "",
        "all": f"Every point by place: `tracer worksheet {worksheet.module} --all`. Cautions in full: `tracer cautions`.",
        "footer": f"{worksheet.vehicle}: {worksheet.module}, list {worksheet.edition}",
    }  # fmt: skip


__all__ = ["FIELDS", "words_of"]
