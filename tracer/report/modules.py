"""All modules of a vehicle, one line each: is the list complete, how many supplies and grounds, over which fuses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tracer.report.completeness import completeness_data
from tracer.report.layout import Page, counted
from tracer.trace.lists.completeness import Completeness
from tracer.trace.lists.results import SupplyReport

SCHEMA = "tracer.modules/1"
_ORDER = ("not complete", "not all looked at", "complete if", "complete")


def as_text(reports: Sequence[SupplyReport], *, width: int = 80, bold: bool = False) -> str:
    """One line for each module, those that are not complete first."""
    page = Page(width, bold=bold)
    states = [report.completeness.state for report in reports]
    sums = ", ".join(f"{states.count(state)} {state}" for state in _ORDER if state in states)
    page.line(f"{reports[0].vehicle}: {counted(len(reports), 'module')}: {sums}.", strong=True)
    rows = [
        [report.module, report.completeness.word, *_counts(report), _fuses(report)]
        for report in sorted(reports, key=lambda report: _ORDER.index(report.completeness.state))
    ]
    page.table(rows, head=["module", "list", "+", "-", "loose", "over these fuses"])
    page.line("One of them: `tracer supplies MODULE`.")
    return page.text()


def _counts(report: SupplyReport) -> tuple[str, str, str]:
    loose = report.completeness.loose + report.completeness.differences
    return str(len(report.supplies)), str(len(report.grounds)), str(loose) if loose else ""


def _fuses(report: SupplyReport) -> str:
    return ", ".join(dict.fromkeys(fuse.part for row in report.supplies for fuse in row.fuses)) or "none"


def as_data(reports: Sequence[SupplyReport]) -> dict[str, Any]:
    """The same as plain data, documented in docs/json/modules.md."""
    return {
        "schema": SCHEMA,
        "vehicle": reports[0].vehicle,
        **completeness_data(Completeness.of_all([report.completeness for report in reports])),
        "modules": [
            {
                "module": report.module,
                "name": report.name,
                "place": report.place,
                **completeness_data(report.completeness),
                "supplies": [row.pin for row in report.supplies],
                "grounds": [row.pin for row in report.grounds],
                "fuses": list(dict.fromkeys(fuse.part for row in report.supplies for fuse in row.fuses)),
            }
            for report in reports
        ],
    }


__all__ = ["SCHEMA", "as_data", "as_text"]
