"""From blocks to a picture: dot orders and spaces the blocks, then lines are led through the gaps between ranks at right angles.

The ranks are known beforehand (see `ranks`), and each line that passes a rank gets a place of its own in it; dot orders blocks and lines together
and gives each its x. Between two ranks every line that must move sideways gets a level of its own, so that lines cross but never lie on each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from tracer.plan.diagram import View
from tracer.report.diagram.blocks import Block, Blocks, Edge, slug, style_at
from tracer.report.diagram.engine import positions
from tracer.report.diagram.ranks import Unit, ranked
from tracer.report.diagram.shapes import Box, DiagramPage, Dot, Group, Line, Rect, Stretch, left_and_right, moved

_TRACK = 3.2  # between two lines that run side by side in a gap
_GAP = 2.6  # least height of a gap
_TIGHT = 0.74  # both are drawn in to this share where a page is otherwise a little too low
_SEP = 2.0  # least distance of two blocks side by side
_BESIDE = (
    8.5  # what the edge of a box takes beyond a name that stands beside its pins, with room for no line to lie on it
)
_LANE = 3.0  # width of a line that passes a rank


@dataclass
class _Gap:
    """What crosses from one rank to the next: for each trunk the x that come from above and those that go on below."""

    above: dict[str, list[float]] = field(default_factory=dict)
    below: dict[str, list[float]] = field(default_factory=dict)


@dataclass
class Placed:
    """A picture of natural size, before it is put on a page. What is too high is not drawn, and its width is near enough."""

    width: float
    height: float
    groups: list[Group]
    ranks: int = 0
    stretches: list[Stretch] = field(default_factory=list)


def place(
    view: View, made: Blocks, width: float, engine: str = "pure", height: float = float("inf"), *, anyhow: bool = False
) -> Placed:
    """Lay the blocks out, no wider than `width` points if that can be, and draw them; what is higher than `height` gets its lines closer together.

    What is too high even so is drawn `anyhow` only.
    """
    return _Layout(view, made, width, engine, height).placed(anyhow=anyhow)


class _Layout:
    def __init__(self, view: View, made: Blocks, width: float, engine: str, height: float) -> None:
        self.wanted = width
        self.most = height
        self.spacing = 1.0
        self.view = view
        self.blocks = made.blocks
        self.edges = made.edges
        self.boxes = made.boxes
        self.engine = engine
        self.names = {block: f"n{number}" for number, block in enumerate(self.blocks)}

    def placed(self, *, anyhow: bool) -> Placed:
        self._rank()
        self._lanes()
        self._order()
        self._gaps()
        self._heights()
        if self.total > self.most:
            self.spacing = _TIGHT
            self._heights()
        if self.total > self.most and not anyhow:
            left = min(self.x[block.id] - block.half for block in self.blocks.values())
            right = max(self.x[block.id] + block.half for block in self.blocks.values())
            return Placed(right - left, self.total, [], self.ranks)
        return self._set_out()

    # --- ranks -------------------------------------------------------------------------------------------------

    def _rank(self) -> None:
        units: dict[tuple[str, str], list[Block]] = {}
        for block in self.blocks.values():
            units.setdefault(self._unit(block), []).append(block)
        number = {unit: index for index, unit in enumerate(units)}
        of = {block.id: number[self._unit(block)] for block in self.blocks.values()}
        pairs = [(of[edge.tail], of[edge.head]) for edge in self.edges]
        for box in self.boxes:
            rows = [number[box, row] for row in ("top", "inside", "bottom") if (box, row) in number]
            pairs += pairwise(rows)
        pairs += [(of[upper], of[lower]) for upper, lower in self._to_the_foot()]
        trunks: dict[str, list[tuple[int, int]]] = {}
        for edge in self.edges:
            trunks.setdefault(edge.trunk, []).append((of[edge.tail], of[edge.head]))
        found = ranked(
            [
                Unit(sum(2 * block.half + _SEP for block in blocks), max(block.height for block in blocks))
                for blocks in units.values()
            ],
            pairs,
            list(trunks.values()),
            self.wanted,
        )
        # ranks that ended up empty would leave a hole in the page
        used = {rank: index for index, rank in enumerate(sorted(set(found)))}
        self.rank = {block: used[found[unit]] for block, unit in of.items()}
        self.ranks = len(used)

    def _unit(self, block: Block) -> tuple[str, str]:
        """What shares a rank with the block: the pins at one edge of a box, or what is inside it."""
        return (block.box, self._row(block)) if block.box else ("", block.id)

    def _row(self, block: Block) -> str:
        """The row of a box that a block is in. Name and bus lines are inside; in a box with pins at one edge only they stand beside these."""
        if block.edge in ("top", "bottom"):
            return block.edge
        edges = {other.edge for other in self.blocks.values() if other.box == block.box}
        return (
            "inside"
            if {"top", "bottom"} <= edges or not edges & {"top", "bottom"}
            else "top"
            if "top" in edges
            else "bottom"
        )

    def _head(self) -> str:
        return (
            f"digraph {{ splines=false; newrank=true; nodesep={_SEP / 72:.4f}; ranksep=0.1; "
            'node [shape=box, fixedsize=true, label=""]; edge [arrowhead=none];'
        )

    def _node(self, block: Block) -> str:
        return f"{self.names[block.id]} [width={2 * block.half / 72:.4f}, height={max(block.height, 4) / 72:.4f}];"

    def _members(self, box: str, edge: str) -> list[str]:
        return [self.names[block.id] for block in self.blocks.values() if block.box == box and block.edge == edge]

    def _clusters(self) -> list[str]:
        """Each box is a cluster: its pins in one rank at the top and one at the foot, its name first, its bus lines last."""
        lines = []
        for number, box in enumerate(self.boxes):
            top, bottom = self._members(box, "top"), self._members(box, "bottom")
            inside = self._members(box, "inside")
            name, bus = self._members(box, "name"), self._members(box, "bus")
            lines.append(f"subgraph cluster_{number} {{ margin=6;")
            lines.append(" ".join(f"{one};" for one in (*top, *bottom, *inside, *name, *bus)))
            for row in (top, bottom):
                if row:
                    lines.append(f"{{ rank=same; {' '.join(f'{one};' for one in row)} }}")
            beside = inside if top and bottom else top or bottom
            lines.append(f"{{ rank=same; {' '.join(f'{one};' for one in (*name, *beside, *bus))} }}")
            for one in beside:
                lines += [f"{first}->{one} [style=invis, weight=1];" for first in name]
                lines += [f"{one}->{last} [style=invis, weight=1];" for last in bus]
            lines += [f"{first}->{last} [style=invis, weight=1];" for first in name for last in bus]
            lines.append("}")
        return lines

    def _to_the_foot(self) -> list[tuple[str, str]]:
        """What begins on the ground side with nothing above it is put below the module."""
        members = [block.id for block in self.blocks.values() if block.box == self.view.module]
        if not members:  # the module is drawn on another page
            return []
        # dot puts what nothing leads to at the top of the page: its line would go round the module on its way to the ground points.
        foot = [one for one in members if self.blocks[one].edge == "bottom"] or members
        heads = {edge.head for edge in self.edges}
        return [
            (foot[0], block.id)
            for block in self.blocks.values()
            if block.id not in heads
            and not block.box
            and block.upper is not None
            and block.upper not in self.view.supply_side
            and self.view.is_by_ground(block.upper)
        ]

    # --- lines through ranks -------------------------------------------------------------------------------------

    def _lanes(self) -> None:
        """For each trunk the ranks in which it needs a place, and for each edge how it goes."""
        self.lane: dict[tuple[str, int], str] = {}
        reach: dict[str, tuple[int, int]] = {}
        for edge in self.edges:
            tail, head = self.rank[edge.tail], self.rank[edge.head]
            if tail >= head:
                continue
            low, high = reach.get(edge.trunk, (tail + 1, head - 1))
            reach[edge.trunk] = min(low, tail + 1), max(high, head - 1)
        # One lane for all edges of a trunk, as far as the farthest of them goes: they are one conductor, and one line.
        for trunk, (low, high) in reach.items():
            for rank in range(low, high + 1):
                self.lane[trunk, rank] = f"d{len(self.lane)}"
        for edge in self.edges:  # against the order: back up beside everything
            tail, head = self.rank[edge.tail], self.rank[edge.head]
            if tail >= head:
                for rank in range(head, tail + 1):
                    self.lane.setdefault((_back(edge), rank), f"d{len(self.lane)}")

    def _trunk(self, edge: Edge) -> str:
        """Whose way an edge takes: that of its trunk, or one of its own where it goes up."""
        return edge.trunk if self.rank[edge.tail] < self.rank[edge.head] else _back(edge)

    def _joints(self, edge: Edge) -> list[tuple[int, str | None, str | None]]:
        """The gaps that an edge crosses: gap, name of what it comes from above, of what it goes to below (a block id or a lane)."""
        tail, head = self.rank[edge.tail], self.rank[edge.head]
        if tail >= head:
            # Out below its tail and at once into a lane beside it, up past the tail's own rank and the head's, and down into the head from above.
            trunk = _back(edge)
            joints: list[tuple[int, str | None, str | None]] = [
                (tail, edge.tail, None),
                (tail, self.lane[trunk, tail], None),
            ]
            joints += [(r, self.lane[trunk, r], self.lane[trunk, r + 1]) for r in range(head, tail)]
            return [*joints, (head - 1, None, self.lane[trunk, head]), (head - 1, None, edge.head)]
        joints = []
        before = edge.tail
        for rank in range(tail + 1, head):
            lane = self.lane[edge.trunk, rank]
            joints.append((rank - 1, before, lane))
            before = lane
        return [*joints, (head - 1, before, edge.head)]

    def _order(self) -> None:
        lines = [self._head()]
        lines += [self._node(block) for block in self.blocks.values()]
        lines += [f"{lane} [width={_LANE / 72:.4f}, height=0.05];" for lane in self.lane.values()]
        by_rank: dict[int, list[str]] = {rank: [f"r{rank}"] for rank in range(self.ranks)}
        for block, rank in self.rank.items():
            by_rank[rank].append(self.names[block])
        for (_, rank), lane in self.lane.items():
            by_rank[rank].append(lane)
        # a column of invisible points, one for each rank, holds the ranks one below the other where nothing else joins them
        lines += [f"r{rank} [width=0.01, height=0.01, style=invis];" for rank in range(self.ranks)]
        lines += [f"r{rank}->r{rank + 1} [style=invis, weight=0];" for rank in range(self.ranks - 1)]
        lines.append(
            "subgraph cluster_all { margin=0;"
        )  # dot draws a cluster together, so the page gets no wider than need be
        lines += [f"{one};" for names in by_rank.values() for one in names]
        lines += [*self._clusters(), "}"]
        lines += [f"{{ rank=same; {' '.join(f'{one};' for one in names)} }}" for names in by_rank.values()]
        joined: set[tuple[str, str]] = set()
        for edge in self.edges:
            for _, above, below in self._joints(edge):
                if above is None or below is None:
                    continue
                pair = (self.names.get(above, above), self.names.get(below, below))
                if pair not in joined:
                    joined.add(pair)
                    # a bend in the middle of a long line is seen most, one beside a block least: lane to lane is pulled straight hardest
                    straight = (above in self.names) + (below in self.names)
                    lines.append(f"{pair[0]}->{pair[1]} [weight={(12, 6, 3)[straight]}];")
        found = positions("\n".join([*lines, "}"]), self.engine)
        self.x = {block: found[name][0] for block, name in self.names.items()}
        self.x |= {lane: found[lane][0] for lane in self.lane.values()}

    # --- gaps ----------------------------------------------------------------------------------------------------

    def _gaps(self) -> None:
        # A gap above the first rank as well: a line that goes up comes into it before it goes down into its head.
        self.gap = {number: _Gap() for number in range(-1, self.ranks)}
        self.net: dict[str, int] = {}
        for edge in self.edges:
            trunk = self._trunk(edge)
            self.net[trunk] = edge.net
            for gap, above, below in self._joints(edge):
                for side, name in ((self.gap[gap].above, above), (self.gap[gap].below, below)):
                    if name is not None and self.x[name] not in side.setdefault(trunk, []):
                        side[trunk].append(self.x[name])
        self.track = {number: _tracks(one) for number, one in self.gap.items()}

    def _heights(self) -> None:
        # for each rank with pins of a box: how much of them is over the edge of that box, and how much under it
        anchored: dict[int, tuple[float, float]] = {}
        height = [4.0] * self.ranks
        for block in self.blocks.values():
            rank = self.rank[block.id]
            if block.edge in ("top", "bottom"):
                over, under = anchored.get(rank, (0.0, 0.0))
                anchored[rank] = max(over, block.anchor_y), max(under, block.height - block.anchor_y)
        for block in self.blocks.values():
            rank = self.rank[block.id]
            if block.edge in ("name", "bus") and self._row(block) == "top":
                over, under = anchored.get(rank, (0.0, 0.0))
                anchored[rank] = over, max(under, block.height + _BESIDE)
            elif block.edge in ("name", "bus") and self._row(block) == "bottom":
                over, under = anchored.get(rank, (0.0, 0.0))
                anchored[rank] = max(over, block.height + _BESIDE), under
            elif block.edge not in ("top", "bottom"):
                height[rank] = max(height[rank], block.height)
        # Pins hang on the edge of their box, not on their middle: what is over and under that edge adds up, whichever pin each comes from.
        for rank, (over, under) in anchored.items():
            height[rank] = max(height[rank], over + under)
        self.anchored = anchored
        self.rank_top: list[float] = []
        self.gap_top: dict[int, float] = {-1: 0.0}
        y = self._gap_height(-1)
        for rank in range(self.ranks):
            self.rank_top.append(y)
            y += height[rank]
            self.gap_top[rank] = y
            y += self._gap_height(rank)
        self.rank_height = height
        self.total = y

    def _gap_height(self, number: int) -> float:
        tracks = 1 + max(self.track[number].values(), default=-1)
        if number == -1 and not tracks:
            return 0.0
        return self.spacing * (_GAP + _TRACK * max(0, tracks - 1) + (1.6 if tracks else 0.0))

    def _top(self, block: Block) -> float:
        rank = self.rank[block.id]
        top = self.rank_top[rank]
        if block.edge in ("top", "bottom"):
            return top + self.anchored[rank][0] - block.anchor_y
        if block.edge in ("name", "bus") and self._row(block) == "top":
            return top + self.anchored[rank][0] + 3
        if block.edge in ("name", "bus") and self._row(block) == "bottom":
            return top + self.anchored[rank][0] - block.height - 2
        return top + (self.rank_height[rank] - block.height) / 2

    # --- setting out ----------------------------------------------------------------------------------------------

    def _set_out(self) -> Placed:
        groups = [self._box(box) for box in self.boxes]
        for block in self.blocks.values():
            dx, dy = self.x[block.id], self._top(block)
            if block.edge == "bus":  # against the right edge of its module
                dx = self._sides([b for b in self.blocks.values() if b.box == block.box])[1] - block.right
            shapes = [moved(shape, dx, dy) for shape in block.shapes]
            groups.append(Group(block.id, block.title, block.kind, shapes, block.nodes))
        # Boxes at the back, then lines, then symbols with their texts: what is painted later lies in front.
        groups[len(self.boxes) : len(self.boxes)] = self._lines()
        left = min((left_and_right(shape)[0] for group in groups for shape in group.shapes), default=0.0)
        right = max((left_and_right(shape)[1] for group in groups for shape in group.shapes), default=0.0)
        for group in groups:
            group.shapes = [moved(shape, -left, 0) for shape in group.shapes]
        stretches = [Stretch(edge.between, tuple(self._stretch(edge))).moved(-left, 0) for edge in self.edges]
        return Placed(right - left, self.total, groups, self.ranks, stretches)

    def _stretch(self, edge: Edge) -> Iterator[Line]:
        """The pieces of the drawn lines that one edge takes: through each gap, and along its lanes."""
        trunk = self._trunk(edge)
        gaps: dict[int, tuple[set[float], set[float]]] = {}
        lanes: set[str] = set()
        for number, above, below in self._joints(edge):
            for name, xs in zip((above, below), gaps.setdefault(number, (set(), set())), strict=True):
                if name is not None:
                    xs.add(self.x[name])
                    lanes.add(name)
        for number, (over, under) in gaps.items():
            top, bottom = self.gap_top[number], self.gap_top[number] + self._gap_height(number)
            y = self._track_y(number, trunk)
            yield from (Line(((x, self._from(number, x, top)), (x, y))) for x in sorted(over))
            yield from (Line(((x, y), (x, self._to(number, x, bottom)))) for x in sorted(under))
            yield Line(((min(over | under), y), (max(over | under), y)))
        for (of, rank), lane in self.lane.items():
            if of == trunk and lane in lanes:
                yield Line(((self.x[lane], self.rank_top[rank]), (self.x[lane], self.gap_top[rank])))

    def _track_y(self, gap: int, trunk: str) -> float:
        """The height at which a trunk moves sideways in a gap."""
        return self.gap_top[gap] + self.spacing * (_GAP / 2 + 1 + _TRACK * self.track[gap].get(trunk, 0))

    def _box(self, box: str) -> Group:
        members = [block for block in self.blocks.values() if block.box == box]
        tops = [self._top(b) + b.anchor_y for b in members if b.edge == "top"]
        feet = [self._top(b) + b.anchor_y for b in members if b.edge == "bottom"]
        top = min(tops) if tops else min(self._top(b) for b in members) - 3
        foot = max(feet) if feet else max(self._top(b) + b.height for b in members) + 3
        left, right = self._sides(members)
        shape = Rect(Box(left, top, right - left, foot - top), "box" if box == self.view.module else "plain")
        return Group(f"module-{slug(box)}", self.boxes[box], "module", [shape])

    def _sides(self, members: list[Block]) -> tuple[float, float]:
        return min(self.x[b.id] - b.half for b in members) - 1, max(self.x[b.id] + b.half for b in members) + 1

    def _lines(self) -> list[Group]:
        """The lines: in gaps with their levels, and straight through the ranks that they pass."""
        groups: dict[str, Group] = {}
        titles: dict[str, list[str]] = {}
        for edge in self.edges:
            for name in (edge.trunk, _back(edge)):
                titles.setdefault(name, []).append(edge.title)

        def group(trunk: str) -> Group:
            if trunk not in groups:
                title = (
                    "; ".join(dict.fromkeys(one for one in titles[trunk] if one))
                    or "no wire between: joined inside a panel or bolted"
                )
                groups[trunk] = Group(f"line-{trunk}", title, "line")
            return groups[trunk]

        for number, gap in self.gap.items():
            top, bottom = self.gap_top[number], self.gap_top[number] + self._gap_height(number)
            for trunk in dict.fromkeys((*gap.above, *gap.below)):
                style = self._style(trunk)
                above, below = sorted(gap.above.get(trunk, [])), sorted(gap.below.get(trunk, []))
                shapes = group(trunk).shapes
                xs = sorted({*above, *below})
                if (
                    len(xs) == 1 and above and below
                ):  # nothing moves sideways: straight through, and no dot, as nothing meets
                    shapes.append(
                        Line(((xs[0], self._from(number, xs[0], top)), (xs[0], self._to(number, xs[0], bottom))), style)
                    )
                    continue
                y = self._track_y(number, trunk)
                for x in above:
                    shapes.append(Line(((x, self._from(number, x, top)), (x, y)), style))
                for x in below:
                    shapes.append(Line(((x, y), (x, self._to(number, x, bottom))), style))
                shapes.append(Line(((xs[0], y), (xs[-1], y)), style))
                for x in xs:
                    # a dot is a joint: three ends or more on one spot. Two are a corner, and where lines only cross there is none
                    meeting = (x in above) + (x in below) + (x > xs[0]) + (x < xs[-1])
                    if meeting >= 3:
                        shapes.append(Dot(x, y, 1.3))
        for (trunk, rank), lane in self.lane.items():
            x = self.x[lane]
            shape = Line(((x, self.rank_top[rank]), (x, self.gap_top[rank])), self._style(trunk))
            group(trunk).shapes.append(shape)
        return list(groups.values())

    def _style(self, trunk: str) -> str:
        net = self.net[trunk]
        return style_at(self.view, net) if net >= 0 else "plain"

    def _from(self, gap: int, x: float, default: float) -> float:
        """Where a line that comes from above begins: at the foot of its block."""
        found = self._ends.get((gap, "foot", x))
        return default if found is None else found

    def _to(self, gap: int, x: float, default: float) -> float:
        found = self._ends.get((gap + 1, "top", x))
        return default if found is None else found

    @cached_property
    def _ends(self) -> dict[tuple[int, str, float], float]:
        """By rank and x, the top and the foot of the block there: it may be lower than its rank, and a line then runs on into the rank to meet it."""
        found: dict[tuple[int, str, float], float] = {}
        for block in self.blocks.values():
            rank, x, top = self.rank[block.id], self.x[block.id], self._top(block)
            found[rank, "top", x], found[rank, "foot", x] = top, top + block.height
        return found


def _tracks(gap: _Gap) -> dict[str, int]:
    """A level for each trunk that moves sideways; where one leaves upwards on the x at which another leaves downwards, it lies above it."""
    spans: dict[str, tuple[float, float]] = {}
    for trunk in dict.fromkeys((*gap.above, *gap.below)):
        # What goes straight through needs no level; what only ends on one side does, to turn in.
        xs = [*gap.above.get(trunk, []), *gap.below.get(trunk, [])]
        if len(set(xs)) > 1 or not (gap.above.get(trunk) and gap.below.get(trunk)):
            spans[trunk] = min(xs), max(xs)
    # Two trunks on one x, one from above and one from below, would lie on each other between their levels and read as one wire: the upper must bend off first.
    over: dict[str, set[str]] = {trunk: set() for trunk in spans}  # what must lie above it
    for first in spans:
        for second in spans:
            if first != second and any(
                abs(a - b) < 1.5 for a in gap.above.get(first, []) for b in gap.below.get(second, [])
            ):
                over[second].add(first)
    left = sorted(spans, key=lambda trunk: (spans[trunk], trunk))
    track: dict[str, int] = {}
    level = 0
    while left:
        # each waiting for another goes in a circle: one is let through, since a line that touches is still better than none
        ready = [trunk for trunk in left if not over[trunk] & set(left)] or left[:1]
        end = float("-inf")
        for trunk in ready:  # those that do not overlap sideways share a level, as lanes of one height
            if spans[trunk][0] > end + 2:
                track[trunk] = level
                end = spans[trunk][1]
        left = [trunk for trunk in left if trunk not in track]
        level += 1
    return track


def _back(edge: Edge) -> str:
    """The trunk of an edge that goes up, against the order of the ranks: it shares its way with no other."""
    return f"back-{edge.tail}--{edge.head}"


__all__ = ["DiagramPage", "Placed", "place"]
