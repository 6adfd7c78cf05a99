"""Sheets become one circuit: same name, same part; a reference joins only with its answer.

Order of work: parts from their fragments; the links inside parts; the runs, wire by wire; references in pairs; sources and grounds.
Whatever is named but not known is a problem, and all of them come out together.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property
from typing import Any

from tracer.circuit.halves import Wiring, name_halves, settle_halves
from tracer.circuit.model import FUSE_KINDS, Circuit, End, Link, LinkKind, Part, ReferenceEnd
from tracer.circuit.parts import joined_parts, pins_known
from tracer.circuit.references import agreeing_pairs
from tracer.circuit.undeclared import undeclared
from tracer.entry.load import Fragment, Typed
from tracer.entry.models import (
    ConnectorFacts,
    ConverterFacts,
    FuseFacts,
    GroundFacts,
    JointFacts,
    LoadFacts,
    ModuleFacts,
    PanelFacts,
    SpliceFacts,
)
from tracer.entry.problems import CannotUse, Place, Problem, did_you_mean, listed, natural, nearest
from tracer.entry.runs import Point, read_point
from tracer.entry.values import Misread

DEFAULT_MASS = "body"
_ONE_POINT = frozenset({"splice", "ground"})
_LIKE_PINS = frozenset({"load", "resistor", "strap"})


def _likely_kind(point: Point) -> str:
    """The kind that the use of a name makes most likely, for the line that declares it. A guess for a message, never for the circuit."""
    if point.half or point.mate:
        return "connector"
    letters = {"F": "fuse", "G": "ground", "S": "splice"} if point.pin is None else {"X": "connector", "K": "relay"}
    named = letters.get(point.part[:1].upper()) if point.part[1:2].isdigit() else None
    return named or ("splice" if point.pin is None else "module")


def join(typed: Typed) -> Circuit:
    """The circuit of a typed vehicle.

    Raises
    ------
    CannotUse : with every problem found (unknown parts and pins, cavities used twice, contradicting facts)
    """
    return _Joiner(typed).circuit()


class _Joiner:
    def __init__(self, typed: Typed) -> None:
        self.typed = typed
        self.problems: list[Problem] = []
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
        self.wires_on: dict[int, int] = {}
        self.named_halves: set[int] = set()
        self.passed: set[int] = set()
        self.free: list[tuple[int, int]] = []
        self.pins_known = {name: pins_known(part) for name, part in self.parts.items()}

    def circuit(self) -> Circuit:
        self._check_rail_names()
        self._insides()
        self._busbars()
        self._runs()
        self._meets()
        self._rail_origins()
        partner = self._join_references()
        if self.problems:
            raise CannotUse(self.problems)
        told = self._halves()
        sources, grounds = self._ends()
        return Circuit(
            typed=self.typed,
            parts=self.parts,
            short_names=self.short,
            node_names=self.names,
            node_parts=self.part_of,
            node_pins=self.pin_of,
            links=self.links,
            node_of_point=self.node_at,
            sources=sources,
            grounds=grounds,
            references=tuple(sorted(self.references, key=lambda end: (end.run, end.place))),
            reference_of={end.node: end for end in self.references},
            partner=partner,
            unknown_ends=self.unknown_ends,
            conflicts=tuple(self.conflicts),
            told_halves=told,
        )

    def _halves(self) -> frozenset[int]:
        wiring = Wiring(self.parts, self.names, self.part_of, self.pin_of, self.node_at, self.links, self.free)
        told = settle_halves(wiring)
        wired = {node for link in self.links if link.kind is not LinkKind.MATING for node in (link.a, link.b)}
        self.links = [
            link for link in self.links if link.kind is not LinkKind.MATING or link.a in wired or link.b in wired
        ]
        matings = {node for link in self.links if link.kind is LinkKind.MATING for node in (link.a, link.b)}
        self.node_at = {
            key: node
            for key, node in self.node_at.items()
            if node in matings or key[0] not in self.parts or self.parts[key[0]].kind != "connector"
        }
        name_halves(replace(wiring, links=self.links))
        return told

    # --- nodes and links ---------------------------------------------------------------------------------------

    def _node(self, part: str, pin: str, name: str | None = None) -> int:
        key = (part, pin)
        node = self.node_at.get(key)
        if node is None:
            node = self._new_node(name if name is not None else f"{part}.{pin}" if pin else part, part, pin)
            self.node_at[key] = node
        return node

    def _new_node(self, name: str, part: str, pin: str) -> int:
        self.names.append(name)
        self.part_of.append(part)
        self.pin_of.append(pin)
        return len(self.names) - 1

    def _link(self, a: int, b: int, kind: LinkKind, part: str = "", **more: Any) -> None:
        self.links.append(Link(a, b, kind, part, **more))

    # --- names to parts ----------------------------------------------------------------------------------------

    def _part_named(self, name: str, panel: str | None = None) -> Part | str | None:
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

    @cached_property
    def _uses(self) -> Counter[str]:
        """How often each name stands in a run."""
        return Counter(point.part for run in self.typed.runs for point in run.points)

    def _check_rail_names(self) -> None:
        file = self.typed.vehicle_file
        for rail in self.rails:
            if rail in self.parts:
                place = file.place_of(("rails", rail), key=True)
                what = f"{rail} is the name of a rail and of a part ({self.parts[rail].place})"
                self.problems.append(file.problem(place, what, "Give one of the two another name.", rail))

    # --- inside the parts --------------------------------------------------------------------------------------

    def _instead(self) -> frozenset[str]:
        """Positions of either-or pairs that the vehicle's equipment leaves open: both at once would join two feeds that are never joined."""
        found = set()
        for part in self.parts.values():
            if isinstance(part.facts, FuseFacts) and part.facts.or_ is not None:
                partner = self._part_named(part.facts.or_, part.panel)
                for one in (part, partner):
                    if isinstance(one, Part) and getattr(one.facts, "state", None) in ("option", "empty"):
                        found.add(one.name)
        return frozenset(found)

    def _insides(self) -> None:
        instead = self._instead()
        for name in self.parts:
            part = self.parts[name]
            match part.kind:
                case "fuse" | "link" | "breaker":
                    feed, load = self._node(name, "feed"), self._node(name, "load")
                    if name not in instead:
                        self._link(feed, load, LinkKind.FUSE, name)
                case "ground":
                    mass = self._mass(part)
                    self._link(self._node(name, ""), mass, LinkKind.MASS, name)
                case "splice":
                    self._node(name, "")
                case "strap":
                    self._link(self._node(name, "1"), self._node(name, "2"), LinkKind.STRAP, name)
                case "resistor":
                    self._link(self._node(name, "1"), self._node(name, "2"), LinkKind.RESISTOR, name)
                case "diode":
                    self._link(self._node(name, "A"), self._node(name, "K"), LinkKind.DIODE, name)
                case "load":
                    assert isinstance(part.facts, LoadFacts)
                    first, *rest = part.facts.pins or ("1", "2")
                    for pin in rest:
                        self._link(self._node(name, first), self._node(name, pin), LinkKind.LOAD, name)
                case "converter":
                    self._converter(part)
                case "joint":
                    self._joint(part)
                case "relay" | "switch":
                    self._switching(part)
                case "module":
                    self._module(part)

    def _mass(self, part: Part) -> int:
        assert isinstance(part.facts, GroundFacts)
        mass = part.facts.on or DEFAULT_MASS
        return self._node(f"mass {mass}", "", mass)

    def _joint(self, part: Part) -> None:
        assert isinstance(part.facts, JointFacts)
        grouped: set[str] = set()
        for number, group in enumerate(part.facts.bussed, 1):
            bus = self._node(part.name, f"group {number}", f"{part.name} group {number}")
            for pin in group:
                if pin in grouped:
                    fragment = next((found for found in part.fragments if found.has(("bussed",))), part.fragments[0])
                    what = f"{part.name}: cavity {pin} stands in two groups"
                    self.problems.append(
                        fragment.file.problem(
                            fragment.place_of(("bussed",)),
                            what,
                            "A cavity belongs to one group; join the groups if they are one conductor.",
                        )
                    )
                grouped.add(pin)
                self._link(self._node(part.name, pin), bus, LinkKind.BUSSED, part.name)

    def _converter(self, part: Part) -> None:
        assert isinstance(part.facts, ConverterFacts)
        ground = self._node(part.name, "ground")
        self._link(self._node(part.name, "in"), ground, LinkKind.CONVERTER, part.name)
        self._node(part.name, "out")
        if part.facts.return_ is not None:
            own = self._node(part.name, "return")
            if part.facts.return_ == "joined":
                self._link(own, ground, LinkKind.BUSSED, part.name)

    def _switching(self, part: Part) -> None:
        for key, lever in part.levers.items():
            positions: dict[tuple[str, str], list[str]] = {}
            for position, groups in lever.contacts.items():
                for group in groups:
                    first, *rest = group
                    for pin in rest:
                        positions.setdefault((first, pin), []).append(position)
            for (a, b), closed in positions.items():
                self._link(
                    self._node(part.name, a),
                    self._node(part.name, b),
                    LinkKind.CONTACT,
                    part.name,
                    closed=tuple(closed),
                    lever=key,
                )
        for plus, minus in part.coils:
            self._link(self._node(part.name, plus), self._node(part.name, minus), LinkKind.COIL, part.name)

    def _module(self, part: Part) -> None:
        assert isinstance(part.facts, ModuleFacts)
        self._check_gets(part, part.facts)
        for group in part.facts.joined:
            first, *rest = group
            for pin in rest:
                self._link(self._node(part.name, first), self._node(part.name, pin), LinkKind.JOINED, part.name)
        for pin, output in part.facts.outputs.items():
            if output.drives in ("high", "both"):
                for supply in output.from_:
                    self._link(
                        self._node(part.name, supply),
                        self._node(part.name, pin),
                        LinkKind.DRIVER_HIGH,
                        part.name,
                        output=pin,
                    )
            if output.drives in ("low", "both"):
                for ground in output.through:
                    self._link(
                        self._node(part.name, pin),
                        self._node(part.name, ground),
                        LinkKind.DRIVER_LOW,
                        part.name,
                        output=pin,
                    )

    def _check_gets(self, part: Part, facts: ModuleFacts) -> None:
        """Under `gets` stands `passive`, `case`, or the module that feeds it."""
        for level, how in facts.gets.items():
            named = self.parts.get(how)
            if how in ("passive", "case") or (named is not None and named.kind == "module" and named is not part):
                continue
            fragment = next((one for one in part.fragments if one.has(("gets", level))), part.fragments[0])
            what = f"`gets`: {how} is {'the module itself' if named is part else 'no module'}"
            modules = [one.name for one in self.parts.values() if one.kind == "module" and one is not part]
            words = ("passive", *(["case"] if level == "ground" else []), *modules)
            fix = did_you_mean(how, words, "Write `passive`, or the module that feeds it; for a ground also `case`.")
            self.problems.append(fragment.file.problem(fragment.place_of(("gets", level)), what, fix, how))

    # --- panels ------------------------------------------------------------------------------------------------

    def _busbars(self) -> None:
        pending = []
        joined: set[tuple[int, int]] = set()  # two sheets may say the same of one busbar
        for part in list(self.parts.values()):
            if part.kind != "panel":
                continue
            for fragment in part.fragments:
                assert isinstance(fragment.facts, PanelFacts)
                for origin, targets in fragment.facts.busbars.items():
                    nodes = [
                        node
                        for target in targets
                        if (node := self._busbar_target(part, fragment, origin, target)) is not None
                    ]
                    self.fed.update(self.part_of[node] for node in nodes if self.pin_of[node] == "feed")
                    pending.append((part, fragment, origin, nodes))
        for (
            part,
            fragment,
            origin,
            nodes,
        ) in pending:  # once it is known which fuses a busbar feeds: a bare fuse then means its load side
            source = self._point_in_facts(origin, fragment, ("busbars", origin), key=True, panel=part.name)
            for node in nodes:
                if source is not None and (source, node) not in joined:
                    joined.add((source, node))
                    self._link(source, node, LinkKind.BUSBAR, part.name)

    def _busbar_target(self, panel: Part, fragment: Fragment, origin: str, target: str) -> int | None:
        label, dot, pin = target.partition(".")
        found = self._part_named(label, panel.name)
        place = fragment.place_of(("busbars", origin), text=target)
        if not isinstance(found, Part) or found.panel != panel.name:
            labels = [part.label for part in self.parts.values() if part.panel == panel.name and part.label]
            near = nearest(label, labels)
            fix = f"Add it under `positions` of {panel.name}." + (f" Did you mean `{near[0]}`?" if near else "")
            self.problems.append(
                fragment.file.problem(place, f"panel {panel.name} has no position {label}", fix, target)
            )
            return None
        if found.kind in FUSE_KINDS:
            if dot and pin not in ("feed", "load"):
                self.problems.append(
                    fragment.file.problem(
                        place,
                        f"{label} is a fuse: it has no pin {pin}",
                        "Write the label alone for its feed side.",
                        target,
                    )
                )
                return None
            return self._node(found.name, pin or "feed")
        known = self.pins_known[found.name]
        if not dot or (known is not None and pin not in known):
            what = (
                f"{label} is a {found.kind}: say which pin the busbar feeds" if not dot else f"{label} has no pin {pin}"
            )
            fix = f"Write `{label}.PIN`{self._pins_hint(found)}."
            self.problems.append(fragment.file.problem(place, what, fix, target))
            return None
        return self._node(found.name, pin)

    def _point_in_facts(
        self,
        text: str,
        fragment: Fragment,
        path: tuple[str, ...],
        *,
        key: bool = False,
        panel: str | None = None,
        typed: str = "",
    ) -> int | None:
        """The node of a point named among facts (busbar origin, `meets`); `typed` is how it stands there, if in another way."""
        place = fragment.place_of(path, key=key)
        try:
            point = read_point(text)
            if point.is_reference or point.is_unknown:
                raise Misread(
                    "a part's pin, a splice, a ground point or a rail is wanted here",
                    "Write for example `S1` or `K2.87`.",
                )
            return self._fixed(point, panel)
        except Misread as misread:
            self.problems.append(fragment.file.problem(place, misread.what, misread.fix, typed or text))
            return None

    # --- points ------------------------------------------------------------------------------------------------

    def _fixed(self, point: Point, panel: str | None = None) -> int:
        """The node of a point that needs no neighbour to be understood."""
        pending = self._resolve(point, panel)
        if isinstance(pending, int):
            return pending
        part = pending
        if part.kind in FUSE_KINDS:
            if part.name in self.fed:
                return self._node(part.name, "load")
            raise Misread(
                f"`{point.text}` is a fuse: which side is meant?",
                f"Write `{point.text}.feed` or `{point.text}.load`.",
            )
        raise Misread(f"`{point.text}`: the pin is missing", f"Write `{point.text}.PIN`{self._pins_hint(part)}.")

    def _pins_hint(self, part: Part) -> str:
        known = self.pins_known[part.name]
        return f"; its pins are {listed(sorted(known, key=natural), joiner='and')}" if known else ""

    def _resolve(self, point: Point, panel: str | None = None) -> int | Part:
        """The node of a point, or its part where the pin depends on the run (a bare fuse, a bare load, a bare cavity)."""
        if point.part in self.rails and point.part not in self.parts:
            if point.pin is not None:
                raise Misread(f"{point.part} is a rail: it has no pins", f"Write `{point.part}` alone.")
            return self._node(point.part, "")
        part = self._part_named(point.part, panel)
        if part is None:
            raise Misread(*undeclared(point, self.parts, self.rails, self.pins_known, self._uses[point.part]))
        if isinstance(part, str):
            raise Misread(f"{point.part} is a position in several panels", f"Write {part}.")
        if part.kind == "panel":
            raise Misread(f"{part.name} is a panel", "Name the position, such as `F9`.")
        if (point.half or point.mate) and part.kind != "connector":
            raise Misread(f"{part.name} is a {part.kind}: it has no halves", f"Write `{point.part}.{point.pin}`.")
        if part.kind in _ONE_POINT:
            return self._node(part.name, "") if point.pin is None else self._lug(part, point)
        if part.kind == "connector":
            return self._cavity(part, point)
        if point.pin is None:
            if part.kind in FUSE_KINDS or part.kind in _LIKE_PINS or part.kind == "diode":
                return part
            raise Misread(f"`{point.text}`: the pin is missing", f"Write `{point.text}.PIN`{self._pins_hint(part)}.")
        known = self.pins_known[part.name]
        if known is not None and point.pin not in known:
            near = nearest(point.pin, known)
            fix = f"Did you mean `{point.part}.{near[0]}`? " if near else ""
            raise Misread(
                f"{part.name} has no pin {point.pin}",
                f"{fix}Its pins are {listed(sorted(known, key=natural), most=16, joiner='and')} ({part.place}).",
            )
        if part.kind == "battery" and point.pin[:1] not in "+-":
            raise Misread(
                f"`{point.pin}` is not a pin of a battery",
                f"Write `{point.part}.+...` for positive, `{point.part}.-...` for negative.",
            )
        return self._node(part.name, point.pin)

    def _lug(self, part: Part, point: Point) -> int:
        """A lug on a stud: a place of its own, bolted on the one point."""
        assert isinstance(part.facts, SpliceFacts | GroundFacts) and point.pin is not None
        lugs = part.facts.lugs
        if point.pin not in lugs:
            wrong = f"has the lugs {listed(lugs, joiner='and')}" if lugs else f"is a {part.kind}: it has no pins"
            fix = f"Write `{point.part}` alone, or name its lugs: `{part.name}: {{is: {part.kind}, lugs: [{point.pin}]}}`."
            raise Misread(f"{part.name} {wrong}", fix)
        new = (part.name, point.pin) not in self.node_at
        lug = self._node(part.name, point.pin)
        if new:
            self._link(lug, self._node(part.name, ""), LinkKind.MEETS, part.name)
        return lug

    def _cavity(self, part: Part, point: Point) -> int | Part:
        """One half of an in-line cavity when the point says which; otherwise the part (the run decides)."""
        facts = part.facts
        assert isinstance(facts, ConnectorFacts)
        if point.pin is None:
            raise Misread(
                f"`{point.text}`: the cavity is missing",
                f"Write `{point.text}.CAVITY`, such as `{point.text}.1`.",
            )
        known = self.pins_known[part.name]
        for cavity in (point.pin, point.mate):
            if known is not None and cavity is not None and cavity not in known:
                near = nearest(cavity, known)
                fix = f"Did you mean `{part.name}.{near[0]}`? " if near else ""
                raise Misread(
                    f"{part.name} has no cavity {cavity}",
                    f"{fix}Its cavities are {listed(sorted(known, key=natural), most=16, joiner='and')} ({part.place}).",
                )
        if point.half is None:
            return part
        node = self._half(part, point.pin if point.half == "a" else self._a_of(facts, point.pin), point.half)
        self.named_halves.add(node)
        return node

    @staticmethod
    def _a_of(facts: ConnectorFacts, b_cavity: str) -> str:
        """The cavity of half a that meets a cavity of half b."""
        for a, b in facts.mates.items():
            if b == b_cavity:
                return a
        return b_cavity

    def _half(self, part: Part, a_cavity: str, half: str) -> int:
        facts = part.facts
        assert isinstance(facts, ConnectorFacts)
        if (part.name, f"{a_cavity}:a") not in self.node_at:
            b_cavity = facts.mates.get(a_cavity, a_cavity)
            a = self._node(part.name, f"{a_cavity}:a")
            b = self._node(part.name, f"{a_cavity}:b", f"{part.name}.{b_cavity}:b")
            self._link(a, b, LinkKind.MATING, part.name)
            if b_cavity != a_cavity and facts.mates.get(b_cavity) == a_cavity:
                self._half(
                    part, b_cavity, "a"
                )  # crossed with one another: a run may mean either, by the half it comes from
        return self.node_at[part.name, f"{a_cavity}:{half}"]

    def _mating_of(self, part: Part, point: Point) -> str:
        """The half-a cavity of the mating that a bare cavity means."""
        facts = part.facts
        assert isinstance(facts, ConnectorFacts) and point.pin is not None
        if point.mate is not None:
            for a, b in ((point.pin, point.mate), (point.mate, point.pin)):
                if facts.mates.get(a) == b:
                    return a
            if point.pin == point.mate and point.pin not in facts.mates and point.pin not in facts.mates.values():
                return point.pin
            a, b = point.text.partition(".")[2].split(">")  # as typed: `point` may be as the run's other end has it
            raise Misread(
                f"{part.name} does not say that cavity {a} meets cavity {b}",
                f"Add `mates: {{{a}: {b}}}` to {part.name} ({part.place}).",
            )
        if point.pin in facts.mates and facts.mates[point.pin] != point.pin:
            other = facts.mates[point.pin]
            raise Misread(
                f"cavity {point.pin} of half a meets cavity {other} of half b",
                f"Write `{part.name}.{point.pin}>{other}`, or the half: `{part.name}.{point.pin}:a`.",
            )
        if point.pin in facts.mates.values():
            a = self._a_of(facts, point.pin)
            raise Misread(
                f"cavity {point.pin} of half b meets cavity {a} of half a",
                f"Write `{part.name}.{a}>{point.pin}`, or the half: `{part.name}.{point.pin}:b`.",
            )
        return point.pin

    # --- runs --------------------------------------------------------------------------------------------------

    def _runs(self) -> None:
        """Wires between points. Points whose pin depends on what is still free are settled last: through-runs first, then ends."""
        settled: list[tuple[int, int, int, int | None, int | None]] = []  # run, point, next point, and their nodes
        waiting: list[tuple[int, int, Part, Point]] = []
        open_halves: set[tuple[int, int]] = set()
        for number, points in self._in_one_order():
            befores: list[int | None] = []
            afters: list[int | None] = []
            for index, point in points:
                before = after = None
                try:
                    if point.is_unknown:
                        before = after = self._new_node("?", "", "")
                        self.unknown_ends[before] = (number, self._point_place(number, index))
                    elif point.is_reference:
                        before = after = self._reference(number, index, point)
                    else:
                        found = self._resolve(point)
                        if isinstance(found, int):
                            before = after = found
                        elif index not in (points[0][0], points[-1][0]):
                            before, after = self._through(found, point)
                            if found.kind == "connector" and not self._numbers_tell(found, point):
                                open_halves.add((number, index))
                        elif found.kind in FUSE_KINDS:
                            before = after = self._fixed(point)
                        elif found.kind == "diode":
                            raise Misread(
                                f"`{point.text}` is a diode: which side is meant?",
                                f"Write `{point.text}.A` (anode) or `{point.text}.K` (cathode).",
                            )
                        else:
                            if found.kind == "connector":
                                self._mating_of(found, point)
                            waiting.append((number, index, found, point))
                except Misread as misread:
                    self._run_problem(number, index, misread)
                befores.append(before)
                afters.append(after)
            for position, (index, _) in enumerate(points[:-1]):
                then = points[position + 1][0]
                settled.append((number, index, then, afters[position], befores[position + 1]))
        late: dict[tuple[int, int], int] = {}
        taken = {node for *_, a, b in settled for node in (a, b) if node is not None}
        for number, index, part, point in waiting:
            try:
                node = late[number, index] = self._free_pin(part, point, taken)
                if part.kind == "connector" and not self._half_is_named(node):
                    open_halves.add((number, index))
            except Misread as misread:
                last_typed = max((n, i) for n, i, other, at in waiting if other is part and at.pin == point.pin)
                self._run_problem(*last_typed, misread)
        counted = []
        for number, index, then, a, b in settled:
            a = a if a is not None else late.get((number, index))
            b = b if b is not None else late.get((number, then))
            if a is not None and b is not None:
                for end, at in enumerate((index, then)):
                    if (number, at) in open_halves:
                        self.free.append((len(self.links), end))
                self.links.append(Link(a, b, LinkKind.WIRE, "", number, min(index, then)))
                counted += [(number, index, a), (number, then, b)]
        for number, index, node in sorted(counted):  # in the order typed: the later of two is said to be one too many
            self._count_wire(number, index, node)

    def _in_one_order(self) -> Iterator[tuple[int, list[tuple[int, Point]]]]:
        """The runs in one order and from one end, however they were typed, so that nothing is named or numbered by that; a run through a fuse or diode stays as it is.

        Each is its number and its points with their places in the run as typed.
        """
        found = []
        for number, run in enumerate(self.typed.runs):
            points = list(enumerate(run.points))
            wires = [wire.text for wire in run.wires]
            back = [(index, self._from_the_other_end(point)) for index, point in reversed(points)]
            here, there = (_spelt(points, wires), _spelt(back, wires[::-1]))
            if here < there and not any(self._has_direction(point) for point in run.points[1:-1]):
                points, here = back, there
            found.append((here, -number, points))
        return ((-number, points) for _, number, points in sorted(found, reverse=True))

    def _has_direction(self, point: Point) -> bool:
        part = self._part_named(point.part)
        return point.pin is None and isinstance(part, Part) and (part.kind in FUSE_KINDS or part.kind == "diode")

    @staticmethod
    def _from_the_other_end(point: Point) -> Point:
        """A point as a run from its other end writes it: `X4.5>12` is `X4.12>5` there."""
        return point if point.mate is None else replace(point, pin=point.mate, mate=point.pin)

    def _numbers_tell(self, part: Part, point: Point) -> bool:
        """Whether the cavity numbers say which half a run comes from: they differ, and no other cavity is crossed with them."""
        facts = part.facts
        assert isinstance(facts, ConnectorFacts)
        cavity = self._mating_of(part, point)
        mate = facts.mates.get(cavity, cavity)
        return mate != cavity and facts.mates.get(mate) != cavity

    def _half_is_named(self, node: int) -> bool:
        """Whether a run names one of the halves of a cavity."""
        pin = self.pin_of[node]
        return any(self.node_at[self.part_of[node], f"{pin[:-2]}:{half}"] in self.named_halves for half in "ab")

    def _run_problem(self, number: int, index: int, misread: Misread) -> None:
        run = self.typed.runs[number]
        file = self.typed.files[run.sheet]
        self.problems.append(
            file.problem(self._point_place(number, index), misread.what, misread.fix, run.points[index].text)
        )

    def _point_place(self, number: int, index: int) -> Place:
        from tracer.entry.runs import split_run

        run = self.typed.runs[number]
        return self.typed.place_in_run(run, split_run(run.text)[2 * index][0])

    def _reference(self, number: int, index: int, point: Point) -> int:
        run = self.typed.runs[number]
        sheet = self.typed.sheets[run.sheet].id
        assert point.here is not None and point.there is not None
        node = self._new_node(f"{point.text} (sheet {sheet})", "", "")
        wire = 0 if index == 0 else index - 1
        self.references.append(
            ReferenceEnd(node, point.here, point.there, number, wire, self._point_place(number, index))
        )
        return node

    def _through(self, part: Part, point: Point) -> tuple[int, int]:
        """Where a run enters and leaves a part that it passes."""
        if part.kind in FUSE_KINDS:
            return self._node(part.name, "feed"), self._node(part.name, "load")
        if part.kind == "diode":
            return self._node(part.name, "A"), self._node(part.name, "K")
        if part.kind == "connector":
            cavity = self._mating_of(part, point)
            a, b = self._half(part, cavity, "a"), self._half(part, cavity, "b")
            if point.mate is not None and point.pin != cavity:
                return b, a
            if point.mate is not None and point.mate != point.pin and not self._numbers_tell(part, point):
                if (
                    a in self.passed
                ):  # both of two crossed cavities are passed in the same sense: one lies the other way
                    a, b = self._half(part, point.mate, "b"), self._half(part, point.mate, "a")
                self.passed.add(a)
            return a, b
        known = sorted(self.pins_known[part.name] or (), key=natural)
        if len(known) != 2:
            raise Misread(
                f"`{point.text}`: it has {len(known)} pins",
                f"Split the run and name the pins{self._pins_hint(part)}.",
            )
        return self._node(part.name, known[0]), self._node(part.name, known[1])

    def _free_pin(self, part: Part, point: Point, taken: set[int]) -> int:
        """The pin of a part with like pins (or the half of a cavity) that nothing is wired to yet."""
        if part.kind == "connector":
            cavity = self._mating_of(part, point)
            candidates = [self._half(part, cavity, "a"), self._half(part, cavity, "b")]
            what, fix = (
                f"cavity {point.text} is used twice on one half",
                f"Check the cavity; if two wires really share it, say on which half: `{point.text}:a`.",
            )
        else:
            known = sorted(self.pins_known[part.name] or (), key=natural)
            if len(known) != 2:
                raise Misread(
                    f"`{point.text}`: the pin is missing", f"Write `{point.text}.PIN`{self._pins_hint(part)}."
                )
            candidates = [self._node(part.name, pin) for pin in known]
            what, fix = (
                f"both pins of {part.name} already have a wire",
                f"Name the pin if two wires share it: `{point.text}.{known[0]}`.",
            )
        for node in candidates:
            if node not in taken:
                taken.add(node)
                return node
        raise Misread(what, fix)

    def _count_wire(self, number: int, index: int, node: int) -> None:
        """A cavity holds one wire, unless the run names the half and so says that two share it."""
        count = self.wires_on[node] = self.wires_on.get(node, 0) + 1
        if count < 2 or not self.part_of[node]:
            return
        part = self.parts.get(self.part_of[node])
        if part is None or part.kind not in ("connector", "joint"):
            return
        point = self.typed.runs[number].points[index]
        if isinstance(part.facts, JointFacts) and point.pin in part.facts.several:
            return
        if point.half is None:
            fix = (
                f"Check the cavity; if two wires really share it, name the half: `{part.name}.{point.pin}:a`."
                if part.kind == "connector"
                else f"Check the cavity; if it really holds more than one wire, say so: `several: [{point.pin}]` under {part.name}."
            )
            self._run_problem(number, index, Misread(f"cavity {point.text} is used twice", fix))

    # --- the rest ----------------------------------------------------------------------------------------------

    def _meets(self) -> None:
        for part in list(self.parts.values()):
            for fragment in part.fragments:
                for pin, target in fragment.facts.meets.items():
                    own = part.label or part.name
                    text = own if part.kind in _ONE_POINT else f"{own}.{pin}"
                    a = self._point_in_facts(text, fragment, ("meets", pin), key=True, panel=part.panel, typed=pin)
                    b = self._point_in_facts(target, fragment, ("meets", pin))
                    if a is not None and b is not None and a != b:
                        self._link(a, b, LinkKind.MEETS, part.name)

    def _rail_origins(self) -> None:
        file = self.typed.vehicle_file
        for rail, facts in self.rails.items():
            self._node(rail, "")
            if facts.from_ is None:
                continue
            try:
                point = read_point(facts.from_)
                if point.is_reference or point.is_unknown or point.part == rail:
                    raise Misread("the point where the rail begins is wanted here", "Write for example `from: IGN.15`.")
                origin = self._fixed(point)
            except Misread as misread:
                self.problems.append(
                    file.problem(file.place_of(("rails", rail, "from")), misread.what, misread.fix, facts.from_)
                )
                continue
            self._link(origin, self._node(rail, ""), LinkKind.RAIL, rail)

    def _join_references(self) -> dict[int, int]:
        partner: dict[int, int] = {}
        for a, b in agreeing_pairs(self.references, self.typed.runs):
            partner[a.node] = b.node
            partner[b.node] = a.node
            self._link(a.node, b.node, LinkKind.REFERENCE)
        return partner

    def _ends(self) -> tuple[tuple[End, ...], tuple[End, ...]]:
        sources: list[End] = []
        grounds: list[End] = []
        for (name, pin), node in self.node_at.items():
            part = self.parts.get(name)
            if part is None:
                continue
            if part.kind == "battery" and pin.startswith("+"):
                sources.append(End(node, self.names[node], False, "battery positive"))
            elif part.kind == "battery" and pin.startswith("-"):
                grounds.append(End(node, self.names[node], False, "battery negative"))
            elif part.kind == "generator" and pin == "B+":
                sources.append(End(node, self.names[node], False, "generator, while it runs"))
            elif part.kind == "converter" and pin == "out":
                sources.append(End(node, self.names[node], False, "converter output"))
            elif isinstance(part.facts, ConverterFacts) and pin == "return" and part.facts.return_ == "isolated":
                grounds.append(End(node, self.names[node], False, "0 V output of the converter"))
            elif part.kind == "module":
                sources.extend(self._unsaid_outputs(part, pin, node))
        for rail, facts in self.rails.items():
            if facts.from_ is not None:
                continue
            node = self._node(rail, "")
            if facts.ground == "yes":
                grounds.append(End(node, rail, True, "ground rail whose way to the battery is not typed in"))
            else:
                sources.append(End(node, rail, True, "rail whose origin is not typed in"))
        if self.typed.vehicle.system != "12 V":
            grounds = [end for end in grounds if end.assumed or not self._stands_on(end.node, sources)]
        grounds.extend(self._assumed_masses(grounds))
        return tuple(sources), tuple(grounds)

    def _unsaid_outputs(self, part: Part, pin: str, node: int) -> Iterator[End]:
        facts = part.facts
        assert isinstance(facts, ModuleFacts)
        output = facts.outputs.get(pin)
        if output and output.drives in ("high", "both") and not output.from_:
            yield End(node, self.names[node], True, "module output; from which supply it switches is not said")

    def _assumed_masses(self, grounds: list[End]) -> Iterator[End]:
        """The body is an assumed ground where no battery negative or ground rail is joined with it."""
        mass = self.node_at.get((f"mass {DEFAULT_MASS}", ""))
        if mass is None:
            return
        carries = {LinkKind.WIRE, LinkKind.REFERENCE, LinkKind.MASS, LinkKind.STRAP, LinkKind.MEETS, LinkKind.RAIL, LinkKind.BUSSED, LinkKind.MATING,
                   LinkKind.BUSBAR, LinkKind.FUSE, LinkKind.CONTACT, LinkKind.JOINED}  # fmt: skip
        if self._joined_with(mass, carries).isdisjoint(end.node for end in grounds):
            yield End(mass, DEFAULT_MASS, True, "body; its way to a battery negative is not typed in")

    def _stands_on(self, negative: int, sources: list[End]) -> bool:
        """Whether a battery negative stands on the positive of another battery (24 V of two): it is no ground then."""
        plus = {LinkKind.WIRE, LinkKind.REFERENCE, LinkKind.MEETS, LinkKind.MATING, LinkKind.BUSBAR, LinkKind.FUSE}
        joined = self._joined_with(negative, plus)
        return any(
            end.node in joined and end.why == "battery positive" and self.part_of[end.node] != self.part_of[negative]
            for end in sources
        )

    def _joined_with(self, start: int, kinds: set[LinkKind]) -> set[int]:
        at: dict[int, list[int]] = {}
        for link in self.links:
            if link.kind in kinds:
                at.setdefault(link.a, []).append(link.b)
                at.setdefault(link.b, []).append(link.a)
        seen, queue = {start}, [start]
        while queue:
            for other in at.get(queue.pop(), ()):
                if other not in seen:
                    seen.add(other)
                    queue.append(other)
        return seen


def _spelt(points: list[tuple[int, Point]], wires: list[str]) -> list[str]:
    """A run as one list of words, to put runs in order by."""
    words = []
    for (_, point), wire in zip(points, [*wires, ""], strict=True):
        words += [point.text if point.mate is None else f"{point.part}.{point.pin}>{point.mate}", wire]
    return words
