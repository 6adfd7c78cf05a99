"""The second count: plain walks from pins back to sources and ground, and down from fuses to the modules they name, and plain ways found one by one.

It shares nothing with the ways of `ways.py` and with `survey.py` but the circuit itself, so that a slip in one does not hide in the other. It says only
what it can show: a fuse is above a pin when a way over it was found, and is not when all ways were looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

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
    """The wired pins of a module from which a walk comes to a source (or to ground); true where it goes through the module's own inside only.

    Each pin is walked to without the inside of its module, but a pin declared as supply may be fed by the module's own outputs alone.
    """
    count, circuit = _count_of(survey), survey.circuit
    pins = {pin: node for pin, node in circuit.pins_of.get(module, {}).items() if circuit.is_attached(node)}
    found = {pin: False for pin, node in pins.items() if count.comes_to(node, module, level)}
    declared = getattr(circuit.parts[module].facts, "pins", {}) if level == "supply" else {}
    loops = {pin for pin in pins.keys() - found if declared.get(pin, "").split()[:1] == ["supply"]}
    found |= {pin: True for pin in loops if count.comes_to(pins[pin], "", level)}
    return found


def parts_below(survey: Survey, part: str) -> frozenset[str]:
    """The parts that supply reaches from the load side of a fuse (or from the pins of another part), the part itself left out."""
    circuit = survey.circuit
    pins = circuit.pins_of.get(part, {})
    if "load" in pins:
        starts = [pins["feed"] if part in _count_of(survey).turned else pins["load"]]
    else:
        starts = list(pins.values())
    return frozenset(circuit.node_parts[node] for node in _count_of(survey).below(starts, _count_of(survey).turned)) - {
        part,
        "",
    }


def modules_below(survey: Survey, part: str) -> frozenset[str]:
    """The modules among the parts below."""
    return parts_below(survey, part) & {module.name for module in survey.circuit.modules()}


def fuses_above(survey: Survey, module: str, pins: dict[str, bool]) -> dict[str, tuple[set[str], bool]]:
    """For each pin the fuses on some way from a source to it, and whether every way was looked at. `pins` is from `pins_below`."""
    count, node_of = _count_of(survey), survey.circuit.pins_of.get(module, {})
    return {pin: count.fuses_to(node_of[pin], "" if inside else module) for pin, inside in pins.items()}


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
    _around: dict[str, dict[int, list[tuple[Link, int]]]] = field(init=False)

    def __post_init__(self) -> None:
        self.sources = frozenset(end.node for end in self.circuit.sources)
        self.grounds = frozenset(end.node for end in self.circuit.grounds)
        supplied, grounded = self._solid(self.sources), self._solid(self.grounds)
        self.barred = {"supply": grounded - supplied, "ground": supplied - grounded}
        self._around = {"supply": {}, "ground": {}}

    def _solid(self, starts: Iterable[int]) -> frozenset[int]:
        """Everything that is one piece of metal with the starts."""
        seen = set(starts)
        queue = list(seen)
        while queue:
            node = queue.pop()
            for link in self.links_at(node):
                other = link.b if link.a == node else link.a
                if link.kind in _SOLID and other not in seen and not self.circuit.is_left_open(link):
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen)

    @cached_property
    def turned(self) -> frozenset[str]:
        """Fuses typed the wrong way round: their load side is fed while their feed side is not, and so on upwards."""
        found: frozenset[str] = frozenset()
        fuses = [link for link in self.circuit.links if link.kind is LinkKind.FUSE]
        while True:
            fed = self.below(self.sources, found)
            more = {link.part for link in fuses if link.part not in found and link.b in fed and link.a not in fed}
            if not more:
                return found
            found |= more

    def links_at(self, node: int) -> Iterator[Link]:
        """The links at a node."""
        return (self.circuit.links[number] for number in self.circuit.at[node])

    def _steps(self, node: int, module: str, level: str = "supply") -> list[tuple[Link, int]]:
        """The links over which supply (or ground) may come to a node or leave it, each with its other end; none inside the module."""
        steps = self._around[level].get(node)
        if steps is None:
            passed, barred = _PASSED[level], self.barred[level]
            ends = ((link, link.b if link.a == node else link.a) for link in self.links_at(node) if link.kind in passed)
            steps = self._around[level][node] = [(link, end) for link, end in ends if end not in barred and end != node]
        if module and self.circuit.node_parts[node] == module:
            return [(link, end) for link, end in steps if link.part != module or link.kind not in _INSIDE]
        return steps

    def below(self, starts: Iterable[int], turned: frozenset[str]) -> frozenset[int]:
        """Every node that supply reaches going down from the starts, no other source passed; a fuse from its feed side to its load side, those turned the other way."""
        seen = set(starts)
        stops = self.sources - seen
        queue = list(seen)
        while queue:
            node = queue.pop()
            if node in stops:
                continue
            for link, other in self._steps(node, ""):
                if other not in seen:
                    is_fuse = link.kind is LinkKind.FUSE
                    down = (link.a == node) is not (is_fuse and link.part in turned)
                    if down or not (is_fuse or link.kind in _ONE_WAY["supply"]):
                        seen.add(other)
                        queue.append(other)
        return frozenset(seen)

    def comes_to(self, pin: int, module: str, level: str) -> bool:
        """Whether supply (or ground) comes to a pin with nothing inside the module passed: a walk back from the pin to the first end."""
        ends = self.sources if level == "supply" else self.grounds
        seen, queue = {pin}, [pin]
        for node in queue:
            if node in ends:
                return True
            for link, other in self._steps(node, module, level):
                against = (link.b == node) is (level == "supply")
                if other not in seen and (against or link.kind not in _ONE_WAY[level]):
                    seen.add(other)
                    queue.append(other)
        return False

    @cached_property
    def _core(self) -> tuple[frozenset[int], dict[int, int]]:
        """What is left between the sources when every dead end is taken away, then what hung on that; and for the rest the next node inwards."""
        inwards: dict[int, int] = {}
        nodes = range(len(self.circuit.node_names))
        neighbours = {node: {other for _, other in self._steps(node, "")} for node in nodes if self.circuit.at[node]}
        left = set(neighbours)
        ends = [node for node in left if len(neighbours[node]) < 2 and node not in self.sources]
        while ends:
            node = ends.pop()
            left.discard(node)
            for other in neighbours[node]:
                inwards[node] = other
                neighbours[other].discard(node)
                if len(neighbours[other]) == 1 and other not in self.sources:
                    ends.append(other)
        return frozenset(left), inwards

    def _between(self, pin: int, module: str) -> frozenset[int]:
        """What lies between the sources and a pin, every dead end taken away."""
        core, inwards = self._core
        kept = {pin}
        while pin in inwards and pin not in core:
            pin = inwards[pin]
            kept.add(pin)
        if pin not in core:  # no source anywhere behind it
            return frozenset(kept)
        seen, queue = {pin}, [pin]
        while queue:
            node = queue.pop()
            if node in self.sources:
                continue
            for _, other in self._steps(node, module):
                if other in core and other not in seen:
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen | kept)

    def fuses_to(self, pin: int, module: str) -> tuple[set[str], bool]:
        """The fuses on the ways from the sources to one pin, way after way from the pin upwards; whether that was all of them."""
        if pin in self.sources:
            return set(), True
        near = self._between(pin, module)
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
