"""A circuit while it is being joined: the nodes and links found so far, and the parts by the names that are typed for them."""

from __future__ import annotations

from typing import Any

from tracer.circuit.model import Link, LinkKind, Part, ReferenceEnd
from tracer.circuit.not_declared import with_undeclared
from tracer.circuit.parts import joined_parts, pins_known
from tracer.entry.load import Typed
from tracer.entry.problems import Place, Problems, listed, natural
from tracer.entry.values import Misread


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
        return f"; its pins are {listed(sorted(known, key=natural), joiner='and')}" if known else ""
