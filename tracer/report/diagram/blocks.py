"""Blocks: what dot places. A block is one symbol with its texts, drawn around x = 0 from y = 0 down, with one lead at its top and one at its bottom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tracer.circuit.kinds import INSIDE_MODULE, LinkKind, PartKind
from tracer.plan.diagram import Step, View, bus_lines
from tracer.report.diagram import symbols
from tracer.report.diagram.block import (
    LINE,
    SIZE,
    WIDEST,
    Block,
    Blocks,
    Edge,
    Share,
    label_above,
    label_below,
    moved_x,
    sideways,
    slug,
    style_at,
    whole,
    within,
)
from tracer.report.diagram.elements import Elements
from tracer.report.diagram.shapes import Dot, Line, Shape, Text, cut_to, wrapped
from tracer.report.fonts import text_width
from tracer.report.kinds import ELEMENTS, PARTS, Symbol
from tracer.report.layout import also_words
from tracer.report.minding import mark
from tracer.trace.lists.results import LooseEnd

_JOINT = 4.0  # height of a place outside a box at which the wires of a pin meet


def blocks_of(view: View, share: Share) -> Blocks:
    """The blocks and edges of one page."""
    return _Maker(view, share).make()


class _Maker(Elements):
    def make(self) -> Blocks:
        own_links: list[tuple[Step, Block]] = []
        for step in self.steps:
            if step.kind in ELEMENTS:
                own_links.append((step, self._element(step)))
        for node in sorted(self.nodes, key=lambda node: (self.view.order[node], node)):
            if node not in self.top_of and node not in self.bottom_of:
                self._node_block(node)
            self.top_of.setdefault(node, self.bottom_of.get(node, ""))
            self.bottom_of.setdefault(node, self.top_of[node])
        self._page_references()
        for step, block in own_links:
            tail, head = self._ends_of(step)
            if block.upper != step.upper:
                self._join(tail, block.id, step.upper, None)
            if block.lower != step.lower:
                self._join(block.id, head, step.lower, None)
        for step in self.steps:
            if step.kind not in ELEMENTS:
                if self._inside_only(step):
                    continue
                self._join(*self._ends_of(step), step.upper, step)
        self._loose()
        self._boxes()
        self._edges()
        self._cut_leads()
        return self.made

    def _ends_of(self, step: Step) -> tuple[str, str]:
        """The blocks that the line of a link begins and ends at; inside a box these are the pins themselves, not what is joined outside of them."""
        if step.kind in INSIDE_MODULE:
            tail, head = (self.pin_of.get(node) for node in (step.upper, step.lower))
            return tail or self.bottom_of[step.upper], head or self.top_of[step.lower]
        return self.bottom_of[step.upper], self.top_of[step.lower]

    def _inside_only(self, step: Step) -> bool:
        """Whether a link joins two pins of one box at the same edge; such a link is told in words in the box."""
        if step.kind is not LinkKind.JOINED:
            return False
        if step.upper not in self.nodes:
            return True
        return self._edge_of(step.upper) == self._edge_of(step.lower) or self._edge_of(step.upper) == "bottom"

    # --- points that stand alone -------------------------------------------------------------------------------

    def _node_block(self, node: int) -> None:
        circuit = self.circuit
        name, part = circuit.node_names[node], circuit.part_at(node)
        symbol = PARTS[part.kind].symbol if part is not None else None
        if part is not None and symbol is Symbol.BOX:
            self._pin_block(node, part.name, circuit.node_pins[node])
            return
        title = f"{name} ({part.facts.name})" if part is not None and part.facts.name else name
        block = Block(f"node-{slug(name)}", title, part.kind if part else "net", upper=node, lower=node)
        loose = self.view.loose_at.get(node)
        if part is None and loose:
            self._broken_block(block, loose, below=not self.outgoing[node], words=name.split(" (")[0])
        elif part is None or (part.kind is PartKind.JOINT and circuit.node_pins[node].startswith("group ")):
            self._bar(block, name)
        elif symbol is Symbol.BATTERY:
            positive = circuit.node_pins[node].startswith("+")
            block.shapes += symbols.battery(positive=positive)
            block.height = 18
            block.text(-8.5, 6.5, part.name)
            block.text(-8.5, 14.5, "+" if positive else "−", bold=True)
            self._node_texts(block, node, 8.5, 6.5)
        elif symbol is Symbol.GROUND and not circuit.node_pins[node]:  # a lug on it is a terminal
            block.shapes += symbols.terminal()
            block.height = 10
            on = part.facts.said("on") or "body"
            if not self.outgoing[node]:
                block.shapes += [Line(((0, 10), (0, 14))), *symbols.ground(14)]
                block.height = 21
                block.text(-8, 19, on, role="note")
            elif not self.incoming[node]:
                block.shift(9)
                block.shapes += [Line(((0, 6), (0, 9))), *symbols.ground_above(6)]
                block.text(-8, 7, on, role="note")
            else:
                block.shapes += [Line(((0, 5), (-9, 5), (-9, 8))), *(sideways(symbols.ground(8), -9))]
                block.height = 15
                block.left = max(block.left, 15)
            base = 15.5 if not self.incoming[node] and self.outgoing[node] else 7.5
            block.text(-4.5 if self.outgoing[node] == [] or not self.incoming[node] else -16, base, part.name)
            self._node_texts(block, node, 4.5, base, further=8.0)
        else:
            block.shapes += (
                symbols.splice() if symbol is Symbol.SPLICE and not circuit.node_pins[node] else symbols.terminal()
            )
            block.height = 10
            for index, line in enumerate(wrapped(name, WIDEST, SIZE, most=2)):
                block.text(-4.5, 7.5 + LINE * index, line)
                block.height = max(block.height, 10 + LINE * index)
            self._node_texts(block, node, 4.5, 7.5)
        if part is not None and loose and self.incoming[node] and self.outgoing[node]:
            block.text(4.5, block.height + 6.5, loose[0].code, bold=True, role="loose")
            block.height += LINE
        self._extend(block)
        style = self._style(node)
        block.shapes = [
            replace(shape, style=style)
            if isinstance(shape, Line) and shape.style == "plain" and not any(x for x, _ in shape.points)
            else shape
            for shape in block.shapes
        ]
        self._add(block)
        self.top_of[node] = self.bottom_of[node] = block.id

    def _extend(self, block: Block) -> None:
        """Carry the line of a block that grew through to its bottom."""
        if block.kind == "splice" and block.height > 10:
            block.shapes.append(Line(((0, 10), (0, block.height))))
        elif block.kind == "ground" and self.outgoing[block.lower if block.lower is not None else -1]:
            foot = 19.0 if not self.incoming[block.lower if block.lower is not None else -1] else 10.0
            if block.height > foot:
                block.shapes.append(Line(((0, foot), (0, block.height))))
        elif block.kind == "battery" and block.height > 18 and block.lower is not None and self.outgoing[block.lower]:
            block.shapes.append(Line(((0, 18), (0, block.height))))
        elif (
            block.kind not in ("splice", "ground", "battery", "net", "loose")
            and block.height > 10
            and block.lower is not None
        ):
            block.shapes.append(Line(((0, 10), (0, block.height))))

    def _node_texts(self, block: Block, node: int, x: float, y: float, *, further: float | None = None) -> None:
        point = self.view.coded.get(node)
        lines: list[tuple[str, bool, str]] = []
        if point is not None:
            lines.append((point.code, True, "code"))
        lines += [(line, False, "note") for line in self._also_lines(node)]
        for index, (text, bold, role) in enumerate(lines):
            block.text(further if further and index else x, y + LINE * index, text, bold=bold, role=role)
            block.height = max(block.height, y + LINE * index + 2.5)

    def _bar(self, block: Block, name: str) -> None:
        """A rail, a mass or the group of a joint connector: a bar across the line."""
        rails = self.circuit.typed.vehicle.rails
        words = f"rail {name}" if name in rails else name
        shown = wrapped(words, WIDEST, SIZE, most=2)
        for index, line in enumerate(shown):
            block.text(4, 6.5 + LINE * index, line, bold=True)
        top = LINE * len(shown) + 2.5
        half = max(12.0, block.right)
        block.shapes += [Line(((-half, top), (half, top)), "bar"), Line(((0, 0), (0, top + 3)))]
        block.left = block.right = half
        block.height = top + 3
        node = block.upper
        assumed = {end.node for end in (*self.circuit.sources, *self.circuit.grounds) if end.assumed}
        if node in assumed:
            block.text(-4, 6.5, "assumed", role="note")

    def _broken_block(self, block: Block, loose: list[LooseEnd], *, below: bool, words: str) -> None:
        block.kind = "loose"
        block.title = "; ".join(f"{one.code}: {one.message}" for one in loose)
        block.shapes += symbols.broken(below=below)
        block.height = 18
        codes = sorted({one.code for one in loose})
        for index, code in enumerate(codes):
            block.text(9.5, (14.5 if below else 8.5) + LINE * index, code, bold=True, role="loose")
            block.height = max(block.height, 18 + LINE * (index))
        for index, line in enumerate(wrapped(words, WIDEST, SIZE, most=2)):
            block.text(-9.5, (14.5 if below else 8.5) + LINE * index, line)
            block.height = max(block.height, 18 + LINE * index)
        if not below and block.height > 18:
            block.shapes.append(Line(((0, 18), (0, block.height))))

    # --- pins of boxes -----------------------------------------------------------------------------------------

    def _edge_of(self, node: int) -> str:
        """At which edge of its box a pin is: the top when all that comes from outside comes from above. A ground that a bridge leads to from another pin stays at the foot."""
        out, into = self._outside(self.outgoing[node]), self._outside(self.incoming[node])
        if out and not [step for step in into if not self._is_bridge(step)]:
            point = self.view.coded.get(node)
            return "bottom" if not into or (point is not None and point.row.level == "ground") else "top"
        if not (out or into):
            part = self.circuit.parts[self.circuit.node_parts[node]]
            declared = getattr(part.facts, "pins", {}).get(self.circuit.node_pins[node], "")
            return (
                "bottom"
                if declared.startswith("ground") or any(s.kind in INSIDE_MODULE for s in self.incoming[node])
                else "top"
            )
        return "top"

    def _pin_block(self, node: int | None, module: str, pin: str) -> Block:
        edge = self._edge_of(node) if node is not None else "top"
        part = self.circuit.parts[module]
        declared = (
            getattr(part.facts, "pins", {}).get(pin, "") if isinstance(getattr(part.facts, "pins", {}), dict) else ""
        )
        name = f"{module}.{pin}"
        block = Block(
            f"node-{slug(name)}", f"{name} {declared}".strip(), "pin", upper=node, lower=node, box=module, edge=edge
        )
        lines: list[tuple[str, bool, str]] = [(pin, True, "pin")]
        point = self.view.coded.get(node) if node is not None else None
        if point is not None:
            lines.append((point.code, True, "code"))
            lines += [(line, False, "note") for line in wrapped(also_words(point.also), 44, SIZE)]
        lines += [(line, True, "note") for line in self._marks(node, 44)]
        if module == self.view.module:
            lines += [(loose.code, True, "loose") for loose in self.view.loose_pins.get(pin, ())]
        height = LINE * len(lines) + 4
        for index, (text, bold, role) in enumerate(lines):
            y = 8.0 + LINE * index if edge == "top" else 7.5 + LINE * index
            block.text(0, y, text, bold=bold, role=role)
        block.height = height
        block.anchor_y = 0.0 if edge == "top" else height
        self._add(block)
        if node is not None:
            self.top_of[node] = self.bottom_of[node] = block.id
            self._join_outside(node, block)
        return block

    @staticmethod
    def _outside(steps: Iterable[Step]) -> list[Step]:
        return [step for step in steps if step.kind not in INSIDE_MODULE]

    def _is_bridge(self, step: Step) -> bool:
        """Whether a wire leads from one pin of a box to another one of it."""
        return self.circuit.node_parts[step.upper] == self.circuit.node_parts[step.lower]

    def _join_outside(self, node: int, pin: Block) -> None:
        """Where a wire leads on from a pin at the top (or another one to a pin at the foot), both are joined outside the box.

        A line has its ends at the top and at the foot of a block, and the inner end of a pin lies in the box: a bridge between two feeds would begin there, in the air.
        """
        if not self._outside((self.outgoing if pin.edge == "top" else self.incoming)[node]):
            return
        joint = Block(
            f"joint-{slug(self.circuit.node_names[node])}", pin.title, "joint", height=_JOINT, upper=node, lower=node
        )
        joint.shapes.append(Line(((0, 0), (0, _JOINT)), self._style(node)))
        self._add(joint)
        upper, lower = (joint, pin) if pin.edge == "top" else (pin, joint)
        self._join(upper.id, lower.id, node, None)
        self.pin_of[node] = pin.id
        self.top_of[node] = self.bottom_of[node] = joint.id

    def _boxes(self) -> None:
        """Name and, for the module itself, bus lines of each box."""
        names = dict.fromkeys(block.box for block in self.made.blocks.values() if block.box)
        if self.view.module not in names and self.share.number == 1:  # elsewhere a box without a pin would say nothing
            names[self.view.module] = None
        for module in names:
            part = self.circuit.parts[module]
            own = module == self.view.module
            self.made.boxes[module] = self.view.circuit.title(module)
            block = Block(f"name-{slug(module)}", self.made.boxes[module], "name", box=module, edge="name")
            size = 10.0 if own else 8.0
            y = size
            for line in wrapped(module, 80, size, bold=True, most=2):
                block.text(0, y, line, bold=True, size=size)
                y += size
            for line in wrapped(part.facts.name or part.kind, 70 if own else 50, SIZE, most=4):
                block.text(0, y, line)
                y += LINE
            for words in self._inside_words(module):
                for line in wrapped(words, 70, SIZE):
                    block.text(0, y, line, role="note")
                    y += LINE
            block.height = y - 4
            self._add(block)
        if self.share.number == 1 and bus_lines(self.view):
            self._bus_block()

    def _inside_words(self, module: str) -> list[str]:
        groups = getattr(self.circuit.parts[module].facts, "joined", ())
        shown = {self.circuit.node_pins[node] for node in self.nodes if self.circuit.node_parts[node] == module}
        return [f"joined inside: {' = '.join(group)}" for group in groups if any(pin in shown for pin in group)]

    def _bus_block(self) -> None:
        """Bus lines inside the module's right edge; the layout puts them against it."""
        lines = bus_lines(self.view)
        block = Block(
            "bus",
            "bus lines: " + "; ".join(f"pin {pin}" for _, pin, _, _, _ in lines),
            "bus",
            box=self.view.module,
            edge="bus",
        )
        shapes: list[Shape] = []
        width = y = 0.0
        for code, pin, declared, wire, far in lines:
            words = f"{wire.colour} {wire.size}".strip() if wire else "no wire"
            shapes.append(Text(-4, y + 7, code, SIZE, "end", True, "buscode"))
            label = f"pin {pin}  {words}"
            space = text_width(code, SIZE, bold=True) + 8
            shapes.append(Text(-space, y + 7, label, SIZE, "end", False, "wire"))
            second = cut_to(f"{declared or 'bus'}, to {far}", 118, SIZE)
            shapes.append(Text(-4, y + 15, second, SIZE, "end", False, "note"))
            shapes.append(Line(((0, y + 5), (6, y + 5)), "heavy"))
            width = max(width, space + text_width(label, SIZE), 4 + text_width(second, SIZE))
            y += 18
            if marks := mark(self.view.minding, f"{self.view.module}.{pin}"):
                shapes.append(Text(-4, y + 5, marks, SIZE, "end", True, "note"))
                width = max(width, 4 + text_width(marks, SIZE, bold=True))
                y += LINE
        block.height = y
        block.left = block.right = width / 2 + 2
        block.shapes = [moved_x(shape, width / 2 + 2) for shape in shapes]
        self._add(block)

    # --- loose ends and other pages ----------------------------------------------------------------------------

    def _page_references(self) -> None:
        """A frame for each line that comes from another page or goes there; the letter in it is the same on both."""
        for step in self.share.entering:
            if step.upper not in self.bottom_of:
                mark = self.share.marks[step.upper, self.share.number]
                block = self._page_block(f"{mark} from page {self.share.page_of[step.upper]}", into=True)
                self.bottom_of[step.upper] = block.id
        for node, page in sorted({(step.upper, self.share.page_of[step.lower]) for step in self.share.leaving}):
            block = self._page_block(f"{self.share.marks[node, page]} to page {page}", into=False)
            self._join(self.bottom_of[node], block.id, node, None)

    def _page_block(self, words: str, *, into: bool) -> Block:
        block = Block(f"page-{slug(words)}", words, "page", height=LINE + 10)
        half = text_width(words, SIZE) / 2 + 3
        top = 0.0 if into else 6.0
        foot = top + LINE + 3
        corner = -half, top
        block.shapes.append(Line((corner, (half, top), (half, foot), (-half, foot), corner)))
        block.shapes.append(Line(((0, foot), (0, block.height)) if into else ((0, 0), (0, top))))
        block.text(0, top + 8, words, role="page")
        block.left = block.right = half
        return self._add(block)

    def _loose(self) -> None:
        for node, loose in sorted(self.view.loose_at.items()):
            if node not in self.nodes or self.circuit.part_at(node) is None:
                continue
            above = not self.incoming[node]
            if not above and self.outgoing[node]:
                continue  # told in its block
            block = Block(f"loose-{slug(self.circuit.node_names[node])}", "", "loose")
            words = self.circuit.node_names[node]
            self._broken_block(block, loose, below=not above, words=words)
            self._add(block)
            if above:
                self._join(block.id, self.top_of[node], node, None)
            else:
                self._join(self.bottom_of[node], block.id, node, None)
        for pin, loose in sorted(self.view.loose_pins.items()):
            at = self.circuit.pins_of.get(self.view.module, {}).get(pin)
            if at is not None and at in self.nodes:
                if not self.incoming[at] and not self.outgoing[at]:
                    self._pin_end(self.top_of[at], f"{self.view.module}.{pin}", loose)
                continue
            if at is None and self.share.number == 1:
                pin_block = self._pin_block(None, self.view.module, pin)
                self._pin_end(pin_block.id, f"{self.view.module}.{pin}", loose)

        for number, one in enumerate(self.view.loose_rest if self.share.number == 1 else (), 1):
            block = Block(f"loose-end-{number}", "", "loose")
            self._broken_block(block, [one], below=False, words=one.at)
            self._add(block)

    def _pin_end(self, pin_block: str, name: str, loose: list[LooseEnd]) -> None:
        block = Block(f"loose-{slug(name)}", "", "loose")
        self._broken_block(block, loose, below=self.made.blocks[pin_block].edge == "bottom", words="")
        self._add(block)
        if self.made.blocks[pin_block].edge == "bottom":
            self._join(pin_block, block.id, -1, None)
        else:
            self._join(block.id, pin_block, -1, None)

    # --- edges -------------------------------------------------------------------------------------------------

    def _edges(self) -> None:
        outs: dict[str, int] = {}
        ins: dict[str, int] = {}
        for tail, head, _, _ in self.joints:
            outs[tail] = outs.get(tail, 0) + 1
            ins[head] = ins.get(head, 0) + 1
        placed: list[tuple[str, str, int, str, tuple[int, int]]] = []
        for tail, head, net, step in self.joints:
            title = f"{self._words(step)}" if step else ""
            ends = (step.upper, step.lower) if step else (net, net)
            if step is None or not (step.wires or step.marks):
                placed.append((tail, head, net, title, ends))
            elif ins[head] == 1:
                label_above(self.made.blocks[head], step, self._style(step.upper))
                placed.append((tail, head, net, title, ends))
            elif outs[tail] == 1:
                label_below(self.made.blocks[tail], step, self._style(step.upper))
                placed.append((tail, head, net, title, ends))
            else:
                upper, lower = self.circuit.node_names[step.upper], self.circuit.node_names[step.lower]
                block = Block(f"wire-{slug(upper)}--{slug(lower)}", title, "wire", height=0, between=ends)
                label_above(block, step, self._style(step.upper))
                self._add(block)
                placed.append((tail, block.id, net, title, ends))
                placed.append((block.id, head, net, title, ends))
        outs, ins = {}, {}
        for tail, head, *_ in placed:
            outs[tail] = outs.get(tail, 0) + 1
            ins[head] = ins.get(head, 0) + 1
        for tail, head, net, title, ends in placed:
            trunk = f"to-{head}" if outs[tail] == 1 and ins[head] > 1 else f"from-{tail}"
            self.made.edges.append(Edge(tail, head, net, trunk, title, ends))

    def _cut_leads(self) -> None:
        """A splice to which nothing comes from above, or from which nothing goes down, has no lead there: it would look like a wire that ends."""
        heads = {edge.head for edge in self.made.edges}
        tails = {edge.tail for edge in self.made.edges}
        for block in self.made.blocks.values():
            if block.kind != "splice":
                continue
            dot = next(shape for shape in block.shapes if isinstance(shape, Dot))
            top = dot.y if block.id not in heads else 0.0
            bottom = dot.y if block.id not in tails else block.height
            block.shapes = [
                shape
                for shape in (
                    within(shape, top, bottom) if isinstance(shape, Line) else shape for shape in block.shapes
                )
                if shape is not None
            ]

    def _words(self, step: Step) -> str:
        upper, lower = self.circuit.cavity_of(step.upper), self.circuit.cavity_of(step.lower)
        wires = ", ".join(wire.text for wire in step.wires) or "no wire"
        marks = f" over references {', '.join(step.marks)}" if step.marks else ""
        return f"{upper} to {lower}: {wires}{marks}"


__all__ = ["Block", "Blocks", "Edge", "Share", "blocks_of", "slug", "style_at", "whole"]
