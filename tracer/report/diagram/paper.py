"""From a module's list to pages: what goes on which page, the title block, the paper.

A module is drawn on one page where type of 7 points allows it. Otherwise its rows are dealt out over pages in their order, each supply with the side chains
that it needs. A point is drawn on one page only; a line that goes on elsewhere ends in a frame with a letter, and the other page has the same letter.
What needs more pages, or more tries at placing it, than are worth having is listed point by point (`listed`): nothing is left out, and it says so.
"""

from __future__ import annotations

import string
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count, product
from math import ceil

from tracer.plan.diagram import PanelOnPage, View
from tracer.plan.words import NO_PLACE
from tracer.report.completeness import loose_words
from tracer.report.diagram.blocks import Blocks, Share, blocks_of, whole
from tracer.report.diagram.layout import Placed, place
from tracer.report.diagram.listed import WHY, items_of
from tracer.report.diagram.shapes import (
    SMALLEST_PT,
    Box,
    DiagramPage,
    Group,
    Line,
    Rect,
    Shape,
    Text,
    moved,
    wrapped,
)
from tracer.report.fonts import text_width
from tracer.report.layout import elsewhere_words
from tracer.report.minding import first_words, lines
from tracer.report.words import LETTERS
from tracer.trace.minding import CAUTION, HAZARD, NOTE

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN = 18.0  # about 6 mm, what most printers need
LARGEST = 1.6  # a small module is not drawn larger than this
_LINE = 8.6
LEVEL_WORDS = {"heavy": "supply or ground is there", "dashed": "dead", "dashdot": "depends, or not known"}  # by style
_MOST_PAGES = 24  # what needs more is listed
_MOST_PLACED = 80_000  # work over all tries at all pages: what needs more is listed
_TRY = 1_000  # work of one try, besides its lines times its ranks
_MOST_TITLE = 0.5  # share of a page that the title block may take: where its loose ends need more, all is listed
_DEALS = 3  # numbers of pages tried before pages that are too full are split one by one
_GUTTER = 14.0  # between the two columns of a list


@dataclass(frozen=True, slots=True)
class Paper:
    """How the pages are to be: paper, engine of the layout, and the date printed on them."""

    size: str = "a4"
    engine: str = "pure"
    date: str = ""


class _TooLarge(Exception):
    """More to place than a diagram is worth."""


def pages_of(view: View, paper: Paper) -> list[DiagramPage]:
    """The pages of a module's diagram.

    Raises
    ------
    NoEngine : the layout engine cannot be run
    ValueError : no such paper
    """
    if paper.size not in PAPERS:
        raise ValueError(f"paper must be one of {', '.join(PAPERS)}, is {paper.size!r}")
    try:
        return _Dealer(view, paper).pages()
    except _TooLarge:
        return _listed(view, paper)


