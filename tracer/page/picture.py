"""The diagram as on paper, and beside it what the page needs to answer a tap: which points each symbol stands for, the lines between them, levels by key state."""

from __future__ import annotations

from typing import Any

from tracer.plan.drawn import View, view_of
from tracer.plan.names import full_name, point_name
from tracer.report.diagram import Drawing, Sheet, as_svg, diagram_of
from tracer.report.diagram.shapes import Group, Line, Primitive, Rect
from tracer.report.diagram.svg import STROKES
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing

# One letter for each style that a level may give a line; a full stop for what no level changes.
LETTERS = {"plain": "p", "heavy": "h", "dashed": "d", "dashdot": "x"}


def picture_of(tracing: Tracing, report: SupplyReport, view: View) -> dict[str, Any]:
    """The pages of the diagram without a key state, and for each key state the styles of their lines."""
    pages = diagram_of(view, Sheet())
    levels = {key: _letters(pages, diagram_of(view_of(tracing, report, key), Sheet())) for key in report.keys}
    names = tracing.circuit.node_names
    return {
        "pages": [_page(page) for page in pages],
        "levels": {key: found for key, found in levels.items() if found is not None},
        "strokes": {letter: {"width": width, "dash": " ".join(f"{one:g}" for one in dash)} for style, letter in LETTERS.items() for width, dash in [STROKES[style]]},
        "rows": {full_name(row): {"nodes": [node for node in view.nodes_of_row.get(row.code, ()) if node in view.order], "points": _points(row)} for row in report.rows},
        "names": {str(node): point_name(names[node]) for node in view.order},
        "parts": {part: nodes for part, nodes in _parts(view).items()},
    }  # fmt: skip


def _page(page: Drawing) -> dict[str, Any]:
    return {
        "svg": as_svg(page),
        "nodes": {group.id: list(group.nodes) for group in page.groups if group.nodes},
        "ways": [{"nodes": list(one.nodes), "d": "".join(_path(line) for line in one.lines)} for one in page.stretches],
    }


def _path(line: Line) -> str:
    return "M" + "L".join(f"{round(x, 1):g} {round(y, 1):g}" for x, y in line.points)


def _points(row: Row) -> list[dict[str, str]]:
    """The probe points of a row from the pin back, each with its place and the wires there as typed."""
    probes = row.probes if row.level == "ground" else tuple(reversed(row.probes))
    return [{"name": point_name(probe.at), "kind": probe.kind, "place": probe.place or "", "wire": probe.wire} for probe in probes]  # fmt: skip


def _parts(view: View) -> dict[str, list[int]]:
    """The points of each part that is drawn."""
    found: dict[str, list[int]] = {}
    for node in view.order:
        if part := view.circuit.node_parts[node]:
            found.setdefault(part, []).append(node)
    return found


def _letters(plain: list[Drawing], drawn: list[Drawing]) -> dict[str, str] | None:
    """For each symbol and line whose style the key state changes, a letter for each of its shapes; None where the two are not drawn alike."""
    found: dict[str, str] = {}
    if len(plain) != len(drawn):
        return None
    for page, other in zip(plain, drawn, strict=True):
        mine, theirs = _groups(page), _groups(other)
        if mine.keys() != theirs.keys():
            return None
        for name, group in mine.items():
            shapes = theirs[name].shapes
            if [_place(shape) for shape in group.shapes] != [_place(shape) for shape in shapes]:
                return None
            letters = "".join(_letter(before, after) for before, after in zip(group.shapes, shapes, strict=True))
            if letters.strip("."):
                found[name] = letters
    return found


def _groups(page: Drawing) -> dict[str, Group]:
    return {group.id: group for group in page.groups if group.kind != "title"}


def _place(shape: Primitive) -> object:
    return type(shape), shape.points if isinstance(shape, Line) else None


def _letter(before: Primitive, after: Primitive) -> str:
    if not isinstance(before, Line | Rect) or not isinstance(after, Line | Rect) or before.style == after.style:
        return "."
    return LETTERS.get(after.style, ".")


__all__ = ["picture_of"]
