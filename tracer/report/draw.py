"""The key-off draw: as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from tracer.electrics.volts.values import Range
from tracer.plan.words import NO_PLACE
from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import Page
from tracer.report.minding import marked, minding_data, notes, opening
from tracer.report.once import limit_data
from tracer.report.volts_data import range_data
from tracer.report.words import TAKEN_BY_DEFAULT
from tracer.standards import figures
from tracer.standards.cautions import cautions_for

if TYPE_CHECKING:  # what works them out is not needed to show them
    from tracer.electrics.key_off_draw import DrawReport, FuseDraw

SCHEMA = "tracer.draw/1"


def as_text(report: DrawReport, *, width: int = 80, bold: bool = False) -> str:
    """Readings, total, what to open up next; without a reading the list of positions to read."""
    page = Page(width, bold=bold)
    page.line(f"{report.vehicle}: key-off draw, key state {report.key}", strong=True)
    completeness_line(page, report)
    opening(page, report.minding)
    expected_for(page, report)
    total_lines(page, report)
    if report.readings:
        _readings(page, report)
        _next(page, report)
    if report.unread:
        _unread(page, report)
    elif not report.readings:
        page.line(nothing_to_read(report))
    if report.not_to_read:
        page.heading("Fed, but not to be read")
        for words in not_to_read(report):
            page.line(words, indent=2, hang=4)
    page.heading("How to read")
    page.line(
        "Millivolts across the two test points of a fuse that stays in its place, doors and bonnet latched, after the modules have fallen asleep (minutes, on some vehicles over an hour; common practice, no source). Pulling a fuse wakes modules and loses the fault.",
        indent=2,
    )
    page.line(
        f"Current = millivolts / resistance of the cold element. Range: makes of fuses (15 % either way, without a table 40 % less to 90 % more, from memory; a cheap copy can be far outside) and the meter ({report.meter}).",
        indent=2,
    )
    limit = report.limit
    page.line(f"Limit {limit.words()} ({limit.said}).", indent=2)
    for note in report.notes:
        page.line(f"- {note}", indent=2, hang=4)
    notes(page, report.minding)
    page.cautions(caution.text for caution in cautions_for("fuses"))
    return page.text()


def expected_for(page: Page, report: DrawReport) -> None:
    """For which state what is expected holds: a technician compares it with a vehicle that sleeps."""
    state = ", ".join([f"key {report.key}", *report.held])
    page.line(f"Expected: by the typed-in `draws`, {state}.")
    if report.asleep is False:
        page.line("These are modules AWAKE: never compare them with the limit, which is for a vehicle that sleeps.")
    elif report.asleep is None:
        page.line(
            "No condition `asleep` is typed in: these may be modules still awake. Type it in, and the draws under it, before a position is judged by them."
        )


def total_lines(page: Page, report: DrawReport) -> None:
    """The whole draw comes first: measured, or said to be still to be measured; then what no fuse can show."""
    total = report.total_ma
    measured = report.total_read_ma is not None
    if total is not None:
        page.line(f"{'TOTAL' if measured else 'SUM OF WHAT WAS READ'} {_ma(total)}: {report.verdict}.", strong=True)
    if not measured:
        page.line(
            "Measure the whole draw first: a clamp around all cables of the battery's negative post, or a meter in series, and type it as `--total 0.35A`."
        )
    if report.left_ma is not None:
        left = report.left_ma
        page.line(
            f"In no reading: {figures.milliamps_number(left.low)} to {figures.milliamps(left.high)} of it. It flows through fuses not read, or through none."
        )
    if report.without_fuse:
        names = ", ".join(marked(name, report.minding, name) for name in report.without_fuse)
        page.line(f"Fed without a fuse, only in the whole draw: {names}.", hang=4)


def _readings(page: Page, report: DrawReport) -> None:
    page.heading("Read, most first")
    cells = []
    for draw in report.readings:
        assert draw.current_ma is not None and draw.mv is not None
        cells.append(
            [
                marked(draw.fuse, report.minding, draw.fuse),
                rating(draw),
                figures.stated(draw.mv),
                figures.milliamps_number(draw.current_ma.nominal),
                f"{figures.milliamps_number(draw.current_ma.low)} to {figures.milliamps_number(draw.current_ma.high)}",
                "" if draw.share is None else figures.percent(draw.share, 2),
                expected(draw),
                ", ".join(draw.above),
            ]
        )
    page.table(
        cells,
        indent=2,
        head=["fuse", "rating", "mV", "mA", "low to high", "share", expected_head(report), "fed by"],
        stacked_names=["mV", "mA", "low to high", "share", expected_head(report), "fed by"],
        gap=1 if page.width < 76 else 2,
    )
    page.line(
        "A fuse that another read fuse feeds is inside that one's current, which counts once. What one alone feeds bounds it, and is bounded by it.",
        indent=2,
    )
    for draw in report.readings:
        if draw.note:
            page.line(f"{draw.fuse}: {draw.note}", indent=2, hang=4)
    for conflict in report.conflicts:
        page.line(f"CONFLICT: {conflict}.", indent=2, hang=4, strong=True)


def _next(page: Page, report: DrawReport) -> None:
    page.heading("Next")
    for words in next_words(report):
        page.line(words, indent=2, hang=4)


def next_words(report: DrawReport) -> Iterator[str]:
    """What to read or open up next, each step in a sentence."""
    if report.conflicts:
        yield "Read again what contradicts; check its rating and the diagram there."
    elif not report.next_steps:
        yield "No circuit that was read draws more than its share of what is expected."
    for step in report.next_steps:
        parts = ", ".join(marked(part, report.minding, part) for part in step.open_up)
        more = [*([f"read {', '.join(step.read)}"] if step.read else []), *([f"on it {parts}"] if parts else [])]
        yield f"{step.words}: {'; '.join(more)}." if more else f"{step.words}."


def _unread(page: Page, report: DrawReport) -> None:
    page.heading("Fed with the key off, not read" if report.readings else "Positions to read, fed with the key off")
    places: dict[str, list[FuseDraw]] = {}
    least = f"{figures.stated(report.least_mv, 'mV')} is"
    for draw in report.unread:
        places.setdefault(draw.place or NO_PLACE, []).append(draw)
    for place, draws in places.items():
        page.line(place, indent=2, hang=4, strong=True)
        cells = [
            [
                marked(d.fuse, report.minding, d.fuse),
                rating(d) + (" (*)" if d.note else ""),
                figures.milliamps(report.least_mv / d.ohm.nominal),
                expected(d),
                ", ".join(d.above),
            ]
            for d in draws
        ]
        page.table(
            cells,
            indent=4,
            head=["fuse", "rating", least, expected_head(report), "fed by"],
            stacked_names=[least, expected_head(report), "fed by"],
        )
    if any(d.note for d in report.unread):
        page.line(f"(*) {TAKEN_BY_DEFAULT.capitalize()}.", indent=2)


def completeness_line(page: Page, report: DrawReport) -> None:
    """The verdict, and what may be missing by what is loose."""
    page.line(first_line(report.completeness, missing="positions and consumers may be missing here"), strong=True)


def nothing_to_read(report: DrawReport) -> str:
    """That no fuse is fed."""
    return f"No position to read: supply reaches no fuse with the key {report.key}, as far as it is typed in."


def not_to_read(report: DrawReport) -> Iterator[str]:
    """Each fuse that is fed and must not be touched, and why."""
    for fuse, words in report.not_to_read:
        yield f"{marked(fuse, report.minding, fuse)}: {words}. Its current is in no figure here."


def expected_head(report: DrawReport) -> str:
    """The state for which a current is expected stands over its column."""
    return {True: "expected asleep", False: "awake (!)", None: f"expected {report.key}"}[report.asleep]


def rating(draw: FuseDraw) -> str:
    """'10 A', '?'."""
    return "?" if draw.rating_a is None else figures.stated(draw.rating_a, "A")


def expected(draw: FuseDraw) -> str:
    """The current that is expected there."""
    by_draws = draw.expected_ma
    if by_draws is None:
        return "not known"
    if by_draws.high > 1.5 * by_draws.nominal + 0.05:  # draws that were not typed in
        return f"{figures.milliamps_number(by_draws.low)} to {figures.milliamps(by_draws.high)}"
    return figures.milliamps(by_draws.nominal)


def _ma(value: Range) -> str:
    return f"{figures.milliamps_number(value.nominal)} mA ({figures.milliamps_number(value.low)} to {figures.milliamps_number(value.high)})"


def as_data(report: DrawReport) -> dict[str, Any]:
    """The draw as plain data, documented in docs/json/draw.md."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        "key": report.key,
        **completeness_data(report.completeness),
        "held": list(report.held),
        "asleep": report.asleep,
        "total": None if report.total_ma is None else range_data(report.total_ma, "_ma"),
        "total_read_ma": report.total_read_ma,
        "left": None if report.left_ma is None else range_data(report.left_ma, "_ma"),
        "without_fuse": list(report.without_fuse),
        "limit": limit_data(report.limit),
        "verdict": report.verdict,
        "readings": [_fuse_data(draw) for draw in report.readings],
        "unread": [_fuse_data(draw) for draw in report.unread],
        "next": [
            {"fuse": step.fuse, "words": step.words, "read": list(step.read), "open_up": list(step.open_up)}
            for step in report.next_steps
        ],
        "conflicts": list(report.conflicts),
        "notes": list(report.notes),
        "not_to_read": [{"fuse": fuse, "why": words} for fuse, words in report.not_to_read],
        "minding": minding_data(report.minding),
        "meter": report.meter,
    }


def _fuse_data(draw: FuseDraw) -> dict[str, Any]:
    return {
        "fuse": draw.fuse,
        "rating_a": draw.rating_a,
        "kind": draw.kind,
        "place": draw.place,
        "mv": draw.mv,
        "ohm": range_data(draw.ohm, "_ohm"),
        "current": None if draw.current_ma is None else range_data(draw.current_ma, "_ma"),
        "expected": None if draw.expected_ma is None else range_data(draw.expected_ma, "_ma"),
        "fed_by": list(draw.above),
        "share": None if draw.share is None else round(draw.share, 4),
        "note": draw.note or None,
        "basis": draw.basis,
    }
