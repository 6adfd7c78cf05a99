"""The inventory of fuse panels, with a plan; and what is really plugged in, against it: as text, JSON, CSV and as a page to fill in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tracer.report.completeness import first_line
from tracer.report.layout import Page, counted, display_width, when_words
from tracer.report.minding import labelled, notes, opening
from tracer.standards import figures
from tracer.trace.lists.completeness import Completeness
from tracer.trace.minding import Minding
from tracer.trace.panels.plugged_in import Mismatch, SeenReport
from tracer.trace.panels.positions_of import (
    EITHER,
    ELECTRONIC,
    EMPTY,
    FITTED,
    OPTION,
    UNKNOWN,
    Panel,
    PanelReport,
    Position,
    Served,
)

# --- text: the inventory ---------------------------------------------------------------------------------------


def as_text(report: PanelReport, *, width: int = 80, bold: bool = False) -> str:
    """Every position in the order in which it sits, below a plan of the panel."""
    page = Page(width, bold=bold)
    page.line(f"{report.vehicle}: {counted(len(report.panels), 'panel')}", strong=True)
    page.line(verdict(report.panels, report.completeness), strong=True)
    opening(page, report.minding)
    for panel in report.panels:
        _panel(page, panel, report.minding)
    notes(page, report.minding, told=[position.part for position in report.positions])
    _cautions(page, report.cautions)
    return page.text()


def verdict(panels: Sequence[Panel], completeness: Completeness) -> str:
    """How many positions there are of each state, and whether anything about them, or about what they may serve, is loose."""
    positions = [position for panel in panels for position in panel.positions]
    counts = []
    for state in (FITTED, EMPTY, OPTION, EITHER, ELECTRONIC, UNKNOWN):
        number = sum(position.state == state for position in positions)
        if number:
            counts.append(f"{number} {state}")
    total = f"{counted(len(positions), 'position')}: {', '.join(counts) or 'none'}"
    return first_line(completeness, counts=total, missing="what hangs there may be served from here too")


def _panel(page: Page, panel: Panel, minding: Minding) -> None:
    title = f"{panel.panel} - {panel.name}" if panel.name else panel.panel
    page.heading(title)
    if panel.place:
        page.line(f"at: {panel.place}" + (f" ({panel.access})" if panel.access else ""), indent=2, hang=6)
    for loose in panel.loose_ends:
        page.line(f"{loose.code} {loose.place}: {loose.message}. {loose.fix}", indent=2, hang=7)
    _plan(page, panel)
    for position in panel.positions:
        _position(page, position, minding)


def mark(position: Position) -> str:
    """What a position shows in the plan: '20 A', 'EMPTY', '(15 A)', '15 A or'."""
    rating = figures.stated(position.amps, "A") if position.amps is not None else ""
    if position.state == EMPTY:
        return "EMPTY"
    if position.state == OPTION:
        return f"({rating or position.kind})"
    if position.state == ELECTRONIC:
        return "output"
    if position.state == EITHER:
        return f"{rating} or".strip()
    return rating or {"relay": "relay", "diode": "diode"}.get(position.kind, "?")


def _plan(page: Page, panel: Panel) -> None:
    if not panel.plan:
        return
    page.blank()
    page.line(
        "plan, as it sits (ratings in A; EMPTY: must be empty; ( ): option, not fitted; or: either-or; out: electronic output):",
        indent=2,
    )
    shown = _shown_in_plan(panel)
    cell = max(
        max(display_width(label), display_width(shown[label])) for row in panel.plan for label in row if label != "_"
    )
    most = max(1, (page.width - 3) // (cell + 2))
    for row in panel.plan:
        for start in range(0, len(row), most):
            piece = row[start : start + most]
            border = "+" + "+".join("-" * (cell + 1) for _ in piece) + "+"
            page.line(border, indent=2)
            for line in (piece, [shown[label] for label in piece]):
                words = ["" if word == "_" else word for word in line]
                page.line(
                    "|" + "|".join(f" {word}{' ' * (cell - display_width(word))}" for word in words) + "|", indent=2
                )
            page.line(border, indent=2)


def _shown_in_plan(panel: Panel) -> dict[str, str]:
    """The short mark of each label of the plan; a three-tab fuse may stand there by its own label."""
    shown = {"_": ""}
    elements: dict[str, list[str]] = {}
    for position in panel.positions:
        short = {EMPTY: "EMPTY", ELECTRONIC: "out"}.get(position.state) or mark(position).replace(" A", "")
        shown[position.label] = short
        if position.body:
            elements.setdefault(position.body, []).append(short)
    for row in panel.plan:
        for label in row:
            shown.setdefault(label, "/".join(elements.get(label, ())) or "?")
    return shown


def _position(page: Page, position: Position, minding: Minding) -> None:
    page.blank()
    state = {FITTED: "", EMPTY: "MUST BE EMPTY"}.get(position.state, position.state)
    belongs = "" if position.state == EMPTY else position.belongs
    name = f"{position.name}; " if position.name else ""
    page.line(
        f"{position.label:<5} {name}{belongs}{'; ' if belongs and state else ''}{state}".rstrip(), hang=6, strong=True
    )
    labelled(page, minding, position.part, indent=6)
    if position.either:
        page.labelled(
            "or", f"the fuse of this circuit sits here or in {position.either}: only in one of the two", indent=6
        )
    if position.body:
        page.labelled(
            "body", f"one element of the three-tab fuse {position.body}; each element can blow alone", indent=6
        )
    if fed := fed_words(position):
        side = f"; feed side: {position.feed_side}" if position.feed_side else ""
        page.labelled("fed from", fed + side, indent=6)
    if position.live:
        page.labelled("live", when_words(position.live, position.why), indent=6)
    if position.serves or position.loose:
        page.labelled("serves", served_words(position), indent=6)
    elif position.state not in (EMPTY, ELECTRONIC, OPTION) and position.kind not in ("relay", "diode"):
        page.labelled("serves", "nothing typed in on its load side yet", indent=6)
    if position.below:
        page.labelled("next", f"feeds {', '.join(position.below)}", indent=6)
    if position.pins:
        page.labelled("pins", "; ".join(f"{pin}: {words}" for pin, words in position.pins), indent=6)
    if position.said:
        page.labelled("text", _said(position), indent=6)
    if position.note:
        page.labelled("note", position.note, indent=6)
    if position.sheets:
        page.labelled("sheets", ", ".join(position.sheets), indent=6)


def fed_words(position: Position) -> str:
    """'rail 30, behind ML2 100 A'."""
    if not position.fed_from:
        return ""
    behind = f", behind {', '.join(position.upstream)}" if position.upstream else ""
    ends = f", from {', '.join(position.ends)}" if position.ends and not position.upstream else ""
    nothing = "" if position.live else " (which reaches no source)"
    return ", ".join(position.fed_from) + nothing + behind + ends


def serves_words(serves: Iterable[Served]) -> str:
    """'BDM (Body module) pin 1; by its output 9: HL1 (Dipped beam left)': what is fed at once, then what module outputs pass on."""
    direct: dict[str, list[str]] = {}
    passed: dict[str, dict[str, None]] = {}
    for served in serves:
        title = f"{served.part} ({served.name})" if served.name else served.part
        if served.through:
            passed.setdefault(", ".join(served.through), {})[title] = None
        else:
            words = f"coil of {title}" if served.kind == "relay" else title
            direct.setdefault(words, []).append(served.pin)
    found = [
        f"{title} pin {', '.join(pins)}" if not title.startswith("coil") and _needs_pin(serves, title) else title
        for title, pins in direct.items()
    ]
    found += [f"by output {outputs}: {', '.join(titles)}" for outputs, titles in passed.items()]
    return "; ".join(found)


def served_words(position: Position) -> str:
    """What is served; and that it may be more, where a loose end lies below."""
    known = serves_words(position.serves)
    if not position.loose:
        return known
    return f"{known or 'nothing known'}; NOT KNOWN what hangs on {', '.join(position.loose)}"


def _needs_pin(serves: Iterable[Served], title: str) -> bool:
    """Modules are told by pin; a load is one thing."""
    return any(served.kind in ("module", "converter") and title.split(" ")[0] == served.part for served in serves)


def _said(position: Position) -> str:
    words = [f'"{position.said}"']
    if position.not_found:
        words.append(f"NOT FOUND below it: {', '.join(position.not_found)}")
    if position.not_named:
        words.append(f"not named there, but fed: {', '.join(position.not_named)}")
    return "; ".join(words)


def _cautions(page: Page, cautions: Iterable[str]) -> None:
    page.cautions(cautions)


# --- text: what is plugged in -----------------------------------------------------------------------------------


def seen_text(report: PanelReport, seen: SeenReport, *, width: int = 80, bold: bool = False) -> str:
    """What does not belong, a hazard first; the likely stories; what was not looked at."""
    page = Page(width, bold=bold)
    page.line(f"{report.vehicle}: what is plugged in", strong=True)
    page.line(first_line(seen.completeness, why=seen_verdict(seen)), strong=True)
    opening(page, report.minding)
    if seen.mismatches and not report.complete:
        page.line(f"What is taken away may be more than is listed: {first_line(report.completeness)}", strong=True)
    shown = report.shown
    hazards = [one for one in seen.mismatches if one.hazard]
    others = [one for one in seen.mismatches if not one.hazard]
    for title, found in (("Hazard: put this right first", hazards), ("Does not belong", others)):
        if found:
            page.heading(title)
            for one in found:
                _mismatch(page, shown[one.position.part], one, report.minding)
    if seen.stories:
        page.heading("Likely story")
        for story in seen.stories:
            page.line(f"{story.message} ({story.why}).", indent=2, hang=4)
    if seen.right:
        page.heading("As it should be")
        page.line(", ".join(seen.right), indent=2)
    if seen.not_looked_at:
        page.heading("Not looked at yet")
        page.line("Nothing is known about these; an empty position is typed as `LABEL:-`.", indent=2)
        page.table([[shown[position.part], _belongs(position)] for position in seen.not_looked_at], indent=2)
    _cautions(page, seen.cautions)
    return page.text()


def seen_verdict(seen: SeenReport) -> str:
    """Why a comparison is not complete, in one line."""
    parts = []
    hazards = sum(one.hazard for one in seen.mismatches)
    if hazards:
        parts.append(f"{counted(hazards, 'HAZARD')}")
    if others := len(seen.mismatches) - hazards:
        parts.append(
            f"{others} more that {'does' if others == 1 else 'do'} not belong"
            if hazards
            else f"{others} that {'does' if others == 1 else 'do'} not belong"
        )
    if seen.not_looked_at:
        parts.append(f"{counted(len(seen.not_looked_at), 'position')} not looked at")
    if loose := seen.completeness.loose - len(seen.not_looked_at):
        parts.append(f"{counted(loose, 'loose end')} at these positions or below them")
    return f"{', '.join(parts)}; {len(seen.right)} as they should be"


def _belongs(position: Position) -> str:
    if position.state == EMPTY:
        return "MUST BE EMPTY"
    return position.belongs if position.state == FITTED else f"{position.belongs} ({position.state})"


def _mismatch(page: Page, name: str, one: Mismatch, minding: Minding) -> None:
    page.blank()
    page.line(f"{name:<5} {one.what.upper()}: {one.message}.", hang=6, strong=one.hazard)
    page.line(one.action, indent=6)
    labelled(page, minding, one.position.part, indent=6)
    if one.symptoms:
        title = "feeds" if one.hazard or one.what.startswith("option") else "takes away"
        for number, symptom in enumerate(one.symptoms):
            page.labelled(title if number == 0 else "", symptom, indent=6, column=11)
    elif one.position.said and not one.hazard:
        page.labelled("serves", f'"{one.position.said}"', indent=6, column=11)
