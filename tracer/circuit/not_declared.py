"""Parts that are named but that no sheet declares: where each is named, and what it is by its name and use.

A page that is not typed in yet must not stop the rest. So each such name becomes a part by itself, and a loose end (L162) of every list that touches it. Only what
cannot hide anything is taken from the guess: a splice and a ground point join the wires at their one point, a fuse has two sides. Of everything else
nothing is known to join the pins, nor the uses of its bare name.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

from tracer.circuit.kinds import FUSE_KINDS, PARTS, PartKind, Written
from tracer.entry.fragments import Fragment
from tracer.entry.load import Typed
from tracer.entry.models import KINDS, ModuleFacts, PanelFacts
from tracer.entry.problems import Place
from tracer.entry.runs import Point, read_point, split_run
from tracer.entry.text import TypedFile
from tracer.entry.values import Misread

# What the letters of a name usually stand for, where no part of the vehicle is named alike: common practice, no source.
_LETTERS = {
    "F": PartKind.FUSE, "FL": PartKind.LINK, "S": PartKind.SPLICE, "SP": PartKind.SPLICE, "G": PartKind.GROUND, "GND": PartKind.GROUND,
    "X": PartKind.CONNECTOR, "C": PartKind.CONNECTOR, "K": PartKind.RELAY, "E": PartKind.LOAD, "M": PartKind.LOAD,
}  # fmt: skip
_RELAY_PINS = frozenset({"30", "85", "86", "87", "87a", "87b"})
_BUILT = FUSE_KINDS | {PartKind.SPLICE, PartKind.GROUND}


@dataclass(frozen=True, slots=True)
class Use:
    """One place where a name stands: as a point, in the middle of a run or not, fed by a busbar of a panel, or where only a module can stand."""

    name: str
    place: Place
    file: TypedFile
    sheet: int
    point: Point
    middle: bool = False
    panel: str = ""
    module: bool = False


def with_undeclared(typed: Typed) -> Typed:
    """What was typed, with a fragment more for each part that is named and not declared."""
    uses = list(_uses(typed))
    panels = {use.name: use.panel for use in uses if use.panel}
    found: dict[str, list[Use]] = {}
    for use in uses:
        before, _, label = use.name.rpartition("/")
        found.setdefault(label if before and panels.get(label) == before else use.name, []).append(use)
    if not found:
        return typed
    fragments = dict(typed.fragments)
    families = _families(typed.fragments)
    for name, uses in found.items():
        kind = _guess(name, uses, families)
        panel = panels.get(name)
        full = f"{panel}/{name}" if panel else name
        built = kind if kind in _BUILT and _stands_as(kind, uses) else PartKind.BOX
        first = uses[0]
        fragments[full] = [
            Fragment(
                full,
                built,
                KINDS[built](),
                first.sheet,
                first.file,
                ("parts", full),
                "diagram",
                panel,
                name if panel else None,
                tuple(use.place for use in uses),
                kind.value if kind is not None else "",
            )
        ]
    return replace(typed, fragments=fragments)


# --- where names stand ---------------------------------------------------------------------------------------------


def _uses(typed: Typed) -> Iterator[Use]:
    """Every use of a name that is not declared, sheet by sheet as typed; what vehicle.yaml names comes last."""
    labels = {name.partition("/")[2] for name in typed.fragments if "/" in name}
    known = typed.fragments.keys() | labels | typed.vehicle.rails.keys()
    for number, run in enumerate(typed.runs):
        for index, point in enumerate(run.points):
            if point.part and point.part not in known:
                place = typed.place_in_run(run, split_run(run.text)[2 * index][0])
                middle = 0 < index < len(run.points) - 1
                yield Use(point.part, place, typed.files[run.sheet], typed.runs[number].sheet, point, middle)
    for fragment in (one for several in typed.fragments.values() for one in several):
        for text, where, panel, module in _named_in(fragment):
            named = _point(text)
            if named is not None and named.part not in known and f"{fragment.name}/{named.part}" not in known:
                yield Use(named.part, where(), fragment.file, fragment.sheet, named, False, panel, module)
    file = typed.vehicle_file
    for rail, facts in typed.vehicle.rails.items():
        named = _point(facts.from_ or "")
        if named is not None and named.part not in known:
            yield Use(named.part, file.place_of(("rails", rail, "from")), file, 0, named)
    for bus, bus_facts in typed.vehicle.buses.items():
        at = ("buses", bus)
        stands = [
            (part, file.place_of((*at, "terminations", part), key=True), False) for part in bus_facts.terminations
        ]
        stands += [(bus_facts.commander, file.place_of((*at, "commander")), True)] if bus_facts.commander else []
        for line, pins in bus_facts.lines.items():
            stands += [(pin, file.place_of((*at, "lines", line), text=pin), True) for pin in pins if "." in pin]
        for text, place, module in stands:
            named = _point(text)
            if named is not None and named.part not in known:
                yield Use(named.part, place, file, 0, named, module=module)


def _named_in(fragment: Fragment) -> Iterator[tuple[str, Callable[[], Place], str, bool]]:
    """The points that the facts of a part name: text, its place when asked, the panel whose busbar feeds it, whether only a module can stand there."""
    facts, place_of = fragment.facts, fragment.place_of
    for pin, target in facts.meets.items():
        yield target, partial(place_of, ("meets", pin)), "", False
    if isinstance(facts, PanelFacts):
        for origin, targets in facts.busbars.items():
            for target in targets:
                yield target, partial(place_of, ("busbars", origin), text=target), fragment.name, False
            yield origin, partial(place_of, ("busbars", origin), key=True), "", False
    if isinstance(facts, ModuleFacts):
        for level, how in facts.gets.items():
            if how not in ("passive", "case"):
                yield how, partial(place_of, ("gets", level)), "", True


def _point(text: str) -> Point | None:
    """A point among facts; None where it is none, which is said where the fact is used."""
    try:
        point = read_point(text)
    except Misread:
        return None
    return point if point.part else None


# --- what it is by its name and use -------------------------------------------------------------------------------


def letters_of(name: str) -> str:
    """A name without its numbers: what parts of one kind have in common on most diagrams."""
    return re.sub(r"\d", "", name.rpartition("/")[2])


def _families(fragments: Mapping[str, list[Fragment]]) -> dict[str, PartKind | None]:
    """The kind of all parts whose names have the same letters and a number; None where they are of several kinds."""
    found: dict[str, PartKind | None] = {}
    for name, several in fragments.items():
        letters = letters_of(name)
        if letters != name.rpartition("/")[2]:
            found[letters] = several[0].kind if found.get(letters, several[0].kind) == several[0].kind else None
    return found


def _guess(name: str, uses: list[Use], families: Mapping[str, PartKind | None]) -> PartKind | None:
    """The kind of a part by the names of others, by its letters and by how it is used; None where these say nothing."""
    points = [use.point for use in uses]
    if any(point.half or point.mate for point in points):
        return PartKind.CONNECTOR
    if any(use.module for use in uses):
        return PartKind.MODULE
    letters = letters_of(name)
    numbered = letters != name.rpartition("/")[2]
    named = families.get(letters, _LETTERS.get(letters.upper()) if numbered else None)
    pins = {point.pin for point in points if point.pin is not None}
    if named is not None and numbered and _stands_as(named, uses):
        return named
    if any(use.panel and use.point.pin is None for use in uses):
        return PartKind.FUSE
    if pins and pins <= _RELAY_PINS:
        return PartKind.RELAY
    if pins and all(use.middle for use in uses):
        return PartKind.CONNECTOR
    if pins and len(pins) > 2 and not any(use.middle for use in uses):
        return PartKind.MODULE
    if not pins and not any(use.panel for use in uses) and sum(1 + use.middle for use in uses) > 2:
        return PartKind.SPLICE
    return None


def _stands_as(kind: PartKind, uses: list[Use]) -> bool:
    """Whether a part of a kind can stand at every place where the name does."""
    written, pins = PARTS[kind].written, PARTS[kind].pins
    for use in uses:
        pin = use.point.pin
        if written is Written.ALONE and (pin is not None or use.panel):
            return False
        if written in (Written.SIDES, Written.LIKE_PINS) and pin is not None and pin not in pins:
            return False
        if written in (Written.PINS, Written.CAVITY) and pin is None and not use.module:
            return False
    return written is not Written.NOT


__all__ = ["Use", "letters_of", "with_undeclared"]
