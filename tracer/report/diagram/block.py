"""One symbol with its texts, and what a page is made of: blocks, lines between them, boxes.

A block is drawn around x = 0 from y = 0 down, because the line that it sits on runs straight through it: two blocks that are placed at one x then
join without a bend, however wide their texts are on either side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from tracer.circuit.states import Level
from tracer.plan.diagram import Step, View
from tracer.report.diagram.shapes import SMALLEST_PT, Line, Shape, Text
from tracer.report.fonts import text_width

LINE = 7.6  # height of a line of text

SIZE = SMALLEST_PT

WIDEST = 74.0  # a name may be this wide

ALSO = 110.0  # a list of rows

_MARK = "level of "
_STYLES = {None: "plain", Level.LIVE: "heavy", Level.DEAD: "dashed", Level.DEPENDS: "dashdot"}


@dataclass
class Block:
    """One symbol. `box` is the module it is inside of, `edge` which edge of that module it is at; `anchor_y` is where the module's edge crosses it."""

    id: str
    title: str
    kind: str
    shapes: list[Shape] = field(default_factory=list)
    left: float = 4.0
    right: float = 4.0
    height: float = 10.0
    upper: int | None = None
    lower: int | None = None
    box: str = ""
    edge: str = ""  # top | bottom | name | bus | inside
    anchor_y: float = 0.0
    rows: tuple[str, ...] = ()
    between: tuple[int, ...] = ()  # the points that it is drawn between, where those are not its own

    @property
    def nodes(self) -> tuple[int, ...]:
        """The points of the circuit that it stands for."""
        return self.between or tuple(dict.fromkeys(node for node in (self.upper, self.lower) if node is not None))

    @property
    def half(self) -> float:
        """Half of the width that it is given.

        The wider side counts on both: dot places by the middle, and only what is the same left and right of the line keeps lines of one net on one x.
        """
        return max(self.left, self.right) + 0.8

    def text(
        self, x: float, y: float, text: str, *, bold: bool = False, role: str = "name", size: float = SIZE
    ) -> None:
        """Write at the right of the line (x > 0), at its left (x < 0) or centred (x = 0)."""
        width = text_width(text, size, bold=bold)
        if x > 0:
            self.shapes.append(Text(x, y, text, size, "start", bold, role))
            self.right = max(self.right, x + width)
        elif x < 0:
            self.shapes.append(Text(x, y, text, size, "end", bold, role))
            self.left = max(self.left, -x + width)
        else:
            self.shapes.append(Text(x, y, text, size, "middle", bold, role))
            self.left = max(self.left, width / 2)
            self.right = max(self.right, width / 2)

    def shift(self, dy: float) -> None:
        """Make room of `dy` at the top."""
        from tracer.report.diagram.shapes import moved

        self.shapes = [moved(shape, 0, dy) for shape in self.shapes]
        self.height += dy
        self.anchor_y += dy


@dataclass(frozen=True, slots=True)
class Edge:
    """A line from the bottom of one block to the top of another. `net` is the node whose level it shows; edges of one `trunk` share their way.

    `between` are the points of the circuit at its ends: of a joint twice the same.
    """

    tail: str
    head: str
    net: int
    trunk: str
    title: str = ""
    between: tuple[int, int] = (-1, -1)


@dataclass
class Blocks:
    """Everything that is to be placed."""

    blocks: dict[str, Block] = field(default_factory=dict)
    edges: list[Edge] = field(default_factory=list)
    boxes: dict[str, str] = field(default_factory=dict)  # name of a module: its title


def style_of(level: Level | None) -> str:
    """The line style of a level: heavy is live, dashed dead, dash-dot depends."""
    return _STYLES[level]


def style_at(view: View, node: int) -> str:
    """The line style of a node in the key state of a view; of one that is to be drawn for every key state a mark, from which `node_of_style` has the node."""
    return f"{_MARK}{node}" if view.every_key else style_of(view.level(node))


def node_of_style(style: str) -> int | None:
    """The node whose level a marked line shows; None of a line that shows none."""
    return int(style.removeprefix(_MARK)) if style.startswith(_MARK) else None


def slug(name: str) -> str:
    """A name as part of an XML id: letters, digits, dot, dash and underline; all else by its number."""
    return "".join(c if c.isascii() and (c.isalnum() or c in ".-") else f"_{ord(c):x}_" for c in name)


@dataclass(frozen=True, slots=True)
class Share:
    """What one page shows. A step that goes to another page is drawn there; `mark_of` gives the letter that answers on both pages.

    `nodes` and `steps` are this page's own, `entering` the steps whose upper node is on another page, `leaving` those whose lower node is.
    """

    nodes: frozenset[int]
    steps: tuple[Step, ...]
    entering: tuple[Step, ...] = ()
    leaving: tuple[Step, ...] = ()
    marks: dict[tuple[int, int], str] = field(default_factory=dict)  # upper node, page of the lower one: the letter
    page_of: dict[int, int] = field(default_factory=dict)
    number: int = 1


def whole(view: View) -> Share:
    """Everything on one page."""
    return Share(frozenset(view.order), tuple(view.steps), page_of=dict.fromkeys(view.order, 1))


def _label_lines(step: Step) -> list[tuple[str, str]]:
    lines = list(dict.fromkeys((wire.colour, wire.size) for wire in step.wires))
    if step.marks:
        lines.append(("ref", ">".join(step.marks)))
    return lines


def label_above(block: Block, step: Step, style: str) -> None:
    """Colour at the left, size at the right of the line, above the block's symbol."""
    lines = _label_lines(step)
    room = LINE * len(lines)
    block.shift(room)
    block.shapes.append(Line(((0, 0), (0, room)), style))
    _write_label(block, lines, 6.5)


def label_below(block: Block, step: Step, style: str) -> None:
    """The same below the symbol, for a line that goes on to several blocks: at its tail it stands once."""
    lines = _label_lines(step)
    top = block.height
    block.height += LINE * len(lines)
    block.shapes.append(Line(((0, top), (0, block.height)), style))
    _write_label(block, lines, top + 6.5)


def _write_label(block: Block, lines: Iterable[tuple[str, str]], y: float) -> None:
    for index, (colour, size) in enumerate(lines):
        if colour:
            block.text(-2, y + LINE * index, colour, role="wire")
        if size:
            block.text(2, y + LINE * index, size, role="wire")


def within(line: Line, top: float, bottom: float) -> Line | None:
    """The piece of an upright line between two heights; None where nothing is left of it."""
    (x1, y1), (x2, y2) = line.points[0], line.points[-1]
    if x1 or x2:
        return line
    y1, y2 = max(y1, top), min(y2, bottom)
    return replace(line, points=((0.0, y1), (0.0, y2))) if y2 > y1 else None


def sideways(shapes: list[Shape], dx: float) -> list[Shape]:
    """All of them moved sideways."""
    return [moved_x(shape, dx) for shape in shapes]


def moved_x(shape: Shape, dx: float) -> Shape:
    """The shape moved sideways."""
    from tracer.report.diagram.shapes import moved

    return moved(shape, dx, 0.0)
