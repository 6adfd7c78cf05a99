"""What opening a part affects, one line for each module and load: which pins, how, where it sits."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.circuit.model import Circuit
from tracer.entry.problems import listed
from tracer.plan.words import NO_PLACE
from tracer.report.affects import place, shown, verdict_lines
from tracer.report.layout import Page, counted, level_sign
from tracer.report.minding import marked, notes_line, opening
from tracer.report.words import KEY_OFF_FIRST
from tracer.trace.affects.effects import FEWER, LOST, OTHER_WAY, SOME_STATES, AffectsReport, Relay, Terminal

_MOST_PARTS, _MOST_APART, _MOST_DROPPED = 13, 5, 6  # of each kind of line; the rest stands under --all
_COLUMNS = {LOST: "lost", SOME_STATES: "lost in some", FEWER: "less sure", OTHER_WAY: "still fed"}


def as_text(circuit: Circuit, report: AffectsReport, *, width: int = 80, bold: bool = False) -> str:
    """The verdict, then a line for each part that loses or keeps something by it."""
    page = Page(width, bold=bold)
    page.line(report.target.words, strong=True)
    verdict_lines(page, report)
    place(page, circuit, report)
    opening(page, report.minding)
    for note in report.notes:
        page.line(f"Note: {note}.", hang=2)
    for gain in report.gains:
        terminal = gain.terminal
        what = "live" if terminal.level == "supply" else "grounded"
        sure = "is" if all(gain.after[key] == "live" for key in gain.states) else "may be"
        page.line(
            f"! {terminal.part}.{terminal.pin} {sure} {what} in {', '.join(gain.states)}, and should not be", hang=2
        )
    for severed in report.severed[:_MOST_APART]:
        page.line(f"! comes apart: {' | '.join(listed(list(piece), most=4) for piece in severed.pieces)}", hang=2)
    if (left := len(report.severed) - _MOST_APART) > 0:
        page.line(f"! and {counted(left, 'more signal line')} apart: --all", hang=2)
    _table(page, circuit, report)
    _below(page, report)
    return page.text()


def _table(page: Page, circuit: Circuit, report: AffectsReport) -> None:
    pins: dict[str, dict[str, list[str]]] = {}
    for kind in _COLUMNS:
        for effect in report.of(kind):
            if shown(report, effect):
                pins.setdefault(effect.terminal.part, {}).setdefault(kind, []).append(_pin(effect.terminal))
    kinds = [kind for kind in _COLUMNS if any(kind in found for found in pins.values())]
    rows = [
        (
            marked(part, report.minding, part, *(f"{part}.{one[:-1]}" for kind in kinds for one in found.get(kind, ()))),
            *(" ".join(found.get(kind, ())) for kind in kinds),
            circuit.place_of_part(part)[0] or NO_PLACE,
        )
        for part, found in pins.items()
    ]  # fmt: skip
    if rows:
        names = [_COLUMNS[kind] for kind in kinds]
        first = rows if len(rows) <= _MOST_PARTS + 1 else rows[:_MOST_PARTS]
        page.table(first, head=("part", *names, "at"), gap=1 if len(kinds) > 2 else 2, stacked_names=names)
        if len(first) < len(rows):
            page.line(f"and {len(rows) - len(first)} more parts: affects {report.target.name} --all")


def _pin(terminal: Terminal) -> str:
    return f"{terminal.pin}{level_sign(terminal.level)}"


def _below(page: Page, report: AffectsReport) -> None:
    def told(label: str, text: str) -> None:
        page.labelled(label, text, indent=0, column=7)

    if report.relays:
        first = report.relays[:_MOST_DROPPED]
        more = len(report.relays) - len(first)
        told("drops", "; ".join(_relay(relay, report.keys) for relay in first) + (f"; and {more} more" if more else ""))
    keys = sorted({key for one in report.of(SOME_STATES) for key in one.states}, key=report.keys.index)
    if keys:
        told("some", f"in key state {', '.join(keys)}: which pin in which, by --all")
    if report.effects:
        told("pins", "+ supply, - ground; what is lost may still read some volts through a load")
    notes_line(page, report.minding)
    told("in", report.vehicle)
    told("more", f"affects {report.target.name} --all: each pin, before and after. {KEY_OFF_FIRST}")  # fmt: skip


def _relay(relay: Relay, keys: Iterable[str]) -> str:
    states = "" if not relay.states or set(relay.states) >= set(keys) else f" in {', '.join(relay.states)}"
    unsure = "" if relay.certain else ", not certain"
    return f"{relay.part}{states} (no {relay.lacks} at {relay.pin}{f', after {relay.by}' if relay.by else ''}{unsure})"


__all__ = ["as_text"]
