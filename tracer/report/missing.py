"""What is to be typed in next for a module: as text and as JSON."""

from __future__ import annotations

from typing import Any

from tracer.report.completeness import completeness_data, joints_words, loose_words
from tracer.report.completeness import opening as opening_of
from tracer.report.layout import Page, counted, elsewhere_words
from tracer.report.minding import minding_data, opening
from tracer.report.plain_data import loose_data
from tracer.trace.lists.missing import Missing, MissingPage

SCHEMA = "tracer.missing/1"


def as_text(missing: Missing, *, width: int = 80, bold: bool = False) -> str:
    """One line for each loose end, page by page; what the list rests on comes last."""
    page = Page(width, bold=bold)
    name = f" - {missing.name}" if missing.name else ""
    page.line(f"{missing.vehicle}: {missing.module}{name}", strong=True)
    below_title(page, missing)
    return page.text()


def below_title(page: Page, missing: Missing) -> None:
    """The verdict and the pages."""
    page.line(verdict(missing), strong=True)
    opening(page, missing.minding)
    for one in missing.pages:
        page.blank()
        page.line(
            f"{_title(one)}: {counted(len(one.loose_ends), 'loose end')}", strong=True
        )  # the name of a file keeps its letters
        for end in one.loose_ends:
            place = f"{end.place.line}:{end.place.column} " if end.place.line else ""
            page.line(f"{place}{end.code} {end.message}", indent=2, hang=4)
    if missing.differences:
        page.heading("The two counts differ")
        for difference in missing.differences:
            page.line(difference, indent=2, hang=4)
    if missing.completeness.rests_on:
        page.heading("It rests on what is not typed in")
        for condition in missing.completeness.conditions:
            page.line(condition, indent=2, hang=4)
    if missing.pages:
        page.blank()
        page.line(f"`tracer supplies {missing.module} --all` says what to write for each.")


def verdict(missing: Missing) -> str:
    """What is missing in one line."""
    found = missing.completeness
    joints = f" {joints_words(found)}." if found.uncounted else ""
    elsewhere = f" {elsewhere_words(found.elsewhere)}" if found.elsewhere else ""
    if found.state == "not complete":
        return f"NOT COMPLETE: {loose_words(found)}.{joints}{elsewhere}"
    if found.complete:
        return f"Nothing is missing: the list of {missing.module} is COMPLETE.{joints}{elsewhere}"
    return f"{opening_of(found)}.{joints}{elsewhere}"


def _title(page: MissingPage) -> str:
    title = f", {page.title}" if page.title else ""
    return f"{page.file}" if page.sheet is None else f"Sheet {page.sheet}{title} ({page.file})"


def as_data(missing: Missing) -> dict[str, Any]:
    """The same as plain data, documented in docs/json/missing.md."""
    return {
        "schema": SCHEMA,
        "vehicle": missing.vehicle,
        "module": missing.module,
        **completeness_data(missing.completeness),
        "pages": [
            {
                "file": page.file,
                "sheet": page.sheet,
                "title": page.title,
                "loose_ends": [loose_data(one) for one in page.loose_ends],
            }
            for page in missing.pages
        ],
        "differences": list(missing.differences),
        "minding": minding_data(missing.minding),
    }