class _Dealer:
    """Deals a module out over pages and draws them; counts what it places."""

    def __init__(self, view: View, paper: Paper) -> None:
        self.view = view
        self.paper = paper
        self.left = _MOST_PLACED

    def pages(self) -> list[DiagramPage]:
        """One page where all fits it; else the fewest of a few deals; else the last of these with the pages split that are too full.

        Raises
        ------
        _TooLarge : that takes too many pages, or too many tries
        """
        width, height = PAPERS[self.paper.size]
        _, block_height = _title_block(self.view, self.paper, 1, 1, width - 2 * MARGIN)
        if block_height > _MOST_TITLE * height or len(self.view.steps) > _MOST_PLACED:
            raise _TooLarge
        share = whole(self.view)
        made = blocks_of(self.view, share)
        fitted = self._fitted(share, made, 1, 1)
        if fitted is not None:
            return [fitted]
        units = _units(self.view)
        if not units:  # nothing but loose ends, and too many for a title block
            raise _TooLarge
        # No deal on fewer pages can succeed: the symbols alone have that area.
        least = max(2, ceil(_area(made) / ((width - 2 * MARGIN) * (height - 2 * MARGIN))))
        dealt: list[tuple[int, ...]] = []
        for pages in range(least, least + _DEALS):
            dealt = _dealt(units, pages)
            printed, full = self._dealt_out(dealt, every=False)
            if not full:
                return printed
        while True:
            printed, full = self._dealt_out(dealt, every=True)
            if not full:
                return printed
            dealt = [
                half for number, page in enumerate(dealt) for half in (_halves(page) if number in full else [page])
            ]

    def _dealt_out(self, dealt: list[tuple[int, ...]], *, every: bool) -> tuple[list[DiagramPage], set[int]]:
        """The pages, and which of them are too full; `every`: all of these, not only the first."""
        if len(dealt) > _MOST_PAGES:
            raise _TooLarge
        printed, full = [], set()
        for number, share in enumerate(_shares(self.view, dealt)):
            finished = self._fitted(share, blocks_of(self.view, share), share.number, len(dealt))
            if finished is not None:
                printed.append(finished)
                continue
            full.add(number)
            if not every:
                break
        return printed, full

    def _fitted(self, share: Share, made: Blocks, number: int, pages: int) -> DiagramPage | None:
        """The page, upright or lying as fits better; None when it does not fit. A point alone gets paper as large as it needs."""
        short, long = PAPERS[self.paper.size]
        alone = len(share.nodes) == 1
        best: tuple[float, Placed, float, float, list[Shape], float] | None = None
        tries = [
            (short, long, 0.7),
            (short, long, 0.77),
            (long, short, 0.8),
            (short, long, 0.63),
            (short, long, 0.85),
            (long, short, 1.0),
        ]
        wanted: set[float] = set()
        area = _area(made)
        # How wide it is laid out hangs on a wish: narrow and high, or wide and low. The page and the wish that allow the largest type win, the likely ones
        # first.
        for width, height, wide in tries:
            block, block_height = _title_block(self.view, self.paper, number, pages, width - 2 * MARGIN)
            room_x, room_y = width - 2 * MARGIN, height - 2 * MARGIN - block_height - 6
            if room_x * wide in wanted:
                continue
            wanted.add(room_x * wide)
            if area > room_x * room_y and not alone:
                continue  # the symbols alone need more than there is
            if self.left < 0:
                raise _TooLarge
            placed = place(self.view, made, room_x * wide, self.paper.engine, room_y, anyhow=alone)
            self.left -= _TRY + len(made.edges) * placed.ranks
            scale = min(LARGEST, room_x / placed.width, room_y / placed.height)
            if best is None or scale > best[0]:
                best = scale, placed, width, height, block, block_height
            if scale >= 1.0:
                break
            if placed.width * placed.height > 1.6 * room_x * room_y:
                break  # far too large: no other proportions will do
        if best is None:
            return None
        scale, placed, width, height, block, block_height = best
        if scale < 1.0:
            if not alone:
                return None
            width = max(width, placed.width + 2 * MARGIN)
            block, block_height = _title_block(self.view, self.paper, number, pages, width - 2 * MARGIN)
            height = max(height, placed.height + 2 * MARGIN + block_height + 6)
            scale = 1.0
        finished = DiagramPage(width, height, _page_title(self.view, number, pages))
        left = MARGIN + (width - 2 * MARGIN - placed.width * scale) / 2
        for group in placed.groups:
            finished.groups.append(replace(group, shapes=[moved(shape, left, MARGIN, scale) for shape in group.shapes]))
        finished.stretches = [one.moved(left, MARGIN, scale) for one in placed.stretches]
        _add_title_block(finished, block, block_height)
        return finished


def _area(made: Blocks) -> float:
    """What the symbols with their texts cover; lines come on top of it."""
    return sum(2 * block.half * block.height for block in made.blocks.values())


def _halves(page: tuple[int, ...]) -> list[tuple[int, ...]]:
    middle = len(page) // 2
    return [page[:middle], page[middle:]]


def _listed(view: View, paper: Paper) -> list[DiagramPage]:
    """All points in words, in two columns."""
    width, height = PAPERS[paper.size]
    column = (width - 2 * MARGIN - _GUTTER) / 2
    _, reserved = _title_block(view, paper, 2, 999, width - 2 * MARGIN, listed=True)
    room = height - 2 * MARGIN - reserved - 6
    pages: list[list[Group]] = [[]]
    x = y = 0.0
    for item in items_of(view, _units(view), column):
        if y + item.height > room:
            y = 0.0
            x = 0.0 if x else column + _GUTTER
            if not x:
                pages.append([])
        group = item.group
        shapes = [moved(shape, MARGIN + x, MARGIN + y) for shape in group.shapes]
        pages[-1].append(Group(group.id, group.title, group.kind, shapes))
        y += item.height
    printed = []
    for number, groups in enumerate(pages, 1):
        finished = DiagramPage(width, height, _page_title(view, number, len(pages)), groups)
        block, block_height = _title_block(view, paper, number, len(pages), width - 2 * MARGIN, listed=True)
        _add_title_block(finished, block, block_height)
        printed.append(finished)
    return printed


