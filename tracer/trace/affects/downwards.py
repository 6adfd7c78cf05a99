"""What lies below a fuse: plain walks down from it to the parts that its text may name.

Part of the second count: it shares nothing with the ways of `trace/ways/` but the circuit. Where a walk goes over contacts that are never closed
together, it is repeated for every setting of their switches and relays, one after the other, with only the contacts of that setting.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import product
from math import prod
from weakref import WeakKeyDictionary

from tracer.circuit.kinds import Link, LinkKind, PartKind
from tracer.circuit.states import Level
from tracer.trace.lists.second_table import joined, that_are
from tracer.trace.tracing import Tracing

MOST_STEPS = 400_000  # settings times links of a walk: beyond that they are not tried one by one

_BOTH_WAYS = that_are("metal", "strap", "contact", "bridge in a module")
_DOWN_ONLY = that_are("fuse", "diode", "output to supply")  # from `a` to `b`

_Setting = dict[str, str]  # what is switched, and the position it is in


@dataclass(frozen=True, slots=True)
class _Switch:
    """What moves a contact, its positions, and those in which this contact is closed, or may be."""

    name: str
    positions: list[str]
    closed: set[str]

    def passes(self, setting: _Setting, left_open: Collection[str]) -> bool:
        """Whether the contact is closed in a setting; a switch that it does not name closes it, unless it is left open."""
        if self.name in setting:
            return setting[self.name] in self.closed
        return self.name not in left_open


_Steps = list[list[tuple[int, _Switch | None]]]


def parts_below(tracing: Tracing, part: str) -> frozenset[str]:
    """The parts that supply reaches from the load side of a fuse (or from the pins of another part), the part itself left out."""
    circuit, walks = tracing.circuit, _walks(tracing)
    pins = circuit.pins_of.get(part, {})
    feeds: list[int] = []
    starts = list(pins.values())
    if "load" in pins:
        turned = part in walks.turned
        starts, feeds = [pins["feed" if turned else "load"]], [pins["load" if turned else "feed"]]
    return frozenset(circuit.node_parts[node] for node in walks.below(starts, feeds)) - {part, ""}


def modules_below(tracing: Tracing, part: str) -> frozenset[str]:
    """The modules among the parts below."""
    return parts_below(tracing, part).intersection(module.name for module in tracing.circuit.modules())


class _Walks:
    """Walks through one circuit. What of it never changes is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.circuit = circuit = tracing.circuit
        self.sources = frozenset(end.node for end in circuit.sources)
        self.stops = frozenset(node for node in self.sources if _always_live(tracing, node))
        grounds = joined(circuit, [end.node for end in circuit.grounds])
        self.barred = grounds - joined(circuit, self.sources)
        self.pins = {node for pins in circuit.pins_of.values() for node in pins.values()}
        self.switches = {
            number: self._switch(link) for number, link in enumerate(circuit.links) if link.kind is LinkKind.CONTACT
        }
        self.turned, self.either = frozenset[str](), frozenset[str]()
        self.turned, self.either = self._fuse_senses()
        self.down, self.up = self._steps(down=True), self._steps(down=False)

    def _fuse_senses(self) -> tuple[frozenset[str], frozenset[str]]:
        """Fuses typed the wrong way round, and fuses between two sources, which supply passes in either sense."""
        fuses = [link for link in self.circuit.links if link.kind is LinkKind.FUSE]
        turned: set[str] = set()
        while True:  # the load side is fed while the feed side is not, and so on upwards
            self.turned = frozenset(turned)
            fed = self.walk(self.sources, self._steps(down=True))
            more = {fuse.part for fuse in fuses if fuse.b in fed and fuse.a not in fed and fuse.part not in turned}
            if not more:
                break
            turned |= more
        either: set[str] = set()
        while True:  # from source to source over fuses in a row
            beside = self._beside(self.sources, either)
            more = {fuse.part for fuse in fuses if fuse.b in beside and fuse.part not in either | turned}
            if not more:
                return frozenset(turned), frozenset(either)
            either |= more

    def _beside(self, sources: Iterable[int], passed: Collection[str]) -> set[int]:
        """What a source meets without any fuse but those passed from their load side to their feed side."""
        seen = set(sources)
        queue = list(seen)
        for node in queue:
            for link in self._links(node):
                other = link.b if link.a == node else link.a
                conducts = link.kind in _BOTH_WAYS and link.kind is not LinkKind.CONTACT
                backwards = link.kind is LinkKind.FUSE and link.part in passed and node == link.b
                if (conducts or backwards) and other not in seen and other not in self.barred:
                    seen.add(other)
                    queue.append(other)
        return seen

    def _steps(self, *, down: bool) -> _Steps:
        """From each node one step down (or up): where to, and the contact on the way if there is one."""
        steps: _Steps = [[] for _ in self.circuit.node_parts]
        for number, link in enumerate(self.circuit.links):
            forwards = backwards = link.kind in _BOTH_WAYS
            if link.kind in _DOWN_ONLY:
                forwards = (link.part in self.turned) is not down
                backwards = not forwards
                if link.kind is LinkKind.FUSE and link.part in self.either:
                    forwards = backwards = True
            switch = self.switches.get(number)
            if forwards and link.b not in self.barred:
                steps[link.a].append((link.b, switch))
            if backwards and link.a not in self.barred:
                steps[link.b].append((link.a, switch))
        return steps

    def walk(
        self, starts: Iterable[int], steps: _Steps, setting: _Setting | None = None, left_open: Collection[str] = ()
    ) -> set[int]:
        """Every node met going down (or up) from some nodes: over all contacts, or those of one setting but for switches left open."""
        seen = set(starts)
        stops = self.stops - seen
        queue = list(seen)
        while queue:
            node = queue.pop()
            if node in stops:
                continue
            for other, switch in steps[node]:
                if other in seen or (switch and setting is not None and not switch.passes(setting, left_open)):
                    continue
                seen.add(other)
                queue.append(other)
        return seen

    def below(self, starts: list[int], feeds: list[int]) -> set[int]:
        """The nodes below some nodes, which are fed from `feeds`, in at least one setting."""
        region = self.walk(starts, self.down)
        before = self.walk(feeds, self.up) if feeds else set[int]()
        clashing = self._clashing(region | before)
        if not clashing:
            return region
        reached = _Reached(self, starts, feeds)
        # What the settings of the feed alone let through, without any other contact that clashes, needs no more trials.
        above = self._clashing(before)
        found = set(starts)
        for setting in _settings(above, len(region)) or ():
            found |= reached(setting, clashing.keys() - above.keys())
        for node in region & self.pins - found:
            way = (self.walk([node], self.up) & region) | before
            settings = _settings(self._clashing(way), len(way))
            if settings is None or any(node in reached(one) for one in settings):
                found.add(node)
        return found | (region - self.pins)

    # --- settings ----------------------------------------------------------------------------------------------

    def _clashing(self, region: Collection[int]) -> dict[str, list[str]]:
        """What is switched with contacts in a region that no position closes together, with its positions."""
        open_to: dict[str, set[str]] = {}
        positions: dict[str, list[str]] = {}
        for node in region:
            for other, switch in self.down[node]:  # contacts lead both ways: one list holds them all
                if switch and other in region:
                    positions[switch.name] = switch.positions
                    open_to.setdefault(switch.name, set(switch.positions)).intersection_update(switch.closed)
        return {name: positions[name] for name in sorted(positions) if not open_to[name]}

    def _switch(self, link: Link) -> _Switch:
        """What moves a contact, its positions, and those in which it is closed, or may be."""
        part = self.circuit.parts[link.part]
        lever = part.levers[link.lever]
        known = {*link.closed, *lever.unknown}
        if part.kind is PartKind.RELAY:
            return _Switch(lever.name, ["rest", "energised"], known)
        if lever.follows is None:
            return _Switch(lever.name, [*lever.contacts, *lever.unknown], known)
        if lever.follows == "key":
            keys = list(self.circuit.typed.vehicle.key)
            closed = {key for key in keys if key in link.closed or key not in lever.contacts}
            return _Switch("the key", keys, closed)
        return _Switch(f"condition {lever.follows}", ["yes", "no"], known)

    def _links(self, node: int) -> Iterator[Link]:
        return (self.circuit.links[number] for number in self.circuit.at[node])


