"""Small pieces that several outputs share: safe CSV, places as fields, JSON text."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from tracer.entry.problems import Place, Problem

_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")  # some spreadsheets read the full-width ones as well


def csv_text(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """CSV (RFC 4180, CRLF). A cell that a spreadsheet would run as a formula gets an apostrophe in front."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(head)
    for row in rows:
        writer.writerow([safe_cell(cell) for cell in row])
    return out.getvalue()


def safe_cell(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula.

    >>> safe_cell("=1+1"), safe_cell("RD 2.5")
    ("'=1+1", 'RD 2.5')
    """
    bare = cell.lstrip().removeprefix("\ufeff").lstrip()
    return f"'{cell}" if bare.startswith(_FORMULA_STARTS) or cell.lstrip(" ").startswith(("\t", "\r")) else cell


def json_text(data: Any) -> str:
    """Indented JSON with a final newline; non-ASCII letters stay letters."""
    import json  # felt at the start of a list that is shown as text

    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def place_fields(place: Place) -> dict[str, Any]:
    """file, line, column of a place."""
    return {"file": place.file, "line": place.line, "column": place.column}


def problem_data(problem: Problem) -> dict[str, Any]:
    """One problem as plain data."""
    return {**place_fields(problem.place), "text": problem.text, "message": problem.what, "fix": problem.fix}


def problems_data(problems: Iterable[Problem]) -> dict[str, Any]:
    """All problems of a load as plain data."""
    return {"schema": "tracer.problems/1", "problems": [problem_data(problem) for problem in problems]}
