"""The worksheet as PDF, HTML, CSV and plain data."""

from __future__ import annotations

from typing import Any

from tracer.plan.values import Computed
from tracer.report.completeness import cell, completeness_data
from tracer.report.minding import everywhere, first_words, lines, minding_data, notes_at
from tracer.report.once import Texts
from tracer.report.sheets import csv_text, json_text, loose_data
from tracer.report.typeset import CSS_PAPERS, PAPERS, html, pdf, template
from tracer.report.worksheet.lines import Reading, Worksheet
from tracer.report.worksheet.wording import FIELDS, words_of
from tracer.trace.minding import CAUTION, HAZARD

SCHEMA = "tracer.worksheet/1"
BOXES = ("volts", "loaded", "drop", "ohms", "tick")


def as_data(sheet: Worksheet, date: str = "") -> dict[str, Any]:
    """The worksheet as plain data, in the order in which it is printed."""
    limits, bases = Texts(), Texts()
    batches = [
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
            "readings": [_reading(reading, limits, bases) for reading in batch.readings],
        }
        for number, batch in enumerate(sheet.batches, 1)
    ]
    said = first_words(sheet.minding)
    hazards = [said, *lines(sheet.minding, HAZARD, CAUTION)] if said else []
    return {
        "schema": SCHEMA,
        "vehicle": sheet.vehicle,
        "module": sheet.module,
        "name": sheet.name,
        "place": sheet.place,
        "system": sheet.system,
        "edition": sheet.edition,
        "date": date,
        **completeness_data(sheet.completeness),
        "status": sheet.status,
        "keys": list(sheet.keys),
        "conditions": list(sheet.conditions),
        "fields": list(FIELDS),
        "cautions": list(sheet.cautions),
        "rests_on": sheet.rests_on,
        "not_computed": list(sheet.not_computed),
        "loose_ends": [loose_data(loose) for loose in sheet.loose],
        "notes": list(sheet.notes),
        "minding": minding_data(sheet.minding),
        "hazards": hazards,
        "batches": batches,
        "limits": limits.data(),
        "bases": bases.data(),
        "sources": [{"number": number, "text": text} for number, text in enumerate(sheet.sources, 1)],
        "sheets": list(sheet.sheets),
    }


def _reading(reading: Reading, limits: Texts, bases: Texts) -> dict[str, Any]:
    return {
        "code": reading.code,
        "name": reading.name,
        "point": reading.point,
        "side": reading.side,
        "wire": reading.wire,
        "comes_from": reading.comes_from,
        "expected": reading.expected,
        "limit": reading.limit,
        "source": reading.source,
        "boxes": [box for box in BOXES if box in reading.boxes],
        "must": reading.must,
        "lamp": reading.lamp,
        "lamp_w": reading.lamp_w,
        "lamp_box": reading.lamp_box,
        "no_method": reading.no_method,
        "note": reading.note,
        "kind": reading.kind,
        "computed": [_computed(one, limits, bases) for one in reading.computed],
    }


def _computed(one: Computed, limits: Texts, bases: Texts) -> dict[str, Any]:
    unit = "_ohm" if one.unit == "ohm" else "_v"
    names = ("low", "nominal", "high", "least", "most")
    return {
        "box": one.box,
        "state": one.state,
        "plugged": one.plugged,
        "load": one.load,
        "floating": one.floating,
        **{name + unit: None if one.value is None else round(getattr(one.value, name), 4) for name in names},
        "lost_nominal_v": None if one.lost_nominal_v is None else round(one.lost_nominal_v, 4),
        "lost_high_v": None if one.lost_high_v is None else round(one.lost_high_v, 4),
        "limit_v": one.limit_v,
        "limit_from": limits.number(one.source),
        "basis": bases.number(one.basis),
        "not_computed": one.not_computed or None,
    }


def as_pdf(sheet: Worksheet, *, paper: str = "a4", date: str = "") -> bytes:
    """The form as PDF, A4 or Letter lying."""
    inputs = {"data": json_text(as_data(sheet, date)), "words": json_text(words_of(sheet)), "paper": PAPERS[paper]}
    return pdf(template("soft.typ", "worksheet.typ"), inputs)


def as_html(sheet: Worksheet, *, paper: str = "a4", date: str = "") -> str:
    """The form as one self-contained HTML file that prints the same."""
    return html("worksheet.html", sheet=as_data(sheet, date), words=words_of(sheet), paper=CSS_PAPERS[paper])


def as_csv(sheet: Worksheet) -> str:
    """One line for each reading, in order, with empty columns for what is read; loose ends at the end."""
    complete = cell(sheet.completeness)
    head = [
        "batch", "place", "access", "key", "module", "load", "other lead", "code", "point", "side", "wire", "comes from", "expected", "limit",
        "must", "volts", "volts loaded", "drop V", "pass or fail", "note", "remark", *_NUMBERS, "limit V", "source of limit", "complete", "name", "edition",
    ]  # fmt: skip
    rows = [
        [
            str(number), batch.place, batch.access, batch.key, "plugged in" if batch.plugged else "unplugged", reading.lamp or batch.load, batch.other_lead,
            reading.code or "battery", reading.point, reading.side, reading.wire, reading.comes_from, reading.expected, reading.limit, "yes" if reading.must else "no",
            "", "", "", "", "", "; ".join(one for one in (reading.note, notes_at(sheet.minding, reading.point)) if one), *_numbers(reading, sheet), complete,
            reading.name, sheet.edition,
        ]
        for number, batch in enumerate(sheet.batches, 1)
        for reading in batch.readings
    ]  # fmt: skip
    for loose in sheet.loose:
        cells = {"place": str(loose.place), "code": loose.code, "point": loose.at, "side": "LOOSE END", "expected": loose.message, "limit": loose.fix, "complete": complete}  # fmt: skip
        rows.append([cells.get(name, "") for name in head])
    for words in everywhere(sheet.minding):
        rows.append([words if name == "remark" else complete if name == "complete" else "" for name in head])
    for failed in sheet.not_computed:
        cells = {"side": "NO VALUES COMPUTED", "expected": failed, "complete": complete}
        rows.append([cells.get(name, "") for name in head])
    return csv_text(head, rows)


_NUMBERS = (
    "computed V", "computed low V", "computed high V", "computed loaded V", "computed loaded low V", "computed loaded high V",
    "computed drop V", "computed drop high V", "computed ohm", "computed low ohm", "computed high ohm", "computed for load",
)  # fmt: skip


def _numbers(reading: Reading, sheet: Worksheet) -> list[str]:
    """The computed values of a reading in the columns `_NUMBERS`, then its limit and where that is from."""
    cells = dict.fromkeys(_NUMBERS, "")
    limit, source = "", ""
    for one in reading.computed:
        names = {"loaded": "computed loaded {}V", "ohms": "computed {}ohm"}.get(one.box, "computed {}V")
        if one.value is not None:
            for part, value in (("", one.value.nominal), ("low ", one.value.low), ("high ", one.value.high)):
                cells[names.format(part)] = f"{value:.4f}"
        if one.lost_nominal_v is not None and one.lost_high_v is not None:
            cells["computed drop V"], cells["computed drop high V"] = (
                f"{one.lost_nominal_v:.4f}",
                f"{one.lost_high_v:.4f}",
            )
        cells["computed for load"] = one.load
        if one.limit_v is not None:
            limit, source = f"{one.limit_v:g}", one.source
    if not limit and reading.source:
        source = sheet.sources[reading.source - 1]
    return [*cells.values(), limit, source]
