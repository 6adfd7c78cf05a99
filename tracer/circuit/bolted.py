"""What is joined without a wire, as facts say: the busbars of panels, points bolted together, and where rails begin."""

from __future__ import annotations

from functools import partial

from tracer.circuit.joining import Joining
from tracer.circuit.kinds import FUSE_KINDS, PARTS, LinkKind, PartKind, Written
from tracer.circuit.model import Part
from tracer.circuit.points import Points
from tracer.entry.load import Fragment
from tracer.entry.models import PanelFacts
from tracer.entry.problems import nearest
from tracer.entry.runs import read_point
from tracer.entry.values import Misread


class Bolted:
    """Adds those links."""

    def __init__(self, joining: Joining, points: Points) -> None:
        self.joining = joining
        self.points = points

    def busbars(self) -> None:
        """Add the busbars of panels; from then on a bare fuse that one of them feeds means its load side."""
        pending = []
        joined: set[tuple[int, int]] = set()  # two sheets may say the same of one busbar
        for part in list(self.joining.parts.values()):
            if part.kind is not PartKind.PANEL:
                continue
            for fragment in part.fragments:
                assert isinstance(fragment.facts, PanelFacts)
                for origin, targets in fragment.facts.busbars.items():
                    nodes = [
                        node
                        for target in targets
                        if (node := self._busbar_target(part, fragment, origin, target)) is not None
                    ]
                    self.joining.fed.update(
                        self.joining.part_of[node] for node in nodes if self.joining.pin_of[node] == "feed"
                    )
                    pending.append((part, fragment, origin, nodes))
        for (
            part,
            fragment,
            origin,
            nodes,
        ) in pending:  # once it is known which fuses a busbar feeds: a bare fuse then means its load side
            source = self.points.point_in_facts(origin, fragment, ("busbars", origin), key=True, panel=part.name)
            for node in nodes:
                if source is not None and (source, node) not in joined:
                    joined.add((source, node))
                    self.joining.link(source, node, LinkKind.BUSBAR, part.name)

    def _busbar_target(self, panel: Part, fragment: Fragment, origin: str, target: str) -> int | None:
        label, dot, pin = target.partition(".")
        found = self.joining.part_named(label, panel.name)
        place = partial(fragment.place_of, ("busbars", origin), text=target)  # not looked for in vain
        if isinstance(found, Part) and found.undeclared and found.kind is PartKind.BOX:
            return self.joining.node(found.name, pin) if dot else self.points.use_of(found)
        if not isinstance(found, Part) or found.panel != panel.name:
            labels = [part.label for part in self.joining.parts.values() if part.panel == panel.name and part.label]
            near = nearest(label, labels)
            fix = f"Add it under `positions` of {panel.name}." + (f" Did you mean `{near[0]}`?" if near else "")
            self.joining.problems.append(
                fragment.file.problem(place(), f"panel {panel.name} has no position {label}", fix, target)
            )
            return None
        if found.kind in FUSE_KINDS:
            if dot and pin not in ("feed", "load"):
                self.joining.problems.append(
                    fragment.file.problem(
                        place(),
                        f"{label} is a fuse: it has no pin {pin}",
                        "Write the label alone for its feed side.",
                        target,
                    )
                )
                return None
            return self.joining.node(found.name, pin or "feed")
        known = self.joining.pins_known[found.name]
        if not dot or (known is not None and pin not in known):
            what = (
                f"{label} is a {found.kind}: say which pin the busbar feeds" if not dot else f"{label} has no pin {pin}"
            )
            fix = f"Write `{label}.PIN`{self.joining.pins_hint(found)}."
            self.joining.problems.append(fragment.file.problem(place(), what, fix, target))
            return None
        return self.joining.node(found.name, pin)

    def meets(self) -> None:
        """Add the points that are bolted together."""
        for part in list(self.joining.parts.values()):
            for fragment in part.fragments:
                for pin, target in fragment.facts.meets.items():
                    own = part.label or part.name
                    text = own if PARTS[part.kind].written is Written.ALONE else f"{own}.{pin}"
                    a = self.points.point_in_facts(
                        text, fragment, ("meets", pin), key=True, panel=part.panel, typed=pin
                    )
                    b = self.points.point_in_facts(target, fragment, ("meets", pin))
                    if a is not None and b is not None and a != b:
                        self.joining.link(a, b, LinkKind.MEETS, part.name)

    def rail_origins(self) -> None:
        """Add the rails, each joined with the point where it begins."""
        file = self.joining.typed.vehicle_file
        for rail, facts in self.joining.rails.items():
            self.joining.node(rail, "")
            if facts.from_ is None:
                continue
            try:
                point = read_point(facts.from_)
                if point.is_reference or point.is_unknown or point.part == rail:
                    raise Misread("the point where the rail begins is wanted here", "Write for example `from: IGN.15`.")
                origin = self.points.fixed(point)
            except Misread as misread:
                self.joining.problems.append(
                    file.problem(file.place_of(("rails", rail, "from")), misread.what, misread.fix, facts.from_)
                )
                continue
            self.joining.link(origin, self.joining.node(rail, ""), LinkKind.RAIL, rail)
