"""One side of paper for a module: every supply and ground proven from its own plug, and what else must hold.

What is read where, when and with which lamp is decided in `tracer.plan`; `lines` puts it into words, `form` writes it as PDF, HTML, text, CSV or data.
"""

from __future__ import annotations

from tracer.report.one_sheet.form import as_csv, as_data, as_html, as_pdf, as_png, as_text
from tracer.report.one_sheet.lines import sheet_in_words
from tracer.report.one_sheet.values import Sheet
from tracer.report.sheets import json_text


def file_of(sheet: Sheet, form: str, *, paper: str = "a4", date: str = "") -> bytes:
    """The sheet as the contents of one file: pdf, html, txt, csv or json."""
    if form == "json":
        return json_text(as_data(sheet, date)).encode()
    if form == "csv":
        return as_csv(sheet).encode()
    if form == "txt":
        return as_text(sheet, date=date).encode()
    if form == "html":
        return as_html(sheet, paper=paper, date=date).encode()
    return as_pdf(sheet, paper=paper, date=date)


__all__ = ["Sheet", "as_csv", "as_data", "as_html", "as_pdf", "as_png", "as_text", "file_of", "sheet_in_words"]
