"""Small pieces that several outputs share: safe CSV, places as fields, JSON text."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from tracer.entry.problems import Place, Problem
from tracer.entry.visible import visible
from tracer.trace.lists.results import LooseEnd
from tracer.trace.rules.registry import Finding

WIDEST_LINE = 160  # of JSON: what one probe point has in one key state
_NESTING = (dict, list, tuple)
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
    """Indented JSON with a final newline; non-ASCII letters stay letters. What holds only values, and fits, stands on one line."""
    return "".join(_json_pieces(data, "\n")) + "\n"


def _json_pieces(data: Any, line: str) -> Iterator[str]:
    """The text of one value; `line` begins a line at its depth."""
    import json  # felt at the start of a list that is shown as text

    inner = data.values() if isinstance(data, Mapping) else data if isinstance(data, list | tuple) else ()
    short = json.dumps(data, ensure_ascii=False) if not any(isinstance(one, _NESTING) and one for one in inner) else ""
    if short and (not inner or len(short) <= WIDEST_LINE):
        yield short
    elif isinstance(data, Mapping):
        for number, (key, value) in enumerate(data.items()):
            yield f"{',' if number else '{'}{line}  {json.dumps(key, ensure_ascii=False)}: "
            yield from _json_pieces(value, line + "  ")
        yield f"{line}}}"
    else:
        for number, value in enumerate(data):
            yield f"{',' if number else '['}{line}  "
            yield from _json_pieces(value, line + "  ")
        yield f"{line}]"


def place_fields(place: Place) -> dict[str, Any]:
    """file, line, column of a place."""
    return {"file": place.file, "line": place.line, "column": place.column}


def problem_data(problem: Problem) -> dict[str, Any]:
    """One problem as plain data."""
    return {**place_fields(problem.place), "text": visible(problem.text), "message": problem.what, "fix": problem.fix}


def problems_data(problems: Iterable[Problem]) -> dict[str, Any]:
    """All problems of a load as plain data."""
    return {"schema": "tracer.problems/1", "problems": [problem_data(problem) for problem in problems]}


def loose_data(loose: LooseEnd | Finding) -> dict[str, Any]:
    """One loose end or remark as plain data."""
    return {
        "code": loose.code,
        **place_fields(loose.place),
        "at": loose.at,
        "message": loose.message,
        "fix": loose.fix,
    }
