"""The panels that a module's list runs through, as they sit under the lid, and what each thing that may be seen in a position would mean."""

from __future__ import annotations

from typing import Any

from tracer.circuit.kinds import FUSE_KINDS
from tracer.entry.problems import Place
from tracer.page.without import is_large
from tracer.plan.words import NO_PLACE
from tracer.report.panel import served_words
from tracer.standards import figures
from tracer.standards.fuses import ratings
from tracer.trace.lists.results import SupplyReport
from tracer.trace.panels.plugged_in import compare
from tracer.trace.panels.positions import ELECTRONIC, EMPTY, Panel, PanelReport, Position
from tracer.trace.panels.positions_of import panels_of
from tracer.trace.panels.read_seen import Plugged
from tracer.trace.tracing import Tracing

AS_IT_SHOULD_BE, NOTHING, BLOWN = "ok", "empty", "blown"


def panels_data(tracing: Tracing, report: SupplyReport, *, deep: bool) -> list[dict[str, Any]]:
    """Every panel with a position of this module's list: its rows, and each position with what may be seen there; `deep`: with what that takes away, too."""
    own = {fuse.part for row in report.rows for fuse in row.fuses} | {probe.part for row in report.rows for probe in row.probes}  # fmt: skip
    panels = panels_of(tracing)
    kept = [panel for panel in panels.panels if any(position.part in own for position in panel.positions)]
    meant = _meanings(tracing, panels, kept, own if is_large(tracing.circuit) else None, deep=deep)
    return [
        {
            "panel": panel.panel, "name": panel.name or "", "place": panel.place or NO_PLACE, "access": panel.access or "",
            "rows": _rows(panel),
            "loose": [f"{loose.at}: {loose.message}. {loose.code}" for loose in panel.loose_ends],
            "positions": [_position(position, position.part in own, meant) for position in panel.positions],
        }
        for panel in kept
    ]  # fmt: skip


def _rows(panel: Panel) -> list[list[str]]:
    """The labels row by row, `_` a gap; what the typed plan does not name stands below it."""
    plan = [list(row) for row in panel.plan]
    shown = {label for row in plan for label in row}
    left = [position.label for position in panel.positions if position.label not in shown]
    return [*plan, *([left] if left else [])]


def _position(position: Position, own: bool, meant: dict[tuple[str, str], list[str]]) -> dict[str, Any]:
    fuse = position.kind in FUSE_KINDS
    return {
        "label": position.label, "part": position.part, "own": own, "fuse": fuse, "state": position.state,
        "rating": figures.stated(position.amps) if position.amps is not None and fuse else "",
        "colour": position.colour or "",
        "empty": position.state in (EMPTY, ELECTRONIC),
        "belongs": position.belongs,
        "serves": served_words(position) or "nothing traced",
        "behind": ", ".join(position.upstream or position.ends),
        "note": position.note or "",
        "seen": [{"word": word, "says": meant.get((position.part, word), [])} for word in _words(position)],
    }  # fmt: skip


def _words(position: Position) -> list[str]:
    """What may be seen there, in words of `tracer case note look`."""
    if position.state in (EMPTY, ELECTRONIC):
        return [NOTHING, *_ratings(position)]
    if position.kind not in FUSE_KINDS:
        return [AS_IT_SHOULD_BE, NOTHING]
    return [AS_IT_SHOULD_BE, NOTHING, BLOWN, *_ratings(position)]


def _ratings(position: Position) -> list[str]:
    """The ratings that a fuse of this family is made in; of a position without a family those of the usual blade."""
    listed = ratings(position.family) if position.family else ratings("miniature blade")
    return list(dict.fromkeys(figures.stated(one.rating_a) for one in listed if one.rating_a != position.amps))


def _meanings(
    tracing: Tracing, panels: PanelReport, kept: list[Panel], only: set[str] | None, *, deep: bool
) -> dict[tuple[str, str], list[str]]:
    """For each position and each word what the comparison would say; what it takes away of those in `only`, or of all.

    Positions of a pair (`either`) hang on each other, so each is asked for alone.
    """
    asked: dict[tuple[str, bool], list[list[Position]]] = {}
    for panel in kept:
        for position in panel.positions:
            for word in _words(position):
                together = asked.setdefault((word, deep and (only is None or position.part in only)), [[]])
                if position.either:
                    together.append([position])
                else:
                    together[0].append(position)
    found: dict[tuple[str, str], list[str]] = {}
    for (word, symptoms), groups in asked.items():
        for positions in groups:
            seen = compare(tracing, panels, {one.part: _plugged(one, word) for one in positions}, symptoms=symptoms)
            for one in seen.mismatches:
                said = f"{one.what.upper() if one.hazard else one.what}: {one.message}. {one.action}"
                found.setdefault((one.position.part, word), []).append(said)
                if one.symptoms:
                    found[one.position.part, word].append("; ".join(one.symptoms))
    return found


def _plugged(position: Position, word: str) -> Plugged:
    place = Place("the page", 1, 1)
    if word == AS_IT_SHOULD_BE:
        return Plugged(position.label, place, word, right=True)
    if word == NOTHING:
        return Plugged(position.label, place, word, nothing=True)
    if word == BLOWN:
        return Plugged(position.label, place, word, blown=True)
    return Plugged(position.label, place, word, amps=float(word.replace(",", ".")))


__all__ = ["panels_data"]