class _Reached:
    """What is reached below some nodes in one setting, each setting walked once; nothing where nothing feeds it."""

    def __init__(self, walks: _Walks, starts: list[int], feeds: list[int]) -> None:
        self.walks, self.starts, self.feeds = walks, starts, feeds
        self.made: dict[tuple[tuple[str, str], ...], set[int]] = {}

    def __call__(self, setting: _Setting, left_open: Collection[str] = ()) -> set[int]:
        key = (*sorted(setting.items()), *((name, "open") for name in sorted(left_open)))
        if key not in self.made:
            walks = self.walks
            fed = not self.feeds or walks.sources & walks.walk(self.feeds, walks.up, setting, left_open)
            self.made[key] = walks.walk(self.starts, walks.down, setting, left_open) if fed else set()
        return self.made[key]


def _settings(choices: dict[str, list[str]], size: int) -> Iterator[_Setting] | None:
    """Every setting of what clashes; None when they are too many for a region of that size."""
    if prod(map(len, choices.values())) * size > MOST_STEPS:
        return None
    return (dict(zip(choices, one, strict=True)) for one in product(*choices.values()))


def _always_live(tracing: Tracing, node: int) -> bool:
    """Whether a source ends a walk: a battery post or a rail, live in every key state."""
    circuit = tracing.circuit
    part = circuit.part_at(node)
    if part is not None and part.kind is not PartKind.BATTERY:
        return False
    return all(tracing.states.source_level(node, key) is Level.LIVE for key in tracing.states.keys)


_made: WeakKeyDictionary[Tracing, _Walks] = WeakKeyDictionary()


def _walks(tracing: Tracing) -> _Walks:
    if tracing not in _made:
        _made[tracing] = _Walks(tracing)
    return _made[tracing]


__all__ = ["MOST_STEPS", "modules_below", "parts_below"]
