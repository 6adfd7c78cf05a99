"""A page of a diagram as typst source, for PDF and PNG. Lines and texts are drawn by typst itself, so that text stays text and fonts are embedded.

Names from the vehicle reach typst only inside quoted strings, never as markup.
"""

from __future__ import annotations

from collections.abc import Sequence

from tracer.report.diagram.shapes import DiagramPage, Dot, Polygon, Rect, Shape, Text
from tracer.report.diagram.svg import STROKES
from tracer.report.fonts import SERIF


def quoted(text: str) -> str:
    r"""A typst string.

    >>> quoted('a "b" \\ #c')
    '"a \\"b\\" \\\\ #c"'
    """
    cleaned = "".join(c if c.isprintable() else " " for c in text)
    return '"' + cleaned.replace("\\", "\\\\").replace('"', '\\"') + '"'


def as_typst(pages: Sequence[DiagramPage], title: str) -> str:
    """All pages as one typst source."""
    lines = [
        f"#set document(title: {quoted(title)}, date: none)",
        f'#set text(font: "{SERIF}", fallback: true, hyphenate: false)',
        '#let t(x, y, w, a, s, b, body) = place(top + left, dx: x * 1pt, dy: y * 1pt, box(width: w * 1pt, height: 0pt, align(a + top, text(size: s * 1pt, weight: b, top-edge: "baseline", bottom-edge: "baseline", box(body)))))',
        "#let l(s, ..p) = place(top + left, curve(stroke: s, curve.move(p.pos().first()), ..p.pos().slice(1).map(q => curve.line(q))))",
    ]
    for number, page in enumerate(pages):
        lines.append(
            f"#{'pagebreak(); #' if number else ''}set page(width: {page.width:.2f}pt, height: {page.height:.2f}pt, margin: 0pt)"
        )
        for group in page.groups:
            lines += [_shape(shape) for shape in group.shapes]
    return "\n".join([*lines, ""])


def _shape(shape: Shape) -> str:
    if isinstance(shape, Text):
        box = shape.box
        width = box.width + 2
        left = {"start": box.x, "middle": box.x - 1, "end": box.x - 2}[shape.anchor]
        align = {"start": "left", "middle": "center", "end": "right"}[shape.anchor]
        weight = "bold" if shape.bold else "regular"
        return (
            f'#t({left:.2f}, {shape.y:.2f}, {width:.2f}, {align}, {shape.size:.2f}, "{weight}", {quoted(shape.text)})'
        )
    if isinstance(shape, Dot):
        fill = "black" if shape.filled else "white"
        r = shape.radius
        return f"#place(top + left, dx: {shape.x - r:.2f}pt, dy: {shape.y - r:.2f}pt, circle(radius: {r:.2f}pt, fill: {fill}, stroke: 0.7pt))"
    if isinstance(shape, Polygon):
        points = ", ".join(_point(point) for point in shape.points)
        return f"#place(top + left, polygon(fill: {'black' if shape.filled else 'white'}, stroke: 0.5pt, {points}))"
    if isinstance(shape, Rect):
        box = shape.box
        fill = shape.fill
        return (
            f"#place(top + left, dx: {box.x:.2f}pt, dy: {box.y:.2f}pt, "
            f"rect(width: {box.width:.2f}pt, height: {box.height:.2f}pt, fill: {fill}, stroke: {_stroke(shape.style)}))"
        )
    return f"#l({_stroke(shape.style)}, {', '.join(_point(point) for point in shape.points)})"


def _point(point: tuple[float, float]) -> str:
    return f"({point[0]:.2f}pt, {point[1]:.2f}pt)"


def _stroke(style: str) -> str:
    width, dash = STROKES[style]
    if not dash:
        return f"{width}pt"
    pattern = ", ".join(f"{one}pt" for one in dash)
    return f"(thickness: {width}pt, dash: (array: ({pattern}), phase: 0pt))"
