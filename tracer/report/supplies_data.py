"""The list of supplies and grounds for programs: as JSON and as CSV."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from tracer.plan.edition import edition_of
from tracer.plan.names import full_name
from tracer.report.completeness import cell, completeness_data
from tracer.report.minding import cell as minding_cell
from tracer.report.minding import everywhere, minding_data
from tracer.report.once import Limits, Once
from tracer.report.plain_data import csv_text, loose_data
from tracer.standards import figures
from tracer.trace.lists.results import Probe, Row, SupplyReport

if TYPE_CHECKING:  # the numbers are computed only where they are asked for
    from tracer.electrics.limits_in_use import LimitInUse
    from tracer.electrics.volts.expected import ComputedExpect, Expected

SCHEMA = "tracer.supplies/2"


def by_default(expected: Expected) -> list[str]:
    """What was not typed in and is taken by default in any of the values."""
    return sorted({what for computed in expected.points.values() for one in computed for what in one.assumed})


def limits_used(expected: Expected) -> list[LimitInUse]:
    """The limits of the values, each once."""
    used = {one.limit for computed in expected.points.values() for one in computed}
    return sorted(used, key=lambda limit: (limit.item, limit.high))


# --- JSON ----------------------------------------------------------------------------------------------------------


def as_data(report: SupplyReport, expected: Expected | None = None) -> dict[str, Any]:
    """The list as plain data, documented in docs/json/supplies.md."""
    points, limits = Once("at"), Limits(limits_used(expected) if expected is not None else ())

    def rows(found: Iterable[Row]) -> list[dict[str, Any]]:
        return [_row_data(row, expected, points, limits) for row in found]

    in_order = {name: rows(getattr(report, name)) for name in ("supplies", "grounds", "carrying", "chains")}
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        "module": report.module,
        "name": report.name,
        "place": report.place,
        "edition": edition_of(report),
        **completeness_data(report.completeness),
        "gets": dict(report.gets),
        "keys": list(report.keys),
        "volts": _volts_data(expected, limits),
        "usual": _usual(report),
        **in_order,
        "points": points.found,
        "through_loads": [
            {
                "pin": load.pin,
                "declared": load.declared,
                "level": load.level,
                "loads": list(load.loads),
                "note": load.note,
            }
            for load in report.through_loads
        ],
        "pins": {
            "listed": report.cavities_listed,
            "cavities": [
                {
                    "pin": cavity.pin,
                    "kind": cavity.kind,
                    "declared": cavity.declared,
                    "traced": cavity.traced,
                    "row": cavity.row or None,
                }
                for cavity in report.census
            ],
        },
        "loose_ends": [loose_data(loose) for loose in report.loose_ends],
        "loose_elsewhere": report.loose_elsewhere,
        "remarks": [loose_data(remark) for remark in report.remarks],
        "cross_check": {
            "pins": list(report.cross_check.pins),
            "grounds": list(report.cross_check.grounds),
            "fuses": list(report.cross_check.fuses),
            "differences": list(report.cross_check.differences),
            "not_walked": list(report.cross_check.not_walked),
        },
        "sheets": list(report.sheets),
        "minding": minding_data(report.minding),
        "cautions": list(report.cautions),
    }


def _volts_data(expected: Expected | None, limits: Limits) -> dict[str, Any]:
    """Whether `expect` holds computed volts, why not, and what they rest on."""
    if expected is None or not expected.points:
        why_not = "not asked for" if expected is None else expected.why_not
        return {"computed": False, "why_not": why_not, "battery": {}, "limits": {}, "by_default": [], "overloads": []}
    return {
        "computed": True,
        "why_not": None,
        "limits": limits.data(),
        "by_default": by_default(expected),
        "overloads": expected.overloads,
        "battery": {
            one.state: {
                "nominal_v": one.battery.nominal,
                "low_v": one.battery.low,
                "high_v": one.battery.high,
                "state": one.battery_state,
            }
            for one in next(iter(expected.points.values()))
        },
    }


def _usual(report: SupplyReport) -> dict[str, Any]:
    """What is expected where nothing is computed, by level: common practice, the same for every point of the level on which something may be measured."""
    return {
        row.level: {"text": probe.expect.text, "limit_v": probe.expect.limit_v, "source": probe.expect.source}
        for row in report.rows
        for probe in row.probes
        if not probe.expect.no_method
    }


def _row_data(row: Row, expected: Expected | None, points: Once, limits: Limits) -> dict[str, Any]:
    computed = [expected.at(row.code, probe.at) if expected is not None else () for probe in row.probes]
    at_pin = computed[-1] if computed else ()
    ends = "sources" if row.level == "supply" else "grounds"
    return {
        "row": row.code,
        "name": full_name(row),
        "part": row.part,
        "pin": row.pin,
        "level": row.level,
        "declared": row.declared,
        "for": row.what_for or None,
        "wire": row.wire,
        "fuses": [
            {
                "part": fuse.part,
                "kind": fuse.kind,
                "amps": fuse.amps,
                "panel": fuse.panel,
                "sole": fuse.sole,
                "alone": fuse.alone,
                "beside": list(fuse.beside),
            }
            for fuse in row.fuses
        ],
        ends: [{"id": end.id, "assumed": end.assumed, "why": end.why} for end in row.ends],
        "switches": list(row.switches),
        "diodes": list(row.diodes),
        "references": list(row.references),
        "needs": list(row.needs),
        "live": row.live,
        "why": {key: list(reasons) for key, reasons in row.why.items()},
        "joined_with": list(row.joined_with),
        "left_out": [{"names": list(one.names), "switches": list(one.switches)} for one in row.left_out],
        "too_many": list(row.too_many),
        "notes": list(row.notes),
        "no_method": row.no_method or None,
        "computed": {one.state: _current_through(one, limits) for one in at_pin},
        "probes": [
            points.entry(probe.at, _point_data(row, probe, found), sole=probe.sole)
            for probe, found in zip(row.probes, computed, strict=True)
        ],
    }


def _point_data(row: Row, probe: Probe, computed: Sequence[ComputedExpect]) -> dict[str, Any]:
    return {
        "part": probe.part,
        "kind": probe.kind,
        "place": probe.place,
        "access": probe.access,
        "sheet": ", ".join(probe.sheets),
        "wire": probe.wire,
        "seen": probe.seen,
        "level": row.level,
        "live": probe.expect.live,
        "no_method": probe.expect.no_method or None,
        "computed": {one.state: _volts_at(one) for one in computed if not one.not_computed},
    }


def _volts_at(one: ComputedExpect) -> dict[str, Any]:
    """What a point reads in a key state, and what is lost up to it; null where it floats."""
    return {
        "low_v": None if one.volts is None else round(one.volts.low, 4),
        "nominal_v": None if one.volts is None else round(one.volts.nominal, 4),
        "high_v": None if one.volts is None else round(one.volts.high, 4),
        "lost_nominal_v": None if one.lost is None else round(one.lost.nominal, 4),
        "lost_high_v": None if one.lost is None else round(one.lost.high, 4),
        "floating": one.floating,
    }


def _current_through(one: ComputedExpect, limits: Limits) -> dict[str, Any]:
    """What the values of all points of a row hold for in a key state."""
    current = one.current_a
    return {
        "low_a": None if current is None else round(current.low, 6),
        "nominal_a": None if current is None else round(current.nominal, 6),
        "high_a": None if current is None else round(current.high, 6),
        "limit": limits.key(one.limit),
        "by_default": bool(one.assumed),
        "not_computed": one.not_computed or None,
    }


# --- CSV -----------------------------------------------------------------------------------------------------------


def as_csv(report: SupplyReport, expected: Expected | None = None) -> str:
    """The probe list as CSV, one line for each probe point of each row; the first line says whether the list is complete."""
    head = [
        "row",
        "pin",
        "number",
        "at",
        "kind",
        "place",
        "access",
        "wire",
        "sheet",
        "sole",
        "also in",
        *(f"live in {key}" for key in report.keys),
        "expect",
        "limit V",
        *(f"{what} V in {key}" for key in report.keys for what in ("nominal", "low", "high")),
        "not computed",
        "to mind",
        "complete",
    ]
    complete = cell(report.completeness)
    lines = [
        [
            row.code, row.point, str(number), probe.at, probe.kind, probe.place or "", probe.access or "", probe.wire, ", ".join(probe.sheets),
            "yes" if probe.sole else "no", " ".join(probe.shared_with), *(probe.expect.live[key] for key in report.keys), probe.expect.text,
            "" if probe.expect.limit_v is None else figures.plain(probe.expect.limit_v),
            *_computed_cells(report, row, expected.at(row.code, probe.at) if expected is not None else ()),
            minding_cell(report.minding, row.point if number == len(row.probes) else probe.at, probe.at), complete,
        ]
        for row in report.rows
        for number, probe in enumerate(row.probes, 1)
    ]  # fmt: skip
    for loose in report.loose_ends:
        lines.append(
            [
                loose.code,
                loose.at,
                "",
                str(loose.place),
                "LOOSE END",
                loose.message,
                loose.fix,
                *[""] * (len(head) - 8),
                complete,
            ]
        )
    for words in everywhere(report.minding):
        lines.append(["", "", "", "", "TO MIND", words, *[""] * (len(head) - 7), complete])
    for condition in report.completeness.conditions:
        lines.append(["", "", "", "", "RESTS ON", condition, *[""] * (len(head) - 7), complete])
    return csv_text(head, lines)


def _computed_cells(report: SupplyReport, row: Row, computed: Sequence[ComputedExpect]) -> list[str]:
    """Nominal, low and high volts in each key state, and why some are not computed; empty where the row is not certainly live or nothing is computed."""
    by_state = {one.state: one for one in computed if row.live.get(one.state) == "live" and not one.floating}
    cells = []
    for key in report.keys:
        one = by_state.get(key)
        volts = None if one is None else one.volts
        cells += ["", "", ""] if volts is None else [f"{v:.2f}" for v in (volts.nominal, volts.low, volts.high)]
    reasons = {key: by_state[key].not_computed for key in report.keys if key in by_state and by_state[key].not_computed}
    return [*cells, "; ".join(f"{key}: {reason}" for key, reason in reasons.items())]
