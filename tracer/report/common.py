"""What several dead parts have in common: as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import Page, counted
from tracer.report.minding import marked, minding_data, notes, opening, withheld
from tracer.trace.affects.in_common import CLEARED, DOUBTFUL, CommonGroup, CommonPlace, CommonReport, Hit

SCHEMA = "tracer.common/1"
_MOST_PLACES = 8


def as_text(report: CommonReport, *, width: int = 80, bold: bool = False) -> str:
    """Ranked: what all dead parts hang on and no working part clears comes first, what is cleared comes last."""
    page = Page(width, bold=bold)
    works = f"; working: {', '.join(report.working)}" if report.working else ""
    page.line(f"{report.vehicle}: dead: {', '.join(report.dead)}{works}", strong=True)
    verdict_lines(page, report)
    opening(page, report.minding)
    everybody = [group for group in report.groups if by_all(report, group) and group.verdict != CLEARED]
    some = [group for group in report.groups if not by_all(report, group) and group.verdict != CLEARED]
    cleared = [group for group in report.groups if group.verdict == CLEARED]
    _groups(page, report, "Shared by all that are dead", everybody)
    _groups(page, report, "Shared by some of them", some)
    _groups(page, report, "Cleared: a working part needs it too", cleared)
    _places(page, report.places)
    page.blank()
    page.line(
        "Each thing named here is taken as open by itself. Things in one group cannot be told apart by who is dead: measure between them"
        + but_by_procedure(report)
        + ". "
        "A bad joint that still carries some current, or two faults at once, are not covered."
    )
    notes(page, report.minding)
    page.cautions(report.cautions)
    return page.text()


def but_by_procedure(report: CommonReport) -> str:
    """What must not be measured between."""
    barred = withheld(report.minding, *report.minding.names)
    return "; on restraint and high-voltage wiring by the maker's procedure only" if barred else ""


def verdict_lines(page: Page, report: CommonReport) -> None:
    """Whether all of it is known, and how many suspects there are."""
    page.line(first_line(report.completeness, missing="what is shared over them is missing here"), strong=True)
    page.line(verdict(report), strong=True)


def verdict(report: CommonReport) -> str:
    """How many suspects all dead parts share."""
    groups = report.shared_by_all()
    things = sum(len(group.candidates) for group in groups)
    if not groups:
        return "Nothing typed in explains all of them by itself: look at what some of them share, and at more than one fault."
    which = "it needs" if len(report.dead) == 1 else "all of them need"
    return f"{counted(things, 'thing')} that {which}, in {counted(len(groups), 'group')}; the first group is the likeliest."


def by_all(report: CommonReport, group: CommonGroup) -> bool:
    """Whether all that are dead hang on it."""
    return len(group.dead) == len(report.dead)


def _groups(page: Page, report: CommonReport, title: str, groups: Iterable[CommonGroup]) -> None:
    groups = list(groups)
    if not groups:
        return
    page.heading(title)
    for number, group in enumerate(groups, 1):
        page.blank()
        takes = "; ".join(_hit_words(hit) for hit in group.dead)
        page.line(f"{number}. takes away {takes}", indent=2, hang=5)
        if group.working:
            word = "cleared by" if group.verdict == CLEARED else "doubtful, as it would also take from"
            page.line(f"{word} {'; '.join(_hit_words(hit) for hit in group.working)}", indent=5)
        wires = [candidate for candidate in group.candidates if candidate.kind == "wire"]
        for candidate in group.candidates:
            if candidate.kind != "wire":
                where = f"; at: {candidate.place}" if candidate.place else ""
                page.line(f"- {marked(candidate.words, report.minding, candidate.name)}{where}", indent=5, hang=7)
        if wires:
            page.line(
                f"- {counted(len(wires), 'wire')}: {'; '.join(one.name.removeprefix('wire ') for one in wires)}",
                indent=5,
                hang=7,
            )


def _hit_words(hit: Hit) -> str:
    pins: dict[str, list[str]] = {}
    for pin, level in hit.pins:
        pins.setdefault(level, []).append(pin)
    words = " and ".join(f"{level} at {', '.join(found)}" for level, found in pins.items())
    return f"{hit.part}: {words}" + ("" if hit.whole else " (not all it has)")


def _places(page: Page, places: tuple[CommonPlace, ...]) -> None:
    if not places:
        return
    page.heading("Places in common")
    for place in places[:_MOST_PLACES]:
        works = f"; also of {', '.join(place.working)}, which works" if place.working else ""
        page.line(f"{place.place}: {', '.join(place.names)} ({', '.join(place.dead)}{works})", indent=2, hang=6)
    if len(places) > _MOST_PLACES:
        page.line(f"and {len(places) - _MOST_PLACES} more; --json lists all.", indent=2)


def as_data(report: CommonReport) -> dict[str, Any]:
    """The report as plain data, documented in docs/json/common.md."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        **completeness_data(report.completeness),
        "loose_ends": report.completeness.loose,
        "dead": list(report.dead),
        "working": list(report.working),
        "groups": [
            {
                "verdict": group.verdict,
                "by_all": by_all(report, group),
                "candidates": [
                    {"name": one.name, "kind": one.kind, "place": one.place, "access": one.access}
                    for one in group.candidates
                ],
                "dead": [_hit_data(hit) for hit in group.dead],
                "working": [_hit_data(hit) for hit in group.working],
            }
            for group in report.groups
        ],
        "places": [
            {"place": one.place, "dead": list(one.dead), "working": list(one.working), "names": list(one.names)}
            for one in report.places
        ],
        "minding": minding_data(report.minding),
        "cautions": list(report.cautions),
    }


def _hit_data(hit: Hit) -> dict[str, Any]:
    return {"part": hit.part, "pins": [{"pin": pin, "level": level} for pin, level in hit.pins], "whole": hit.whole}


__all__ = ["CLEARED", "DOUBTFUL", "as_data", "as_text", "by_all", "verdict"]
