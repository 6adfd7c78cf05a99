"""The count from the source side: plain walks down from sources, fuses and rails to the modules they name, and plain ways found one by one.

It shares nothing with the ways of `ways.py` and with `survey.py` but the circuit itself, so that a slip in one does not hide in the other. It says only
what it can show: a fuse is above a pin when a way over it was found, and is not when all ways were looked at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field

from tracer.circuit.model import Circuit, Link, LinkKind
from tracer.trace.survey import Survey

MOST_STEPS = (
    20_000  # of the search for ways to one pin; beyond it what was found holds, and what was not found is not known
)

_SOLID = frozenset(
    {LinkKind.WIRE, LinkKind.REFERENCE, LinkKind.FUSE, LinkKind.MATING, LinkKind.BUSSED, LinkKind.BUSBAR, LinkKind.MASS, LinkKind.STRAP,
     LinkKind.MEETS, LinkKind.RAIL}
)  # fmt: skip
# Current flows from `a` to `b`: supply with it, ground against it.
_ONE_WAY = {"supply": {LinkKind.DIODE, LinkKind.DRIVER_HIGH}, "ground": {LinkKind.DIODE, LinkKind.DRIVER_LOW}}
_PASSED = {level: _SOLID | {LinkKind.CONTACT, LinkKind.JOINED} | kinds for level, kinds in _ONE_WAY.items()}
_INSIDE = frozenset({LinkKind.JOINED, LinkKind.DRIVER_HIGH, LinkKind.DRIVER_LOW})


def pins_below(survey: Survey, module: str, level: str) -> dict[str, bool]:
    """The wired pins of a module that a walk from the sources (or from ground) reaches; true where it goes through the module's own inside only.

    Each pin is walked to without the inside of its module, but a pin declared as supply may be fed by the module's own outputs alone.
    """
    count, circuit = _count_of(survey), survey.circuit
    ends = count.sources if level == "supply" else count.grounds
    pins = {pin: node for pin, node in circuit.pins_of.get(module, {}).items() if circuit.is_attached(node)}
    outside = count.below(ends, module, level)
    found = {pin: False for pin, node in pins.items() if node in outside}
    facts = circuit.parts[module].facts
    declared = getattr(facts, "pins", {}) if level == "supply" else {}
    if loops := {pin for pin in pins.keys() - found if declared.get(pin, "").split()[:1] == ["supply"]}:
        inside = count.below(ends)
        found |= {pin: True for pin in loops if pins[pin] in inside}
    return found


def parts_below(survey: Survey, part: str) -> frozenset[str]:
    """The parts that supply reaches from the load side of a fuse (or from the pins of another part), the part itself left out."""
    circuit = survey.circuit
    pins = circuit.pins_of.get(part, {})
    if "load" in pins:
        starts = [pins["feed"] if part in _count_of(survey).turned else pins["load"]]
    else:
        starts = list(pins.values())
    return frozenset(circuit.node_parts[node] for node in _count_of(survey).below(starts, down=True)) - {part, ""}


def modules_below(survey: Survey, part: str) -> frozenset[str]:
    """The modules among the parts below."""
    return parts_below(survey, part) & {module.name for module in survey.circuit.modules()}


def fuses_above(survey: Survey, module: str, pins: dict[str, bool]) -> dict[str, tuple[set[str], bool]]:
    """For each pin the fuses on some way from a source to it, and whether every way was looked at. `pins` is from `pins_below`."""
    count, node_of = _count_of(survey), survey.circuit.pins_of.get(module, {})
    near = count.between([node_of[pin] for pin, inside in pins.items() if not inside], module)
    return {
        pin: count.fuses_to(node_of[pin], "" if inside else module, None if inside else near)
        for pin, inside in pins.items()
    }


def _count_of(survey: Survey) -> _Count:
    """The second count of a survey's circuit, made once."""
    kept = survey.second_count
    if not isinstance(kept, _Count):
        kept = survey.second_count = _Count(survey.circuit)
    return kept


