"""The worksheet as PDF, HTML, text, CSV and plain data."""

from __future__ import annotations

from typing import Any

from tracer.report import faces
from tracer.report.completeness import cell, completeness_data
from tracer.report.layout import Page
from tracer.report.minding import everywhere, minding_data
from tracer.report.plain_data import csv_text, json_text, loose_data
from tracer.report.plug_worksheet.values import ALONE, PLUGGED, STEPS, Box, PinLine, Strip, WorksheetInWords
from tracer.report.plug_worksheet.wording import words_of
from tracer.report.typeset import CSS_PAPERS, PAPERS, html, pdf, pictures, template

SCHEMA = "tracer.sheet/1"
LINE = "_" * 6
_TOGETHER = "\N{NO-BREAK SPACE}"  # while lines are broken: a box stays with what it asks


def as_data(worksheet: WorksheetInWords, date: str = "") -> dict[str, Any]:
    """The worksheet as plain data, in the order in which it is printed."""
    return {
        "schema": SCHEMA,
        "vehicle": worksheet.vehicle,
        "module": worksheet.module,
        "name": worksheet.name,
        "place": worksheet.place,
        "system": worksheet.system,
        "date": date,
        **completeness_data(worksheet.completeness),
        "edition": worksheet.edition,
        "status": worksheet.status,
        "tests": worksheet.tests,
        "before": [_strip(strip) for strip in worksheet.before],
        "pins": [_pin(pin) for pin in worksheet.pins],
        "titles": {str(number): title for number, title in worksheet.titles.items()},
        "after": [_strip(strip) for strip in worksheet.after],
        "loose_ends": [loose_data(loose) for loose in worksheet.loose],
        "marked": list(worksheet.marked),
        "hazards": list(worksheet.hazards),
        "faces": [faces.as_data(face) for face in worksheet.faces],
        "notes": list(worksheet.notes),
        "minding": minding_data(worksheet.minding),
        "sheets": list(worksheet.sheets),
    }


def _strip(strip: Strip) -> dict[str, Any]:
    return {
        "number": strip.number,
        "title": strip.title,
        "safe": strip.safe,
        "boxes": [_box(box) for box in strip.boxes],
    }


def _pin(pin: PinLine) -> dict[str, Any]:
    return {
        "name": pin.name,
        "point": pin.point,
        "wire": pin.wire,
        "way": pin.way,
        "key": pin.key,
        "lamp": pin.lamp,
        "says": pin.says,
        **{
            name: _box(box) if (box := getattr(pin, name)) else None
            for name in ("plugged", "start", "bare", "loaded", "lit")
        },
        "dead": [_box(box) for box in pin.dead],
        "splits": [_box(box) for box in pin.splits],
    }


def _box(box: Box) -> dict[str, Any]:
    return {
        "row": box.row, "point": box.point, "ask": box.ask, "unit": box.unit, "expect": box.expect, "key": box.key, "plug": box.plug, "out": list(box.out), "decides": box.decides,
    }  # fmt: skip


# --- paper -------------------------------------------------------------------------------------------------------------


def as_pdf(worksheet: WorksheetInWords, *, paper: str = "a4", date: str = "") -> bytes:
    """The worksheet as PDF, A4 or Letter lying."""
    return pdf(template("soft.typ", "faces.typ", "plug_worksheet.typ"), _inputs(worksheet, paper, date))


def as_png(worksheet: WorksheetInWords, *, paper: str = "a4", date: str = "", ppi: int = 100) -> list[bytes]:
    """The pages of the worksheet as pictures."""
    return pictures(template("soft.typ", "faces.typ", "plug_worksheet.typ"), _inputs(worksheet, paper, date), ppi=ppi)


def _inputs(worksheet: WorksheetInWords, paper: str, date: str) -> dict[str, str]:
    return {
        "data": json_text(as_data(worksheet, date)),
        "words": json_text(words_of(worksheet)),
        "paper": PAPERS[paper],
    }


def as_html(worksheet: WorksheetInWords, *, paper: str = "a4", date: str = "") -> str:
    """The worksheet as one self-contained HTML file that prints the same."""
    return html(
        "plug_worksheet.html", worksheet=as_data(worksheet, date), words=words_of(worksheet), paper=CSS_PAPERS[paper]
    )


# --- text --------------------------------------------------------------------------------------------------------------


