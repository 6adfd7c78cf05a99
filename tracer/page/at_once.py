"""The list alone, without figures: what can be shown at once after a save. Nothing that solves networks is loaded for it."""

from __future__ import annotations

from typing import Any

from tracer.plan.glance import glance_of
from tracer.plan.names import full_name
from tracer.report.cavities import way_not_known
from tracer.report.completeness import completeness_data
from tracer.report.glance import behind_panels, short_wire, verdict, way_words
from tracer.report.layout import GROUND_SIGNS, SIGNS
from tracer.report.missing import as_data as missing_data
from tracer.standards.figures import POINT, decimal_mark
from tracer.trace.lists.missing import missing
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


def list_of(tracing: Tracing, report: SupplyReport, *, mark: str = POINT) -> dict[str, Any]:
    """The list alone, without figures: what can be shown at once after a save."""
    with decimal_mark(mark):
        glance = glance_of(tracing, report, None)
        behind = behind_panels(glance)
        return {
            "module": report.module,
            **completeness_data(report.completeness),
            "verdict": verdict(report),
            "pins": [{"name": pin.name, "full": full_name(pin.row), "wire": short_wire(pin.row), "way": way_words(pin, behind), "live": signs_of(pin.row, report)} for pin in glance.pins],
            "unknown": [{"pin": one.pin, "declared": one.declared, "says": way_not_known(one.kind)} for one in glance.unknown],
            "missing": missing_data(missing(tracing, report.module)),
        }  # fmt: skip


def signs_of(row: Row, report: SupplyReport) -> str:
    """In which key states a row is live, a letter for each."""
    signs = GROUND_SIGNS if row.level == "ground" else SIGNS
    return "".join(signs[row.live.get(key, "unknown")] for key in report.keys)


__all__ = ["list_of", "signs_of"]
