"""The runs, wire by wire: each point its node, each pin that is not written the one that is still free."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from tracer.circuit.joining import Joining
from tracer.circuit.kinds import FUSE_KINDS, PARTS, Link, LinkKind, PartKind, Written
from tracer.circuit.model import Part, ReferenceEnd
from tracer.circuit.points import Points
from tracer.entry.models import ConnectorFacts, JointFacts
from tracer.entry.problems import Place, listed
from tracer.entry.runs import Point, split_run
from tracer.entry.values import Misread

_WORDS = {"A": " (anode)", "K": " (cathode)"}  # what a pin of a diode is called


class Wires:
    """Adds the wires. `free`: at which ends of which links the half of a cavity was left open."""

    def __init__(self, joining: Joining, points: Points) -> None:
        self.joining = joining
        self.points = points
        self.free: list[tuple[int, int]] = []
        self._wires_on: dict[int, list[tuple[int, int]]] = {}

    def make(self) -> None:
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
                        before = after = self.joining.new_node("?", "", "")
                        self.joining.unknown_ends[before] = (number, self._point_place(number, index))
                    elif point.is_reference:
                        before = after = self._reference(number, index, point)
                    else:
                        found = self.points.resolve(point)
                        if isinstance(found, int):
                            before = after = found
                        elif index not in (points[0][0], points[-1][0]):
                            before, after = self.points.through(found, point)
                            if found.kind is PartKind.CONNECTOR and not self.points.numbers_tell(found, point):
                                open_halves.add((number, index))
                        elif found.kind in FUSE_KINDS and found.name in self.joining.fed:
                            before = after = self.points.fixed(point)
                        elif PARTS[found.kind].written is Written.SIDES and found.kind not in FUSE_KINDS:
                            raise Misread(
                                f"`{point.text}` is a {found.kind}: which side is meant?",
                                "Write "
                                + " or ".join(
                                    f"`{point.text}.{pin}`{_WORDS.get(pin, '')}" for pin in PARTS[found.kind].pins
                                )
                                + ".",
                            )
                        else:
                            if found.kind is PartKind.CONNECTOR:
                                self.points.mating_of(found, point)
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
                node = late[number, index] = self.points.free_pin(part, point, taken)
                if part.kind is PartKind.CONNECTOR and not self.points.half_is_named(node):
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
                        self.free.append((len(self.joining.links), end))
                self.joining.links.append(Link(a, b, LinkKind.WIRE, "", number, min(index, then)))
                counted += [(number, index, a), (number, then, b)]
        for number, index, node in sorted(counted):  # in the order typed: the later of two is said to be one too many
            self._count_wire(number, index, node)

    def _in_one_order(self) -> Iterator[tuple[int, list[tuple[int, Point]]]]:
        """The runs in one order and from one end, however they were typed, so that nothing is named or numbered by that; a run through a fuse or diode stays as it is.

        Each is its number and its points with their places in the run as typed.
        """
        found = []
        for number, run in enumerate(self.joining.typed.runs):
            points = list(enumerate(run.points))
            wires = [wire.text for wire in run.wires]
            back = [(index, self._from_the_other_end(point)) for index, point in reversed(points)]
            here, there = (_spelt(points, wires), _spelt(back, wires[::-1]))
            if here < there and not any(self._has_direction(point) for point in run.points[1:-1]):
                points, here = back, there
            found.append((here, -number, points))
        return ((-number, points) for _, number, points in sorted(found, reverse=True))

    def _has_direction(self, point: Point) -> bool:
        part = self.joining.part_named(point.part)
        return point.pin is None and isinstance(part, Part) and PARTS[part.kind].written is Written.SIDES

    @staticmethod
    def _from_the_other_end(point: Point) -> Point:
        """A point as a run from its other end writes it: `X4.5>12` is `X4.12>5` there; `X4.5>12:a` names its half and so stays what it is."""
        return point if point.mate is None or point.half is not None else replace(point, pin=point.mate, mate=point.pin)

    def _run_problem(self, number: int, index: int, misread: Misread) -> None:
        run = self.joining.typed.runs[number]
        file = self.joining.typed.files[run.sheet]
        self.joining.problems.append(
            file.problem(self._point_place(number, index), misread.what, misread.fix, run.points[index].text)
        )

    def _point_place(self, number: int, index: int) -> Place:
        run = self.joining.typed.runs[number]
        return self.joining.typed.place_in_run(run, split_run(run.text)[2 * index][0])

    def _reference(self, number: int, index: int, point: Point) -> int:
        run = self.joining.typed.runs[number]
        sheet = self.joining.typed.sheets[run.sheet].id
        assert point.here is not None and point.there is not None
        node = self.joining.new_node(f"{point.text} (sheet {sheet})", "", "")
        wire = 0 if index == 0 else index - 1
        self.joining.references.append(
            ReferenceEnd(node, point.here, point.there, number, wire, self._point_place(number, index))
        )
        return node

    def _count_wire(self, number: int, index: int, node: int) -> None:
        """A cavity holds one wire, unless the run names the half and so says that two share it."""
        here = self._wires_on.get(node)
        if here is None:
            self._wires_on[node] = [(number, index)]
            return
        here.append((number, index))
        if not self.joining.part_of[node]:
            return
        part = self.joining.parts.get(self.joining.part_of[node])
        if part is None or not PARTS[part.kind].one_wire:
            return
        point = self.joining.typed.runs[number].points[index]
        if isinstance(part.facts, JointFacts) and point.pin in part.facts.several:
            return
        if point.half is None:
            places = [str(self._point_place(*one)) for one in here if one[0] != number]
            also = f": here and at {listed(places, joiner='and')}" if places else ""
            fix = (
                f"Compare both with the diagram.{self._in_no_run(part)} If two wires really share it, name the half: `{part.name}.{point.pin}:a`."
                if part.kind is PartKind.CONNECTOR
                else f"Check the cavity; if it really holds more than one wire, say so: `several: [{point.pin}]` under {part.name}."
            )
            self._run_problem(number, index, Misread(f"cavity {point.text} is used twice{also}", fix))

    def _in_no_run(self, connector: Part) -> str:
        """The one cavity of an in-line connector that is in use by its own list and stands in no run."""
        missing = cavities_in_no_run(connector, lambda pin: (connector.name, pin) in self.joining.node_at)
        return f" {connector.name}.{missing[0]} is in no run: is it meant in one of them?" if len(missing) == 1 else ""


def cavities_in_no_run(connector: Part, has_node: Callable[[str], bool]) -> list[str]:
    """Cavities of an in-line connector that are in use by its own list and stand in no run; `has_node` says whether a half of a cavity is a point of the circuit."""
    facts = connector.facts
    assert isinstance(facts, ConnectorFacts)
    return [cavity for cavity in facts.cavities if cavity not in facts.unused and not has_node(f"{cavity}:a")]


def _spelt(points: list[tuple[int, Point]], wires: list[str]) -> list[str]:
    """A run as one list of words, to put runs in order by."""
    words = []
    for (_, point), wire in zip(points, [*wires, ""], strict=True):
        words += [point.text if point.mate is None else f"{point.part}.{point.pin}>{point.mate}", wire]
    return words
