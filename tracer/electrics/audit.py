"""The audit of a whole vehicle: what is loose, and what is remarkable."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.rules.registry import Finding, loose_ends, remarks
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class Audit:
    """Every finding of every rule, in file order."""

    circuit: Circuit
    loose_ends: tuple[Finding, ...]
    remarks: tuple[Finding, ...]
    minding: Minding = NOTHING

    @property
    def complete(self) -> bool:
        return not self.loose_ends


def audit_of(tracing: Tracing) -> Audit:
    """The findings of the rules that look at the circuit and of those that need numbers."""
    from tracer.electrics.remarks import electric_remarks

    noted = sorted([*remarks(tracing), *electric_remarks(tracing)], key=lambda one: one.place)
    loose = tuple(loose_ends(tracing))
    return Audit(tracing.circuit, loose, tuple(noted), minding_of(tracing, (loose, noted)))
