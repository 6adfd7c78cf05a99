"""What dead parts have in common, one line for each group of things that cannot be told apart: the likeliest first."""

from __future__ import annotations

from tracer.entry.problems import listed
from tracer.report.common import CLEARED, DOUBTFUL, but_by_procedure, by_all, verdict_lines
from tracer.report.layout import Page, counted
from tracer.report.minding import marked, notes_line, opening
from tracer.report.words import MAKER_FIRST
from tracer.trace.affects.in_common import CommonGroup, CommonReport, Hit

_MOST_GROUPS, _MOST_NAMED, _MOST_PLACES, _MOST_SOME = 12, 7, 3, 8


def as_text(report: CommonReport, *, width: int = 80, bold: bool = False) -> str:
    """The verdict, then each group that all dead parts hang on; what only some share and what is cleared are names."""
    page = Page(width, bold=bold)
    works = f"; working: {', '.join(report.working)}" if report.working else ""
    page.line(f"dead: {', '.join(report.dead)}{works}", strong=True)
    verdict_lines(page, report)
    opening(page, report.minding)
    left = [group for group in report.groups if group.verdict != CLEARED]
    shared = [group for group in left if by_all(report, group)]
    some = [group for group in left if not by_all(report, group)]
    names = [*report.dead, *(name for name in report.working if any(_of(group.working, name) for group in shared))]
    rows = [
        (str(number), *(_share(group, name) for name in names), _things(report, group))
        for number, group in enumerate(shared, 1)
    ]
    if rows:
        shown = rows if len(rows) <= _MOST_GROUPS + 1 else rows[:_MOST_GROUPS]
        page.table(shown, head=("", *names, "open in one of these"), gap=1, stacked_names=names)
        if len(shown) < len(rows):
            page.line(f"and {len(rows) - len(shown)} groups more, less likely: common --all")
    _below(page, report, shared, some)
    return page.text()


def _of(hits: tuple[Hit, ...], part: str) -> Hit | None:
    return next((hit for hit in hits if hit.part == part), None)


def _share(group: CommonGroup, part: str) -> str:
    """Whether a part loses all its supplies, or grounds, by it."""
    hit = _of((*group.dead, *group.working), part)
    return "" if hit is None else "all" if hit.whole else "part"


def _things(report: CommonReport, group: CommonGroup) -> str:
    parts = [
        marked(f"rail {one.name}" if one.kind == "rail" else one.name, report.minding, one.name)
        for one in group.candidates
        if one.kind != "wire"
    ]
    wires = len(group.candidates) - len(parts)
    more = [f"{len(parts) - _MOST_NAMED} more parts"] if len(parts) > _MOST_NAMED else []
    doubt = " (doubtful: a working part would lose some too)" if group.verdict == DOUBTFUL else ""
    return ", ".join([*parts[:_MOST_NAMED], *more, *([counted(wires, "wire")] if wires else [])]) + doubt


def _below(page: Page, report: CommonReport, shared: list[CommonGroup], some: list[CommonGroup]) -> None:
    def told(label: str, text: str) -> None:
        page.labelled(label, text, indent=0, column=8)

    for label, groups in (("some", some), ("cleared", [one for one in report.groups if one.verdict == CLEARED])):
        names = [one.name for group in groups for one in group.candidates if one.kind != "wire"]
        if names:
            words = "shared by some of them only" if label == "some" else "a working part needs it too"
            told(label, f"{listed(names, most=_MOST_SOME)}: {words}")
    places = report.places[:_MOST_PLACES]
    if places:
        more = len(report.places) - len(places)
        told("places", "; ".join(f"{one.place}: {listed(list(one.names), most=4, joiner='and')}" for one in places) + (f"; and {more} more" if more else ""))  # fmt: skip
    if shared:
        told("then", f"all: it loses every supply or every ground, part: some of them. Within a group measure between{but_by_procedure(report)}.")  # fmt: skip
    notes_line(page, report.minding, column=8)
    told("in", report.vehicle)
    told("more", f"--all: pins, wires and places. A bad joint that carries some current, or two faults, are not covered. {MAKER_FIRST}")  # fmt: skip


__all__ = ["as_text"]
