"""The key-off draw in short: the total, the positions that were read or are read first, what to open up next; how many more there are, and where."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from tracer.plan.words import NO_PLACE
from tracer.report.draw import (
    completeness_line,
    expected,
    expected_for,
    expected_head,
    next_words,
    not_to_read,
    nothing_to_read,
    rating,
    total_lines,
)
from tracer.report.layout import Page, counted
from tracer.report.minding import marked, notes_line, opening
from tracer.report.words import MAKER_FIRST, TAKEN_BY_DEFAULT
from tracer.standards import figures

if TYPE_CHECKING:  # what works them out is not needed to show them
    from tracer.electrics.key_off_draw import DrawReport

_COLUMN = 7


def as_text(report: DrawReport, *, width: int = 80, bold: bool = False) -> str:
    """Total, readings and what to do next; before any reading, the positions that nothing else feeds: each splits the draw for all behind it."""
    page = Page(width, bold=bold)
    page.line(f"key-off draw, key state {report.key}", strong=True)
    completeness_line(page, report)
    opening(page, report.minding)
    expected_for(page, report)
    total_lines(page, report)
    for conflict in report.conflicts:
        page.line(f"CONFLICT: {conflict}.", hang=4, strong=True)
    if report.readings:
        _readings(page, report)
    elif report.unread:
        _first(page, report)
    else:
        page.line(nothing_to_read(report))
    _below(page, report)
    return page.text()


def _readings(page: Page, report: DrawReport) -> None:
    rows = []
    for one in report.readings:
        assert one.current_ma is not None and one.mv is not None
        ends = f"{figures.milliamps_number(one.current_ma.low)} to {figures.milliamps_number(one.current_ma.high)}"
        rows.append([
            marked(one.fuse, report.minding, one.fuse), rating(one) + (" (*)" if one.note else ""), figures.stated(one.mv),
            figures.milliamps_number(one.current_ma.nominal), ends, expected(one), ", ".join(one.above),
        ])  # fmt: skip
    head = ["fuse", "rating", "mV", "mA", "low to high", expected_head(report), "fed by"]
    page.table(rows, head=head, gap=1, stacked_names=head[2:])


def _first(page: Page, report: DrawReport) -> None:
    """The positions that no other one feeds, with how many each feeds."""
    least = f"{figures.stated(report.least_mv, 'mV')} is"
    behind = Counter(name for one in report.unread for name in one.above)
    rows = [
        [
            marked(one.fuse, report.minding, one.fuse), rating(one) + (" (*)" if one.note else ""), figures.milliamps(report.least_mv / one.ohm.nominal),
            expected(one), str(behind[one.fuse] or ""), one.place or NO_PLACE,
        ]
        for one in report.unread if not one.above
    ]  # fmt: skip
    head = ["read first", "rating", least, expected_head(report), "feeds", "at"]
    page.table(rows, head=head, gap=1, stacked_names=head[2:5])


def _below(page: Page, report: DrawReport) -> None:
    def told(label: str, text: str) -> None:
        page.labelled(label, text, indent=0, column=_COLUMN)

    for words in next_words(report) if report.readings else ():
        told("next", words)
    later = report.unread if report.readings else [one for one in report.unread if one.above]
    places = Counter(one.place or NO_PLACE for one in later)
    if places:
        word = "unread" if report.readings else "then"
        behind = "" if report.readings else " behind the one that draws too much"
        told(word, f"{counted(len(later), 'position')}{behind}: " + "; ".join(f"{count} {where}" for where, count in places.items()))  # fmt: skip
    for words in not_to_read(report):
        told("stop", words)
    if any(one.note for one in (*report.readings, *report.unread)):
        told("(*)", TAKEN_BY_DEFAULT)
    told("how", "mV across a fuse in its place, all shut, modules asleep; pulling a fuse wakes them")
    told("limit", f"{report.limit.words()} ({report.limit.origin})")
    notes_line(page, report.minding, column=_COLUMN)
    told("in", report.vehicle)
    told("more", f"draw --all: every position, how a current is worked out. {MAKER_FIRST}")


__all__ = ["as_text"]
