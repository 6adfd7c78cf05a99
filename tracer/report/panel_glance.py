"""The positions of fuse panels, one line each: what belongs there, when it is live, behind what, what it serves."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.entry.problems import listed
from tracer.plan.words import NO_PLACE
from tracer.report.layout import SIGNS, Page, display_width, signs_meaning
from tracer.report.minding import marked, notes_line, opening
from tracer.report.panel import verdict
from tracer.standards import figures
from tracer.trace.minding import Minding
from tracer.trace.panels.positions_of import ELECTRONIC, EMPTY, FITTED, Panel, PanelReport, Position

_LEAST_SERVES = 12  # columns below which a position takes a paragraph


def as_text(report: PanelReport, *, module: str = "", width: int = 80, bold: bool = False) -> str:
    """One line for each position, in the order of the lid; of a module's positions only where one is named."""
    page = Page(width, bold=bold)
    page.line(report.vehicle + (f": the positions of {module}" if module else ""), strong=True)
    page.line(verdict(report.panels, report.completeness), strong=True, hang=4)
    opening(page, report.minding)
    for panel in report.panels:
        if panel.positions:
            _panel(page, panel, report.minding, module)
    page.blank()
    notes_line(page, report.minding, column=6)
    keys = next((panel.keys for panel in report.panels), ())
    signs = {sign for panel in report.panels for one in panel.positions for sign in _live(one, panel.keys)}
    page.labelled("live", f"in {', '.join(keys)}: {signs_meaning(signs)}", indent=0, column=6)
    names = " ".join(panel.panel for panel in report.panels[:1])
    page.labelled("more", f"panel {names} --all; what is really plugged in: --saw; with a fuse out: affects FUSE. Key off and the fuse's own rating only.", indent=0, column=6)  # fmt: skip
    return page.text()


def _panel(page: Page, panel: Panel, minding: Minding, module: str) -> None:
    page.blank()
    where = f", {panel.place or NO_PLACE}"
    access = f" ({panel.access})" if panel.access else ""
    page.line(f"{panel.panel}{f' {panel.name}' if panel.name else ''}{where}{access}", strong=True)
    for loose in panel.loose_ends:
        page.line(f"! {loose.at}: {loose.message}. {loose.code}", hang=2)
    rows = [
        (one.label, _belongs(one), _live(one, panel.keys), ", ".join(one.upstream) or ", ".join(one.ends))
        for one in panel.positions
    ]
    head = ("", "belongs there", "live", "behind")
    widths = [max(display_width(row[n]) for row in [head, *rows]) for n in range(len(head))]
    left = page.width - sum(widths) - len(widths)
    room = left if left >= _LEAST_SERVES else page.width - 4
    page.table(
        [
            (*row, marked(_serves(one, module, room), minding, one.part))
            for row, one in zip(rows, panel.positions, strict=True)
        ],
        head=(*head, "serves"),
        gap=1,
    )


def _belongs(one: Position) -> str:
    rating = figures.stated(one.amps, "A") if one.amps is not None else ""
    what = " ".join(word for word in (rating, one.colour or "") if word) or one.kind
    if one.kind == "relay":
        what = "relay"
    if one.state == FITTED:
        return what
    if one.state == EMPTY:
        return "EMPTY"
    return "no fuse: output" if one.state == ELECTRONIC else f"({what}) {one.state}"


def _live(one: Position, keys: Iterable[str]) -> str:
    if one.state == EMPTY:
        return ""
    return "".join(SIGNS[one.live.get(key, "unknown")] for key in keys)


def _serves(one: Position, module: str, room: int) -> str:
    """What hangs on a position, the module that was asked for first; as many as stand in one line, and how many more."""
    served = sorted(dict.fromkeys(each.part for each in one.serves), key=lambda name: name != module)
    known = "NOT ALL KNOWN: " if one.loose else ""
    for most in range(len(served), 0, -1):
        text = known + (", ".join(served) if most == len(served) else listed(served, most=most))
        if most == 1 or display_width(text) <= room:
            return text
    return known.rstrip(": ") or ("nothing traced" if one.state == FITTED and one.kind != "relay" else "")


__all__ = ["as_text"]
