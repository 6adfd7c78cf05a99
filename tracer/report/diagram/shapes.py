"""What a drawing is made of: lines, boxes, dots and texts in named groups. All lengths in points (1/72 inch), y downwards.

The SVG and the PDF are written from the same drawing, so that what is measured here holds for both.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Literal

# Advance widths of the letters of a common sans serif face, 1/1000 of the type size. They are the published core metrics of
# the PostScript face that Arial, Liberation Sans and others share their widths with; values from memory, and every text
# is also given its length in the SVG, so that a viewer with another face keeps to it.
_WIDTHS = {
    " ": 278, "!": 278, '"': 355, "#": 556, "$": 556, "%": 889, "&": 667, "'": 191, "(": 333, ")": 333, "*": 389, "+": 584, ",": 278, "-": 333,
    ".": 278, "/": 278, ":": 278, ";": 278, "<": 584, "=": 584, ">": 584, "?": 556, "@": 1015, "A": 667, "B": 667, "C": 722, "D": 722, "E": 667,
    "F": 611, "G": 778, "H": 722, "I": 278, "J": 500, "K": 667, "L": 556, "M": 833, "N": 722, "O": 778, "P": 667, "Q": 778, "R": 722, "S": 667,
    "T": 611, "U": 722, "V": 667, "W": 944, "X": 667, "Y": 667, "Z": 611, "[": 278, "\\": 278, "]": 278, "^": 469, "_": 556, "`": 333, "a": 556,
    "b": 556, "c": 500, "d": 556, "e": 556, "f": 278, "g": 556, "h": 556, "i": 222, "j": 222, "k": 500, "l": 222, "m": 833, "n": 556, "o": 556,
    "p": 556, "q": 556, "r": 333, "s": 500, "t": 278, "u": 556, "v": 500, "w": 722, "x": 500, "y": 500, "z": 500, "{": 334, "|": 260, "}": 334,
    "~": 584, **dict.fromkeys("0123456789", 556), "–": 556, "−": 584, "²": 333, "µ": 556, "Ω": 768, "°": 400, "…": 1000,
}  # fmt: skip
_BOLD = 1.08  # bold letters of that face are up to 8 % wider on average text

SMALLEST_PT = 7.0
ASCENT, DESCENT = 0.75, 0.22  # of the type size, above and below the base line


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a text in points."""
    units = 0
    for letter in text:
        known = _WIDTHS.get(letter)
        if known is None:
            known = (
                1000 if unicodedata.east_asian_width(letter) in "WF" else 0 if unicodedata.combining(letter) else 667
            )
        units += known
    return units * size / 1000 * (_BOLD if bold else 1.0)


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

    def overlaps(self, other: Box, *, slack: float = 0.0) -> bool:
        """Whether the two share more than `slack` in both directions."""
        return (
            min(self.x + self.width, other.x + other.width) - max(self.x, other.x) > slack
            and min(self.y + self.height, other.y + other.height) - max(self.y, other.y) > slack
        )


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
class Shape:
    """A closed polygon, filled or not."""

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
        return text_width(self.text, self.size, bold=self.bold)

    @property
    def box(self) -> Box:
        left = {"start": self.x, "middle": self.x - self.width / 2, "end": self.x - self.width}[self.anchor]
        return Box(left, self.y - ASCENT * self.size, self.width, (ASCENT + DESCENT) * self.size)


Primitive = Line | Rect | Dot | Shape | Text


@dataclass
class Group:
    """One element of the picture: `id` is its XML id, `title` what it is in words."""

    id: str
    title: str
    kind: str
    shapes: list[Primitive] = field(default_factory=list)


@dataclass
class Drawing:
    """One page."""

    width: float
    height: float
    title: str
    groups: list[Group] = field(default_factory=list)

    def texts(self) -> Iterator[Text]:
        """Every text on the page."""
        return (shape for group in self.groups for shape in group.shapes if isinstance(shape, Text))


def moved(shape: Primitive, dx: float, dy: float, scale: float = 1.0) -> Primitive:
    """The shape scaled from the origin, then moved."""

    def at(x: float, y: float) -> tuple[float, float]:
        return x * scale + dx, y * scale + dy

    if isinstance(shape, Line):
        return replace(shape, points=tuple(at(*point) for point in shape.points))
    if isinstance(shape, Shape):
        return replace(shape, points=tuple(at(*point) for point in shape.points))
    if isinstance(shape, Rect):
        x, y = at(shape.box.x, shape.box.y)
        return replace(shape, box=Box(x, y, shape.box.width * scale, shape.box.height * scale))
    x, y = at(shape.x, shape.y)
    if isinstance(shape, Dot):
        return replace(shape, x=x, y=y, radius=shape.radius * scale)
    return replace(shape, x=x, y=y, size=shape.size * scale)
