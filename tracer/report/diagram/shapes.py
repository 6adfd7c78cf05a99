"""What a page of a diagram is made of: lines, boxes, dots and texts in named groups. All lengths in points (1/72 inch), y downwards.

The SVG and the PDF are written from the same page, so that what is measured here holds for both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Literal

from tracer.report.fonts import text_width

SMALLEST_PT = 7.0
ASCENT, DESCENT = 0.75, 0.22  # of the type size, above and below the base line


def cut_to(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """The text, cut with an ellipsis when it is wider than `width`. The full text is in the element's title."""
    if text_width(text, size, bold=bold) <= width:
        return text
    while text and text_width(text + "…", size, bold=bold) > width:
        text = text[:-1]
    return text + "…"


def wrapped(text: str, width: float, size: float, *, bold: bool = False, most: int = 99) -> list[str]:
    """The text in lines of at most `width`; a word that is too long is broken, what exceeds `most` lines is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        while text_width(word, size, bold=bold) > width and len(word) > 1:
            if line:
                lines.append(line)
                line = ""
            keep = len(word)
            while keep > 1 and text_width(word[:keep], size, bold=bold) > width:
                keep -= 1
            lines.append(word[:keep])
            word = word[keep:]
        candidate = f"{line} {word}" if line else word
        if text_width(candidate, size, bold=bold) <= width:
            line = candidate
        else:
            lines.append(line)
            line = word
    if line:
        lines.append(line)
    if len(lines) > most:
        lines = [*lines[: most - 1], cut_to(f"{lines[most - 1]}…", width, size, bold=bold)]
    return lines


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of the page."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Line:
    """A polyline. `style` is plain, heavy (live), dashed (dead), dashdot (depends) or bar (a rail)."""

    points: tuple[tuple[float, float], ...]
    style: str = "plain"


@dataclass(frozen=True, slots=True)
class Rect:
    """A box with an outline."""

    box: Box
    style: str = "plain"
    fill: Literal["none", "white", "black"] = "none"


@dataclass(frozen=True, slots=True)
class Dot:
    """A circle, filled or not."""

    x: float
    y: float
    radius: float
    filled: bool = True


@dataclass(frozen=True, slots=True)
class Polygon:
    """Closed, filled or not."""

    points: tuple[tuple[float, float], ...]
    filled: bool = True


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text; `x` is its left, middle or right by `anchor`, `y` its base line. `role` says what it is: code, name, wire, note."""

    x: float
    y: float
    text: str
    size: float = SMALLEST_PT
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    role: str = ""

    @property
    def width(self) -> float:
        """What is kept free for it: in whichever face it is set, it fits."""
        return text_width(self.text, self.size, bold=self.bold)

    @property
    def box(self) -> Box:
        left = {"start": self.x, "middle": self.x - self.width / 2, "end": self.x - self.width}[self.anchor]
        return Box(left, self.y - ASCENT * self.size, self.width, (ASCENT + DESCENT) * self.size)


Shape = Line | Rect | Dot | Polygon | Text


@dataclass
class Group:
    """One element of the picture: `id` is its XML id, `title` what it is in words; `nodes` are the points of the circuit that a symbol stands for."""

    id: str
    title: str
    kind: str
    shapes: list[Shape] = field(default_factory=list)
    nodes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """The lines of the diagram that one wire, or one joint, takes between two points of the circuit."""

    nodes: tuple[int, int]
    lines: tuple[Line, ...]

    def moved(self, dx: float, dy: float, scale: float = 1.0) -> Stretch:
        """The same scaled from the origin, then moved."""
        at = (tuple((x * scale + dx, y * scale + dy) for x, y in line.points) for line in self.lines)
        return replace(self, lines=tuple(Line(points) for points in at))


@dataclass
class DiagramPage:
    """One page."""

    width: float
    height: float
    title: str
    groups: list[Group] = field(default_factory=list)
    stretches: list[Stretch] = field(default_factory=list)

    def texts(self) -> Iterator[Text]:
        """Every text on the page."""
        return (shape for group in self.groups for shape in group.shapes if isinstance(shape, Text))


def moved(shape: Shape, dx: float, dy: float, scale: float = 1.0) -> Shape:
    """The shape scaled from the origin, then moved."""

    def at(x: float, y: float) -> tuple[float, float]:
        return x * scale + dx, y * scale + dy

    if isinstance(shape, Line):
        return replace(shape, points=tuple(at(*point) for point in shape.points))
    if isinstance(shape, Polygon):
        return replace(shape, points=tuple(at(*point) for point in shape.points))
    if isinstance(shape, Rect):
        x, y = at(shape.box.x, shape.box.y)
        return replace(shape, box=Box(x, y, shape.box.width * scale, shape.box.height * scale))
    x, y = at(shape.x, shape.y)
    if isinstance(shape, Dot):
        return replace(shape, x=x, y=y, radius=shape.radius * scale)
    return replace(shape, x=x, y=y, size=shape.size * scale)


def left_and_right(shape: Shape) -> tuple[float, float]:
    """Between which x a shape lies."""
    if isinstance(shape, Text | Rect):
        return shape.box.x, shape.box.x + shape.box.width
    if isinstance(shape, Dot):
        return shape.x - shape.radius, shape.x + shape.radius
    xs = [x for x, _ in shape.points]
    return min(xs), max(xs)
