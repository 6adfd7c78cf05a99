"""A module with more on its ways than can be drawn legibly: every point and every line down from it in words, in the order of its rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tracer.plan.diagram import Step, View, bus_lines
from tracer.report.diagram.block import LINE, SIZE, slug
from tracer.report.diagram.shapes import Group, Text, wrapped
from tracer.report.fonts import text_width
from tracer.report.layout import also_words
from tracer.report.minding import mark, marked

WHY = (
    "There is more on the ways of this module than can be drawn legibly: every point, and every line down from it, is listed instead, "
    "in the order of the rows."
)
_INDENT = 12.0
_SPACE = 3.0  # below an item
_MOST_LINES = 20  # of one item: what is longer goes on in another


@dataclass(frozen=True, slots=True)
class Item:
    """One point with its lines down, drawn from (0, 0)."""

    group: Group
    height: float


def items_of(view: View, units: Iterable[tuple[int, ...]], width: float) -> list[Item]:
    """Each point once, then the bus lines, then the loose ends, for a column of that width."""
    down: dict[int, list[Step]] = {}
    for step in view.steps:
        down.setdefault(step.upper, []).append(step)
    items: list[Item] = []
    for node in (node for unit in units for node in unit):
        items += _point(view, node, down.get(node, []), width)
    for code, pin, declared, wire, far in bus_lines(view):
        words = f"pin {pin} {declared}, {wire.text if wire else 'no wire'}, to {far}"
        words = marked(words, view.minding, f"{view.module}.{pin}")
        items += _item(f"bus-{slug(pin)}", f"bus line, pin {pin}", "bus", [(code, "buscode")], words, [], width)
    for number, loose in enumerate(view.report.loose_ends, 1):
        items += _item(f"loose-{number}", loose.message, "loose", [(loose.code, "loose")], "", [f"{loose.message}."], width, "loose")  # fmt: skip
    return items


def _point(view: View, node: int, down: list[Step], width: float) -> list[Item]:
    circuit = view.circuit
    name, part = circuit.node_names[node], circuit.part_at(node)
    bold: list[tuple[str, str]] = []
    lines: list[str] = []
    words = name
    if part is not None and part.facts.name:
        words += f" ({part.facts.name})"
    level = view.level(node)
    if level is not None:
        words += f", {level.name.lower()} in {view.key}"
    if (point := view.coded.get(node)) is not None:
        bold.append((point.code, "code"))
        lines += [also_words(point.also)] if point.also else []
    if marks := mark(view.minding, name):
        lines.append(marks)
    bold += [(code, "loose") for code in sorted({loose.code for loose in view.loose_at.get(node, ())})]
    lines += [_words(view, step) for step in down]
    return _item(f"node-{slug(name)}", words, "point", bold, words, lines, width)


def _words(view: View, step: Step) -> str:
    """A line down in words: wire or element, and the point where it ends."""
    kind = step.kind.name.lower().replace("_", " ")
    if step.wires or step.marks:
        way = ", ".join(wire.text for wire in step.wires) + (
            f" over references {', '.join(step.marks)}" if step.marks else ""
        )
    elif step.part:
        # a rail has a name, but is no part
        name = view.circuit.title(step.part) if step.part in view.circuit.parts else step.part
        way = f"{kind} of {name}" + (f", closed: {', '.join(step.closed)}" if step.closed else "")
    else:
        way = kind
    return f"- {way} to {view.circuit.node_names[step.lower]}"


def _item(
    name: str, title: str, kind: str, bold: list[tuple[str, str]], words: str, lines: list[str], width: float, role: str = "note"
) -> list[Item]:  # fmt: skip
    """The item, in pieces of so many lines that each fits a column."""
    rows = list(_rows(bold, words, lines, width, role))
    items = []
    for first in range(0, len(rows), _MOST_LINES):
        piece = rows[first : first + _MOST_LINES]
        shapes = [Text(x, LINE * (index + 1) - 1, text, SIZE, "start", strong, how) for index, row in enumerate(piece) for x, text, strong, how in row]  # fmt: skip
        number = first // _MOST_LINES + 1
        group = Group(name if number == 1 else f"{name}-{number}", title, kind, list(shapes))
        items.append(Item(group, LINE * len(piece) + _SPACE))
    return items


def _rows(
    bold: list[tuple[str, str]], words: str, lines: list[str], width: float, role: str
) -> Iterator[list[tuple[float, str, bool, str]]]:
    """Lines of text as (x, text, bold, role): codes and name, then what follows, indented."""
    x, row = 0.0, []
    for text, how in bold:
        row.append((x, text, True, how))
        x += text_width(text, SIZE, bold=True) + 4
    first, *further = wrapped(words, width - x, SIZE) or [""]
    yield [*row, (x, first, False, "name")] if first else row
    for text in (*further, *(line for one in lines for line in wrapped(one, width - _INDENT, SIZE))):
        yield [(_INDENT, text, False, role)]
