"""The diagram as on paper, and beside it what the page needs to answer a tap: which points each symbol stands for, the lines between them, levels by key state."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tracer.plan.diagram import View, view_of
from tracer.plan.distances import stretches_of
from tracer.plan.names import full_name, point_name
from tracer.report.diagram import DiagramPage, Paper, as_svg, diagram_of
from tracer.report.diagram.block import node_of_style, style_of
from tracer.report.diagram.paper import LEVEL_WORDS
from tracer.report.diagram.shapes import Line, Rect, Shape
from tracer.report.diagram.svg import STROKES
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing

# One letter for each style that a level may give a line; a full stop for what no level changes.
LETTERS = {"plain": "p", "heavy": "h", "dashed": "d", "dashdot": "x"}


def picture_of(tracing: Tracing, report: SupplyReport, view: View) -> dict[str, Any]:
    """The pages of the diagram without a key state, and for each key state the styles of their lines: it is laid out once."""
    pages = diagram_of(replace(view, every_key=True), Paper())
    levels = {key: _letters(pages, view_of(tracing, report, key)) for key in report.keys}
    names = tracing.circuit.node_names
    return {
        "pages": [_page(_plain(page)) for page in pages],
        "levels": levels if any(levels.values()) else {},
        "strokes": {letter: {"width": width, "dash": " ".join(f"{one:g}" for one in dash), "words": LEVEL_WORDS.get(style, "")} for style, letter in LETTERS.items() for width, dash in [STROKES[style]]},
        "rows": {full_name(row): {"nodes": [node for node in view.nodes_of_row.get(row.code, ()) if node in view.order], "points": _points(tracing, row), "stretches": [[one.a, one.b, one.length_m if one.is_wire else 0, int(one.is_wire)] for one in stretches_of(tracing, row)]} for row in report.rows},
        "names": {str(node): point_name(names[node]) for node in view.order},
        "parts": {part: nodes for part, nodes in _parts(view).items()},
    }  # fmt: skip


def _page(page: DiagramPage) -> dict[str, Any]:
    return {
        "svg": as_svg(page),
        "nodes": {group.id: list(group.nodes) for group in page.groups if group.nodes},
        "ways": [{"nodes": list(one.nodes), "d": "".join(_path(line) for line in one.lines)} for one in page.stretches],
    }


def _path(line: Line) -> str:
    return "M" + "L".join(f"{round(x, 1):g} {round(y, 1):g}" for x, y in line.points)


def _points(tracing: Tracing, row: Row) -> list[dict[str, Any]]:
    """The probe points of a row from the pin back, each with its node, its place and the wires there as typed."""
    node_of = tracing.once(_nodes)
    return [{"name": point_name(probe.at), "node": node_of[probe.at], "kind": probe.kind, "place": probe.place or "", "wire": probe.wire} for probe in reversed(row.probes)]  # fmt: skip


def _nodes(tracing: Tracing) -> dict[str, int]:
    return {name: node for node, name in enumerate(tracing.circuit.node_names)}


def _parts(view: View) -> dict[str, list[int]]:
    """The points of each part that is drawn."""
    found: dict[str, list[int]] = {}
    for node in view.order:
        if part := view.circuit.node_parts[node]:
            found.setdefault(part, []).append(node)
    return found


def _letters(pages: list[DiagramPage], view: View) -> dict[str, str]:
    """For each symbol and line whose style the key state changes, a letter for each of its shapes."""
    found = {}
    for page in pages:
        for group in page.groups:
            letters = "".join(_letter(shape, view) for shape in group.shapes)
            if letters.strip("."):
                found[group.id] = letters
    return found


def _letter(shape: Shape, view: View) -> str:
    node = _node(shape)
    style = "plain" if node is None else style_of(view.level(node))
    return "." if style == "plain" else LETTERS[style]


def _node(shape: Shape) -> int | None:
    return node_of_style(shape.style) if isinstance(shape, Line | Rect) else None


def _plain(page: DiagramPage) -> DiagramPage:
    """The page as it is drawn without a key state."""
    return replace(
        page, groups=[replace(group, shapes=[_bare(shape) for shape in group.shapes]) for group in page.groups]
    )


def _bare(shape: Shape) -> Shape:
    return replace(shape, style="plain") if isinstance(shape, Line | Rect) and _node(shape) is not None else shape


__all__ = ["picture_of"]
