"""The audit of a whole vehicle: what is loose, and what is remarkable."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.rules.registry import Finding, loose_ends, remarks
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class Audit(Answer):
    """Every finding of every rule, in file order."""

    circuit: Circuit
    loose_ends: tuple[Finding, ...]
    remarks: tuple[Finding, ...]
    completeness: Completeness
    minding: Minding = NOTHING


def audit_of(tracing: Tracing) -> Audit:
    """The findings of the rules that look at the circuit and of those that need numbers."""
    from tracer.electrics.remarks import electric_remarks

    noted = sorted([*remarks(tracing), *electric_remarks(tracing)], key=lambda one: one.place)
    loose = tuple(loose_ends(tracing))
    whole = whole_vehicle(tracing)
    return Audit(tracing.circuit, loose, tuple(noted), whole, minding_of(tracing, (loose, noted, whole)))
