"""Everything that the page shows of a module, as plain data: words and figures come from the plan and the worksheet, so that the page decides nothing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tracer.case.case import BATTERY_HOLDS_S
from tracer.case.notes import FITS, NOTES
from tracer.case.opening import plan_data
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.page.at_once import signs_of
from tracer.page.cards import cards_of
from tracer.page.panels import panels_data
from tracer.page.picture import picture_of
from tracer.page.without import is_large, without_data
from tracer.plan.diagram import view_of
from tracer.plan.names import full_name
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.plan.words import BAD_TWICE, METER_OFF_V, NO_PLACE
from tracer.report.completeness import completeness_data
from tracer.report.layout import signs_meaning
from tracer.report.plug_worksheet import worksheet_in_words
from tracer.report.plug_worksheet.values import WorksheetInWords
from tracer.report.plug_worksheet.wording import words_of
from tracer.standards.figures import COMMA, POINT, decimal_mark
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

SCHEMA = "tracer.page/1"
_BY_NUMBER_OR_TIME = ("withdraw", "watch", "photo")  # kinds of note that need the case itself, or a file


def content_of(
    tracing: Tracing, report: SupplyReport, limits: LimitsInUse, *, mark: str = POINT, deep: bool = True
) -> dict[str, Any]:
    """What the page shows of one module's list; unless it is `deep` without what dies with each part, which takes as long as all else together."""
    with decimal_mark(mark):
        made = plug_worksheet_of(tracing, report, limits)
        worksheet = worksheet_in_words(made, tracing.circuit.typed.vehicle.system)
        plan = plan_data(tracing, report, made)
        view = view_of(tracing, report)
        panels = panels_data(tracing, report, deep=deep)
        of = tracing.circuit.node_parts
        parts = dict.fromkeys([*(step.part for step in view.steps if step.part), *(of[node] for node in view.order)])
        if not is_large(tracing.circuit):
            parts.update(dict.fromkeys(one["part"] for panel in panels for one in panel["positions"]))
        return {
            "schema": SCHEMA,
            "module": report.module,
            "vehicle": report.vehicle,
            "edition": worksheet.edition,
            **completeness_data(report.completeness),
            "words": {**words_of(worksheet), "hazards": list(worksheet.hazards), "list": worksheet.list_words, "bad_twice": BAD_TWICE},
            "keys": list(report.keys),
            "decimal": mark,
            "comma": mark == COMMA,
            "battery_holds_s": BATTERY_HOLDS_S,
            "meter_off_v": METER_OFF_V,
            "system_v": plan["system_v"],
            "fits": list(FITS),
            "notes": [{"kind": kind, "example": one.example, "what": one.what, "reason": one.reason} for kind, one in NOTES.items() if kind not in _BY_NUMBER_OR_TIME],
            "lamps": sorted({test["lamp_w"] for row in plan["rows"].values() for test in row["tests"] if test["lamp_w"]}),
            "pins": list(_pins(report, worksheet)),
            "signs": signs_meaning({sign for row in report.rows for sign in signs_of(row, report)}),
            "cards": list(cards_of(tracing.circuit, made, worksheet, plan)),
            "points": {name: _point(tracing, report, plan, name) for name in plan["points"]},
            "panels": panels,
            "picture": picture_of(tracing, report, view),
            "without": without_data(tracing, report, parts) if deep else None,
        }  # fmt: skip


def _pins(report: SupplyReport, worksheet: WorksheetInWords) -> Iterator[dict[str, Any]]:
    """Each pin of the list in one line, with the full name of its row where it has one."""
    rows = {row.point: row for row in (*report.supplies, *report.grounds)}
    for pin in worksheet.pins:
        row = rows.get(pin.point)
        yield {
            "name": pin.name, "full": full_name(row) if row else "", "point": pin.point, "wire": pin.wire, "way": pin.way, "says": pin.says,
            "live": signs_of(row, report) if row else "",
        }  # fmt: skip


def _point(tracing: Tracing, report: SupplyReport, plan: dict[str, Any], name: str) -> dict[str, Any]:
    """Where a probe point is, how to get there, and what it is called."""
    kept = plan["points"][name]
    place, access = tracing.circuit.place_of_part(kept["part"])
    return {"level": kept["level"], "part": kept["part"], "kind": str(kept["kind"]), "place": place or NO_PLACE, "access": access or ""}  # fmt: skip


__all__ = ["SCHEMA", "content_of"]
