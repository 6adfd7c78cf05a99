"""Points as they are typed become nodes: a pin, one half of a cavity, a lug; what the point alone does not say is left to the run."""

from __future__ import annotations

from tracer.circuit.joining import Joining, pins_words
from tracer.circuit.kinds import FUSE_KINDS, PARTS, LinkKind, PartKind, Written
from tracer.circuit.model import Part
from tracer.entry.load import Fragment
from tracer.entry.models import ConnectorFacts, GroundFacts, SpliceFacts
from tracer.entry.problems import listed, natural, nearest
from tracer.entry.runs import Point, read_point
from tracer.entry.values import Misread


class Points:
    """Finds the node of each point; `named_halves` are those that a run names, `passed` the half-a nodes of crossed cavities that runs went through."""

    def __init__(self, joining: Joining) -> None:
        self.joining = joining
        self.named_halves: set[int] = set()
        self.passed: set[int] = set()
        self._uses: dict[str, int] = {}

    def fixed(self, point: Point, panel: str | None = None) -> int:
        """The node of a point that needs no neighbour to be understood."""
        pending = self.resolve(point, panel)
        if isinstance(pending, int):
            return pending
        part = pending
        if part.undeclared and part.kind is PartKind.BOX:
            return self.use_of(part)
        if part.kind in FUSE_KINDS:
            if part.name in self.joining.fed:
                return self.joining.node(part.name, "load")
            raise self.joining.which_side(part, point.text)
        raise Misread(
            f"`{point.text}`: the pin is missing",
            f"{self.joining.meant(part)}Write `{point.text}.PIN`{self.joining.pins_hint(part)}.",
        )

    def resolve(self, point: Point, panel: str | None = None) -> int | Part:
        """The node of a point, or its part where the pin depends on the run (a bare fuse, a bare load, a bare cavity)."""
        if point.part in self.joining.rails and point.part not in self.joining.parts:
            if point.pin is not None:
                raise Misread(f"{point.part} is a rail: it has no pins", f"Write `{point.part}` alone.")
            return self.joining.node(point.part, "")
        part = self.joining.part_named(point.part, panel)
        if part is None:
            raise AssertionError(f"{point.part} is neither a part nor a rail")  # `with_undeclared` left it out
        if isinstance(part, str):
            raise Misread(f"{point.part} is a position in several panels", f"Write {part}.")
        if PARTS[part.kind].written is Written.NOT:
            raise Misread(f"{part.name} is a panel", "Name the position, such as `F9`.")
        if part.undeclared and part.kind is PartKind.BOX:
            return self._of_unknown_kind(part, point)
        if (point.half or point.mate) and part.kind is not PartKind.CONNECTOR:
            raise Misread(f"{part.name} is a {part.kind}: it has no halves", f"Write `{point.part}.{point.pin}`.")
        if PARTS[part.kind].written is Written.ALONE:
            return self.joining.node(part.name, "") if point.pin is None else self._lug(part, point)
        if part.kind is PartKind.CONNECTOR:
            return self._cavity(part, point)
        if point.pin is None:
            if PARTS[part.kind].written in (Written.SIDES, Written.LIKE_PINS):
                return part
            raise Misread(
                f"`{point.text}`: the pin is missing",
                f"{self.joining.meant(part)}Write `{point.text}.PIN`{self.joining.pins_hint(part)}.",
            )
        known = self.joining.pins_known[part.name]
        if known is not None and point.pin not in known:
            near = nearest(point.pin, known)
            fix = f"Did you mean `{point.part}.{near[0]}`? " if near else ""
            raise Misread(
                f"{part.name} has no pin {point.pin}",
                f"{fix or self.joining.meant(part)}Its pins are {pins_words(known)} ({part.place}).",
            )
        if part.kind is PartKind.BATTERY and point.pin[:1] not in "+-":
            raise Misread(
                f"`{point.pin}` is not a pin of a battery",
                f"Write `{point.part}.+...` for positive, `{point.part}.-...` for negative.",
            )
        return self.joining.node(part.name, point.pin)

    def _of_unknown_kind(self, part: Part, point: Point) -> int | Part:
        """A pin of a part that no sheet declares, both halves as one; without a pin, the part: each use of its bare name is a node by itself, joined with nothing."""
        if point.pin is None:
            return part
        pin = point.pin if point.mate is None else ">".join(sorted((point.pin, point.mate), key=natural))
        return self.joining.node(part.name, pin)

    def use_of(self, part: Part) -> int:
        """A node for one use of the bare name of a part that no sheet declares."""
        number = self._uses[part.name] = self._uses.get(part.name, 0) + 1
        return self.joining.node(part.name, f"use {number}", part.name if number == 1 else f"{part.name}, use {number}")

    def _lug(self, part: Part, point: Point) -> int:
        """A lug on a stud: a place of its own, bolted on the one point."""
        assert isinstance(part.facts, SpliceFacts | GroundFacts) and point.pin is not None
        lugs = part.facts.lugs
        if point.pin not in lugs:
            wrong = f"has the lugs {listed(lugs, joiner='and')}" if lugs else f"is a {part.kind}: it has no pins"
            fix = f"Write `{point.part}` alone, or name its lugs: `{part.name}: {{is: {part.kind}, lugs: [{point.pin}]}}`."
            raise Misread(f"{part.name} {wrong}", fix)
        new = (part.name, point.pin) not in self.joining.node_at
        lug = self.joining.node(part.name, point.pin)
        if new:
            self.joining.link(lug, self.joining.node(part.name, ""), LinkKind.MEETS, part.name)
        return lug

    def _cavity(self, part: Part, point: Point) -> int | Part:
        """One half of an in-line cavity when the point says which; otherwise the part (the run decides)."""
        facts = part.facts
        assert isinstance(facts, ConnectorFacts)
        if point.pin is None:
            raise Misread(
                f"`{point.text}`: the cavity is missing",
                f"{self.joining.meant(part)}Write `{point.text}.CAVITY`, such as `{point.text}.1`.",
            )
        known = self.joining.pins_known[part.name]
        for cavity in (point.pin, point.mate):
            if known is not None and cavity is not None and cavity not in known:
                near = nearest(cavity, known)
                fix = f"Did you mean `{part.name}.{near[0]}`? " if near else ""
                raise Misread(
                    f"{part.name} has no cavity {cavity}",
                    f"{fix or self.joining.meant(part)}Its cavities are {pins_words(known)} ({part.place}).",
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
        if (part.name, f"{a_cavity}:a") not in self.joining.node_at:
            b_cavity = facts.mates.get(a_cavity, a_cavity)
            a = self.joining.node(part.name, f"{a_cavity}:a")
            b = self.joining.node(part.name, f"{a_cavity}:b", f"{part.name}.{b_cavity}:b")
            self.joining.link(a, b, LinkKind.MATING, part.name)
            if b_cavity != a_cavity and facts.mates.get(b_cavity) == a_cavity:
                self._half(
                    part, b_cavity, "a"
                )  # crossed with one another: a run may mean either, by the half it comes from
        return self.joining.node_at[part.name, f"{a_cavity}:{half}"]

    def mating_of(self, part: Part, point: Point) -> str:
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

    def numbers_tell(self, part: Part, point: Point) -> bool:
        """Whether the cavity numbers say which half a run comes from: they differ, and no other cavity is crossed with them."""
        facts = part.facts
        assert isinstance(facts, ConnectorFacts)
        cavity = self.mating_of(part, point)
        mate = facts.mates.get(cavity, cavity)
        return mate != cavity and facts.mates.get(mate) != cavity

    def half_is_named(self, node: int) -> bool:
        """Whether a run names one of the halves of a cavity."""
        pin = self.joining.pin_of[node]
        return any(
            self.joining.node_at[self.joining.part_of[node], f"{pin[:-2]}:{half}"] in self.named_halves for half in "ab"
        )

    def through(self, part: Part, point: Point) -> tuple[int, int]:
        """Where a run enters and leaves a part that it passes."""
        row = PARTS[part.kind]
        if part.undeclared and part.kind is PartKind.BOX:
            return self.use_of(part), self.use_of(part)
        if row.written is Written.SIDES:
            return self.joining.node(part.name, row.pins[0]), self.joining.node(part.name, row.pins[1])
        if part.kind is PartKind.CONNECTOR:
            cavity = self.mating_of(part, point)
            a, b = self._half(part, cavity, "a"), self._half(part, cavity, "b")
            if point.mate is not None and point.pin != cavity:
                return b, a
            if point.mate is not None and point.mate != point.pin and not self.numbers_tell(part, point):
                if (
                    a in self.passed
                ):  # both of two crossed cavities are passed in the same sense: one lies the other way
                    a, b = self._half(part, point.mate, "b"), self._half(part, point.mate, "a")
                self.passed.add(a)
            return a, b
        known = sorted(self.joining.pins_known[part.name] or (), key=natural)
        if len(known) != 2:
            raise Misread(
                f"`{point.text}`: it has {len(known)} pins",
                f"Split the run and name the pins{self.joining.pins_hint(part)}.",
            )
        return self.joining.node(part.name, known[0]), self.joining.node(part.name, known[1])

    def free_pin(self, part: Part, point: Point, taken: set[int]) -> int:
        """The pin of a part with like pins (or the half of a cavity, the side of a fuse) that nothing is wired to yet."""
        if part.undeclared and part.kind is PartKind.BOX:
            return self.use_of(part)
        if part.kind in FUSE_KINDS:
            return self._free_side(part, point, taken)
        if part.kind is PartKind.CONNECTOR:
            cavity = self.mating_of(part, point)
            candidates = [self._half(part, cavity, "a"), self._half(part, cavity, "b")]
            what, fix = (
                f"cavity {point.text} is used twice on one half",
                f"Check the cavity; if two wires really share it, say on which half: `{point.text}:a`.",
            )
        else:
            known = sorted(self.joining.pins_known[part.name] or (), key=natural)
            if len(known) != 2:
                raise Misread(
                    f"`{point.text}`: the pin is missing",
                    f"{self.joining.meant(part)}Write `{point.text}.PIN`{self.joining.pins_hint(part)}.",
                )
            candidates = [self.joining.node(part.name, pin) for pin in known]
            what, fix = (
                f"both pins of {part.name} already have a wire",
                f"Name the pin if two wires share it: `{point.text}.{known[0]}`.",
            )
        for node in candidates:
            if node not in taken:
                taken.add(node)
                return node
        raise Misread(what, fix)

    def _free_side(self, part: Part, point: Point, taken: set[int]) -> int:
        """The side of a fuse that nothing is wired to or bolted on yet, where the other one is taken; of one that no sheet declares its load side first."""
        met = {text for one in self.joining.parts.values() for text in one.facts.meets.values()}
        free = [
            pin
            for pin in PARTS[part.kind].pins
            if self.joining.node(part.name, pin) not in taken
            and pin not in part.facts.meets
            and not met & {f"{part.name}.{pin}", f"{part.label}.{pin}"}
        ]
        if len(free) == 1 or (part.undeclared and free):
            node = self.joining.node(part.name, free[-1])
            taken.add(node)
            return node
        if part.undeclared:
            return self.use_of(part)
        if not free:
            raise Misread(
                f"both sides of {part.name} already have a wire",
                f"Name the side if two wires share it: `{point.text}.feed` or `{point.text}.load`.",
            )
        raise self.joining.which_side(part, point.text)

    def point_in_facts(
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
            return self.fixed(point, panel)
        except Misread as misread:
            self.joining.problems.append(fragment.file.problem(place, misread.what, misread.fix, typed or text))
            return None
