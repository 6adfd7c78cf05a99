"""What every part takes along: one line for each, as JSON and as CSV."""

from __future__ import annotations

from typing import Any

from tracer.report.completeness import cell as completeness_cell
from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import Page, counted, level_sign
from tracer.report.minding import cell, everywhere, marked, minding_data, notes_line, opening
from tracer.report.plain_data import csv_text
from tracer.report.words import KEY_OFF_FIRST, MAY_BE_MISSING
from tracer.trace.affects.every_part import EveryLoss, PartLoss

SCHEMA = "tracer.affects-every/1"
_MOST_PARTS, _MOST_NAMES = 14, 4  # of a screen; the rest stands under --all
_LEFT_OUT = "What has no way left, of all that is typed in. What is lost in some key states only, and which lines come apart: `tracer affects PART`."


def as_text(report: EveryLoss, *, every: bool = False, width: int = 80, bold: bool = False) -> str:
    """The parts that take something along, those first that take most; all of them, with all pins, where `every`."""
    page = Page(width, bold=bold)
    taking = [one for one in report.parts if one.lost or one.dropped]
    page.line(f"{report.vehicle}: {len(taking)} of {counted(len(report.parts), 'part')} take supply or ground from others when they open", strong=True)  # fmt: skip
    page.line(first_line(report.completeness, missing=MAY_BE_MISSING), strong=True)  # fmt: skip
    page.line(_LEFT_OUT)
    opening(page, report.minding)
    shown = taking if every else taking[:_MOST_PARTS]
    rows = [
        (
            marked(one.part, report.minding, one.part),
            one.kind,
            str(len(one.lost)),
            _first(_pins(one) if every else list(_by_part(one)), "; " if every else " ", every=every),
            _first([gone.part for gone in one.dropped if gone.kind == "relay"], " ", every=every),
        )
        for one in shown
    ]
    if rows:
        page.table(rows, head=("part", "is", "pins", "of", "relays drop"), gap=2)
    if left := len(taking) - len(shown):
        page.line(f"and {counted(left, 'more part')}: affects --all; --json and --csv hold all")
    page.labelled("pins", "that lose supply (+) or ground (-), of modules, loads and converters", indent=0, column=7)
    notes_line(page, report.minding)
    page.labelled("more", KEY_OFF_FIRST, indent=0, column=7)
    return page.text()


def _by_part(loss: PartLoss) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for one in loss.lost:
        found.setdefault(one.part, []).append(f"{one.pin}{level_sign(one.level)}")
    return found


def _pins(loss: PartLoss) -> list[str]:
    return [f"{part} {' '.join(pins)}" for part, pins in _by_part(loss).items()]


def _first(names: list[str], joiner: str, *, every: bool) -> str:
    """All of them, or the first and how many more."""
    shown = names if every else names[:_MOST_NAMES]
    more = [f"+{len(names) - len(shown)}"] if len(shown) < len(names) else []
    return joiner.join([*shown, *more])


def as_data(report: EveryLoss) -> dict[str, Any]:
    """The same as plain data, documented in docs/json/affects.md; parts that take nothing along as well."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        **completeness_data(report.completeness),
        "loose_ends": report.completeness.loose,
        "parts": [
            {
                "part": one.part,
                "kind": one.kind,
                "lost": [{"part": pin.part, "kind": pin.kind, "pin": pin.pin, "level": pin.level} for pin in one.lost],
                "dropped": [
                    {"part": gone.part, "kind": gone.kind, "lacks": gone.lacks, "by": gone.cause or None}
                    for gone in one.dropped
                ],
            }
            for one in report.parts
        ],
        "minding": minding_data(report.minding),
    }


def as_csv(report: EveryLoss) -> str:
    """A line for each pin that a part takes along; one without a pin for a part that takes none."""
    complete = completeness_cell(report.completeness)
    lines = []
    for one in report.parts:
        drops = " ".join(gone.part for gone in one.dropped)
        taken = [[pin.part, pin.pin, pin.level] for pin in one.lost] or [["", "", ""]]
        lines += [[one.part, one.kind, *pin, drops, cell(report.minding, one.part), complete] for pin in taken]
    lines += [["TO MIND", "", "", "", "", "", words, complete] for words in everywhere(report.minding)]
    lines += [["RESTS ON", "", "", "", "", "", words, complete] for words in report.completeness.conditions]
    return csv_text(["part", "kind", "takes part", "pin", "level", "drops", "to mind", "complete"], lines)


__all__ = ["SCHEMA", "as_csv", "as_data", "as_text"]
