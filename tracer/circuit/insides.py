"""The links inside parts: what joins the pins of each. A part has no hub, so that no way is invented through it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tracer.circuit.joining import Joining
from tracer.circuit.kinds import PARTS, LinkKind, PartKind
from tracer.circuit.model import Part
from tracer.entry.models import ConverterFacts, FuseFacts, GroundFacts, JointFacts, ModuleFacts
from tracer.entry.problems import did_you_mean

DEFAULT_MASS = "body"


class Insides:
    """Adds the links inside parts: by the row of a kind where it says what lies between the pins, else by a method of its own."""

    def __init__(self, joining: Joining) -> None:
        self.joining = joining
        self._others: Mapping[PartKind, Callable[[Part], None]] = {
            PartKind.GROUND: self._ground,
            PartKind.SPLICE: self._splice,
            PartKind.CONVERTER: self._converter,
            PartKind.JOINT: self._joint,
            PartKind.RELAY: self._switching,
            PartKind.SWITCH: self._switching,
            PartKind.MODULE: self._module,
        }

    def make(self) -> None:
        """Add what lies inside each part."""
        instead = self._instead()
        for part in self.joining.parts.values():
            row = PARTS[part.kind]
            if row.between is not None:
                self._between(part, row.between, joined=part.name not in instead)
            elif part.kind in self._others:
                self._others[part.kind](part)

    def _instead(self) -> frozenset[str]:
        """Positions of either-or pairs that the vehicle's equipment leaves open: both at once would join two feeds that are never joined."""
        found = set()
        for part in self.joining.parts.values():
            if isinstance(part.facts, FuseFacts) and part.facts.or_ is not None:
                partner = self.joining.part_named(part.facts.or_, part.panel)
                for one in (part, partner):
                    if isinstance(one, Part) and one.facts.said("state") in ("option", "empty"):
                        found.add(one.name)
        return frozenset(found)

    def _between(self, part: Part, kind: LinkKind, *, joined: bool) -> None:
        """A part whose first pin is joined with each of its others by one kind of link."""
        first, *rest = part.facts.said("pins") or PARTS[part.kind].pins
        for pin in rest:
            a, b = self.joining.node(part.name, first), self.joining.node(part.name, pin)
            if joined:
                self.joining.link(a, b, kind, part.name)

    def _link(self, part: Part, first: str, second: str, kind: LinkKind, **more: Any) -> None:
        """What joins two pins of a part."""
        a, b = self.joining.node(part.name, first), self.joining.node(part.name, second)
        self.joining.link(a, b, kind, part.name, **more)

    def _splice(self, part: Part) -> None:
        self.joining.node(part.name, "")

    def _ground(self, part: Part) -> None:
        assert isinstance(part.facts, GroundFacts)
        on = part.facts.on or DEFAULT_MASS
        mass = self.joining.node(f"mass {on}", "", on)
        self.joining.link(self.joining.node(part.name, ""), mass, LinkKind.MASS, part.name)

    def _joint(self, part: Part) -> None:
        assert isinstance(part.facts, JointFacts)
        grouped: set[str] = set()
        for number, group in enumerate(part.facts.bussed, 1):
            bus = self.joining.node(part.name, f"group {number}", f"{part.name} group {number}")
            for pin in group:
                if pin in grouped:
                    fragment = next((found for found in part.fragments if found.has(("bussed",))), part.fragments[0])
                    what = f"{part.name}: cavity {pin} stands in two groups"
                    self.joining.problems.append(
                        fragment.file.problem(
                            fragment.place_of(("bussed",)),
                            what,
                            "A cavity belongs to one group; join the groups if they are one conductor.",
                        )
                    )
                grouped.add(pin)
                self.joining.link(self.joining.node(part.name, pin), bus, LinkKind.BUSSED, part.name)

    def _converter(self, part: Part) -> None:
        assert isinstance(part.facts, ConverterFacts)
        ground = self.joining.node(part.name, "ground")
        self.joining.link(self.joining.node(part.name, "in"), ground, LinkKind.CONVERTER, part.name)
        self.joining.node(part.name, "out")
        if part.facts.return_ is not None:
            own = self.joining.node(part.name, "return")
            if part.facts.return_ == "joined":
                self.joining.link(own, ground, LinkKind.BUSSED, part.name)

    def _switching(self, part: Part) -> None:
        for key, lever in part.levers.items():
            positions: dict[tuple[str, str], list[str]] = {}
            for position, groups in lever.contacts.items():
                for group in groups:
                    first, *rest = group
                    for pin in rest:
                        positions.setdefault((first, pin), []).append(position)
            for (a, b), closed in positions.items():
                self._link(part, a, b, LinkKind.CONTACT, closed=tuple(closed), lever=key)
        for plus, minus in part.coils:
            self._link(part, plus, minus, LinkKind.COIL)

    def _module(self, part: Part) -> None:
        assert isinstance(part.facts, ModuleFacts)
        self._check_gets(part, part.facts)
        for group in part.facts.joined:
            first, *rest = group
            for pin in rest:
                self._link(part, first, pin, LinkKind.JOINED)
        for pin, output in part.facts.outputs.items():
            if output.drives in ("high", "both"):
                for supply in output.from_:
                    self._link(part, supply, pin, LinkKind.DRIVER_HIGH, output=pin)
            if output.drives in ("low", "both"):
                for ground in output.through:
                    self._link(part, pin, ground, LinkKind.DRIVER_LOW, output=pin)

    def _check_gets(self, part: Part, facts: ModuleFacts) -> None:
        """Under `gets` stands `passive`, `case`, or the module that feeds it."""
        for level, how in facts.gets.items():
            named = self.joining.parts.get(how)
            if (
                how in ("passive", "case")
                or (named is not None and named.undeclared)
                or (named is not None and named.kind is PartKind.MODULE and named is not part)
            ):
                continue
            fragment = next((one for one in part.fragments if one.has(("gets", level))), part.fragments[0])
            what = f"`gets`: {how} is {'the module itself' if named is part else 'no module'}"
            modules = [
                one.name for one in self.joining.parts.values() if one.kind is PartKind.MODULE and one is not part
            ]
            words = ("passive", *(["case"] if level == "ground" else []), *modules)
            fix = did_you_mean(how, words, "Write `passive`, or the module that feeds it; for a ground also `case`.")
            self.joining.problems.append(fragment.file.problem(fragment.place_of(("gets", level)), what, fix, how))
