"""One bus, or the list of buses, as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from tracer.electrics.bus.values import BusReport, Ohm
from tracer.report.completeness import completeness_data
from tracer.report.minding import minding_data

if TYPE_CHECKING:  # what works them out is not needed to show them
    from tracer.electrics.bus.readings import Classified
from tracer.trace.lists.completeness import Completeness

SCHEMA = "tracer.bus/1"


# --- JSON ----------------------------------------------------------------------------------------------------------


def as_data(reports: Sequence[BusReport], reading: Classified | None) -> dict[str, Any]:
    """Each bus as plain data, documented in docs/json/bus.md. An open reading is null."""
    return {
        "schema": SCHEMA,
        **completeness_data(Completeness.of_all([report.completeness for report in reports])),
        "buses": [_bus_data(report) for report in reports],
        "reading": None if reading is None else _reading_data(reading),
    }


def _bus_data(report: BusReport) -> dict[str, Any]:
    names = [access.name for access in report.accesses]
    return {
        "vehicle": report.vehicle,
        "bus": report.name,
        "name": report.title or None,
        "kind": report.kind or None,
        "commander": report.commander or None,
        **completeness_data(report.completeness),
        "loose_elsewhere": report.completeness.elsewhere,
        "lines": list(report.lines),
        "modules": [node.module for node in report.nodes],
        "pins": {node.module: dict(node.pin_names) for node in report.nodes},
        "terminations": [
            {
                "part": t.name,
                "in_module": t.module,
                "ohms": t.ohms,
                "split": t.split,
                "fitted": t.fitted,
                "problem": t.problem or None,
            }
            for t in report.terminations
        ],
        "trunk": list(report.trunk),
        "trunk_m": report.trunk_m,
        "branches": [{"module": s.module, "leaves_at": s.leaves_at, "length_m": s.length_m} for s in report.stubs],
        "line_ohms": report.line_ohms,
        "access_points": names,
        "cases": [
            {
                "kind": case.kind,
                "words": case.words,
                "parts": list(case.parts),
                "ohms": {name: _ohm_data(ohm) for name, ohm in zip(names, case.expected, strict=True)},
            }
            for case in report.cases
        ],
        "tests": [
            {
                "test": test.words,
                "at": test.at,
                "before": _ohm_data(test.before),
                "after": _ohm_data(test.after),
                "meter_ohm": round(test.accuracy, 3),
                "tells": test.tells,
                "verdict": test.verdict,
            }
            for test in report.tests
        ],
        "levels": [
            {
                "state": level.state,
                "line": level.line,
                "low_v": level.low_v,
                "nominal_v": level.nominal_v,
                "high_v": level.high_v,
                "note": level.words,
                "source": level.source,
            }
            for level in report.levels
        ],
        "supply_v": report.supply_v,
        "line_readings": [
            {
                "state": one.state,
                "line": one.line,
                "to": one.to,
                "unit": one.unit,
                "low": _finite(one.low),
                "nominal": _finite(one.nominal),
                "high": _finite(one.high),
                "open": one.low is not None and math.isinf(one.low),
                "note": one.words,
                "source": one.source,
            }
            for one in report.on_lines
        ],
        "notes": list(report.notes),
        "not_to_measure": [{"at": name, "why": words} for name, words in report.not_to_measure],
        "minding": minding_data(report.minding),
        "problems": list(report.problems),
        "meter": report.meter,
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or math.isinf(value) else round(value, 4)


def _ohm_data(ohm: Ohm | None) -> list[float | None] | None:
    """[low, nominal, high]; null stands for open."""
    if ohm is None:
        return None
    return [round(value, 3) if math.isfinite(value) else None for value in (ohm.low, ohm.nominal, ohm.high)]


def _reading_data(reading: Classified) -> dict[str, Any]:
    return {
        "ohms": reading.reading if math.isfinite(reading.reading) else None,
        "at": reading.at,
        "meter_ohm": round(reading.accuracy, 3),
        "words": list(reading.words),
        "explanations": [
            {"kind": e.kind, "words": e.words, "ohms": _ohm_data(e.expected)} for e in reading.explanations
        ],
    }
