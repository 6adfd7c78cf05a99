"""Where to measure next: as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tracer.case.case import Case
from tracer.diagnose.values import Explains, Next
from tracer.entry.problems import listed
from tracer.plan.words import MODULE_ITSELF
from tracer.report.layout import Page
from tracer.standards.cautions import caution

SCHEMA = "tracer.next/1"
_MOST_SHOWN = 5
LEAST_NAMED = 0.005
_LIKELY = 0.05  # of what may still be wrong, what is named by itself
MAY_STILL_BE = "What may still be wrong: every reading is in order, and the symptom is there"
SHARES_REST_ON = "Shares rest on how often each kind of piece fails (from memory)."


def as_text(case: Case, found: Next, *, width: int = 80, bold: bool = False) -> str:
    """The measurement, what its outcomes mean, and what explains the readings."""
    page = Page(width, bold=bold)
    page.line(headline(case, found), strong=True)
    for words in list_words(case):
        page.line(f"! {words}", hang=2)
    for words in (*found.verdict.contradictions, *found.outweighed):
        page.line(f"! {words}", hang=2)
    for words in surprise_words(found):
        page.line(words, hang=2)
    one = found.measurement
    if one is not None:
        if one.set_before:
            page.line(f"first: tracer case set {' '.join(one.set_before)}", indent=2, hang=9)
        for words in one.by_hand:
            page.line(f"and {words}", indent=2, hang=9)
        page.line(f"then:  {one.typed}", indent=2, hang=9)
        for seen, means in one.outcomes:
            page.line(f"- {seen}: {means}.", indent=2, hang=4)
    for do, means in found.by_hand:
        page.line(f"or {do}: {means}.", indent=2, hang=4)
    if one is not None or found.by_hand:
        page.line(caution("maker-first"), hang=2)
    if found.possible:
        page.heading(MAY_STILL_BE)
        for one_of in possible(case, found):
            page.line(f"{one_of.share:>5}  {one_of.what}", indent=2, hang=8)
        page.line(SHARES_REST_ON, hang=2)
    if found.explains:
        page.heading("What explains the readings")
        for one_of in explained(found):
            page.line(f"{one_of.share:>5}  {one_of.what}", indent=2, hang=8)
            for words in one_of.because:
                page.line(words, indent=8, hang=10)
        page.line(SHARES_REST_ON, hang=2)
    return page.text()


def list_words(case: Case) -> list[str]:
    """That the list of the case is not complete, where it is not."""
    state = case.plan["list"]["state"]
    return [] if state == "complete" else [f"The list of {case.plan['module']} is {state}: what is missing in it is not asked for."]  # fmt: skip


def surprise_words(found: Next) -> list[str]:
    """That a reading is taken once more, where it is."""
    return [f"Once more, before it counts: {found.surprise}."] if found.surprise else []


@dataclass(frozen=True, slots=True)
class Explained:
    """What explains the readings, in words: `48 %`, what it is, what speaks for and against it."""

    share: str
    what: str
    because: tuple[str, ...] = ()


def explained(found: Next) -> list[Explained]:
    """The likeliest first; what no measurement that is left tells apart together, and what is left in one line."""
    groups = _groups(found.explains)
    shown = max(2, min(_MOST_SHOWN, sum(share >= 0.01 for share, _ in groups)))
    said = []
    for share, things in groups[:shown]:
        speaks_for, against = things[0].speaks_for, things[0].speaks_against
        tells = speaks_for and (things is groups[0][1] or speaks_for != groups[0][1][0].speaks_for)
        because = [*([f"for: {', '.join(speaks_for)}"] if tells else []), *([f"against: {', '.join(against)}"] if against else [])]  # fmt: skip
        said.append(Explained(_percent(share), _named(things), tuple(because)))
    if rest := groups[shown:]:
        said.append(Explained(_percent(sum(share for share, _ in rest)), f"{sum(len(things) for _, things in rest)} more, each less likely"))  # fmt: skip
    return said


def possible(case: Case, found: Next) -> list[Explained]:
    """What may still be wrong: what is likely, the module itself, and how much else."""
    named, own = _named_possible(case, found), MODULE_ITSELF.format(case.plan["module"])
    said = []
    for one in named:
        not_yet = "; not suspect before `tracer proof` says so" if one.what == own and not found.verdict.complete else ""  # fmt: skip
        said.append(Explained(_percent(one.share), f"{one.what}: {one.how}{not_yet}"))
    if rest := [one for one in found.possible if one not in named]:
        said.append(Explained(_percent(sum(one.share for one in rest)), f"{len(rest)} more that no reading excludes"))
    return said


def _named_possible(case: Case, found: Next) -> list[Explains]:
    own = MODULE_ITSELF.format(case.plan["module"])
    return [one for one in found.possible if one.what == own or one.share >= _LIKELY][:_MOST_SHOWN]


def headline(case: Case, found: Next) -> str:
    """The first line: the aim, and where to measure."""
    what = (
        f"FIND what is wrong with {found.of}" if found.aim == "find" else f"PROVE the wiring of {case.plan['module']}"
    )
    if found.measurement is None:
        return f"{what}: nothing left to measure; {found.why_not}."
    one = found.measurement
    return f"{what}: measure {one.short}{f' ({one.place})' if one.place else ''} next."


def _groups(explains: Iterable[Explains]) -> list[tuple[float, list[Explains]]]:
    """What no measurement that is left tells apart, together, the likeliest first."""
    found: dict[int, list[Explains]] = {}
    for thing in explains:
        found.setdefault(thing.group, []).append(thing)
    groups = [(sum(thing.share for thing in things), things) for things in found.values()]
    return sorted(groups, key=lambda group: -group[0])


def _named(things: Sequence[Explains]) -> str:
    """One thing and how it fails; of several that nothing left to read tells apart the likeliest by name."""
    likely = [thing for thing in things if thing.share >= LEAST_NAMED] or things[:1]
    if len(likely) == 1:
        return f"{likely[0].what}: {likely[0].how}"
    return f"one of {len(likely)} that nothing left to read tells apart: {listed([thing.what for thing in likely], most=4, joiner='or')}"  # fmt: skip


def _percent(share: float) -> str:
    return "<1 %" if share < 0.01 else f"{min(99, round(100 * share))} %"


def as_data(case: Case, found: Next) -> dict[str, Any]:
    """The same as plain values."""
    one = found.measurement
    return {
        "schema": SCHEMA, "module": case.plan["module"], "edition": case.plan["edition"], "list": case.plan["list"]["state"], "aim": found.aim, "of": found.of,
        "sentence": headline(case, found), "contradictions": list(found.verdict.contradictions), "outweighed": list(found.outweighed), "why_not": found.why_not,
        "measurement": None if one is None else {**asdict(one), "outcomes": [{"seen": seen, "means": means} for seen, means in one.outcomes]},
        "surprise": found.surprise, "by_hand": [{"do": do, "means": means} for do, means in found.by_hand],
        "explains": [asdict(thing) for thing in found.explains],
        "possible": [{"what": thing.what, "share": thing.share, "how": thing.how} for thing in _named_possible(case, found)],
    }  # fmt: skip


__all__ = ["MAY_STILL_BE", "SCHEMA", "SHARES_REST_ON", "Explained", "as_data", "as_text", "explained", "headline", "list_words", "possible", "surprise_words"]  # fmt: skip
