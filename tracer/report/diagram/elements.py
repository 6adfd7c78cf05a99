"""Fuses, contacts, coils and the rest: the symbols on a line, each with its two points."""

from __future__ import annotations

from tracer.circuit.kinds import DRIVERS, LinkKind, PartKind
from tracer.entry.models import FuseFacts
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.plan.diagram import Step, View
from tracer.report.diagram import symbols
from tracer.report.diagram.block import (
    ALSO,
    LINE,
    SIZE,
    WIDEST,
    Block,
    Blocks,
    Share,
    slug,
    style_at,
)
from tracer.report.diagram.shapes import Shape, wrapped
from tracer.report.kinds import LINKS, PARTS, Symbol
from tracer.report.layout import also_words
from tracer.report.minding import mark
from tracer.standards import figures


class PageState:
    """The page that is being made: its links by node, the block at whose top or bottom a line to a node ends."""

    def __init__(self, view: View, share: Share) -> None:
        self.view = view
        self.circuit = view.circuit
        self.share = share
        self.nodes = share.nodes
        self.steps = (*share.steps, *share.entering)
        self.made = Blocks()
        self.incoming: dict[int, list[Step]] = {node: [] for node in share.nodes}
        self.outgoing: dict[int, list[Step]] = {node: [] for node in share.nodes}
        for step in (*share.steps, *share.leaving):
            self.outgoing[step.upper].append(step)
        for step in self.steps:
            self.incoming[step.lower].append(step)
        self.top_of: dict[int, str] = {}  # block at whose top a line to the node ends
        self.bottom_of: dict[int, str] = {}
        self.pin_of: dict[int, str] = {}  # of pins whose wires are joined outside their box: the pin itself
        self.joints: list[tuple[str, str, int, Step | None]] = []  # tail, head, net, step

    def _add(self, block: Block) -> Block:
        name, number = block.id, 2
        while block.id in self.made.blocks:
            block.id = f"{name}-{number}"
            number += 1
        self.made.blocks[block.id] = block
        return block

    def _join(self, tail: str, head: str, net: int, step: Step | None) -> None:
        if tail != head:
            self.joints.append((tail, head, net, step))

    def _style(self, node: int) -> str:
        return style_at(self.view, node)

    def _pin(self, node: int) -> str:
        """The pin as it is printed on the part; a half of an in-line connector may have another cavity number than its mate."""
        return self.circuit.cavity_of(node).removeprefix(f"{self.circuit.node_parts[node]}.")

    def _is_pin(self, node: int) -> bool:
        part = self.circuit.part_at(node)
        return part is not None and PARTS[part.kind].symbol is Symbol.BOX

    def _point_lines(self, node: int | None) -> list[tuple[str, bool, str]]:
        point = self.view.coded.get(node) if node is not None else None
        return [(point.code, True, "code")] if point else []

    def _also(self, node: int | None) -> tuple[str, ...]:
        """All rows of a node and what is to be minded there: two points that are alike say so once."""
        point = self.view.coded.get(node) if node is not None else None
        return (*((point.row.code, *point.also) if point else ()), *self._marks(node, ALSO))

    def _also_lines(self, node: int | None) -> list[str]:
        """The other rows of a point, and what is to be minded there."""
        point = self.view.coded.get(node) if node is not None else None
        also = wrapped(also_words(point.also), ALSO, SIZE) if point and point.also else []
        return [*also, *self._marks(node, ALSO)]

    def _marks(self, node: int | None, width: float) -> list[str]:
        """What is to be minded at a node, whether it is a point of a row or only drawn."""
        return wrapped(mark(self.view.minding, self.circuit.node_names[node]), width, SIZE) if node is not None else []

    def _loose_mark(self, step: Step, upper: int | None, lower: int | None) -> list[str]:
        """Codes of loose ends that belong to the part as a whole."""
        at_nodes = {loose for node in (step.upper, step.lower) for loose in self.view.loose_at.get(node, ())}
        found = [loose.code for loose in self.view.loose_parts.get(step.part, ()) if loose not in at_nodes]
        for node in (upper, lower):  # a loose end in the middle of a way; at its end it is drawn as a broken end
            if node is not None and self.incoming[node] and self.outgoing[node]:
                found += [loose.code for loose in self.view.loose_at.get(node, ())]
        return sorted(set(found))


