"""A page of a diagram as SVG: an id and a title for each element, text as text with its length, black on white."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from tracer.report.diagram.shapes import DiagramPage, Dot, Line, Polygon, Rect, Shape, Text
from tracer.report.fonts import SANS, svg_width

# width in points, dash pattern
STROKES = {
    "plain": (0.7, ()),
    "heavy": (1.5, ()),
    "dashed": (0.6, (2.4, 1.8)),
    "dashdot": (0.9, (5.0, 1.6, 1.0, 1.6)),
    "bar": (2.0, ()),
    "box": (1.3, ()),
    "hair": (0.4, ()),
}
_FORBIDDEN = {code: None for code in (*range(9), 11, 12, *range(14, 32), 0x7F, 0xFFFE, 0xFFFF)}


def as_svg(page: DiagramPage) -> str:
    """The page as one SVG document."""
    width, height = _number(page.width), _number(page.height)
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" viewBox="0 0 {width} {height}" role="img">',
        f"<title>{_text(page.title)}</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<g font-family="{SANS}" fill="none" stroke="#000" stroke-linecap="butt" stroke-linejoin="round">',
    ]
    for group in page.groups:
        parts.append(f'<g id={quoteattr(_clean(group.id))} class="{group.kind}"><title>{_text(group.title)}</title>')
        parts += [_shape(shape) for shape in group.shapes]
        parts.append("</g>")
    return "\n".join([*parts, "</g>", "</svg>", ""])


def _shape(shape: Shape) -> str:
    if isinstance(shape, Text):
        anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
        weight = ' font-weight="bold"' if shape.bold else ""
        role = f' class="{shape.role}"' if shape.role else ""
        return (
            f'<text x="{_number(shape.x)}" y="{_number(shape.y)}" font-size="{_number(shape.size)}"{anchor}{weight}{role} fill="#000" stroke="none" '
            f'textLength="{_number(svg_width(shape.text, shape.size, bold=shape.bold))}" lengthAdjust="spacingAndGlyphs">{_text(shape.text)}</text>'
        )
    if isinstance(shape, Dot):
        fill = "#000" if shape.filled else "#fff"
        return f'<circle cx="{_number(shape.x)}" cy="{_number(shape.y)}" r="{_number(shape.radius)}" fill="{fill}" stroke-width="0.7"/>'
    if isinstance(shape, Polygon):
        fill = "#000" if shape.filled else "#fff"
        return f'<polygon points="{_points(shape.points)}" fill="{fill}" stroke-width="0.5"/>'
    if isinstance(shape, Rect):
        fill = {"none": "none", "white": "#fff", "black": "#000"}[shape.fill]
        box = shape.box
        place = f'x="{_number(box.x)}" y="{_number(box.y)}" width="{_number(box.width)}" height="{_number(box.height)}"'
        return f'<rect {place} fill="{fill}"{_stroke(shape.style)}/>'
    return f'<polyline points="{_points(shape.points)}"{_stroke(shape.style)}/>'


def _stroke(style: str) -> str:
    width, dash = STROKES[style]
    pattern = f' stroke-dasharray="{" ".join(_number(one) for one in dash)}"' if dash else ""
    return f' stroke-width="{_number(width)}"{pattern}'


def _points(points: tuple[tuple[float, float], ...]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _clean(text: str) -> str:
    """Without the characters that XML forbids."""
    return text.translate(_FORBIDDEN)


def _text(text: str) -> str:
    return escape(_clean(text))


__all__ = ["STROKES", "Line", "as_svg"]
