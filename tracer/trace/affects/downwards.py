"""What lies below a fuse: plain walks down from it to the parts that its text may name.

Part of the second count: it shares nothing with the ways of `trace/ways/` but the circuit. Where a walk goes over contacts that are never closed
together, it is repeated for every setting of their switches and relays, one after the other, with only the contacts of that setting.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from itertools import product
from math import prod
from weakref import WeakKeyDictionary

from tracer.circuit.kinds import Link, LinkKind, PartKind
from tracer.circuit.states import Level
from tracer.trace.lists.second_table import IN_MODULE, joined, that_are
from tracer.trace.tracing import Tracing

MOST_STEPS = 400_000  # settings times links of a walk: beyond that they are not tried one by one

_BOTH_WAYS = that_are("metal", "strap", "contact", "bridge in a module")
_DOWN_ONLY = that_are("fuse", "diode", "output to supply")  # from `a` to `b`

_Setting = dict[str, str]  # what is switched, and the position it is in


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
    return parts_below(tracing, part) & {module.name for module in tracing.circuit.modules()}


class _Walks:
    """Walks through one circuit. What of it never changes is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.circuit = circuit = tracing.circuit
        self.sources = frozenset(end.node for end in circuit.sources)
        self.stops = frozenset(node for node in self.sources if _always_live(tracing, node))
        grounds = joined(circuit, [end.node for end in circuit.grounds])
        self.barred = grounds - joined(circuit, self.sources)
        self.turned, self.either = frozenset[str](), frozenset[str]()
        self.turned, self.either = self._fuse_senses()

    def _fuse_senses(self) -> tuple[frozenset[str], frozenset[str]]:
        """Fuses typed the wrong way round, and fuses between two sources, which supply passes in either sense."""
        fuses = [link for link in self.circuit.links if link.kind is LinkKind.FUSE]
        turned: set[str] = set()
        while True:  # the load side is fed while the feed side is not, and so on upwards
            self.turned = frozenset(turned)
            fed = self.walk(self.sources, "", down=True)
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

    def walk(
        self, starts: Iterable[int], module: str, *, down: bool, within: Collection[int] | None = None, setting: _Setting | None = None
    ) -> frozenset[int]:  # fmt: skip
        """Every node met going down (or up) from some nodes, on demand only within others and with the contacts of one setting."""
        seen = set(starts)
        stops = self.stops - seen
        queue = list(seen)
        while queue:
            node = queue.pop()
            if node in stops:
                continue
            for link in self._links(node):
                if link.part == module and link.kind in IN_MODULE:
                    continue
                if link.kind in _DOWN_ONLY:
                    turned = link.part in self.turned
                    upper = link.b if turned else link.a
                    if (node == upper) is not down and not (link.kind is LinkKind.FUSE and link.part in self.either):
                        continue
                elif link.kind not in _BOTH_WAYS or (
                    setting and link.kind is LinkKind.CONTACT and not self._closed(link, setting)
                ):
                    continue
                other = link.b if link.a == node else link.a
                if other not in seen and other not in self.barred and (within is None or other in within):
                    seen.add(other)
                    queue.append(other)
        return frozenset(seen)

    def below(self, starts: list[int], feeds: list[int]) -> set[int]:
        """The nodes below some nodes, which are fed from `feeds`, in at least one setting."""
        region = self.walk(starts, "", down=True)
        before = self.walk(feeds, "", down=False) if feeds else frozenset[int]()
        if not self._clashing(region | before):
            return set(region)
        found = set(region)
        for part in {self.circuit.node_parts[node] for node in region}:
            for node in set(self.circuit.pins_of.get(part, {}).values()) & region:
                way = (self.walk([node], "", down=False) & region) | before
                settings = self._settings(way)
                if settings is not None and not any(self._leads(starts, feeds, node, way, one) for one in settings):
                    found.discard(node)
        return found

    def _leads(self, starts: list[int], feeds: list[int], node: int, way: frozenset[int], setting: _Setting) -> bool:
        if feeds and not self.sources & self.walk(feeds, "", down=False, within=way, setting=setting):
            return False
        return node in self.walk(starts, "", down=True, within=way, setting=setting)

    # --- settings ----------------------------------------------------------------------------------------------

    def _settings(self, region: Collection[int]) -> Iterator[_Setting] | None:
        """Every setting of what clashes among the contacts of a region; None when they are too many."""
        choices = self._clashing(region)
        if prod(map(len, choices.values())) * len(region) > MOST_STEPS:
            return None
        return (dict(zip(choices, one, strict=True)) for one in product(*choices.values()))

    def _clashing(self, region: Collection[int]) -> dict[str, list[str]]:
        """What is switched with contacts in a region that no position closes together, with its positions."""
        open_to: dict[str, set[str]] = {}
        for node in region:
            for link in self._links(node):
                if link.kind is LinkKind.CONTACT and link.a in region and link.b in region:
                    name, positions = self._switch(link)
                    open_to.setdefault(name, set(positions)).intersection_update(self._closed_in(link))
        clashing = {name for name, left in open_to.items() if not left}
        positions_of = {name: positions for link in self.circuit.links if clashing and link.kind is LinkKind.CONTACT for name, positions in [self._switch(link)] if name in clashing}  # fmt: skip
        return {name: positions_of[name] for name in sorted(positions_of)}

    def _switch(self, link: Link) -> tuple[str, list[str]]:
        """What moves a contact, and its positions."""
        part = self.circuit.parts[link.part]
        lever = part.levers[link.lever]
        if part.kind is PartKind.RELAY:
            return lever.name, ["rest", "energised"]
        if lever.follows is None:
            return lever.name, list(lever.contacts)
        if lever.follows == "key":
            return "the key", list(self.circuit.typed.vehicle.key)
        return f"condition {lever.follows}", ["yes", "no"]

    def _closed_in(self, link: Link) -> set[str]:
        """The positions in which a contact is closed, or may be."""
        part = self.circuit.parts[link.part]
        lever = part.levers[link.lever]
        if lever.follows != "key" or part.kind is PartKind.RELAY:
            return set(link.closed)
        return {key for key in self.circuit.typed.vehicle.key if key in link.closed or key not in lever.contacts}

    def _closed(self, link: Link, setting: _Setting) -> bool:
        name, _ = self._switch(link)
        return name not in setting or setting[name] in self._closed_in(link)

    def _links(self, node: int) -> Iterator[Link]:
        return (self.circuit.links[number] for number in self.circuit.at[node])


def _always_live(tracing: Tracing, node: int) -> bool:
    """Whether a source ends a walk: a battery post or a rail, live in every key state."""
    circuit = tracing.circuit
    part = circuit.parts.get(circuit.node_parts[node])
    if part is not None and part.kind is not PartKind.BATTERY:
        return False
    return all(tracing.states.source_level(node, key) is Level.LIVE for key in tracing.states.keys)


_made: WeakKeyDictionary[Tracing, _Walks] = WeakKeyDictionary()


def _walks(tracing: Tracing) -> _Walks:
    if tracing not in _made:
        _made[tracing] = _Walks(tracing)
    return _made[tracing]


__all__ = ["MOST_STEPS", "modules_below", "parts_below"]