class Elements(PageState):
    """Makes a block for each link that is drawn as a symbol."""

    def _absorbed(self, node: int, step: Step, *, upper: bool) -> bool:
        if node not in self.nodes or self._is_pin(node) or self.circuit.node_parts[node] != step.part:
            return False
        return (self.outgoing if upper else self.incoming)[node] == [step]

    def _element(self, step: Step) -> Block:
        circuit = self.circuit
        part = circuit.parts[step.part]
        upper = step.upper if self._absorbed(step.upper, step, upper=True) else None
        lower = step.lower if self._absorbed(step.lower, step, upper=False) else None
        pins = f"{self._pin(step.upper)}-{self._pin(step.lower)}"
        title = f"{self.view.circuit.title(step.part)}, {step.kind.name.lower().replace('_', ' ')} {pins}"
        block = Block(
            f"element-{slug(step.part)}.{slug(pins)}",
            title,
            part.kind,
            upper=upper,
            lower=lower,
            between=(step.upper, step.lower),
        )
        above, below = self._point_lines(upper), self._point_lines(lower)
        same = upper is not None and lower is not None and self._also(upper) == self._also(lower)
        also = self._also_lines(lower if lower is not None else upper) if same or upper is None or lower is None else []
        right: list[tuple[str, bool, str]] = [*above]
        if not same and upper is not None and lower is not None:
            right += [(line, False, "note") for line in self._also_lines(upper)]
        between = [(line, False, "note") for line in also] if same else []
        right_end = [*below]
        if not same or upper is None or lower is None:
            tail = lower if lower is not None else upper
            right_end += [(line, False, "note") for line in self._also_lines(tail)]
        loose = self._loose_mark(step, upper, lower)
        between += [(line, True, "loose") for line in loose]
        left, offset = self._element_words(step, upper is not None, lower is not None)
        lines = max(len(left), len(right) + len(between) + len(right_end))
        block.height = max(symbols.LEAST, LINE * lines + 1)
        self._write_column(block, -offset, [(text, False, "name") for text in left], spread=True)
        self._write_three(block, offset, right, between, right_end)
        block.shapes[:0] = self._symbol(step, block.height)
        if upper is not None:
            self.top_of[upper] = block.id
            self.bottom_of.setdefault(upper, block.id)
        if lower is not None:
            self.bottom_of[lower] = block.id
            self.top_of.setdefault(lower, block.id)
        if step.kind in DRIVERS:
            block.box, block.edge = step.part, "inside"
        return self._add(block)

    def _write_column(self, block: Block, x: float, lines: list[tuple[str, bool, str]], *, spread: bool) -> None:
        top = 6.5 if not spread or len(lines) >= 3 else 6.5 + (block.height - 1 - LINE * len(lines)) / 2
        step = (
            LINE
            if not spread or len(lines) < 3
            else (block.height - 1 - LINE) / (len(lines) - 1)
            if len(lines) > 1
            else 0
        )
        for index, (text, bold, role) in enumerate(lines):
            if text:
                block.text(x, top + step * index, text, bold=bold, role=role)

    def _write_three(
        self,
        block: Block,
        x: float,
        above: list[tuple[str, bool, str]],
        between: list[tuple[str, bool, str]],
        below: list[tuple[str, bool, str]],
    ) -> None:
        y = 6.5
        for text, bold, role in above:
            block.text(x, y, text, bold=bold, role=role)
            y += LINE
        end = block.height - 1 - LINE * len(below)
        y = max(y, (y - 6.5 + end - LINE * len(between)) / 2 + 6.5)
        for text, bold, role in between:
            block.text(x, y, text, bold=bold, role=role)
            y += LINE
        y = end + 6.5
        for text, bold, role in below:
            block.text(x, y, text, bold=bold, role=role)
            y += LINE

    def _element_words(self, step: Step, upper: bool, lower: bool) -> tuple[list[str], float]:
        """The lines at the left of a symbol, and how far from the line texts stand."""
        circuit = self.circuit
        facts = circuit.parts[step.part].facts
        top, bottom = self._pin(step.upper), self._pin(step.lower)
        name = wrapped(step.part, WIDEST, SIZE, most=2)
        state = facts.said("state")
        extra = [state] if state in NO_FUSE_BELONGS else []
        if step.kind is LinkKind.FUSE:
            assert isinstance(facts, FuseFacts)
            rating = figures.stated(facts.amps, "A") if facts.amps is not None else "? A"
            turned = ["load"] if top == "load" else []
            return [*turned, *name, rating, *extra], 5.0
        row = LINKS[step.kind]
        if step.kind is LinkKind.MATING:
            return wrapped(circuit.contact_name(step.upper, step.lower), WIDEST, SIZE, most=2), row.beside
        if step.kind in DRIVERS:
            return ["output", step.output], row.beside
        return [*name, *([f"{top}/{bottom}"] if row.pins else []), *extra], row.beside

    def _symbol(self, step: Step, height: float) -> list[Shape]:
        kind = self.circuit.parts[step.part].kind
        upper, lower = self._style(step.upper), self._style(step.lower)
        if step.kind is LinkKind.DIODE:
            return symbols.diode(height, upper, lower, downwards=self.circuit.node_pins[step.upper] == "A")
        symbol = LINKS[step.kind].symbol
        if kind is PartKind.BREAKER:
            symbol = "breaker"
        elif kind is PartKind.RELAY and step.kind is LinkKind.CONTACT and "rest" in step.closed:
            symbol = "break_contact"
        lines: list[Shape] = getattr(symbols, symbol)(height, upper, lower)
        return lines
