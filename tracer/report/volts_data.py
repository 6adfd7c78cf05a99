"""Expected volts of a module in one key state, as JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tracer.electrics.volts.values import ElementVolts, Overload, Range, RowVolts, Shorted, VoltsReport
from tracer.report.completeness import completeness_data
from tracer.report.minding import minding_data
from tracer.report.once import Limits, Once

SCHEMA = "tracer.volts/1"


def as_data(report: VoltsReport) -> dict[str, Any]:
    """The readings as plain data, documented in docs/json/volts.md."""
    shared = _Shared()
    rows = [_row_data(row, shared) for row in report.rows]
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        "module": report.module,
        **completeness_data(report.completeness),
        "loose_elsewhere": report.completeness.elsewhere,
        "key": report.key,
        "system_v": report.system_v,
        "battery": {**range_data(report.battery, "_v"), "state": report.battery_state, "source": report.battery_source},
        "held": list(report.held),
        "changes": list(report.changes),
        "shorted": None if report.shorted is None else _shorted_data(report.shorted),
        "overloads": [_overload_data(one) for one in report.overloads],
        "undecided": list(report.undecided),
        "notes": list(report.notes),
        "meter_ohm": report.meter_ohm,
        "assumed_currents": report.assumed_currents,
        "limits": shared.limits.data(),
        "rows": rows,
        "elements": shared.elements.found,
        "points": shared.points.found,
        "minding": minding_data(report.minding),
    }


def range_data(value: Range, unit: str) -> dict[str, float]:
    """`{low_v, nominal_v, high_v}` or another unit, and the worst case where there is one, rounded to what a computation from such values can mean."""
    names = ("low", "nominal", "high") if value.worst is None else ("low", "nominal", "high", "least", "most")
    return {f"{name}{unit}": round(getattr(value, name), 6) for name in names}


@dataclass
class _Shared:
    """What the rows refer to."""

    limits: Limits = field(default_factory=Limits)
    elements: Once = field(default_factory=lambda: Once("element"))
    points: Once = field(default_factory=lambda: Once("at"))


def _row_data(row: RowVolts, shared: _Shared) -> dict[str, Any]:
    return {
        "row": row.code,
        "point": row.point,
        "level": row.level,
        "declared": row.declared,
        "state": row.state,
        "why": list(row.why),
        "floating": row.floating,
        "not_computed": row.not_computed or None,
        "volts": None if row.not_computed else range_data(row.volts, "_v"),
        "lost": None if row.not_computed else range_data(row.lost, "_v"),
        "current": None if row.not_computed else range_data(row.current_a, "_a"),
        "copper_v": None if row.not_computed else round(row.copper_v, 6),
        "limit": None if row.no_method else shared.limits.key(row.limit),
        "across": {**range_data(row.across, "_v"), "to": row.across_to} if row.across is not None else None,
        "closes_mv": None if row.closes_mv is None else round(row.closes_mv, 6),
        "in_order_v": None if row.in_order_v is None else round(row.in_order_v, 6),
        "judge": list(row.verdicts),
        "assumed": list(row.assumed),
        "unplugged": None
        if row.lamp is None
        else {
            "meter_v": _rounded(row.lamp.meter_v),
            "lamp_v": _rounded(row.lamp.lamp_v),
            "lamp_w": row.lamp.lamp.watts,
        },
        "elements": [
            shared.elements.entry(_element_name(one), _element_data(one, shared.limits)) for one in row.elements
        ],
        "probes": [
            shared.points.entry(
                probe.at,
                {
                    "floating": probe.floating,
                    "volts": range_data(probe.volts, "_v"),
                    "lost": range_data(probe.lost, "_v"),
                },
            )
            for probe in row.probes
        ],
    }


def _shorted_data(shorted: Shorted) -> dict[str, Any]:
    return {
        "first_a": round(shorted.first_a, 3),
        "left_a": round(shorted.left_a, 3),
        "fused": shorted.fused,
        "takes_over": shorted.takes_over,
        "behind": list(shorted.behind),
        "openings": [
            {**_overload_data(one.fuse), "beside": [_overload_data(other) for other in one.beside]}
            for one in shorted.openings
        ],
    }


def _overload_data(one: Overload) -> dict[str, Any]:
    return {"fuse": one.fuse, "rating_a": one.rating_a, "current_a": round(one.current_a, 3)}


def _element_name(element: ElementVolts) -> str:
    return f"{element.name}, {element.from_point} to {element.to_point}"


def _element_data(element: ElementVolts, limits: Limits) -> dict[str, Any]:
    return {
        "name": element.name,
        "from": element.from_point,
        "to": element.to_point,
        "ohm": {key: float(f"{value:.4g}") for key, value in range_data(element.ohm, "_ohm").items()},
        "current": range_data(element.current_a, "_a"),
        "drop": range_data(element.drop_v, "_v"),
        "copper_v": round(element.copper_v, 6),
        "basis": element.basis,
        "assumed": element.assumed or None,
        "limit": limits.key(element.limit),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
