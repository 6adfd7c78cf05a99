"""A circuit while it is being joined: the nodes and links found so far, and the parts by the names that are typed for them."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Any

from tracer.circuit.model import Link, LinkKind, Part, ReferenceEnd
from tracer.circuit.not_declared import with_undeclared
from tracer.circuit.parts import joined_parts, pins_known
from tracer.entry.load import Typed
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import Place, Problems, listed, natural
from tracer.entry.values import Misread, in_ranges

_FEW_PINS = 8  # more are told in ranges


class Joining:
    """What every step of joining adds to and asks for. `fed`: the parts whose feed side a busbar feeds."""

    def __init__(self, typed: Typed) -> None:
        self.typed = typed = with_undeclared(typed)
        self.problems = Problems()
        self.parts, self.short, self.conflicts = joined_parts(typed, self.problems)
        self.full_by_label: dict[str, list[str]] = {}
        for full in typed.fragments:
            if "/" in full:
                self.full_by_label.setdefault(full.split("/", 1)[1], []).append(full)
        self.rails = typed.vehicle.rails
        self.names: list[str] = []
        self.part_of: list[str] = []
        self.pin_of: list[str] = []
        self.links: list[Link] = []
        self.node_at: dict[tuple[str, str], int] = {}
        self.references: list[ReferenceEnd] = []
        self.unknown_ends: dict[int, tuple[int, Place]] = {}
        self.fed: set[str] = set()
        self.pins_known = {name: pins_known(part) for name, part in self.parts.items()}
        self._named: dict[str, set[str]] = {}
        self._on_pages: dict[str, bool] = {}

    def node(self, part: str, pin: str, name: str | None = None) -> int:
        """The node of a point, made when it is first asked for."""
        key = (part, pin)
        node = self.node_at.get(key)
        if node is None:
            node = self.new_node(name if name is not None else f"{part}.{pin}" if pin else part, part, pin)
            self.node_at[key] = node
        return node

    def new_node(self, name: str, part: str, pin: str) -> int:
        """A node more."""
        self.names.append(name)
        self.part_of.append(part)
        self.pin_of.append(pin)
        return len(self.names) - 1

    def link(self, a: int, b: int, kind: LinkKind, part: str = "", **more: Any) -> None:
        """A link more."""
        self.links.append(Link(a, b, kind, part, **more))

    def part_named(self, name: str, panel: str | None = None) -> Part | str | None:
        """The part of a typed name; a list of panels as text when a bare label is ambiguous; None when unknown."""
        if panel is not None and f"{panel}/{name}" in self.typed.fragments:
            full = f"{panel}/{name}"
            return self.parts[self.short.get(full, full)]
        if name in self.parts:
            return self.parts[name]
        if name in self.short:
            return self.parts[self.short[name]]
        several = self.full_by_label.get(name, [])
        if len(several) > 1:
            return listed(several)
        return None

    def which_side(self, part: Part, text: str) -> Misread:
        """A bare fuse of which nothing says which side is meant: in a panel, the busbar that feeds it is missing first of all."""
        panel = self.parts[part.panel] if part.panel else None
        if panel is None:
            return Misread(f"`{text}` is a fuse: which side is meant?", f"Write `{text}.feed` or `{text}.load`.")
        return Misread(
            f"`{text}` is a fuse that no busbar of {panel.name} feeds: which side is meant?",
            f"Add {part.label} under `busbars` of panel {panel.name} ({panel.place_of('busbars')}) to the one that feeds it; then `{text}` is its load side. Where a wire feeds it, write `{text}.feed` or `{text}.load`.",
        )

    def pins_hint(self, part: Part) -> str:
        """The pins of a part in words that end a sentence."""
        known = self.pins_known[part.name]
        return f"; its pins are {pins_words(known)}" if known else ""

    def meant(self, part: Part) -> str:
        """'`ECM.2` is in no run: is it meant? ' where of the pins that are in use by the part's own list exactly one stands in no run, nor in one that cannot be read; else nothing."""
        facts = part.facts
        used = (
            facts.pins.keys() - facts.signals if isinstance(facts, ModuleFacts) else self.pins_known[part.name] or set()
        )
        names = {part.name, *(short for short, full in self.short.items() if full == part.name)}
        named = set[str]().union(*(self._pins_in_runs().get(name, ()) for name in names))
        left = [f"{part.name}.{pin}" for pin in used - named - set(getattr(facts, "unused", ()))]
        left = [at for at in left if not self._is_typed(at)] if len(left) <= _FEW_PINS else []
        return f"`{left[0]}` is in no run: is it meant? " if len(left) == 1 else ""

    def _is_typed(self, at: str) -> bool:
        """Whether a point stands anywhere on the pages: under a busbar, or in a run that cannot be read."""
        if at not in self._on_pages:  # asked for each slip at the same part
            word = re.compile(rf"{re.escape(at)}(?!\w)")
            self._on_pages[at] = any(
                word.search(line) for file in self.typed.files for line in file.lines if at in line
            )
        return self._on_pages[at]

    def _pins_in_runs(self) -> dict[str, set[str]]:
        """The pins that the runs name, by the part as it is typed there."""
        if not self._named:
            for run in self.typed.runs:
                for point in run.points:
                    self._named.setdefault(point.part, set()).update(
                        pin for pin in (point.pin, point.mate, *point.several) if pin
                    )
        return self._named


def pins_words(pins: Collection[str]) -> str:
    """Pins in the order of their numbers: a few as words, many in ranges."""
    known = sorted(pins, key=natural)
    return listed(known, joiner="and") if len(known) <= _FEW_PINS else in_ranges(known, known)
