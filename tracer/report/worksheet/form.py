"""The worksheet as PDF, HTML, CSV and plain data."""

from __future__ import annotations

from typing import Any

from tracer.plan.values import Computed
from tracer.report.completeness import cell, completeness_data
from tracer.report.minding import everywhere, first_words, lines, minding_data, notes_at
from tracer.report.once import Texts
from tracer.report.plain_data import csv_text, json_text, loose_data
from tracer.report.typeset import CSS_PAPERS, PAPERS, html, pdf, template
from tracer.report.worksheet.lines import ToRead, Worksheet
from tracer.report.worksheet.wording import FIELDS, words_of
from tracer.standards import figures
from tracer.trace.minding import CAUTION, HAZARD

SCHEMA = "tracer.worksheet/1"
BOXES = ("volts", "loaded", "drop", "ohms", "tick")


def as_data(worksheet: Worksheet, date: str = "") -> dict[str, Any]:
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
            "readings": [_to_read(to_read, limits, bases) for to_read in batch.to_read],
        }
        for number, batch in enumerate(worksheet.batches, 1)
    ]
    said = first_words(worksheet.minding)
    hazards = [said, *lines(worksheet.minding, HAZARD, CAUTION)] if said else []
    return {
        "schema": SCHEMA,
        "vehicle": worksheet.vehicle,
        "module": worksheet.module,
        "name": worksheet.name,
        "place": worksheet.place,
        "system": worksheet.system,
        "edition": worksheet.edition,
        "date": date,
        **completeness_data(worksheet.completeness),
        "status": worksheet.status,
        "keys": list(worksheet.keys),
        "conditions": list(worksheet.conditions),
        "fields": list(FIELDS),
        "cautions": list(worksheet.cautions),
        "rests_on": worksheet.rests_on,
        "not_computed": list(worksheet.not_computed),
        "loose_ends": [loose_data(loose) for loose in worksheet.loose],
        "notes": list(worksheet.notes),
        "minding": minding_data(worksheet.minding),
        "hazards": hazards,
        "batches": batches,
        "limits": limits.data(),
        "bases": bases.data(),
        "sources": [{"number": number, "text": text} for number, text in enumerate(worksheet.sources, 1)],
        "sheets": list(worksheet.sheets),
    }


def _to_read(to_read: ToRead, limits: Texts, bases: Texts) -> dict[str, Any]:
    return {
        "code": to_read.code,
        "name": to_read.name,
        "point": to_read.point,
        "side": to_read.side,
        "wire": to_read.wire,
        "comes_from": to_read.comes_from,
        "expected": to_read.expected,
        "limit": to_read.limit,
        "source": to_read.source,
        "boxes": [box for box in BOXES if box in to_read.boxes],
        "must": to_read.must,
        "lamp": to_read.lamp,
        "lamp_w": to_read.lamp_w,
        "lamp_box": to_read.lamp_box,
        "no_method": to_read.no_method,
        "note": to_read.note,
        "kind": to_read.kind,
        "computed": [_computed(one, limits, bases) for one in to_read.computed],
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


def as_pdf(worksheet: Worksheet, *, paper: str = "a4", date: str = "") -> bytes:
    """The form as PDF, A4 or Letter lying."""
    inputs = {
        "data": json_text(as_data(worksheet, date)),
        "words": json_text(words_of(worksheet)),
        "paper": PAPERS[paper],
    }
    return pdf(template("soft.typ", "worksheet.typ"), inputs)


def as_html(worksheet: Worksheet, *, paper: str = "a4", date: str = "") -> str:
    """The form as one self-contained HTML file that prints the same."""
    return html(
        "worksheet.html", worksheet=as_data(worksheet, date), words=words_of(worksheet), paper=CSS_PAPERS[paper]
    )


def as_csv(worksheet: Worksheet) -> str:
    """One line for each thing to read, in order, with empty columns for what is read; loose ends at the end."""
    complete = cell(worksheet.completeness)
    head = [
        "batch", "place", "access", "key", "module", "load", "other lead", "code", "point", "side", "wire", "comes from", "expected", "limit",
        "must", "volts", "volts loaded", "drop V", "pass or fail", "note", "remark", *_NUMBERS, "limit V", "source of limit", "complete", "name", "edition",
    ]  # fmt: skip
    rows = [
        [
            str(number), batch.place, batch.access, batch.key, "plugged in" if batch.plugged else "unplugged", to_read.lamp or batch.load, batch.other_lead,
            to_read.code or "battery", to_read.point, to_read.side, to_read.wire, to_read.comes_from, to_read.expected, to_read.limit, "yes" if to_read.must else "no",
            "", "", "", "", "", "; ".join(one for one in (to_read.note, notes_at(worksheet.minding, to_read.point)) if one), *_numbers(to_read, worksheet), complete,
            to_read.name, worksheet.edition,
        ]
        for number, batch in enumerate(worksheet.batches, 1)
        for to_read in batch.to_read
    ]  # fmt: skip
    for loose in worksheet.loose:
        cells = {"place": str(loose.place), "code": loose.code, "point": loose.at, "side": "LOOSE END", "expected": loose.message, "limit": loose.fix, "complete": complete}  # fmt: skip
        rows.append([cells.get(name, "") for name in head])
    for words in everywhere(worksheet.minding):
        rows.append([words if name == "remark" else complete if name == "complete" else "" for name in head])
    for failed in worksheet.not_computed:
        cells = {"side": "NO VALUES COMPUTED", "expected": failed, "complete": complete}
        rows.append([cells.get(name, "") for name in head])
    return csv_text(head, rows)


_NUMBERS = (
    "computed V", "computed low V", "computed high V", "computed loaded V", "computed loaded low V", "computed loaded high V",
    "computed drop V", "computed drop high V", "computed ohm", "computed low ohm", "computed high ohm", "computed for load",
)  # fmt: skip


def _numbers(to_read: ToRead, worksheet: Worksheet) -> list[str]:
    """The computed values of one in the columns `_NUMBERS`, then its limit and where that is from."""
    cells = dict.fromkeys(_NUMBERS, "")
    limit, source = "", ""
    for one in to_read.computed:
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
            limit, source = figures.plain(one.limit_v), one.source
    if not limit and to_read.source:
        source = worksheet.sources[to_read.source - 1]
    return [*cells.values(), limit, source]