# --- which page ----------------------------------------------------------------------------------------------------


def _units(view: View) -> list[tuple[int, ...]]:
    """The nodes of each row that no row before it has, in the order in which rows go onto pages; at the end what leads to loose ends only."""
    rows = {row.code: row for row in view.report.rows}
    order: dict[str, None] = {}

    def take(code: str) -> None:
        if code not in order and code in rows:
            order[code] = None
            for need in rows[code].needs:
                take(need)

    for code in rows:
        take(code)
    seen: set[int] = set()
    units = []
    for code in order:
        own = tuple(node for node in view.nodes_of_row.get(code, ()) if node in view.order and node not in seen)
        seen.update(own)
        if own:
            units.append(own)
    left = sorted(set(view.order) - seen, key=lambda node: (view.order[node], node))
    beside: dict[int, set[int]] = {}
    for step in view.steps:
        beside.setdefault(step.upper, set()).add(step.lower)
        beside.setdefault(step.lower, set()).add(step.upper)
    while left:  # each with the row it hangs on
        for node in left:
            home = next((n for n, unit in enumerate(units) if beside.get(node, set()) & set(unit)), None)
            if home is not None:
                units[home] = (*units[home], node)
                left.remove(node)
                break
        else:
            units.append((left.pop(0),))
    return units


