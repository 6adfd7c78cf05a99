"""The probe list as a form to take to the vehicle: batches by place and key state, with boxes to write in.

What is read where, when and with which load is decided in `tracer.plan`; `lines` puts it into words, `form` writes it as PDF, HTML, CSV or data.
"""

from __future__ import annotations

from tracer.report.plain_data import json_text
from tracer.report.worksheet.form import as_csv, as_data, as_html, as_pdf
from tracer.report.worksheet.lines import Batch, ToRead, Worksheet, worksheet_of


def file_of(worksheet: Worksheet, form: str, *, paper: str = "a4", date: str = "") -> bytes:
    """The worksheet as the contents of one file: pdf, html, csv or json."""
    if form == "json":
        return json_text(as_data(worksheet, date)).encode()
    if form == "csv":
        return as_csv(worksheet).encode()
    if form == "html":
        return as_html(worksheet, paper=paper, date=date).encode()
    return as_pdf(worksheet, paper=paper, date=date)


__all__ = [
    "Batch",
    "ToRead",
    "Worksheet",
    "as_csv",
    "as_data",
    "as_html",
    "as_pdf",
    "file_of",
    "worksheet_of",
]
