"""The audit of the whole vehicle, and the list of rules: as text and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Circuit
from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import Page, counted
from tracer.report.minding import minding_data, notes, opening
from tracer.report.plain_data import loose_data
from tracer.trace.rules.registry import Rule

if TYPE_CHECKING:  # what works them out is not needed to show them
    from tracer.electrics.audit import Audit

SCHEMA = "tracer.check/1"


def as_text(audit: Audit, *, width: int = 80, bold: bool = False) -> str:
    """The findings in file order, loose ends first."""
    page = Page(width, bold=bold)
    page.line(audit.circuit.name, strong=True)
    page.line(_counts(audit.circuit))
    page.line(verdict(audit), strong=True)
    opening(page, audit.minding)
    for title, findings in (("Loose ends", audit.loose_ends), ("Remarks", audit.remarks)):
        if findings:
            page.heading(title)
            for finding in findings:
                page.line(f"{finding.code} {finding.place}: {finding.message}.", indent=2, hang=7)
                page.line(finding.fix, indent=7)
    notes(page, audit.minding)
    return page.text()


def verdict(audit: Audit) -> str:
    """What the audit comes to in one line."""
    extra = f" {counted(len(audit.remarks), 'remark')}." if audit.remarks else ""
    return first_line(audit.completeness, most=1000) + extra


def _counts(circuit: Circuit) -> str:
    modules = sum(part.kind is PartKind.MODULE for part in circuit.parts.values())
    wires = sum(len(run.wires) for run in circuit.runs)
    return ", ".join(
        (
            counted(len(circuit.typed.sheets), "sheet"),
            counted(len(circuit.parts), "part"),
            f"of them {counted(modules, 'module')}",
            counted(len(circuit.runs), "run"),
            counted(wires, "wire"),
        )
    )


def as_data(audit: Audit) -> dict[str, Any]:
    """The findings as plain data."""
    return {
        "schema": SCHEMA,
        "vehicle": audit.circuit.name,
        **completeness_data(audit.completeness),
        "loose_ends": [loose_data(finding) for finding in audit.loose_ends],
        "remarks": [loose_data(finding) for finding in audit.remarks],
        "minding": minding_data(audit.minding),
    }


def rules_text(rules: tuple[Rule, ...], *, width: int = 80, bold: bool = False) -> str:
    """Every rule: code, grade, title, why, fix."""
    page = Page(width, bold=bold)
    page.line(
        "What `tracer check` looks for. Problems (text that cannot be read or joined) are explained where they stand and have no code."
    )
    for one in rules:
        page.blank()
        page.line(f"{one.code}  {one.title} ({one.grade})", strong=True)
        page.line(one.why, indent=6)
        page.line(f"Cure: {one.fix}", indent=6)
    return page.text()


def rules_data(rules: tuple[Rule, ...]) -> dict[str, Any]:
    """Every rule as plain data."""
    return {
        "schema": "tracer.rules/1",
        "rules": [
            {"code": one.code, "grade": one.grade, "title": one.title, "why": one.why, "fix": one.fix} for one in rules
        ],
    }
