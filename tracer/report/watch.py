"""What `watch` shows after each save: the first look, what is new in it, and what is to be typed in next."""

from __future__ import annotations

from collections.abc import Sequence

from tracer.entry.problems import Problem
from tracer.plan.values import Glance
from tracer.report import glance as first_look
from tracer.report import missing as still
from tracer.report.layout import Page, counted
from tracer.trace.lists.missing import Missing
from tracer.trace.lists.results import News

MOST_NEWS = 6
MOST_MISSING = 12  # lines: on one screen together with the first look
_MARKS = {"+": "new", "-": "gone", "~": "now"}


def as_text(
    glance: Glance, missing: Missing, since: Sequence[News] | None, *, width: int = 80, bold: bool = False
) -> str:
    """The first look and the missing lines as the two commands print them, the latter cut; `since` is None at the first time."""
    page = Page(width, bold=bold)
    page.heading("To type in next")
    whole = Page(width, bold=bold)
    still.below_title(whole, missing)
    lines = whole.text().splitlines()
    for line in lines if len(lines) <= MOST_MISSING else lines[: MOST_MISSING - 1]:
        page.as_it_is(line)
    if len(lines) > MOST_MISSING:
        page.line(f"... {len(lines) - MOST_MISSING + 1} lines more: `tracer missing {missing.module}`")
    return first_look.as_text(glance, width=width, bold=bold) + _news(since, width, bold) + page.text()


def _news(since: Sequence[News] | None, width: int, bold: bool) -> str:
    if since is None:
        return "\n"
    page = Page(width, bold=bold)
    page.blank()
    page.heading("New since the last save" if since else "Nothing new in this list since the last save")
    for one in since[:MOST_NEWS] if len(since) > MOST_NEWS else since:
        page.line(f"{_MARKS[one.mark]:<4} {one.about}: {one.words}", indent=2, hang=7)
    if len(since) > MOST_NEWS:
        page.line(f"and {counted(len(since) - MOST_NEWS, 'change')} more", indent=2)
    return page.text()


def problems_text(problems: Sequence[Problem], *, width: int = 80, bold: bool = False) -> str:
    """The vehicle cannot be used as it is now: every problem, and that nothing is concluded."""
    page = Page(width, bold=bold)
    page.line(f"{counted(len(problems), 'problem')}: no list until mended.", strong=True)
    return page.text() + "".join(f"{problem.render(width)}\n" for problem in problems)


def waiting_text(reason: str, *, width: int = 80, bold: bool = False) -> str:
    """There is no such module yet."""
    page = Page(width, bold=bold)
    page.line(reason, strong=True)
    page.line("Looked at again at the next save.")
    return page.text()
