"""Two typings of the same pages: as text and as JSON."""

from __future__ import annotations

from typing import Any

from tracer.circuit.comparing import Comparison, Difference, Side
from tracer.report.layout import Page, counted
from tracer.report.plain_data import place_fields

SCHEMA = "tracer.compare/1"
SAME_SLIP = (
    "Who typed the second one from the first, or both from a page that is wrong, makes the same slip twice: it is not seen here. "
    "The best second typing is by somebody else, from the drawing."
)


def as_text(found: Comparison, *, width: int = 80, bold: bool = False) -> str:
    """First how many things differ, then each with what the two say and where."""
    page = Page(width, bold=bold)
    count = len(found.in_wires) + len(found.in_facts)
    both = f"{counted(found.wires[0], 'wire')} and {counted(found.facts[0], 'fact')} in A, {found.wires[1]} and {found.facts[1]} in B"
    page.line(f"{'DIFFERENT: ' + counted(count, 'difference') if count else 'THE SAME'}; {both}.", strong=True)
    page.line(f"A: {found.a}", indent=2, hang=5)
    page.line(f"B: {found.b}", indent=2, hang=5)
    for title, differences in (("Wires", found.in_wires), ("Facts", found.in_facts)):
        if differences:
            page.heading(title)
        for one in differences:
            page.line(one.about, indent=2, hang=4)
            for name, side in (("A", one.a), ("B", one.b)):
                where = f" ({side.place})" if side.place else ""
                page.line(f"{name}: {side.words or 'not typed'}{where}", indent=4, hang=7)
    page.blank()
    page.line(f"{'Look at the drawing for each: either may be wrong. ' if count else ''}{SAME_SLIP}")
    return page.text()


def as_data(found: Comparison) -> dict[str, Any]:
    """The same as plain values; `a` or `b` is null where that one says nothing."""
    return {
        "schema": SCHEMA,
        "complete": found.complete,
        "a": found.a,
        "b": found.b,
        "compared": {"wires": list(found.wires), "facts": list(found.facts)},
        "wires": [_difference(one) for one in found.in_wires],
        "facts": [_difference(one) for one in found.in_facts],
    }


def _difference(one: Difference) -> dict[str, Any]:
    return {"about": one.about, "a": _side(one.a), "b": _side(one.b)}


def _side(side: Side) -> dict[str, Any] | None:
    if not side.words:
        return None
    return {"says": side.words, **(place_fields(side.place) if side.place else {})}
