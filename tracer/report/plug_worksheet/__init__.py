"""One side of paper for a module: every supply and ground proven from its own plug, and what else must hold.

What is read where, when and with which lamp is decided in `tracer.plan`; `lines` puts it into words, `form` writes it as PDF, HTML, text, CSV or data.
"""

from __future__ import annotations

from tracer.report.plain_data import json_text
from tracer.report.plug_worksheet.form import as_csv, as_data, as_html, as_pdf, as_png, as_text
from tracer.report.plug_worksheet.lines import worksheet_in_words
from tracer.report.plug_worksheet.values import WorksheetInWords


def file_of(worksheet: WorksheetInWords, form: str, *, paper: str = "a4", date: str = "") -> bytes:
    """The worksheet as the contents of one file: pdf, html, txt, csv or json."""
    if form == "json":
        return json_text(as_data(worksheet, date)).encode()
    if form == "csv":
        return as_csv(worksheet).encode()
    if form == "txt":
        return as_text(worksheet, date=date).encode()
    if form == "html":
        return as_html(worksheet, paper=paper, date=date).encode()
    return as_pdf(worksheet, paper=paper, date=date)


__all__ = [
    "WorksheetInWords",
    "as_csv",
    "as_data",
    "as_html",
    "as_pdf",
    "as_png",
    "as_text",
    "file_of",
    "worksheet_in_words",
]
