"""Every word that is printed on the form besides what is to be read, once for PDF and HTML: the templates only lay out."""

from __future__ import annotations

from typing import Any

from tracer.report.words import LETTERS, WHOSE_WORDS
from tracer.report.worksheet.lines import Batch, ToRead, Worksheet

COLUMNS = ("code", "point and side", "wire; comes from", "expected; limit", "volts", "lamp on", "drop", "circle one", "note")  # fmt: skip
FIELDS = (
    "Vehicle, registration or identification number", "Mileage", "Date", "Person",
    f"{WHOSE_WORDS[0].upper()}{WHOSE_WORDS[1:]}", "Meter leads shorted: reading in Ω or V", "Lamp proven on the battery before and after",
)  # fmt: skip


def words_of(worksheet: Worksheet) -> dict[str, Any]:
    """The words of a form. `[bold, rest]` is a paragraph that begins in bold; of `batches` each has its opening line, battery line and pin fit."""
    conditions = f" Conditions: {'; '.join(worksheet.conditions)}." if worksheet.conditions else ""
    return {
        "title": f"{worksheet.module} {worksheet.name}".strip(),
        "of": f"{worksheet.vehicle}, {worksheet.system}; at: {worksheet.place}",
        "state": worksheet.completeness.state.upper(),
        "footer": f"{worksheet.vehicle}: {worksheet.module}",
        "columns": list(COLUMNS),
        "loose": [
            "What is loose: this list is NOT COMPLETE.",
            "Find each of these at the vehicle or on the diagram, and write down what was found.",
        ],
        "loose_ends": [[loose.code, f"{loose.message}. {loose.fix}"] for loose in worksheet.loose],
        "cautions": "Cautions",
        "how": ["How to read this form.", _how(worksheet) + conditions],
        "not_computed": [
            f"No values could be computed for {'; '.join(worksheet.not_computed)}.",
            "There the expected column is common practice only.",
        ],
        "boxes": {"volts": "V", "ohms": "Ω", "drop": "drop", "battery": "battery", "none": "–"},
        "ok": "ok",
        "fail": "fail",
        "batches": [_batch(number, batch) for number, batch in enumerate(worksheet.batches, 1)],
        "notes": "Notes",
        "exceptions": [
            "Exceptions: what could not be traced, reached or measured, and why.",
            'If there is none, write "none". This box is signed, empty or not.',
        ],
        "signed": ["Name", "Date and time", "Signature"],
        "maker": "The maker's limits come first.",
        "sheets": f"Typed from sheets {', '.join(worksheet.sheets)}.",
    }


def _how(worksheet: Worksheet) -> str:
    return (
        "One batch is one place, one key state, module plugged in or not; its first box is for the battery volts at that moment. "
        f"{LETTERS}; after the dot the point's number in its row, the same as on the diagram. "
        "A heavy border must be measured. Volts: to battery negative; unplugged that is the open circuit. Lamp on: the same with the lamp whose watts the box names. "
        "Drop: the meter across the way, from the post named to the point, with the circuit working or the lamp on. "
        f"Key states in their order: {', '.join(worksheet.keys)}."
    )


def _batch(number: int, batch: Batch) -> dict[str, Any]:
    helper = f"Helper: {batch.helper}. " if batch.helper != f"key to {batch.key}" else ""
    battery = batch.to_read[0]
    fit = next((to_read for to_read in batch.to_read if to_read.kind == "fit"), None)
    return {
        "place": f"{number}. {batch.place}",
        "access": f"({batch.access})" if batch.access else "",
        "state": f"key {batch.key}, {batch.plug_words}",
        "opening": f"{helper}Load: {batch.load}. Other lead: {batch.other_lead}.",
        "battery": ["battery", f"volts now, plus to minus post; expected {battery.expected}"],
        "fit": [] if fit is None else ["Pin fit", f", {fit.side}: {fit.expected}; {fit.note}. Circle one for each:"],
        "from": [_from(to_read) for to_read in batch.to_read],
    }


def _from(to_read: ToRead) -> str:
    return f"from {to_read.comes_from}" if to_read.comes_from else ""
