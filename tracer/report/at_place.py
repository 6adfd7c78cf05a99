"""What can be read at one place: as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Any

from tracer.plan.values import AtPlace, PointAtPlace
from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import GROUND_SIGNS, SIGNS, Page, counted, elsewhere_words, signs_meaning
from tracer.report.minding import marked, minding_data, notes_line, opening
from tracer.report.volts_data import range_data
from tracer.report.words import MAKER_FIRST
from tracer.standards import figures

SCHEMA = "tracer.place/1"
STACKED = 64  # columns below which a point names its part itself
_MOST_ROWS = 6


def as_text(found: AtPlace, *, width: int = 80, bold: bool = False) -> str:
    """One line for each point there, part by part."""
    page = Page(width, bold=bold)
    access = f" ({found.access})" if found.access else ""
    page.line(f"at: {found.place}{access}", strong=True)
    of = f"the list of {found.modules[0]}" if len(found.modules) == 1 else f"the lists of all {len(found.modules)} modules"  # fmt: skip
    said = first_line(found.completeness, counts=counted(len(found.points), "point"))
    page.line(
        said if len(found.modules) == 1 else said.replace("to this module", "to these modules"), strong=True, hang=4
    )
    page.line(f"By {of}.")
    if found.completeness.elsewhere:
        page.line(elsewhere_words(found.completeness.elsewhere))
    opening(page, found.minding)
    with_volts = any(one.volts is not None for one in found.points)
    narrow = page.width < STACKED
    rows = []
    for part, points in groupby(found.points, key=lambda one: one.part):
        for n, same in enumerate(_alike(points)):
            sides = "/".join(_side(one) for one in same)
            name = f"{part} {sides}" if narrow else sides
            volts = "/".join(dict.fromkeys(_volts(one) for one in same if one.volts is not None))
            cells = [
                marked(name, found.minding, *(one.at for one in same)), ", ".join(one.wire for one in same if one.wire), _live(found, same[0]),
                *([volts + (f" {same[0].key}" if volts else "")] if with_volts else []), _rows(same[0]),
            ]  # fmt: skip
            rows.append(cells if narrow else [part if n == 0 else "", *cells])
    head = ["point", "wire", "live", *(["V"] if with_volts else []), "for"]
    page.table(rows, head=head if narrow else ["part", *head], gap=1, stacked_names=("live", "V", "for"))
    if not rows:
        page.line("Nothing there lies on a way of these lists, as far as it is typed in.")
    for words in dict.fromkeys(one.no_method for one in found.points if one.no_method):
        points_ = ", ".join(one.at for one in found.points if one.no_method == words)
        page.line(f"! {points_}: {words}", hang=2)
    signs = {sign for one in found.points for sign in _live(found, one)}
    if signs:
        page.labelled("live", f"in {', '.join(found.keys)}: {signs_meaning(signs)}", indent=0, column=6)
    beside = [part for part in found.parts if part not in {one.part for one in found.points}]
    if beside:
        page.labelled("also", f"there, on no way of these lists: {', '.join(beside)}", indent=0, column=6)
    notes_line(page, found.minding, column=6, rest="--json")
    page.labelled("in", found.vehicle, indent=0, column=6)
    page.labelled("more", f"supplies MODULE PIN: the whole way. {MAKER_FIRST}", indent=0, column=6)
    return page.text()


def _side(one: PointAtPlace) -> str:
    """The point without its part where that stands beside it."""
    return one.at.removeprefix(f"{one.part}.").removeprefix(f"{one.part}, ")


def _live(found: AtPlace, one: PointAtPlace) -> str:
    signs = SIGNS if one.level == "supply" else GROUND_SIGNS
    return "".join(signs[one.live.get(key, "unknown")] for key in found.keys)


def _volts(one: PointAtPlace) -> str:
    return "" if one.volts is None else figures.volts_number(one.volts.nominal)


def _alike(points: Iterable[PointAtPlace]) -> list[list[PointAtPlace]]:
    """The two sides of a fuse together; each point of a connector by itself, since which half is touched matters."""
    groups: list[list[PointAtPlace]] = []
    for one in points:
        last = groups[-1][-1] if groups else None
        if last and "," not in one.at and (last.live, last.rows, last.level, last.key) == (one.live, one.rows, one.level, one.key):  # fmt: skip
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _rows(one: PointAtPlace) -> str:
    names = [name.removesuffix(":+").removesuffix(":-") + name[-1] if name[-2:-1] == ":" else name for name in one.rows]
    more = len(names) - _MOST_ROWS
    return ", ".join(names[:_MOST_ROWS]) + (f" and {more} more" if more > 0 else "")


def as_data(found: AtPlace) -> dict[str, Any]:
    """The same as plain data, documented in docs/json/place.md."""
    return {
        "schema": SCHEMA,
        "vehicle": found.vehicle,
        **completeness_data(found.completeness),
        "place": found.place,
        "access": found.access,
        "parts": list(found.parts),
        "modules": list(found.modules),
        "keys": list(found.keys),
        "points": [
            {
                "at": one.at, "part": one.part, "kind": one.kind, "wire": one.wire, "level": one.level, "live": one.live, "rows": list(one.rows),
                "no_method": one.no_method or None, "key": one.key or None, "volts": None if one.volts is None else range_data(one.volts, "_v"),
            }
            for one in found.points
        ],
        "minding": minding_data(found.minding),
    }  # fmt: skip


__all__ = ["SCHEMA", "as_data", "as_text"]
