"""The audit of a whole vehicle: what is loose, and what is remarkable."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.trace.rules import Finding, loose_ends, remarks
from tracer.trace.survey import Survey


@dataclass(frozen=True, slots=True)
class Audit:
    """Every finding of every rule, in file order."""

    circuit: Circuit
    loose_ends: tuple[Finding, ...]
    remarks: tuple[Finding, ...]

    @property
    def complete(self) -> bool:
        return not self.loose_ends


def audit_of(survey: Survey) -> Audit:
    """The findings of the rules that look at the circuit and of those that need numbers."""
    from tracer.electrics.rules import electric_remarks

    noted = sorted([*remarks(survey), *electric_remarks(survey)], key=lambda one: one.place)
    return Audit(survey.circuit, tuple(loose_ends(survey)), tuple(noted))
