"""What readings of a key-off draw say of each other: a feeder carries at least what the fuses that it alone feeds carry together.

Only that is used, never that they carry all of it: what was added to the vehicle hangs on no fuse that is typed in. Here too: what hangs on the battery without a fuse.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from tracer.circuit.flood import flood
from tracer.circuit.kinds import ONE_WAY, SUPPLY_KINDS, Link, LinkKind, PartKind
from tracer.circuit.states import Level
from tracer.electrics.volts.values import Range
from tracer.entry.problems import listed, natural
from tracer.standards import figures
from tracer.trace.kinds import CONSUMERS
from tracer.trace.tracing import Tracing

TOTAL = ""  # stands where a feeder's name does: the whole draw of the only battery
_CLEAR_MA = 1e-6  # less than that is rounding


@dataclass(frozen=True, slots=True)
class Holds:
    """A feeder (or the `TOTAL`), the read fuses that it `alone` feeds, and of these the `branches`: those behind no other one."""

    feeder: str
    branches: tuple[str, ...]
    alone: tuple[str, ...]


class Feeding:
    """Which fuses are fed over one feeder alone, or by the only battery alone. Contacts count as closed, so too few are found, never too many."""

    def __init__(self, tracing: Tracing, below: Mapping[str, Collection[str]]) -> None:
        self.circuit = tracing.circuit
        self.below = below
        kinds = {end.node: self._kind(end.node) for end in self.circuit.sources}
        # With the key off a generator feeds nothing.
        self.sources = [node for node, kind in kinds.items() if kind is not PartKind.GENERATOR]
        batteries = [node for node, kind in kinds.items() if kind is PartKind.BATTERY]
        self.battery = batteries[0] if len(batteries) == 1 else None
        self.grounds = frozenset(end.node for end in self.circuit.grounds)

    def _kind(self, node: int) -> PartKind | None:
        part = self.circuit.part_at(node)
        return part.kind if part else None

    def holds(self, read: Sequence[str], *, total: bool) -> Iterator[Holds]:
        """What must hold between the fuses that were read, and the total where it was measured."""
        for feeder in read:
            apart = self._reached(self.sources, without=feeder)
            alone = [fuse for fuse in read if fuse != feeder and not self._sides(fuse) & apart]
            if front := self.front(alone):
                yield Holds(feeder, front, tuple(alone))
        if total and self.battery is not None:
            others = self._reached([node for node in self.sources if node != self.battery], barred={self.battery})
            alone = [fuse for fuse in read if not self._sides(fuse) & others]
            if front := self.front(alone):
                yield Holds(TOTAL, front, tuple(alone))

    def front(self, fuses: Sequence[str]) -> tuple[str, ...]:
        """Those of some fuses that lie behind none of the others: what they carry is nowhere counted twice."""
        return tuple(one for one in fuses if not any(one in self.below[other] for other in fuses if other != one))

    def _sides(self, fuse: str) -> set[int]:
        return set(self.circuit.pins_of[fuse].values())

    def _reached(self, starts: Iterable[int], *, without: str = "", barred: Collection[int] = ()) -> set[int]:
        def passes(_: int, link: Link, here: int, __: int) -> bool:
            return (link.kind not in ONE_WAY or link.a == here) and not (
                link.kind is LinkKind.FUSE and link.part == without
            )

        return set(flood(self.circuit, starts, SUPPLY_KINDS, barred={*self.grounds, *barred}, passes=passes))


def narrowed(measured: Mapping[str, Range], holds: Iterable[Holds]) -> tuple[dict[str, Range], tuple[str, ...]]:
    """Currents of fuses (mA) as they bound each other, and what contradicts; with a contradiction they are left as measured."""
    rules = list(holds)
    found = dict(measured)
    changed = True
    while changed:
        changed = False
        for rule in rules:
            above, parts = found[rule.feeder], [found[one] for one in rule.branches]
            least = sum(one.low for one in parts)
            if least > above.high + _CLEAR_MA:
                return dict(measured), tuple(_contradictions(measured, rules) or [_contradiction(found, rule)])
            likely = (
                above.nominal if rule.feeder == TOTAL else sum(one.nominal for one in parts)
            )  # small fuses tell more
            new = {rule.feeder: _within(above, least, above.high, likely)}
            for name, one in zip(rule.branches, parts, strict=True):
                new[name] = _within(one, one.low, above.high - (least - one.low), one.nominal)
            for name, one in new.items():
                moved = max(one.low - found[name].low, found[name].high - one.high)
                changed = changed or moved > _CLEAR_MA
                found[name] = one
    return _adding_up(found, rules), ()


def _adding_up(found: Mapping[str, Range], rules: Iterable[Holds]) -> dict[str, Range]:
    """With likely currents that can all be at once: where those of branches come to more than that of their feeder, each goes down by the same part of its reach."""
    fitting = dict(found)
    for rule in sorted(rules, key=lambda rule: -len(rule.alone)):  # a feeder before those that it feeds
        parts = [fitting[one] for one in rule.branches]
        least, likely = sum(one.low for one in parts), sum(one.nominal for one in parts)
        if likely > fitting[rule.feeder].nominal:
            part = max(0.0, fitting[rule.feeder].nominal - least) / (likely - least) if likely > least else 0.0
            for name, one in zip(rule.branches, parts, strict=True):
                fitting[name] = Range(one.low, one.low + part * (one.nominal - one.low), one.high)
    return fitting


def _within(one: Range, low: float, high: float, nominal: float) -> Range:
    low, high = max(one.low, low), min(one.high, high)
    high = max(low, high)  # they may differ by rounding alone
    return Range(low, min(max(one.nominal, nominal, low), high), high)


def _contradictions(measured: Mapping[str, Range], rules: Iterable[Holds]) -> list[str]:
    return [
        _contradiction(measured, rule)
        for rule in rules
        if sum(measured[one].low for one in rule.branches) > measured[rule.feeder].high + _CLEAR_MA
    ]


def _contradiction(found: Mapping[str, Range], rule: Holds) -> str:
    here = figures.milliamps(sum(found[one].nominal for one in rule.branches))
    least = figures.milliamps(sum(found[one].low for one in rule.branches))
    verb = "reads" if len(rule.branches) == 1 else "read together"
    above = f"{figures.milliamps(found[rule.feeder].nominal)} ({figures.milliamps(found[rule.feeder].high)} at most)"
    feeder = f"the whole draw is {above}" if rule.feeder == TOTAL else f"{rule.feeder}, which feeds it, only {above}"
    feeder = feeder if len(rule.branches) == 1 else feeder.replace("feeds it", "feeds them")
    return f"{listed(list(rule.branches), joiner='and')} {verb} {here} ({least} at least), yet {feeder}: one reading, a rating or the diagram is wrong"


def without_fuse(tracing: Tracing, key: str) -> tuple[str, ...]:
    """Modules, loads, relays, converters and generators that supply reaches in a key state without any fuse on its way: no reading across a fuse holds their current."""
    circuit, states = tracing.circuit, tracing.states
    kinds = {PartKind.BATTERY, None}  # a post, or a rail
    starts = [end.node for end in circuit.sources if circuit.kind_at(end.node) in kinds]
    dead = {node for node in range(len(circuit.node_names)) if states.supply_level(node, key) is Level.DEAD}

    def passes(_: int, link: Link, here: int, __: int) -> bool:
        return link.kind is not LinkKind.FUSE and (link.kind not in ONE_WAY or link.a == here)

    met = flood(circuit, [node for node in starts if node not in dead], SUPPLY_KINDS, barred=dead, passes=passes)
    takers = (*CONSUMERS, PartKind.GENERATOR)
    names = {circuit.node_parts[node] for node in met if circuit.kind_at(node) in takers}
    return tuple(sorted(names, key=lambda name: (takers.index(circuit.parts[name].kind), natural(name))))
