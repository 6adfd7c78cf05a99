"""Where to measure next: as text and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tracer.case.case import Case
from tracer.diagnose.next import Next
from tracer.report.layout import Page
from tracer.standards.cautions import caution

SCHEMA = "tracer.next/1"
_MOST_SHOWN = 5


def as_text(case: Case, found: Next, *, width: int = 80, bold: bool = False) -> str:
    """The measurement, what its outcomes mean, and what explains the readings."""
    page = Page(width, bold=bold)
    page.line(headline(case, found), strong=True)
    done = case.plan["list"]
    if done["state"] != "complete":
        page.line(f"! The list of {case.plan['module']} is {done['state']}: what is missing in it is not asked for.", hang=2)  # fmt: skip
    for words in found.verdict.contradictions:
        page.line(f"! {words}", hang=2)
    one = found.measurement
    if one is not None:
        if one.set_before:
            page.line(f"first: tracer case set {' '.join(one.set_before)}", indent=2, hang=9)
        for words in one.by_hand:
            page.line(f"and a {words}", indent=2, hang=9)
        page.line(f"then:  {one.typed}", indent=2, hang=9)
        for seen, means in one.outcomes:
            page.line(f"- {seen}: {means}.", indent=2, hang=4)
        page.line(caution("maker-first"), hang=2)
    if found.explains:
        page.heading("What explains the readings")
        for thing in found.explains[:_MOST_SHOWN]:
            page.line(f"{_percent(thing.share)}  {thing.what}: {thing.how}", indent=2, hang=8)
            if thing.speaks_for:
                page.line(f"for: {', '.join(thing.speaks_for)}", indent=8, hang=10)
            if thing.speaks_against:
                page.line(f"against: {', '.join(thing.speaks_against)}", indent=8, hang=10)
        if rest := found.explains[_MOST_SHOWN:]:
            page.line(f"{_percent(sum(thing.share for thing in rest))}  {len(rest)} more, each less likely", indent=2)
        page.line("Shares rest on how often each kind of piece fails (from memory).", hang=2)
    return page.text()


def headline(case: Case, found: Next) -> str:
    """The first line: the aim, and where to measure."""
    what = (
        f"FIND what is wrong with {found.of}" if found.aim == "find" else f"PROVE the wiring of {case.plan['module']}"
    )
    if found.measurement is None:
        return f"{what}: nothing left to measure; {found.why_not}."
    one = found.measurement
    return f"{what}: measure {one.short}{f' ({one.place})' if one.place else ''} next."


def _percent(share: float) -> str:
    return " <1 %" if share < 0.01 else f"{min(99, round(100 * share)):3d} %"


def as_data(case: Case, found: Next) -> dict[str, Any]:
    """The same as plain values."""
    one = found.measurement
    return {
        "schema": SCHEMA, "module": case.plan["module"], "edition": case.plan["edition"], "list": case.plan["list"]["state"], "aim": found.aim, "of": found.of,
        "sentence": headline(case, found), "contradictions": list(found.verdict.contradictions), "why_not": found.why_not,
        "measurement": None if one is None else {**asdict(one), "outcomes": [{"seen": seen, "means": means} for seen, means in one.outcomes]},
        "explains": [asdict(thing) for thing in found.explains],
    }  # fmt: skip


__all__ = ["SCHEMA", "as_data", "as_text", "headline"]