def _dealt(units: list[tuple[int, ...]], pages: int) -> list[tuple[int, ...]]:
    """The units on so many pages, about equally full; a unit is cut only where one is larger than a page's share by itself."""
    total = sum(len(unit) for unit in units)
    share = max(1, -(-total // pages))
    pieces: list[tuple[int, ...]] = []
    for unit in units:
        pieces += [unit[i : i + share] for i in range(0, len(unit), share)] if len(unit) > 1.2 * share else [unit]
    dealt: list[tuple[int, ...]] = []
    page: tuple[int, ...] = ()
    for piece in pieces:
        if page and len(page) + len(piece) / 2 > share:
            dealt.append(page)
            page = ()
        page = (*page, *piece)
    return [*dealt, page] if page else dealt


def _shares(view: View, dealt: list[tuple[int, ...]]) -> list[Share]:
    page_of = {node: number for number, page in enumerate(dealt, 1) for node in page}
    crossing = [step for step in view.steps if page_of[step.upper] != page_of[step.lower]]
    letters = _letters()
    marks: dict[tuple[int, int], str] = {}
    for step in crossing:
        key = step.upper, page_of[step.lower]
        if key not in marks:
            marks[key] = next(letters)
    shares = []
    for number, page in enumerate(dealt, 1):
        own = tuple(step for step in view.steps if page_of[step.upper] == page_of[step.lower] == number)
        entering = tuple(step for step in crossing if page_of[step.lower] == number)
        leaving = tuple(step for step in crossing if page_of[step.upper] == number)
        shares.append(Share(frozenset(page), own, entering, leaving, marks, page_of, number))
    return shares


def _letters() -> Iterator[str]:
    """A, B ... Z, AA, AB ..."""
    for length in count(1):
        for letters in product(string.ascii_uppercase, repeat=length):
            yield "".join(letters)


# --- onto the paper ------------------------------------------------------------------------------------------------


def _page_title(view: View, number: int, pages: int) -> str:
    return f"{view.report.vehicle}: {view.module}" + (f", page {number} of {pages}" if pages > 1 else "")


def _add_title_block(finished: DiagramPage, block: list[Shape], block_height: float) -> None:
    top = finished.height - MARGIN - block_height
    finished.groups.append(Group("title-block", "Title block", "title", [moved(shape, MARGIN, top) for shape in block]))


def _title_block(
    view: View, paper: Paper, number: int, pages: int, width: float, *, listed: bool = False
) -> tuple[list[Shape], float]:
    """The title block at (0, 0), and its height; of pages that are `listed`, where loose ends are in the list."""
    report = view.report
    shapes: list[Shape] = []
    y = 3.0

    def line(
        text: str, *, size: float = SMALLEST_PT, bold: bool = False, role: str = "title", indent: float = 0.0
    ) -> None:
        nonlocal y
        for one in wrapped(text, width - 10 - indent, size, bold=bold):
            y += size + 0.9
            shapes.append(Text(5 + indent, y - 0.9, one, size, "start", bold, role))

    status = report.completeness.word + ("" if report.complete else f": {_why(view)}")
    right = f"page {number} of {pages}    {paper.date}".strip()
    right_width = text_width(right, 8)
    status_width = text_width(status, 10, bold=True)
    name = f"{report.module}  {report.name or ''}".strip()
    names = wrapped(name, width - right_width - status_width - 60, 11, bold=True, most=2)
    shapes.append(Text(width - 5, 14, right, 8, "end", False, "title"))
    shapes.append(Text(width - 25 - right_width - status_width / 2, 14, status, 10, "middle", True, "status"))
    shapes.append(
        Rect(
            Box(width - 29 - right_width - status_width, 4, status_width + 8, 13.5),
            "bar" if not report.complete else "plain",
        )
    )
    for index, one in enumerate(names):
        shapes.append(Text(5, 14 + 12 * index, one, 11, "start", True, "title"))
    y = 18 + 12 * (len(names) - 1)
    shapes.append(Line(((0, y), (width, y)), "hair"))
    y += 1
    place = f"Place: {report.place or NO_PLACE}" + (f" ({report.access})" if report.access else "")
    noted = [one.rstrip(".") for one in lines(view.minding, NOTE)] if number == 1 else []
    notes = f" Notes: {'. '.join(noted)}." if noted else ""
    panels = "".join(f" {_panel_words(panel)}." for panel in view.panels)
    line(f"{report.vehicle}. {place}. From sheets {', '.join(report.sheets) or 'none'}.{panels}{notes}")
    if report.completeness.rests_on:
        line(f"Rests on: {', and '.join(report.completeness.conditions)}.", bold=True)
    if words := first_words(view.minding):
        line(words, bold=True)
    for words in lines(view.minding, HAZARD, CAUTION) if number == 1 else ():
        line(words)
    if listed:
        line(WHY, bold=True)
    if report.loose_elsewhere:
        line(elsewhere_words(report.loose_elsewhere))
    y += 1
    shapes.append(Line(((0, y), (width, y)), "hair"))
    y += 1.5
    shapes.extend(_key_legend(view, 5, y + 6.5, listed=listed))
    y += _LINE
    line(
        f"{LETTERS}: rows of tracer supplies; after the dot the point's number in it, as on the worksheet. "
        "A point is named by its first row; also: the others. "
        + ("" if listed else "Beside a line: colour left, size right. 5>12: cavity 5 of the half above, 12 below. ")
        + "The maker's procedure, local codes and licensed practice come first."
    )
    if report.loose_ends and not listed:
        y += 1
        shapes.append(Line(((0, y), (width, y)), "hair"))
        y += 1.5
        line("LOOSE ENDS" + ("" if number == 1 else ": listed on page 1"), bold=True)
        for loose in report.loose_ends if number == 1 else ():
            line(f"{loose.code} {loose.message}.", role="loose")
    y += 2
    shapes.append(Rect(Box(0, 0, width, y), "plain"))
    return shapes, y


def _panel_words(panel: PanelOnPage) -> str:
    """'FPE Engine bay fuse panel, left inner wing: F40, F50'."""
    where = f", {panel.place or NO_PLACE}"
    return f"{panel.name}{f' {panel.title}' if panel.title else ''}{where}: {', '.join(panel.labels)}"


def _why(view: View) -> str:
    completeness = view.report.completeness
    if completeness.state != "not complete":
        return "see below"
    return loose_words(completeness, where=False)


def _key_legend(view: View, x: float, y: float, *, listed: bool) -> list[Shape]:
    """What the line styles mean in the key state asked for."""
    keys = ", ".join(view.report.keys)
    if view.key is None or listed:
        words = f"Key states: {keys}. No key state is shown here" + ("." if listed else ": all lines are drawn alike.")
        if view.key is not None:
            words = f"Key state {view.key} (of {keys}): behind each point stands whether its supply, or its ground, is live, dead or depends there."
        return [Text(x, y, words, SMALLEST_PT, role="legend")]
    shapes: list[Shape] = []
    first = f"Key state {view.key} (of {keys}):"
    shapes.append(Text(x, y, first, SMALLEST_PT, "start", True, "legend"))
    x += text_width(first, SMALLEST_PT, bold=True) + 8
    for style, words in LEVEL_WORDS.items():
        shapes.append(Line(((x, y - 2.5), (x + 26, y - 2.5)), style))
        shapes.append(Text(x + 29, y, words, SMALLEST_PT, "start", False, "legend"))
        x += 29 + text_width(words, SMALLEST_PT) + 10
    return shapes