@dataclass
class _Count:
    """What the walks of one circuit share: its sources, what no supply passes, and the fuses typed the wrong way round."""

    circuit: Circuit
    sources: frozenset[int] = field(init=False)
    grounds: frozenset[int] = field(init=False)
    barred: dict[str, frozenset[int]] = field(init=False)
    turned: frozenset[str] = field(init=False, default=frozenset())
    _around: dict[str, dict[int, list[tuple[Link, int]]]] = field(init=False)

    def __post_init__(self) -> None:
        self.sources = frozenset(end.node for end in self.circuit.sources)
        self.grounds = frozenset(end.node for end in self.circuit.grounds)
        supplied, grounded = self._solid(self.sources), self._solid(self.grounds)
        self.barred = {"supply": grounded - supplied, "ground": supplied - grounded}
        self._around = {"supply": {}, "ground": {}}
        while more := self._turned():
            self.turned |= more

    def _solid(self, starts: Iterable[int]) -> frozenset[int]:
        """Everything that is one piece of metal with the starts."""
        seen = set(starts)
        queue = list(seen)
        while queue:
            node = queue.pop()
            for link in self._links_at(node):
                other = link.b if link.a == node else link.a
                if link.kind in _SOLID and other not in seen and not self.circuit.is_left_open(link):
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen)

    def _turned(self) -> frozenset[str]:
        """Fuses whose load side is fed while their feed side is not."""
        fed = self.below(self.sources, down=True)
        return frozenset(
            link.part
            for link in self.circuit.links
            if link.kind is LinkKind.FUSE and link.part not in self.turned and link.b in fed and link.a not in fed
        )

    def _links_at(self, node: int) -> Iterator[Link]:
        return (self.circuit.links[number] for number in self.circuit.at[node])

    def _steps(self, node: int, module: str, level: str = "supply") -> list[tuple[Link, int]]:
        """The links over which supply (or ground) may come to a node or leave it, each with its other end; none inside the module."""
        steps = self._around[level].get(node)
        if steps is None:
            passed, barred = _PASSED[level], self.barred[level]
            ends = (
                (link, link.b if link.a == node else link.a) for link in self._links_at(node) if link.kind in passed
            )
            steps = self._around[level][node] = [(link, end) for link, end in ends if end not in barred and end != node]
        if module and self.circuit.node_parts[node] == module:
            return [(link, end) for link, end in steps if link.part != module or link.kind not in _INSIDE]
        return steps

    def below(
        self, starts: Iterable[int], module: str = "", level: str = "supply", *, down: bool = False
    ) -> frozenset[int]:
        """Every node reached from the starts; no other end is passed, and nothing inside the module. `down`: a fuse is passed from feed to load only."""
        seen = set(starts)
        stops = (self.sources if level == "supply" else self.grounds) - seen
        one_way = _ONE_WAY[level] | ({LinkKind.FUSE} if down else set())
        queue = list(seen)
        while queue:
            node = queue.pop()
            if node in stops:
                continue
            for link, other in self._steps(node, module, level):
                if other in seen:
                    continue
                forward = (link.a == node) is (level == "supply")
                if link.kind not in one_way or forward is not (link.kind is LinkKind.FUSE and link.part in self.turned):
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen)

    def between(self, pins: Collection[int], module: str, within: Collection[int] | None = None) -> frozenset[int]:
        """What is left between sources and pins when every dead end is taken away, then what hangs on that, and so on."""
        seen = set(pins)
        queue = list(seen)
        neighbours: dict[int, set[int]] = {}
        while queue:
            node = queue.pop()
            others = neighbours[node] = (
                set()
                if node in self.sources
                else {other for _, other in self._steps(node, module) if within is None or other in within}
            )
            queue += others - seen
            seen |= others
        for node in [*neighbours]:
            for other in neighbours[node]:
                neighbours[other].add(node)
        ends = [node for node in seen if len(neighbours[node]) < 2 and node not in self.sources and node not in pins]
        while ends:
            node = ends.pop()
            seen.discard(node)
            for other in neighbours[node]:
                neighbours[other].discard(node)
                if other in seen and len(neighbours[other]) == 1 and other not in self.sources and other not in pins:
                    ends.append(other)
        return frozenset(seen)

    def fuses_to(self, pin: int, module: str, near: frozenset[int] | None) -> tuple[set[str], bool]:
        """The fuses on the ways from the sources to one pin, way after way from the pin upwards; whether that was all of them."""
        if pin in self.sources:
            return set(), True
        near = self.between([pin], module, near)
        ahead = {link.part for node in near for link, other in self._steps(node, module) if link.kind is LinkKind.FUSE and other in near}  # fmt: skip
        found: set[str] = set()
        on_way: dict[int, str] = {pin: ""}  # node: the fuse over which the way came to it
        stack = [self._up(pin, module, near)]
        for _ in range(MOST_STEPS):
            if not stack or found >= ahead:
                return found, True
            step = next(stack[-1], None)
            if step is None:
                stack.pop()
                on_way.popitem()
                continue
            link, other = step
            if other in on_way:
                continue
            on_way[other] = link.part if link.kind is LinkKind.FUSE else ""
            if other in self.sources:
                found.update(on_way.values())
                found.discard("")
                on_way.popitem()
            else:
                stack.append(self._up(other, module, near))
        return found, False

    def _up(self, node: int, module: str, near: frozenset[int]) -> Iterator[tuple[Link, int]]:
        """The steps towards the sources from a node."""
        return (
            (link, other)
            for link, other in self._steps(node, module)
            if other in near and not (link.kind in _ONE_WAY["supply"] and link.a == node)
        )
