"""The worksheet as PDF, HTML, CSV and plain data."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache
from importlib import resources
from typing import Any

from tracer.report.fonts import only_embedded
from tracer.report.sheets import csv_text, json_text, place_fields
from tracer.report.worksheet.plan import Reading, Worksheet

SCHEMA = "tracer.worksheet/1"
PAPERS = {"a4": "a4", "letter": "us-letter"}
CSS_PAPERS = {"a4": "A4", "letter": "letter"}
BOXES = ("volts", "loaded", "drop")
_FIELDS = (
    "Vehicle, registration or identification number", "Mileage", "Date", "Person",
    "Complaint, in the customer's words; when, hot, wet, recent work", "Meter leads shorted: reading in Ω or V", "Lamp proven on the battery before and after",
)  # fmt: skip


def as_data(sheet: Worksheet, date: str = "") -> dict[str, Any]:
    """The worksheet as plain data, in the order in which it is printed."""
    return {
        "schema": SCHEMA,
        "vehicle": sheet.vehicle,
        "module": sheet.module,
        "name": sheet.name,
        "place": sheet.place,
        "system": sheet.system,
        "date": date,
        "complete": sheet.complete,
        "status": sheet.status,
        "keys": list(sheet.keys),
        "conditions": list(sheet.conditions),
        "fields": list(_FIELDS),
        "cautions": list(sheet.cautions),
        "loose_ends": [
            {
                "code": loose.code,
                **place_fields(loose.place),
                "at": loose.at,
                "message": loose.message,
                "fix": loose.fix,
            }
            for loose in sheet.loose
        ],
        "notes": list(sheet.notes),
        "batches": [
            {
                "number": number,
                "place": batch.place,
                "access": batch.access,
                "key": batch.key,
                "plugged": batch.plugged,
                "plug": batch.plug_words,
                "load": batch.load,
                "other_lead": batch.other_lead,
                "helper": batch.helper,
                "readings": [_reading(reading) for reading in batch.readings],
            }
            for number, batch in enumerate(sheet.batches, 1)
        ],
        "sources": [{"number": number, "text": text} for number, text in enumerate(sheet.sources, 1)],
        "sheets": list(sheet.sheets),
    }


def _reading(reading: Reading) -> dict[str, Any]:
    data = asdict(reading)
    data["boxes"] = [box for box in ("volts", "loaded", "drop", "ohms", "tick") if box in reading.boxes]
    return data


def as_typst(sheet: Worksheet) -> bytes:
    """The typst source of the form; the data comes beside it, so that no name is ever markup."""
    return template("worksheet.typ").encode()


def as_pdf(sheet: Worksheet, *, paper: str = "a4", date: str = "") -> bytes:
    """The form as PDF, A4 or Letter lying."""
    import typst

    inputs = _inputs(sheet, paper, date)
    return typst.compile(
        as_typst(sheet), format="pdf", ignore_system_fonts=only_embedded([inputs["data"]]), sys_inputs=inputs
    )


def as_png(sheet: Worksheet, *, paper: str = "a4", date: str = "", ppi: int = 100) -> list[bytes]:
    """The pages of the form as pictures."""
    import typst

    inputs = _inputs(sheet, paper, date)
    embedded = only_embedded([inputs["data"]])
    # One page comes as bytes, several as a list; the library's annotations know the first only.
    made: Any = typst.compile(as_typst(sheet), format="png", ppi=ppi, ignore_system_fonts=embedded, sys_inputs=inputs)
    return [made] if isinstance(made, bytes) else list(made)


def _inputs(sheet: Worksheet, paper: str, date: str) -> dict[str, str]:
    return {"data": json_text(as_data(sheet, date)), "paper": PAPERS[paper]}


def as_html(sheet: Worksheet, *, paper: str = "a4", date: str = "") -> str:
    """The form as one self-contained HTML file that prints the same."""
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(template("worksheet.html")).render(
        sheet=as_data(sheet, date), paper=CSS_PAPERS[paper]
    )


def as_csv(sheet: Worksheet) -> str:
    """One line for each reading, in order, with empty columns for what is read; loose ends at the end."""
    complete = "complete" if sheet.complete else "NOT COMPLETE"
    head = [
        "batch", "place", "access", "key", "module", "load", "other lead", "code", "point", "side", "wire", "comes from", "expected", "limit",
        "must", "open V", "loaded V", "drop V", "pass or fail", "note", "remark", "complete",
    ]  # fmt: skip
    lines = [
        [
            str(number), batch.place, batch.access, batch.key, "plugged in" if batch.plugged else "unplugged", reading.lamp or batch.load, batch.other_lead,
            reading.code or "battery", reading.point, reading.side, reading.wire, reading.comes_from, reading.expected, reading.limit, "yes" if reading.must else "no",
            "", "", "", "", "", reading.note, complete,
        ]
        for number, batch in enumerate(sheet.batches, 1)
        for reading in batch.readings
    ]  # fmt: skip
    for loose in sheet.loose:
        lines.append(
            [
                "",
                str(loose.place),
                *[""] * 5,
                loose.code,
                loose.at,
                "LOOSE END",
                "",
                "",
                loose.message,
                loose.fix,
                *[""] * 7,
                complete,
            ]
        )
    return csv_text(head, lines)


@cache
def template(name: str) -> str:
    """A template that comes with the package."""
    return (resources.files("tracer.report") / "templates" / name).read_text(encoding="utf-8")
