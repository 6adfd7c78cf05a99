"""The current case as the desk shows it: rows with their state, what explains the readings, the next measurement, the verdict and what is open."""

from __future__ import annotations

from typing import Any

from tracer.case.case import Case
from tracer.diagnose.next import next_of
from tracer.report.case import besides, conditions_text, proof_data, reading_data, values_text
from tracer.report.next import as_data as next_data
from tracer.standards.cautions import caution


def case_data(case: Case) -> dict[str, Any]:
    """Everything of a case that the desk shows; verdict, reasons and outcomes in the words of the terminal."""
    found = next_of(case)
    verdict = found.verdict
    handed = {number: name for name, number in case.handed.items()}
    return {
        "case": case.file.stem,
        "id": case_id(case),
        "module": case.plan["module"],
        "vehicle": case.plan["vehicle"],
        "edition": case.plan["edition"],
        "complaint": case.opening["complaint"],
        "now": conditions_text(case.conditions),
        "damaged": [*case.damaged, *case.remarks],
        "readings": [{**reading_data(case, one), "words": values_text(case, one), "on": conditions_text(one.conditions), "handed": handed.get(one.entry, "")} for one in case.readings],
        "looks": [[name, said] for note in case.notes_of("look") for name, said in note.words.items()],
        "proof": {**proof_data(case, verdict), "gate": besides(verdict)},
        "next": {**next_data(case, found), "caution": caution("maker-first")},
    }  # fmt: skip


def case_id(case: Case) -> str:
    """What tells a case from every other one."""
    return f"{case.file.stem}, opened {case.opening['at']}"


__all__ = ["case_data", "case_id"]