def as_text(worksheet: WorksheetInWords, *, date: str = "", width: int = 100) -> str:
    """The worksheet as plain text with lines to write on, step by step."""
    words, page = words_of(worksheet), Page(width)
    page.line(words["title"])
    page.line(words["of"])
    page.line(words["plug"])
    page.line(worksheet.status + (f"   {date}" if date else ""))
    for line in worksheet.hazards:
        page.line(f"! {line}", hang=2)
    for line in words["marked"]:
        page.line(f"! {line}", hang=2)
    for line, found in words["loose_ends"]:
        page.line(f"! {line}  {found} {LINE * 3}", hang=2)
    page.line("; ".join(f"{label} {LINE}" for label in words["fields"]))
    page.line(words["safe"])
    page.line(words["order"])
    strips = {strip.number: strip for strip in (*worksheet.before, *worksheet.after)}
    for number in STEPS:
        pins = [pin for pin in worksheet.pins if pin.boxes_of(number) or (number == ALONE and pin.says)]
        if number not in strips and not pins:
            continue
        strip = strips.get(number)
        page.heading(f"{number}  {worksheet.titles[number] if pins else strip.title if strip else ''}")
        if strip:
            page.line(strip.safe, indent=2)
        for pin in pins:
            _text_pin(page, pin, number)
        if strip:
            asked = [_asked(box, row=n == 0 or box.row != strip.boxes[n - 1].row) for n, box in enumerate(strip.boxes)]
            page.line(
                "   ".join(one.replace(" ", _TOGETHER) if len(one) < width - 4 else one for one in asked), indent=2
            )
    page.blank()
    page.line(f"{words['exceptions']} {LINE * 5}")
    page.line(f"[ ] {words['again']}")
    page.line(f"{words['verdict']}  " + _verdicts(words["verdicts"]))
    page.line(f"{words['signed']} {LINE * 4}")
    for key in ("notes", "all"):
        if words[key]:
            page.line(words[key])
    for face in worksheet.faces:
        page.blank()
        faces.write(page, face)
    return page.text().replace(_TOGETHER, " ")


def _verdicts(words: list[str]) -> str:
    module, found, and_there, not_proven = words
    return f"[ ] {module}   [ ] {found} {LINE} {and_there} {LINE}   [ ] {not_proven} {LINE}"


def _text_pin(page: Page, pin: PinLine, number: int) -> None:
    if number == PLUGGED:
        page.line(f"{pin.name}  {pin.wire}  {pin.way}", indent=2, hang=6)
    elif number == ALONE:
        page.line(
            "  ".join(one for one in (pin.name, f"key {pin.key}" if pin.key else "", pin.says) if one), indent=2, hang=6
        )
    for box in pin.boxes_of(number):
        if box not in pin.splits:
            page.line(
                _asked(box, row=number not in (PLUGGED, ALONE)), indent=2 if number not in (PLUGGED, ALONE) else 6
            )
    if number == ALONE and pin.splits:
        fails = "" if pin.says else "if it fails: "
        page.line(fails + "  ".join(f"{box.ask} {LINE} V" for box in pin.splits), indent=6, hang=8)


def _asked(box: Box, *, row: bool = True) -> str:
    return "  ".join(one for one in (box.row if row else "", box.ask, _text_box(box)) if one)


def _text_box(box: Box | None) -> str:
    if box is None:
        return ""
    written = "[ ]" if box.unit == "tick" else LINE if box.unit == "words" else f"{LINE} {box.unit}"
    return f"{written}  {box.expect}".rstrip()


# --- CSV ---------------------------------------------------------------------------------------------------------------

HEAD = ("step", "title", "safe", "row", "name", "wire", "fed through", "key", "module", "out", "ask", "expect", "unit", "decides", "read", "note", "edition", "mark", "complete")  # fmt: skip


def as_csv(worksheet: WorksheetInWords) -> str:
    """One line for each box, in the order of the work, with an empty column for what is read; what is loose at the end."""
    same = {"edition": worksheet.edition, "complete": cell(worksheet.completeness)}
    rows: list[dict[str, str]] = []
    for number, title, safe, boxes, pin in worksheet.steps:
        line = {"wire": pin.wire, "fed through": pin.way, "note": pin.says} if pin else {}
        for box in boxes:
            name = box.name or (
                box.point
                if pin and box in pin.splits and not pin.says
                else worksheet.full_names.get(box.row, box.point)
            )
            cells = {
                "step": str(number), "title": title, "safe": safe, "row": box.row, "name": name, "key": box.key, "module": box.plug, "out": ",".join(box.out), "ask": box.ask, "mark": worksheet.marks.get(name, ""),
                "expect": box.expect, "unit": box.unit, "decides": "yes" if box.decides else "no",
            }  # fmt: skip
            rows.append({**line, **cells})
    for pin in worksheet.pins:
        if not any(pin.boxes_of(number) for number in STEPS):
            rows.append(
                {"row": pin.name, "name": pin.point, "wire": pin.wire, "fed through": pin.way, "note": pin.says}
            )
    for loose in worksheet.loose:
        rows.append(
            {"title": "LOOSE END", "row": loose.code, "name": loose.at, "note": f"{loose.message}. {loose.fix}"}
        )
    rows += [{"note": line} for line in (*worksheet.marked, *everywhere(worksheet.minding))]
    return csv_text(HEAD, [[{**row, **same}.get(name, "") for name in HEAD] for row in rows])


__all__ = ["as_csv", "as_data", "as_html", "as_pdf", "as_png", "as_text"]
